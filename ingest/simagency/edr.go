package simagency

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
)

const (
	runEvery   = 6 * time.Hour
	runDelay   = 70 * time.Minute // from the run's hour to the web
	runHours   = 240
	runsKept   = 60 * 4
	runLayout  = "2006-01-02T15:04:05Z"
	pointShare = 1.0 // degrees: farther from every river there is no grid
)

// gridParam is one parameter of the weather model.
type gridParam struct {
	name, label, unit string
	digits            int
}

var gridParams = []gridParam{
	{"air_temperature", "Air temperature", "Cel", 1},
	{"wind_speed", "Wind speed", "m/s", 1},
	{"wind_gust", "Wind gust", "m/s", 1},
	{"wind_from_direction", "Direction that the wind comes from", "deg", 0},
	{"precipitation_amount", "Precipitation in the past hour", "mm", 2},
	{"thunder_probability", "Probability of thunder in the past hour", "%", 0},
}

// newestRun is the newest model run on the web at t.
func newestRun(t time.Time) time.Time { return t.Add(-runDelay).UTC().Truncate(runEvery) }

func (a *Agency) edrCollection(w http.ResponseWriter, r *http.Request) {
	run := newestRun(a.now())
	names := map[string]any{}
	for _, p := range gridParams {
		names[p.name] = map[string]any{"type": "Parameter", "unit": map[string]string{"symbol": p.unit},
			"observedProperty": map[string]any{"label": map[string]string{"en": p.label}}}
	}
	writeJSON(w, map[string]any{
		"id": "metgrid", "title": "Invented weather model, 10 days, hourly",
		"extent": map[string]any{"temporal": map[string]any{"interval": [][]string{{run.Format(runLayout),
			run.Add(runHours * time.Hour).Format(runLayout)}}}},
		"parameter_names": names, "output_formats": []string{"CoverageJSON"}, "crs": []string{"CRS84"},
	})
}

// edrInstances lists the runs, newest first.
func (a *Agency) edrInstances(w http.ResponseWriter, r *http.Request) {
	run := newestRun(a.now())
	list := []any{}
	for k := range runsKept {
		t := run.Add(-time.Duration(k) * runEvery)
		id := t.Format(runLayout)
		list = append(list, map[string]any{
			"id": id, "title": "run of " + id,
			"extent": map[string]any{"temporal": map[string]any{"interval": [][]string{{id,
				t.Add(runHours * time.Hour).Format(runLayout)}}}},
		})
	}
	writeJSON(w, map[string]any{"instances": list})
}

func writeJSON(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(v) // the client may have gone
}

// edrPosition answers a position query with the series of the nearest river.
func (a *Agency) edrPosition(w http.ResponseWriter, r *http.Request) {
	v := r.URL.Query()
	lon, lat, err := point(v.Get("coords"))
	if err != nil {
		fail(w, http.StatusBadRequest, "InvalidQuery", err.Error())
		return
	}

	run := newestRun(a.now())
	if id := r.PathValue("run"); id != "" {
		t, err := time.Parse(runLayout, id)
		if err != nil || t.After(run) || run.Sub(t) >= runsKept*runEvery || !t.Equal(t.Truncate(runEvery)) {
			fail(w, http.StatusNotFound, "NotFound", "no such instance")
			return
		}
		run = t
	}

	from, to := run, run.Add(runHours*time.Hour)
	if s := v.Get("datetime"); s != "" {
		lo, hi, err := interval(s, a.now())
		if err != nil {
			fail(w, http.StatusBadRequest, "InvalidQuery", "datetime: "+err.Error())
			return
		}
		from, to = maxTime(from, lo.UTC()), minTime(to, hi.UTC())
	}

	i, ok := a.nearest(lat, lon)
	if !ok {
		fail(w, http.StatusNotFound, "NotFound", "outside the grid")
		return
	}
	a.writeCoverage(w, i, lat, lon, run, from, to, split(v.Get("parameter-name")))
}

// point reads POINT(lon lat).
func point(s string) (lon, lat float64, err error) {
	in, ok := strings.CutPrefix(strings.ToUpper(strings.TrimSpace(s)), "POINT")
	f := strings.Fields(strings.Trim(strings.TrimSpace(in), "()"))
	if !ok || len(f) != 2 {
		return 0, 0, fmt.Errorf("coords %q: want POINT(lon lat)", s)
	}
	if lon, err = strconv.ParseFloat(f[0], 64); err == nil {
		lat, err = strconv.ParseFloat(f[1], 64)
	}
	if err != nil || math.Abs(lat) > 90 || math.Abs(lon) > 180 {
		return 0, 0, fmt.Errorf("coords %q: want POINT(lon lat)", s)
	}
	return lon, lat, nil
}

