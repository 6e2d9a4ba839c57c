package waterml

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// ParseV1 reads WaterML 1.0 and 1.1, as XML or in the JSON form of the US
// service, for history files only: the services that send it are being
// switched off. Each values block is a series of its own. Series of unknown
// variables, units or statistics are left out and named in Skipped.
func ParseV1(r io.Reader, p ingest.Profile) (ingest.Batch, error) {
	body, err := ingest.ReadBody(r, p)
	if err != nil {
		return ingest.Batch{}, err
	}

	d := newV1(p)
	if ingest.Sniff(body) == ingest.ShapeJSON {
		err = d.readJSON(body)
	} else {
		err = d.readXML(d.bounded(body))
	}

	if err != nil {
		return ingest.Batch{}, fmt.Errorf("waterml 1: %w", err)
	}
	out, err := d.b.Batch(ingest.FormatWaterML1)
	out.Sites = d.sites
	return out, err
}

// valueBytes is the least size of a value with its time [proposal]; the
// collected documents have 70 and more.
const valueBytes = 65

type v1 struct {
	p     ingest.Profile
	b     *ingest.Builder
	times *ingest.Times
	sites []ingest.SiteMeta
	seen  map[string]bool
}

// Letters of the US remark codes [seen: A, P; from memory: e, ***].
var v1Qualifiers = map[string]string{"e": "estimated", "***": "missing"}

func newV1(p ingest.Profile) *v1 {
	p = p.WithDefaults()
	p.Qualifiers = withDefaults(p.Qualifiers, v1Qualifiers)
	p.Approval = withDefaults(p.Approval, defaultApproval)
	return &v1{p: p, b: ingest.NewBuilder(p), times: ingest.NewTimes(p), seen: map[string]bool{}}
}

// v1Series is one timeSeries element in either form.
type v1Series struct {
	name         string
	site         ingest.SiteMeta
	fixedZone    *time.Location // of a site without daylight saving
	variable     string
	variableName string
	medium       string
	unitCode     string
	unitAbbr     string
	noData       string
	statCode     string // option code, or the option's word
	dataType     string
	supportUnit  string
	support      string
	blocks       []v1Block
}

type v1Block struct {
	method  string
	rows    []v1Row
	repeats map[string]bool // times of several samples
}

// ofDays reports whether every value of a series stands at its local midnight:
// then one without a time support is of civil days.
func (s v1Series) ofDays() bool {
	n := 0
	for _, b := range s.blocks {
		for _, r := range b.rows {
			_, clock, _ := strings.Cut(r.at, "T")
			if i := strings.LastIndexAny(clock, "Z+-"); i >= 0 {
				clock = clock[:i]
			}
			if r.at == "" || strings.Trim(clock, "0:.") != "" {
				return false
			}
			n++
		}
	}
	return n > 0
}

// samplesOfOneTime are the times that repeat, nil where no value is a sample.
func (b v1Block) samplesOfOneTime() map[string]bool {
	seen, repeats, samples := map[string]bool{}, map[string]bool{}, false
	for _, r := range b.rows {
		if samples = samples || r.sample != ""; !samples {
			return nil // the first value tells
		}
		t := r.utc + r.at
		repeats[t] = repeats[t] || seen[t]
		seen[t] = true
	}
	return repeats
}

// v1Row is one value as it is written. Few have more than a time and marks.
type v1Row struct {
	value, at  string
	qualifiers []string
	*v1Rest
}

type v1Rest struct{ utc, offset, method, sample, censor string }

var noRest = &v1Rest{}

// cuahsiUnits: the numeric unit codes, which mean something only inside this
// format [seen: 96 and 48 in a collected document; the rest from memory].
var cuahsiUnits = map[string]string{"96": "degC", "48": "ft", "52": "m", "35": "ft3/s", "36": "m3/s", "47": "cm",
	"54": "mm"}

