package web

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// RecapCSV writes the recap as one long table: section, item, measure, value,
// unit. Text that a spreadsheet could take for a formula is defused; numbers
// stay numbers.
func RecapCSV(w io.Writer, r Recap) error {
	c := csv.NewWriter(w)
	put := func(section, item, measure, value, unit string) error {
		return c.Write([]string{SafeCell(section), SafeCell(item), SafeCell(measure), value, SafeCell(unit)})
	}
	rows := append([][5]string{{"section", "item", "measure", "value", "unit"}}, recapRows(r)...)
	for _, x := range rows {
		if err := put(x[0], x[1], x[2], x[3], x[4]); err != nil {
			return fmt.Errorf("recap csv: %w", err)
		}
	}
	c.Flush()
	if err := c.Error(); err != nil {
		return fmt.Errorf("recap csv: %w", err)
	}
	return nil
}

// SafeCell defuses text that begins like a formula with a leading apostrophe
// and makes one line of it.
func SafeCell(s string) string {
	s = notify.Clean(s)
	if s != "" && strings.ContainsRune("=+-@|%", rune(s[0])) {
		return "'" + s
	}
	return s
}

func recapRows(r Recap) [][5]string {
	n := strconv.Itoa
	x := func(v float64) string {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return ""
		}
		return strconv.FormatFloat(v, 'f', -1, 64)
	}

	day := func(d coldseam.Date) string {
		if d.IsZero() {
			return ""
		}
		return d.String()
	}
	out := [][5]string{
		{"season", r.River, "reach", SafeCell(r.Reach), ""}, {"season", r.River, "year", n(r.Year), ""},
		{"season", r.River, "first_fish", day(r.FirstFish), "date"}, {"season", r.River, "peak", day(r.Peak), "date"},
		{"season", r.River, "last_fish", day(r.LastFish), "date"},
		{"season", r.River, "trips", n(r.Trips), "1"}, {"season", r.River, "zero_trips", n(r.ZeroTrips), "1"},
		{"season", r.River, "stayed_home", n(r.StayedHome), "1"},
		{"season", r.River, "rod_hours", x(r.RodHours), "h"}, {"season", r.River, "fish", n(r.Fish), "1"},
		{"season", r.River, "weights_held", n(r.Held), "1"}, {"season", r.River, "weights_lifted", n(r.Lifted), "1"},
		{"money", r.River, "good_go", n(r.Money.GoodGo), "1"}, {"money", r.River, "poor_go", n(r.Money.PoorGo), "1"},
		{"money", r.River, "drives_saved", n(r.Money.DrivesSaved), "1"},
		{"money", r.River, "right_stay", n(r.Money.RightStay), "1"}, {"money", r.River, "misses", n(r.Money.Misses),
			"1"}, {"money", r.River, "miles_saved", x(r.Money.MilesSaved), "mi"},
	}

	for _, t := range []struct {
		section string
		rows    []RecapRate
	}{{"band", r.Bands}, {"stage", r.Stages}, {"flow_class", r.FlowClasses}, {"weight", r.Weights}} {
		for _, c := range t.rows {
			if c.Hidden {
				out = append(out, [5]string{t.section, c.Key, "hidden", "fewer than 3 anglers", ""})
				continue
			}
			if c.withheld() {
				out = append(out, [5]string{t.section, c.Key, "trips", n(c.Trips), "1"},
					[5]string{t.section, c.Key, "anglers", n(c.Anglers), "1"},
					[5]string{t.section, c.Key, "fish_per_rod_hour", x(c.Rate()), "1/h"})
				continue
			}
			out = append(out, [5]string{t.section, c.Key, "trips", n(c.Trips), "1"},
				[5]string{t.section, c.Key, "rod_hours", x(c.RodHours), "h"},
				[5]string{t.section, c.Key, "fish", n(c.Fish), "1"},
				[5]string{t.section, c.Key, "fish_per_rod_hour", x(c.Rate()), "1/h"},
				[5]string{t.section, c.Key, "fish_per_rod_hour_p10", x(c.Lo), "1/h"},
				[5]string{t.section, c.Key, "fish_per_rod_hour_p90", x(c.Hi), "1/h"})
		}
	}

	for _, v := range r.Verdicts {
		out = append(out, [5]string{"verdict", v.Verdict.String(), "mornings", n(v.Mornings), "1"})
		switch {
		case v.Hidden:
			out = append(out, [5]string{"verdict", v.Verdict.String(), "hidden", "fewer than 3 anglers", ""})
		case v.Verdict.ShowsOdds():
			out = append(out, [5]string{"verdict", v.Verdict.String(), "fished", n(v.Judged), "1"},
				[5]string{"verdict", v.Verdict.String(), "good", n(v.Good), "1"})
		}
	}

	for _, s := range r.Skill {
		item := s.Quantity + " lead " + n(s.Lead)
		out = append(out, [5]string{"skill", item, "skill", x(s.Skill), "1"}, [5]string{"skill", item, "lo", x(s.Lo),
			"1"}, [5]string{"skill", item, "hi", x(s.Hi), "1"}, [5]string{"skill", item, "mornings", n(s.N), "1"})
	}

	for _, s := range r.Stops {
		out = append(out, [5]string{"stop", s.words(), "mornings", n(s.N), "1"})
	}
	for _, o := range r.Outages {
		out = append(out, [5]string{"outage", o.Gauge, "hours from " + o.From.UTC().Format(time.RFC3339),
			x(math.Round(o.For.Hours()*100) / 100), "h"})
	}

	for _, d := range r.Days {
		if !math.IsNaN(d.WaterC) {
			out = append(out, [5]string{"day", d.Day.String(), "water", x(d.WaterC), "degC"})
		}
		if d.Trips > 0 {
			out = append(out, [5]string{"day", d.Day.String(), "trips", n(d.Trips), "1"})
			if d.PerHour > 0 {
				out = append(out, [5]string{"day", d.Day.String(), "fish_per_rod_hour", x(d.PerHour), "1/h"})
			} else {
				out = append(out, [5]string{"day", d.Day.String(), "fish", n(d.Fish), "1"})
			}
		}
	}

	return out
}
