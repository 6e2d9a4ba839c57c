package verdict

import (
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"example.org/coldseam"
)

//go:embed season.csv
var seasonCSV string

// FlowClasses are the flow classes of the odds and advice tables.
var FlowClasses = [...]string{"low", "normal", "high", "flood"}

// SeasonTable holds the odds of a good morning outside a run, by band and flow
// class. Its first values are proposals: they print "uncalibrated" until the
// club's log has a say.
type SeasonTable struct {
	odds map[[2]string]float64
}

// SeasonCell counts what the log holds of one band and flow class outside a
// run.
type SeasonCell struct {
	Band, Flow  string
	Trips, Good int
}

// DefaultSeason is the embedded table.
func DefaultSeason() SeasonTable {
	t, err := ParseSeason(strings.NewReader(seasonCSV), coldseam.DefaultBands)
	if err != nil {
		panic(err) // the shipped file is tested
	}
	return t
}

// SeasonFile is the text of the embedded table, the start of a club's own.
func SeasonFile() string { return seasonCSV }

// ParseSeason reads band,flow,odds,mark rows. Every band and class must have
// one; each fault is named with its line.
func ParseSeason(r io.Reader, bands []coldseam.Band) (SeasonTable, error) {
	rows, err := readCSV(r, "odds table", []string{"band", "flow", "odds", "mark"})
	if err != nil {
		return SeasonTable{}, err
	}
	t := SeasonTable{odds: map[[2]string]float64{}}
	var errs []error
	bad := func(line int, format string, a ...any) {
		errs = append(errs, fmt.Errorf("odds table line %d: %s: %w", line, fmt.Sprintf(format, a...),
			coldseam.ErrInvalid))
	}

	for _, r := range rows {
		k := [2]string{r.f["band"], r.f["flow"]}
		p, err := strconv.ParseFloat(r.f["odds"], 64)
		_, twice := t.odds[k]
		switch {
		case !knownBand(bands, k[0]):
			bad(r.line, "band %q, want one of %s", k[0], bandKeys(bands))
		case !knownFlow(k[1]):
			bad(r.line, "flow class %q, want low, normal, high or flood", k[1])
		case err != nil || math.IsNaN(p) || p < 0.02 || p > 0.98:
			bad(r.line, "odds %q, want a number from .02 to .98", r.f["odds"])
		case !knownMark(r.f["mark"]):
			bad(r.line, "mark %q, want seen, from memory, proposal, common practice or log", r.f["mark"])
		case twice:
			bad(r.line, "%s %s given twice", k[0], k[1])
		default:
			t.odds[k] = p
		}
	}

	for _, b := range bands {
		for _, f := range FlowClasses {
			if _, ok := t.odds[[2]string{b.Key, f}]; !ok && len(errs) == 0 {
				errs = append(errs, fmt.Errorf("odds table: no row for %s %s: %w", b.Key, f, coldseam.ErrInvalid))
			}
		}
	}

	if len(errs) > 0 {
		return SeasonTable{}, errors.Join(errs...)
	}
	return t, nil
}

// SeasonWeight is how many trips the table's value is worth against the log
// [proposal].
const SeasonWeight = 6

// Odds is the value of a cell after the log's trips in it; an empty flow class
// reads as normal.
func (t SeasonTable) Odds(band, flow string, log []SeasonCell) (p float64, trips int) {
	if flow == "" {
		flow = "normal"
	}
	p = t.odds[[2]string{band, flow}]
	good := 0
	for _, c := range log {
		if c.Band == band && (c.Flow == flow || c.Flow == "" && flow == "normal") {
			trips += c.Trips
			good += c.Good
		}
	}
	return (SeasonWeight*p + float64(good)) / (SeasonWeight + float64(trips)), trips
}

