package notify

import (
	"bytes"
	"net/mail"
	"time"

	"example.org/coldseam"
)

// The mornings of the tests: invented rivers in April 2027, Central time.

const zoneName = "America/Chicago"

func chicago() *time.Location {
	loc, err := time.LoadLocation(zoneName)
	if err != nil {
		panic(err)
	}
	return loc
}

// day0 is a Saturday.
var day0 = coldseam.Date{Year: 2027, Month: time.April, Day: 10}

func at(h, m int) time.Time { return time.Date(2027, 4, 10, h, m, 0, 0, chicago()) }

func keys() Tokens {
	return Tokens{
		List:     "brief",
		Current:  TokenKey{ID: 2, Secret: bytes.Repeat([]byte{0x5a}, 32)},
		Previous: TokenKey{ID: 1, Secret: bytes.Repeat([]byte{0x3c}, 32)},
	}
}

func composer() *Composer {
	return &Composer{
		Club: "Tamsen River Club", From: mail.Address{Address: "brief@club.example"}, Domain: "club.example",
		BounceDomain: "bounce.club.example", Owner: "keeper@club.example",
		Links: Links{PublicURL: "https://club.example", Tokens: keys()},
	}
}

func subscriber() coldseam.Subscriber {
	return coldseam.Subscriber{
		ID: 17, Email: "angler@home.example", Name: "Ida", State: "confirmed",
		Prefs: coldseam.Preferences{Zone: zoneName, SendAt: "04:45", WindowFrom: "06:00", Cost: .4},
	}
}

func goodInputs() []coldseam.Input {
	return []coldseam.Input{
		{
			Key:    "discharge",
			Name:   "Flow at Tamsen Bridge",
			Safety: true,
			At:     at(4, 30),
			Age:    20 * time.Minute,
			Limit:  6 * time.Hour,
			State:  "good",
			Note:   said("1 spike left out"),
		},
		{
			Key:    "stage",
			Name:   "Stage at Tamsen Bridge",
			Safety: true,
			At:     at(4, 30),
			Age:    20 * time.Minute,
			Limit:  6 * time.Hour,
			State:  "good",
		},
		{
			Key:   "water_temp",
			Name:  "Water temperature",
			At:    at(4, 15),
			Age:   35 * time.Minute,
			Limit: 120 * time.Hour,
			State: "good",
		},
		{
			Key:    "weather",
			Name:   "Weather forecast",
			Safety: true,
			At:     at(1, 0),
			Age:    230 * time.Minute,
			Limit:  12 * time.Hour,
			State:  "good",
		},
		{
			Key:    "alerts",
			Name:   "Warnings",
			Safety: true,
			At:     at(4, 46),
			Age:    4 * time.Minute,
			Limit:  time.Hour,
			State:  "none",
		},
		{
			Key:    "season_rule",
			Name:   "Season rule",
			Safety: true,
			At:     time.Date(2027, 4, 8, 12, 0, 0, 0, time.UTC),
			Age:    41 * time.Hour,
			Limit:  365 * 24 * time.Hour,
			State:  "good",
		},
	}
}

func rules() []coldseam.Rule {
	return []coldseam.Rule{{
		Kind:      coldseam.RuleSeason,
		Species:   "walleye",
		Text:      "Walleye open all year on this reach.",
		Link:      "https://rules.example/tamsen",
		CheckedOn: coldseam.Date{Year: 2027, Month: time.April, Day: 8},
		CheckedBy: "the season keeper",
	}}
}

