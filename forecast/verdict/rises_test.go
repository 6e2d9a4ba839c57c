package verdict

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/trust"
)

// season is a river with these quantiles behind it.
func season(median, p75 float64) SeasonFlow {
	return SeasonFlow{Years: 12, MedianM3S: median, P75M3S: p75}
}

// climb is half-hourly flow up to 4:45 along straight lines between points of
// hour and value; as a real sensor it never stands still to the digit.
func climb(points ...[2]float64) []coldseam.Observation {
	var out []coldseam.Observation
	for k := 1; k < len(points); k++ {
		a, b := points[k-1], points[k]
		for h := a[0]; h < b[0]; h += .5 {
			v := a[1] + (b[1]-a[1])*(h-a[0])/(b[0]-a[0])
			out = append(out, reading(h, v*(1+.0003*float64(len(out)%3))))
		}
	}
	last := points[len(points)-1]
	return append(out, reading(last[0], last[1]))
}

// reading is a value h hours after 4:45 of the test morning.
func reading(h, v float64) coldseam.Observation {
	return coldseam.Observation{At: at(4, 45).Add(hours(h)).UTC(), Value: v, Flag: coldseam.Provisional}
}

// onFlow is a good morning with this flow and season.
func onFlow(obs []coldseam.Observation, s SeasonFlow) Inputs {
	in := good(.8)
	in.Gauge.Discharge, in.Gauge.Stage, in.Season = obs, stageOf(obs), s
	return in
}

// stageOf is the stage beside a flow, well under flood and slow to rise.
func stageOf(flow []coldseam.Observation) []coldseam.Observation {
	out := append([]coldseam.Observation(nil), flow...)
	for i := range out {
		out[i].Value = 1.5 + .25*math.Log(max(out[i].Value, 1))
		out[i].Flag = coldseam.Provisional
	}
	return out
}

func TestRiseWithinADay(t *testing.T) {
	t.Parallel()

	for _, r := range []struct {
		name     string
		from, to float64
		season   SeasonFlow
		want     coldseam.Verdict
		code     string
	}{
		{"60 % above the quartile", 10, 16, season(9, 12), coldseam.Stop, "rise_day"},
		{"60 % between median and quartile", 10, 16, season(12, 20), coldseam.TossUp, "rise_day_cap"},
		{"60 % below the median", 10, 16, season(18, 25), coldseam.Go, ""},
		{"110 % below the median", 10, 21, season(30, 40), coldseam.TossUp, "rise_day_cap"},
		{"110 % above the median", 10, 21, season(15, 40), coldseam.Stop, "rise_day"},
		{"50 % is not over 50 %", 10, 15, season(9, 12), coldseam.TossUp, "rise_day_cap"},
		{"30 % is not over 30 %", 10, 13, season(9, 12), coldseam.Go, ""},
		{"short record, 51 %", 10, 15.1, SeasonFlow{Years: 2, MedianM3S: 30, P75M3S: 40}, coldseam.Stop, "rise_day"},
		{"short record, 31 %", 10, 13.1, SeasonFlow{Years: 2, MedianM3S: 30, P75M3S: 40}, coldseam.TossUp,
			"rise_day_cap"},
		{"no record at all", 10, 15.1, SeasonFlow{}, coldseam.Stop, "rise_day"},
		{"flashy, 90 %", 10, 19, flashy(9, 12), coldseam.TossUp, "rise_day_cap"},
		{"flashy, 105 %", 10, 20.5, flashy(9, 12), coldseam.Stop, "rise_day_flashy"},
		{"flashy, 190 % above the median alone", 10, 29, flashy(12, 40), coldseam.TossUp, "rise_day_cap"},
		{"flashy, 200 % above the median alone", 10, 30, flashy(12, 40), coldseam.Stop, "rise_day_flashy"},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			in := onFlow(climb([2]float64{-60, r.from}, [2]float64{-23, r.from}, [2]float64{0, r.to}), r.season)
			in.Table.RiseShare = 2 // the 6-h rule out of the way
			d := Decide(in)
			fired := append(codes(d.Stops, KindSafety), codes(d.Reasons, KindCap)...)
			if r.code == "" {
				require.Empty(t, fired)
			} else {
				require.Equal(t, []string{r.code}, fired)
			}
			require.Equal(t, r.want, d.Verdict, "%v", fired)
		})
	}
}

