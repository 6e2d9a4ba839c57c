package verdict

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/notify"
)

// change is one thing that can be wrong with a morning.
type change struct {
	name string
	do   func(*Inputs)
	code string // of the reason expected first among its kind
}

func eachHour(in *Inputs, f func(*Hour)) {
	in.Weather.Hours = append([]Hour(nil), in.Weather.Hours...)
	for i := range in.Weather.Hours {
		f(&in.Weather.Hours[i])
	}
}

func eachCandidate(in *Inputs, f func(*Candidate)) {
	in.Candidates = append([]Candidate(nil), in.Candidates...)
	for i := range in.Candidates {
		f(&in.Candidates[i])
	}
}

func alert(event string, from, to time.Time) coldseam.Alert {
	return coldseam.Alert{
		Event:    event,
		From:     from,
		End:      to,
		Sender:   "Weather service",
		Status:   "Actual",
		MsgType:  "Alert",
		Severity: "Moderate",
	}
}

func mixed(lo, hi float64, share float64) []float64 {
	out := make([]float64, 100)
	for i := range out {
		out[i] = lo
		if float64(i) < share*100 {
			out[i] = hi
		}
	}
	return out
}

// stops are all ways in which a safety stop fires.
func stops() []change {
	add := func(event string, from, to time.Time) func(*Inputs) {
		return func(in *Inputs) { in.Alerts.List = append(in.Alerts.List, alert(event, from, to)) }
	}

	return []change{
		{"flood warning", add("Flood Warning", at(0, 0), at(18, 0)), "flood_alert"},
		{"flood warning within 6 h after", add("Flood Warning", at(16, 0), at(23, 0)), "flood_alert"},
		{"flood warning without end", add("River Flood Warning", at(0, 0), time.Time{}), "flood_alert"},
		{"stage at minor flood", func(in *Inputs) { in.Gauge.Stage = steady(4.0) }, "flood_stage"},
		{"members reach flood", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.PFlood = ptr(.20) })
		}, "flood_forecast"},
		{"ice flag", func(in *Inputs) {
			in.Gauge.Stage = append(in.Gauge.Stage, coldseam.Observation{At: at(4, 47), Value: 2.1, Flag: coldseam.Ice})
		}, "ice_qualifier"},
		{"null value with ice qualifier", func(in *Inputs) {
			in.Gauge.Discharge = append(in.Gauge.Discharge,
				coldseam.Observation{At: at(4, 47), Flag: coldseam.Ice | coldseam.Missing})
		}, "ice_qualifier"},
		{"ice jam notice", add("Ice Jam Statement", at(0, 0), at(12, 0)), "ice_alert"},
		{"latch closed by a report", func(in *Inputs) { in.Ice = latch(ice.Ice, ice.CauseWord) }, "ice_word"},
		{"wood seen by a member", func(in *Inputs) {
			in.Bank = []coldseam.BankWord{{At: at(4, 40), Say: "green"}, {At: at(3, 0), Say: "wood"}}
		}, "bank_wood"},
		{"launch closed", func(in *Inputs) { in.Bank = []coldseam.BankWord{{At: at(3, 0), Say: "launch"}} }, "bank_launch"},
		{"break-up", func(in *Inputs) { in.Ice = latch(ice.Breakup, ice.CauseRise) }, "ice_breakup"},
		{"water at 33 F whatever the latch says", func(in *Inputs) { in.Gauge.Water = steady(.56) }, "ice_cold_water"},
		{"thunder", func(in *Inputs) { eachHour(in, func(h *Hour) { h.Thunder = ptr(.30) }) }, "thunder"},
		{"flash flood warning", add("Flash Flood Warning", at(6, 0), at(9, 0)), "storm_alert"},
		{"tornado warning", add("Tornado Warning", at(6, 0), at(9, 0)), "storm_alert"},
		{"severe thunderstorm warning", add("Severe Thunderstorm Warning", at(6, 0), at(9, 0)), "storm_alert"},
		{"wind", func(in *Inputs) { eachHour(in, func(h *Hour) { h.WindMS = ptr(25 * coldseam.MPSPerMPH) }) }, "wind"},
		{"gust", func(in *Inputs) { eachHour(in, func(h *Hour) { h.GustMS = ptr(35 * coldseam.MPSPerMPH) }) }, "gust"},
		{"wind chill", func(in *Inputs) {
			eachHour(in, func(h *Hour) { h.AirC, h.WindMS = ptr(coldseam.C(14)), ptr(14*coldseam.MPSPerMPH) })
		}, "wind_chill"},
		{"freezing spray", func(in *Inputs) {
			eachHour(in, func(h *Hour) { h.AirC, h.WindMS = ptr(coldseam.C(28)), ptr(15.001*coldseam.MPSPerMPH) })
		}, "freezing_spray"},
		{"rose 1.3 ft", func(in *Inputs) {
			in.Gauge.Stage = append(in.Gauge.Stage,
				coldseam.Observation{At: at(4, 48), Value: 2.1 + 1.3*coldseam.MetrePerFoot})
		}, "rise_stage"},
		{"flow rose 35 %", func(in *Inputs) {
			in.Gauge.Discharge = append(in.Gauge.Discharge, coldseam.Observation{At: at(4, 48), Value: 68 * 1.35})
		}, "rise_flow"},
		{"rise forecast", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.RiseShare = mixed(.01, .31, .20) })
		}, "rise_forecast"},
		{"stage rise forecast", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.RiseM = mixed(.01, .31, .20) })
		}, "rise_forecast_stage"},
		{"dam release notice", add("Dam Release Notice", at(6, 0), at(9, 0)), "dam_release"},
		{"flow off the dam's cycle", func(in *Inputs) {
			in.Reach.DamCycle, in.DamOffCycle = "peaks 7-10 daily", true
		}, "dam_cycle"},
		{"flow at the limit", func(in *Inputs) { in.Reach.MaxFlowM3S = ptr(68.0) }, "max_flow"},
		{"flow over P99", func(in *Inputs) { in.Gauge.Discharge = steady(152); in.Reach.MaxFlowM3S = nil }, "flow_pct"},
		{"members pass the limit", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.AfterM3S = mixed(68, 190, .20) })
		}, "max_flow_forecast"},
		{"members pass P99", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.AfterM3S = mixed(68, 155, .20) })
		}, "flow_pct_forecast"},
		{"no weight holds in high water", func(in *Inputs) {
			in.Gauge.Discharge = steady(146)
			eachCandidate(in, func(c *Candidate) { c.NoneHolds, c.FlowM3S = true, repeat(146, 100) })
		}, "no_hold_high"},
	}
}

