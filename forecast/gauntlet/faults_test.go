package gauntlet

import (
	"fmt"
	"math"
	"slices"
	"time"

	"example.org/coldseam"
)

// onset is when a fault begins.
type onset string

const (
	beforeRise onset = "before the rise" // 2 h before the clean record first stops
	atStop     onset = "in the rise"     // 1 h after
	atPeak     onset = "at the peak"
	atFall     onset = "on the falling limb" // half down
)

// row is where a fault begins in the event whose stop begins at row e.
func (o onset) row(r *river, e int) int {
	switch o {
	case beforeRise:
		return e - r.rows(2*time.Hour)
	case atStop:
		return e + r.rows(time.Hour)
	}

	flow := r.clean.flow
	top := e
	for i := e; i < min(e+r.rows(30*time.Hour), len(flow)); i++ {
		if flow[i].Value > flow[top].Value {
			top = i
		}
	}

	if o == atPeak {
		return top + 1
	}
	half := (flow[top].Value + flow[e].Value) / 2
	for i := top; i < len(flow); i++ {
		if flow[i].Value < half {
			return i
		}
	}

	return top + 1
}

// hit is a fault in rows a to b of the record g of a river.
type hit struct {
	r    *river
	g    *gauge
	a, b int
}

type strike func(h hit)

// each changes the readings of some quantities.
func each(of string, f func(k int, o *coldseam.Observation)) strike {
	return func(h hit) {
		for _, obs := range h.g.of(of) {
			for i := h.a; i < min(h.b, len(*obs)); i++ {
				f(i-h.a, &(*obs)[i])
			}
		}
	}
}

func times(of string, f float64) strike {
	return each(of, func(_ int, o *coldseam.Observation) { o.Value *= f })
}

func flag(of string, f coldseam.Flag) strike {
	return each(of, func(_ int, o *coldseam.Observation) { o.Flag |= f })
}

// lost are rows that never came.
func lost(of string) strike {
	return each(of, func(_ int, o *coldseam.Observation) { o.At = time.Time{} })
}

// stamped moves the time of rows.
func stamped(of string, d time.Duration) strike {
	return each(of, func(_ int, o *coldseam.Observation) { o.At = o.At.Add(d) })
}

func both(fs ...strike) strike {
	return func(h hit) {
		for _, f := range fs {
			f(h)
		}
	}
}

// part lets a fault hit from some way into its time to another.
func part(from, to float64, f strike) strike {
	return func(h hit) {
		n := float64(h.b - h.a)
		h.a, h.b = h.a+int(from*n), h.a+int(to*n)
		f(h)
	}
}

// The values that a sensor may be reset to.
var levels = map[string]func(obs []coldseam.Observation, a int, r *river) float64{
	"zero": func([]coldseam.Observation, int, *river) float64 { return 0 },
	"the foot": func(obs []coldseam.Observation, a int, r *river) float64 {
		return lowest(obs[a-r.rows(30*time.Hour) : a])
	},
	"the lowest": func(obs []coldseam.Observation, a int, r *river) float64 { return lowest(obs[:a]) },
	"half a day ago": func(obs []coldseam.Observation, a int, r *river) float64 {
		return obs[a-r.rows(12*time.Hour)].Value
	},
	"now": func(obs []coldseam.Observation, a int, r *river) float64 { return obs[a].Value },
}

// to puts readings to a level, with a wobble of the last digits for a sensor
// that is alive.
func to(of, level string, wobble float64) strike {
	return func(h hit) {
		for _, obs := range h.g.of(of) {
			v := levels[level](*obs, h.a, h.r)
			for i := h.a; i < min(h.b, len(*obs)); i++ {
				(*obs)[i].Value = v * (1 + wobble*float64((i-h.a)%3))
			}
		}
	}
}

// alternating shows the foot in one reading of period.
func alternating(of string, period int, low bool) strike {
	return func(h hit) {
		for _, obs := range h.g.of(of) {
			v := levels["the foot"](*obs, h.a, h.r)
			for i := h.a; i < min(h.b, len(*obs)); i++ {
				if ((i-h.a)%period == 0) == low {
					(*obs)[i].Value = v
				}
			}
		}
	}
}

// datum lowers the stage by d metres, within over; byRating takes the flow along.
func datum(d float64, over time.Duration, byRating bool) strike {
	return func(h hit) {
		n := float64(h.r.rows(over))
		clean := h.r.clean
		for i := h.a; i < min(h.b, len(clean.stage)); i++ {
			stage := clean.stage[i].Value - d*math.Min(float64(i-h.a+1)/n, 1)
			h.g.stage[i].Value = stage
			if byRating {
				h.g.flow[i].Value = h.r.rated(stage)
			}
		}
	}
}