// goBrief is the Tamsen on a good morning.
func goBrief() coldseam.Brief {
	return coldseam.Brief{
		Reach:     "tamsen-bend",
		River:     "Tamsen",
		ReachName: "Bend reach",
		Site:      "loop:T1",
		SiteName:  "Tamsen Bridge",
		Zone:      zoneName,
		Day:       day0,
		Issued:    at(4, 50),
		GoodUntil: at(10, 30),
		Verdict:   coldseam.Go,
		Odds:      .61,
		OddsOK:    true,
		Cost:      .4,
		HoldP:     .97,
		WindowI:   0,
		Surveyed:  true,
		Hazards:   []string{"low-head dam 2 miles below the launch"},
		Windows: []coldseam.Window{{Start: at(6, 10), End: at(10, 30), Odds: .61, OddsOK: true, Tie: "1/4",
			WindMS: ref(3.1), GustMS: ref(5.4), AirC: ref(-.5),
			Sky: coldseam.Sky{LaunchC: ref(-.4), EndC: ref(6.7), RainMM: ref(0), WindFromDeg: ref(200)}}},
		FirstLight:   at(5, 40),
		DaylightFrom: at(6, 8),
		CurrentDeg:   ref(190),
		Since: coldseam.Reason{Code: "since", Kind: "note", At: at(4, 50).AddDate(0, 0, -1),
			Values: map[string]float64{"flow_m3_s": coldseam.CubicMPerCFS * 2758, "water_c": coldseam.C(37.4),
				"tie_oz": .25},
			Names: map[string]string{"was": "GO", "spot": "seam"}},
		Flow: coldseam.Fact{Now: coldseam.CubicMPerCFS * 2412, NowOK: true, NowAt: at(4, 30), WindowOK: true,
			Window: [3]float64{62, 67, 71}, Class: "normal", Years: 12, Pct: .5, Trend: "easing", TrendTo: at(12, 0)},
		Temp: coldseam.Fact{Now: coldseam.C(39.2), NowOK: true, NowAt: at(4, 15), WindowOK: true,
			Window: [3]float64{coldseam.C(39), coldseam.C(40.1), coldseam.C(41)}, Class: "ease", Trend: "warming"},
		Jig: []coldseam.SpotJig{
			{SpotID: "seam", Spot: "main seam", Kind: coldseam.SpotSeam, DepthM: 5.5, MinOz: .2, TieOz: .25,
				PackOz: .375, NextOz: .375, TieHolds: .78,
				Body: "flutter body", Line: "10 lb braid",
				LineLies: coldseam.Reason{Text: "line nearly straight down"}},
			{SpotID: "hole", Spot: "bend hole", Kind: coldseam.SpotHole, DepthM: 7.3,
				Withheld: coldseam.Reason{Code: "no_float", Text: "float timing is older than the flood"}},
		},
		Run: coldseam.RunState{Species: "walleye", Active: true, Calibrated: true, PWave: .52,
			Arrived: [3]float64{.20, .35, .55},
			Spawned: [3]float64{0, .02, .06}, Stage: "moving", StageP: .68},
		How: coldseam.Advice{Line: "ease: flutter tail, lift 4-8 in, hold 3 s, hole heads",
			LineSI:    "ease: flutter tail, lift 10-20 cm, hold 3 s, hole heads",
			AdviceWay: coldseam.AdviceWay{Cadence: "lift 4-8 in, controlled drop, hold 3-5 s", Hook: "light wire"},
			CadenceSI: "lift 10-20 cm, controlled drop, hold 3-5 s", Body: "flutter",
			Leader: "10 lb fluorocarbon", LeaderSI: "4.5 kg fluorocarbon", Colour: "pale", ClaritySource: "unknown",
			Alternatives: []string{"bulky paddle tail towed slowly over the bed, one size heavier"}},
		Next: []coldseam.DayOdds{
			{Day: day0.Add(1), Odds: .58, OddsOK: true, PWave: .6, WaveOK: true, WaterC: [3]float64{4.5, 5.4, 6},
				Verdict: coldseam.Go},
			{Day: day0.Add(2), Odds: .31, OddsOK: true, WaterC: [3]float64{3, 3.6, 4}, Verdict: coldseam.Stay,
				Note: "colder"},
			{Day: day0.Add(3), Odds: .3, OddsOK: true, WaterC: [3]float64{3, 3.5, 4}, Verdict: coldseam.Stay},
		},
		Sure:       "medium",
		SureBy:     coldseam.Reason{Code: "trips_week", Values: map[string]float64{"week_trips": 2}},
		Inputs:     goodInputs(),
		Rules:      rules(),
		LifeLine:   "Water 39F: wear the life jacket.",
		LifeLineSI: "Water 4.0C: wear the life jacket.",
		Measure:    []coldseam.Reason{{Code: "float", Kind: "note", Text: "time a float at the bend hole"}},
		Sources: []coldseam.Attribution{{Provider: "loop", Name: "Loopback Agency", Licence: "public domain",
			Text: "Gauge data: Loopback Agency, provisional", Link: "https://agency.example"}},
	}
}

func ref(v float64) *float64 { return &v }

func tossBrief() coldseam.Brief {
	b := goBrief()
	b.Windows[0].WindMS, b.Windows[0].GustMS, b.Since.Names["was"] = ref(8), ref(12), "STAY"
	b.Verdict, b.Odds = coldseam.TossUp, .44
	b.Cautions = []coldseam.Reason{
		{
			Code:   "wind",
			Kind:   "caution",
			Values: map[string]float64{"wind_mps": 8},
		},
		{Code: "twilight", Kind: "caution", Text: "launch before first light"},
		{Code: "ramp_ice", Kind: "caution", Text: "ice on the ramp"},
	}
	b.Reasons = []coldseam.Reason{{Code: "spread", Kind: "cap", Text: "the members disagree: 2 in 10 to 8 in 10"}}
	return b
}

