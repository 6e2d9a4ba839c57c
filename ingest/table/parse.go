package table

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// maxRefused is the share of refused rows above which the file is refused
// [proposal].
const maxRefused = 0.01

// keptRefusals bounds the refusals that a report lists; all are counted.
const keptRefusals = 20

// Parse reads a file with a column map. The report is filled also when the
// file is refused, as far as it was read. Known-at is left zero: an import is
// known when it is imported.
func Parse(r io.Reader, p ingest.Profile, m Map) (ingest.Batch, Report, error) {
	rep := Report{ByColumn: map[string]int{}}
	if err := m.Check(); err != nil {
		return ingest.Batch{}, rep, err
	}
	body, err := ingest.ReadBody(r, p)
	if err != nil {
		return ingest.Batch{}, rep, err
	}

	if !utf8.Valid(body) || bytes.IndexByte(body, 0) >= 0 {
		return ingest.Batch{}, rep, fmt.Errorf("table: text is not UTF-8 (set encoding_override): %w",
			coldseam.ErrInvalid)
	}
	rep.OpenEnd = len(body) > 0 && body[len(body)-1] != '\n'
	f := &file{p: p.WithDefaults(), m: m, rep: &rep, base: 1}
	f.p.MissingTokens = append(append([]string(nil), f.p.MissingTokens...), m.Missing...)
	f.b = ingest.NewBuilder(f.p)

	if err := f.read(body); err != nil {
		return ingest.Batch{}, rep, fmt.Errorf("table: %w", err)
	}
	out, err := f.b.Batch(ingest.FormatTable)
	if err != nil {
		return ingest.Batch{}, rep, err
	}
	rep.Series = summaries(out)
	return out, rep, nil
}

// file is one file being read.
type file struct {
	p    ingest.Profile
	m    Map
	b    *ingest.Builder
	rep  *Report
	base int            // line of the first record that the csv reader sees
	cols map[string]int // name -> index
	n    int            // fields of a row
	loc  *time.Location

	taken []taken
}

// taken is one row of the file that fits.
type taken struct {
	line int
	rows []ingest.Row
	why  string // it is refused after all
}

func (f *file) read(body []byte) error {
	if f.m.Zone != "" {
		f.loc, _ = time.LoadLocation(f.m.Zone) // Check has loaded it
	}
	body, ok := skipLines(body, f.m.Header-1)
	if !ok {
		return fmt.Errorf("the file ends before its header on line %d: %w", f.m.Header, coldseam.ErrInvalid)
	}
	f.base = max(f.m.Header, 1)

	r := csv.NewReader(bytes.NewReader(body))
	r.Comma, r.FieldsPerRecord, r.ReuseRecord = f.m.delimiter(), -1, true
	if f.m.Comment != "" {
		r.Comment, _ = utf8.DecodeRuneInString(f.m.Comment)
	}
	if f.m.Header > 0 {
		if err := f.header(r); err != nil {
			return err
		}
	}

	if err := f.rows(r); err != nil {
		return err
	}
	f.resolveRepeats()
	if float64(f.rep.Refused) > maxRefused*float64(f.rep.Rows) {
		x := f.rep.Examples[0]
		return fmt.Errorf("%d of %d rows do not fit, first line %d: %s: %w", f.rep.Refused, f.rep.Rows, x.Line, x.Why,
			coldseam.ErrInvalid)
	}

	return nil
}

func skipLines(b []byte, n int) ([]byte, bool) {
	for ; n > 0; n-- {
		i := bytes.IndexByte(b, '\n')
		if i < 0 {
			return nil, false
		}
		b = b[i+1:]
	}
	return b, true
}

func (f *file) header(r *csv.Reader) error {
	rec, err := r.Read()
	if err != nil {
		return fmt.Errorf("no header on line %d: %w", f.m.Header, coldseam.ErrInvalid)
	}

	f.n, f.cols = len(rec), map[string]int{}
	for i, c := range rec {
		c = strings.TrimSpace(c)
		if _, twice := f.cols[c]; twice && f.wanted(c) {
			return fmt.Errorf("column %q stands twice in the header: %w", clip(c), coldseam.ErrInvalid)
		}
		f.cols[c] = i
	}

	for _, c := range f.wantedColumns() {
		if _, err := f.index(c); err != nil {
			return err
		}
	}

	for range f.m.SkipAfter {
		if _, err := r.Read(); err != nil && !errors.Is(err, csv.ErrFieldCount) {
			return fmt.Errorf("the file ends after its header: %w", coldseam.ErrInvalid)
		}
	}

	return nil
}

func (f *file) wantedColumns() []string {
	m := f.m
	out := []string{m.TimeColumn}
	for _, c := range []string{m.SiteColumn, m.QualifierColumn, m.ApprovalColumn, m.ParameterColumn, m.ValueColumn,
		m.UnitColumn} {
		if c != "" {
			out = append(out, c)
		}
	}
	for _, c := range m.Columns {
		out = append(out, c.Name)
		if c.Qualifier != "" {
			out = append(out, c.Qualifier)
		}
	}
	return out
}

