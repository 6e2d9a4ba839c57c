package notify

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// However many rivers a mail tells, the stops stand first, and the river one could
// fish is told in full.
func TestStopsStandFirst(t *testing.T) {
	t.Parallel()
	var briefs []coldseam.Brief
	briefs = append(briefs, noCallBrief(), goBrief())
	for i := range 4 {
		b := stopBrief()
		b.River, b.Reach = fmt.Sprintf("Brandt %d", i), coldseam.ReachID(fmt.Sprintf("brandt-%d", i))
		briefs = append(briefs, b)
	}
	v := composer().view(letterOf(coldseam.MailMorning, Content{Briefs: briefs}), Content{Briefs: briefs}, nil, fullBlocks)

	require.Len(t, v.Board, 6)
	for i := range 4 {
		require.Equal(t, "STOP", v.Board[i].Verdict)
		require.True(t, strings.HasPrefix(v.Board[i].Text, "STOP    Brandt"), v.Board[i].Text)
	}
	require.Equal(t, "GO", v.Board[4].Verdict)
	require.Equal(t, "NO CALL", v.Board[5].Verdict)

	require.Len(t, v.Blocks, fullBlocks)
	require.Equal(t, coldseam.Go, v.Blocks[fullBlocks-1].Verdict)
	require.NotEmpty(t, v.Board[5].Link, "a river that is not told in full has its page")
	require.Empty(t, v.Board[4].Link)
	require.Equal(t, "STOP Brandt 0 Sat, STOP Brandt 1, STOP Brandt 2", v.Subject)
}

// A brief that says GO and has no odds reads NO CALL, and stands with those.
func TestNoOddsNoPlace(t *testing.T) {
	t.Parallel()
	for _, odds := range []float64{math.NaN(), .9} {
		bare, stay := goBrief(), stayBrief()
		bare.Odds, bare.OddsOK = odds, math.IsNaN(odds)
		briefs := []coldseam.Brief{bare, stay}
		SortBriefs(briefs)
		require.Equal(t, coldseam.Stay, briefs[0].Verdict)
		require.Equal(t, map[int]bool{0: true}, inFull(briefs, 1))
		require.Equal(t, "STAY Hallam Fork Sat, NO CALL Tamsen",
			Subject(coldseam.MailMorning, Content{Briefs: briefs}, coldseam.Preferences{}))
	}
}

// Before a log the overview tells the third that a river's morning belongs to.
func TestBoardTellsTheRank(t *testing.T) {
	t.Parallel()
	first := goBrief()
	first.Rank = coldseam.Rank{Thirds: [2]float64{.36, .44}, Past: 240, Base: .40}
	b := boardOf([]coldseam.Brief{first, stopBrief()}, coldseam.Preferences{})
	require.Equal(t, "better third, tie 1/4 oz", plain(b[0].Tail))
}

// The words before a log fit a line of the text part; the sentence that explains
// them stands in the HTML and below.
func TestRankTakesOneLine(t *testing.T) {
	t.Parallel()
	b := goBrief()
	b.Rank = coldseam.Rank{Thirds: [2]float64{.36, .44}, Past: 240, Base: .40}
	text := strings.Join(Text(b, coldseam.Preferences{}), "\n")
	require.Contains(t, text, "RANK   better third of its mornings by trade rules, not odds\nWINDOW")
	require.Contains(t, text, "HOW ")
}

// The card names no single weight where nobody timed the current.
func TestCardTellsARangeWhereNobodyTimed(t *testing.T) {
	t.Parallel()
	b := goBrief()
	b.Flow.Trend = "steady"
	b.Jig[0].MayNeedOz = [2]float64{3. / 16, 5. / 8}
	w := CardOf(b, coldseam.Reach{}, coldseam.Preferences{}).Weights
	require.NotEmpty(t, w)
	require.Equal(t, "3/16-5/8 oz", plain(w[0].Tie))
	require.Equal(t, "not timed: start light", w[0].Pack)
}