func flashy(median, p75 float64) SeasonFlow {
	s := season(median, p75)
	s.Flashy = true
	return s
}

// A rise that takes seven hours is none of the 6-h rule, one of the last six is,
// to the reading.
func TestRiseWindowIsSixHours(t *testing.T) {
	t.Parallel()
	low := season(1e6, 1e6) // the day's rule stays silent

	for _, r := range []struct {
		name string
		obs  []coldseam.Observation
		want bool
	}{
		{"step 6 h ago", climb([2]float64{-60, 68}, [2]float64{-6, 68}, [2]float64{-5.5, 95}, [2]float64{0, 95}), true},
		{"step 6.5 h ago", climb([2]float64{-60, 68}, [2]float64{-6.5, 68}, [2]float64{-6, 95}, [2]float64{0, 95}),
			false},
		{"even over 7 h", climb([2]float64{-60, 68}, [2]float64{-7, 68}, [2]float64{0, 91}), false},
		{"even over 6 h", climb([2]float64{-60, 68}, [2]float64{-6, 68}, [2]float64{0, 91}), true},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			in := onFlow(r.obs, low)
			now, _ := newest(in.Gauge.Discharge)
			l := in.follow(in.Gauge.Discharge, course{rules: in.flowRule, over: func(float64) bool { return false },
				gone: func(float64, float64) bool { return false }})
			require.Equal(t, r.want, l.firedAt.Equal(now.At) && l.last.code == "rise_flow")
		})
	}
}

// A stop does not go with the six hours: it is kept until the river has lost
// half of the rise, and caps until it is near the foot.
func TestRiseLifts(t *testing.T) {
	t.Parallel()
	rose := [][2]float64{{-60, 40}, {-40, 40}, {-35, 80}, {-30, 80}}

	for _, r := range []struct {
		name string
		tail [][2]float64
		want coldseam.Verdict
		code string
	}{
		{"still at the peak", [][2]float64{{0, 80}}, coldseam.Stop, "rise_kept"},
		{"lost less than half", [][2]float64{{-10, 62}, {0, 62}}, coldseam.Stop, "rise_kept"},
		{"half gone for 3 h", [][2]float64{{-4, 58}, {0, 58}}, coldseam.TossUp, "rise_falling"},
		{"half gone for 2 h", [][2]float64{{-2.5, 61}, {-2, 58}, {0, 58}}, coldseam.Stop, "rise_kept"},
		{"at 1.25 of the foot", [][2]float64{{-10, 50}, {0, 50}}, coldseam.Go, ""},
		{"up again by half", [][2]float64{{-20, 50}, {-13, 50}, {0, 77}}, coldseam.Stop, "rise_day"},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			d := Decide(onFlow(climb(append(append([][2]float64(nil), rose...), r.tail...)...), season(30, 45)))
			require.Equal(t, r.want, d.Verdict, "%v", d.Fired)
			if r.code != "" {
				require.Contains(t, d.Fired, r.code)
			}
		})
	}
}

// One low reading, or flagged ones, lift nothing.
func TestRiseThatStaysHighIsLeftToTheLimits(t *testing.T) {
	t.Parallel()

	for _, r := range []struct {
		name  string
		hours float64 // since the peak
		want  coldseam.Verdict
	}{
		{"71 h after the peak", 71, coldseam.Stop},
		{"73 h after the peak", 73, coldseam.TossUp},
		{"167 h after the peak", 167, coldseam.TossUp},
		{"169 h after the peak", 169, coldseam.Go},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			obs := climb([2]float64{-r.hours - 40, 40}, [2]float64{-r.hours - 5, 40}, [2]float64{-r.hours, 80},
				[2]float64{0, 79})
			d := Decide(onFlow(obs, season(30, 45)))
			require.Equal(t, r.want, d.Verdict, "%v", d.Fired)
		})
	}
}