func (f *file) wanted(name string) bool {
	for _, c := range f.wantedColumns() {
		if c == name {
			return true
		}
	}
	return false
}

// index of a column by name, or by number as #n.
func (f *file) index(name string) (int, error) {
	if i, ok := f.cols[name]; ok {
		return i, nil
	}
	var n int
	if _, err := fmt.Sscanf(name, "#%d", &n); err == nil && n > 0 {
		return n - 1, nil
	}
	return 0, fmt.Errorf("no column %q: %w", clip(name), coldseam.ErrInvalid)
}

func (f *file) rows(r *csv.Reader) error {
	for {
		rec, err := r.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}

		var pe *csv.ParseError
		switch {
		case errors.As(err, &pe) && pe.StartLine == pe.Line:
			f.rep.Rows++
			f.refuse(pe.Line+f.base-1, "", pe.Err.Error())
			continue
		case errors.As(err, &pe): // a stray quote has swallowed rows: the file is not trusted
			return fmt.Errorf("lines %d to %d: %s: %w", pe.StartLine+f.base-1, pe.Line+f.base-1, pe.Err,
				coldseam.ErrInvalid)
		case err != nil:
			return err
		}

		line, _ := r.FieldPos(0)
		line += f.base - 1
		f.rep.Rows++
		if f.n == 0 {
			f.n = len(rec)
		}
		if len(rec) != f.n {
			f.refuse(line, "", fmt.Sprintf("%d fields, want %d", len(rec), f.n))
			continue
		}

		f.row(line, rec)
	}
}

func (f *file) refuse(line int, column, why string) {
	f.rep.Refused++
	if column != "" {
		f.rep.ByColumn[column]++
	}
	if len(f.rep.Examples) < keptRefusals {
		f.rep.Examples = append(f.rep.Examples, Refusal{line, column, why})
	}
}

// cell is the trimmed text of a column; "" for no column.
func (f *file) cell(rec []string, column string) string {
	if column == "" {
		return ""
	}
	i, err := f.index(column)
	if err != nil || i >= len(rec) {
		return ""
	}
	return strings.TrimSpace(rec[i])
}

// row takes a row as a whole or refuses it as a whole.
func (f *file) row(line int, rec []string) {
	stamp, err := ingest.ParseLayout(f.cell(rec, f.m.TimeColumn), f.m.TimeLayout, f.loc)
	if err != nil {
		f.refuse(line, f.m.TimeColumn, cause(err))
		return
	}

	site := f.m.Site
	if site == "" {
		if site = f.cell(rec, f.m.SiteColumn); site == "" {
			f.refuse(line, f.m.SiteColumn, "no site")
			return
		}
	}

	var out []ingest.Row
	for _, c := range f.values(rec) {
		r, keep, err := f.value(c, rec, site, stamp)
		if err != nil {
			f.refuse(line, c.Name, cause(err))
			return
		}
		if keep {
			out = append(out, r)
		}
	}

	f.taken = append(f.taken, taken{line: line, rows: out})
}

// resolveRepeats looks for rows that give one time of a series twice. In the hour that
// the clock repeats the second is the later hour; a row that says the same again
// is noted; of two that differ neither can be believed.
func (f *file) resolveRepeats() {
	type place struct {
		key coldseam.SeriesKey
		at  time.Time
	}
	type spot struct{ row, value int }
	first := map[place]spot{}

	for i := range f.taken {
		t := &f.taken[i]

		for k := range t.rows {
			r := &t.rows[k]
			at := place{r.Key, r.Stamp.At}
			was, twice := first[at]
			if twice {
				if o := &f.taken[was.row].rows[was.value]; r.Stamp.Ambiguous && o.Stamp.Ambiguous {
					f.tellHours(o, r)
					delete(first, at)
					first[place{o.Key, o.Stamp.At}] = was
					at.at = r.Stamp.At
					was, twice = first[at]
				}
			}

			switch {
			case !twice:
				first[at] = spot{i, k}
			case f.same(f.taken[was.row].rows[was.value], *r):
				if len(f.rep.Repeats) < keptRefusals {
					f.rep.Repeats = append(f.rep.Repeats,
						Refusal{t.line, r.Name, fmt.Sprintf("says again what line %d says", f.taken[was.row].line)})
				}
			default:
				t.why = fmt.Sprintf("another value for the time of line %d", f.taken[was.row].line)
				f.taken[was.row].why = fmt.Sprintf("another value for the time of line %d", t.line)
			}
		}
	}

	for _, t := range f.taken {
		if t.why != "" {
			f.refuse(t.line, f.m.TimeColumn, t.why)
			continue
		}
		for _, r := range t.rows {
			f.b.Add(r)
		}
	}

	slices.SortStableFunc(f.rep.Examples, func(a, b Refusal) int { return a.Line - b.Line })
}