func (a *Agency) nearest(lat, lon float64) (int, bool) {
	best, at := pointShare, -1
	for i, r := range a.world.rivers {
		if d := math.Max(math.Abs(r.Lat-lat), math.Abs(r.Lon-lon)); d < best {
			best, at = d, i
		}
	}
	return at, at >= 0
}

// writeCoverage writes a PointSeries. An axis of one value, and the coverage
// id, name the run.
func (a *Agency) writeCoverage(w http.ResponseWriter, i int, lat, lon float64, run, from, to time.Time,
	names []string) {
	var times []string
	values := map[string][]any{}
	for h := 0; h <= runHours; h++ {
		t := run.Add(time.Duration(h) * time.Hour)
		if t.Before(from) || t.After(to) {
			continue
		}
		times = append(times, t.Format(runLayout))
		for _, p := range gridParams {
			values[p.name] = append(values[p.name], a.forecastValue(i, p, run, h))
		}
	}

	params, ranges := map[string]any{}, map[string]any{}
	for _, p := range gridParams {
		if len(names) > 0 && !slices.Contains(names, p.name) {
			continue
		}
		params[p.name] = map[string]any{
			"type": "Parameter", "observedProperty": map[string]any{"label": map[string]string{"en": p.label}},
			"unit": map[string]any{"label": map[string]string{"en": p.unit},
				"symbol": map[string]string{"type": "http://www.opengis.net/def/uom/UCUM/", "value": p.unit}},
		}
		ranges[p.name] = map[string]any{"type": "NdArray", "dataType": "float", "axisNames": []string{"t", "y", "x"},
			"shape": []int{len(times), 1, 1}, "values": values[p.name]}
	}
	w.Header().Set("Content-Type", "application/prs.coverage+json")

	_ = json.NewEncoder(w).Encode(map[string]any{ // the client may have gone
		"type": "Coverage", "id": "metgrid/instances/" + run.Format(runLayout),
		"domain": map[string]any{
			"type": "Domain", "domainType": "PointSeries",
			"axes": map[string]any{
				"t": map[string]any{"values": times}, "x": map[string]any{"values": []float64{lon}},
				"y":              map[string]any{"values": []float64{lat}},
				"reference_time": map[string]any{"values": []string{run.Format(runLayout)}},
			},
			"referencing": []any{
				map[string]any{"coordinates": []string{"x", "y"}, "system": map[string]string{"type": "GeographicCRS",
					"id": "http://www.opengis.net/def/crs/OGC/1.3/CRS84"}},
				map[string]any{"coordinates": []string{"t"}, "system": map[string]string{"type": "TemporalRS",
					"calendar": "Gregorian"}},
			},
		},
		"parameters": params, "ranges": ranges,
	})
}

// forecastValue is the truth with an error that grows with the lead: the model
// is right in the first hours and little better than the season on day 10.
// nil past the end of the record.
func (a *Agency) forecastValue(i int, p gridParam, run time.Time, h int) any {
	w := a.world
	t := run.Add(time.Duration(h) * time.Hour)
	s, ok := w.recs[i].at(t)
	if !ok {
		return nil
	}
	lead := float64(h) / 24
	e := w.leadError(i, run, lead)

	v := 0.0
	switch p.name {
	case "air_temperature":
		v = s.wx.airC + e*(0.5+0.42*math.Pow(lead, 0.85)) + 0.3
	case "wind_speed":
		v = s.wx.windMS * math.Exp(0.06*e*math.Sqrt(lead))
	case "wind_gust":
		v = s.wx.gustMS * math.Exp(0.06*e*math.Sqrt(lead))
	case "wind_from_direction": // swings about south-west as weather passes, in five days
		v = 225 + 60*math.Sin(2*math.Pi*float64(t.Unix())/(5*86400))
	case "precipitation_amount":
		v = s.wx.precipMM * math.Exp(0.2*e*math.Sqrt(lead)) * math.Exp(-0.04*lead)
	case "thunder_probability":
		v = clamp(100*(s.wx.thunder*math.Exp(-0.12*lead)+0.004*lead*math.Max(0, s.wx.airC-4)), 0, 95)
	}

	f := math.Pow(10, float64(p.digits))
	return math.Round(math.Max(v, floor(p.name))*f) / f
}

func floor(name string) float64 {
	if name == "air_temperature" {
		return -80
	}
	return 0
}

// leadError is a slowly wandering standard error of one run: nodes a day
// apart, correlated 0.7 from one to the next.
func (w *World) leadError(i int, run time.Time, lead float64) float64 {
	k := int(lead)
	node := w.noise(i, 40, run.Unix())
	prev := node
	for d := 1; d <= k+1; d++ {
		prev = node
		node = 0.7*node + 0.714*w.noise(i, 40+uint64(d), run.Unix())
	}
	f := lead - float64(k)
	return prev*(1-f) + node*f
}
