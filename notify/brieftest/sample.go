// Package brieftest makes a set of morning briefs for tests and mock pages: one
// of each verdict, on invented rivers, for Saturday 10 April 2027. Tests
// import it, the program never does.
package brieftest

import (
	"math"
	"time"

	"example.org/coldseam"
)

// Day is the civil day of every brief of the set.
var Day = coldseam.Date{Year: 2027, Month: time.April, Day: 10}

// Zone is the time zone of every river of the set.
const Zone = "America/Chicago"

// Issued is 04:50 in Zone.
var Issued = time.Date(2027, 4, 10, 9, 50, 0, 0, time.UTC)

// All returns the five briefs, best first: GO, TOSS-UP, STAY, NO CALL, STOP.
func All() []coldseam.Brief {
	return []coldseam.Brief{Go(), TossUp(), Stay(), NoCall(), Stop()}
}

// Go is the Tamsen on a rising 39 F morning, everything measured.
func Go() coldseam.Brief {
	b := base("tamsen-bend", "Tamsen River", "Bend reach", "met:0417", "Mill Bridge", 68.2, 3.9)
	b.Verdict, b.Odds, b.OddsOK, b.OddsNote = coldseam.Go, .58, true,
		coldseam.Reason{Code: "odds_level", Values: map[string]float64{"log_mornings": 14, "level_share": .62,
			"shape_share": .12}}
	b.Rank.Logged, b.Rank.Anglers, b.Rank.Level, b.Rank.Shape, b.Rank.GoodRate = 14, 5, .62, .12, .5
	b.Sure, b.SureBy = "medium", coldseam.Reason{Code: "sure_log", Values: map[string]float64{"log_mornings": 14}}
	b.Spread = [2]float64{.41, .73}
	b.HoldP = .93
	b.Cautions = []coldseam.Reason{{
		Code:   "before_twilight",
		Kind:   "caution",
		Text:   "first light 6:02: run slow and lit before it",
		Source: "club rule",
	}}
	b.Hazards = []string{"low-head dam at Quarry Road, 1.2 mi below the launch",
		"strainers on the outside of the second bend"}
	b.Surveyed = true

	b.Temp.Trend, b.Flow.Trend, b.Flow.TrendTo = "warming", "easing",
		Day.At(12*time.Hour, time.FixedZone("CDT", -5*3600))
	b.Crossings = []coldseam.Crossing{
		{EdgeC: coldseam.C(40), Up: true, Within3: .71, Within7: .88, Within10: .94, Not: .06, Horizon: 10,
			Dates: [3]coldseam.Date{Day.Add(1), Day.Add(2), Day.Add(6)}},
		{EdgeC: coldseam.C(45), Up: true, Within3: 0, Within7: .12, Within10: .34, Not: .66, Horizon: 10,
			Dates: [3]coldseam.Date{Day.Add(7), Day.Add(9), Day.Add(10)}},
	}
	b.Jig = tamsenJigs()
	b.Run = run(.35, .02, "moving", .7, .5)

	b.How = coldseam.Advice{
		Band:          "ease",
		FlowClass:     "normal",
		Stage:         "moving",
		Tail:          "flutter tail",
		Verb:          "lift",
		Colour:        "colour_pale",
		ClaritySource: "turbidity",
		Body:          "flutter",
		AdviceWay: way("soft thin tail that works on the fall", "lift {lift}, controlled drop, hold {pause}",
			"light wire", 10),
		Where: []string{"hole_head", "current_seam"},
		Notes: coldseam.Notes{{Text: "takes come on the drop"}},
		Row:   "ease-normal-moving",
		Others: []coldseam.AdviceWay{way("bulky paddle tail towed slowly over the bed, one size heavier",
			"tow slowly", "thick wire", 12)},
	}
	b.Measure = []coldseam.Reason{{Code: "sounding", Text: "sound the middle run: it has no weight without it"},
		{Code: "floats", Text: "time five floats at the main seam: 1/4 or 3/8 becomes one of them"}}
	b.Changed = coldseam.Reason{Code: "changed", Names: map[string]string{"was": "TOSS-UP"}}
	return b
}

