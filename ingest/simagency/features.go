package simagency

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// longestDays of one request [source: an error answer of the US service].
const longestDays = 1100

// items answers a collection of the feature service.
func (a *Agency) items(w http.ResponseWriter, r *http.Request) {
	q, err := a.query(r)
	if err != nil {
		fail(w, http.StatusBadRequest, "InvalidParameterValue", err.Error())
		return
	}

	name := r.PathValue("collection")
	var fs []feature

	switch name {
	case "latest-continuous":
		// The silent gauge's own page is broken; asked for with others, its old
		// rows are served.
		if q.onlySilentRivers {
			fail(w, http.StatusInternalServerError, "InternalError", "station backend not reachable")
			return
		}
		fs = a.latest(q)
	case "continuous":
		fs = a.continuous(q)
	case "daily":
		fs = a.dailyRows(q)
	case "time-series-metadata":
		fs = a.metadata(q)
	case "monitoring-locations":
		fs = a.locations(q)
	case "channel-measurements":
		fs = a.channels(q)
	case "field-measurements":
		fs = a.fields(q)
	default:
		fail(w, http.StatusNotFound, "NotFound", "no such collection")
		return
	}

	if name == "continuous" || name == "daily" {
		if q.timed && q.to.Sub(q.from) > longestDays*24*time.Hour {
			fail(w, http.StatusBadRequest, "InvalidQuery",
				fmt.Sprintf("The requested time envelope is too large: at most %d days.", longestDays))
			return
		}
	}
	a.writeFeatures(w, q, fs)
}

func fail(w http.ResponseWriter, status int, code, text string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(map[string]string{"code": code, "description": text}) // the client may have gone
}

// feature is one GeoJSON feature: sorted pairs of name and raw JSON.
type feature struct {
	river int
	props []prop
}

type prop struct {
	name string
	json string // raw
}

func str(name, v string) prop { return prop{name, strconv.Quote(v)} }
func raw(name, v string) prop { return prop{name, v} }
func null(name string) prop   { return prop{name, "null"} }
func (q query) wants(list []string, v string) bool {
	return len(list) == 0 || slices.Contains(list, v)
}

// sensor is one series of a river in the feed.
type sensor struct {
	river int
	q     quantity
	stat  string // 00011 or 00003
	id    string
	place string // sublocation, "" = the primary series
	addC  float64
}

func (a *Agency) sensors(q query, stat string) []sensor {
	quantities := instantQuantities()
	if stat == "00003" {
		quantities = dailyQuantities()
	}
	var out []sensor

	for _, i := range q.rivers {
		r := &a.world.rivers[i]
		for _, k := range quantities {
			s := sensor{river: i, q: k, stat: stat, id: seriesID(r, k, stat)}
			if a.keep(q, s) {
				out = append(out, s)
			}
			if a.duplicates && i == 0 && k.param == coldseam.WaterTemp && stat == "00011" {
				s.place, s.addC, s.id = "right bank", 0.4, seriesID(r, k, stat+"b")
				if a.keep(q, s) {
					out = append(out, s)
				}
			}
		}
	}

	return out
}

func (a *Agency) keep(q query, s sensor) bool {
	return q.wants(q.params, s.q.code) && q.wants(q.stat, s.stat) && q.wants(q.series, s.id)
}

func (a *Agency) continuous(q query) []feature {
	from := maxTime(q.from, a.world.Anchor.UTC().Add(-continuousFor))
	from = from.Add(cadence - 1).Truncate(cadence)
	to := minTime(q.to, a.now().Add(-lag))
	var out []feature
	for _, s := range a.sensors(q, "00011") {
		for t := from; !t.After(to); t = t.Add(cadence) {
			if x, ok := a.instant(s.river, s.q, t); ok && q.fresh(x) {
				out = append(out, a.feature(s, x))
				if a.doubled(s.river, s.q.param, t) {
					out = append(out, a.feature(s, x))
				}
			}
		}
	}
	return out
}

func (q query) fresh(x row) bool { return !x.modified.Before(q.modFrom) && !x.modified.After(q.modTo) }

func (a *Agency) latest(q query) []feature {
	var out []feature
	newest := a.now().Add(-lag).Truncate(cadence)
	for _, s := range a.sensors(q, "00011") {
		for t := newest; newest.Sub(t) < continuousFor; t = t.Add(-cadence) {
			if x, ok := a.instant(s.river, s.q, t); ok {
				out = append(out, a.feature(s, x))
				break
			}
		}
	}
	return out
}

func (a *Agency) dailyRows(q query) []feature {
	first := a.world.recs[0].first
	from, to := first, coldseam.DateOf(a.now().In(a.world.zone)).Add(-1)
	if d := coldseam.DateOf(q.from.UTC()); first.Before(d) {
		from = d
	}
	if d := coldseam.DateOf(q.to.UTC()); d.Before(to) {
		to = d
	}
	var out []feature
	for _, s := range a.sensors(q, "00003") {
		for d := from; !to.Before(d); d = d.Add(1) {
			if x, ok := a.day(s.river, s.q, d); ok && !x.modified.After(a.now()) && q.fresh(x) {
				out = append(out, a.feature(s, x))
			}
		}
	}
	return out
}

