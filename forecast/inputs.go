package forecast

import (
	"cmp"
	"math"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/flow"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/thermal"
	"example.org/coldseam/forecast/trust"
	"example.org/coldseam/forecast/verdict"
)

// Inputs are all the models see of one reach, fixed at one issue time. The
// caller cuts everything at Now: nothing in it was known later.
type Inputs struct {
	Now   time.Time
	Day   coldseam.Date // the local civil day of the morning
	Loc   *time.Location
	Reach coldseam.Reach
	Site  coldseam.Site
	Bands []coldseam.Band

	// Days holds the daily means up to the last complete civil day.
	Days coldseam.Days
	// Pool are records of the club's other rivers, for short records.
	Pool []coldseam.Days
	// Upstream are the records of upstream gauges, nearest first.
	Upstream []coldseam.Days
	// Instants of the last 60 days, ascending; rows without a value kept.
	Discharge, Stage, Water, Turbidity []coldseam.Observation

	FlowModel *flow.Model    // nil = fitted here
	TempModel *thermal.Model // nil = fitted here
	NoAir     bool           // what is fitted here meets no air forecast: see thermal.Options

	// TempSite is the gauge whose thermometer Days.WaterC and Water come from;
	// "" or the reach's own gauge = its own.
	TempSite coldseam.SiteID
	// Readings are members' temperatures at the reach, beside the thermometer's
	// at the same time.
	Readings []thermal.Reading

	// Witnesses of a gauge that stands still; they may be left out while it moves.
	RainIssues []coldseam.Forecast    // issues of rain of the last day and a half, oldest first
	Rain       []coldseam.Observation // amounts measured near the reach in the last day
	Near       []trust.Near           // gauges upstream and nearby

	// Confirmed are the admin's words on readings of the last 60 days.
	Confirmed []coldseam.Confirmation

	Weather   []coldseam.Forecast // newest issue of each parameter
	AirErrors []ensemble.AirError
	// Agency are discharge forecasts or release schedules of the gauge's agency,
	// the newest issue of each, AgencyPast earlier ones, oldest first.
	Agency, AgencyPast []coldseam.Forecast

	Official verdict.Official // the agency's stage forecast

	Alerts     []coldseam.Alert   // matched to the reach
	AlertsAt   time.Time          // last complete reading of the alert feed
	AlertGaps  []coldseam.FeedGap // of the last reading
	AlertRules []verdict.AlertRule

	Gaugings []coldseam.Gauging
	Rating   *coldseam.Rating
	RigLogs  map[string][]jig.Log    // by spot
	Timings  map[string][]jig.Timing // by spot, of members: weights alone

	Species    run.Species         // Key "" = none known
	Trips      []coldseam.Trip     // this season's log of the reach
	RunPrior   run.Prior           // of the run's shift, from past seasons
	CatchPrior []float64           // of the catchability, from past seasons
	RainTerm   *flow.RainTerm      // nil = rain is not modelled
	Advice     verdict.AdviceTable // zero = the shipped table

	Effects verdict.Effects // on the odds; nil = the shipped table
	Centre  *verdict.Centre // of the odds, from the reach's mornings of other years; nil = as shipped
	Log     []coldseam.Trip // all trips of the reach before the morning: what the odds learn from

	Recal  run.Recalibration    // of wave odds, from resolved days; zero = none
	Counts coldseam.DailyCounts // of the reach's fish counter; zero = none

	Table    verdict.Table
	Limits   jig.Limits // of the weight, the club's own; zero fields = the program's
	Cost     float64
	BoxOz    []float64
	Prefs    coldseam.Preferences // the club's default rig: body, line, metal, presentation
	Prev     *coldseam.Brief      // last word of the same morning, else of the day before
	Before   *coldseam.Brief      // as it stood a day before this one; nil = none did
	Clarity  string
	Bank     []coldseam.BankWord // what members saw today, newest first
	IceWords []ice.Word          // of admin and members, in order of time
	Sources  []coldseam.Attribution
	Members  int
	Seed     uint64
	Replayed bool // from revised data: see coldseam.Brief.Replay

	// Archived says that daily means stand for the readings of a gauge that
	// reports by the hour; AssumedWeather stands for weather that is not on
	// record. Both are for replays alone: a morning that is told never sets them.
	Archived       bool
	AssumedWeather *verdict.Weather
	NotReplayed    []string // inputs of stops that were not kept; Replayed names them
	NoChart        bool     // nobody sees the brief of this morning
}

// tempSite is the site whose water temperature is forecast and scored.
func (f *Inputs) tempSite() coldseam.SiteID {
	if f.TempSite != "" {
		return f.TempSite
	}
	return f.Site.ID
}