// unit: the code where it is a word, as the US service writes it, else the
// abbreviation, else the number of the CUAHSI list.
func (s v1Series) unit() string {
	_, err := strconv.Atoi(s.unitCode)
	switch {
	case err != nil && s.unitCode != "":
		return s.unitCode
	case s.unitAbbr != "":
		return s.unitAbbr
	}
	return cuahsiUnits[s.unitCode]
}

// v1Stats: option codes, option words and data types. What is not here, such
// as Variance or Median, is no series of ours.
var v1Stats = map[string]coldseam.Statistic{
	"": coldseam.Instant, "00000": coldseam.Instant, "00011": coldseam.Instant, "00001": coldseam.Max,
	"00002": coldseam.Min, "00003": coldseam.Mean,
	"continuous": coldseam.Instant, "sporadic": coldseam.Instant, "unknown": coldseam.Instant,
	"average": coldseam.Mean, "mean": coldseam.Mean, "minimum": coldseam.Min, "maximum": coldseam.Max,
	"incremental": coldseam.Sum,
}

func (d *v1) add(s v1Series) {
	what := clip(strings.TrimSpace(s.site.Code + " " + s.variableName + " " + s.dataType + s.statCode))
	if s.site.Code == "" {
		s.site.Code = d.p.RequestSite
	}
	param, ok := d.parameter(s)
	word := s.statCode
	if word == "" {
		word = s.dataType
	}

	stat, known := v1Stats[strings.ToLower(word)]
	switch {
	case s.site.Code == "":
		d.b.Skip(what, ingest.CodeStation, "names no station")
		return
	case !ok:
		d.b.Skip(what, ingest.CodeParameter, fmt.Sprintf("variable %q is not known", clip(s.variable)))
		return
	case !known:
		d.b.Skip(what, ingest.CodeStatistic, fmt.Sprintf("statistic %q is not read", clip(word)))
		return
	}

	d.site(s.site)
	key := coldseam.SeriesKey{Site: d.p.SiteID(s.site.Code), Param: param, Stat: stat, Period: s.period(stat)}
	if stat != coldseam.Instant && key.Period == "" && s.ofDays() {
		key.Period = "P1D"
	}
	for _, b := range s.blocks {
		b.repeats = b.samplesOfOneTime()
		for _, r := range b.rows {
			d.row(what, key, s, b, r)
		}
	}
}

func (d *v1) site(m ingest.SiteMeta) {
	if !d.seen[m.Code] {
		d.seen[m.Code] = true
		m.ID = d.p.SiteID(m.Code)
		d.sites = append(d.sites, m)
	}
}

// parameter by code, by name, and for a bare "Temperature" by the medium.
func (d *v1) parameter(s v1Series) (coldseam.Parameter, bool) {
	name := strings.ToLower(s.variableName)
	if name == "temperature" && s.medium != "" {
		name = map[string]string{"surface water": "water temperature",
			"air": "air temperature"}[strings.ToLower(s.medium)]
	}
	for _, c := range []string{s.variable, s.variableName, name,
		strings.TrimSpace(strings.SplitN(name, ", ft", 2)[0])} {
		if c == "" {
			continue
		}
		if p, ok := d.p.Parameter(c, defaultProperties); ok {
			return p, true
		}
	}
	return "", false
}

// period of a statistic from the time support of the document.
func (s v1Series) period(stat coldseam.Statistic) string {
	unit := map[string]string{"minute": "M", "min": "M", "hour": "H", "hr": "H", "day": "D",
		"d": "D"}[strings.ToLower(s.supportUnit)]
	n, err := strconv.Atoi(strings.TrimSpace(s.support))
	switch {
	case stat == coldseam.Instant || err != nil || n <= 0 || unit == "":
		return ""
	case unit == "D":
		return fmt.Sprintf("P%dD", n)
	}
	return fmt.Sprintf("PT%d%s", n, unit)
}

