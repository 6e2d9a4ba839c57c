package morning

import (
	"cmp"
	"encoding/json"
	"math"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/run"
)

// shortYears is the record below which a river leans on the club's others.
const shortYears = 8

// archiveBack is how far back archived air forecasts are compared with what
// came.
const archiveBack = 240 * env.Day

// neighbours reads what other gauges lend a reach: the records of upstream
// gauges, those of the club's other rivers for a short record, and the archived
// errors of the air forecast.
func (g *gather) neighbours() {
	r := g.f.Reach
	for _, up := range r.UpstreamSites {
		d, err := g.DB.DailyFrame(g.ctx, up, "", "", g.f.Now, r.Zone, g.opts...)
		if !g.keep(err) {
			// The models know the gauges by their order: one that is silent keeps its place.
			d = coldseam.Days{First: g.lastDay(), FlowM3S: []float64{math.NaN()}}
		}
		g.f.Upstream = append(g.f.Upstream, d.Cut(g.lastDay()))
	}
	if ensemble.Span(g.f.Days.WaterC) < shortYears {
		g.pool()
	}
	g.airErrors()
}

func (g *gather) lastDay() coldseam.Date {
	return coldseam.DateOf(g.f.Now.In(g.f.Loc)).Add(-1)
}

// A short record leans on so many rivers, the nearest, and tries no more than
// so many for one with a record of its own [proposal]: a brief costs the same
// in a club of 5 reaches and of 250.
const (
	poolRivers = 4
	poolTries  = 8
)

// nearReaches are the club's reaches near this one, the nearest first: some more
// than are tried, as several stand at one gauge.
func (g *gather) nearReaches() ([]coldseam.Reach, error) {
	const most = 40
	reaches, err := g.DB.ReachesNear(g.ctx, g.f.Reach.Lat, g.f.Reach.Lon, most)
	slices.SortStableFunc(reaches, func(a, b coldseam.Reach) int {
		return cmp.Compare(apartKM(g.f.Reach, a), apartKM(g.f.Reach, b))
	})
	return reaches, err
}

func (g *gather) pool() {
	reaches, err := g.nearReaches()
	if !g.keep(err) {
		return
	}
	seen := map[coldseam.SiteID]bool{g.f.Reach.Site: true}

	for _, o := range reaches {
		if len(g.f.Pool) == poolRivers || len(seen) > poolTries {
			return
		}
		if seen[o.Site] {
			continue
		}
		seen[o.Site] = true
		air := o.AirSite
		if air == "" {
			air = o.Site
		}

		if d, err := g.DB.DailyFrame(g.ctx, o.Site, o.TempSite, air, g.f.Now, o.Zone, g.opts...); g.keep(err) &&
			ensemble.Span(d.WaterC) >= 1 {
			d.Lat = o.Lat
			g.f.Pool = append(g.f.Pool, d.Cut(g.lastDay()))
		}
	}
}

// airErrors compares the first air forecast of each past day with the daily
// means that came: forecast minus observed, by lead from the issue day on.
func (g *gather) airErrors() {
	site := g.f.Reach.WeatherSite
	if site == "" || g.f.Days.AirC == nil {
		return
	}
	issues, err := g.DB.DailyIssues(g.ctx, site, coldseam.AirTemp, g.f.Now.Add(-archiveBack), g.f.Now, g.f.Now,
		g.f.Loc.String())
	if !g.keep(err) {
		return
	}
	for _, fc := range issues {
		issued := coldseam.DateOf(fc.Issued.In(g.f.Loc))
		if e, ok := airError(fc, issued, g.f.Days, g.f.Loc); ok {
			g.f.AirErrors = append(g.f.AirErrors, e)
		}
	}
}

// airError is one archived error path; the first day that the forecast does not
// cover or that has no observed mean ends it.
func airError(fc coldseam.Forecast, issued coldseam.Date, days coldseam.Days,
	loc *time.Location) (ensemble.AirError, bool) {
	e := ensemble.AirError{Issued: issued.Add(-1)}
	for h, v := range forecast.AirDays(fc.At, fc.Value, e.Issued, ensemble.DefaultHorizon, loc) {
		obs := coldseam.At(days.AirC, days.Index(issued.Add(h)))
		if math.IsNaN(obs) {
			break
		}
		e.Err = append(e.Err, v-obs)
	}
	return e, len(e.Err) > 0
}

// memoryKind is the name under which a season's lesson is kept.
const memoryKind = "run-memory"

// carry turns the seasons that were logged into this one's prior.
func (g *gather) carry() {
	m, err := g.DB.Model(g.ctx, string(g.f.Reach.ID), memoryKind, g.f.Now)
	if !g.keep(err) {
		return
	}
	var past []run.Memory
	if !g.keep(json.Unmarshal(m.Params, &past)) {
		return
	}
	for i, x := range past {
		if x.Year == g.f.Day.Year {
			past = append(past[:i], past[i+1:]...)
			break
		}
	}
	if len(past) > 0 {
		g.f.RunPrior, g.f.CatchPrior = run.Carry(past)
	}
}