func way(action, cadence, hook string, lb float64) coldseam.AdviceWay {
	const ft = coldseam.MetrePerFoot
	return coldseam.AdviceWay{
		Action:   action,
		Cadence:  cadence,
		Hook:     hook,
		LiftM:    [2]float64{ft / 3, ft * 2 / 3},
		PauseS:   [2]float64{3, 5},
		LeaderLB: [2]float64{lb, lb},
		LeaderM:  [2]float64{2 * ft, 3 * ft},
	}
}

// TossUp is the Orlow below a dam: odds inside the reach, capped.
func TossUp() coldseam.Brief {
	b := base("orlow-dam", "Orlow River", "Dam reach", "met:0533", "Orlow tailwater", 31.7, 3.4)
	b.Verdict, b.Odds, b.OddsOK, b.OddsNote = coldseam.TossUp, .41, true, coldseam.Reason{Code: "odds_rank"}
	b.Spread = [2]float64{.28, .55}
	b.HoldP = .97
	b.Reasons = []coldseam.Reason{{
		Code:   "regulated",
		Kind:   "cap",
		Text:   "flow is set by dam releases and no schedule is fed: no more than a toss-up",
		Source: "club rule",
	}}
	b.Flow.Regulated, b.Flow.Trend, b.Temp.Trend = true, "steady", "steady"
	b.Surveyed = false
	b.Jig = tamsenJigs()[2:]
	b.Jig[0].Spot, b.Jig[1].Spot = "apron edge", "wing dam slack"
	b.Run = run(.22, 0, "staging", .6, .3)
	b.How = coldseam.Advice{
		Band: "ease",
		Line: "ease: slim tail, short lifts, hold 5 s, stay in holes",
		Body: "slim",
		Row:  "ease-staging",
	}
	return b
}

// Stay is the Hallam Fork, too early.
func Stay() coldseam.Brief {
	b := base("hallam-bar", "Hallam Fork", "Sandbar reach", "met:0102", "Hallam ferry", 18.5, 2.7)
	b.Verdict, b.Odds, b.OddsOK, b.OddsNote = coldseam.Stay, .19, true, coldseam.Reason{Code: "odds_rank"}
	b.Spread = [2]float64{.1, .3}
	b.HoldP = .99
	b.Surveyed, b.Hazards = true, []string{"none known to the club, survey of 12 March"}
	b.Reasons = []coldseam.Reason{{Code: "run_below", Kind: "odds", Text: "most fish are still below the reach"}}
	b.Flow.Trend, b.Temp.Trend = "dropping", "steady"
	b.Jig = tamsenJigs()[3:]
	b.Run = run(.06, 0, "not yet", .8, .1)
	b.How = coldseam.Advice{Band: "slow", Line: "slow: thin tail on the bottom, hold 8 s", Body: "slim", Row: "slow"}
	return b
}

