package verdict

import (
	"cmp"
	"math"
	"slices"
	"time"

	"example.org/coldseam"
)

// Weather is the newest forecast for the reach.
type Weather struct {
	Issued time.Time // of the oldest part; zero = none
	// Hours are the steps by their start. They may overlap and each may hold
	// some quantities alone: a forecast has air by the hour and thunder by six.
	Hours []Hour
	// RainMM is the forecast rain upstream in the next 24 h, nil = unknown.
	RainMM *float64
}

// Hour is one step of the weather forecast. nil = the forecast does not hold
// the quantity. A step longer than coldseam.CoarseStep carries no wind, gust or
// thunder, but the thunder it tells of still stops.
type Hour struct {
	From, To    time.Time
	AirC        *float64
	WindMS      *float64
	GustMS      *float64
	WindFromDeg *float64
	Thunder     *float64 // probability
	PrecipMM    *float64
	VisibilityM *float64
}

func (h Hour) coarse() bool { return h.To.Sub(h.From) > coldseam.CoarseStep }

// quantity takes one quantity out of a step, nil where it holds none that nature
// has.
type quantity func(Hour) *float64

func plausible(v *float64, p coldseam.Parameter) *float64 {
	if v == nil || !p.Plausible(*v) {
		return nil
	}
	return v
}

func fine(h Hour, v *float64, p coldseam.Parameter) *float64 {
	if h.coarse() {
		return nil
	}
	return plausible(v, p)
}

func air(h Hour) *float64        { return plausible(h.AirC, coldseam.AirTemp) }
func wind(h Hour) *float64       { return fine(h, h.WindMS, coldseam.Wind) }
func gust(h Hour) *float64       { return fine(h, h.GustMS, coldseam.Gust) }
func thunder(h Hour) *float64    { return fine(h, h.Thunder, coldseam.ThunderProb) }
func anyThunder(h Hour) *float64 { return plausible(h.Thunder, coldseam.ThunderProb) }
func rain(h Hour) *float64       { return plausible(h.PrecipMM, coldseam.Precip) }
func windFrom(h Hour) *float64   { return fine(h, h.WindFromDeg, coldseam.WindFrom) }
func visibility(h Hour) *float64 { return plausible(h.VisibilityM, coldseam.Visibility) }

// steps returns the steps that touch [from, to) and hold a quantity, and whether
// they cover all of it.
func (w Weather) steps(from, to time.Time, get quantity) (out []Hour, covered bool) {
	at := from
	for _, h := range w.Hours {
		if !h.To.After(from) || !h.From.Before(to) || get(h) == nil {
			continue
		}
		out = append(out, h)
		if !h.From.After(at) && h.To.After(at) {
			at = h.To
		}
	}
	return out, !at.Before(to)
}

// greatest is the greatest value from from to to and when it begins; ok is false
// without any.
func (w Weather) greatest(from, to time.Time, get quantity) (v float64, at time.Time, ok bool) {
	steps, _ := w.steps(from, to, get)
	for _, h := range steps {
		if x := *get(h); !ok || x > v {
			v, at, ok = x, h.From, true
		}
	}
	if at.Before(from) {
		at = from
	}
	return v, at, ok
}

// least is the smallest value from from to to and when it begins.
func (w Weather) least(from, to time.Time, get quantity) (v float64, at time.Time, ok bool) {
	v, at, ok = w.greatest(from, to, func(h Hour) *float64 {
		x := get(h)
		if x == nil {
			return nil
		}
		minus := -*x
		return &minus
	})
	return -v, at, ok
}

// sorted puts the steps in order without touching the caller's.
func (w *Weather) sorted() {
	w.Hours = slices.Clone(w.Hours)
	slices.SortStableFunc(w.Hours, func(a, b Hour) int {
		return cmp.Or(a.From.Compare(b.From), a.To.Compare(b.To))
	})
}

// onWater is the time on the water: from the launch, some time before the window
// but not before now, until all are ashore after its end.
func (in *Inputs) onWater(c Candidate) (from, to time.Time) {
	from = c.Start.Add(-hours(in.Table.LaunchH))
	if from.Before(in.Now) {
		from = in.Now
	}
	if from.After(c.Start) {
		from = c.Start
	}
	return from, c.End.Add(hours(in.Table.AshoreH))
}