func (d *v1) row(what string, key coldseam.SeriesKey, s v1Series, b v1Block, r v1Row) {
	stamp, err := d.stamp(s, r, key)
	if err != nil {
		d.b.Skip(what, ingest.CodeOf(err), cause(err))
		return
	}

	key.SeriesRef = s.name
	if key.SeriesRef == "" {
		key.SeriesRef = s.variable
	}
	if m := r.method; m != "" {
		key.SeriesRef += "/" + m
	} else if b.method != "" {
		key.SeriesRef += "/" + b.method
	}

	// The number of a sample is not the name of a series, but where samples share
	// a time nothing else keeps them apart.
	if r.sample != "" && b.repeats[r.utc+r.at] {
		key.SeriesRef += "#" + r.sample
	}
	row := ingest.Row{
		Key:        key,
		Name:       s.variableName,
		Stamp:      stamp,
		Raw:        r.value,
		Unit:       s.unit(),
		Qualifiers: r.qualifiers,
	}
	if r.censor != "" && !strings.EqualFold(r.censor, "nc") {
		row.Qualifiers = append(append([]string(nil), r.qualifiers...), "censored "+r.censor)
	}
	if v, err := ingest.ParseDecimal(s.noData); err == nil {
		row.NoData = []float64{v}
	}
	d.b.Add(row)
}

// stamp is the time of a row: for a value of a period, which is told by its
// begin, the end of the period. A period of days from local midnight is of civil
// days.
func (d *v1) stamp(s v1Series, r v1Row, key coldseam.SeriesKey) (ingest.Stamp, error) {
	st, loc, err := d.begin(s, r)
	if err != nil || key.Stat == coldseam.Instant || st.Precision != ingest.ToInstant {
		return st, err
	}

	begin := st.At.In(loc)
	midnight := begin.Equal(time.Date(begin.Year(), begin.Month(), begin.Day(), 0, 0, 0, 0, loc))
	if site, err := d.p.Location(s.site.Code); err == nil && site != nil {
		if there := begin.In(site); !midnight || there.Hour()+there.Minute() == 0 {
			begin = there // a day of the site may have 23 or 25 hours
		}
	}

	if key.Period == "" {
		return st, nil
	}
	months, days, rest, err := ingest.ParsePeriod(key.Period)
	if err != nil {
		return st, err
	}
	st.End = addCalendar(begin, months, days).Add(rest).UTC()
	if days > 0 && midnight {
		st.Precision = ingest.ToDay
		return st, nil
	}
	st.At = st.End
	return st, nil
}

// begin is the time as it is written, and the zone in which it is midnight: UTC
// where it is given, else local time with its offset, else zone-less.
func (d *v1) begin(s v1Series, r v1Row) (ingest.Stamp, *time.Location, error) {
	local := r.at
	if r.offset != "" {
		local += r.offset
	}
	loc := time.UTC
	if _, tail, ok := strings.Cut(local, "T"); ok {
		if i := strings.LastIndexAny(tail, "+-"); i >= 0 {
			if t, err := time.Parse("-07:00", tail[i:]); err == nil {
				_, sec := t.Zone()
				loc = time.FixedZone("", sec)
			}
		}
	}
	if r.utc != "" {
		st, err := ingest.ParseTime(r.utc, time.UTC)
		if there, lerr := ingest.ParseTime(local, nil); err == nil && lerr == nil && !there.At.Equal(st.At) {
			err = ingest.Because(ingest.CodeConflict, errors.New("local time and UTC of one value are not the same instant"))
		}
		return st, loc, err
	}

	st, err := d.times.Parse(local, s.site.Code)
	site, lerr := d.p.Location(s.site.Code)
	switch {
	case lerr != nil:
		return st, loc, lerr
	case site == nil && err != nil && s.fixedZone != nil:
		loc = s.fixedZone
		st, err = ingest.ParseTime(local, loc)
	case site != nil && loc == time.UTC && !strings.HasSuffix(local, "Z"):
		loc = site
	}
	return st, loc, err
}
