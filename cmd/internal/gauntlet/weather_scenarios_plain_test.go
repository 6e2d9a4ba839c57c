//go:build !race

package gauntlet

import (
	"bytes"
	"cmp"
	"encoding/json"
	"maps"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/covjson"
	"example.org/coldseam/store/storetest"
)

// The morning of every scenario: a window from 07:00 to 10:30, so that people are
// on the water from 06:15 to 12:30.
var (
	wxZone = time.FixedZone("CDT", -5*3600)
	wxDay  = coldseam.Date{Year: 2026, Month: 3, Day: 20}
	wxNow  = wxAt(5)
)

func wxAt(hour float64) time.Time {
	return time.Date(2026, 3, 20, 0, 0, 0, 0, wxZone).Add(time.Duration(hour * float64(time.Hour)))
}

// wxSeries is one quantity of a forecast: hours after local midnight and values.
type wxSeries struct {
	hour   []float64
	value  []any
	z      float64 // 0 = no height
	system string  // of the height
	bounds float64 // hours around the time, 0 = none
	dates  bool
	split  bool // one coverage for each time
	issued float64
	unit   string
}

// wx is a forecast document, by standard name.
type wx map[string]*wxSeries

var wxUnits = map[string]string{"air_temperature": "Cel", "wind_speed": "m/s", "wind_speed_of_gust": "m/s",
	"probability_of_thunder": "%",
	"visibility_in_air":      "m", "precipitation_amount": "mm"}

// calmWeather is two days of hours in which nothing is wrong.
func calmWeather() wx {
	d := wx{}
	for name, v := range map[string]float64{"air_temperature": 8, "wind_speed": 2, "wind_speed_of_gust": 4,
		"probability_of_thunder": 2,
		"visibility_in_air":      20000, "precipitation_amount": 0} {
		s := &wxSeries{unit: wxUnits[name], issued: 3}
		for h := range 48 {
			s.hour, s.value = append(s.hour, float64(h)), append(s.value, v+float64(h%7)/10)
		}
		d[name] = s
	}
	return d
}

// every changes each quantity named, all without names.
func (d wx) every(change func(*wxSeries), names ...string) {
	for name, s := range d {
		if len(names) == 0 || slices.Contains(names, name) {
			change(s)
		}
	}
}

// only keeps the hours that keep wants.
func only(keep func(h float64) bool) func(*wxSeries) {
	return func(s *wxSeries) {
		hour, value := s.hour, s.value
		s.hour, s.value = nil, nil
		for i, h := range hour {
			if keep(h) {
				s.hour, s.value = append(s.hour, h), append(s.value, value[i])
			}
		}
	}
}

func step(n int) func(*wxSeries) { return only(func(h float64) bool { return int(h)%n == 0 }) }

func without(from, to float64) func(*wxSeries) {
	return only(func(h float64) bool { return h < from || h >= to })
}

// set writes a value into the hours of [from, to).
func set(v any, from, to float64) func(*wxSeries) {
	return func(s *wxSeries) {
		for i, h := range s.hour {
			if h >= from && h < to {
				s.value[i] = v
			}
		}
	}
}

