package ingest

import (
	"testing"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
)

func TestQuality(t *testing.T) {
	t.Parallel()
	p := Profile{
		Qualifiers: map[string]string{"90": "ok", "B": "ice", "***": "missing", "x": "bad"},
		Approval:   map[string]string{"P": "provisional", "A": "approved"},
	}

	for _, c := range []struct {
		name     string
		approval string
		quals    []string
		want     coldseam.Flag
		raw      []string
	}{
		{"word", "Provisional", nil, coldseam.Provisional, nil},
		{"lower case", "approved", nil, coldseam.Approved, nil},
		{"letter of the profile", "A", nil, coldseam.Approved, nil},
		{"approval sent as qualifier", "", []string{"P"}, coldseam.Provisional, []string{"P"}},
		{"ok code", "", []string{"90"}, 0, []string{"90"}},
		{"unknown warns", "", []string{"110"}, coldseam.Suspect, []string{"110"}},
		{"ice text", "", []string{"Ice Conditions"}, coldseam.Ice | coldseam.Suspect, []string{"Ice Conditions"}},
		{"ice code", "", []string{"ICE_AFFECTED"}, coldseam.Ice | coldseam.Suspect, []string{"ICE_AFFECTED"}},
		{"ice letter", "", []string{"b"}, coldseam.Ice | coldseam.Suspect, []string{"b"}},
		{"a device is no ice", "", []string{"device notice"}, coldseam.Suspect, []string{"device notice"}},
		{"estimated", "", []string{"Estimated"}, coldseam.Estimated | coldseam.Suspect, []string{"Estimated"}},
		{"backwater", "", []string{"Backwater"}, coldseam.Equipment | coldseam.Suspect, []string{"Backwater"}},
		{"flood damage", "", []string{"Flood damage"}, coldseam.Equipment | coldseam.Suspect, []string{"Flood damage"}},
		{"revised", "", []string{"REVISED"}, 0, []string{"REVISED"}},
		{"missing", "", []string{"***"}, coldseam.Missing, []string{"***"}},
		{"bad", "", []string{"x"}, coldseam.Bad, []string{"x"}},
		{"sorted, once, blanks out", "", []string{"90", " ", "90", "110"}, coldseam.Suspect, []string{"110", "90"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			f, raw := p.Quality(c.approval, c.quals)
			require.Equal(t, c.want, f)
			require.Equal(t, c.raw, raw)
		})
	}
}