// Good is the odds of a good morning of every member outside a run. waterC and
// flowPct (percentile for the date, NaN = unknown) are the members' values in
// the window; f.Hold applies here too.
func (t SeasonTable) Good(bands []coldseam.Band, waterC, flowPct []float64, log []SeasonCell,
	f Factors) (p []float64, note coldseam.Reason) {
	p = make([]float64, len(waterC))
	most := 0
	for i, c := range waterC {
		flow := FlowClass(coldseam.At(flowPct, i))
		v, n := t.Odds(bands[coldseam.BandOf(bands, c)].Key, flow, log)
		p[i] = min(v*f.Product(), 1)
		most = max(most, n)
	}
	if most < SeasonWeight {
		return p, restsOn(0, false)
	}
	return p, restsOn(most, true)
}

// SeasonCells counts the log's trips outside a run by band and flow class.
// class gives both for a trip, ok = false leaves it out (within a run, or no
// water temperature known). A trip is good from target fish a line hour on.
func SeasonCells(trips []coldseam.Trip, target float64,
	class func(coldseam.Trip) (band, flow string, ok bool)) []SeasonCell {
	var out []SeasonCell
	at := map[[2]string]int{}

	for _, t := range trips {
		h := LineHours(t)
		if t.WentNot || h <= 0 {
			continue
		}
		band, flow, ok := class(t)
		if !ok {
			continue
		}
		k := [2]string{band, flow}
		if _, have := at[k]; !have {
			at[k] = len(out)
			out = append(out, SeasonCell{Band: band, Flow: flow})
		}

		c := &out[at[k]]
		c.Trips++
		if float64(t.Fish)/h >= target-1e-9 {
			c.Good++
		}
	}

	return out
}

// SeasonPaused reports whether the mail pauses: the window temperature of the
// last days stayed above limitF (club default 55 F for 5 days), or the river
// is ice-covered.
func SeasonPaused(waterC []float64, limitF float64, days int, iceCovered bool) bool {
	if iceCovered {
		return true
	}
	if len(waterC) < days || days < 1 {
		return false
	}
	for _, c := range waterC[len(waterC)-days:] {
		if math.IsNaN(c) || coldseam.F(c) <= limitF {
			return false
		}
	}
	return true
}

// csvRow is one record by column name, with its line.
type csvRow struct {
	line int
	f    map[string]string
}

// readCSV reads a file with exactly these columns; # starts a comment line.
func readCSV(r io.Reader, what string, cols []string) ([]csvRow, error) {
	cr := csv.NewReader(r)
	cr.FieldsPerRecord = -1 // the header is compared as a whole first
	cr.Comment = '#'
	head, err := cr.Read()
	cr.FieldsPerRecord = len(cols)
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w", what, err, coldseam.ErrInvalid)
	}

	if got, want := strings.Join(head, ","), strings.Join(cols, ","); got != want {
		return nil, fmt.Errorf("%s line 1: header %q, want %s: %w", what, got, want, coldseam.ErrInvalid)
	}
	var out []csvRow

	for {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}

		if err != nil {
			return nil, fmt.Errorf("%s: %w: %w", what, err, coldseam.ErrInvalid)
		}
		line, _ := cr.FieldPos(0)
		row := csvRow{line: line, f: map[string]string{}}
		for i, c := range cols {
			row.f[c] = strings.TrimSpace(rec[i])
		}
		out = append(out, row)
	}
}

func knownBand(bands []coldseam.Band, key string) bool {
	for _, b := range bands {
		if b.Key == key {
			return true
		}
	}
	return false
}

func bandKeys(bands []coldseam.Band) string {
	var k []string
	for _, b := range bands {
		k = append(k, b.Key)
	}
	return strings.Join(k, ", ")
}

func knownFlow(f string) bool {
	for _, c := range FlowClasses {
		if c == f {
			return true
		}
	}
	return false
}

func knownMark(m string) bool {
	switch m {
	case "seen", "from memory", "proposal", "common practice", "log":
		return true
	}
	return false
}