func stayBrief() coldseam.Brief {
	b := goBrief()
	b.Reach, b.River, b.ReachName = "hallam-sandbar", "Hallam Fork", "Sandbar reach"
	b.Verdict, b.Odds = coldseam.Stay, .18
	b.Flow = coldseam.Fact{
		Now:      coldseam.CubicMPerCFS * 655,
		NowOK:    true,
		Class:    "below",
		Years:    12,
		Trend:    "falling",
		WindowOK: true,
		Window:   [3]float64{17, 18, 19},
	}
	b.Since.Names["was"] = "STAY"
	b.Since.Values["flow_m3_s"], b.Since.Values["water_c"] = coldseam.CubicMPerCFS*700, coldseam.C(37.9)
	b.Temp.Now, b.Temp.Window = coldseam.C(36.8), [3]float64{coldseam.C(36), coldseam.C(37.4), coldseam.C(38)}
	b.Jig = []coldseam.SpotJig{{Spot: "dune crests", DepthM: 3.66, TieOz: .125, PackOz: .1875, TieHolds: .8}}
	b.Run.Arrived, b.Run.Stage, b.Run.StageP, b.Run.PWave = [3]float64{.03, .08, .20}, "staging", .6, .12
	b.Next[0].Odds, b.Next[1].Odds, b.Next[2].Odds = .2, .3, .41
	b.Sure, b.SureBy.Values = "low", map[string]float64{"week_trips": 0}
	b.LifeLine = "Water 37F: wear the life jacket."
	return b
}

// said is a remark of a brief that was stored before remarks were data.
func said(text string) coldseam.Notes { return coldseam.Notes{{Text: text}} }

func stopBrief() coldseam.Brief {
	b := goBrief()
	b.Reach, b.River, b.ReachName = "brandt-lower", "Brandt", "Lower reach"
	b.Verdict, b.OddsOK, b.Odds, b.WindowI = coldseam.Stop, true, .72, 0
	sunday := time.Date(2027, 4, 11, 18, 0, 0, 0, chicago())
	b.Stops = []coldseam.Reason{
		{Code: "flood_alert", Kind: "safety", Text: "flood warning", Source: "weather service", Until: sunday},
		{
			Code:   "rise",
			Kind:   "safety",
			Text:   "rose 1.3 ft in 6 h; the limit is 1 ft",
			TextSI: "rose 0.40 m in 6 h; the limit is 0.30 m",
			Source: "club rule",
		},
	}
	b.Reasons = []coldseam.Reason{{Code: "odds", Kind: "odds", Text: "odds alone would say 7 in 10"}}
	b.Flow = coldseam.Fact{
		Now:   coldseam.CubicMPerCFS * 5200,
		NowOK: true,
		Class: "much above",
		Years: 12,
		Trend: "rising",
	}
	b.Since.Values["flow_m3_s"] = coldseam.CubicMPerCFS * 3100
	b.Chart.FlowLimitM3S = coldseam.CubicMPerCFS * 8800
	for i := range b.Inputs {
		if b.Inputs[i].Key == "alerts" {
			b.Inputs[i].State = "good"
		}
	}
	return b
}

// noCallBrief: the gauge is silent.
func noCallBrief() coldseam.Brief {
	b := goBrief()
	b.Reach, b.River, b.ReachName = "quern-weir", "Little Quern", "Weir reach"
	b.Verdict, b.OddsOK, b.WindowI, b.Windows = coldseam.NoCall, false, -1, nil
	b.Reasons = []coldseam.Reason{{Code: "discharge_stale", Kind: "missing", Values: map[string]float64{"age_h": 7,
		"limit_h": 6}}}
	b.Flow = coldseam.Fact{}
	last := time.Date(2027, 4, 9, 21, 50, 0, 0, chicago())
	for i := range b.Inputs[:2] {
		b.Inputs[i].At, b.Inputs[i].Age, b.Inputs[i].State, b.Inputs[i].Note = last, 7*time.Hour, "stale", nil
	}
	return b
}

// noWeatherBrief: the gauge reads, the weather does not.
func noWeatherBrief() coldseam.Brief {
	b := goBrief()
	b.Verdict, b.OddsOK, b.WindowI = coldseam.NoCall, false, -1
	b.Reasons = []coldseam.Reason{{Code: "weather_stale", Kind: "missing", Values: map[string]float64{"age_h": 14,
		"limit_h": 12}}}
	for i := range b.Inputs {
		if b.Inputs[i].Key == "weather" {
			b.Inputs[i].State, b.Inputs[i].Age = "stale", 14*time.Hour
		}
	}
	return b
}

