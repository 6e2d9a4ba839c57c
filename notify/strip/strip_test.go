package strip

import (
	"bytes"
	"encoding/xml"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func num(v float64) *float64 { return &v }

// spring is a replay of four mornings around the end of a month.
func spring() coldseam.Replay {
	part := []string{"weather", "alerts"}
	day := func(n int) coldseam.Date { return coldseam.Date{Year: 2031, Month: 3, Day: 30}.Add(n) }
	r := coldseam.Replay{
		Reach:    "tamsen-bend",
		From:     day(0),
		To:       day(3),
		Assumed:  []string{"weather_calm"},
		LimitM3S: num(200),
		Cells: []coldseam.ReplayCell{
			{Day: day(0), Word: coldseam.Stop, OddsWord: coldseam.Go, Odds: num(.6), WaterC: num(4), FlowM3S: num(210),
				Stops: []string{"max_flow"}, NotReplayed: part},
			{Day: day(1), Word: coldseam.Go, OddsWord: coldseam.Go, Odds: num(.6), WaterC: num(4), FlowM3S: num(90),
				TieOz: num(.25), Place: "bend_hole_deep", Stage: "moving", NotReplayed: part},
			{Day: day(2), Word: coldseam.Stay, OddsWord: coldseam.Stay, Odds: num(.2), WaterC: num(5), FlowM3S: num(80),
				TieOz: num(.375), Place: "current_seam", NotReplayed: part},
			{Day: day(3), Word: coldseam.Go, OddsWord: coldseam.Go, Odds: num(.7), WaterC: num(5), FlowM3S: num(80),
				TieOz: num(.375), Place: "current_seam"},
		},
	}
	r.Sum()
	r.Forecasts = []coldseam.ForecastScore{{Quantity: "water", Lead: 3, N: 4, Off: .5, Persistence: 1, Held: .75}}
	r.Events = []coldseam.EventScore{{What: "rise", Days: 2, N: 4, Said: 1.2, Came: 1, Brier: .1, Usual: .1875}}
	return r
}

func TestText(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	require.NoError(t, Text(&b, []coldseam.Replay{spring(), spring()}, "us", true))
	got := b.String()
	for _, want := range []string{
		"tamsen-bend, 2031-03-30 to 2031-04-02",
		"assumed: weather is not on record: none stops",
		"not replayed: weather forecast, warnings",
		"Mar 2031 " + strings.Repeat(" ", 29) + "#g\nApr 2031 sG\n",
		"of 3 fishable mornings (no stop, water to 55 F): GO 67 %, TOSS-UP 0 %, STAY 33 %",
		"GO to STAY or back overnight: 2; changes of place: 1, of weight: 1; flow limit 7063 cfs",
		"stopped, days: over the flow limit 1",
		"water, day 3: off by 0.9 F, the day before by 1.8 F; four in five range held 75 % of 4",
		"flow up 30 % within 2 days: 1.2 said, 1 came of 4; Brier 0.100, the usual share 0.188",
		"2031-03-31  (GO)    GO", // what stops allowed that were not all replayed is no GO
		"2031-04-02  GO      GO",
	} {
		require.Contains(t, got, want)
	}

	require.Equal(t, 1, strings.Count(got, "assumed:"), "once for all seasons")
	require.Equal(t, 2, strings.Count(got,
		"this would have said GO on 2 mornings, STOP on 1, 1 of them by the flow limit"))
}

func TestPageIsWellFormedAndHatched(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	require.NoError(t, HTML(&b, spring(), "metric"))
	page := b.String()
	require.Equal(t, 4, strings.Count(page, `class="cell `))
	require.Equal(t, 2, strings.Count(page, `url(#hatch)`), "the two mornings with a word and not all stops")
	require.Contains(t, page, "<title>2031-03-30 STOP, GO, 4.0 C, 210.0 m3/s, -, -, -, over the flow limit</title>")
	svg := page[strings.Index(page, "<svg"):strings.Index(page, "</svg>")] + "</svg>"
	for d := xml.NewDecoder(strings.NewReader(svg)); ; {
		if _, err := d.Token(); err == io.EOF {
			break
		} else {
			require.NoError(t, err)
		}
	}
}

// Three days after a stop began the river was higher or it was not.
func TestWhatCameAfterAStop(t *testing.T) {
	t.Parallel()
	var cells []coldseam.ReplayCell
	for i, flow := range []float64{10, 40, 50, 60, 70, 30, 90, 20, 15, 12, 10} {
		c := coldseam.ReplayCell{FlowM3S: num(flow)}
		if i == 1 || i == 2 || i == 6 {
			c.Stops = []string{"rise_day"}
		}
		if i == 9 {
			c.Stops = []string{"max_flow"} // nothing is known three days on
		}
		cells = append(cells, c)
	}
	require.Equal(t, []string{"rose within a day 2, 1"}, spells(cells))
}

func TestCompareListsWhatChanged(t *testing.T) {
	t.Parallel()
	before := spring()
	now := spring()
	now.Cells[1].Word, now.Cells[1].Caps = coldseam.TossUp, []string{"high_water"}
	now.Cells = append(now.Cells, coldseam.ReplayCell{Day: now.To.Add(1)})
	var b bytes.Buffer
	require.NoError(t, Compare(&b, before, now))
	require.Equal(t, "day         before  now      because before  because now\n"+
		"2031-03-31  GO      TOSS-UP                  high water\n"+
		"1 of 4 mornings changed their word\n", b.String())
}

// A morning's word as it was told stands beside what the replay says of it, in
// the year asked for and where something was told.
func TestToldBesideReplayed(t *testing.T) {
	t.Parallel()
	r := spring()
	told := map[coldseam.Date]coldseam.Verdict{r.From: coldseam.Go, r.From.Add(1): coldseam.Go, r.From.Add(3): coldseam.Go}
	require.Equal(t, []string{
		"Tamsen, bend: 2 of 3 mornings read as they were told",
		"Tamsen, bend, 2031-03-30: told GO, replayed STOP, over the flow limit",
	}, Told("Tamsen, bend", []coldseam.Replay{r}, told, 2031))
	require.Nil(t, Told("Tamsen, bend", []coldseam.Replay{r}, told, 2030))
	require.Nil(t, Told("Tamsen, bend", []coldseam.Replay{r}, nil, 2031))
}
