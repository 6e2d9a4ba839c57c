package simagency

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
)

// wml is one quantity as the WaterML 2.0 side of the agency names it.
type wml struct {
	q    quantity
	name string
	unit string // "" = the river's own
}

func wmlQuantities() []wml {
	return []wml{
		{qDischarge, "discharge", "m3/s"},
		{qStage, "stage", "m"},
		{qWater, "water_temperature", ""},
		{qAir, "air_temperature", "Cel"},
	}
}

// sos answers GetObservation (KVP): observedProperty, featureOfInterest (comma
// lists), temporalFilter=om:phenomenonTime,a/b (at most 31 days of 15-minute
// values, 1100 days of daily means) and procedure=DailyMean. Errors are OWS
// exception reports, as real services send them, with status 400.
func (a *Agency) sos(w http.ResponseWriter, r *http.Request) {
	v := r.URL.Query()
	if v.Get("request") != "GetObservation" {
		owsFail(w, "OperationNotSupported", "request", "only GetObservation is supported")
		return
	}

	from, to := a.now().AddDate(0, 0, -7), a.now()
	if s := v.Get("temporalFilter"); s != "" {
		span, ok := strings.CutPrefix(s, "om:phenomenonTime,")
		lo, hi, err := interval(span, a.now())
		if !ok || err != nil {
			owsFail(w, "InvalidParameterValue", "temporalFilter", "want om:phenomenonTime,begin/end")
			return
		}
		from, to = lo, hi
	}

	daily := strings.HasSuffix(v.Get("procedure"), "DailyMean")
	limit := 31 * 24 * time.Hour
	if daily {
		limit = 1100 * 24 * time.Hour
	}
	if to.Sub(from) > limit {
		owsFail(w, "InvalidParameterValue", "temporalFilter", "the period is too long")
		return
	}

	sites, props := split(v.Get("featureOfInterest")), split(v.Get("observedProperty"))
	var b strings.Builder
	b.WriteString(wmlHead)

	for i, rv := range a.world.rivers {
		if len(sites) > 0 && !slices.Contains(sites, rv.Code) {
			continue
		}
		for _, m := range wmlQuantities() {
			if len(props) > 0 && !slices.Contains(props, m.name) || !daily && m.q == qAir || daily && m.q == qStage {
				continue
			}
			a.observation(&b, i, m, from, to, daily)
		}
	}

	b.WriteString("</sos:GetObservationResponse>\n")
	w.Header().Set("Content-Type", "application/xml")
	_, _ = w.Write([]byte(b.String())) // held in memory by page
}

func owsFail(w http.ResponseWriter, code, locator, text string) {
	w.Header().Set("Content-Type", "application/xml")
	w.WriteHeader(http.StatusBadRequest)
	_, _ = fmt.Fprintf(w, `<?xml version="1.0" encoding="UTF-8"?>
<ows:ExceptionReport xmlns:ows="http://www.opengis.net/ows/1.1" version="2.0.0"><ows:Exception exceptionCode="%s" locator="%s"><ows:ExceptionText>%s</ows:ExceptionText></ows:Exception></ows:ExceptionReport>
`, code, locator, text)
}

const wmlHead = `<?xml version="1.0" encoding="UTF-8"?>
<sos:GetObservationResponse xmlns:sos="http://www.opengis.net/sos/2.0" xmlns:om="http://www.opengis.net/om/2.0" xmlns:wml2="http://www.opengis.net/waterml/2.0" xmlns:gml="http://www.opengis.net/gml/3.2" xmlns:swe="http://www.opengis.net/swe/2.0" xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
`