// coverages writes the series as CoverageJSON.
func (s *wxSeries) coverages(name string) []any {
	if s.split {
		var out []any
		for i := range s.hour {
			one := *s
			one.split, one.hour, one.value = false, s.hour[i:i+1], s.value[i:i+1]
			out = append(out, one.coverages(name)...)
		}
		return out
	}

	var times, bounds []string
	for _, h := range s.hour {
		layout := time.RFC3339
		if s.dates {
			layout = time.DateOnly
		}
		times = append(times, wxAt(h).Format(layout))
		bounds = append(bounds, wxAt(h-s.bounds).Format(time.RFC3339), wxAt(h+s.bounds).Format(time.RFC3339))
	}

	t := map[string]any{"values": times}
	if s.bounds > 0 {
		t["bounds"] = bounds
	}
	axes := map[string]any{"t": t, "x": map[string]any{"values": []float64{-92}},
		"y": map[string]any{"values": []float64{44.5}}}
	if s.issued < 1000 {
		axes["reference_time"] = map[string]any{"values": []string{wxAt(s.issued).Format(time.RFC3339)}}
	}
	if s.z != 0 {
		axes["z"] = map[string]any{"values": []float64{s.z}}
	}

	return []any{map[string]any{"type": "Coverage",
		"domain": map[string]any{"type": "Domain", "axes": axes,
			"referencing": []any{map[string]any{"coordinates": []string{"z"},
				"system": map[string]any{"id": s.system}}}},
		"parameters": map[string]any{name: map[string]any{"type": "Parameter",
			"observedProperty": map[string]any{"id": name}, "unit": map[string]any{"symbol": s.unit}}},
		"ranges": map[string]any{name: map[string]any{"type": "NdArray", "dataType": "float",
			"axisNames": []string{"t"}, "shape": []int{len(times)}, "values": s.value}}}}
}

func (d wx) document(t *testing.T) []byte {
	t.Helper()
	var cs []any
	for _, name := range slices.Sorted(maps.Keys(d)) {
		cs = append(cs, d[name].coverages(name)...)
	}
	body, err := json.Marshal(map[string]any{"type": "CoverageCollection", "coverages": cs})
	require.NoError(t, err)
	return body
}

// wxRead takes the way of a fetched document: parser, joined steps, bounds.
func wxRead(t *testing.T, body []byte, p ingest.Profile) []coldseam.Forecast {
	t.Helper()
	b, err := covjson.Parse(bytes.NewReader(body), p)
	require.NoError(t, err)
	joined, _ := ingest.JoinForecasts(b.Forecasts)
	var out []coldseam.Forecast
	for _, f := range joined {
		if f, _, err := ingest.BoundForecast(f); err == nil {
			out = append(out, f)
		}
	}
	return out
}

// wxDecide judges a morning on which all but the weather is known and good.
func wxDecide(fs []coldseam.Forecast, from, to float64) verdict.Decision {
	f := forecast.Inputs{Now: wxNow, Day: wxDay, Loc: wxZone, Table: verdict.DefaultTable(), Weather: fs}
	w := f.WeatherSteps()

	same := func(v float64, n int) []float64 { return slices.Repeat([]float64{v}, n) }
	var flow, water []coldseam.Observation
	for h := -48.; h <= 4.75; h += .25 {
		flow = append(flow, coldseam.Observation{At: wxAt(h), Value: 68 + .1*math.Sin(h)})
		water = append(water, coldseam.Observation{At: wxAt(h), Value: 4 + .1*math.Sin(h)})
	}

	days := coldseam.Days{First: coldseam.Date{Year: 2014, Month: 1, Day: 1}}
	for i := range 12 * 366 {
		days.FlowM3S = append(days.FlowM3S, 20+130*float64((i*37)%101)/100)
	}
	limit, hold := 180., .95
	return verdict.Decide(verdict.Inputs{
		Now:        wxNow,
		Day:        wxDay,
		Loc:        wxZone,
		Table:      f.Table,
		Weather:    w,
		Ice:        ice.Status{Record: ice.Record{State: ice.Open, Cause: ice.CauseWarm}},
		WaterModel: true,
		Reach: coldseam.Reach{ID: "r", River: "Tamsen", Name: "Bend", Site: "x:1", Lat: 44.5, Lon: -92,
			MaxFlowM3S: &limit, HazardsSurveyed: true,
			Species: []string{"walleye"},
			Rules: []coldseam.Rule{{Kind: coldseam.RuleSeason, Species: "walleye", Link: "https://rules.example.org",
				CheckedOn: wxDay.Add(-3), CheckedBy: "keeper"}}},
		Gauge:   verdict.Gauge{Discharge: flow, Water: water},
		Alerts:  verdict.Alerts{At: wxNow.Add(-5 * time.Minute)},
		Climate: verdict.ClimateOf(days, wxDay),
		Candidates: []verdict.Candidate{{Start: wxAt(from), End: wxAt(to), WaterC: same(4, 100), FlowM3S: same(68, 100),
			RiseShare: same(.01, 100),
			RiseM:     same(.02, 100), PGood: same(.8, 500), HoldP: &hold, Tie: "1/4"}},
		Sun: verdict.SunOf(wxDay, 44.5, -92, wxZone),
	})
}