func (a *Agency) feature(s sensor, x row) feature {
	r := &a.world.rivers[s.river]
	x.si += s.addC
	quals, value, stamp := "null", "null", x.at.UTC().Format("2006-01-02T15:04:05+00:00")
	switch { // null, a text or a list: all three occur
	case len(x.quals) == 1:
		quals = strconv.Quote(x.quals[0])
	case len(x.quals) > 1:
		quals = `["` + strings.Join(x.quals, `","`) + `"]`
	}

	if !x.null {
		value = strconv.Quote(r.text(s.q, x))
	}
	if s.stat == "00003" {
		stamp = x.at.Format(time.DateOnly)
	}
	approval := "Provisional"
	if x.approved {
		approval = "Approved"
	}

	return feature{s.river, []prop{
		str("approval_status", approval),
		str("last_modified", x.modified.UTC().Format("2006-01-02T15:04:05.000000+00:00")),
		str("monitoring_location_id", r.Code),
		str("parameter_code", s.q.code),
		raw("qualifier", quals),
		str("statistic_id", s.stat),
		str("time", stamp),
		str("time_series_id", s.id),
		str("unit_of_measure", r.unit(s.q)),
		raw("value", value),
	}}
}

func (a *Agency) metadata(q query) []feature {
	var out []feature
	for _, stat := range []string{"00011", "00003"} {
		for _, s := range a.sensors(q, stat) {
			out = append(out, a.metaFeature(s))
		}
	}
	return out
}

func (a *Agency) metaFeature(s sensor) feature {
	r := &a.world.rivers[s.river]
	begin := a.world.Anchor.UTC().Add(-continuousFor)
	computation, period, gap := "Instantaneous", "Points", `"PT1H12M"`
	if s.stat == "00003" {
		begin = a.world.recs[s.river].first.In(a.world.zone)
		computation, period, gap = "Mean", "Daily", "null"
	}

	primary, place := `"Primary"`, "null"
	if s.place != "" {
		primary, place = "null", strconv.Quote(s.place)
	}
	end := a.now().Add(-lag).Truncate(cadence)
	local := "2006-01-02T15:04:05.000001"

	return feature{s.river, []prop{
		str("begin", begin.In(a.world.zone).Format("2006-01-02T15:04:05")+".000001"),
		str("begin_utc", begin.UTC().Format("2006-01-02T15:04:05+00:00")),
		str("computation_identifier", computation),
		str("computation_period_identifier", period),
		raw("data_gap_interval", gap),
		str("end", end.In(a.world.zone).Format("2006-01-02T15:04:05")+local[19:]),
		str("end_utc", end.UTC().Format("2006-01-02T15:04:05+00:00")),
		str("id", s.id),
		str("last_modified", end.UTC().Format("2006-01-02T15:04:05.000000")),
		str("monitoring_location_id", r.Code),
		str("parameter_code", s.q.code),
		str("parameter_name", s.q.name),
		raw("primary", primary),
		str("statistic_id", s.stat),
		raw("sublocation_identifier", place),
		raw("thresholds", "[]"),
		str("unit_of_measure", r.unit(s.q)),
		null("web_description"),
	}}
}

func (a *Agency) locations(q query) []feature {
	var out []feature
	for _, i := range q.rivers {
		r := &a.world.rivers[i]
		out = append(out, feature{i, []prop{
			str("agency_code", "NG"), str("agency_name", "Northgauge Water Survey (invented)"),
			raw("altitude", number(coldseam.Feet(r.DatumM), 2)),
			str("country_code", "US"),
			raw("drainage_area", number(r.AreaKM2/2.589988110336, 0)), // square mile = 1609.344^2 m2
			str("id", r.Code), str("monitoring_location_name", r.Station),
			str("monitoring_location_number", r.Code[3:]),
			str("site_type", "Stream"), str("site_type_code", "ST"),
			str("time_zone_abbreviation", "CST"), str("uses_daylight_savings", "Y"),
			str("vertical_datum", "NAVD88"),
		}})
	}
	return out
}