func TestRiseIsNotLiftedByFlaggedReadings(t *testing.T) {
	t.Parallel()
	high := climb([2]float64{-60, 40}, [2]float64{-40, 40}, [2]float64{-35, 80}, [2]float64{-4, 80})
	for _, flag := range []coldseam.Flag{coldseam.Suspect, coldseam.Equipment, coldseam.QCRate, coldseam.QCUnit,
		coldseam.QCFlat, coldseam.QCSpike} {
		obs := append([]coldseam.Observation(nil), high...)
		for h := -3.5; h <= 0; h += .5 {
			o := reading(h, 41)
			o.Flag |= flag
			obs = append(obs, o)
		}
		require.Equal(t, coldseam.Stop, Decide(onFlow(obs, season(30, 45))).Verdict, "%v", flag.Names())
	}
	one := append(append([]coldseam.Observation(nil), high...), climb([2]float64{-3.5, 80}, [2]float64{-.5, 80})...)
	require.Equal(t, coldseam.Stop, Decide(onFlow(append(one, reading(0, 41)), season(30, 45))).Verdict)
}

func TestRiseIsKeptAboveTheFlowLimit(t *testing.T) {
	t.Parallel()
	obs := climb([2]float64{-60, 40}, [2]float64{-30, 40}, [2]float64{-25, 300}, [2]float64{-10, 165},
		[2]float64{0, 165})
	in := onFlow(obs, season(30, 45))
	in.Reach.MaxFlowM3S = ptr(160.0)
	require.Contains(t, Decide(in).Fired, "rise_kept")
	in.Reach.MaxFlowM3S = ptr(200.0)
	require.NotContains(t, Decide(in).Fired, "rise_kept")
}

func TestStageRiseWithinADay(t *testing.T) {
	t.Parallel()
	// .65 m in 23 h: over 2 ft, under 1 ft in any 6 h.
	up := climb([2]float64{-60, 1.5}, [2]float64{-23, 1.5}, [2]float64{0, 2.15})

	for _, r := range []struct {
		name   string
		season SeasonFlow
		want   coldseam.Verdict
		code   string
	}{
		{"high river", season(30, 60), coldseam.Stop, "rise_day_stage"},
		{"low river", season(80, 90), coldseam.TossUp, "rise_day_stage_cap"},
		{"short record", SeasonFlow{Years: 1}, coldseam.Stop, "rise_day_stage"},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			in := good(.8)
			in.Gauge.Stage, in.Season = up, r.season
			in.Gauge.History = trust.History{Span: time.Hour} // knows of no flow that goes with the stage
			d := Decide(in)
			require.Equal(t, r.want, d.Verdict, "%v", d.Fired)
			require.Contains(t, d.Fired, r.code)
		})
	}
}

// Nobody knows when in a gap the river rose: it may have been in its last hour.
func TestRiseInAGap(t *testing.T) {
	t.Parallel()
	up := climb([2]float64{-60, 68}, [2]float64{-30, 68}, [2]float64{0, 92})
	d := Decide(onFlow(up, season(200, 300)))
	require.NotEqual(t, coldseam.Stop, d.Verdict, "%v", d.Fired)
	for _, gap := range []float64{11.5, 28} {
		seen := slices.DeleteFunc(slices.Clone(up), func(o coldseam.Observation) bool {
			h := o.At.Sub(up[len(up)-1].At).Hours()
			return h > -gap-17 && h < -1
		})
		d = Decide(onFlow(seen, season(200, 300)))
		require.Equal(t, coldseam.Stop, d.Verdict, "a gap of %v h: %v", gap+16, d.Fired)
	}
}

// The rising limb carries wood, and so does the day after the peak.
func TestDriftCaution(t *testing.T) {
	t.Parallel()
	for _, r := range []struct {
		name string
		obs  []coldseam.Observation
		want bool
	}{
		{"rising", climb([2]float64{-60, 68}, [2]float64{-23, 68}, [2]float64{0, 92}), true},
		{"20 h after the peak", climb([2]float64{-60, 68}, [2]float64{-43, 68}, [2]float64{-20, 92}, [2]float64{0, 85}),
			true},
		{"25 h after the peak", climb([2]float64{-60, 68}, [2]float64{-48, 68}, [2]float64{-25, 92}, [2]float64{0, 85}),
			false},
		{"steady", steady(68), false},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			d := Decide(onFlow(r.obs, season(60, 200)))
			require.Equal(t, r.want, len(d.Cautions) > 0 && contains(d.Cautions, "drift"), "%v", d.Fired)
		})
	}
}