// wxScenario is a pair: a fault that must not read as GO, and the control beside
// it that must keep its word.
type wxScenario struct {
	class, name  string
	fault, clean func(wx)
	code         string           // rule that must fire on the fault, and not on the control
	word         coldseam.Verdict // of the fault; GO where only the caution counts
	levels       [2]map[string]float64
	window       [2][2]float64 // of fault and control, zero = 07:00 to 10:30
}

func wxScenarios() []wxScenario {
	const air, wind, gust, thunder, sight, rain = "air_temperature", "wind_speed", "wind_speed_of_gust",
		"probability_of_thunder", "visibility_in_air", "precipitation_amount"
	all := func(change func(*wxSeries)) func(wx) { return func(d wx) { d.every(change) } }
	one := func(name string, change func(*wxSeries)) func(wx) {
		return func(d wx) { d.every(change, name) }
	}
	height := func(z float64, system string) func(*wxSeries) {
		return func(s *wxSeries) { s.z, s.system = z, system }
	}
	age := func(h float64) func(*wxSeries) { return func(s *wxSeries) { s.issued = h } }
	bounded := func(n int) func(*wxSeries) {
		return func(s *wxSeries) {
			step(n)(s)
			for i := range s.hour {
				s.hour[i] += float64(n) / 2
			}
			s.bounds = float64(n) / 2
		}
	}
	mixed := func(from float64, n int) func(*wxSeries) {
		return only(func(h float64) bool { return h < from || int(h)%n == 0 })
	}
	long := func(s *wxSeries) {
		for h := 48; h < 240; h++ {
			s.hour, s.value = append(s.hour, float64(h)), append(s.value, s.value[h-48])
		}
	}
	apart := func(s *wxSeries) { s.split = true }
	calm := func(wx) {}
	both := func(a, b func(*wxSeries)) func(*wxSeries) { return func(s *wxSeries) { a(s); b(s) } }
	const noCall, stop, toss, goes = coldseam.NoCall, coldseam.Stop, coldseam.TossUp, coldseam.Go

	return []wxScenario{
		{
			class: "hole",
			name:  "nine hours",
			fault: all(without(7, 15)),
			clean: all(without(14, 23)),
			code:  "weather_gap",
		},
		{
			class: "hole",
			name:  "nine hours of wind",
			fault: one(wind, without(7, 15)),
			clean: one(rain, without(7, 15)),
			code:  "weather_no_wind",
		},
		{
			class: "hole",
			name:  "nine hours of thunder",
			fault: one(thunder, without(7, 15)),
			clean: one(thunder, without(14, 23)),
			code:  "weather_no_thunder",
		},
		{class: "hole", name: "four hours", fault: all(without(8, 12)), clean: all(without(8, 9)), code: "weather_gap"},
		{
			class: "hole",
			name:  "two alike",
			fault: all(only(func(h float64) bool { return h < 3 || h == 10 || h >= 17 })),
			clean: all(step(3)),
			code:  "weather_gap",
		},
		{
			class: "hole",
			name:  "ends within the window",
			fault: all(without(7, 99)),
			clean: all(without(13, 99)),
			code:  "weather_gap",
		},
		{
			class: "hole",
			name:  "ends while they row home",
			fault: all(without(9, 99)),
			clean: all(without(11, 99)),
			code:  "weather_gap",
		},
		{class: "hole", name: "begins late", fault: all(without(0, 9)), clean: all(without(0, 5)), code: "weather_gap"},
		{
			class: "hole",
			name:  "nulls",
			fault: one(gust, set(nil, 6, 11)),
			clean: one(gust, set(nil, 14, 20)),
			code:  "weather_no_gust",
		},

		{
			class: "step",
			name:  "half days",
			fault: all(both(long, step(12))),
			clean: all(both(long, step(6))),
			code:  "weather_coarse",
		},
		{
			class: "step",
			name:  "days",
			fault: all(both(long, step(24))),
			clean: all(both(long, step(3))),
			code:  "weather_coarse",
		},
		{
			class: "step",
			name:  "wind by half days",
			fault: one(wind, both(long, step(12))),
			clean: one(air, both(long, step(12))),
			code:  "weather_coarse",
		},
		{
			class: "step",
			name:  "gusts by half days of bounds",
			fault: one(gust, bounded(12)),
			clean: one(gust, bounded(3)),
			code:  "weather_coarse",
		},
		{
			class: "step",
			name:  "hours, then half days",
			fault: all(both(long, mixed(6, 12))),
			clean: all(both(long, mixed(24, 12))),
			code:  "weather_coarse",
		},
		{
			class: "step",
			name:  "thunder by half days",
			fault: one(thunder, both(set(35., 0, 24), both(long, step(12)))),
			clean: one(thunder, both(long, step(6))),
			code:  "thunder",
			word:  stop,
		},
		{
			class: "step",
			name:  "thunder by days",
			fault: one(thunder, both(set(35., 0, 24), both(long, step(24)))),
			clean: one(thunder, both(long, step(3))),
			code:  "thunder",
			word:  stop,
		},
		{
			class: "step",
			name:  "thunder by six hours beside hours",
			fault: one(thunder, both(set(40., 6, 7), both(long, step(6)))),
			clean: one(thunder, both(set(5., 6, 7), both(long, step(6)))),
			code:  "thunder",
			word:  stop,
		},
		{
			class: "step",
			name:  "thunder by three hours beside hours",
			fault: one(thunder, both(set(40., 9, 10), step(3))),
			clean: one(thunder, both(set(40., 15, 16), step(3))),
			code:  "thunder",
			word:  stop,
		},

		{class: "age", name: "issued 13 h ago", fault: all(age(-8)), clean: all(age(-6)), code: "weather_stale"},
		{
			class: "age",
			name:  "gusts issued 20 h ago",
			fault: one(gust, age(-15)),
			clean: one(gust, age(-6)),
			code:  "weather_stale",
		},
		{
			class: "age",
			name:  "thunder issued 13 h ago",
			fault: one(thunder, age(-8)),
			clean: one(sight, age(-8)),
			code:  "weather_stale",
		},
		{class: "age", name: "issued tomorrow", fault: all(age(30)), clean: all(age(5)), code: "weather_failed"},

		{
			class: "bounds",
			name:  "wind of 1e308",
			fault: one(wind, set(1e308, 8, 9)),
			clean: one(wind, set(1e308, 20, 21)),
			code:  "weather_no_wind",
		},
		{
			class: "bounds",
			name:  "wind below zero",
			fault: one(wind, set(-5., 8, 9)),
			clean: one(wind, set(0., 8, 9)),
			code:  "weather_no_wind",
		},
		{
			class: "bounds",
			name:  "gust of 400 m/s",
			fault: one(gust, set(400., 8, 9)),
			clean: one(gust, set(400., 20, 21)),
			code:  "weather_no_gust",
		},
		{
			class: "bounds",
			name:  "thunder of 150 %",
			fault: one(thunder, set(150., 8, 9)),
			clean: one(thunder, set(150., 20, 21)),
			code:  "weather_no_thunder",
		},
		{
			class: "bounds",
			name:  "air of 80 C",
			fault: one(air, set(80., 8, 9)),
			clean: one(air, set(25., 8, 9)),
			code:  "weather_no_air",
		},
		{
			class: "bounds",
			name:  "kelvin that is celsius",
			fault: one(air, func(s *wxSeries) { s.unit = "K" }),
			clean: one(air, both(func(s *wxSeries) { s.unit = "K" }, set(281., 0, 48))),
			code:  "weather_no_air",
		},

		{
			class: "height",
			name:  "air at 100 m",
			fault: one(air, height(100, "height")),
			clean: one(air, height(2, "height")),
			code:  "weather_no_air",
		},
		{
			class: "height",
			name:  "air on a pressure level",
			fault: one(air, height(2, "PressureLevel")),
			clean: one(air, height(2, "height above ground")),
			code:  "weather_no_air",
		},
		{
			class: "height",
			name:  "wind at 100 m",
			fault: one(wind, height(100, "")),
			clean: one(wind, height(10, "")),
			code:  "weather_no_wind",
		},
		{
			class:  "height",
			name:   "gusts at 80 m",
			fault:  one(gust, height(80, "")),
			clean:  one(gust, height(80, "")),
			code:   "weather_no_gust",
			levels: [2]map[string]float64{nil, {"gust": 80}},
		},

		{
			class: "join",
			name:  "a coverage an hour, thunder in the third",
			fault: func(d wx) { d.every(apart); d.every(set(50., 8, 9), thunder) },
			clean: all(apart),
			code:  "thunder",
			word:  stop,
		},
		{
			class: "join",
			name:  "two coverages that disagree",
			fault: one(wind, func(s *wxSeries) { apart(s); s.hour[9] = 8; s.value[9] = 9. }),
			clean: one(wind, func(s *wxSeries) { apart(s); s.hour[9] = 8; s.value[9] = s.value[8] }),
			code:  "weather_no_wind",
		},
		{
			class: "join",
			name:  "bare dates",
			fault: all(both(step(24), func(s *wxSeries) { s.dates = true })),
			clean: calm,
			code:  "weather_gap",
		},

		{
			class: "thunder",
			name:  "of 30 %",
			fault: one(thunder, set(30., 8, 9)),
			clean: one(thunder, set(9., 8, 9)),
			code:  "thunder",
			word:  stop,
		},
		{
			class: "thunder",
			name:  "of 20 %",
			fault: one(thunder, set(20., 8, 9)),
			clean: one(thunder, set(9., 8, 9)),
			code:  "thunder_possible",
			word:  toss,
		},
		{
			class: "thunder",
			name:  "of 10 %",
			fault: one(thunder, set(10., 8, 9)),
			clean: one(thunder, set(9., 8, 9)),
			code:  "thunder_possible",
			word:  goes,
		},
		{
			class: "thunder",
			name:  "an hour after the window",
			fault: one(thunder, set(35., 11, 12)),
			clean: one(thunder, set(35., 13, 14)),
			code:  "thunder",
			word:  stop,
		},
		{
			class: "thunder",
			name:  "at the launch",
			fault: one(thunder, set(35., 6, 7)),
			clean: one(thunder, set(35., 5, 6)),
			code:  "thunder",
			word:  stop,
		},
		{
			class: "thunder",
			name:  "gusts on the way home",
			fault: one(gust, set(17., 11, 12)),
			clean: one(gust, set(17., 13, 14)),
			code:  "gust",
			word:  stop,
		},

		{
			class: "fog",
			name:  "at the launch",
			fault: one(sight, set(300., 6, 7)),
			clean: one(sight, set(300., 5, 6)),
			code:  "fog",
			word:  goes,
		},
		{
			class: "fog",
			name:  "in the window",
			fault: one(sight, set(300., 8, 9)),
			clean: one(sight, set(300., 14, 15)),
			code:  "fog",
			word:  goes,
		},
		{
			class: "fog",
			name:  "no feed tells it",
			fault: func(d wx) { delete(d, sight) },
			clean: calm,
			code:  "fog_unknown",
			word:  goes,
		},
		{
			class: "fog",
			name:  "told too long ago",
			fault: one(sight, age(-8)),
			clean: one(sight, age(-6)),
			code:  "fog_unknown",
			word:  goes,
		},
		{
			class:  "dark",
			name:   "launch before first light",
			fault:  calm,
			clean:  calm,
			code:   "dark",
			word:   goes,
			window: [2][2]float64{{7.3, 10.8}, {8, 11.5}},
		},

		{
			class: "chill",
			name:  "in the boat's own wind",
			fault: one(air, set(-10., 7, 9)),
			clean: one(air, set(6., 7, 9)),
			code:  "wind_chill",
			word:  stop,
		},
		{
			class: "chill",
			name:  "in the wind",
			fault: func(d wx) { d.every(set(-8., 7, 9), air); d.every(set(11., 7, 9), wind) },
			clean: func(d wx) { d.every(set(8., 7, 9), air); d.every(set(6., 7, 9), wind) },
			code:  "freezing_spray",
			word:  stop,
		},
		{
			class: "chill",
			name:  "a caution",
			fault: one(air, set(1., 7, 9)),
			clean: one(air, set(6., 7, 9)),
			code:  "wind_chill",
			word:  goes,
		},
	}
}