// tellHours parts two rows of the hour that the clock repeats: in a file that
// begins with its newest row the first one is the later.
func (f *file) tellHours(first, second *ingest.Row) {
	_, before := first.Stamp.At.In(f.loc).Zone()
	_, after := first.Stamp.At.Add(3 * time.Hour).In(f.loc).Zone()
	late := first.Stamp
	late.At = late.At.Add(time.Duration(before-after) * time.Second)
	late.End = late.At
	first.Stamp.Ambiguous, late.Ambiguous = false, false
	early := first.Stamp
	if n := len(f.taken); f.taken[n-1].at().Before(f.taken[0].at()) {
		early, late = late, early
	}
	first.Stamp, second.Stamp = early, late
}

func (t taken) at() time.Time {
	if len(t.rows) == 0 {
		return time.Time{}
	}
	return t.rows[0].Stamp.At
}

// same reports whether two cells say the same.
func (f *file) same(a, b ingest.Row) bool {
	x, noX, _ := f.p.Value(a.Raw) // both were read before
	y, noY, _ := f.p.Value(b.Raw)
	return noX == noY && (noX || x == y) && a.Unit == b.Unit && a.Approval == b.Approval &&
		slices.Equal(a.Qualifiers, b.Qualifiers)
}

// values are the value columns of a row: those of the wide layout, or the one
// of the long layout with its own parameter and unit.
func (f *file) values(rec []string) []Column {
	if f.m.Layout == "wide" {
		return f.m.Columns
	}
	c := Column{
		Name:      f.m.ValueColumn,
		Parameter: f.m.Parameter,
		Unit:      f.m.Unit,
		Statistic: f.m.Statistic,
		Period:    f.m.Period,
	}
	if f.m.ParameterColumn != "" {
		c.Parameter = f.cell(rec, f.m.ParameterColumn)
	}
	if f.m.UnitColumn != "" {
		c.Unit = f.cell(rec, f.m.UnitColumn)
	}
	return []Column{c}
}

// value makes a row of one cell. An empty cell without a qualifier is nothing
// at all; with one it is a missing value that keeps its qualifier.
func (f *file) value(c Column, rec []string, site string, stamp ingest.Stamp) (ingest.Row, bool, error) {
	raw := f.cell(rec, c.Name)
	if f.m.DecimalMark == "," {
		if strings.Contains(raw, ".") {
			return ingest.Row{}, false, fmt.Errorf("value %q has a point, the decimal mark is a comma", clip(raw))
		}
		raw = strings.Replace(raw, ",", ".", 1)
	}

	quals := strings.FieldsFunc(f.cell(rec, f.m.QualifierColumn), func(r rune) bool {
		return r == ',' || r == ' ' || r == ';'
	})
	if f.m.SeriesRef == HandSeries { // a note is a sentence, not a list
		quals = []string{f.cell(rec, f.m.QualifierColumn)}
	}
	if q := f.cell(rec, c.Qualifier); q != "" {
		quals = append(quals, strings.Fields(q)...)
	}
	_, missing, err := f.p.Value(raw)
	if err != nil {
		return ingest.Row{}, false, err
	}

	if missing && strings.Join(quals, "") == "" {
		return ingest.Row{}, false, nil
	}
	param, ok := f.p.Parameter(c.Parameter, names)
	if !ok {
		return ingest.Row{}, false, fmt.Errorf("parameter %q is not known", clip(c.Parameter))
	}
	if _, _, err := f.p.Unit(param, c.Unit); err != nil {
		return ingest.Row{}, false, err
	}
	key := coldseam.SeriesKey{
		Site:      f.p.SiteID(site),
		Param:     param,
		Stat:      coldseam.Statistic(c.Statistic),
		Period:    c.Period,
		SeriesRef: f.m.SeriesRef,
	}
	return ingest.Row{
		Key:        key,
		Name:       c.Name,
		Stamp:      stamp,
		Raw:        raw,
		Unit:       c.Unit,
		Approval:   f.cell(rec, f.m.ApprovalColumn),
		Qualifiers: quals,
	}, true, nil
}

// names are the parameters under their own names.
var names = map[string]coldseam.Parameter{
	"discharge": coldseam.Discharge, "stage": coldseam.Stage, "water_temp": coldseam.WaterTemp,
	"turbidity": coldseam.Turbidity, "velocity": coldseam.Velocity,
	"air_temp": coldseam.AirTemp, "precip": coldseam.Precip, "wind": coldseam.Wind, "gust": coldseam.Gust,
	"wind_from": coldseam.WindFrom, "thunder_prob": coldseam.ThunderProb,
	"visibility": coldseam.Visibility, "fish_count": coldseam.FishCount,
}

func clip(s string) string {
	if len(s) <= 80 {
		return s
	}
	return strings.ToValidUTF8(s[:80], "") + "..."
}