// confirm lets readings that the admin stands for count as unflagged, and days
// of water temperature that are doubted for their sake alone. Once or twice is
// the same.
func (f *Inputs) confirm() {
	if len(f.Confirmed) == 0 {
		return
	}
	f.Discharge = trust.Confirm(f.Discharge, coldseam.Discharge, f.Confirmed)
	f.Stage = trust.Confirm(f.Stage, coldseam.Stage, f.Confirmed)

	was := f.Water
	f.Water = trust.Confirm(was, coldseam.WaterTemp, f.Confirmed)
	said, doubted := map[coldseam.Date]bool{}, map[coldseam.Date]bool{}
	for i, o := range f.Water {
		for _, t := range []time.Time{o.At, o.At.Add(-1)} { // midnight ends one day and begins the next
			day := coldseam.DateOf(t.In(f.Loc))
			said[day] = said[day] || o.Flag != was[i].Flag
			doubted[day] = doubted[day] || o.Flag.Usable() && !trust.Unflagged(o.Flag)
		}
	}

	f.Days.WaterDoubt = slices.Clone(f.Days.WaterDoubt)
	for i := range f.Days.WaterDoubt {
		if day := f.Days.Day(i); said[day] && !doubted[day] {
			f.Days.WaterDoubt[i] = false
		}
	}
}

// lead is the index into member paths that stands for d: 0 is the first day
// after the last complete one.
func (f *Inputs) lead(d coldseam.Date) int { return d.Sub(f.lastDay()) - 1 }

// possible takes out what no river has, of the reach and of the records that it
// borrows from others: one such value would carry into every member, and from
// one river into the models of the next.
func (f *Inputs) possible() {
	f.Days = possibleDays(f.Days)
	for _, records := range []*[]coldseam.Days{&f.Pool, &f.Upstream} {
		*records = slices.Clone(*records)
		for i := range *records {
			(*records)[i] = possibleDays((*records)[i])
		}
	}

	for _, s := range []struct {
		obs   *[]coldseam.Observation
		param coldseam.Parameter
	}{
		{&f.Discharge, coldseam.Discharge}, {&f.Stage, coldseam.Stage},
		{&f.Water, coldseam.WaterTemp}, {&f.Turbidity, coldseam.Turbidity},
	} {
		impossible := func(o coldseam.Observation) bool { return o.Flag.Usable() && !s.param.Plausible(o.Value) }
		if !slices.ContainsFunc(*s.obs, impossible) {
			continue
		}
		*s.obs = slices.Clone(*s.obs)
		for i := range *s.obs {
			if o := &(*s.obs)[i]; impossible(*o) {
				o.Flag |= coldseam.QCFail | coldseam.QCRange
			}
		}
	}
}

func possibleDays(d coldseam.Days) coldseam.Days {
	for _, s := range []struct {
		values *[]float64
		param  coldseam.Parameter
	}{{&d.FlowM3S, coldseam.Discharge}, {&d.WaterC, coldseam.WaterTemp}, {&d.AirC, coldseam.AirTemp}} {
		impossible := func(v float64) bool { return !math.IsNaN(v) && !s.param.Plausible(v) }
		if !slices.ContainsFunc(*s.values, impossible) {
			continue
		}
		*s.values = slices.Clone(*s.values)
		for i, v := range *s.values {
			if impossible(v) {
				(*s.values)[i] = math.NaN()
			}
		}
	}
	return d
}

// lastDay is the last complete civil day before Now.
func (f *Inputs) lastDay() coldseam.Date { return coldseam.DateOf(f.Now.In(f.Loc)).Add(-1) }

// weather returns the steps of one weather parameter, nil without a forecast.
func (f *Inputs) weather(p coldseam.Parameter) *coldseam.Forecast {
	for i := range f.Weather {
		if f.Weather[i].Param == p {
			return &f.Weather[i]
		}
	}
	return nil
}

// airDaily is the air forecast as daily means from the day after the last
// complete one: one row, or one for each member of an ensemble; nil without one.
func (f *Inputs) airDaily(horizon int) [][]float64 {
	w := f.weather(coldseam.AirTemp)
	if w == nil {
		return nil
	}
	rows := w.Members
	if len(rows) == 0 {
		rows = [][]float64{w.Value}
	}
	var out [][]float64
	for _, v := range rows {
		if d := AirDays(w.At, v, f.lastDay(), horizon, f.Loc); len(d) > 0 {
			out = append(out, d)
		}
	}
	return out
}

// Hours of a day that a forecast must cover to make its mean. The first day may
// be younger, as its observed hours are in no forecast.
const (
	airHours      = 18.
	airFirstHours = 8.
)

