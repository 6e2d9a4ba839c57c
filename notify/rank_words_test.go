package notify

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// fishChance finds a chance in ten of a good morning, as text or HTML has it.
var fishChance = regexp.MustCompile(
	`(?i)\d in 10(?: \(\d-\d\))? for a good|good morning:?(?:\s|[A-Z][a-z]{2}\b)*\d in 10|go from \d in 10|window [\d:–-]+, \d in 10`)

// Before a log no mail of any kind names a chance of fish: not in subject, preview,
// board, text, HTML or picture's words.
func TestNoChanceOfFishBeforeALog(t *testing.T) {
	t.Parallel()
	for name, l := range cases() {
		ct, err := ParseContent(l.Payload)
		require.NoError(t, err)
		for i := range ct.Briefs {
			ct.Briefs[i].Rank = coldseam.Rank{Thirds: [2]float64{.35, .44}, Past: 240, Base: .4, Logged: 9, Anglers: 5}
		}
		l.Payload, err = json.Marshal(ct)
		require.NoError(t, err)

		v := composer().view(l, ct, sampleCharts(t), fullBlocks)
		text, html, err := renderParts(v)
		require.NoError(t, err)
		for _, s := range []string{v.Subject, v.Preheader, text, html, Subject(l.Kind, ct, l.Subscriber.Prefs)} {
			s = strings.NewReplacer(nbsp, " ", "<b>", "", "</b>", "", "&nbsp;", " ").Replace(s)
			require.Empty(t, fishChance.FindString(s), name)
		}
	}
}