// windowWeather is what the forecast lacks for one window: it must cover the
// time on the water with air and wind, and with gusts and thunder unless the club
// allowed otherwise, which caps.
func (in *Inputs) windowWeather(c Candidate) (bad, caps []coldseam.Reason) {
	w := in.Weather
	if w.Issued.IsZero() || len(w.Hours) == 0 {
		return nil, nil // said once for the day
	}

	from, to := in.onWater(c)
	rows := []struct {
		name  string
		get   quantity
		raw   func(Hour) *float64
		allow bool
	}{
		{"air", air, air, false},
		{"wind", wind, func(h Hour) *float64 { return h.WindMS }, false},
		{"gust", gust, func(h Hour) *float64 { return h.GustMS }, in.Table.AllowNoGust == 1},
		{"thunder", thunder, func(h Hour) *float64 { return h.Thunder }, in.Table.AllowNoThunder == 1},
	}
	some := func(h Hour) *float64 { return cmp.Or(h.AirC, h.WindMS, h.GustMS, h.Thunder) }
	if _, covered := w.steps(from, to, some); !covered {
		return []coldseam.Reason{missing("weather_gap", nil)}, nil
	}

	coarse := 0.0
	for _, r := range rows {
		if _, covered := w.steps(from, to, r.get); covered {
			continue
		}
		if r.allow {
			caps = append(caps, capped("no_"+r.name, nil))
			continue
		}

		longest := 0.0
		held, _ := w.steps(from, to, r.raw)
		for _, h := range held {
			longest = math.Max(longest, h.To.Sub(h.From).Hours())
		}
		if longest > coldseam.CoarseStep.Hours() && r.name != "air" {
			coarse = math.Max(coarse, longest)
			continue
		}

		bad = append(bad, missing("weather_no_"+r.name, nil))
	}

	if coarse > 0 {
		bad = append(bad, missing("weather_coarse", map[string]float64{"step_h": coarse}))
	}
	return bad, caps
}

const forecastSource = "weather forecast"

// weatherStops are stops 3 (thunder) and 4 on the water.
func (in *Inputs) weatherStops(c Candidate) []coldseam.Reason {
	from, to := in.onWater(c)
	t := in.Table
	var out []coldseam.Reason
	if p, at, any := in.Weather.greatest(from, to, anyThunder); any && p >= t.Thunder {
		r := because(KindSafety, "thunder", forecastSource, map[string]float64{"thunder_share": p,
			"limit_share": t.Thunder})
		r.At = at
		out = append(out, r)
	}
	if v, _, any := in.Weather.greatest(from, to, wind); any && coldseam.MPH(v) >= t.WindMPH {
		out = append(out, because(KindSafety, "wind", forecastSource,
			map[string]float64{"wind_mps": v, "limit_mps": t.WindMPH * coldseam.MPSPerMPH}))
	}
	if v, _, any := in.Weather.greatest(from, to, gust); any && coldseam.MPH(v) >= t.GustMPH {
		out = append(out, because(KindSafety, "gust", forecastSource,
			map[string]float64{"gust_mps": v, "limit_mps": t.GustMPH * coldseam.MPSPerMPH}))
	}
	return append(out, in.coldStops(c)...)
}

// chill is the coldest wind chill on the water, in the boat's own wind where that
// is the stronger, and the first freezing spray.
func (in *Inputs) chill(c Candidate) (chillF float64, underWay bool, spray map[string]float64) {
	from, to := in.onWater(c)
	t := in.Table
	chillF = math.Inf(1)
	winds, _ := in.Weather.steps(from, to, wind)

	for _, h := range winds {
		a, b := h.From, h.To
		if a.Before(from) {
			a = from
		}
		if b.After(to) {
			b = to
		}

		airC, _, ok := in.Weather.least(a, b, air)
		if !ok {
			continue
		}
		f, v := coldseam.F(airC), coldseam.MPH(*wind(h))
		if x := WindChillF(f, math.Max(v, t.RunMPH)); x < chillF {
			chillF, underWay = x, t.RunMPH > v
		}
		if f <= t.SprayAirF && v >= t.SprayWindMPH && spray == nil {
			spray = map[string]float64{"air_c": airC, "wind_mps": *wind(h)}
		}
	}

	return chillF, underWay, spray
}

