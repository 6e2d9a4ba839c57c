package ogcfeatures

import (
	"maps"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// Our field names. For wide rows a field may also be "<parameter>",
// "<parameter>_qualifier" or "<parameter>_approval".
const (
	fSite      = "site"
	fName      = "name"
	fSeries    = "series"
	fParam     = "parameter"
	fStat      = "statistic"
	fTime      = "time"
	fTimeOther = "time_other" // read when time is null
	fTimeOfDay = "time_of_day"
	fValue     = "value"
	fUnit      = "unit"
	fApproval  = "approval"
	fQualifier = "qualifier"
	fModified  = "modified"
)

// usFields are the names of the US water-data service [source: fixtures of the
// agency's own client libraries].
var usFields = map[string]string{
	"monitoring_location_id":   fSite,
	"monitoring_location_name": fName,
	"time_series_id":           fSeries,
	"parameter_code":           fParam,
	"statistic_id":             fStat,
	"time":                     fTime,
	"time_of_day":              fTimeOfDay,
	"value":                    fValue,
	"unit_of_measure":          fUnit,
	"approval_status":          fApproval,
	"qualifier":                fQualifier,
	"last_modified":            fModified,
}

// caFields are the names of the Canadian hydrometric service [source: the
// agency's open-data documents and loader]. DATE belongs to its daily
// collection [from memory].
var caFields = map[string]string{
	"STATION_NUMBER":      fSite,
	"STATION_NAME":        fName,
	"DATETIME":            fTime,
	"DATE":                fTime,
	"DATETIME_LST":        fTimeOther,
	"LEVEL":               string(coldseam.Stage),
	"DISCHARGE":           string(coldseam.Discharge),
	"LEVEL_SYMBOL_EN":     string(coldseam.Stage) + "_" + fQualifier,
	"DISCHARGE_SYMBOL_EN": string(coldseam.Discharge) + "_" + fQualifier,
}

// caSymbols are the one-letter symbols of the Canadian archive [from memory];
// the text forms need no table.
var caSymbols = map[string]string{"A": "warn", "B": "ice", "D": "warn", "E": "estimated", "R": "ok"}

// parameters of the US service. 00060, 00065 and 00010 [source: fixtures and
// documents]; 00020 air temperature, 63680 turbidity, 00055 and 72255 velocity
// [from memory].
var parameters = map[string]coldseam.Parameter{
	"00060": coldseam.Discharge,
	"00065": coldseam.Stage,
	"00010": coldseam.WaterTemp,
	"00020": coldseam.AirTemp,
	"63680": coldseam.Turbidity,
	"00055": coldseam.Velocity,
	"72255": coldseam.Velocity,
}

// statistics of the US service [source: fixtures; 00001 and 00002 from a
// WaterML 1.1 file of the same agency].
var statistics = map[string]coldseam.Statistic{
	"00011": coldseam.Instant,
	"00003": coldseam.Mean,
	"00001": coldseam.Max,
	"00002": coldseam.Min,
	"00006": coldseam.Sum,
	"mean":  coldseam.Mean, "instant": coldseam.Instant, "min": coldseam.Min, "max": coldseam.Max, "sum": coldseam.Sum,
}

// fieldMap is ours -> theirs, in the order of preference of several.
type fieldMap map[string][]string

// mapping builds the field map of a document: the profile's fields first, then
// the defaults of the service whose shape the first feature has.
func mapping(p ingest.Profile, canadian bool) fieldMap {
	out := fieldMap{}
	defaults := usFields
	if canadian {
		defaults = caFields
	}
	for theirs, ours := range p.Fields {
		out[ours] = append(out[ours], theirs)
	}
	for theirs, ours := range defaults {
		if _, set := p.Fields[theirs]; !set {
			out[ours] = append(out[ours], theirs)
		}
	}
	return out
}

// get is the first non-null field of that meaning.
func (m fieldMap) get(props map[string]any, ours string) any {
	for _, theirs := range m[ours] {
		if v, ok := props[theirs]; ok && v != nil {
			return v
		}
	}
	return nil
}

// has reports whether the feature carries a field of that meaning, null or not.
func (m fieldMap) has(props map[string]any, ours string) bool {
	for _, theirs := range m[ours] {
		if _, ok := props[theirs]; ok {
			return true
		}
	}
	return false
}

// isCanadian recognises the Canadian service by two of its field names, so
// that its documented units and symbols hold without a profile.
func isCanadian(f feature) bool {
	_, a := f.Properties["STATION_NUMBER"]
	_, b := f.Properties["PROV_TERR_STATE_LOC"]
	return a && b
}

// canadian fills what the service documents and the rows do not carry: metres,
// cubic metres a second, every real-time value provisional.
func canadian(p ingest.Profile, realtime bool) ingest.Profile {
	p.Wide = true
	p.Units = with(p.Units, map[string]string{string(coldseam.Stage): "m", string(coldseam.Discharge): "m3/s"})
	p.Qualifiers = with(p.Qualifiers, caSymbols)
	if realtime {
		p.Approval = with(p.Approval, map[string]string{"": "provisional"})
	}
	return p
}

func with(own, defaults map[string]string) map[string]string {
	out := maps.Clone(defaults)
	maps.Copy(out, own)
	return out
}

// wideParams are the parameters a wide profile maps, in a fixed order.
func (m fieldMap) wideParams() []coldseam.Parameter {
	var out []coldseam.Parameter
	for _, p := range []coldseam.Parameter{coldseam.Discharge, coldseam.Stage, coldseam.WaterTemp, coldseam.Turbidity,
		coldseam.Velocity, coldseam.AirTemp, coldseam.Precip, coldseam.Wind, coldseam.Gust, coldseam.WindFrom,
		coldseam.ThunderProb, coldseam.Visibility, coldseam.FishCount} {
		if len(m[string(p)]) > 0 {
			out = append(out, p)
		}
	}
	return out
}

// ref is the series id of a wide field: station and field name.
func (m fieldMap) ref(site string, p coldseam.Parameter) string {
	return strings.Join([]string{site, m[string(p)][0]}, "/")
}