// Faults of the weather never read as GO, and the control beside each keeps its
// word.
func TestWeatherScenarios(t *testing.T) {
	t.Parallel()

	for _, s := range wxScenarios() {
		judge := func(change func(wx), k int) verdict.Decision {
			d := calmWeather()
			change(d)
			w := cmp.Or(s.window[k], [2]float64{7, 10.5})
			p := ingest.Profile{
				Name:       "met",
				Zone:       "America/Chicago",
				Levels:     s.levels[k],
				Statistics: map[string]string{"precip": "sum PT1H"},
			}
			return wxDecide(wxRead(t, d.document(t), p), w[0], w[1])
		}
		fault, clean := judge(s.fault, 0), judge(s.clean, 1)

		name := s.class + ": " + s.name
		require.Equal(t, s.word, fault.Verdict, "%s: %v %v", name, fault.Fired, fault.Reasons)
		require.Contains(t, fault.Fired, s.code, name)
		require.Equal(t, coldseam.Go, clean.Verdict, "control of %s: %v %v", name, clean.Fired, clean.Stops)
		require.NotContains(t, clean.Fired, s.code, "control of "+name)
		gauntlet(t, "weather", name, fault.Verdict == coldseam.Go && s.word != coldseam.Go)
	}

	require.GreaterOrEqual(t, len(wxScenarios()), 35)
}

