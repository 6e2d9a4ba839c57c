package morning

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/flow"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/season"
	"example.org/coldseam/forecast/thermal"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/capalert"
	"example.org/coldseam/store"
)

// HistoryBack is how far back short-interval values go into a brief.
const HistoryBack = 60 * env.Day

// RefitAfter is the age at which models are fitted anew.
const RefitAfter = 7 * env.Day

// Inputs gathers what was known of a reach at asOf. Past mornings that
// coldseam did not live through are read with an assumed publication lag;
// replay says so.
func (mk *Maker) Inputs(ctx context.Context, r coldseam.Reach, morning coldseam.Date, asOf time.Time,
	replay bool) (forecast.Inputs, error) {
	loc, err := time.LoadLocation(r.Zone)
	if err != nil {
		return forecast.Inputs{}, fmt.Errorf("reach %s: zone %q: %w", r.ID, r.Zone, coldseam.ErrInvalid)
	}
	site, err := mk.DB.Site(ctx, r.Site)
	if err != nil {
		return forecast.Inputs{}, err
	}

	f := forecast.Inputs{
		Now:        asOf,
		Day:        morning,
		Loc:        loc,
		Reach:      r,
		Site:       site,
		Bands:      coldseam.DefaultBands,
		Cost:       mk.Config.Odds.Cost,
		Table:      mk.Table,
		Sources:    mk.Config.Attributions(r),
		Seed:       season.Seed(morning),
		Replayed:   replay,
		Limits:     mk.Config.Weight.Limits(),
		AlertRules: mk.alertRules,
		TempSite:   r.TempSite,
		Effects:    mk.effects,
	}
	g := gather{Maker: mk, ctx: ctx, f: &f, opts: lagOf(replay)}
	g.daily()
	g.thermometer()
	g.instants()
	g.weather()
	g.agency()
	g.official()

	g.alerts()
	g.station()
	g.neighbours()
	g.witnesses()
	g.models()
	g.log()
	g.centre()
	g.ice()
	g.bank()
	g.timings()
	g.recalibration()
	g.counts()
	return f, g.err()
}

// lagOf is the assumed publication lag of imported history: an hour for
// instant values, a day for daily ones [proposal].
func lagOf(replay bool) []store.HistoryOption {
	if !replay {
		return nil
	}
	return []store.HistoryOption{store.AssumeLag(time.Hour, 24*time.Hour)}
}

// gather reads one part after the other; what is not there is not an error,
// the decision says what it means.
type gather struct {
	*Maker
	ctx  context.Context
	f    *forecast.Inputs
	opts []store.HistoryOption
	errs []error
}

func (g *gather) err() error { return errors.Join(g.errs...) }

// keep notes an error unless it only says that there is nothing.
func (g *gather) keep(err error) bool {
	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		g.errs = append(g.errs, err)
	}
	return err == nil
}

func (g *gather) daily() {
	r := g.f.Reach
	air := r.AirSite
	if air == "" {
		air = r.Site
	}
	d, err := g.DB.DailyFrame(g.ctx, r.Site, g.f.TempSite, air, g.f.Now, r.Zone, g.opts...)
	if g.keep(err) {
		g.f.Days = d.Cut(g.lastDay())
	}
}

func (g *gather) instants() {
	r := g.f.Reach
	temp := g.f.TempSite
	if temp == "" {
		temp = r.Site
	}

	for _, w := range []struct {
		site  coldseam.SiteID
		param coldseam.Parameter
		dst   *[]coldseam.Observation
	}{{r.Site, coldseam.Discharge, &g.f.Discharge}, {r.Site, coldseam.Stage, &g.f.Stage},
		{temp, coldseam.WaterTemp, &g.f.Water}, {r.Site, coldseam.Turbidity, &g.f.Turbidity}} {
		s, err := g.DB.History(g.ctx, w.site, w.param, coldseam.Instant, g.f.Now.Add(-HistoryBack), g.f.Now, g.f.Now,
			g.opts...)
		if errors.Is(err, coldseam.ErrNotFound) {
			// A gauge that reports once a day: its means stand in, and it can never be GO.
			s, err = g.DB.History(g.ctx, w.site, w.param, coldseam.Mean, g.f.Now.Add(-HistoryBack), g.f.Now, g.f.Now,
				g.opts...)
			if err == nil && w.param == coldseam.Discharge {
				g.f.Site.DailyOnly = true
			}
		}

		if g.keep(err) {
			*w.dst = s.Obs
		}
		if w.param != coldseam.Turbidity {
			g.f.Confirmed = append(g.f.Confirmed, g.confirmed(w.site, w.param)...)
		}
	}
}

// counts reads the fish counter of the reach: daily sums.
func (g *gather) counts() {
	if g.f.Reach.CountSite == "" {
		return
	}
	c, err := countsOf(g.ctx, g.DB, g.f.Reach, g.f.Now, g.opts...)
	if g.keep(err) {
		g.f.Counts = c
	}
}

