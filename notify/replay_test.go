package notify

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
)

// A replay prints the stops that it found, as stops of then, and no "none
// known" beside them.
func TestReplayPrintsItsStops(t *testing.T) {
	t.Parallel()
	b := brieftest.Stop()
	b.Replay, b.Verdict = true, coldseam.NoCall
	b.Reasons = []coldseam.Reason{{Code: "replay", Kind: "missing", Text: "a past morning from revised data"}}
	lines := strings.Join(Text(b, coldseam.Preferences{}), "\n")
	require.Contains(t, lines, "STOPS  would have stopped: ")
	require.NotContains(t, lines, "none known")
	b.Stops = nil
	require.Contains(t, strings.Join(Text(b, coldseam.Preferences{}), "\n"), "STOPS  none known")
}

// The ends of the odds are words on both sides: nothing is certain.
func TestOddsNeverReadTenInTen(t *testing.T) {
	t.Parallel()
	for p, want := range map[float64]string{.049: "under 1 in 10", .05: "1 in 10", .949: "9 in 10", .95: "over 9 in 10",
		1: "over 9 in 10"} {
		require.Equal(t, want, plain(odds(p)), p)
	}
}
