package morning

import (
	"context"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/flow"
)

// rainKind is the name under which a gauge's response to forecast rain is kept.
const rainKind = "rain"

// rainBack is how far back archived rain forecasts are compared with the river.
const rainBack = 3 * 365 * env.Day

// fitRain learns how the river answers forecast rain from the archived forecasts
// of its weather point, and stores it once enough storms are on file. Until then
// there is none, and the brief says that rain is not modelled.
func (mk *Maker) fitRain(ctx context.Context, r coldseam.Reach, f forecast.Inputs) error {
	if r.WeatherSite == "" {
		return nil
	}
	issues, err := mk.DB.DailyIssues(ctx, r.WeatherSite, coldseam.Precip, f.Now.Add(-rainBack), f.Now, f.Now,
		f.Loc.String())
	if err != nil || len(issues) == 0 {
		return err
	}

	archive := map[coldseam.Date][]float64{}
	for _, fc := range issues {
		last := coldseam.DateOf(fc.Issued.In(f.Loc)).Add(-1)
		archive[last] = rainDays(fc, last, f.Loc)
	}

	m, err := flow.Fit(f.Days, flow.Options{Seed: f.Seed, Pool: f.Pool, Upstream: f.Upstream})
	if err != nil {
		return nil // fitting said so already
	}
	term, ok := flow.FitRain(m.RainPairs(f.Days, f.Upstream, archive, f.Seed))
	if !ok {
		mk.Log.Info("rain", "site", r.Site, "n", term.N)
		return nil
	}

	return mk.saveModel(ctx, r.Site, rainKind, term, issuesFrom(issues, f.Loc), f.Days.Day(f.Days.Len()-1), 0)
}

func issuesFrom(fs []coldseam.Forecast, loc *time.Location) coldseam.Date {
	return coldseam.DateOf(fs[0].Issued.In(loc))
}

// rainDays are the sums of a rain forecast by civil day after last, mm, up to
// the last day that it covers.
func rainDays(fc coldseam.Forecast, last coldseam.Date, loc *time.Location) []float64 {
	var out []float64
	for i, t := range fc.At {
		k := coldseam.DateOf(t.Add(-time.Minute).In(loc)).Sub(last) - 1
		if k < 0 || k >= ensemble.DefaultHorizon {
			continue
		}
		for len(out) <= k {
			out = append(out, 0)
		}
		out[k] += fc.Value[i]
	}
	return out
}
