// Package triplog reads the paper log of a club, row by row, and enters it.
package triplog

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/run"
)

// tripColumns are the columns of a paper log; only reach and date are needed.
var tripColumns = []string{"reach", "date", "start", "hours", "anglers", "lines", "species", "fish", "looked_at",
	"ripe", "spent", "released",
	"spot", "presentation", "body", "line", "weight_oz", "held", "because_mail", "angler", "water_f", "water_c",
	"clarity", "night", "note"}

// Map tells how a club's own table names what a trip log holds. The zero
// value is a table that uses our names.
type Map struct {
	Column map[string]string `toml:"column"` // heading of the table = our column
	Reach  map[string]string `toml:"reach"`  // name of a river in the table = id of a reach
	Ignore []string          `toml:"ignore"` // headings that are passed over
	Date   string            `toml:"date"`   // layout of a date: "2006-01-02" (default), "1/2/2006", "2.1.2006"

	Species []run.Species // known ones; nil = any
	Now     time.Time     `toml:"-"` // trips after it are refused; zero = none is
}

// ReadMap reads the map of a table; "" is none.
func ReadMap(path string) (Map, error) {
	var m Map
	if path == "" {
		return m, nil
	}
	md, err := toml.DecodeFile(path, &m)
	if err != nil {
		return m, fmt.Errorf("%s: %w", path, err)
	}
	if un := md.Undecoded(); len(un) > 0 {
		return m, fmt.Errorf("%s: unknown key %q: %w", path, un[0].String(), coldseam.ErrInvalid)
	}
	return m, nil
}

// columnOf is our name of a heading; "" for one that is passed over.
func (m Map) columnOf(heading string) (name string, ok bool) {
	h := strings.ToLower(strings.TrimSpace(strings.TrimPrefix(heading, "\ufeff")))
	for _, x := range m.Ignore {
		if strings.EqualFold(strings.TrimSpace(x), h) {
			return "", true
		}
	}
	for from, to := range m.Column {
		if strings.EqualFold(strings.TrimSpace(from), h) {
			h = to
			break
		}
	}
	return h, slices.Contains(tripColumns, h)
}