// gaps are all ways in which a needed input is missing, stale or failed.
func gaps() []change {
	late := func(obs []coldseam.Observation, h float64) []coldseam.Observation {
		out := append([]coldseam.Observation(nil), obs...)
		for i := range out {
			out[i].At = out[i].At.Add(-hours(h))
		}
		return out
	}

	return []change{
		{"no flow", func(in *Inputs) { in.Gauge.Discharge = nil }, "discharge_missing"},
		{"flow 6 h 5 min old", func(in *Inputs) {
			in.Gauge.Discharge = late(in.Gauge.Discharge, 6)
		}, "discharge_stale"},
		{"flow failed the check", func(in *Inputs) {
			in.Gauge.Discharge = append([]coldseam.Observation(nil), in.Gauge.Discharge...)
			for i := range in.Gauge.Discharge {
				in.Gauge.Discharge[i].Flag |= coldseam.QCFail
			}
		}, "discharge_failed"},
		{"flow without values", func(in *Inputs) {
			in.Gauge.Discharge = append([]coldseam.Observation(nil), in.Gauge.Discharge...)
			for i := range in.Gauge.Discharge {
				in.Gauge.Discharge[i].Flag |= coldseam.Missing
			}
		}, "discharge_missing"},
		{"flow of the future", func(in *Inputs) {
			in.Gauge.Discharge = []coldseam.Observation{{At: at(9, 0), Value: 68}, {At: at(9, 30), Value: 68}}
		}, "discharge_missing"},
		{"one flow reading", func(in *Inputs) {
			in.Gauge.Discharge = in.Gauge.Discharge[max(len(in.Gauge.Discharge)-1, 0):]
		}, "rise_unknown"},
		{"no stage", func(in *Inputs) { in.Gauge.Stage = nil }, "stage_missing"},
		{"stage old", func(in *Inputs) { in.Gauge.Stage = late(in.Gauge.Stage, 7) }, "stage_stale"},
		{"alerts never read", func(in *Inputs) { in.Alerts.At = time.Time{} }, "alerts_missing"},
		{"alerts 61 min old", func(in *Inputs) { in.Alerts.At = in.Now.Add(-61 * time.Minute) }, "alerts_stale"},
		{"alerts of the future", func(in *Inputs) { in.Alerts.At = in.Now.Add(time.Hour) }, "alerts_failed"},
		{"no weather", func(in *Inputs) { in.Weather = Weather{} }, "weather_missing"},
		{"weather 12 h 1 min old", func(in *Inputs) {
			in.Weather.Issued = in.Now.Add(-12*time.Hour - time.Minute)
		}, "weather_stale"},
		{"weather ends too early", func(in *Inputs) {
			in.Weather.Hours = in.Weather.Hours[:min(9, len(in.Weather.Hours))]
		}, "weather_gap"},
		{"weather with a hole", func(in *Inputs) {
			if len(in.Weather.Hours) > 9 {
				in.Weather.Hours = append(append([]Hour(nil), in.Weather.Hours[:8]...), in.Weather.Hours[9:]...)
			}
		}, "weather_gap"},
		{"no wind", func(in *Inputs) { eachHour(in, func(h *Hour) { h.WindMS = nil }) }, "weather_no_wind"},
		{"no gust in one hour", func(in *Inputs) {
			eachHour(in, func(h *Hour) {
				if h.From.Equal(at(8, 0)) {
					h.GustMS = nil
				}
			})
		}, "weather_no_gust"},
		{"no thunder", func(in *Inputs) { eachHour(in, func(h *Hour) { h.Thunder = nil }) }, "weather_no_thunder"},
		{"no air", func(in *Inputs) { eachHour(in, func(h *Hour) { h.AirC = nil }) }, "weather_no_air"},
		{"ice unknown", func(in *Inputs) { in.Ice = latch(ice.Unknown, ice.CauseSilent) }, "ice_unknown_water_silent"},
		{"no flow limit and nine years", func(in *Inputs) {
			in.Reach.MaxFlowM3S = nil
			in.Climate = pastFlows(9)
		}, "no_max_flow"},
		{"no season rule", func(in *Inputs) { in.Reach.Rules = nil }, "season_unverified"},
		{"rule of another species", func(in *Inputs) { in.Species = "sauger" }, "season_unverified"},
		{"rule checked 366 days ago", func(in *Inputs) { setRule(in, in.Day.Add(-366)) }, "season_unverified"},
		{"rule never checked", func(in *Inputs) { setRule(in, coldseam.Date{}) }, "season_unverified"},
		{"rule checked tomorrow", func(in *Inputs) { setRule(in, in.Day.Add(1)) }, "season_unverified"},
		{"no rise forecast", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.RiseShare = nil })
		}, "rise_forecast_missing"},
		{"no flow forecast", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.FlowM3S = nil })
		}, "flow_forecast_missing"},
		{"no window", func(in *Inputs) { in.Candidates = nil }, "no_window"},
		{"window is over", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.Start, c.End = at(0, 0), at(4, 0) })
		}, "window_past"},
		{"no water temperature and no model", func(in *Inputs) {
			in.Gauge.Water = nil
			in.WaterModel = false
		}, "water_missing"},
		{"water 5 d old and no model", func(in *Inputs) {
			in.Gauge.Water = late(in.Gauge.Water, 121)
			in.WaterModel = false
		}, "water_stale"},
		{"forecast failed", func(in *Inputs) { in.Failed = "temperature model" }, "forecast_failed"},
		{"no odds", func(in *Inputs) { eachCandidate(in, func(c *Candidate) { c.PGood = nil }) }, "odds_missing"},
		{"odds that are no number", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.PGood = append(repeat(.9, 9), nan()) })
		}, "odds_missing"},
	}
}