// chillValues are the numbers of a wind chill; the speed of the boat only where
// its own wind is the one that chills.
func (in *Inputs) chillValues(chillF float64, underWay bool) map[string]float64 {
	out := map[string]float64{"chill_c": coldseam.C(chillF)}
	if underWay {
		out["run_mps"] = in.Table.RunMPH * coldseam.MPSPerMPH
	}
	return out
}

// coldStops judges wind chill and freezing spray step by step: the coldest
// hour and the windiest are not always the same one.
func (in *Inputs) coldStops(c Candidate) []coldseam.Reason {
	var out []coldseam.Reason
	chillF, underWay, spray := in.chill(c)
	if chillF <= in.Table.ChillF {
		v := in.chillValues(chillF, underWay)
		v["limit_c"] = coldseam.C(in.Table.ChillF)
		out = append(out, because(KindSafety, "wind_chill", forecastSource, v))
	}
	if spray != nil {
		out = append(out, because(KindSafety, "freezing_spray", forecastSource, spray))
	}
	return out
}

// airCautions are those of thunder, wind and chill on the water. Thunder that is
// likelier than its cap comes back as a cap as well.
func (in *Inputs) airCautions(c Candidate) (out, caps []coldseam.Reason) {
	t := in.Table
	from, to := in.onWater(c)
	if p, at, any := in.Weather.greatest(from, to, anyThunder); any && p >= t.CautionThunder {
		r := caution("thunder_possible", map[string]float64{"thunder_share": p})
		r.At = at
		out = append(out, r)
		if r.Kind = KindCap; p >= t.CapThunder {
			caps = append(caps, r)
		}
	}
	if v, _, any := in.Weather.greatest(from, to, wind); any && coldseam.MPH(v) >= t.CautionWindMPH {
		out = append(out, caution("wind", map[string]float64{"wind_mps": v}))
	}
	if chillF, underWay, _ := in.chill(c); chillF <= t.CautionChillF {
		out = append(out, caution("wind_chill", in.chillValues(chillF, underWay)))
	}
	return out, caps
}

// lightCautions: launching before first light.
func (in *Inputs) lightCautions(c Candidate) []coldseam.Reason {
	launch, _ := in.onWater(c)
	if !in.Sun.CivilOK || !launch.Before(in.Sun.Dawn) {
		return nil
	}
	r := caution("dark", nil)
	r.At = in.Sun.Dawn
	return []coldseam.Reason{r}
}

// fallCaution looks for a fast fall of air temperature within 12 h from the
// start of the window.
func (in *Inputs) fallCaution(c Candidate) []coldseam.Reason {
	end := c.Start.Add(12 * time.Hour)
	if in.Sun.OK && in.Sun.Set.Add(-3*time.Hour).Before(end) {
		end = in.Sun.Set.Add(-3 * time.Hour) // every evening cools; a front cools the day
	}
	steps, _ := in.Weather.steps(c.Start, end, air)
	high, fall := math.Inf(-1), 0.0
	for _, h := range steps {
		high = math.Max(high, *h.AirC)
		fall = math.Max(fall, high-*h.AirC)
	}
	if fall*1.8 < in.Table.FallF {
		return nil
	}
	return []coldseam.Reason{caution("fast_fall", map[string]float64{"fall_k": fall})}
}

// fogCaution judges the sight from the launch to the end of the window; it is
// not known where the forecast does not tell it for the launch.
func (in *Inputs) fogCaution(c Candidate) []coldseam.Reason {
	launch, _ := in.onWater(c)
	if v, at, any := in.Weather.least(launch, c.End, visibility); any && v < in.Table.FogM {
		r := caution("fog", nil)
		r.At = at
		return []coldseam.Reason{r}
	}
	if _, covered := in.Weather.steps(launch, c.Start, visibility); !covered || len(in.Weather.Hours) == 0 {
		return []coldseam.Reason{caution("fog_unknown", nil)}
	}
	return nil
}

func (in *Inputs) rampCaution(c Candidate) []coldseam.Reason {
	from, to := in.onWater(c)
	if a, _, any := in.Weather.least(from, to, air); any && a < 0 {
		return []coldseam.Reason{caution("ramp_ice", nil)}
	}
	return nil
}