// Stop is the Brandt under a flood warning: no odds, no tactics.
func Stop() coldseam.Brief {
	b := base("brandt-lower", "Brandt River", "Lower reach", "met:0870", "Brandt ferry", 148, 4.2)
	b.Verdict = coldseam.Stop
	b.Surveyed, b.Hazards = true, []string{"shelf ice on the north bank", "launch under water above 9 ft"}
	b.Stops = []coldseam.Reason{
		{
			Code:   "flood_alert",
			Kind:   "safety",
			Text:   "Flood warning for Brandt County",
			Source: "Regional weather service",
			Until:  time.Date(2027, 4, 11, 23, 0, 0, 0, time.UTC),
		},
		{
			Code:   "rise",
			Kind:   "safety",
			Text:   "rose 1.3 ft in 6 h; the limit is 1 ft",
			TextSI: "rose 0.40 m in 6 h; the limit is 0.30 m",
			Source: "club rule",
		},
	}
	b.Inputs[3].State = "good"

	b.WindowI, b.Windows = -1, nil
	b.Flow.Class, b.Flow.Pct, b.Flow.Trend, b.Flow.RisePct6h, b.Flow.ExceedMax = "much above", .97, "rising", .31, .44
	b.Next = nil
	b.Crossings = nil
	b.Run = coldseam.RunState{Species: "walleye", Why: "not shown while a stop stands"}
	b.How = coldseam.Advice{}
	b.Sure = "high"
	b.Chart.Windows = nil
	b.Chart.FlowLimitM3S = 249

	for i, t := range b.Chart.Valid { // a flood wave on Sunday
		d := t.Sub(Issued).Hours()
		w := 1 + .5*math.Exp(-(d-28)*(d-28)/900)
		for k := range b.Chart.FlowFan[i] {
			b.Chart.FlowFan[i][k] *= 1 + (w-1)*(.8+.1*float64(k))
		}
	}

	for i := range b.Chart.FlowObs {
		b.Chart.FlowObs[i].V = 148 * (.82 + .18*float64(i)/float64(len(b.Chart.FlowObs)-1))
	}
	return b
}

// NoCall is the Little Quern, whose gauge fell silent.
func NoCall() coldseam.Brief {
	b := base("quern-weir", "Little Quern", "Weir reach", "met:0044", "Quern weir", 9.6, 3.1)
	last := Issued.Add(-7 * time.Hour)
	b.Verdict = coldseam.NoCall
	b.Reasons = []coldseam.Reason{{
		Code:   "stale_gauge",
		Kind:   "missing",
		Text:   "Gauge silent 7 h; the limit is 6 h",
		Source: "club rule",
	}}
	b.WindowI, b.Windows = -1, nil
	b.Flow = coldseam.Fact{Now: 9.6, NowAt: last}
	b.Temp = coldseam.Fact{Now: 3.1, NowAt: last}
	b.Stage = coldseam.Fact{}
	b.Next, b.Crossings, b.Jig = nil, nil, nil
	b.Run = coldseam.RunState{Species: "walleye", Why: "no reading to run the clock with"}
	b.How = coldseam.Advice{}
	b.Sure = "low"
	b.Inputs[0].At, b.Inputs[0].Age, b.Inputs[0].State = last, 7*time.Hour, "stale"
	b.Inputs[1].At, b.Inputs[1].Age, b.Inputs[1].State = last, 7*time.Hour, "stale"
	b.Chart = coldseam.ChartData{}
	return b
}

