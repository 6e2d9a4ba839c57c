package season

import (
	"fmt"
	"math"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/flowlimit"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/verdict"
)

// Air is what a replayed morning knows of the air to come.
type Air string

// The kinds of air.
const (
	AirClimatology Air = "climatology" // no forecast: the models take the usual air
	AirObserved    Air = "observed"    // as it came: an upper bound, not what was known
)

// Record is a reach with its daily means and nothing else: the source of a
// replay without a database. A mean is known from the end of its day on, as the
// gauge showed it hour by hour.
type Record struct {
	Reach   coldseam.Reach
	Bare    bool // the reach is assumed: see BareReach
	Days    coldseam.Days
	SendAt  time.Duration // of the mail after local midnight
	Loc     *time.Location
	Species run.Species
	Air     Air
	Table   verdict.Table
	Cost    float64
	BoxOz   []float64
	Members int // 0 = as in the service
	Effects verdict.Effects

	// Alone: no other source gives mornings of the same replay, so that without
	// an air forecast here its models meet none.
	Alone bool

	// LeaveOut ranks a morning among those of all other years, later ones too;
	// else among those of the years before, as the service does.
	LeaveOut bool

	centres map[int]*verdict.Centre // by the year that is judged
}

// Centre centres the odds on the years of the record before the one that is
// judged, with LeaveOut on all but that one.
func (r *Record) Centre(year int) *verdict.Centre {
	if r.centres == nil {
		r.centres = map[int]*verdict.Centre{}
	}
	if r.centres[year] == nil {
		days := r.Days
		if !r.LeaveOut {
			days = days.Cut(coldseam.Date{Year: year - 1, Month: time.December, Day: 31})
		}
		days.Lat = r.Reach.Lat
		c := CentreOf(days, r.Reach, r.Species, r.Effects, year)
		r.centres[year] = &c
	}
	return r.centres[year]
}

// What is assumed of a reach that nobody has described [proposal].
const (
	assumedDepthM   = 2.5 // of its one deep hole at the usual flow
	assumedSpeedMS  = .5  // of the water over it
	assumedResident = .15
	// readingAgeH is the greatest age that a mean of yesterday has at the mail:
	// it stands for the newest reading of a gauge that reports by the hour.
	readingAgeH = 5
	horizonDays = 10
)

// BareReach is a reach at a place of which only the gauge is known: one deep hole,
// hazards surveyed, no rule. Its flow limit is proposed each morning from the
// record up to then.
func BareReach(id string, lat, lon float64) coldseam.Reach {
	depth, speed := assumedDepthM, assumedSpeedMS
	return coldseam.Reach{
		ID: coldseam.ReachID(id), Site: coldseam.SiteID(id), River: id, Name: "gauge",
		Zone: "UTC", Lat: lat, Lon: lon,
		HazardsSurveyed: true, Species: []string{"walleye"}, ResidentShare: assumedResident,
		Spots: []coldseam.Spot{{
			ID: "hole", Name: "hole", Kind: coldseam.SpotHole, Class: "bend_hole_deep",
			DepthRefM: &depth, FloatMS: &speed, FloatN: 5,
		}},
	}
}

// SolarZone is the zone of the whole hours by which the sun is early or late at
// a longitude; it keeps no summer time.
func SolarZone(lon float64) *time.Location {
	h := int(math.Round(lon / 15))
	return time.FixedZone(fmt.Sprintf("UTC%+d", h), h*3600)
}

// Assumed implements Source.
func (r *Record) Assumed() []string {
	out := []string{"daily_means", "air_" + string(r.Air), "weather_calm", "alerts_none", "rule_of_today"}
	if r.Reach.MaxFlowM3S == nil {
		out = append(out, "limit_proposed")
	}
	if r.Bare {
		out = append(out, "reach_bare")
	} else if slices.ContainsFunc(r.Reach.Spots, func(s coldseam.Spot) bool { return s.DepthRefM != nil && s.FlowRef == nil }) {
		out = append(out, "sounded_usual_flow")
	}
	if r.LeaveOut {
		out = append(out, "thirds_other_years")
	}
	if !r.gauged() {
		out = append(out, NoGauge)
	}
	return out
}

// gauged reports whether the record has any discharge. Without it there is no
// gauge to decide by, and a thermometer alone is given to no morning.
func (r *Record) gauged() bool {
	return slices.ContainsFunc(r.Days.FlowM3S, func(q float64) bool { return !math.IsNaN(q) })
}

// Morning implements Source. Of weather, warnings and the rules of the time
// nothing is known.
func (r *Record) Morning(day coldseam.Date) (forecast.Inputs, []string, error) {
	now := day.At(r.SendAt, r.Loc)
	past := r.Days.Cut(day.Add(-1))
	if !r.gauged() {
		past = coldseam.Days{First: r.Days.First}
	}
	past.Lat = r.Reach.Lat
	f := forecast.Inputs{
		Now: now, Day: day, Loc: r.Loc, Reach: r.Reach, TempSite: r.Reach.TempSite,
		Site: coldseam.Site{ID: r.Reach.Site, Zone: r.Reach.Zone, Lat: r.Reach.Lat, Lon: r.Reach.Lon, DailyOnly: true},
		Days: past, Archived: true,
		Species: r.Species, Table: r.Table, Cost: r.Cost, BoxOz: r.BoxOz,
		Members: r.Members, Seed: Seed(day), NoAir: r.Alone && r.Air == AirClimatology,
		Effects: r.Effects, Centre: r.Centre(day.Year),
	}

	stamp := max(r.SendAt-readingAgeH*time.Hour, 0)
	f.Discharge = readings(past, past.FlowM3S, day, stamp, r.Loc)
	f.Water = readings(past, past.WaterC, day, stamp, r.Loc)
	if r.Air == AirObserved {
		f.Weather = r.airToCome(day, now)
	}
	notReplayed := Assume(&f)
	return f, notReplayed, nil
}

