package chart

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"example.org/coldseam"
)

// SeasonDay is one civil day of a season: mean water temperature in degC (NaN
// = none) and the trips logged, a day's fish together. Where the sum of the
// fish is withheld Fish is 0 and PerHour is fish a rod-hour.
type SeasonDay struct {
	Day     coldseam.Date
	WaterC  float64
	Trips   int
	Fish    int
	PerHour float64
}

// caught is the day's catch for the height of its bar: fish a trip, or fish a
// rod-hour where only that is told. A season has the one or the other.
func (d SeasonDay) caught() float64 {
	if d.Fish == 0 {
		return d.PerHour
	}
	return float64(d.Fish) / float64(d.Trips)
}

// Heights of the season chart in px: the line, the trips below it.
const (
	seasonLine = 210.
	seasonTrip = 40.
)

// SeasonSVG draws the water temperature of a season against the band lines,
// with the trips below: a bar is the catch, an open ring a day of zero trips.
// The markup has classes only. ErrNotFound without a temperature.
func SeasonSVG(days []SeasonDay, bands []coldseam.Band, units string) (template.HTML, error) {
	if len(bands) == 0 {
		bands = coldseam.DefaultBands
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	conv := tempUnit(units == "metric")
	for _, d := range days {
		if drawable(d.WaterC) {
			lo, hi = min(lo, conv.f(d.WaterC)), max(hi, conv.f(d.WaterC))
		}
	}

	if len(days) < 2 || lo > hi {
		return "", fmt.Errorf("season chart: no temperature: %w", coldseam.ErrNotFound)
	}
	p := max(pad*(hi-lo), 1)
	fr := frame{from: days[0].Day.UTC(), to: days[len(days)-1].Day.UTC(), lo: lo - p, hi: hi + p, h: seasonLine}
	if !fr.to.After(fr.from) {
		return "", fmt.Errorf("season chart: days are not in order: %w", coldseam.ErrInvalid)
	}
	lines, words := bandLines(coldseam.Brief{Bands: bands}, fr, units == "metric", true)

	var w strings.Builder
	fmt.Fprintf(&w, `<svg class="chart t season" role="img" aria-labelledby="sn-t sn-d" width="100%%" height="%s"><title id="sn-t">Water temperature and trips, %s to %s</title><desc id="sn-d">%s</desc>`,
		px(10+seasonLine+seasonTrip+30), esc(long(days[0].Day)), esc(long(days[len(days)-1].Day)),
		esc(seasonWords(days, conv, lo, hi)))
	fmt.Fprintf(&w, `<svg x="0" y="10" width="100%%" height="%s" viewBox="0 0 1000 %s" preserveAspectRatio="none">`,
		px(seasonLine), px(seasonLine))
	for _, g := range lines {
		path(&w, "bl", []xy{{0, g.Y}, {1, g.Y}}, false)
	}
	for _, s := range seasonStrokes(days, fr, conv) {
		path(&w, "med", s, false)
	}

	w.WriteString(`</svg>`)
	for _, g := range lines {
		fmt.Fprintf(&w, `<text x="-8" y="%s" text-anchor="end">%s</text>`, px(10+g.Y+4.5), esc(g.Label))
	}
	for _, g := range words {
		fmt.Fprintf(&w, `<text class="bn" x="100%%" dx="8" y="%s">%s</text>`, px(10+g.Y+4.5), esc(g.Label))
	}
	seasonTrips(&w, days, fr)
	w.WriteString(`</svg>`)
	return template.HTML(w.String()), nil
}

func seasonStrokes(days []SeasonDay, fr frame, conv unit) [][]xy {
	var out [][]xy
	gap := true
	for _, d := range days {
		if !drawable(d.WaterC) {
			gap = true
			continue
		}
		if gap {
			out = append(out, nil)
		}
		gap = false
		out[len(out)-1] = append(out[len(out)-1], xy{fr.x(d.Day.UTC()), fr.y(conv.f(d.WaterC))})
	}
	return out
}

// seasonTrips draws the trips and the months.
func seasonTrips(w *strings.Builder, days []SeasonDay, fr frame) {
	base := 10 + seasonLine + seasonTrip
	most := .5
	for _, d := range days {
		if d.Trips > 0 && drawable(d.caught()) {
			most = max(most, d.caught())
		}
	}
	fmt.Fprintf(w, `<line class="axis" x1="0" x2="100%%" y1="%s" y2="%s"/>`, px(base), px(base))

	for _, d := range days {
		x := pct(fr.x(d.Day.UTC()))
		switch {
		case d.Trips > 0 && d.caught() == 0:
			fmt.Fprintf(w, `<circle class="zero" cx="%s" cy="%s" r="3.5"/>`, x, px(base-6))
		case d.Trips > 0 && drawable(d.caught()):
			h := min(max(d.caught()/most*(seasonTrip-4), 4), seasonTrip)
			fmt.Fprintf(w, `<line class="fish" x1="%s" x2="%s" y1="%s" y2="%s"/>`, x, x, px(base), px(base-h))
		}
		if d.Day.Day == 1 && fr.x(d.Day.UTC()) < .95 {
			fmt.Fprintf(w, `<text class="xl" x="%s" y="%s">%s</text>`, x, px(base+20), d.Day.Month.String())
		}
	}
}

func seasonWords(days []SeasonDay, conv unit, lo, hi float64) string {
	trips, zero := 0, 0
	for _, d := range days {
		trips += d.Trips
		if d.Trips > 0 && d.caught() == 0 {
			zero++
		}
	}
	return fmt.Sprintf("Water from %s to %s %s. %d trips; on %d days none of them had a fish.", show(conv, lo),
		show(conv, hi), conv.unit, trips, zero)
}

func long(d coldseam.Date) string {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).Format("2 January 2006")
}
