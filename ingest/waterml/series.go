package waterml

import (
	"encoding/xml"
	"errors"
	"fmt"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// pointMeta is what metadata say of a value. A point overrides only the fields
// it carries.
type pointMeta struct {
	unit       string
	interp     string // tail of the interpolation URI, lower case
	period     string // aggregationDuration
	qualifiers []string
	quality    string
	nilled     bool
}

// over returns m with the fields that q carries in their place.
func (m pointMeta) over(q pointMeta) pointMeta {
	if q.unit != "" {
		m.unit = q.unit
	}
	if q.interp != "" {
		m.interp = q.interp
	}
	if q.period != "" {
		m.period = q.period
	}
	if len(q.qualifiers) > 0 {
		m.qualifiers = q.qualifiers
	}
	if q.quality != "" {
		m.quality = q.quality
	}
	m.nilled = m.nilled || q.nilled
	return m
}

// metaOf reads DefaultTVPMeasurementMetadata or TVPMeasurementMetadata. Only
// direct children count: an accuracy and a qualifier carry units of their own.
func metaOf(n *ingest.Node) pointMeta {
	var m pointMeta
	if n == nil {
		return m
	}

	for _, k := range n.Kids {
		if k.Space != wml {
			continue
		}

		switch k.Local {
		case "uom":
			m.unit = uomOf(k)
		case "interpolationType":
			m.interp = strings.ToLower(codeOf(href(k)))
		case "aggregationDuration":
			m.period = k.Val()
		case "qualifier":
			if q := qualifierOf(k); q != "" {
				m.qualifiers = append(m.qualifiers, q)
			}
		case "quality":
			if m.quality = codeOf(href(k)); m.quality == "" {
				m.quality = title(k)
			}
		case "nilReason":
			m.nilled = true
		}
	}

	return m
}

// uomOf: code, else the tail of the reference, else the title.
func uomOf(k *ingest.Node) string {
	if c := k.Attr(otherSpace, "code"); c != "" {
		return unitCode(c)
	}
	if ref := href(k); ref != "" {
		return unitCode(ref)
	}
	return title(k)
}

// unitCode shortens an address to its tail; a URN is left for the unit table.
func unitCode(s string) string {
	s = strings.TrimSpace(s)
	if strings.Contains(s, "://") {
		return s[strings.LastIndexAny(s, "/#")+1:]
	}
	return s
}

// qualifierOf: a category's value, the title, the tail of the reference, or
// the text of another value with its unit.
func qualifierOf(k *ingest.Node) string {
	c := k.First()
	if v := c.Kid(swe, "value").Val(); v != "" {
		if u := c.Kid(swe, "uom").Attr(otherSpace, "code"); u != "" {
			return v + " " + u
		}
		return v
	}
	if t := title(k); t != "" {
		return t
	}
	return codeOf(href(k))
}

// statistic of an interpolation word: what the value stands for, and whether
// its period begins at the stamp (Succ) instead of ending there (Prec). ok is
// false where the word leaves it to the profile: constant, unknown, empty.
func statistic(interp string) (stat coldseam.Statistic, succ, ok bool) {
	w := strings.TrimSuffix(interp, "prec")
	if w == interp {
		w = strings.TrimSuffix(interp, "succ")
		succ = w != interp
	}

	switch w {
	case "continuous", "discontinuous", "instantaneous":
		return coldseam.Instant, false, true
	case "average":
		return coldseam.Mean, succ, true
	case "min", "minimum":
		return coldseam.Min, succ, true
	case "max", "maximum":
		return coldseam.Max, succ, true
	case "total":
		return coldseam.Sum, succ, true
	}

	return "", succ, false
}

// series streams one MeasurementTimeseries.
func (d *doc) series(x *ingest.XML, s xml.StartElement) error {
	d.took()
	ts := &timeseries{d: d, o: d.top(), id: ingest.Attr(s.Attr, gml, "id")}
	depth := x.Depth()

	for x.Depth() >= depth {
		t, err := x.Token()
		if err != nil {
			return err
		}

		k, ok := t.(xml.StartElement)
		if !ok || ingest.SpaceOf(k.Name.Space) != wml {
			if ok {
				if err := x.Skip(); err != nil {
					return err
				}
			}
			continue
		}

		n, err := x.Tree(k)
		if err != nil {
			return err
		}

		switch n.Local {
		case "metadata":
			ts.base, ts.spacing = n.Find(wml, "baseTime").Val(), n.Find(wml, "spacing").Val()
		case "defaultPointMetadata":
			ts.def = metaOf(n.First())
		case "point":
			if r := n.First(); d.scan != nil && r != nil && r.Local == runName {
				ts.takeRun(r)
			} else {
				ts.point(n)
			}
			if d.st != nil && len(ts.items) >= chunk {
				if err := ts.chunk(); err != nil {
					return err
				}
			}
		}
	}

	if d.st != nil {
		return ts.endStream()
	}
	ts.flush()
	return nil
}

// timeseries gathers the rows of one series; they are added when it is known
// whether it is a forecast, which its earliest time decides.
type timeseries struct {
	d             *doc
	o             *observation
	id            string
	base, spacing string
	def           pointMeta
	n             int // points so far, for implied times
	items         []item
	rows          []ingest.Row // of items that came as tokens
	kinds         []kind       // of items that came in runs
	site          identity
	why           error // reason to leave the series out
	first         time.Time
	some          bool // first is set
	ready         bool
	implied       implied
}

// point reads one time-value pair.
func (ts *timeseries) point(n *ingest.Node) {
	ts.prepare()
	if ts.why != nil {
		ts.n++
		return
	}

	tvp := n.Kid(wml, "MeasurementTVP")
	at, value := tvp.Kid(wml, "time"), tvp.Kid(wml, "value")
	index := ts.n
	if at.Val() == "" && value == nil {
		if ts.spacing == "" { // an empty pair says nothing; with implied times it would shift the rest
			return
		}
	}

	ts.n++
	if len(tvp.Named("time")) > 1 || len(tvp.Named("value")) > 1 {
		ts.skipTime(ingest.Because(ingest.CodeRow, errors.New("a point with two times or two values")))
		return
	}
	m := ts.def.over(metaOf(tvp.Kid(wml, "metadata").First()))
	stamp, err := ts.time(at, index)
	if err != nil {
		ts.skipTime(err)
		return
	}

	if u := value.Attr(otherSpace, "uom"); u != "" { // as a measure of GML has it
		m.unit = u
	}
	raw := value.Val()
	if value == nil || isNil(value.Attrs) || m.nilled {
		raw = ""
	}
	ts.add(stamp, raw, m)
}

// prepare identifies the series at its first point.
func (ts *timeseries) prepare() {
	if ts.ready {
		return
	}
	ts.ready = true
	ts.site, ts.why = ts.d.identify(ts.o, ts.id)
	if ts.why == nil && ts.base != "" && ts.spacing != "" {
		ts.implied, ts.why = ts.d.newImplied(ts.base, ts.spacing, ts.site.site)
	}
	if ts.why != nil {
		ts.d.b.Skip(ts.d.describe(ts.id), ingest.CodeOf(ts.why), cause(ts.why))
	}
}

// cause drops the error class from the text of a reason.
func cause(err error) string {
	return strings.TrimSuffix(err.Error(), ": "+coldseam.ErrInvalid.Error())
}

func (ts *timeseries) time(at *ingest.Node, index int) (ingest.Stamp, error) {
	if v := at.Val(); v != "" {
		return ts.d.stamp(v, ts.site.site)
	}
	if ts.implied.spaced {
		t := ts.implied.at(index)
		return ingest.Stamp{At: t, End: t}, nil
	}
	return ingest.Stamp{}, errNoTime
}

var errNoTime = ingest.Because(ingest.CodeTime,
	errors.New("a point without a time, and no base time and spacing"))

// skipTime names the first refused time of a series and counts the rest under
// the same words.
func (ts *timeseries) skipTime(err error) {
	key := ts.site.key.String() + ts.id
	if _, ok := ts.d.badTime[key]; !ok {
		ts.d.badTime[key] = err
	}
	err = ts.d.badTime[key]
	ts.d.b.Skip(ts.site.key.String(), ingest.CodeOf(err), cause(err))
}

// item is one value in the order of the document: a row of its own, or a point
// of a run with its kind.
type item struct {
	fastPoint
	row int32 // index in rows, -1 for a point of a run
}

// kind is what all points with the same metadata have in common.
type kind struct {
	row          ingest.Row // but for time and value
	months, days int        // from the stamp to the end of its period
	rest         time.Duration
	succ         bool
	err          error
	line         *ingest.Line
}

// add keeps a row of one value.
func (ts *timeseries) add(stamp ingest.Stamp, raw string, m pointMeta) {
	k := ts.kind(m)
	if k.err == nil && k.succ && stamp.Precision == ingest.ToInstant {
		end, err := ts.shift(stamp.At, k)
		if k.err = err; err == nil {
			stamp.At, stamp.End = end, end
		}
	} else if k.succ && stamp.Precision != ingest.ToInstant {
		k.err = nil // a civil day ends where it ends
	}
	if k.err != nil {
		ts.skipTime(k.err)
		return
	}
	k.row.Stamp, k.row.Raw = stamp, raw
	ts.rows = append(ts.rows, k.row)
	ts.items = append(ts.items, item{fastPoint{sec: stamp.At.Unix(), nsec: int32(stamp.At.Nanosecond())},
		int32(len(ts.rows) - 1)})
}

// kind settles key, unit and quality marks of a point from its metadata.
func (ts *timeseries) kind(m pointMeta) kind {
	key := ts.site.key
	stat, succ, ok := statistic(m.interp)
	switch {
	case ok:
		key.Stat = stat
	case ts.o != nil && ts.o.stat != "":
		if key.Stat = ts.o.stat; m.period == "" {
			m.period = ts.o.period
		}
	default:
		stat, period, err := ts.d.p.Stat(key.Param)
		if err != nil {
			return kind{err: err}
		}
		if stat == "" && m.interp != "" {
			return kind{err: ingest.Because(ingest.CodeStatistic,
				fmt.Errorf("interpolation %q says no statistic: set statistic in the profile", clip(m.interp)))}
		}
		if key.Stat = stat; m.period == "" {
			m.period = period
		}
	}

	if key.Stat != coldseam.Instant && key.Stat != "" {
		key.Period = m.period
		if key.Period == "" && ts.implied.spaced {
			key.Period = ts.spacing
		}
	}

	if key.Stat == "" && m.period != "" {
		key.Period = m.period
	}
	quals := m.qualifiers
	if m.quality != "" {
		quals = append(append([]string(nil), quals...), m.quality)
	}
	k := kind{row: ingest.Row{Key: key, Name: ts.site.name, Unit: m.unit, Qualifiers: quals}}
	if ts.o != nil {
		k.row.Approval = ts.o.status
	}

	if k.succ = succ && key.Stat != coldseam.Instant; k.succ {
		k.months, k.days, k.rest, k.err = ingest.ParsePeriod(key.Period)
		if k.err != nil {
			k.err = ingest.Because(ingest.CodeStatistic,
				fmt.Errorf("values begin their period, but the period %q is not known", clip(key.Period)))
		}
	}

	return k
}

// shift moves a stamp that begins a period to its end.
func (ts *timeseries) shift(t time.Time, k kind) (time.Time, error) {
	loc, err := ts.d.location(ts.site.site)
	if err != nil {
		return t, err
	}
	return addCalendar(t.In(loc), k.months, k.days).Add(k.rest).UTC(), nil
}

// see keeps the earliest time of the series, which decides whether it is a
// forecast.
func (ts *timeseries) see() {
	for i := range ts.items {
		it := &ts.items[i]
		if at := time.Unix(it.sec, int64(it.nsec)).UTC(); !ts.some || at.Before(ts.first) {
			ts.first, ts.some = at, true
		}
	}
}

// flush adds the items to the observations or to a forecast.
func (ts *timeseries) flush() {
	if len(ts.items) == 0 {
		return
	}
	ts.see()
	b := ts.d.target(ts.o, ts.site.site, ts.first)
	for i := range ts.items {
		ts.put(b, &ts.items[i])
	}
	ts.reset()
}

func (ts *timeseries) reset() {
	clear(ts.rows)
	clear(ts.kinds)
	ts.items, ts.rows, ts.kinds = ts.items[:0], ts.rows[:0], ts.kinds[:0]
}

func (ts *timeseries) put(b *ingest.Builder, it *item) {
	if it.row >= 0 {
		b.Add(ts.rows[it.row])
		return
	}
	k := &ts.kinds[it.meta]
	if k.line == nil {
		k.line = b.Line(k.row)
	}
	at := time.Unix(it.sec, int64(it.nsec)).UTC()
	if it.nil {
		k.line.Missing(at)
	} else {
		k.line.Add(at, it.v)
	}
}