func base(id coldseam.ReachID, river, reach string, site coldseam.SiteID, gauge string, q, tc float64) coldseam.Brief {
	win := func(h, m, h2, m2 int) (time.Time, time.Time) {
		return time.Date(2027, 4, 10, h+5, m, 0, 0, time.UTC), time.Date(2027, 4, 10, h2+5, m2, 0, 0, time.UTC)
	}
	s, e := win(6, 10, 10, 30)
	s2, e2 := win(15, 0, 19, 0)
	air, wind, gust, th := 2.0, 3.1, 5.4, .02

	b := coldseam.Brief{
		ID:           41,
		Reach:        id,
		River:        river,
		ReachName:    reach,
		Site:         site,
		SiteName:     gauge,
		Zone:         Zone,
		Day:          Day,
		Issued:       Issued,
		GoodUntil:    e,
		DaylightFrom: time.Date(2027, 4, 10, 11, 2, 0, 0, time.UTC),
		DaylightTo:   time.Date(2027, 4, 11, 0, 58, 0, 0, time.UTC),
		Cost:         .4,
		WindowI:      0,
		Windows: []coldseam.Window{
			{Start: s, End: e, Odds: .58, OddsOK: true, WaterC: [3]float64{tc - .1, tc + .1, tc + .5},
				FlowM3S: [3]float64{q * .95, q * .97, q},
				AirC:    &air, WindMS: &wind, GustMS: &gust, Thunder: &th, Tie: "1/4",
				Why: "first light, before the wind"},
			{Start: s2, End: e2, Odds: .47, OddsOK: true, WaterC: [3]float64{tc + .6, tc + 1, tc + 1.6},
				FlowM3S: [3]float64{q * .92, q * .95, q},
				Tie:     "1/4", Why: "warmest"},
		},
		Flow: coldseam.Fact{Now: q, NowOK: true, NowAt: Issued.Add(-20 * time.Minute),
			Window: [3]float64{q * .95, q * .97, q}, WindowOK: true,
			Class: "normal", Years: 22, Pct: .55, RisePct6h: -.01, Source: "flow/log-ar+nn"},
		Stage: coldseam.Fact{Now: 1.92, NowOK: true, NowAt: Issued.Add(-20 * time.Minute)},
		Temp: coldseam.Fact{Now: tc, NowOK: true, NowAt: Issued.Add(-20 * time.Minute),
			Window: [3]float64{tc - .1, tc + .1, tc + .5}, WindowOK: true,
			Class: coldseam.DefaultBands[coldseam.BandOf(coldseam.DefaultBands, tc)].Key, Source: "thermal/stack"},
		Rank:   coldseam.Rank{Thirds: [2]float64{.36, .44}, Past: 240, Base: .40},
		Sure:   "low",
		SureBy: coldseam.Reason{Code: "sure_rule_of_thumb", Values: map[string]float64{"log_mornings": 0}},
		Inputs: []coldseam.Input{
			{Key: "discharge", Safety: true, At: Issued.Add(-20 * time.Minute), Age: 20 * time.Minute,
				Limit: 6 * time.Hour, State: "good"},
			{Key: "water_temp", At: Issued.Add(-20 * time.Minute), Age: 20 * time.Minute, Limit: 6 * time.Hour,
				State: "good", Note: coldseam.Notes{{Code: "newer_failed", Values: map[string]float64{"newer": 1}}}},
			{Key: "weather", Safety: true, At: Issued.Add(-285 * time.Minute), Age: 285 * time.Minute,
				Limit: 12 * time.Hour, State: "good"},
			{Key: "alerts", Safety: true, At: Issued.Add(-4 * time.Minute), Age: 4 * time.Minute, Limit: time.Hour,
				State: "none"},
			{Key: "ice", Safety: true, At: Issued.Add(-20 * time.Minute), Age: 20 * time.Minute, Limit: 24 * time.Hour,
				State: "open"},
			{Key: "season_rule", Safety: true, At: Issued.Add(-48 * time.Hour), Age: 48 * time.Hour,
				Limit: 365 * 24 * time.Hour, State: "good",
				Note: coldseam.Notes{{Code: "season_open", At: Issued.Add(-48 * time.Hour)}}},
		},
		Rules: []coldseam.Rule{{Kind: coldseam.RuleSeason, Species: "walleye",
			Text: "walleye open, 18 in and over, 3 a day", Link: "https://agency.example/rules",
			CheckedOn: coldseam.Date{Year: 2027, Month: 4, Day: 8}, CheckedBy: "secretary"}},
		LifeLine:   "Water 39F: wear the life jacket.",
		LifeLineSI: "Water 3.9C: wear the life jacket.",
		Sources: []coldseam.Attribution{
			{Provider: "met", Name: "Meridian water survey", Licence: "open",
				Text: "Stage, flow and temperature by the Meridian water survey; provisional.",
				Link: "https://survey.example/"},
			{Provider: "grid", Name: "Regional weather service", Licence: "open",
				Text: "Weather and warnings by the regional weather service.", Link: "https://weather.example/"},
		},
		Chart: chartData(q, tc, s, e),
	}

	for d := 1; d <= 6; d++ {
		p := []float64{.55, .31, .28, .36, .44, .49}[d-1]
		b.Next = append(b.Next, coldseam.DayOdds{
			Day:     Day.Add(d),
			Odds:    p,
			OddsOK:  true,
			PWave:   []float64{.6, .3, .2, .2, .3, .4}[d-1],
			WaveOK:  true,
			FlowM3S: [3]float64{q * .85, q * .94, q * 1.1},
			Verdict: []coldseam.Verdict{coldseam.Go, coldseam.Stay, coldseam.Stay, coldseam.TossUp, coldseam.TossUp,
				coldseam.TossUp}[d-1],
			Note: []string{"", "colder", "", "", "", ""}[d-1],
		})
	}

	set := func(at time.Time) [3]float64 { // the calendar and the dots agree with the fan
		for i := 1; i < len(b.Chart.Valid); i++ {
			if at.Before(b.Chart.Valid[i]) {
				f, g, w := b.Chart.TempFan[i-1], b.Chart.TempFan[i],
					float64(at.Sub(b.Chart.Valid[i-1]))/float64(3*time.Hour)
				mix := func(k int) float64 { return f[k] + w*(g[k]-f[k]) }
				return [3]float64{mix(0), mix(2), mix(4)}
			}
		}
		return [3]float64{}
	}

	mid := s.Add(e.Sub(s) / 2)
	b.Windows[0].WaterC = set(mid)
	b.Windows[1].WaterC = set(s2.Add(e2.Sub(s2) / 2))
	b.Temp.Window = b.Windows[0].WaterC
	for i := range b.Next {
		w := set(mid.AddDate(0, 0, i+1))
		b.Next[i].WaterC, b.Next[i].Bands = w, bandShare(w[1], (w[2]-w[0])/2.563)
	}

	return b
}

