package morning

import (
	"context"
	"encoding/json"
	"errors"
	"maps"
	"math"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/thermal"
	"example.org/coldseam/store"
)

// Bounds of what members' thermometers are set beside [proposal].
const (
	readingNear  = time.Hour // between a reading and the gauge's
	readingOlder = 60        // readings from before the short-interval values at hand
	neighbourKM  = 100.      // to the gauge whose thermometer stands in
	triedTemps   = 12        // gauges looked at for it, the nearest
)

// thermometer looks for the nearest gauge of the club that measures water
// temperature where neither the reach's gauge nor the admin's choice does.
func (g *gather) thermometer() {
	r := g.f.Reach
	if g.f.TempSite != "" || measured(g.f.Days.WaterC) {
		return
	}
	reaches, err := g.nearReaches()
	if !g.keep(err) {
		return
	}
	tried := map[coldseam.SiteID]bool{r.Site: true}

	for _, o := range reaches {
		temp := o.Site
		if o.TempSite != "" {
			temp = o.TempSite
		}
		if tried[temp] || apartKM(r, o) > neighbourKM {
			continue
		}
		if len(tried) > triedTemps {
			return
		}
		tried[temp] = true

		if d, err := g.DB.DailyFrame(g.ctx, temp, "", "", g.f.Now, r.Zone, g.opts...); g.keep(err) &&
			measured(d.WaterC) {
			g.f.TempSite = temp
			g.daily()
			return
		}
	}
}

func measured(x []float64) bool {
	return slices.ContainsFunc(x, func(v float64) bool { return !math.IsNaN(v) })
}

// apartKM is the way between two reaches as the crow flies.
func apartKM(a, b coldseam.Reach) float64 {
	const kmPerDegree = 111.2
	x := (a.Lon - b.Lon) * math.Cos((a.Lat+b.Lat)/2*math.Pi/180)
	return kmPerDegree * math.Hypot(a.Lat-b.Lat, x)
}

// readings sets members' water temperatures beside the thermometer that stands
// for the reach. A reading counts from when it was entered.
func (g *gather) readings(trips []coldseam.Trip) {
	older := 0
	for i := len(trips) - 1; i >= 0; i-- { // newest first
		t := trips[i]
		if t.WaterC == nil || math.IsNaN(*t.WaterC) || t.WaterAt.IsZero() || t.WaterAt.After(g.f.Now) ||
			t.EnteredAt.After(g.f.Now) {
			continue
		}
		rd := thermal.Reading{At: t.WaterAt, Reader: t.Angler, Value: *t.WaterC, Gauge: nearest(g.f.Water, t.WaterAt)}
		if math.IsNaN(rd.Gauge) && older < readingOlder && t.WaterAt.Before(g.f.Now.Add(-HistoryBack)) {
			older++
			rd.Gauge = g.waterAt(t.WaterAt)
		}
		g.f.Readings = append(g.f.Readings, rd)
	}
	slices.Reverse(g.f.Readings)
}

// waterAt is the thermometer's value nearest to a time of the past, NaN without
// one.
func (g *gather) waterAt(at time.Time) float64 {
	site := g.f.TempSite
	if site == "" {
		site = g.f.Reach.Site
	}
	s, err := g.DB.History(g.ctx, site, coldseam.WaterTemp, coldseam.Instant, at.Add(-readingNear), at.Add(readingNear),
		g.f.Now, g.opts...)
	if !g.keep(err) {
		return math.NaN()
	}
	return nearest(s.Obs, at)
}

// nearest is the usable value nearest to a time, NaN without one within the hour.
func nearest(obs []coldseam.Observation, at time.Time) float64 {
	v, best := math.NaN(), readingNear+1
	for _, o := range obs {
		if d := o.At.Sub(at).Abs(); o.Flag.Usable() && d < best {
			v, best = o.Value, d
		}
	}
	return v
}

// agency reads the discharge forecasts of the gauge's agency and their archive.
func (g *gather) agency() {
	site := g.f.Reach.AgencySite
	if site == "" {
		site = g.f.Reach.Site
	}
	fcs, err := g.DB.Forecasts(g.ctx, site, coldseam.Discharge, g.f.Now)
	if !g.keep(err) || len(fcs) == 0 {
		return
	}
	g.f.Agency = fcs
	past, err := g.DB.ArchivedForecasts(g.ctx, site, coldseam.Discharge, g.f.Now.Add(-archiveBack), g.f.Now, g.f.Now)
	if g.keep(err) {
		g.f.AgencyPast = past
	}
}

// recalKind is the name under which the lesson of past wave odds is kept, by
// species.
const recalKind = "wave-odds"