func replayBrief() coldseam.Brief {
	b := noWeatherBrief()
	b.Replay = true
	b.Day = coldseam.Date{Year: 2013, Month: time.May, Day: 6}
	past := b.Day.In(chicago()).Sub(day0.In(chicago()))
	b.Issued, b.GoodUntil = b.Issued.Add(past), b.GoodUntil.Add(past)
	b.Inputs = append([]coldseam.Input(nil), b.Inputs...)
	for i := range b.Inputs {
		b.Inputs[i].At = b.Inputs[i].At.Add(past)
	}
	b.Reasons = []coldseam.Reason{{Code: "replay_weather", Kind: "missing",
		Text: "warnings and weather of that morning were not kept"}}
	b.ReplayOdds.Text = "odds alone would have said 6 in 10, GO"
	return b
}

func letterOf(kind coldseam.MailKind, c Content) coldseam.OutboxMessage {
	raw, err := c.Marshal()
	if err != nil {
		panic(err)
	}
	return coldseam.OutboxMessage{
		ID:         901,
		Mailing:    33,
		Subscriber: subscriber(),
		Kind:       kind,
		LocalDate:  day0,
		CreatedAt:  at(4, 45),
		Deadline:   at(6, 0),
		Domain:     "home.example",
		Payload:    raw,
	}
}

// cases are the golden mails.
func cases() map[string]coldseam.OutboxMessage {
	one := func(kind coldseam.MailKind, b ...coldseam.Brief) coldseam.OutboxMessage {
		return letterOf(kind, Content{Club: "Tamsen River Club", Briefs: b})
	}

	out := map[string]coldseam.OutboxMessage{
		"go_day":      one(coldseam.MailMorning, goBrief()),
		"toss_up":     one(coldseam.MailMorning, tossBrief()),
		"stay":        one(coldseam.MailMorning, stayBrief()),
		"stop":        one(coldseam.MailMorning, stopBrief()),
		"no_call":     one(coldseam.MailMorning, noCallBrief()),
		"no_weather":  one(coldseam.MailMorning, noWeatherBrief()),
		"replay":      one(coldseam.MailMorning, replayBrief()),
		"four_rivers": one(coldseam.MailMorning, goBrief(), stayBrief(), stopBrief(), noCallBrief()),
		"outlook": one(coldseam.MailOutlook, thursday(goBrief()), thursday(stayBrief()), thursday(stopBrief()),
			thursday(noCallBrief())),
		"confirm": letterOf(coldseam.MailConfirm, Content{Club: "Tamsen River Club"}),
		"welcome": letterOf(coldseam.MailWelcome, Content{Club: "Tamsen River Club"}),
		"pause": letterOf(coldseam.MailPause,
			Content{Club: "Tamsen River Club",
				Lines: []string{"Your rivers have been above 55F for 5 days. The morning mail rests until autumn."}}),
		"silent": letterOf(coldseam.MailSilent,
			Content{Club: "Tamsen River Club",
				Zone: zoneName, Subject: "Gauge silent: Little Quern, Weir reach",
				Lines: []string{"Little Quern, Weir reach: gauge silent for more than 6 h; newest row Fri 9 Apr 21:50"}}),
		"alarm": letterOf(coldseam.MailAlarm,
			Content{Club: "Tamsen River Club", Zone: zoneName, Lines: []string{"91 of 100 morning mails sent at the deadline",
				"9 deferred: relay 127.0.0.1 not reached"}, Link: "https://club.example/status"}),
	}

	metric := one(coldseam.MailMorning, goBrief())
	metric.Subscriber.Prefs.Units = "metric"
	out["go_metric"] = metric
	corr := letterOf(coldseam.MailCorrection, Content{
		Club:   "Tamsen River Club",
		Was:    coldseam.Go,
		WasAt:  at(4, 50),
		Briefs: []coldseam.Brief{corrected()},
	})
	corr.Reach, corr.InReplyTo = "tamsen-bend", "20270410.17.33@club.example"
	out["correction"] = corr
	out["flip"] = letterOf(coldseam.MailFlip, Content{
		Club:   "Tamsen River Club",
		Was:    coldseam.Stay,
		WasAt:  at(4, 50),
		Briefs: []coldseam.Brief{goBrief()},
	})

	for _, k := range []string{"silent", "alarm"} {
		l := out[k]
		l.Subscriber = coldseam.Subscriber{Email: "keeper@club.example"}
		out[k] = l
	}

	return out
}

func corrected() coldseam.Brief {
	b := stopBrief()
	b.Reach, b.River, b.ReachName = "tamsen-bend", "Tamsen", "Bend reach"
	b.Issued = at(7, 12)
	return b
}

// thursday moves a brief to the Thursday before day0, with an outlook that
// reaches the Sunday.
func thursday(b coldseam.Brief) coldseam.Brief {
	b.Day = day0.Add(-2)
	b.Issued, b.GoodUntil = b.Issued.Add(-48*time.Hour), b.GoodUntil.Add(-48*time.Hour)
	next := append([]coldseam.DayOdds(nil), b.Next...)
	for i := range next {
		next[i].Day = b.Day.Add(i + 1)
	}
	b.Next = next
	return b
}
