//go:build !race

package notify

import (
	"errors"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// TestAnyBrief: whatever a brief holds, the text keeps its measure, prints no
// nonsense, and odds appear only beside a verdict that has them.
func TestAnyBrief(t *testing.T) {
	t.Parallel()
	gen := anyBrief(false).Filter(plausible)

	rapid.Check(t, func(t *rapid.T) {
		b := gen.Draw(t, "brief")
		lines := Text(b, coldseam.Preferences{Units: rapid.SampledFrom([]string{"us", "metric", ""}).Draw(t, "units"),
			SendAt: "04:45"})
		all := strings.Join(lines, "\n")
		require.LessOrEqual(t, len(lines), foldLines, all)
		for _, l := range lines {
			require.LessOrEqual(t, utf8.RuneCountInString(l), textWidth, l)
			require.NotContains(t, l, "\r")
		}

		require.Empty(t, nonsense(all), all)
		require.Contains(t, all, "STOPS", all)
		require.Contains(t, all, "MADE", all)
		if !b.Verdict.ShowsOdds() || !b.OddsOK || !finite(b.Odds) {
			require.NotContains(t, all, "in 10", all)
			require.NotContains(t, strings.Split(all, "\n")[0], "GO ", all)
		}

		if len(b.Cautions) > 0 {
			require.Contains(t, all, "CARE", all)
		}
		for _, kind := range []coldseam.MailKind{coldseam.MailMorning, coldseam.MailFlip, coldseam.MailOutlook,
			coldseam.MailCorrection} {
			s := Subject(kind, Content{Club: "Club", Briefs: []coldseam.Brief{b}}, coldseam.Preferences{})
			require.LessOrEqual(t, utf8.RuneCountInString(s), maxSubject, s)
			require.Empty(t, nonsense(s))
		}
	})
}

// TestAnyMail: the whole mail of such briefs is within its size and free of
// nonsense, or it is refused; every caution stands in both parts.
func TestAnyMail(t *testing.T) {
	t.Parallel()
	gen := anyBrief(true).Filter(plausible)
	c := composer()

	rapid.Check(t, func(t *rapid.T) {
		briefs := rapid.SliceOfN(gen, 1, 6).Draw(t, "briefs")
		l := letterOf(rapid.SampledFrom([]coldseam.MailKind{coldseam.MailMorning, coldseam.MailFlip,
			coldseam.MailOutlook}).Draw(t, "kind"), Content{Club: "Club", Briefs: briefs})
		m, err := c.Compose(l, nil)
		if err != nil {
			require.True(t, errors.Is(err, coldseam.ErrInvalid), "%v", err)
			return
		}

		require.LessOrEqual(t, len(m.Bytes), MaxMessage)
		ct, err := ParseContent(l.Payload)
		require.NoError(t, err)
		v := c.view(l, ct, nil, fullBlocks)
		text, html, err := renderParts(v)
		require.NoError(t, err)
		require.Empty(t, nonsense(text+html))

		for _, k := range v.Blocks {
			odd := !k.Verdict.ShowsOdds()
			for _, f := range k.Facts {
				for _, it := range f.Items {
					if odd {
						require.NotContains(t, plain(joinParts(it)), "in 10")
					}
				}
			}
			if len(k.Brief.Cautions) > 0 {
				require.Len(t, itemsOf(k, "Cautions"), len(k.Brief.Cautions), "no caution is dropped")
			}
		}
	})
}