func contains(rs []coldseam.Reason, code string) bool {
	for _, r := range rs {
		if r.Code == code {
			return true
		}
	}
	return false
}

// A gauge that reports once a day is judged by the means of the last days.
func TestDailyGaugeRises(t *testing.T) {
	t.Parallel()
	means := func(v ...float64) []coldseam.Observation {
		var out []coldseam.Observation
		for i, x := range v {
			out = append(out, reading(-4.75-24*float64(len(v)-1-i), x))
		}
		return out
	}

	for _, r := range []struct {
		name string
		obs  []coldseam.Observation
		want coldseam.Verdict
	}{
		{"level", means(50, 50, 50), coldseam.TossUp},
		{"doubled yesterday", means(30, 30, 62), coldseam.Stop},
		{"doubled the day before, level", means(30, 62, 62), coldseam.Stop},
		{"doubled, and half gone", means(30, 62, 44), coldseam.TossUp},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			in := onFlow(r.obs, season(30, 45))
			in.Gauge.DailyOnly = true
			require.Equal(t, r.want, Decide(in).Verdict)
		})
	}
}

func TestNegativeFlowIsNoFoot(t *testing.T) {
	t.Parallel()
	in := onFlow(climb([2]float64{-60, 60}, [2]float64{-20, 60}, [2]float64{-19.5, -37}, [2]float64{-19, 60},
		[2]float64{0, 68}), season(30, 45))
	in.Gauge.Stage = steady(2.1)
	d := Decide(in)
	require.Equal(t, coldseam.Go, d.Verdict, "%v", d.Fired)
}

func TestSeasonFlow(t *testing.T) {
	t.Parallel()
	days := coldseam.Days{First: coldseam.Date{Year: 2020, Month: time.January, Day: 1}}
	for i := range 3 * 366 {
		q := 1.0
		switch days.Day(i).Month {
		case time.March, time.April, time.May, time.June:
			q = 10
		case time.September, time.October, time.November:
			q = 20
		}
		days.FlowM3S = append(days.FlowM3S, q)
	}
	s := SeasonFlowOf(days)
	require.Equal(t, 3, s.Years)
	require.Equal(t, 10.0, s.MedianM3S)
	require.Equal(t, 20.0, s.P75M3S)
	require.False(t, s.Flashy)

	days.Lat = -40 // September-December and March-May
	s = SeasonFlowOf(days)
	require.Equal(t, 10.0, s.MedianM3S)
	spring, fished := seasonOf(coldseam.Date{Year: 2020, Month: time.December, Day: 1}, -40)
	require.True(t, spring && fished)
	_, fished = seasonOf(coldseam.Date{Year: 2020, Month: time.June, Day: 1}, -40)
	require.False(t, fished)

	require.True(t, math.IsNaN(SeasonFlowOf(coldseam.Days{}).MedianM3S))
}

// A forecast rise stops where enough members also reach the third quartile of
// the season; of a trickle it caps. A short record has no quartile to stay below.
func TestForecastRiseToHighWater(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		rising float64 // share of members that rise
		to     float64 // m3/s
		years  int
		want   coldseam.Verdict
		code   string
	}{
		{"to the quartile", .20, 12.1, 12, coldseam.Stop, "rise_forecast"},
		{"below it", .20, 11.9, 12, coldseam.TossUp, "rise_forecast_cap"},
		{"too few members", .19, 12.1, 12, coldseam.Go, ""},
		{"without a quartile", .20, 1, 2, coldseam.Stop, "rise_forecast"},
	} {
		in := onFlow(climb([2]float64{-24, 1}, [2]float64{0, 1}), season(5, 12))
		in.Season.Years = c.years
		for i := range in.Candidates {
			x := &in.Candidates[i]
			x.RiseShare, x.AfterM3S = mixed(.01, .31, c.rising), mixed(1, c.to, c.rising)
			x.FlowM3S = repeat(1, len(x.AfterM3S))
		}
		d := Decide(in)
		require.Equal(t, c.want, d.Verdict, "%s: %v", c.name, d.Reasons)
		if c.code != "" {
			require.Contains(t, d.Fired, c.code, c.name)
		}
	}
}
