package covjson

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// axes that hold ensemble members, and axes that hold the model run.
var (
	memberAxes = []string{"realization", "member", "number", "ensemble"}
	runAxes    = []string{"forecast_reference_time", "reference_time", "reftime", "runtime"}
)

type gather struct {
	p     ingest.Profile
	times *ingest.Times
	rows  *ingest.Builder // also keeps what was left out of forecasts
	out   ingest.Batch
	refs  []reference // of the document, beside the domain's own
	seen  map[string]bool
}

func newGather(p ingest.Profile) *gather {
	return &gather{p: p, times: ingest.NewTimes(p), rows: ingest.NewBuilder(p), seen: map[string]bool{}}
}

func coverages(p ingest.Profile, cs []coverage, d document) (ingest.Batch, error) {
	g := newGather(p)
	g.refs = d.Referencing
	for _, c := range cs {
		g.coverage(c, d.Parameters)
	}
	return g.batch(ingest.FormatCovJSON)
}

func (g *gather) batch(format string) (ingest.Batch, error) {
	b, err := g.rows.Batch(format)
	if err != nil {
		return ingest.Batch{}, err
	}
	var left []ingest.Skipped
	g.out.Forecasts, left = ingest.JoinForecasts(g.out.Forecasts)
	b.Skipped = append(b.Skipped, left...)
	b.Forecasts, b.Sites, b.Notes, b.Next = g.out.Forecasts, g.out.Sites, g.out.Notes, g.out.Next
	b.Meta = append(b.Meta, g.out.Meta...)
	return b, nil
}

func (g *gather) coverage(c coverage, hoisted map[string]parameter) {
	site, err := g.place(c.Domain)
	if err != nil {
		g.rows.Skip("coverage", ingest.CodeOf(err), err.Error())
		return
	}

	keys := make([]string, 0, len(c.Ranges))
	for k := range c.Ranges {
		keys = append(keys, k)
	}
	sort.Strings(keys)

	for _, k := range keys {
		m, ok := c.Parameters[k]
		if !ok {
			m = hoisted[k]
		}
		if err := g.series(site, k, m, c.Domain, c.Ranges[k]); err != nil {
			g.rows.Skip("range "+k, ingest.CodeOf(err), err.Error())
		}
	}
}

// place names the site of a domain by its position.
func (g *gather) place(d domain) (string, error) {
	x, okx := number(d.Axes["x"])
	y, oky := number(d.Axes["y"])
	if !okx || !oky {
		if g.p.RequestSite != "" && d.Axes["x"].Values == nil {
			return g.p.RequestSite, nil
		}
		return "", ingest.Because(ingest.CodeStation, errors.New("the position is not one point"))
	}
	code, note := g.p.PlaceAt(y, x, maxPlaceKM)
	g.site(code, y, x, note)
	return code, nil
}

func (g *gather) site(code string, lat, lon float64, note string) {
	if g.seen[code] {
		return
	}
	g.seen[code] = true
	g.out.Sites = append(g.out.Sites, ingest.SiteMeta{ID: g.p.SiteID(code), Code: code, Lat: lat, Lon: lon})
	if note != "" {
		g.out.Notes = append(g.out.Notes, note)
	}
}

// number is the value of an axis with one number.
func number(a axis) (float64, bool) {
	if len(a.Values) == 0 && a.Num != nil && a.Start != nil && a.Num.String() == "1" {
		v, err := a.Start.Float64()
		return v, err == nil
	}
	if len(a.Values) != 1 {
		return 0, false
	}
	n, ok := a.Values[0].(json.Number)
	if !ok {
		return 0, false
	}
	v, err := n.Float64()
	return v, err == nil
}

func (g *gather) series(site, key string, m parameter, d domain, raw json.RawMessage) error {
	q, ok := m.param(g.p, key)
	if !ok {
		return ingest.Because(ingest.CodeParameter, errors.New("parameter is not configured"))
	}
	stat, period, err := g.p.Stat(q)
	if err != nil {
		return err
	}

	if stat == "" {
		if q == coldseam.Precip {
			return ingest.Because(ingest.CodeStatistic, errors.New("no statistic and period: set statistics.precip in the profile"))
		}
		stat = coldseam.Instant
	}

	var nd ndArray
	if err := ingest.DecodeJSON(raw, &nd); err != nil || nd.Type != "NdArray" {
		return ingest.Because(ingest.CodeEncoding, errors.New("range is no inline NdArray"))
	}
	stamps, err := g.stamps(site, d)
	if err != nil {
		return err
	}

	at, err := nd.index(stamps)
	if err != nil {
		return err
	}

	if err := g.level(q, d); err != nil {
		return err
	}
	conv, unit, from, err := m.conversion(g.p, q)
	if err != nil {
		return err
	}

	g.out.Meta = append(g.out.Meta, ingest.SeriesMeta{
		Key: coldseam.SeriesKey{Site: g.p.SiteID(site), Param: q, Stat: stat, Period: period,
			Provider: g.p.Provider, SeriesRef: key},
		Name:     key,
		Unit:     unit,
		UnitFrom: from,
		SI:       q.Unit(),
		Points:   len(stamps),
	})
	if g.p.Kind == "observation" {
		return g.observed(stamps, at, nd, unit)
	}
	return g.forecast(site, q, stat, period, d, stamps, at, nd, conv)
}

