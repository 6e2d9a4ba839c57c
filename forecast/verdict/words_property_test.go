package verdict

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/notify"
)

// TestAnyReasonHasWords: every reason of any morning has a sentence and all its
// values, in both unit systems.
func TestAnyReasonHasWords(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		in := anyInputs(t)
		causes := map[ice.State][]string{ // what the latch gives with each state
			ice.Unknown: {ice.CauseStart, ice.CauseSilent, ice.CauseBlind},
			ice.Open:    {ice.CauseWarm, ice.CauseThaw, ice.CausePassed, ice.CauseSummer, ice.CauseWord},
			ice.Ice: {ice.CauseQualifier, ice.CauseWord, ice.CauseCold, ice.CauseFrost, ice.CauseDates,
				ice.CauseRise},
			ice.Breakup: {ice.CauseRise},
		}
		in.Ice.Cause = rapid.SampledFrom(causes[in.Ice.State]).Draw(t, "cause")

		d := Decide(in)
		all := [][]coldseam.Reason{d.Stops, d.Reasons, d.Cautions, {d.SureBy, d.IceReason, d.Life}}
		for _, w := range append(d.Windows, d.Begun...) {
			all = append(all, w.Stops, w.Caps, w.Cautions)
			for _, c := range w.Crafts {
				all = append(all, c.Stops, c.Caps)
			}
		}

		for _, list := range all {
			for _, r := range list {
				if r.Code == "" {
					continue
				}
				require.True(t, hasSentence(r), "%+v", r)
				code := r.Code + r.Names["stop"]
				for _, units := range []string{"us", "metric"} {
					text := notify.ReasonText(r, units, "UTC")
					require.NotContains(t, text, "{")
					if !strings.Contains(code, "unknown") && !strings.Contains(code, "unplaced") {
						require.NotContains(t, text, "not known", "%+v", r)
					}
				}
			}
		}
	})
}

// hasSentence reports whether notify words a reason; one without a sentence, or
// with a value too few for it, is printed as its code.
func hasSentence(r coldseam.Reason) bool {
	return notify.ReasonText(r, "us", "UTC") != strings.ReplaceAll(r.Code, "_", " ")
}