// observation writes one series.
func (a *Agency) observation(b *strings.Builder, i int, m wml, from, to time.Time, daily bool) {
	r := &a.world.rivers[i]
	unit, stat, interp, agg := m.unit, "00011", "Continuous", ""
	if unit == "" {
		unit = r.TempUnit
	}
	if daily {
		stat, interp, agg = "00003", "AveragePrec", "<wml2:aggregationDuration>P1D</wml2:aggregationDuration>"
	}

	fmt.Fprintf(b, `<sos:observationData><om:OM_Observation gml:id="ob.%s"><om:type xlink:href="http://www.opengis.net/def/observationType/waterml/2.0/MeasurementTimeseriesTVPObservation"/><om:resultTime><gml:TimeInstant gml:id="rt.%s"><gml:timePosition>%s</gml:timePosition></gml:TimeInstant></om:resultTime><om:procedure xlink:href="urn:northgauge:procedure:%s"/><om:observedProperty xlink:href="urn:northgauge:property:%s" xlink:title="%s"/><om:featureOfInterest xlink:href="urn:northgauge:station:%s" xlink:title="%s"/><om:result><wml2:MeasurementTimeseries gml:id="ts.%s">`,
		seriesID(r, m.q, stat), seriesID(r, m.q, stat), a.now().UTC().Format(time.RFC3339),
		map[bool]string{false: "AsStored", true: "DailyMean"}[daily],
		m.name, m.name, r.Code, r.Station, seriesID(r, m.q, stat))
	fmt.Fprintf(b, `<wml2:defaultPointMetadata><wml2:DefaultTVPMeasurementMetadata><wml2:uom code="%s"/><wml2:interpolationType xlink:href="http://www.opengis.net/def/waterml/2.0/interpolationType/%s" xlink:title="%s"/>%s</wml2:DefaultTVPMeasurementMetadata></wml2:defaultPointMetadata>`, unit, interp, interp, agg)
	if daily {
		a.wmlDays(b, i, m, unit, from, to)
	} else {
		a.wmlInstants(b, i, m, unit, from, to)
	}

	b.WriteString("</wml2:MeasurementTimeseries></om:result></om:OM_Observation></sos:observationData>\n")
}

func (a *Agency) wmlInstants(b *strings.Builder, i int, m wml, unit string, from, to time.Time) {
	from = maxTime(from, a.world.Anchor.UTC().Add(-continuousFor)).Add(cadence - 1).Truncate(cadence)
	for t := from; !t.After(minTime(to, a.now().Add(-lag))); t = t.Add(cadence) {
		x, ok := a.instant(i, m.q, t)
		if !ok {
			continue
		}
		for range 1 + btoi(a.doubled(i, m.q.param, t)) {
			a.wmlPoint(b, i, m, unit, t, x)
		}
	}
}

// wmlDays stamps a mean with the end of its civil day, local offset written.
func (a *Agency) wmlDays(b *strings.Builder, i int, m wml, unit string, from, to time.Time) {
	for d := coldseam.DateOf(from.In(a.world.zone)); ; d = d.Add(1) {
		end := d.Add(1).In(a.world.zone)
		if end.After(to) {
			return
		}
		if x, ok := a.day(i, m.q, d); ok && !x.modified.After(a.now()) {
			a.wmlPoint(b, i, m, unit, end, x)
		}
	}
}

func (a *Agency) wmlPoint(b *strings.Builder, i int, m wml, unit string, t time.Time, x row) {
	b.WriteString("<wml2:point><wml2:MeasurementTVP><wml2:time>")
	b.WriteString(t.In(a.world.zone).Format(time.RFC3339))
	b.WriteString("</wml2:time>")
	if x.null {
		b.WriteString(`<wml2:value xsi:nil="true"/>`)
	} else {
		b.WriteString("<wml2:value>" + a.world.rivers[i].wmlText(m, unit, x) + "</wml2:value>")
	}
	if len(x.quals) > 0 {
		b.WriteString("<wml2:metadata><wml2:TVPMeasurementMetadata>")
		for _, q := range x.quals {
			b.WriteString(`<wml2:qualifier xlink:title="` + q + `"/>`)
		}
		b.WriteString("</wml2:TVPMeasurementMetadata></wml2:metadata>")
	}
	b.WriteString("</wml2:MeasurementTVP></wml2:point>")
}

func (r *River) wmlText(m wml, unit string, x row) string {
	if x.sentinel {
		return "-999999"
	}
	switch unit {
	case "m3/s":
		return significant(x.si)
	case "m":
		return number(x.si, 3)
	case "degF":
		return number(coldseam.F(x.si), 1)
	}
	return number(x.si, 1)
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}
