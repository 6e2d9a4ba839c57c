package waterml

import (
	"cmp"
	"encoding/xml"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// observation is the nearest enclosing observation: who measured what where.
type observation struct {
	depth       int
	id          string
	property    *ingest.Node
	feature     *ingest.Node
	procedure   *ingest.Node
	resultTime  *ingest.Node
	phenomenon  *ingest.Node
	status      string // approval word of the metadata
	simulated   bool
	stat        coldseam.Statistic // named by the procedure
	period      string             // of it
	analysis    string             // text of the analysis time of a model run
	resultDepth int                // depth of an open om:result
	resultAttrs []xml.Attr
	resultText  []byte
	resultTaken bool // something inside the result was read or named
}

// head reads a child of an observation.
func (d *doc) head(x *ingest.XML, s xml.StartElement, o *observation) error {
	if o.resultDepth > 0 {
		if x.Depth() == o.resultDepth+1 && !o.resultTaken {
			return d.unread(x, s, o)
		}
		return nil
	}

	if x.Depth() != o.depth+1 {
		return nil
	}
	var err error

	switch s.Name.Local {
	case "observedProperty":
		o.property, err = x.Tree(s)
	case "featureOfInterest":
		if o.feature, err = x.Tree(s); err == nil {
			if f := o.feature.First(); f != nil && isFeature(f.Local) {
				d.site(f)
			}
		}
	case "procedure":
		o.procedure, err = x.Tree(s)
		o.simulated = o.simulated || isSimulation(o.procedure)
		if o.stat = statCodes[statCode(o.procedure)]; o.stat == "" {
			o.stat, o.period = statOfName(procedureOf(o.procedure) + " " + title(o.procedure))
		}
	case "resultTime":
		o.resultTime, err = x.Tree(s)
	case "phenomenonTime", "samplingTime":
		o.phenomenon, err = x.Tree(s)
	case "parameter":
		err = d.tree(x, s, o.parameter)
	case "metadata":
		err = d.tree(x, s, o.metadata)
	case "result":
		o.resultDepth, o.resultAttrs = x.Depth(), append([]xml.Attr(nil), s.Attr...)
	}

	return err
}

// isSimulation looks at the process type, which stands in the process or as
// the role of the reference.
func isSimulation(n *ingest.Node) bool {
	role := n.Attr(xlink, "arcrole") + " " + n.Attr(xlink, "role") + " " + href(n.Find(wml, "processType"))
	return strings.Contains(strings.ToLower(role), "processtype/simulation")
}

// statCodes of the US procedure records [seen: 00003, 00001, 00002 in
// documents; 00011 in the same agency's newer service].
var statCodes = map[string]coldseam.Statistic{"00001": coldseam.Max, "00002": coldseam.Min, "00003": coldseam.Mean,
	"00011": coldseam.Instant}

// statCode is the statistic code that a US procedure record refers to.
func statCode(n *ingest.Node) string {
	for _, k := range n.First().Children() {
		if k.Is(wml, "parameter") && strings.Contains(href(k), "statCd=") {
			return codeOf(href(k), "statCd")
		}
	}
	return ""
}

// statOfName reads the statistic and period in a procedure's name, such as "Daily
// Mean" [seen: in answers of an agency whose points say "constant" alone].
func statOfName(name string) (coldseam.Statistic, string) {
	m := statNames.FindStringSubmatch(strings.ToLower(name))
	if m == nil {
		return "", ""
	}
	period := map[string]string{"hourly": "PT1H", "daily": "P1D", "monthly": "P1M", "yearly": "P1Y"}[m[1]]
	return map[string]coldseam.Statistic{"mean": coldseam.Mean, "max": coldseam.Max, "min": coldseam.Min,
		"total": coldseam.Sum}[m[2]], period
}

var statNames = regexp.MustCompile(`(hourly|daily|monthly|yearly)[ ._-]?(mean|max|min|total)`)

// parameter notes the time of analysis of a model run; its own unit is a decoy.
func (o *observation) parameter(n *ingest.Node) error {
	v := n.Find(om, "NamedValue")
	name := v.Kid(om, "name")
	if name.Attr(xlink, "role") == "analysisTime" || codeOf(href(name)) == "analysisTime" {
		o.analysis = v.Kid(om, "value").Val()
	}
	return nil
}

func (o *observation) metadata(n *ingest.Node) error {
	s := n.Find(wml, "status")
	low := strings.ToLower(title(s) + " " + href(s))
	switch {
	case strings.Contains(low, "provisional"):
		o.status = "Provisional"
	case strings.Contains(low, "approved"):
		o.status = "Approved"
	}
	return nil
}

// unread names a result that has an encoding of its own.
func (d *doc) unread(x *ingest.XML, s xml.StartElement, o *observation) error {
	name := s.Name.Local
	if ingest.SpaceOf(s.Name.Space) == gml && name == "Measure" { // a scalar in its own element
		o.resultAttrs = append(o.resultAttrs, s.Attr...)
		n, err := x.Tree(s)
		if err == nil {
			o.resultText = append(o.resultText, n.Text...)
		}
		return err
	}
	o.resultTaken = true
	d.b.Skip(d.describe(o.id), ingest.CodeEncoding, fmt.Sprintf("unsupported encoding %s", name))
	return x.Skip()
}

// took marks the open result as read.
func (d *doc) took() {
	if o := d.top(); o != nil {
		o.resultTaken = true
	}
}

// endResult takes a scalar result: text with a unit at the phenomenon time.
func (d *doc) endResult(o *observation) {
	if o.resultTaken {
		return
	}
	text := strings.TrimSpace(string(o.resultText))
	unit := ingest.Attr(o.resultAttrs, otherSpace, "uom")
	if text == "" && !isNil(o.resultAttrs) {
		d.b.Skip(d.describe(o.id), ingest.CodeValue, "an observation without a result")
		return
	}

	if isNil(o.resultAttrs) {
		text = ""
	}
	id, why := d.identify(o, "")
	if why != nil {
		d.b.Skip(d.describe(o.id), ingest.CodeOf(why), why.Error())
		return
	}

	stamp, period, err := d.phenomenonTime(o, id.site)
	if err != nil {
		d.b.Skip(d.describe(o.id), ingest.CodeOf(err), err.Error())
		return
	}

	id.key.Period = period
	r := ingest.Row{Key: id.key, Name: id.name, Stamp: stamp, Raw: text, Unit: unitCode(unit), Approval: o.status}
	d.target(o, id.site, stamp.At).Add(r)
}

// phenomenonTime is the instant of the observation, or the end of its period.
func (d *doc) phenomenonTime(o *observation, site string) (ingest.Stamp, string, error) {
	n := o.phenomenon
	t := n.First()
	if ref := href(n); t == nil && strings.HasPrefix(ref, "#") {
		t = d.instants[ref[1:]]
	}
	if v := t.Kid(gml, "timePosition").Val(); v != "" {
		s, err := d.times.Parse(v, site)
		return s, "", err
	}

	begin, end := t.Kid(gml, "beginPosition").Val(), t.Kid(gml, "endPosition").Val()
	if begin == "" || end == "" {
		return ingest.Stamp{}, "", fmt.Errorf("no phenomenon time: %w", coldseam.ErrInvalid)
	}
	a, err := d.times.Parse(begin, site)
	if err != nil {
		return a, "", err
	}

	b, err := d.times.Parse(end, site)
	if err != nil || !a.At.Before(b.At) {
		return b, "", err
	}

	return b, isoSeconds(b.At.Sub(a.At)), nil
}

func isoSeconds(d time.Duration) string {
	switch {
	case d%(24*time.Hour) == 0:
		return fmt.Sprintf("P%dD", d/(24*time.Hour))
	case d%time.Hour == 0:
		return fmt.Sprintf("PT%dH", d/time.Hour)
	case d%time.Minute == 0:
		return fmt.Sprintf("PT%dM", d/time.Minute)
	}
	return fmt.Sprintf("PT%dS", d/time.Second)
}

// identity of a series.
type identity struct {
	site string // agency's code
	name string // of the property, as written
	key  coldseam.SeriesKey
}

// identify finds station, parameter and procedure; why is the reason when one
// is not known. tsName is a fall-back name for the report.
func (d *doc) identify(o *observation, tsName string) (id identity, why error) {
	if o == nil {
		o = &observation{}
	}
	id.site = d.stationOf(o)
	if id.site == "" {
		return id, errNoStation
	}
	param, name, ok := d.propertyOf(o.property)
	if !ok {
		if name == "" {
			return id, ingest.Because(ingest.CodeParameter, errors.New(`names no property: give parameters."" in the profile`))
		}
		return id, unknownProperty(name)
	}
	id.name = name
	id.key = coldseam.SeriesKey{Site: d.p.SiteID(id.site), Param: param, SeriesRef: procedureOf(o.procedure)}
	return id, nil
}

var errNoStation = ingest.Because(ingest.CodeStation,
	errors.New("names no station: ask for one site, or name it in the profile"))

func unknownProperty(name string) error {
	return ingest.Because(ingest.CodeParameter, fmt.Errorf("property %q is not known", clip(name)))
}

// describe names a series in the report.
func (d *doc) describe(fallback string) string {
	o := d.top()
	if o == nil {
		return clip("series " + fallback)
	}
	_, name, _ := d.propertyOf(o.property)
	return clip(strings.TrimSpace(d.stationOf(o) + " " + name + " " + fallback))
}

// stationOf: an inline feature, a #reference into the document, the tail of an
// address or URN, the title, the site that was asked for.
func (d *doc) stationOf(o *observation) string {
	n, ref := o.feature, strings.TrimSpace(href(o.feature))
	f := n.First()
	if inside, ok := strings.CutPrefix(ref, "#"); ok {
		f, ref = d.features[inside], ""
	}
	if c := stationCode(f); c != "" {
		return c
	}

	if c := identityOf(ref, "sites", "site", "name"); c != "" {
		if was, ok := d.links[c]; ok && was != ref && c == identityOf(ref) {
			d.ambiguous[c] = true
		}
		d.links[c] = ref
		return c
	}
	return cmp.Or(title(n), d.p.RequestSite)
}

// stationCode of a feature: its identifier or that of the one feature it
// samples, the sites key of its description, its name, the link to what it
// samples. Its gml:id is none of them: services number the features of an
// answer in the order in which they come.
func stationCode(f *ingest.Node) string {
	sampled := f.Kid(sam, "sampledFeature")
	if v := f.Kid(gml, "identifier").Val(); v != "" {
		return codeOf(v, "sites")
	}
	if ids := identifiers(sampled); len(ids) == 1 {
		return codeOf(ids[0], "sites")
	}
	if ref := href(f.Kid(gml, "descriptionReference")); strings.Contains(ref, "sites=") {
		return codeOf(ref, "sites")
	}
	if v := f.Kid(gml, "name").Val(); v != "" {
		return v
	}
	if ref := href(sampled); ref != "" && !strings.HasPrefix(ref, "#") {
		return identityOf(ref, "sites", "site", "name")
	}
	return ""
}

// identifiers are the different ones in a subtree.
func identifiers(n *ingest.Node) []string {
	var out []string
	for _, k := range n.Children() {
		if v := k.Val(); k.Is(gml, "identifier") && v != "" && !slices.Contains(out, v) {
			out = append(out, v)
		}
		for _, v := range identifiers(k) {
			if !slices.Contains(out, v) {
				out = append(out, v)
			}
		}
	}
	return out
}

// defaultProperties: names that services write, lower case. "temperature"
// alone is not here: it does not say of what.
var defaultProperties = map[string]coldseam.Parameter{
	"00060": coldseam.Discharge, "discharge": coldseam.Discharge, "streamflow": coldseam.Discharge,
	"streamdischarge":        coldseam.Discharge,
	"water course discharge": coldseam.Discharge, "river discharge": coldseam.Discharge, "flow": coldseam.Discharge,
	"00065": coldseam.Stage, "stage": coldseam.Stage, "gage height": coldseam.Stage, "gauge height": coldseam.Stage,
	"water course level": coldseam.Stage,
	"00010":              coldseam.WaterTemp, "water_temperature": coldseam.WaterTemp,
	"water temperature": coldseam.WaterTemp,
	"watertemperature":  coldseam.WaterTemp,
	"water_temp":        coldseam.WaterTemp, "temperature, water": coldseam.WaterTemp,
	"sea_water_temperature": coldseam.WaterTemp,
	"00020":                 coldseam.AirTemp, "air_temperature": coldseam.AirTemp, "air temperature": coldseam.AirTemp,
	"airtemperature": coldseam.AirTemp, "air_temp": coldseam.AirTemp,
	"63680": coldseam.Turbidity, "turbidity": coldseam.Turbidity,
	"00045": coldseam.Precip, "precipitation": coldseam.Precip, "rainfall": coldseam.Precip,
	"00055": coldseam.Velocity, "72255": coldseam.Velocity,
	"wind_speed": coldseam.Wind, "wind speed": coldseam.Wind,
}

// propertyOf tries the address, its parmCd key, its tail and the title.
func (d *doc) propertyOf(n *ingest.Node) (coldseam.Parameter, string, bool) {
	ref, title := href(n), title(n)
	code := strings.TrimPrefix(codeOf(ref, "parmCd", "parameterCd"), "#")
	name := title
	if name == "" {
		name = code
	}

	for _, c := range []string{ref, code, title} {
		if c == "" {
			continue
		}
		if p, ok := d.p.Parameter(c, defaultProperties); ok {
			return p, name, true
		}
	}

	if ref == "" && title == "" {
		p, ok := d.p.Parameters[""]
		return coldseam.Parameter(p), name, ok
	}

	return "", name, false
}

// procedureOf keeps two series of one station and property apart (as stored,
// daily mean ...). Ids inside the document are not used: services number them
// anew in every answer.
func procedureOf(n *ingest.Node) string {
	if ref := href(n); ref != "" && !strings.HasPrefix(ref, "#") {
		return identityOf(ref)
	}
	if ref := href(n.Find(wml, "processReference")); ref != "" {
		return identityOf(ref)
	}
	return ""
}

// site keeps what the document says of a station.
func (d *doc) site(f *ingest.Node) {
	code := stationCode(f)
	if code == "" {
		return
	}
	m := ingest.SiteMeta{ID: d.p.SiteID(code), Code: code, Name: f.Kid(gml, "name").Val()}
	if z := f.Find(wml, "TimeZone").Kid(wml, "zoneOffset").Val(); z != "" {
		m.Zone = z
	}
	if pos := f.Find(gml, "pos"); pos != nil {
		if lat, lon, ok := position(pos); ok {
			m.Lat, m.Lon = lat, lon
		}
	}
	d.sites[code] = m
}

// position reads gml:pos: latitude first but for CRS84. One example document
// of the standard has the order wrong, so positions are for display only and a
// latitude beyond 90 is dropped.
func position(n *ingest.Node) (lat, lon float64, ok bool) {
	f := strings.Fields(n.Text)
	if len(f) < 2 {
		return 0, 0, false
	}
	a, err1 := ingest.ParseDecimal(f[0])
	b, err2 := ingest.ParseDecimal(f[1])
	if err1 != nil || err2 != nil {
		return 0, 0, false
	}
	if strings.Contains(n.Attr(otherSpace, "srsName"), "CRS84") {
		a, b = b, a
	}
	return a, b, math.Abs(a) <= 90 && math.Abs(b) <= 180
}

// target is the builder for a value: observations, or the forecast that it
// belongs to. earliest is the earliest time of the series.
func (d *doc) target(o *observation, site string, earliest time.Time) *ingest.Builder {
	issued, is := d.issue(o, site, earliest)
	if !is {
		return d.b
	}
	b, ok := d.forecasts[issued]
	if !ok {
		b = ingest.NewBuilder(d.p)
		d.forecasts[issued] = b
	}
	return b
}

// issue decides whether the series is a forecast and when it was issued: the
// result time, else the time of analysis, else unknown (zero). A result time
// somewhere inside the values is usual for observations.
func (d *doc) issue(o *observation, site string, earliest time.Time) (time.Time, bool) {
	if d.p.Kind == "observation" || o == nil && d.p.Kind != "forecast" {
		return time.Time{}, false
	}
	var issued time.Time

	if o != nil {
		t := o.resultTime.First()
		if ref := href(o.resultTime); t == nil && strings.HasPrefix(ref, "#") {
			t = d.instants[ref[1:]]
		}
		for _, v := range []string{t.Kid(gml, "timePosition").Val(), o.analysis} {
			if s, err := d.times.Parse(v, site); err == nil && issued.IsZero() {
				issued = s.At
			}
		}

		if o.simulated || o.analysis != "" {
			return issued, true
		}
	}

	return issued, d.p.Kind == "forecast" || !issued.IsZero() && earliest.After(issued)
}

func clip(s string) string {
	if len(s) <= 80 {
		return s
	}
	return strings.ToValidUTF8(s[:80], "") + "..."
}