// Read reads a trip log with a header line: columns in any order, blank
// cells for what was not noted. A bad row refuses the file with its line, so
// that a log is whole or not there.
func Read(r io.Reader, reaches []coldseam.Reach, m Map) ([]coldseam.Trip, error) {
	cr := csv.NewReader(r)
	cr.TrimLeadingSpace = true
	head, err := cr.Read()
	if err != nil {
		return nil, fmt.Errorf("trip log: no header line: %w", coldseam.ErrInvalid)
	}

	at := map[string]int{}
	for i, h := range head {
		name, known := m.columnOf(h)
		if _, twice := at[name]; !known || name != "" && twice {
			return nil, fmt.Errorf("trip log: column %q; want some of %s, each once, or a map that names it: %w", name,
				strings.Join(tripColumns, ", "), coldseam.ErrInvalid)
		}
		if name != "" {
			at[name] = i
		}
	}

	zones := map[string]*time.Location{}
	for _, x := range reaches {
		zones[string(x.ID)] = env.Zone(x.Zone)
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
		row := tripRow{rec: rec, at: at, m: m}
		t := row.trip(zones)
		row.known(&t, reaches)
		row.happened(t, zones[string(t.Reach)])
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
	m   Map
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
	t := coldseam.Trip{
		Reach:        coldseam.ReachID(r.cell("reach")),
		Hours:        r.number("hours", 0, 24),
		Anglers:      r.count("anglers"),
		Lines:        r.count("lines"),
		Species:      r.cell("species"),
		Fish:         r.count("fish"),
		LookedAt:     r.count("looked_at"),
		Ripe:         r.count("ripe"),
		Spent:        r.count("spent"),
		Released:     r.count("released"),
		SpotID:       r.cell("spot"),
		Presentation: r.cell("presentation"),
		Body:         r.cell("body"),
		Line:         r.cell("line"),
		Held:         r.yesNo("held"),
		BecauseMail:  r.yesNo("because_mail"),
		Angler:       r.cell("angler"),
		Clarity:      r.cell("clarity"),
		Note:         r.cell("note"),
	}
	if n := r.yesNo("night"); n != nil {
		t.Night = *n
	}

	if id, ok := r.m.Reach[string(t.Reach)]; ok {
		t.Reach = coldseam.ReachID(id)
	}
	loc, ok := zones[string(t.Reach)]
	if !ok {
		r.fault("reach", "the id of a reach")
		return t
	}

	d, err := r.m.date(r.cell("date"))
	if err != nil {
		r.fault("date", r.m.dateWords())
	}

	t.Date = d
	if s := r.cell("start"); s != "" {
		clock, err := coldseam.ParseClock(s)
		if err != nil {
			r.fault("start", "a 24-hour time such as 06:15")
		}
		t.Start = d.At(clock, loc)
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

	if r.cell("water_c") != "" {
		c := r.number("water_c", -1, 32)
		t.WaterC = &c
	}

	return t
}

// known refuses a spot or a species that nothing is known of: such a trip would
// teach nothing and be missed by nobody. Species are told by key or by name.
func (r *tripRow) known(t *coldseam.Trip, reaches []coldseam.Reach) {
	i := slices.IndexFunc(reaches, func(x coldseam.Reach) bool { return x.ID == t.Reach })
	if i < 0 {
		return
	}
	var spots []string
	for _, s := range reaches[i].Spots {
		spots = append(spots, s.ID)
	}

	if t.SpotID != "" && len(spots) > 0 && !slices.Contains(spots, t.SpotID) {
		r.fault("spot", "blank or a spot of "+string(t.Reach)+": "+strings.Join(spots, ", "))
	}
	keys := slices.Clone(reaches[i].Species)
	for _, s := range r.m.Species {
		keys = append(keys, s.Key)
		if strings.EqualFold(s.Key, t.Species) || strings.EqualFold(s.Name, t.Species) {
			t.Species = s.Key
		}
	}

	slices.Sort(keys)
	keys = slices.Compact(keys)
	if t.Species != "" && r.m.Species != nil && !slices.Contains(keys, t.Species) {
		r.fault("species", "blank or one of "+strings.Join(keys, ", "))
	}
}

// happened refuses what is still to come, and counts that contradict each other.
func (r *tripRow) happened(t coldseam.Trip, loc *time.Location) {
	if r.err != nil {
		return
	}
	if now := r.m.Now; !now.IsZero() && t.Date.Sub(coldseam.DateOf(now.In(loc))) > 0 {
		r.fault("date", "a day that has come, up to "+coldseam.DateOf(now.In(loc)).String())
	}
	if t.Released > t.Fish {
		r.fault("released", fmt.Sprintf("no more than the %d fish landed", t.Fish))
	}
	if t.LookedAt > 0 && t.Ripe+t.Spent > t.LookedAt {
		r.fault("looked_at", fmt.Sprintf("at least the %d ripe and %d spent", t.Ripe, t.Spent))
	}
}

func (m Map) date(s string) (coldseam.Date, error) {
	if m.Date == "" {
		return coldseam.ParseDate(s)
	}
	at, err := time.Parse(m.Date, s)
	return coldseam.DateOf(at), err
}

func (m Map) dateWords() string {
	if m.Date == "" {
		return "YYYY-MM-DD"
	}
	return "a date such as " + time.Date(2026, time.April, 18, 0, 0, 0, 0, time.UTC).Format(m.Date)
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

// Enter puts a trip log into the database; what is there already stays.
func Enter(ctx context.Context, e *env.Env, text string) (n int, err error) {
	reaches, err := e.DB.Reaches(ctx)
	if err != nil {
		return 0, err
	}
	trips, err := Read(strings.NewReader(text), reaches, Map{Now: e.Now()})
	if err != nil {
		return 0, err
	}

	for _, t := range trips {
		t.EnteredAt, t.Source = e.Now(), "csv"
		_, added, err := e.DB.AddTrip(ctx, t)
		if err != nil {
			return n, err
		}
		if added {
			n++
		}
	}

	return n, nil
}
