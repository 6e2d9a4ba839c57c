package ogcfeatures

import (
	"errors"
	"fmt"
	"sort"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// doc gathers one page.
type doc struct {
	p      ingest.Profile
	m      fieldMap
	times  *ingest.Times
	rows   *ingest.Builder
	meta   []ingest.SeriesMeta
	sites  map[coldseam.SiteID]int
	site   []ingest.SiteMeta
	visits map[string]*visit
	order  []string

	features int // of the page, also those that are not read
	noFlow   int // visits without a discharge: normal, but no gauging
}

// newDoc waits for the first feature: its fields tell the service.
func newDoc(p ingest.Profile) *doc {
	return &doc{p: p, rows: ingest.NewBuilder(p), sites: map[coldseam.SiteID]int{}, visits: map[string]*visit{}}
}

func (d *doc) open(f feature) {
	ca := isCanadian(f)
	if ca {
		_, realtime := f.Properties["DATETIME"]
		d.p = canadian(d.p, realtime)
		if !realtime && d.p.Statistic == "" {
			d.p.Statistic = string(coldseam.Mean)
		}
		d.rows = ingest.NewBuilder(d.p)
	}
	d.m, d.times = mapping(d.p, ca), ingest.NewTimes(d.p)
}

// kind of a feature.
type kind int

const (
	kindOther kind = iota
	kindChannel
	kindField
	kindSeries
	kindSite
	kindStatistics
	kindWide
	kindLong
)

// kind tells a feature by what it carries. The order of the cases matters:
// metadata records have a unit and a parameter too.
func (d *doc) kind(f feature) kind {
	has := func(name string) bool { _, ok := f.Properties[name]; return ok }
	switch {
	case has("channel_flow") || has("channel_area"):
		return kindChannel
	case has("field_visit_id"):
		return kindField
	case has("computation_identifier") || has("computation_period_identifier"):
		return kindSeries
	case has("monitoring_location_number"):
		return kindSite
	case has("data"):
		return kindStatistics
	case d.p.Wide:
		return kindWide
	case d.m.has(f.Properties, fValue) && d.m.has(f.Properties, fTime):
		return kindLong
	}

	return kindOther
}

// add reads one feature.
func (d *doc) add(f feature) {
	d.features++
	if d.m == nil {
		d.open(f)
	}

	switch d.kind(f) {
	case kindChannel:
		d.channel(f)
	case kindField:
		d.field(f)
	case kindSeries:
		d.series(f)
	case kindSite:
		d.note(f, f.id(), true)
	case kindStatistics:
		d.rows.Skip("statistics record", ingest.CodeStatistic, "period-of-record statistics are not read")
	case kindWide:
		d.wide(f)
	case kindLong:
		d.long(f)
	default:
		d.rows.Skip("feature with "+strings.Join(keys(f.Properties), ", "), ingest.CodeEncoding, "no record of a known kind")
	}
}

func (d *doc) get(f feature, ours string) string { return text(d.m.get(f.Properties, ours)) }

// long reads one value of one series.
func (d *doc) long(f feature) {
	r, site, what, err := d.row(f)
	if err != nil {
		d.rows.Skip(what, ingest.CodeOf(err), err.Error())
		return
	}
	d.note(f, site, false)
	d.rows.Add(r)
}

// errNoSite is of a row that belongs to no station.
var errNoSite = ingest.Because(ingest.CodeStation,
	errors.New("no site: where `properties` are listed, monitoring_location_id is one of them"))

// row is the row of a long feature, or what is left out of it and why.
func (d *doc) row(f feature) (r ingest.Row, site, what string, err error) {
	site = d.get(f, fSite)
	if site == "" {
		site = d.p.RequestSite
	}
	code := d.get(f, fParam)
	if site == "" {
		return r, site, "row", errNoSite
	}

	param, ok := d.p.Parameter(code, parameters)
	if !ok {
		return r, site, "parameter " + code, ingest.Because(ingest.CodeParameter, errors.New("not configured"))
	}
	key := coldseam.SeriesKey{Site: d.p.SiteID(site), Param: param, SeriesRef: d.get(f, fSeries)}
	if stat := d.get(f, fStat); stat != "" {
		if key.Stat, ok = statistics[stat]; !ok {
			return r, site, "statistic " + stat, ingest.Because(ingest.CodeStatistic, errors.New("not read"))
		}
	}

	st, err := d.stamp(f, site)
	if err != nil {
		return r, site, key.String(), err
	}
	if d.m.has(f.Properties, fTimeOfDay) { // annual peaks: the time of the greatest value
		key.Stat, key.Period = coldseam.Max, "P1Y"
	}
	return ingest.Row{
		Key:        key,
		Name:       code,
		Stamp:      st,
		Raw:        d.get(f, fValue),
		Unit:       d.get(f, fUnit),
		Approval:   d.get(f, fApproval),
		Qualifiers: texts(d.m.get(f.Properties, fQualifier)),
		Modified:   d.modified(f),
	}, site, "", nil
}

// wide reads every parameter of a row. A null value without a symbol is no
// row; with a symbol it is a row without a value, and the symbol counts.
func (d *doc) wide(f feature) {
	site := d.get(f, fSite)
	if site == "" {
		site = d.p.RequestSite
	}
	if site == "" {
		d.rows.Skip("row", ingest.CodeStation, "no site")
		return
	}

	st, err := d.stamp(f, site)
	if err != nil {
		d.rows.Skip("row of "+site, ingest.CodeOf(err), err.Error())
		return
	}
	d.note(f, site, false)

	for _, p := range d.m.wideParams() {
		raw := d.get(f, string(p))
		quals := texts(d.m.get(f.Properties, string(p)+"_"+fQualifier))
		if raw == "" && len(quals) == 0 {
			continue
		}
		approval := d.get(f, string(p)+"_"+fApproval)
		if approval == "" {
			approval = d.get(f, fApproval)
		}
		d.rows.Add(ingest.Row{
			Key:        coldseam.SeriesKey{Site: d.p.SiteID(site), Param: p, SeriesRef: d.m.ref(site, p)},
			Name:       d.m[string(p)][0],
			Stamp:      st,
			Raw:        raw,
			Approval:   approval,
			Qualifiers: quals,
			Modified:   d.modified(f),
		})
	}
}

// stamp reads the time of a row; a date with a separate time of day becomes an
// instant.
func (d *doc) stamp(f feature, site string) (ingest.Stamp, error) {
	t := d.get(f, fTime)
	if t == "" {
		t = d.get(f, fTimeOther)
	}
	if clock := d.get(f, fTimeOfDay); clock != "" && len(t) == len(time.DateOnly) {
		t += "T" + clock
	}
	return d.times.Parse(t, site)
}

func (d *doc) modified(f feature) time.Time {
	st, err := ingest.ParseTime(d.get(f, fModified), time.UTC) // zone-less in the metadata, UTC by the sister field
	if err != nil {
		return time.Time{}
	}
	return st.At
}

// note keeps what a feature says of its station; full records win.
func (d *doc) note(f feature, site string, full bool) {
	id := d.p.SiteID(site)
	lat, lon, ok := f.point()
	i, known := d.sites[id]
	if known && !full || !full && !ok {
		return
	}
	s := ingest.SiteMeta{ID: id, Code: site, Name: d.get(f, fName), Lat: lat, Lon: lon,
		Zone: text(f.Properties["time_zone_abbreviation"]), Kind: text(f.Properties["site_type"])}
	if v, err := ingest.ParseDecimal(text(f.Properties["drainage_area"])); err == nil {
		km2 := v * 2.589988110336 // square mile [source: 1609.344 m squared]
		s.DrainageKM2 = &km2
	}

	if v, err := ingest.ParseDecimal(text(f.Properties["altitude"])); err == nil && full {
		m := v * coldseam.MetrePerFoot // feet above the vertical datum of the record
		s.DatumM = &m
	}

	if !known {
		d.sites[id] = len(d.site)
		d.site = append(d.site, s)
		return
	}
	d.site[i] = s
}

// series reads a time-series metadata record.
func (d *doc) series(f feature) {
	site, code := d.get(f, fSite), d.get(f, fParam)
	param, ok := d.p.Parameter(code, parameters)
	if !ok {
		d.rows.Skip("parameter "+code, ingest.CodeParameter, "not configured")
		return
	}

	m := ingest.SeriesMeta{
		Key: coldseam.SeriesKey{Site: d.p.SiteID(site), Param: param, Stat: statistics[d.get(f, fStat)],
			Provider: d.p.Provider, SeriesRef: f.id()},
		Name: code, Unit: d.get(f, fUnit), SI: param.Unit(), Modified: d.modified(f),
		Primary:     strings.EqualFold(text(f.Properties["primary"]), "primary"),
		Computation: text(f.Properties["computation_identifier"]),
		Sublocation: text(f.Properties["sublocation_identifier"]),
	}
	if m.Computation == "Instantaneous" {
		m.Key.Stat = coldseam.Instant
	}

	if strings.EqualFold(text(f.Properties["computation_period_identifier"]), "daily") {
		m.Key.Period = "P1D"
	}
	if _, days, rest, err := ingest.ParsePeriod(text(f.Properties["data_gap_interval"])); err == nil {
		m.GapAfter = rest + time.Duration(days)*24*time.Hour
	}
	m.First, m.Last = d.edge(f, site, "begin"), d.edge(f, site, "end")
	d.meta = append(d.meta, m)
	d.note(f, site, text(f.Properties["monitoring_location_number"]) != "")
}

// edge reads begin or end of a series. The field is UTC in one collection and
// zone-less local in another, where begin_utc stands beside it.
func (d *doc) edge(f feature, site, name string) time.Time {
	for _, k := range []string{name + "_utc", name} {
		if st, err := d.times.Parse(text(f.Properties[k]), site); err == nil {
			return st.At
		}
	}
	return time.Time{}
}

func (d *doc) batch() (ingest.Batch, error) {
	g := d.gaugings()
	out, err := d.rows.Batch(ingest.FormatFeatures)
	if err != nil {
		return ingest.Batch{}, fmt.Errorf("features: %w", err)
	}
	out.Meta = append(out.Meta, d.meta...)
	out.Sites = d.site
	out.Gaugings = g
	if d.noFlow > 0 {
		out.Notes = append(out.Notes, fmt.Sprintf("%d field measurements without a discharge", d.noFlow))
	}
	return out, nil
}

func keys(m map[string]any) []string {
	var out []string
	for k := range m {
		out = append(out, short(k))
	}
	sort.Strings(out)
	return out[:min(len(out), 6)]
}