// AirDays are the daily means of an air temperature forecast by civil day after
// last; they end at the first day that is not covered. A first day of which the
// morning is missing is read by the hours of the day after it, which are warm
// and cold alike: an afternoon is no mean.
func AirDays(at []time.Time, value []float64, last coldseam.Date, horizon int, loc *time.Location) []float64 {
	spans := coldseam.Forecast{At: at}.Spans()
	sum, n := make([]float64, horizon), make([]float64, horizon)
	var byHour [2][24][2]float64 // of the first two days: sum and hours

	for i, t := range at {
		mid := t.Add(-time.Minute).In(loc)
		k := coldseam.DateOf(mid).Sub(last) - 1
		if k < 0 || k >= horizon || math.IsNaN(value[i]) {
			continue
		}
		h := min(spans[i][1].Sub(spans[i][0]).Hours(), 24)
		if i > 0 && i+1 == len(at) {
			h = min(h, t.Sub(at[i-1]).Hours()) // the last step is not bridged
		}
		sum[k] += value[i] * h
		n[k] += h

		if k < 2 {
			x := &byHour[k][mid.Hour()]
			x[0], x[1] = x[0]+value[i]*h, x[1]+h
		}
	}

	var out []float64
	for k := range sum {
		if n[k] < airHours && !(k == 0 && n[k] >= airFirstHours) {
			break
		}
		out = append(out, sum[k]/n[k])
	}

	if len(out) > 1 && n[0] < 23 {
		s, c := 0.0, 0.0
		for h := range 24 {
			if byHour[0][h][1] > 0 && byHour[1][h][1] > 0 {
				s, c = s+byHour[1][h][0]/byHour[1][h][1]*byHour[0][h][1], c+byHour[0][h][1]
			}
		}
		if c >= .9*n[0] {
			out[0] += out[1] - s/c
		}
	}

	return out
}

// WeatherSteps joins the weather parameters into the steps the decision reads, each as
// long as it stands for. What has ended is no part of the weather; the oldest
// other part decides its age. Visibility and the direction of the wind past that age
// are not known.
func (f *Inputs) WeatherSteps() verdict.Weather {
	if f.AssumedWeather != nil {
		return *f.AssumedWeather
	}
	w := verdict.Weather{RainMM: f.rain24()}
	at := map[[2]time.Time]*verdict.Hour{}

	for i := range f.Weather {
		fc := &f.Weather[i]
		spans := fc.Spans()
		if n := len(spans); n == 0 || !spans[n-1][1].After(f.Now) {
			continue
		}
		told := fc.Param == coldseam.Visibility || fc.Param == coldseam.WindFrom // and no stop rests on it
		switch {
		case told && f.Now.Sub(fc.Issued) > hoursOf(f.Table.WeatherAgeH):
			continue
		case !told && (w.Issued.IsZero() || fc.Issued.Before(w.Issued)):
			w.Issued = fc.Issued
		}

		for k, span := range spans {
			h := at[span]
			if h == nil {
				h = &verdict.Hour{From: span[0], To: span[1]}
				at[span] = h
			}

			v := fc.Value[k]
			switch fc.Param {
			case coldseam.AirTemp:
				h.AirC = &v
			case coldseam.Wind:
				h.WindMS = &v
			case coldseam.Gust:
				h.GustMS = &v
			case coldseam.WindFrom:
				h.WindFromDeg = &v
			case coldseam.ThunderProb:
				if h.Thunder == nil || v > *h.Thunder {
					h.Thunder = &v
				}
			case coldseam.Precip:
				h.PrecipMM = &v
			case coldseam.Visibility:
				h.VisibilityM = &v
			}
		}
	}

	for _, h := range at {
		w.Hours = append(w.Hours, *h)
	}
	slices.SortFunc(w.Hours, func(a, b verdict.Hour) int { return cmp.Or(a.From.Compare(b.From), a.To.Compare(b.To)) })
	return w
}

// rain24 is the forecast rain of the next 24 hours, nil without one.
func (f *Inputs) rain24() *float64 {
	p := f.weather(coldseam.Precip)
	if p == nil {
		return nil
	}
	sum := 0.0
	for i, t := range p.At {
		if t.After(f.Now) && !t.After(f.Now.Add(24*time.Hour)) && coldseam.Precip.Plausible(p.Value[i]) {
			sum += p.Value[i]
		}
	}
	return &sum
}

// rainDaily is the forecast rain by civil day, mm, from the day after the last
// complete one; nil without a forecast.
func (f *Inputs) rainDaily(horizon int) []float64 {
	p := f.weather(coldseam.Precip)
	if p == nil {
		return nil
	}
	out := make([]float64, horizon)
	for i, t := range p.At {
		if k := f.lead(coldseam.DateOf(t.Add(-time.Minute).In(f.Loc))); k >= 0 && k < horizon {
			out[k] += p.Value[i]
		}
	}
	return out
}

// Ice runs the ice latch over the winter: the state now, and that of each day,
// the one under way last.
func (f *Inputs) Ice() (ice.Status, []ice.Record) {
	f.confirm()
	m := ice.Moment{
		Now:   f.Now,
		Loc:   f.Loc,
		ColdC: coldseam.C(f.Table.IceWaterF),
		Days:  f.Days,
		Flow:  f.Discharge,
		Stage: f.Stage,
		Water: f.Water,
		Words: f.IceWords,
	}
	m.Days.Lat = f.Reach.Lat
	if f.TempSite != "" && f.TempSite != f.Reach.Site && f.TempSite != f.Reach.TempSite {
		// A neighbour that the program chose may be another river: it opens nothing.
		m.Days.WaterC, m.Days.WaterDoubt, m.Water = nil, nil, nil
	}
	for _, r := range f.Readings {
		m.Members = append(m.Members, coldseam.Observation{At: r.At, Value: r.Value})
	}
	return ice.At(m)
}

func hoursOf(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