// standardM is the height at which a quantity is told: air at 2 m, wind at 10 m
// [source: WMO guide to instruments, from memory]; what has no height stands at 0.
var standardM = map[coldseam.Parameter]float64{coldseam.AirTemp: 2, coldseam.Wind: 10, coldseam.Gust: 10,
	coldseam.WindFrom: 10}

// level refuses values of another height: a domain may hold air at 100 m or on
// a surface of equal pressure. The levels of the profile name the one to take.
func (g *gather) level(q coldseam.Parameter, d domain) error {
	axis, ok := d.Axes["z"]
	if !ok {
		return nil
	}
	z, one := number(axis)
	want, named := g.p.Levels[string(q)]
	if !named {
		want = standardM[q]
	}
	pressure := slices.ContainsFunc(append(slices.Clone(d.Referencing), g.refs...), func(r reference) bool {
		system := strings.ToLower(string(r.System))
		return slices.Contains(r.Coordinates, "z") && strings.Contains(system, "press")
	})
	if !one || z != want || pressure && !named {
		return fmt.Errorf("height %s is not %g m: name it in the profile's levels", heightText(axis, pressure), want)
	}
	return nil
}

func heightText(a axis, pressure bool) string {
	unit := ""
	if pressure {
		unit = " (a pressure)"
	}
	if z, ok := number(a); ok {
		return fmt.Sprintf("z = %g%s", z, unit)
	}
	return "z of several values" + unit
}

// observed adds the values as rows; the meta entry just made is the Builder's
// to make.
func (g *gather) observed(stamps []ingest.Stamp, at [][]int, nd ndArray, unit string) error {
	last := len(g.out.Meta) - 1
	m := g.out.Meta[last]
	g.out.Meta = g.out.Meta[:last]
	if len(at) != 1 {
		return errors.New("observations with an ensemble axis")
	}
	for i, st := range stamps {
		g.rows.Add(ingest.Row{Key: m.Key, Name: m.Name, Stamp: st, Raw: valueText(nd.Values[at[0][i]]), Unit: unit})
	}
	return nil
}

func (g *gather) forecast(site string, q coldseam.Parameter, stat coldseam.Statistic, period string, d domain,
	stamps []ingest.Stamp, at [][]int, nd ndArray, conv ingest.Conversion) error {
	f := coldseam.Forecast{Site: g.p.SiteID(site), Param: q, Stat: stat, Period: period, Provider: g.p.Provider}
	f.Issued, f.IssuedAssumed = g.issued(site, d)
	spans, err := g.spans(site, d.Axes["t"], stamps)
	if err != nil {
		return err
	}

	if stamps[0].Precision != ingest.ToInstant {
		if stat == coldseam.Instant {
			return ingest.Because(ingest.CodeStatistic, errors.New("dates without a statistic: set statistics in the profile"))
		}
		if f.Period == "" && stamps[0].Precision == ingest.ToDay {
			f.Period = "P1D"
		}
	}

	if len(at) > 1 {
		f.Members = make([][]float64, len(at))
	}

	for i, st := range stamps {
		if st.At.Year() < 2 {
			return ingest.Because(ingest.CodeTime, errors.New("no time, written as year 1"))
		}
		vals, ok, err := g.step(nd, at, i, conv)
		if err != nil {
			return err
		}

		if !ok {
			continue
		}
		sum := 0.
		for m, v := range vals {
			sum += v
			if f.Members != nil {
				f.Members[m] = append(f.Members[m], v)
			}
		}

		f.At = append(f.At, st.End)
		if spans != nil {
			f.Span = append(f.Span, spans[i])
		}
		f.Value = append(f.Value, sum/float64(len(vals)))
	}

	meta := &g.out.Meta[len(g.out.Meta)-1]
	meta.Missing = len(stamps) - len(f.At)
	if len(f.At) == 0 {
		return nil
	}
	meta.First, meta.Last = f.At[0], f.At[len(f.At)-1]
	g.out.Forecasts = append(g.out.Forecasts, f)
	return nil
}

// step reads every member of one time; a step with a missing member is left
// out as a whole.
func (g *gather) step(nd ndArray, at [][]int, i int, conv ingest.Conversion) ([]float64, bool, error) {
	out := make([]float64, len(at))
	for m := range at {
		v, missing, err := g.p.Value(valueText(nd.Values[at[m][i]]))
		if err != nil {
			return nil, false, err
		}
		if missing {
			return nil, false, nil
		}
		out[m] = conv.Apply(v)
	}
	return out, true, nil
}