// recalibration reads what the club's log says of past wave odds.
func (g *gather) recalibration() {
	key := g.f.Species.Key
	if key == "" {
		return
	}
	if m, err := g.DB.Model(g.ctx, key, recalKind, g.f.Now); g.keep(err) {
		g.keep(json.Unmarshal(m.Params, &g.f.Recal))
	}
}

// refitKind is the name under which a reach's row, refitted to the counts of its
// own river, is kept.
const refitKind = "run-refit"

// storedRefit is the fit of a reach's row as of a time.
func (mk *Maker) storedRefit(ctx context.Context, reach coldseam.ReachID, asOf time.Time) (r run.Refit, err error) {
	m, err := mk.DB.Model(ctx, string(reach), refitKind, asOf)
	if err != nil {
		return r, err
	}
	if err := json.Unmarshal(m.Params, &r); err != nil {
		return r, err
	}
	if r.Seasons > 0 && r.On.IsZero() { // stored before fits were dated
		r.On = coldseam.DateOf(m.MadeAt)
	}
	return r, nil
}

// refitted is the species row as the reach's counter has shown it.
func (g *gather) refitted(sp run.Species) run.Species {
	if g.f.Reach.CountSite == "" {
		return sp
	}
	if r, err := g.storedRefit(g.ctx, g.f.Reach.ID, g.f.Now); g.keep(err) {
		return r.Apply(sp)
	}
	return sp
}

// refitRun fits the run of a reach to the seasons its counter has counted. Where
// that serves the years left out no better, the row stays what it was.
func (mk *Maker) refitRun(ctx context.Context, r coldseam.Reach, now time.Time) error {
	counts, err := countsOf(ctx, mk.DB, r, now)
	if err != nil {
		return err
	}
	days, err := mk.DB.DailyFrame(ctx, r.Site, r.TempSite, r.AirSite, now, r.Zone)
	if err != nil {
		return err
	}

	sp, err := run.FindSpecies(mk.Species, First(r.Species))
	if err != nil {
		return err
	}
	fit, err := run.NewRefit(sp, days, counts, coldseam.DateOf(now).Year)
	if errors.Is(err, coldseam.ErrUnavailable) {
		fit = run.Refit{} // a row refitted before is given up
	} else if err != nil {
		return err
	}

	// A fit that says what the one before said keeps the date of that one.
	was, err := mk.storedRefit(ctx, r.ID, now)
	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		return err
	}
	if fit.On = was.On; fit == was {
		return nil
	}
	if fit.Seasons > 0 {
		fit.On = coldseam.DateOf(now.In(env.Zone(r.Zone)))
	}

	raw, err := json.Marshal(fit)
	if err != nil {
		return err
	}
	_, err = mk.DB.SaveModel(ctx, store.Model{Owner: string(r.ID), Kind: refitKind, MadeAt: now, Params: raw})
	return err
}

// Recalibrate holds the wave odds of the club's past mornings against its log,
// once a day: all reaches of the species together, as one alone has few waves.
func (mk *Maker) Recalibrate(ctx context.Context) error {
	reaches, err := mk.DB.Reaches(ctx)
	if err != nil {
		return err
	}
	now := mk.Now()
	days := map[string][]run.Resolved{}

	for _, r := range reaches {
		if r.CountSite != "" {
			if err := mk.refitRun(ctx, r, now); err != nil && !errors.Is(err, coldseam.ErrNotFound) {
				mk.Log.Warn("refit of the run", "reach", r.ID, "err", err)
			}
		}
		today := coldseam.DateOf(now.In(env.Zone(r.Zone)))

		for _, key := range r.Species {
			said, err := mk.DB.WaveOdds(ctx, r.ID, key, now)
			if err != nil {
				return err
			}

			if len(said) == 0 {
				continue
			}
			trips, err := mk.DB.Trips(ctx, r.ID, coldseam.Date{Year: 2000, Month: 1, Day: 1}, today)
			if err != nil {
				return err
			}

			for _, w := range run.LogWaves(trips, key) {
				if p, ok := said[w.Day]; ok && w.Day.Before(today) {
					days[key] = append(days[key], run.Resolved{P: p, Wave: w.Wave})
				}
			}
		}
	}

	for _, key := range slices.Sorted(maps.Keys(days)) {
		raw, err := json.Marshal(run.Recalibrate(days[key]))
		if err != nil {
			return err
		}
		if _, err := mk.DB.SaveModel(ctx, store.Model{Owner: key, Kind: recalKind, MadeAt: now,
			Params: raw}); err != nil {
			return err
		}
	}

	return nil
}