// A service that repeats itself without an issue time goes stale, however often
// and however young it is fetched.
func TestWeatherThatRepeatsItselfGoesStale(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	fetch := func(at float64, slide float64, change float64) {
		d := calmWeather()
		d.every(func(s *wxSeries) { s.issued = 1e6 })
		d.every(only(func(h float64) bool { return h >= slide }))
		for name, s := range d {
			for i := range s.value {
				if name != "probability_of_thunder" {
					s.value[i] = s.value[i].(float64) + change
				}
			}
		}

		fs := wxRead(t, d.document(t), ingest.Profile{Name: "met", Statistics: map[string]string{"precip": "sum PT1H"}})
		for i := range fs {
			fs[i].KnownAt = wxAt(at)
		}
		require.NoError(t, db.SaveForecasts(t.Context(), fs))
	}

	read := func() verdict.Decision {
		var fs []coldseam.Forecast
		for _, p := range []coldseam.Parameter{coldseam.AirTemp, coldseam.Wind, coldseam.Gust, coldseam.ThunderProb,
			coldseam.Visibility} {
			got, err := db.Forecasts(t.Context(), "met:44.5000,-92.0000", p, wxNow)
			require.NoError(t, err)
			fs = append(fs, got...)
		}
		return wxDecide(fs, 7, 10.5)
	}
	fetch(-40, 0, 0)
	fetch(-20, 0, 0)
	fetch(4.5, 4, 0)
	require.Contains(t, read().Fired, "weather_stale")

	fetch(4.6, 4, .25)
	d := read()
	require.Equal(t, coldseam.NoCall, d.Verdict, "thunder that changes by the hour is as old as it was")
	require.Contains(t, d.Fired, "weather_stale")
}
