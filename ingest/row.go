package ingest

import (
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/coldseam"
)

// Row is one value as a document sends it.
type Row struct {
	Key        coldseam.SeriesKey // Site, Param, Stat, Period, SeriesRef; Provider is filled in
	Name       string             // parameter as the agency writes it, for the report
	Stamp      Stamp
	Raw        string // value text; "" = null
	Unit       string // as found, "" = none
	Approval   string
	Qualifiers []string
	NoData     []float64 // the document's own "no value" numbers
	Modified   time.Time
}

// isSuperseded reports whether another series of the site is to be taken.
func (b *Builder) isSuperseded(r *Row) bool {
	site := r.siteCode()
	if chosen := b.p.Series[site]; len(chosen) > 0 {
		return !contains(chosen, r.Key.SeriesRef)
	}
	return contains(b.p.PassedOver[site], r.Key.SeriesRef)
}

func (r Row) siteCode() string {
	_, code, _ := strings.Cut(string(r.Key.Site), ":")
	return code
}

// Builder gathers the rows of one document into series: it converts units,
// reads missing values and quality marks, and refuses a series whose unit is
// unknown without losing the others.
type Builder struct {
	p     Profile
	keys  []coldseam.SeriesKey // in order of appearance
	runs  map[coldseam.SeriesKey]*run
	skips map[[3]string]int
}

type run struct {
	meta    SeriesMeta
	conv    map[string]Conversion
	refused error
	obs     []coldseam.Observation
	last    int // rows of the part before this one, see Reset
}

// NewBuilder returns an empty builder for one document.
func NewBuilder(p Profile) *Builder {
	return &Builder{p: p.WithDefaults(), runs: map[coldseam.SeriesKey]*run{}, skips: map[[3]string]int{}}
}

// Skip records something left out.
func (b *Builder) Skip(what, code, why string) { b.skips[[3]string{clip(what), code, clip(why)}]++ }

// Add takes one row. A daily or monthly stamp becomes the end of its civil day
// or month, with the period set. A row without a value is kept as Missing with
// its qualifiers: an ice mark often comes that way.
func (b *Builder) Add(r Row) {
	s, ok := b.prepare(&r)
	if !ok {
		return
	}
	o, raw, err := b.observe(r)
	if err != nil {
		b.Skip(r.Key.String(), CodeOf(err), err.Error())
		return
	}

	if o.Flag&coldseam.Missing == 0 { // a row without a value needs no unit
		conv, err := b.convert(s, r)
		if err != nil {
			if s.refused == nil { // the first reason stands
				s.refused = err
			}
			return
		}
		o.Value = conv.Apply(raw)
	}

	if r.Modified.After(s.meta.Modified) {
		s.meta.Modified = r.Modified
	}
	s.obs = append(s.obs, o)
}

// prepare settles the key of a row and finds its series; ok is false when the
// row is left out.
func (b *Builder) prepare(r *Row) (s *run, ok bool) {
	r.Key.Provider = b.p.Provider
	switch {
	case r.Stamp.Precision == ToDay && r.Key.Period == "":
		r.Key.Period = "P1D"
	case r.Stamp.Precision == ToMonth && r.Key.Period == "":
		r.Key.Period = "P1M"
	}

	if r.Key.Stat == "" {
		stat, period, err := b.p.Stat(r.Key.Param)
		if err != nil {
			b.Skip(r.Key.String(), CodeOf(err), err.Error())
			return nil, false
		}
		r.Key.Stat = stat
		if r.Key.Period == "" {
			r.Key.Period = period
		}
	}

	if r.Key.Stat == "" {
		r.Key.Stat = coldseam.Instant
	}
	if r.Key.Stat == coldseam.Instant && r.Key.Period != "" {
		b.Skip(r.Key.String(), CodeStatistic, "a period without a statistic: set statistic in the profile")
		return nil, false
	}

	if b.isSuperseded(r) {
		b.Skip("series "+r.Key.SeriesRef, CodeChosen, "another series of the site is chosen")
		return nil, false
	}

	return b.series(*r), true
}

func (b *Builder) series(r Row) *run {
	s, ok := b.runs[r.Key]
	if !ok {
		s = &run{meta: SeriesMeta{Key: r.Key, Name: r.Name, Unit: r.Unit, SI: r.Key.Param.Unit()},
			conv: map[string]Conversion{}}
		b.runs[r.Key] = s
		b.keys = append(b.keys, r.Key)
	}
	return s
}