// rated is the flow of the clean record at the stage nearest to this one.
func (r *river) rated(stage float64) float64 {
	best, q := math.Inf(1), 0.
	for i, s := range r.clean.stage {
		if d := math.Abs(s.Value - stage); d < best {
			best, q = d, r.clean.flow[i].Value
		}
	}
	return q
}

// creeping goes to the foot within a time, flow in its logarithm.
func creeping(of string, over time.Duration) strike {
	return func(h hit) {
		for _, obs := range h.g.of(of) {
			v, n := levels["the foot"](*obs, h.a, h.r), float64(h.r.rows(over))
			for i := h.a; i < min(h.b, len(*obs)); i++ {
				w := math.Min(float64(i-h.a+1)/n, 1)
				o := &(*obs)[i]
				o.Value = math.Exp((1-w)*math.Log(o.Value) + w*math.Log(v*(1+.003*float64(i%3))))
			}
		}
	}
}

// scenario is one fault of a gauge. What is known to read GO in spite of all has a
// named limit, and the moments that it may, on all rivers in the long form.
type scenario struct {
	class, name string
	at          onset
	long        time.Duration // 0 = one reading
	do          strike
	known       string
	most        int
}

// The named limits: what the readings of one gauge cannot tell.
const (
	limitStuck  = "flow and stage stuck while water runs, without a witness"
	limitFrozen = "logger frozen"
	limitDatum  = "datum with the flow by rating"
	limitCreep  = "creep of flow and stage"
	limitPairs  = "a stage that the record has no flow for"
	limitLate   = "the first two hours of a rise"
)

// limit names the limit that a scenario is known to meet.
func (s *scenario) limit(known bool, name string, most int) {
	if known {
		s.known, s.most = name, most
	}
}

var spans = []struct {
	name string
	long time.Duration
}{{"one reading", 0}, {"an hour", time.Hour}, {"a day", 24 * time.Hour}}

