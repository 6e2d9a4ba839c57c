//go:build !race

package notify

import (
	"fmt"
	"strings"
	"testing"

	_ "github.com/emersion/go-message/charset"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// TestManyRivers: four in full, the others one line each, within the size.
func TestManyRivers(t *testing.T) {
	t.Parallel()
	var briefs []coldseam.Brief
	big := map[coldseam.ReachID][]byte{}
	png := sampleCharts(t)["tamsen-bend"]
	for i := range 50 {
		b := tossBrief()
		b.Reach = coldseam.ReachID(fmt.Sprintf("reach-%d", i))
		b.River = fmt.Sprintf("River %d", i)
		briefs = append(briefs, b)
		big[b.Reach] = png
	}

	m, err := composer().Compose(letterOf(coldseam.MailMorning, Content{Briefs: briefs}), big)
	require.NoError(t, err)
	require.LessOrEqual(t, len(m.Bytes), MaxMessage)
	_, parts := leaves(t, m.Bytes)
	require.Len(t, parts, 2+4, "four pictures, HTML %d", len(parts[1].body))
	html := string(parts[1].body)
	require.Equal(t, 1, strings.Count(html, "<h1"))
	require.Contains(t, html, `href="https://club.example/river/reach-49">River 49</a>`)
	require.Contains(t, string(parts[0].body), "TOSS-UP River 49  good morning 4 in 10")
	require.Contains(t, string(parts[0].body), "https://club.example/river/reach-49")
}

// TestSizeLimit: pictures that are too large fall out before rivers do.
func TestSizeLimit(t *testing.T) {
	t.Parallel()
	raw := sampleCharts(t)["tamsen-bend"]
	huge := append(append([]byte(nil), raw...), make([]byte, 120<<10)...) // a decoder reads only its beginning
	l := cases()["four_rivers"]
	m, err := composer().Compose(l, map[coldseam.ReachID][]byte{"tamsen-bend": huge, "hallam-sandbar": huge})
	require.NoError(t, err)
	require.LessOrEqual(t, len(m.Bytes), MaxMessage)
	_, parts := leaves(t, m.Bytes)
	require.LessOrEqual(t, len(parts), 3)
	require.Equal(t, len(parts)-2, strings.Count(string(parts[1].body), "<img "), "no picture without its bytes")
	m, err = composer().Compose(l, map[coldseam.ReachID][]byte{"tamsen-bend": []byte("no picture")})
	require.NoError(t, err)
	_, parts = leaves(t, m.Bytes)
	require.Len(t, parts, 2)
}

// TestInjection puts hostile text into every field that comes from a
// subscriber, an admin or a feed: the envelope, the header fields and the MIME
// tree stay what they are, and no markup comes alive.
func TestInjection(t *testing.T) {
	t.Parallel()
	plainMail, err := composer().Compose(cases()["go_day"], nil)
	require.NoError(t, err)
	wantHeader, wantParts := leaves(t, plainMail.Bytes)

	rapid.Check(t, func(rt *rapid.T) {
		evil := hostile().Draw(rt, "text")
		b := tossBrief()
		b.River, b.ReachName, b.SiteName = "x"+evil, evil, evil
		b.Stops = []coldseam.Reason{{Code: evil, Kind: "safety", Text: evil, Source: evil}}
		b.Cautions[0].Text, b.Reasons[0].Text = evil, evil
		b.Hazards, b.SureBy, b.SureWhy, b.How.Line, b.Changed.Text, b.OddsNote.Text = []string{evil}, coldseam.Reason{},
			evil, evil, evil, evil
		b.Flow.Class, b.Flow.Trend, b.Temp.Trend, b.Run.Stage = evil, evil, evil, evil
		b.Jig[0].Spot, b.Jig[0].Line, b.Jig[1].Withheld.Text = evil, evil, evil
		b.Inputs[0].Name, b.Inputs[0].Note, b.Inputs[0].State = evil, said(evil), evil

		b.Rules[0].Text, b.Rules[0].CheckedBy, b.Rules[0].Link = evil, evil, evil
		b.Sources[0].Text, b.Sources[0].Link, b.Sources[0].Licence = evil, evil, evil
		kind := rapid.SampledFrom([]coldseam.MailKind{coldseam.MailMorning, coldseam.MailFlip,
			coldseam.MailOutlook}).Draw(rt, "kind")
		l := letterOf(kind, Content{Club: evil, Briefs: []coldseam.Brief{b}})
		l.Subscriber.Name, l.Subscriber.Prefs.SendAt = evil, evil
		c := composer()
		c.Club = evil
		m, err := c.Compose(l, nil)
		if err != nil { // refused is as good
			require.ErrorIs(rt, err, coldseam.ErrInvalid)
			return
		}

		checkHostile(rt, t, m, wantHeader, len(wantParts))
	})

	// The greeting is the one place for a subscriber's own words.
	rapid.Check(t, func(rt *rapid.T) {
		l := cases()["welcome"]
		l.Subscriber.Name = hostile().Draw(rt, "name")
		m, err := composer().Compose(l, nil)
		if err != nil {
			require.ErrorIs(rt, err, coldseam.ErrInvalid)
			return
		}
		checkHostile(rt, t, m, wantHeader, len(wantParts))
	})
}