func nan() float64 { var z float64; return z / z }

func setRule(in *Inputs, d coldseam.Date) {
	in.Reach.Rules = append([]coldseam.Rule(nil), in.Reach.Rules...)
	for i := range in.Reach.Rules {
		in.Reach.Rules[i].CheckedOn = d
	}
}

// caps are all that hold a verdict at TOSS-UP.
func caps() []change {
	return []change{
		{"hazards not surveyed", func(in *Inputs) { in.Reach.HazardsSurveyed = false }, "hazards_unsurveyed"},
		{"daily gauge", func(in *Inputs) { in.Gauge.DailyOnly = true }, "daily_gauge"},
		{"water from the model", func(in *Inputs) { in.Gauge.Water = nil }, "water_model"},
		{"regulated", func(in *Inputs) { in.Reach.Regulated = true }, "regulated"},
		{"no stage forecast", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.PFlood = nil })
		}, "no_stage_forecast"},
		{"hold under a half", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.HoldP = ptr(.49) })
		}, "hold_low"},
		{"no sounding", func(in *Inputs) { eachCandidate(in, func(c *Candidate) { c.HoldP = nil }) }, "hold_unknown"},
		{"members disagree", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) {
				m := 0.0
				for _, p := range c.PGood {
					m += p / float64(len(c.PGood))
				}
				lo, hi := min(max(0, m-.3), .45), min(1, m+.3)
				c.PGood = append(repeat(lo, 250), repeat(hi, 250)...)
			})
		}, ""},
		{"flood watch", func(in *Inputs) {
			in.Alerts.List = append(in.Alerts.List, alert("Flood Watch", at(0, 0), at(20, 0)))
		}, "flood_watch"},
		{"severe alert of unknown kind", func(in *Inputs) {
			a := alert("Volcano Notice", at(0, 0), at(20, 0))
			a.Severity = "Severe"
			in.Alerts.List = append(in.Alerts.List, a)
		}, "alert_other"},
		{"rain upstream", func(in *Inputs) { in.Weather.RainMM = ptr(12.7) }, "rain_upstream"},
		{"thunder not forecast, allowed", func(in *Inputs) {
			in.Table.AllowNoThunder = 1
			eachHour(in, func(h *Hour) { h.Thunder = nil })
		}, "no_thunder"},
	}
}