// visitText are the numbers of a gauging in US units with a hydrographer's
// digits.
func (a *Agency) channels(q query) []feature {
	var out []feature

	for _, i := range q.rivers {
		r := &a.world.rivers[i]
		for _, v := range a.world.visits(i) {
			method := "Boat"
			if v.ice {
				method = "Ice"
			}

			out = append(out, feature{i, []prop{
				str("channel_area", significant(v.area/(coldseam.MetrePerFoot*coldseam.MetrePerFoot))),
				str("channel_area_unit", "ft^2"),
				str("channel_flow", significant(coldseam.CFS(v.flow))), str("channel_flow_unit", "ft^3/s"),
				str("channel_location_distance", ""), str("channel_location_distance_unit", ""),
				str("channel_material", "Unspecified"), str("channel_measurement_type", "acoustic_doppler"),
				str("channel_name", "main."),
				str("channel_velocity", significant(coldseam.Feet(v.ms))), str("channel_velocity_unit", "ft/s"),
				str("channel_width", significant(coldseam.Feet(v.width))), str("channel_width_unit", "ft"),
				str("field_visit_id", visitID(r, v)),
				str("last_modified", v.at.Add(72*time.Hour).Format("2006-01-02T15:04:05.000000+00:00")),
				str("measurement_number", strconv.Itoa(v.number)), str("measurement_type", method),
				str("monitoring_location_id", r.Code),
				str("time", v.at.Format("2006-01-02T15:04:05+00:00")),
			}})
		}
	}

	return out
}

func (a *Agency) fields(q query) []feature {
	var out []feature

	for _, i := range q.rivers {
		r := &a.world.rivers[i]

		for _, v := range a.world.visits(i) {
			for _, k := range []quantity{qStage, qDischarge} {
				if !q.wants(q.params, k.code) {
					continue
				}
				x, kind, control := row{si: v.stage}, "ReferencePrimary", `"Clear"`
				if k == qDischarge {
					x.si, kind = v.flow, "Discharge"
				}
				if v.ice {
					control = `"Ice Cover"`
				}

				out = append(out, feature{i, []prop{
					str("approval_status", "Approved"), raw("control_condition", control),
					str("field_measurements_series_id", seriesID(r, k, "field")), str("field_visit_id", visitID(r, v)),
					str("last_modified", v.at.Add(72*time.Hour).Format("2006-01-02T15:04:05.000000+00:00")),
					str("measuring_agency", "NG"), str("monitoring_location_id", r.Code), str("parameter_code", k.code),
					null("qualifier"), str("reading_type", kind), str("time", v.at.Format("2006-01-02T15:04:05+00:00")),
					str("unit_of_measure", r.unit(k)), str("value", r.text(k, x)), str("vertical_datum", "None"),
				}})
			}
		}
	}

	return out
}

func visitID(r *River, v visit) string {
	return featureID(uint64(v.at.Unix()) ^ uint64(r.AreaKM2))
}

func number(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }

// writeFeatures writes one page with its next link.
func (a *Agency) writeFeatures(w http.ResponseWriter, q query, fs []feature) {
	w.Header().Set("Content-Type", "application/geo+json")
	lo := min(q.offset, len(fs))
	hi := min(lo+q.limit, len(fs))
	out := make([]byte, 0, 256+450*(hi-lo))
	out = append(out, `{"type":"FeatureCollection","features":[`...)
	for n, f := range fs[lo:hi] {
		if n > 0 {
			out = append(out, ',')
		}
		out = a.appendFeature(out, q, f, uint64(lo+n))
	}

	out = append(out, `],"numberReturned":`...)
	out = strconv.AppendInt(out, int64(hi-lo), 10)
	out = append(out, `,"links":[{"rel":"self","href":`...)
	out = append(out, strconv.Quote(q.base+q.path)...)
	out = append(out, '}')
	if hi < len(fs) {
		v := url.Values{}
		for k, s := range q.original {
			v[k] = s
		}
		v.Set("offset", strconv.Itoa(hi))
		path := strings.Replace(q.path, "/v0/", "/v1/", 1)
		out = append(out, `,{"rel":"next","type":"application/geo+json","href":`...)
		out = append(out, strconv.Quote(q.base+path+"?"+v.Encode())...)
		out = append(out, '}')
	}

	out = append(out, "]}"...)
	_, _ = w.Write(out) // held in memory by page
}

func (a *Agency) appendFeature(out []byte, q query, f feature, n uint64) []byte {
	r := &a.world.rivers[f.river]
	id := `"` + featureID(n^a.world.Seed<<20) + `"`
	out = append(out, `{"type":"Feature","id":`...)
	for _, p := range f.props {
		if p.name == "id" { // locations and series carry an id of their own
			id = p.json
		}
	}

	out = append(out, id...)
	out = append(out, `,"geometry":`...)
	if q.skipGeometry {
		out = append(out, "null"...)
	} else {
		out = append(out, `{"type":"Point","coordinates":[`...)
		out = strconv.AppendFloat(out, r.Lon, 'f', -1, 64)
		out = append(out, ',')
		out = strconv.AppendFloat(out, r.Lat, 'f', -1, 64)
		out = append(out, "]}"...)
	}

	out = append(out, `,"properties":{`...)
	for i, p := range f.props {
		if i > 0 {
			out = append(out, ',')
		}
		out = append(out, '"')
		out = append(out, p.name...)
		out = append(out, `":`...)
		out = append(out, p.json...)
	}

	return append(out, "}}"...)
}

func maxTime(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func minTime(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