// countsOf are the daily counts of a reach's counter as known at a time.
func countsOf(ctx context.Context, db *store.DB, r coldseam.Reach, now time.Time,
	opts ...store.HistoryOption) (coldseam.DailyCounts, error) {
	s, err := db.History(ctx, r.CountSite, coldseam.FishCount, coldseam.Sum, time.Time{}, now, now, opts...)
	if err != nil {
		return coldseam.DailyCounts{}, err
	}
	if s.Period != "P1D" {
		return coldseam.DailyCounts{}, fmt.Errorf("counts of %s: sums over %q, want P1D: %w", r.CountSite, s.Period,
			coldseam.ErrInvalid)
	}
	return coldseam.CountsOf(s, env.Zone(r.Zone)), nil
}

func (g *gather) weather() {
	site := g.f.Reach.WeatherSite
	if site == "" {
		return
	}
	fresh := g.f.Now.Add(-time.Duration(g.Table.WeatherAgeH * float64(time.Hour)))

	for _, p := range []coldseam.Parameter{coldseam.AirTemp, coldseam.Wind, coldseam.Gust, coldseam.WindFrom,
		coldseam.Precip, coldseam.ThunderProb, coldseam.Visibility} {
		fcs, err := g.DB.Forecasts(g.ctx, site, p, g.f.Now)
		if !g.keep(err) {
			continue
		}
		slices.SortStableFunc(fcs, func(a, b coldseam.Forecast) int { return b.Issued.Compare(a.Issued) })
		for i, fc := range fcs {
			// Thunder that is also told for longer periods is not lost.
			if i == 0 || p == coldseam.ThunderProb && fc.Issued.After(fresh) {
				g.f.Weather = append(g.f.Weather, fc)
			}
		}
	}
}

// foreign breaks, in the words of a warning, the marks by which the composer
// knows a value of ours that is none: a feed that happens to write one must not
// hold up a morning's mail.
var foreign = strings.NewReplacer("%!", "% !", "NaN", "nan", "<nil>", "nil", "+Inf", "inf", "-Inf", "-inf",
	"<no value>", "no value")

// alerts keeps those that are in force for the reach and says when the feed
// last answered well.
func (g *gather) alerts() {
	r := g.f.Reach
	all, err := g.DB.Alerts(g.ctx, r.AlertFeed, g.f.Now)
	if g.keep(err) {
		for _, al := range capalert.Resolve(all) {
			why, position := capalert.Place(al, r)
			if position == capalert.Elsewhere {
				continue
			}
			if position == capalert.Unknown {
				al.Unplaced = why
			}
			if !al.End.Before(coldseam.FurtherNotice) {
				al.End = time.Time{}
			}
			al.Event, al.Headline = foreign.Replace(al.Event), foreign.Replace(al.Headline)
			g.f.Alerts = append(g.f.Alerts, al)
		}
	}

	at, gaps, err := g.AlertsAt(g.ctx, r.AlertFeed)
	if g.keep(err) && !at.After(g.f.Now) {
		g.f.AlertsAt, g.f.AlertGaps = at, gaps
	}
}

// AlertsAt is when the warnings were last known to be complete: the index was
// read, and every document that it names. The good answer of one document says
// nothing of the others. gaps is what the last reading lacked.
func (mk *Maker) AlertsAt(ctx context.Context, feed string) (at time.Time, gaps []coldseam.FeedGap, err error) {
	p, err := mk.Profile(feed)
	if err != nil {
		return time.Time{}, nil, err
	}
	index, err := p.Addresses(ingest.Request{}, mk.Now())
	if err != nil { // it cannot be fetched either: no warnings, and the decision says so
		mk.Log.Warn("address of the warnings", "feed", feed, "err", err)
		return time.Time{}, nil, nil
	}

	ages, err := mk.DB.FeedAgesOf(ctx, feed, index)
	if err != nil {
		return time.Time{}, nil, err
	}
	good, lacks := map[string]time.Time{}, map[string][]coldseam.FeedGap{}
	for _, x := range ages {
		good[x.URL], lacks[x.URL] = x.LastOK, x.Gaps
	}

	for i, addr := range index {
		if t := good[addr]; i == 0 || t.Before(at) {
			at = t
		}
		gaps = append(gaps, lacks[addr]...)
	}

	return at, gaps, nil
}

func (g *gather) station() {
	gs, err := g.DB.Gaugings(g.ctx, g.f.Reach.Site)
	if g.keep(err) {
		g.f.Gaugings = slices.DeleteFunc(gs, func(x coldseam.Gauging) bool { return x.At.After(g.f.Now) })
	}
	rt, err := g.DB.Rating(g.ctx, g.f.Reach.Site, g.f.Now, g.f.Now)
	if g.keep(err) {
		g.f.Rating = &rt
	}
	g.references()
}

// references fills stage and flow of the day of a sounding or float timing
// from the stored series where the admin gave none.
func (g *gather) references() {
	spots := append([]coldseam.Spot(nil), g.f.Reach.Spots...)
	for i := range spots {
		s := &spots[i]
		if s.DepthRefM != nil && !s.Sounded.IsZero() {
			if s.StageRefM == nil {
				s.StageRefM = g.onDay(coldseam.Stage, s.Sounded)
			}
			if s.FlowRef == nil {
				s.FlowRef = g.onDay(coldseam.Discharge, s.Sounded)
			}
		}
		if s.FloatMS != nil && s.FloatFlow == nil && !s.FloatOn.IsZero() {
			s.FloatFlow = g.onDay(coldseam.Discharge, s.FloatOn)
		}
	}
	g.f.Reach.Spots = spots
}