var oddsLevels = []float64{0, .1, .29, .30, .45, .499, .50, .7, .99}

func codes(rs []coldseam.Reason, kind string) []string {
	var out []string
	for _, r := range rs {
		if kind == "" || r.Kind == kind {
			out = append(out, r.Code)
		}
	}
	return out
}

func noOdds(t *testing.T, d Decision) {
	t.Helper()
	require.False(t, d.OddsOK)
	require.Zero(t, d.Odds)
	require.Equal(t, -1, d.WindowI)
	for _, w := range d.Windows {
		require.False(t, w.OddsOK)
	}
	for _, r := range append(append(append([]coldseam.Reason(nil), d.Stops...), d.Reasons...), d.Cautions...) {
		require.NotEqual(t, KindOdds, r.Kind)
		require.NotContains(t, r.Values, "good_odds")
	}
}

func TestEveryStopAtEveryOdds(t *testing.T) {
	t.Parallel()
	for _, s := range stops() {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			for _, p := range oddsLevels {
				in := good(p)
				s.do(&in)
				d := Decide(in)
				require.Equal(t, coldseam.Stop, d.Verdict, "odds %g: %+v", p, d.Reasons)
				require.Contains(t, codes(d.Stops, KindSafety), s.code)
				require.Equal(t, KindSafety, d.Stops[0].Kind)
				require.False(t, d.ShowLines)
				noOdds(t, d)
			}
		})
	}
}

func TestEveryGapAtEveryOdds(t *testing.T) {
	t.Parallel()
	for _, g := range gaps() {
		t.Run(g.name, func(t *testing.T) {
			t.Parallel()
			for _, p := range oddsLevels {
				in := good(p)
				g.do(&in)
				d := Decide(in)
				require.Equal(t, coldseam.NoCall, d.Verdict, "odds %g", p)
				require.Contains(t, codes(d.Reasons, KindMissing), g.code)
				lines := strings.HasPrefix(g.code, "weather_") || strings.HasPrefix(g.code, "alerts_") ||
					g.code == "season_unverified"
				require.Equal(t, lines, d.ShowLines)
				noOdds(t, d)
			}
		})
	}
}

