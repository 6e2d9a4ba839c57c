package web

import (
	"fmt"
	"math"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// stayDays is how long the water must stay beyond an edge at the end of the
// record before the shift counts as for good; the club calls it after five
// observed days.
const stayDays = 5

// story tells the season in sentences when the writer gave none: how long it
// was, when the water shifted for good, in how many days half of the catch
// came.
func (r Recap) story(units string) []string {
	if len(r.Story) > 0 {
		return r.Story
	}
	var out []string
	if r.Trips > 0 {
		s := fmt.Sprintf("%d trips and %s rod-hours for %d fish", r.Trips, thousands(r.RodHours), r.Fish)
		if n, from, to := r.halfOfCatch(); n > 0 {
			s += fmt.Sprintf("; half of them came in %d days, %s to %s", n, from.UTC().Format("2 January"),
				to.UTC().Format("2 January"))
		}
		out = append(out, s+".")
	}
	return append(out, r.shiftWords(units)...)
}

// halfOfCatch is the shortest span of days with half of the fish; zero when
// there are too few fish to speak of.
func (r Recap) halfOfCatch() (n int, from, to coldseam.Date) {
	total := 0
	for _, d := range r.Days {
		total += d.Fish
	}
	if total < 10 {
		return 0, from, to
	}
	sum, a := 0, 0

	best := len(r.Days) + 1
	for b, d := range r.Days {
		sum += d.Fish
		for 2*sum >= total {
			if span := r.Days[b].Day.Sub(r.Days[a].Day) + 1; span < best {
				best, from, to = span, r.Days[a].Day, r.Days[b].Day
			}
			sum -= r.Days[a].Fish
			a++
		}
	}

	return best, from, to
}

// shiftWords names the days on which the water passed each band edge for good:
// upward in a season that ends warmer than it began, else downward.
func (r Recap) shiftWords(units string) []string {
	var temps []float64
	var days []coldseam.Date
	for _, d := range r.Days {
		if !math.IsNaN(d.WaterC) {
			temps, days = append(temps, d.WaterC), append(days, d.Day)
		}
	}

	if len(temps) < 2*stayDays {
		return nil
	}
	sign, way := 1., "up past "
	if temps[len(temps)-1] < temps[0] {
		sign, way = -1, "down past "
	}
	w := notify.WordsFor(units, "UTC")
	s := ""

	for _, e := range coldseam.BandEdgesC(coldseam.DefaultBands) {
		last := -1
		for i, t := range temps {
			if sign*(t-e) <= 0 {
				last = i
			}
		}

		if last < 0 || last > len(temps)-1-stayDays {
			continue
		}
		if s != "" {
			s += ", "
		}
		s += w.Temp(e) + " on " + days[last+1].UTC().Format("2 January")
	}

	if s == "" {
		return nil
	}
	return []string{"The water went " + way + s + ", and stayed."}
}
