package verdict

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"example.org/coldseam"
)

//go:embed advice.csv
var adviceCSV string

//go:embed modifiers.csv
var modifierCSV string

// Bodies are the rig's bodies: an advice row names one of them, and the weight
// printed is for it.
var Bodies = [...]string{"slim", "flutter", "paddle", "bulky", "bucktail"}

// modifierKeys are the conditions the program looks for; a modifier row must
// name one of them.
var modifierKeys = []string{"staging", "wave", "moving", "spawning", "dropping_back", "flow_low", "flow_high", "flow_flood",
	"keep_off", "rising",
	"falling_clearing", "muddy", "stained", "clear", "unknown", "temp_fall", "deep", "first_catch", "line"}

// stageKeys are the stages as the rows write them.
var stageKeys = []string{"not_yet", "staging", "wave", "moving", "spawning", "dropping_back", "done"}

// AdviceRow is one way to fish.
type AdviceRow struct {
	ID, Band, Flow, Stage string // Flow and Stage may be "*"
	Alternative           bool
	Body, Tail, Verb      string
	coldseam.AdviceWay
	Where      []string
	Bait, Mark string
	line       int
}

// Modifier changes a row where its condition holds.
type Modifier struct {
	When     string
	Colder   bool // take cadence and pause from one band colder
	Where    []string
	LeaderLB float64 // 0 = as the row says
	Colour   string
	Note     string
	Mark     string
}

// AdviceTable is the club's rows with their modifiers.
type AdviceTable struct {
	rows  []AdviceRow
	mods  map[string]Modifier
	bands []coldseam.Band
}

// DefaultAdvice is the embedded table.
func DefaultAdvice() AdviceTable { return defaultAdvice }

// defaultAdvice is read once: a replayed season asks for it a thousand times.
var defaultAdvice = func() AdviceTable {
	t, err := ParseAdvice(strings.NewReader(adviceCSV), strings.NewReader(modifierCSV), coldseam.DefaultBands)
	if err != nil {
		panic(err) // the shipped files are tested
	}
	return t
}()

// ParseAdvice reads rows and modifiers. A bad row is refused with its line and
// the reason; a table with a fault, or a band without a main row for every
// flow and stage, is refused as a whole, so the one in use stays.
func ParseAdvice(rows, modifiers io.Reader, bands []coldseam.Band) (AdviceTable, error) {
	t := AdviceTable{mods: map[string]Modifier{}, bands: bands}
	recs, err := readCSV(rows, "advice",
		strings.Split("id,kind,band,flow,stage,body,tail,verb,lift_in,pause_s,action,cadence,hook,leader_lb,leader_ft,where,bait,mark", ","))
	if err != nil {
		return AdviceTable{}, err
	}

	var errs []error
	ids := map[string]bool{}
	for _, r := range recs {
		row, err := parseRow(r, bands)
		if err == nil && ids[row.ID] {
			err = fmt.Errorf("id %q given twice", row.ID)
		}
		if err != nil {
			errs = append(errs, fmt.Errorf("advice line %d: %w: %w", r.line, err, coldseam.ErrInvalid))
			continue
		}
		ids[row.ID] = true
		t.rows = append(t.rows, row)
	}

	for _, b := range bands {
		if !slices.ContainsFunc(t.rows, func(r AdviceRow) bool {
			return !r.Alternative && r.Band == b.Key && r.Flow == "*" && r.Stage == "*"
		}) && len(errs) == 0 {
			errs = append(errs, fmt.Errorf("advice: band %s has no main row for every flow and stage: %w", b.Key,
				coldseam.ErrInvalid))
		}
	}

	errs = append(errs, t.parseModifiers(modifiers)...)
	if len(errs) > 0 {
		return AdviceTable{}, errors.Join(errs...)
	}
	return t, nil
}

func parseRow(r csvRow, bands []coldseam.Band) (AdviceRow, error) {
	f := r.f
	row := AdviceRow{
		ID:          f["id"],
		Band:        f["band"],
		Flow:        f["flow"],
		Stage:       f["stage"],
		Alternative: f["kind"] == "alt",
		Body:        f["body"],
		Tail:        f["tail"],
		Verb:        f["verb"],
		AdviceWay:   coldseam.AdviceWay{Action: f["action"], Cadence: f["cadence"], Hook: f["hook"]},
		Bait:        f["bait"],
		Mark:        f["mark"],
		line:        r.line,
	}
	for _, k := range []string{"id", "tail", "verb", "action", "cadence", "hook"} {
		if f[k] == "" {
			return row, fmt.Errorf("%s is empty", k)
		}
	}

	switch {
	case f["kind"] != "main" && f["kind"] != "alt":
		return row, fmt.Errorf("kind %q, want main or alt", f["kind"])
	case !knownBand(bands, row.Band):
		return row, fmt.Errorf("band %q, want one of %s", row.Band, bandKeys(bands))
	case row.Flow != "*" && !knownFlow(row.Flow):
		return row, fmt.Errorf("flow %q, want *, low, normal, high or flood", row.Flow)
	case row.Stage != "*" && !slices.Contains(stageKeys, row.Stage):
		return row, fmt.Errorf("stage %q, want * or one of %s", row.Stage, strings.Join(stageKeys, ", "))
	case !slices.Contains(Bodies[:], row.Body):
		return row, fmt.Errorf("body %q, want one of %s", row.Body, strings.Join(Bodies[:], ", "))
	case row.Bait != "" && row.Bait != "minnow":
		return row, fmt.Errorf("bait %q, want minnow or nothing", row.Bait)
	case !knownMark(row.Mark):
		return row, fmt.Errorf("mark %q, want seen, from memory, proposal, common practice or log", row.Mark)
	}

	var err error
	if row.Where, err = parsePlaces(f["where"]); err != nil {
		return row, err
	}
	if len(row.Where) == 0 {
		return row, errors.New("where is empty")
	}
	if err := row.numbers(f); err != nil {
		return row, err
	}

	line := row.Band + ": " + row.Tail + ", " + row.Verb
	n := len([]rune(line))
	if row.LiftM[1] > 0 {
		n += liftWidth
	}
	if n > howWidth {
		return row, fmt.Errorf("the HOW line %q is %d characters, want %d at most", line, n, howWidth)
	}
	return row, nil
}