func TestEveryStopBeatsEveryGap(t *testing.T) {
	t.Parallel()
	for _, s := range stops() {
		for _, g := range gaps() {
			in := good(.99)
			g.do(&in) // first, so that the stop still has its evidence
			s.do(&in)
			d := Decide(in)
			require.NotContains(t, []coldseam.Verdict{coldseam.Go, coldseam.TossUp, coldseam.Stay}, d.Verdict,
				"%s + %s", s.name, g.name)
			noOdds(t, d)
		}
	}
}

func TestEveryPairOfGapsIsNoCall(t *testing.T) {
	t.Parallel()
	all := gaps()
	for i, a := range all {
		for _, b := range all[i+1:] {
			in := good(.99)
			a.do(&in)
			b.do(&in)
			require.Equal(t, coldseam.NoCall, Decide(in).Verdict, "%s + %s", a.name, b.name)
		}
	}
}

func TestEveryCapAtEveryOdds(t *testing.T) {
	t.Parallel()

	for _, c := range caps() {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			for _, p := range oddsLevels {
				in := good(p)
				c.do(&in)
				d := Decide(in)
				require.NotEqual(t, coldseam.Go, d.Verdict, "odds %g", p)
				require.True(t, d.Verdict.ShowsOdds(), "%+v", d.Reasons)
				if p < .29 {
					require.Equal(t, coldseam.Stay, d.Verdict, "a cap never lifts")
				}
				if c.code != "" {
					require.Contains(t, codes(d.Reasons, KindCap), c.code)
				}
			}

			for _, g := range append(gaps(), stops()...) {
				in := good(.99)
				g.do(&in)
				c.do(&in)
				require.NotEqual(t, coldseam.Go, Decide(in).Verdict, "%s + %s", g.name, c.name)
			}
		})
	}
}

func TestAgesAtTheEdge(t *testing.T) {
	t.Parallel()
	shift := func(obs []coldseam.Observation, newest time.Time) []coldseam.Observation {
		d := newest.Sub(obs[len(obs)-1].At)
		out := append([]coldseam.Observation(nil), obs...)
		for i := range out {
			out[i].At = out[i].At.Add(d)
		}
		return out
	}

	rows := []struct {
		name  string
		limit time.Duration
		past  coldseam.Verdict
		set   func(*Inputs, time.Time)
	}{
		{"flow for a GO", 2 * time.Hour, coldseam.TossUp, func(in *Inputs, t time.Time) {
			in.Gauge.Discharge = shift(in.Gauge.Discharge, t)
		}},
		{"stage for a GO", 2 * time.Hour, coldseam.TossUp, func(in *Inputs, t time.Time) {
			in.Gauge.Stage = shift(in.Gauge.Stage, t)
		}},
		{"flow", 6 * time.Hour, coldseam.NoCall, func(in *Inputs, t time.Time) {
			in.Gauge.Discharge, in.Table.GoAgeH = shift(in.Gauge.Discharge, t), 6
		}},
		{"stage", 6 * time.Hour, coldseam.NoCall, func(in *Inputs, t time.Time) {
			in.Gauge.Stage, in.Table.GoAgeH = shift(in.Gauge.Stage, t), 6
		}},
		{"alerts", time.Hour, coldseam.NoCall, func(in *Inputs, t time.Time) { in.Alerts.At = t }},
		{"weather", 12 * time.Hour, coldseam.NoCall, func(in *Inputs, t time.Time) { in.Weather.Issued = t }},
		{"water without a model", 5 * 24 * time.Hour, coldseam.NoCall, func(in *Inputs, t time.Time) {
			in.Gauge.Water, in.WaterModel = shift(in.Gauge.Water, t), false
			in.Day = in.Day.Add(61) // in May: in the months of frost old water is capped
			in.Reach.Rules = in.Reach.Rules[:1:1]
			in.Reach.Rules[0].Closed, in.Reach.Rules[0].CheckedOn = nil, in.Day
		}},
	}

	for _, r := range rows {
		for _, past := range []time.Duration{-time.Minute, 0, time.Minute} {
			in := good(.9)
			r.set(&in, in.Now.Add(-r.limit-past))
			want := coldseam.Go
			if past > 0 {
				want = r.past
			}
			require.Equal(t, want, Decide(in).Verdict, "%s, %s past its limit", r.name, past)
		}
	}
}