// onDay is the mean of the usable readings by daylight of a civil day, nil
// without any; the daily mean stands in for discharge.
func (g *gather) onDay(p coldseam.Parameter, d coldseam.Date) *float64 {
	from, to := d.At(6*time.Hour, g.f.Loc), d.At(20*time.Hour, g.f.Loc)
	s, err := g.DB.History(g.ctx, g.f.Reach.Site, p, coldseam.Instant, from, to, g.f.Now, g.opts...)
	sum, n := 0.0, 0.0
	if g.keep(err) {
		for _, o := range s.Obs {
			if o.Flag.Usable() {
				sum, n = sum+o.Value, n+1
			}
		}
	}

	if n == 0 {
		if p == coldseam.Discharge {
			if q := coldseam.At(g.f.Days.FlowM3S, g.f.Days.Index(d)); !math.IsNaN(q) {
				return &q
			}
		}
		return nil
	}

	v := sum / n
	return &v
}

// models reads the fitted models, however old: a fit is a job, and a brief does
// not wait for it. Without one the morning fits and the caller stores.
func (g *gather) models() {
	var fm flow.Model
	if g.model("flow", &fm) {
		g.f.FlowModel = &fm
	}
	var tm thermal.Model
	if g.model("thermal", &tm) {
		g.f.TempModel = &tm
	}
	var rain flow.RainTerm
	if g.model(rainKind, &rain) {
		g.f.RainTerm = &rain
	}
}

func (g *gather) model(kind string, into any) bool {
	m, err := g.DB.Model(g.ctx, string(g.f.Reach.Site), kind, g.f.Now)
	if !g.keep(err) {
		return false
	}
	return g.keep(json.Unmarshal(m.Params, into))
}

func (g *gather) log() {
	if sp, err := run.FindSpecies(g.Species, First(g.f.Reach.Species)); err == nil {
		g.f.Species = g.refitted(sp)
	}
	entered := g.f.Now
	if g.f.Replayed { // an imported log was entered later as a whole
		entered = time.Time{}
	}

	if logs, err := g.DB.RigLogs(g.ctx, g.f.Reach.ID, g.f.Now, entered); g.keep(err) {
		g.f.RigLogs = RigLogs(logs)
	}
	g.carry()
	trips, err := g.DB.Trips(g.ctx, g.f.Reach.ID, g.f.Day.Add(-logBack), g.f.Day)
	if !g.keep(err) {
		return
	}

	// A replay takes the log of the days before; else what was entered by now.
	trips = slices.DeleteFunc(trips, func(t coldseam.Trip) bool {
		return g.f.Replayed && !t.Date.Before(g.f.Day) || !g.f.Replayed && t.EnteredAt.After(g.f.Now)
	})
	g.f.Trips = g.f.Trips[:0]

	for _, t := range trips {
		if t.Date.Year == g.f.Day.Year {
			g.f.Trips = append(g.f.Trips, t)
		}
		if t.Date.Before(g.f.Day) { // the day is not over
			g.f.Log = append(g.f.Log, t)
		}
	}

	g.readings(slices.DeleteFunc(trips, func(t coldseam.Trip) bool { return g.f.Day.Sub(t.Date) > readingsBack }))
}

// How far back the trip log is read, in days: for the odds as long as the club has
// fished the reach, for water temperatures over the last year.
const (
	logBack      = 40 * 366
	readingsBack = 400
)

// First is the first of a list, "" of none.
func First(s []string) string {
	if len(s) == 0 {
		return ""
	}
	return s[0]
}

// confirmed reads the admin's words on one quantity of a gauge.
func (g *gather) confirmed(site coldseam.SiteID, p coldseam.Parameter) []coldseam.Confirmation {
	all, err := g.DB.Confirmations(g.ctx, site, g.f.Now.Add(-HistoryBack), g.f.Now)
	g.keep(err)
	return slices.DeleteFunc(all, func(c coldseam.Confirmation) bool { return c.Param != p })
}

// RigLogs turns stored logs into what the weight learns from, by spot. A log
// whose rig or flow is not known is left out: it says nothing.
func RigLogs(ls []store.RigLog) map[string][]jig.Log {
	out := map[string][]jig.Log{}
	for _, l := range ls {
		rig, err := jig.ParseRig(l.Body, l.Line, "", l.Presentation)
		if err != nil || l.FlowM3S == nil || l.WeightOz <= 0 {
			continue
		}
		out[l.Spot] = append(out[l.Spot], jig.Log{
			At:       l.At,
			Oz:       l.WeightOz,
			Rig:      rig,
			Held:     l.Held,
			FlowM3S:  *l.FlowM3S,
			AngleDeg: l.AngleDeg,
		})
	}
	return out
}