// howWidth is the longest HOW line, in characters; liftWidth the room that the
// lift takes in it.
const howWidth, liftWidth = 60, len(" 10-20 cm")

func (row *AdviceRow) numbers(f map[string]string) error {
	for _, x := range []struct {
		col        string
		to         *[2]float64
		most, unit float64
	}{{"lift_in", &row.LiftM, 60, coldseam.MetrePerFoot / 12}, {"pause_s", &row.PauseS, 60, 1},
		{"leader_lb", &row.LeaderLB, 40, 1}, {"leader_ft", &row.LeaderM, 10, coldseam.MetrePerFoot}} {
		v, err := parseRange(f[x.col], x.most)
		if err != nil {
			return fmt.Errorf("%s %w", x.col, err)
		}
		*x.to = [2]float64{v[0] * x.unit, v[1] * x.unit}
	}

	if strings.Contains(row.Cadence, "{lift}") && row.LiftM[1] == 0 {
		return errors.New("cadence uses {lift}, but lift_in is 0")
	}
	if strings.Contains(row.Cadence, "{pause}") && row.PauseS[1] == 0 {
		return errors.New("cadence uses {pause}, but pause_s is 0")
	}
	if rest := strings.NewReplacer("{lift}", "", "{pause}", "").Replace(row.Cadence); strings.ContainsAny(rest, "{}") {
		return fmt.Errorf("cadence %q: only {lift} and {pause} are filled in", row.Cadence)
	}
	if row.LeaderLB[0] == 0 {
		return errors.New("leader_lb is 0")
	}
	return nil
}

// parseRange reads "4-8" or "10".
func parseRange(s string, most float64) ([2]float64, error) {
	a, b, two := strings.Cut(s, "-")
	if !two {
		b = a
	}
	lo, err1 := strconv.ParseFloat(strings.TrimSpace(a), 64)
	hi, err2 := strconv.ParseFloat(strings.TrimSpace(b), 64)
	if err1 != nil || err2 != nil || !(lo >= 0 && lo <= hi && hi <= most) {
		return [2]float64{}, fmt.Errorf("%q, want a number or a range a-b within 0-%g", s, most)
	}
	return [2]float64{lo, hi}, nil
}

func parsePlaces(s string) ([]string, error) {
	var out []string
	for _, w := range strings.Split(s, "/") {
		if w = strings.TrimSpace(w); w == "" {
			continue
		}
		if _, ok := coldseam.KindOfClass[w]; !ok {
			names := make([]string, 0, len(coldseam.KindOfClass))
			for n := range coldseam.KindOfClass {
				names = append(names, n)
			}
			slices.Sort(names)
			return nil, fmt.Errorf("where %q, want classes of %s joined by /", w, strings.Join(names, ", "))
		}
		out = append(out, w)
	}
	return out, nil
}

func (t *AdviceTable) parseModifiers(r io.Reader) (errs []error) {
	recs, err := readCSV(r, "modifiers", []string{"when", "colder", "where", "leader_lb", "colour", "note", "mark"})
	if err != nil {
		return []error{err}
	}
	for _, rec := range recs {
		m, err := parseModifier(rec.f)
		if _, twice := t.mods[m.When]; err == nil && twice {
			err = fmt.Errorf("%s given twice", m.When)
		}
		if err != nil {
			errs = append(errs, fmt.Errorf("modifiers line %d: %w: %w", rec.line, err, coldseam.ErrInvalid))
			continue
		}
		t.mods[m.When] = m
	}
	return errs
}

func parseModifier(f map[string]string) (Modifier, error) {
	m := Modifier{When: f["when"], Colder: f["colder"] == "yes", Colour: f["colour"], Note: f["note"], Mark: f["mark"]}
	switch {
	case !slices.Contains(modifierKeys, m.When):
		return m, fmt.Errorf("when %q, want one of %s", m.When, strings.Join(modifierKeys, ", "))
	case f["colder"] != "yes" && f["colder"] != "no":
		return m, fmt.Errorf("colder %q, want yes or no", f["colder"])
	case m.Colour != "" && m.Colour != "loud" && m.Colour != "pale":
		return m, fmt.Errorf("colour %q, want loud, pale or nothing", m.Colour)
	case !knownMark(m.Mark):
		return m, fmt.Errorf("mark %q, want seen, from memory, proposal, common practice or log", m.Mark)
	}

	var err error
	if m.Where, err = parsePlaces(f["where"]); err != nil {
		return m, err
	}
	if f["leader_lb"] != "" {
		v, err := parseRange(f["leader_lb"], 40)
		if err != nil {
			return m, fmt.Errorf("leader_lb %w", err)
		}
		m.LeaderLB = v[0]
	}

	return m, nil
}