// In the months of frost a reading of last evening shows no open water.
func TestWaterOfLastEveningIsCappedInFrost(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		age  time.Duration
		want coldseam.Verdict
	}{{12 * time.Hour, coldseam.Go}, {13 * time.Hour, coldseam.TossUp}} {
		in := good(.9)
		in.Gauge.Water = []coldseam.Observation{{At: in.Now.Add(-c.age), Value: 4, Flag: coldseam.Provisional}}
		require.Equal(t, c.want, Decide(in).Verdict, "%s old", c.age)
	}
}

func TestLegalClosure(t *testing.T) {
	t.Parallel()
	in := good(.99)
	in.Day = coldseam.Date{Year: 2026, Month: 4, Day: 15}
	in.Reach.Rules[0].CheckedOn = coldseam.Date{Year: 2026, Month: 4, Day: 1}
	d := Decide(in)
	require.Equal(t, coldseam.Stop, d.Verdict)
	require.Equal(t, []string{"closed"}, codes(d.Stops, ""))
	require.Equal(t, map[string]string{"rule": "Walleye closed", "link": "https://rules.example.org"}, d.Stops[0].Names)
	noOdds(t, d)
	in.Gauge.Stage = steady(4.4)
	d = Decide(in)
	require.Equal(t, []string{"flood_stage", "closed"}, codes(d.Stops, ""), "both listed, safety first")
	in.Gauge.Stage = steady(2.1)
	in.Alerts.At = time.Time{}
	d = Decide(in)
	require.Equal(t, coldseam.Stop, d.Verdict, "a closure stands before a missing input")
	require.Contains(t, codes(d.Reasons, KindMissing), "alerts_missing")
}

// TestReasonsAreData: a reason brings a code, a source and finite numbers, and no
// words; notify has a short sentence for it.
func TestReasonsAreData(t *testing.T) {
	t.Parallel()
	in := good(.9)
	in.Gauge.Stage = append(in.Gauge.Stage, coldseam.Observation{At: at(4, 48), Value: 2.1 + 1.3*coldseam.MetrePerFoot})
	d := Decide(in)
	require.Equal(t, "rose 1.3 ft in 6 h; the limit is 1 ft", notify.ReasonText(d.Stops[0], "us", ""))
	require.Equal(t, "rose 0.4 m in 6 h; the limit is 0.3 m", notify.ReasonText(d.Stops[0], "metric", ""))

	for _, c := range append(append(stops(), gaps()...), caps()...) {
		in := good(.6)
		c.do(&in)
		d := Decide(in)

		for _, r := range append(append(append([]coldseam.Reason(nil), d.Stops...), d.Reasons...), d.Cautions...) {
			require.Empty(t, r.Text+r.TextSI, "%s: %+v", c.name, r)
			require.True(t, hasSentence(r), "%s: %+v", c.name, r)
			for _, units := range []string{"us", "metric"} {
				s := notify.ReasonText(r, units, "")
				require.LessOrEqual(t, len([]rune(s)), 70, s)
				require.NotContains(t, strings.ToLower(s), "safe")
				require.NotContains(t, s, "!")
			}

			require.NotEmpty(t, r.Code)
			require.NotEmpty(t, r.Source, "%s: %+v", c.name, r)
			for k, v := range r.Values {
				require.False(t, math.IsNaN(v) || math.IsInf(v, 0), "%s: %s of %s", c.name, k, r.Code)
			}
		}
	}
}