// gaugeScenarios are the table, class by class.
func gaugeScenarios() []scenario {
	var out []scenario
	class := ""
	add := func(at onset, long time.Duration, do strike, format string, args ...any) *scenario {
		name := fmt.Sprintf(format, args...)
		if at != atPeak {
			name += ", " + string(at)
		}
		out = append(out, scenario{class: class, name: name, at: at, long: long, do: do})
		return &out[len(out)-1]
	}
	day := 24 * time.Hour

	class = "unit"
	fahrenheit := each("water", func(_ int, o *coldseam.Observation) { o.Value = coldseam.F(o.Value) })
	celsius := each("water", func(_ int, o *coldseam.Observation) { o.Value = coldseam.C(o.Value) })
	for _, s := range spans {
		add(atPeak, s.long, times("flow", .1), "flow x 0.1, %s", s.name)
		add(atPeak, s.long, times("flow", 1/coldseam.CubicMPerCFS), "flow x 35.31, %s", s.name)
		add(atPeak, s.long, times("flow", coldseam.CubicMPerCFS), "flow x 0.0283, %s", s.name)
		add(atPeak, s.long, times("stage", coldseam.MetrePerFoot), "stage x 0.3048, %s", s.name)
		add(atPeak, s.long, times("stage", 1/coldseam.MetrePerFoot), "stage x 3.281, %s", s.name)
		add(atPeak, s.long, both(times("flow", coldseam.CubicMPerCFS), times("stage", coldseam.MetrePerFoot)),
			"flow and stage in the other unit, %s", s.name)
		add(atPeak, s.long, fahrenheit, "water C as F, %s", s.name)
		add(atPeak, s.long, celsius, "water F as C, %s", s.name)
	}
	add(atStop, day, times("flow", coldseam.CubicMPerCFS), "flow x 0.0283, a day")
	add(beforeRise, day, times("flow", coldseam.CubicMPerCFS), "flow x 0.0283, a day")
	add(beforeRise, day, both(times("flow", coldseam.CubicMPerCFS), times("stage", coldseam.MetrePerFoot)),
		"flow and stage in the other unit, a day")

	class = "factor"
	for _, f := range []float64{.2, .4, .6, .8} {
		add(atPeak, day, times("flow", f), "flow x %g, a day", f)
	}
	add(atPeak, time.Hour, times("flow", .5), "flow x 0.5, an hour")
	add(atPeak, 0, times("flow", .3), "flow x 0.3, one reading")
	add(beforeRise, day, times("flow", .4), "flow x 0.4, a day")
	add(atStop, day, times("flow", .4), "flow x 0.4, a day")
	add(atFall, day, times("flow", .4), "flow x 0.4, a day")

	class = "reset"
	for _, of := range []string{"flow", "stage", "both"} {
		for _, level := range []string{"zero", "the foot", "the lowest"} {
			add(atPeak, day, to(of, level, .003), "%s to %s", of, level)
		}
		add(atFall, day, to(of, "the foot", .003), "%s to the foot", of)
		add(atStop, day, to(of, "the foot", .003), "%s to the foot", of)
	}
	add(atPeak, time.Hour, to("both", "the foot", .003), "both to the foot, an hour")
	add(atPeak, 0, to("both", "the foot", .003), "both to the foot, one reading")

	class = "stuck"
	for _, at := range []onset{beforeRise, atStop, atPeak} {
		add(at, day, to("flow", "now", 0), "flow").limit(at == beforeRise, limitPairs, 3)
		add(at, day, to("stage", "now", 0), "stage")
		add(at, day, to("both", "now", 0), "flow and stage").limit(at == beforeRise, limitStuck, 16)
		add(at, day, to("all", "now", 0), "flow, stage and water").limit(at == beforeRise, limitFrozen, 1)
	}
	add(atPeak, day, to("both", "the foot", 0), "flow and stage at the foot")

	class = "alternation"
	for _, period := range []int{2, 3, 4} {
		for _, of := range []string{"flow", "stage", "both"} {
			add(atPeak, day, alternating(of, period, true), "%s, one low in %d", of, period)
		}
		add(atPeak, day, alternating("both", period, false), "flow and stage, one high in %d", period)
	}
	add(beforeRise, day, alternating("both", 2, true), "flow and stage, one low in 2").limit(true, limitLate, 9)

	class = "shift"
	for _, d := range []float64{.1, .3} {
		add(atPeak, day, datum(d, 0, false), "stage %g m lower", d)
		add(atPeak, day, datum(d, 0, true), "stage %g m lower, flow by rating", d).limit(true, limitDatum, 26)
		add(beforeRise, day, datum(d, 0, true), "stage %g m lower, flow by rating", d).limit(true, limitDatum, 26)
	}
	add(atPeak, day, datum(-.3, 0, false), "stage 0.3 m higher")
	add(atFall, day, datum(.3, 0, true), "stage 0.3 m lower, flow by rating").limit(true, limitDatum, 3)

	class = "creep"
	for _, over := range []time.Duration{time.Hour, 3 * time.Hour, 12 * time.Hour} {
		add(atPeak, day, creeping("flow", over), "flow to the foot in %v h", over.Hours())
		add(atPeak, day, creeping("both", over), "flow and stage to the foot in %v h", over.Hours()).limit(true,
			limitCreep, 46)
		add(atPeak, day, datum(.3, over, true), "stage 0.3 m down in %v h, flow by rating", over.Hours()).limit(true,
			limitCreep, 46)
	}

	class = "qualifier"
	lows := to("both", "the foot", .003)
	for _, q := range []struct {
		name string
		flag coldseam.Flag
	}{
		{"suspect", coldseam.Suspect}, {"equipment", coldseam.Equipment}, {"bad", coldseam.Bad},
		{"missing", coldseam.Missing}, {"estimated", coldseam.Estimated}, {"ice", coldseam.Ice},
	} {
		add(atPeak, day, both(lows, flag("both", q.flag)), "%s on lows", q.name)
		add(atPeak, day, flag("both", q.flag), "%s on the flood", q.name)
		add(beforeRise, day, flag("flow", q.flag), "%s on all flow", q.name)
	}
	add(atPeak, day, both(to("both", "zero", 0), flag("both", coldseam.Missing)), "rows without a value")

	class = "gap"
	for _, g := range []struct {
		name string
		long time.Duration
	}{{"30 min", 30 * time.Minute}, {"2 h", 2 * time.Hour}, {"6 h", 6 * time.Hour}, {"a day", day},
		{"two days", 2 * day}} {
		add(beforeRise, g.long, lost("all"), "%s of all", g.name)
		add(atPeak, g.long, lost("flow"), "%s of flow", g.name)
		add(atPeak, g.long, lost("stage"), "%s of stage", g.name)
	}
	add(atStop, day, part(.1, 1, lost("all")), "of the newest")
	add(atPeak, day, both(part(0, .25, lost("all")), part(.25, 1, lows)), "of 6 h, then the foot")
	add(beforeRise, day, part(0, .8, lost("both")), "of 19 h over the peak")

	class = "clock"
	add(beforeRise, day, stamped("all", time.Hour), "an hour ahead").limit(true, limitLate, 12)
	add(atPeak, day, stamped("all", time.Hour), "an hour ahead")
	add(beforeRise, day, stamped("all", -time.Hour), "an hour behind")
	add(beforeRise, day, stamped("all", -day), "a day behind")
	add(atPeak, day, stamped("all", -day), "a day behind")
	add(atPeak, day, stamped("flow", -day), "flow a day behind")
	add(beforeRise, day, stamped("all", day), "a day ahead")
	add(beforeRise, day, stamped("all", 40*24*time.Hour), "forty days ahead")
	add(beforeRise, day, late("all", 10*time.Hour), "rows ten hours late")
	add(beforeRise, day, repeated("all", time.Hour), "the last hour again and again").limit(true, limitFrozen, 52)
	add(beforeRise, time.Hour, repeated("all", time.Hour), "an hour twice")
	add(atStop, time.Hour, repeated("all", time.Hour), "an hour twice")
	add(beforeRise, day, repeated("all", day), "the day before again").limit(true, limitFrozen, 147)

	class = "stage"
	add(atPeak, 2*day, lost("flow"), "alone for two days")
	add(beforeRise, day, both(lost("flow"), to("stage", "now", 0)), "alone, and stuck").limit(true, limitLate, 2)
	add(atPeak, day, both(lost("flow"), to("stage", "the foot", .003)), "alone, and reset")
	add(beforeRise, day, both(to("flow", "now", .003), part(.1, 1, lost("stage"))),
		"falls silent while flow repeats itself").limit(true, limitLate, 9)
	add(beforeRise, day, to("flow", "now", .003), "rises beside a flow that wobbles").limit(true, limitPairs, 7)
	add(beforeRise, day, to("stage", "now", .003), "wobbles beside a flow that rises")

	class = "water"
	add(beforeRise, day, lost("water"), "missing in a flood")
	add(beforeRise, day, to("water", "now", 0), "stuck in a flood")
	add(atPeak, day, to("water", "zero", 0), "at zero in a flood")
	add(atPeak, day, each("water", func(_ int, o *coldseam.Observation) { o.Value += 12 }), "jumps by 12 C in a flood")

	class = "mixture"
	unit := both(times("flow", coldseam.CubicMPerCFS), times("stage", coldseam.MetrePerFoot))
	add(atPeak, day, both(unit, flag("both", coldseam.Estimated)), "other unit, marked estimated")
	add(atPeak, day, both(unit, part(0, .2, lost("all"))), "other unit after a gap")
	add(atPeak, day, both(part(0, .5, to("both", "now", 0)), part(.5, 1, lows)), "stuck, then reset")
	add(atPeak, day, both(part(0, .5, alternating("both", 2, true)), part(.5, 1, lows)), "alternating, then reset")
	add(atPeak, day, both(creeping("both", 3*time.Hour), flag("both", coldseam.Suspect)), "creep, marked suspect")
	add(beforeRise, day, both(to("flow", "now", 0), lost("stage")), "flow stuck, no stage")
	add(beforeRise, day, both(to("stage", "now", 0), times("flow", coldseam.CubicMPerCFS)),
		"stage stuck, flow in the other unit")
	add(atPeak, day, both(to("flow", "the foot", .003), datum(.3, 0, false)), "flow reset, stage lowered")
	add(atPeak, day, both(lows, stamped("all", time.Hour)), "reset, an hour ahead")
	add(atPeak, day, both(lows, part(.2, 1, lost("stage"))), "reset, then no stage")
	add(beforeRise, day, both(part(0, .4, lost("all")), part(.4, 1, times("flow", .4))), "gap, then flow x 0.4").limit(
		true, limitPairs, 7)
	add(atPeak, day, both(to("flow", "zero", 0), lost("stage")), "flow at zero, no stage")
	return out
}

// late are rows that come long after their time.
func late(of string, d time.Duration) strike {
	return each(of, func(_ int, o *coldseam.Observation) { o.KnownAt = o.KnownAt.Add(d) })
}

// repeated sends the values of d before.
func repeated(of string, d time.Duration) strike {
	return func(h hit) {
		n := h.r.rows(d)
		for _, obs := range h.g.of(of) {
			was := slices.Clone((*obs)[h.a-n : h.a])
			for i := h.a; i < min(h.b, len(*obs)); i++ {
				(*obs)[i].Value = was[(i-h.a)%n].Value
			}
		}
	}
}