// issued is the model run: an axis of one value, else the run in the request,
// else unknown; the Fetcher then takes the known-at time.
func (g *gather) issued(site string, d domain) (time.Time, bool) {
	for _, name := range runAxes {
		if a, ok := d.Axes[name]; ok && len(a.Values) == 1 {
			if st, err := g.times.Parse(valueText(a.Values[0]), site); err == nil {
				return st.At, false
			}
		}
	}
	return g.p.RequestIssued, g.p.RequestIssued.IsZero()
}

// spans is what each value stands for: the bounds of the time axis, or the civil
// days of bare dates; nil without either.
func (g *gather) spans(site string, t axis, stamps []ingest.Stamp) ([][2]time.Time, error) {
	if len(t.Bounds) == 0 && stamps[0].Precision == ingest.ToInstant {
		return nil, nil
	}
	if n := len(t.Bounds); n != 0 && n != 2*len(stamps) {
		return nil, fmt.Errorf("%d bounds of %d times", n, len(stamps))
	}
	out := make([][2]time.Time, len(stamps))

	for i, st := range stamps {
		out[i] = [2]time.Time{st.At, st.End}
		if len(t.Bounds) == 0 {
			continue
		}
		for k := range 2 {
			b, err := g.times.Parse(valueText(t.Bounds[2*i+k]), site)
			if err != nil {
				return nil, err
			}
			out[i][k] = b.At
		}

		if !out[i][0].Before(out[i][1]) || st.At.Before(out[i][0]) || st.At.After(out[i][1]) {
			return nil, fmt.Errorf("the bounds of %s do not hold it", st.At.Format(time.RFC3339))
		}
	}

	return out, nil
}

// stamps reads the time axis: strictly increasing, no more than maxSteps.
func (g *gather) stamps(site string, d domain) ([]ingest.Stamp, error) {
	t := d.Axes["t"]
	if t.Composite != nil || len(t.Values) == 0 {
		return nil, ingest.Because(ingest.CodeTime, errors.New("no plain time axis"))
	}
	if len(t.Values) > maxSteps {
		return nil, fmt.Errorf("%d time steps", len(t.Values))
	}
	out := make([]ingest.Stamp, len(t.Values))

	for i, v := range t.Values {
		s, ok := v.(string)
		if !ok {
			return nil, ingest.Because(ingest.CodeTime, errors.New("times are no text"))
		}
		st, err := g.times.Parse(s, site)
		if err != nil {
			return nil, err
		}

		if i > 0 && !st.End.After(out[i-1].End) {
			return nil, ingest.Because(ingest.CodeTime, errors.New("times do not increase"))
		}
		out[i] = st
	}

	return out, nil
}

// index returns, for every member and every time, the place of the value in
// the flat list: the last axis runs fastest. Every axis but t and one of
// members must have length 1.
func (nd ndArray) index(stamps []ingest.Stamp) ([][]int, error) {
	if nd.DataType == "string" {
		return nil, ingest.Because(ingest.CodeValue, errors.New("values are text"))
	}
	if len(nd.Axes) != len(nd.Shape) {
		return nil, fmt.Errorf("%d axis names, %d lengths", len(nd.Axes), len(nd.Shape))
	}
	total, tStride, mStride, nt, nm := 1, 0, 0, 1, 1

	for i := len(nd.Axes) - 1; i >= 0; i-- {
		name, n := nd.Axes[i], nd.Shape[i]
		switch {
		case n < 1 || n > maxSteps || total > 50*maxSteps:
			return nil, fmt.Errorf("axis %s has length %d", clip(name), n)
		case name == "t":
			tStride, nt = total, n
		case n > 1 && inList(memberAxes, name) && nm == 1:
			mStride, nm = total, n
		case n > 1:
			return nil, fmt.Errorf("axis %s has %d values: not a time series", clip(name), n)
		}

		total *= n
	}

	if total != len(nd.Values) {
		return nil, fmt.Errorf("shape says %d values, there are %d", total, len(nd.Values))
	}
	if nt != len(stamps) {
		return nil, fmt.Errorf("%d times, %d values in time", len(stamps), nt)
	}
	out := make([][]int, nm)
	for m := range out {
		out[m] = make([]int, nt)
		for i := range out[m] {
			out[m][i] = m*mStride + i*tStride
		}
	}

	return out, nil
}

func inList(list []string, s string) bool {
	for _, x := range list {
		if strings.EqualFold(x, s) {
			return true
		}
	}
	return false
}

// valueText is a JSON value as text, null as "".
func valueText(v any) string {
	switch x := v.(type) {
	case json.Number:
		return x.String()
	case string:
		return x
	case nil:
		return ""
	}
	return fmt.Sprint(v)
}