// A move of the odds within the hysteresis changes no printed tenth, and so no
// word of anybody, within a day; the first issue of another day starts anew.
func TestHysteresisWithinTheDay(t *testing.T) {
	t.Parallel()

	for _, r := range []struct {
		prev, p, want float64
		kept          bool
	}{
		{.46, .44, .46, true}, {.46, .429, .429, false}, {.46, .43, .43, false},
		{.44, .46, .44, true}, {.44, .48, .48, false},
		{.26, .24, .26, true}, {.47, .455, .455, false}, {0, .051, .051, false},
	} {
		in := good(r.p)
		c := in.Candidates[0]
		in.Prev = &Previous{Day: in.Day,
			Windows: []coldseam.Window{{Start: c.Start, End: c.End, Odds: r.prev, OddsOK: true}}}
		d := Decide(in)
		require.InDelta(t, r.want, d.Odds, 1e-12, "%g then %g", r.prev, r.p)
		require.Equal(t, coldseam.LineOf(.4, .1).Word(r.want), d.Verdict)
		require.Equal(t, r.kept, contains(d.Reasons, "odds_kept"))

		for name, edit := range map[string]func(){
			"yesterday":    func() { in.Prev.Day = in.Day.Add(-1) },
			"other hours":  func() { in.Prev.Windows[0].End = c.End.Add(time.Hour) },
			"without odds": func() { in.Prev.Windows[0].OddsOK = false },
		} {
			in.Prev = &Previous{Day: in.Day,
				Windows: []coldseam.Window{{Start: c.Start, End: c.End, Odds: r.prev, OddsOK: true}}}
			edit()
			require.InDelta(t, r.p, Decide(in).Odds, 1e-12, name)
		}
	}

	in := good(.9)
	in.Prev = &Previous{Day: in.Day, Windows: []coldseam.Window{{
		Start:  in.Candidates[0].Start,
		End:    in.Candidates[0].End,
		Odds:   .9,
		OddsOK: true,
	}}}
	in.Alerts.At = time.Time{}
	require.Equal(t, coldseam.NoCall, Decide(in).Verdict, "the last GO does not carry a missing input")
}

func TestWindowsEachOnItsOwn(t *testing.T) {
	t.Parallel()
	in := good(.55)
	in.Candidates = []Candidate{candidate(at(7, 0), at(10, 30), .8), candidate(at(10, 0), at(13, 30), .6),
		candidate(at(15, 0), at(18, 30), .62)}
	eachHour(&in, func(h *Hour) {
		if h.From.Before(at(9, 0)) && h.To.After(at(8, 0)) {
			h.Thunder = ptr(.5)
		}
	})
	d := Decide(in)
	require.Equal(t, coldseam.Go, d.Verdict)
	require.Equal(t, 2, d.WindowI)
	require.Equal(t, "thunder", d.Windows[0].Stops[0].Code)
	require.False(t, d.Windows[0].OddsOK)
	require.Contains(t, codes(d.Cautions, ""), "other_window")
	require.Equal(t, at(18, 30), d.GoodUntil)
	eachHour(&in, func(h *Hour) { h.Thunder = ptr(.5) })
	require.Equal(t, coldseam.Stop, Decide(in).Verdict, "no window left")
}

func TestCautionsKeepTheirOrder(t *testing.T) {
	t.Parallel()
	in := good(.9)
	in.Candidates = []Candidate{candidate(at(5, 30), at(9, 0), .9)}
	in.Gauge.Stage = steady(3.3)
	in.Gauge.Discharge = steady(140)
	in.Candidates[0].FlowM3S = repeat(140, 100)
	in.Gauge.Turbidity = steady(60)
	in.Weather.RainMM = ptr(20.0)

	i := 0
	eachHour(&in, func(h *Hour) {
		h.AirC, h.WindMS, h.VisibilityM = ptr(-2-float64(i)), ptr(16*coldseam.MPSPerMPH), ptr(300.0)
		if i >= 6 {
			h.AirC = ptr(-1.5 - 9*math.Min(float64(i-6)/5, 1))
		}
		if h.From.Before(at(11, 0)) {
			h.AirC = ptr(-1.5)
		}
		i++
	})

	in.Alerts.List = []coldseam.Alert{alert("Flood Advisory", at(0, 0), at(20, 0))}
	d := Decide(in)
	require.Equal(t, []string{"action_stage", "flow_high", "wind", "wind_chill", "dark", "turbid", "fast_fall", "fog",
		"ramp_ice", "flood_watch", "rain_upstream", "alone"},
		codes(d.Cautions, ""), "%v", d.Stops)
	require.Equal(t, coldseam.TossUp, d.Verdict)
}

func ExampleDecide() {
	in := Inputs{Now: time.Date(2026, 3, 20, 10, 50, 0, 0, time.UTC), Day: coldseam.Date{Year: 2026, Month: 3, Day: 20},
		Table: DefaultTable()}
	d := Decide(in)
	fmt.Println(d.Verdict, "-", d.Reasons[0].Code)
	// Output: NO CALL - discharge_missing
}
