package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// tripColumns are the columns of a paper log; only reach and date are needed.
var tripColumns = []string{"reach", "date", "start", "hours", "anglers", "lines", "species", "fish", "looked_at", "ripe", "spent", "released",
	"spot", "presentation", "body", "line", "weight_oz", "held", "because_mail", "angler", "water_f", "clarity", "night", "note"}

// readTrips reads a trip log with a header line: columns in any order, blank
// cells for what was not noted. A bad row refuses the file with its line, so
// that a log is whole or not there.
func readTrips(r io.Reader, reaches []coldseam.Reach) ([]coldseam.Trip, error) {
	cr := csv.NewReader(r)
	cr.TrimLeadingSpace = true
	head, err := cr.Read()
	if err != nil {
		return nil, fmt.Errorf("trip log: no header line: %w", coldseam.ErrInvalid)
	}
	at := map[string]int{}
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		known := false
		for _, c := range tripColumns {
			known = known || c == h
		}
		if !known {
			return nil, fmt.Errorf("trip log: column %q; want some of %s: %w", h, strings.Join(tripColumns, ", "), coldseam.ErrInvalid)
		}
		at[h] = i
	}
	zones := map[string]*time.Location{}
	for _, x := range reaches {
		zones[string(x.ID)] = zoneOf(x.Zone)
	}
	var out []coldseam.Trip
	for {
		rec, err := cr.Read()
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return nil, fmt.Errorf("trip log: %w: %w", err, coldseam.ErrInvalid)
		}
		line, _ := cr.FieldPos(0)
		row := tripRow{rec: rec, at: at}
		t := row.trip(zones)
		if row.err != nil {
			return nil, fmt.Errorf("trip log line %d: %w: %w", line, row.err, coldseam.ErrInvalid)
		}
		out = append(out, t)
	}
}

// tripRow reads the cells of one line and keeps the first fault.
type tripRow struct {
	rec []string
	at  map[string]int
	err error
}

func (r *tripRow) cell(name string) string {
	i, ok := r.at[name]
	if !ok || i >= len(r.rec) {
		return ""
	}
	return strings.TrimSpace(r.rec[i])
}

func (r *tripRow) fault(name, want string) {
	if r.err == nil {
		r.err = fmt.Errorf("%s is %q; want %s", name, r.cell(name), want)
	}
}

func (r *tripRow) number(name string, lo, hi float64) float64 {
	s := r.cell(name)
	if s == "" {
		return 0
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v >= lo && v <= hi) {
		r.fault(name, fmt.Sprintf("a number from %g to %g", lo, hi))
	}
	return v
}

func (r *tripRow) count(name string) int {
	v := r.number(name, 0, 1000)
	if v != float64(int(v)) {
		r.fault(name, "a whole number")
	}
	return int(v)
}

func (r *tripRow) yesNo(name string) *bool {
	yes, no := true, false
	switch strings.ToLower(r.cell(name)) {
	case "":
		return nil
	case "yes", "y", "1", "true":
		return &yes
	case "no", "n", "0", "false":
		return &no
	}
	r.fault(name, "yes or no")
	return nil
}

func (r *tripRow) trip(zones map[string]*time.Location) coldseam.Trip {
	t := coldseam.Trip{Reach: coldseam.ReachID(r.cell("reach")), Hours: r.number("hours", 0, 24), Anglers: r.count("anglers"), Lines: r.count("lines"),
		Species: r.cell("species"), Fish: r.count("fish"), LookedAt: r.count("looked_at"), Ripe: r.count("ripe"), Spent: r.count("spent"),
		Released: r.count("released"), SpotID: r.cell("spot"), Presentation: r.cell("presentation"), Body: r.cell("body"), Line: r.cell("line"),
		Held: r.yesNo("held"), BecauseMail: r.yesNo("because_mail"), Angler: r.cell("angler"), Clarity: r.cell("clarity"), Note: r.cell("note")}
	if n := r.yesNo("night"); n != nil {
		t.Night = *n
	}
	loc, ok := zones[string(t.Reach)]
	if !ok {
		r.fault("reach", "the id of a reach")
		return t
	}
	d, err := coldseam.ParseDate(r.cell("date"))
	if err != nil {
		r.fault("date", "YYYY-MM-DD")
	}
	t.Date = d
	if s := r.cell("start"); s != "" {
		clock, err := time.Parse("15:04", s)
		if err != nil {
			r.fault("start", "a 24-hour time such as 06:15")
		}
		t.Start = d.In(loc).Add(time.Duration(clock.Hour())*time.Hour + time.Duration(clock.Minute())*time.Minute)
	}
	if s := r.cell("weight_oz"); s != "" {
		oz, err := ounces(s)
		if err != nil {
			r.fault("weight_oz", "a size such as 1/4")
		}
		t.WeightOz = oz
	}
	if r.cell("water_f") != "" {
		c := coldseam.C(r.number("water_f", 30, 90))
		t.WaterC = &c
	}
	return t
}

// ounces reads "1/4", "3/8", "1" or "0.25".
func ounces(s string) (float64, error) {
	a, b, frac := strings.Cut(s, "/")
	x, err := strconv.ParseFloat(strings.TrimSpace(a), 64)
	if err != nil {
		return 0, err
	}
	if frac {
		y, err := strconv.ParseFloat(strings.TrimSpace(b), 64)
		if err != nil || y == 0 {
			return 0, fmt.Errorf("weight %q: %w", s, coldseam.ErrInvalid)
		}
		x /= y
	}
	if !(x > 0 && x <= 4) {
		return 0, fmt.Errorf("weight %q: %w", s, coldseam.ErrInvalid)
	}
	return x, nil
}