// bandShare is the normal share of each default band.
func bandShare(mean, sd float64) []float64 {
	cdf := func(x float64) float64 { return .5 * math.Erfc(-(x-mean)/(sd*math.Sqrt2)) }
	var out []float64
	last := 0.
	for _, e := range append(coldseam.BandEdgesC(coldseam.DefaultBands), math.Inf(1)) {
		c := cdf(e)
		out, last = append(out, c-last), c
	}
	return out
}

func chartData(q, tc float64, s, e time.Time) coldseam.ChartData {
	var c coldseam.ChartData
	noise := func(i int, k float64) float64 { return math.Sin(float64(i)*k) + .6*math.Sin(float64(i)*k*2.7+1) }
	diel := func(t time.Time) float64 {
		return math.Sin(2 * math.Pi * (float64(t.Hour()*60+t.Minute())/1440 - .62))
	}
	for i := 0; i <= 48; i++ {
		t := Issued.Add(-20*time.Minute - time.Duration(48-i)*time.Hour)
		c.FlowObs = append(c.FlowObs, coldseam.Point{At: t, V: q * (1 + .0018*float64(48-i) + .004*noise(i, .8))})
		c.TempObs = append(c.TempObs, coldseam.Point{At: t, V: tc + .9*(diel(t)-diel(Issued)) - .005*float64(48-i),
			Gap: i == 30})
	}

	c.FlowObs[48].V, c.TempObs[48].V = q, tc
	sd := []float64{-1.2816, -.6745, 0, .6745, 1.2816}
	for h := 3; h <= 168; h += 3 {
		t := Issued.Add(time.Duration(h) * time.Hour)
		x := float64(h) / 24
		var f, w [5]float64
		for k, z := range sd {
			f[k] = q * (1 - .02*x + .06*math.Exp(-(x-4.2)*(x-4.2)/.8)) * math.Exp(
				z*.035*math.Sqrt(x)*(1+.15*noise(h, .13)))
			w[k] = tc + .9*(diel(t)-diel(Issued)) + .17*x + z*.34*math.Sqrt(x)*(1+.1*noise(h, .21))
			w[k] = max(w[k], 0)
		}
		c.Valid, c.FlowFan, c.TempFan = append(c.Valid, t), append(c.FlowFan, f), append(c.TempFan, w)
	}

	for d := range 7 {
		c.Windows = append(c.Windows, [2]time.Time{s.AddDate(0, 0, d), e.AddDate(0, 0, d)})
	}
	return c
}