// Assume puts into a morning what is assumed of weather, warnings, the rules of
// the time and a flow limit that nobody has set, and names the inputs of stops
// that therefore are not replayed. Daily means have no stage: with them the flood
// stage is not replayed either.
func Assume(f *forecast.Inputs) (notReplayed []string) {
	f.AssumedWeather = calm(f.Now)
	f.AlertsAt, f.Alerts, f.AlertGaps = f.Now, nil, nil
	stage := !f.Archived || len(f.Stage) > 0
	f.Reach = assumedReach(f.Reach, f.Days, f.Day, stage)
	f.NotReplayed = []string{"weather", "alerts", "season_rule"}
	if !stage && f.Reach.FloodStageM != nil {
		f.Reach.FloodStageM, f.NotReplayed = nil, append(f.NotReplayed, "stage")
	}
	return f.NotReplayed
}

// Seed gives every morning its own stream, the same for all reaches, so that
// rivers of a club are compared on common members.
func Seed(d coldseam.Date) uint64 { return uint64(20240501) + uint64(d.UTC().Unix()/86400) }

// assumedReach is the reach of a morning: the rule of today taken as that of the
// time, where nobody has set a limit the smallest that the record proposes, and
// depths whose flow or stage of the day is not known, or cannot be set beside one of
// the morning, as sounded at the usual flow.
func assumedReach(out coldseam.Reach, past coldseam.Days, day coldseam.Date, stage bool) coldseam.Reach {
	out.Rules = slices.Clone(out.Rules)
	for i := range out.Rules {
		out.Rules[i].CheckedOn = day
	}
	if !slices.ContainsFunc(out.Rules, func(x coldseam.Rule) bool { return x.Kind == coldseam.RuleSeason }) {
		out.Rules = append(out.Rules, coldseam.Rule{Kind: coldseam.RuleSeason, CheckedOn: day})
	}

	if out.MaxFlowM3S == nil {
		if c := flowlimit.Propose(flowlimit.Input{Days: past, ActionStageM: out.ActionStage,
			FloodStageM: out.FloodStageM}); len(c) > 0 {
			out.MaxFlowM3S, out.MaxFlowWhy = &c[0].FlowM3S, string(c[0].Source)
		}
	}

	usual := verdict.SeasonFlowOf(past).MedianM3S
	out.Spots = slices.Clone(out.Spots)
	for i := range out.Spots {
		s := &out.Spots[i]
		if math.IsNaN(usual) {
			break
		}
		if s.DepthRefM != nil && s.FlowRef == nil && (s.StageRefM == nil || !stage) {
			s.FlowRef, s.StageRefM, s.Sounded = &usual, nil, day.Add(-1)
		}
		if s.FloatMS != nil && s.FloatFlow == nil {
			s.FloatFlow, s.FloatOn = &usual, day.Add(-1)
		}
	}
	return out
}

// readingDays is how far back readings go into a morning.
const readingDays = 60

// readings are the daily means before day, each stamped at the end of its day
// or, with a late mail, so that the newest is young enough to stand for a reading.
func readings(d coldseam.Days, x []float64, day coldseam.Date, stamp time.Duration,
	loc *time.Location) []coldseam.Observation {
	var out []coldseam.Observation
	for i := max(d.Index(day)-readingDays, 0); i < len(x); i++ {
		at := d.Day(i).Add(1).At(stamp, loc)
		o := coldseam.Observation{At: at, KnownAt: at, Value: x[i]}
		if math.IsNaN(x[i]) {
			continue
		}
		if i < len(d.IceMark) && d.IceMark[i] {
			o.Flag |= coldseam.Ice
		}
		out = append(out, o)
	}
	return out
}

// calm is weather that stops nothing and that no air of the models comes from.
func calm(now time.Time) *verdict.Weather {
	air, still, far := 10., 0., 1e4
	w := verdict.Weather{Issued: now, RainMM: &still}
	for h := range 3 * 24 {
		from := now.Truncate(time.Hour).Add(time.Duration(h-1) * time.Hour)
		w.Hours = append(w.Hours, verdict.Hour{From: from, To: from.Add(time.Hour),
			AirC: &air, WindMS: &still, GustMS: &still, Thunder: &still, PrecipMM: &still, VisibilityM: &far})
	}
	return &w
}

// airToCome is the air of the days from day on as it was measured.
func (r *Record) airToCome(day coldseam.Date, now time.Time) []coldseam.Forecast {
	fc := coldseam.Forecast{Site: r.Reach.Site, Param: coldseam.AirTemp, Issued: now, KnownAt: now}
	for n := range horizonDays {
		v := coldseam.At(r.Days.AirC, r.Days.Index(day.Add(n)))
		if math.IsNaN(v) {
			break
		}
		for h := 1; h <= 24; h++ {
			fc.At = append(fc.At, day.Add(n).At(0, r.Loc).Add(time.Duration(h)*time.Hour))
			fc.Value = append(fc.Value, v)
		}
	}
	if len(fc.At) == 0 {
		return nil
	}
	return []coldseam.Forecast{fc}
}