func (b *Builder) convert(s *run, r Row) (Conversion, error) {
	if c, ok := s.conv[r.Unit]; ok {
		return c, nil
	}
	c, from, err := b.p.Unit(r.Key.Param, r.Unit)
	if err != nil {
		return c, err
	}
	if s.meta.UnitFrom == "" {
		s.meta.Unit, s.meta.UnitFrom = r.Unit, from
	}
	s.conv[r.Unit] = c
	return c, nil
}

// observe reads all of a row but the conversion of its value.
func (b *Builder) observe(r Row) (o coldseam.Observation, raw float64, err error) {
	flags, quals := b.p.Quality(r.Approval, r.Qualifiers)
	raw, missing, mark, err := b.p.ValueOrMark(r.Raw, r.NoData...)
	switch {
	case err != nil:
		return o, 0, err
	case mark:
		flags, quals = b.p.Quality(r.Approval, append([]string{r.Raw}, r.Qualifiers...))
	}

	at := r.Stamp.At
	if r.Stamp.Precision != ToInstant {
		at = r.Stamp.End
	}
	if r.Stamp.Ambiguous {
		flags |= coldseam.Suspect
	}
	if missing {
		flags |= coldseam.Missing
	}
	return coldseam.Observation{At: at.UTC(), Flag: flags, Qualifiers: quals}, raw, nil
}

// dropConflicts leaves out the times for which a document has two different values:
// neither can be believed. A time before year 2 is a word for "none".
func (b *Builder) dropConflicts(k coldseam.SeriesKey, obs []coldseam.Observation) []coldseam.Observation {
	if increasing(obs) && obs[0].At.Year() > 1 {
		return obs // as nearly all are
	}
	if n := len(obs); n > 0 {
		obs = slices.DeleteFunc(obs, func(o coldseam.Observation) bool { return o.At.Year() < 2 })
		if n -= len(obs); n > 0 {
			b.skips[[3]string{k.String(), CodeTime, "no time, written as year 1"}] += n
		}
	}
	byTime := func(x, y coldseam.Observation) int { return x.At.Compare(y.At) }
	if !slices.IsSortedFunc(obs, byTime) {
		slices.SortStableFunc(obs, byTime)
	}

	out := obs[:0]
	for i := 0; i < len(obs); {
		first, same := i, true
		for i++; i < len(obs) && obs[i].At.Equal(obs[first].At); i++ {
			missing := (obs[i].Flag ^ obs[first].Flag) & coldseam.Missing
			same = same && obs[i].Value == obs[first].Value && missing == 0
		}
		if same {
			out = append(out, obs[first:i]...)
			continue
		}
		b.skips[[3]string{k.String(), CodeConflict, "two values of one time in the document"}] += i - first
	}
	return out
}

func increasing(obs []coldseam.Observation) bool {
	for i := 1; i < len(obs); i++ {
		if !obs[i-1].At.Before(obs[i].At) {
			return false
		}
	}
	return len(obs) > 0
}

// Batch returns the series in order of appearance. A row that says again what
// an earlier one said is counted; of two that differ both are left out. Sites
// and everything else are the parser's to add.
func (b *Builder) Batch(format string) (Batch, error) {
	out := Batch{Format: format}

	for _, k := range b.keys {
		r := b.runs[k]
		if r.refused != nil {
			b.Skip(k.String(), CodeOf(r.refused), r.refused.Error())
			continue
		}

		if len(r.obs) == 0 {
			continue
		}
		r.last = len(r.obs)
		obs := b.dropConflicts(k, r.obs)
		if r.obs = nil; len(obs) == 0 {
			continue
		}
		s, dup, err := coldseam.SeriesOf(k, obs)
		if err != nil {
			b.Skip(k.String(), CodeTime, err.Error())
			continue
		}

		r.meta.Points, r.meta.Duplicates = len(s.Obs), dup
		r.meta.First, r.meta.Last = s.Obs[0].At, s.Obs[len(s.Obs)-1].At
		for _, o := range s.Obs {
			if o.Flag&coldseam.Missing != 0 {
				r.meta.Missing++
			}
		}
		out.Series = append(out.Series, s)
		out.Meta = append(out.Meta, r.meta)
	}

	out.Skipped = b.Skipped()
	return out, nil
}

// Skipped lists what was left out so far, sorted.
func (b *Builder) Skipped() []Skipped {
	var out []Skipped
	for k, n := range b.skips {
		out = append(out, Skipped{What: k[0], Code: k[1], Why: k[2], N: n})
	}
	sort.Slice(out, func(i, j int) bool {
		return out[i].What+"\x00"+out[i].Why < out[j].What+"\x00"+out[j].Why
	})
	return out
}
