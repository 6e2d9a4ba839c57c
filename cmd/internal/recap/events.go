package recap

import (
	"context"
	"fmt"
	"math"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/score"
)

// issuedEvents are the probabilities of one kind that were issued, with what
// came.
type issuedEvents struct {
	What  string
	Pairs []score.Pair
}

// words are the line of the scorecard: how often it came, what was said on
// average, and the Brier score beside that of always saying the usual share.
func (e issuedEvents) words() string {
	if len(e.Pairs) == 0 {
		return ""
	}
	said, came := 0.0, 0.0
	for _, p := range e.Pairs {
		said += p.P
		if p.Hit {
			came++
		}
	}
	n := float64(len(e.Pairs))
	return fmt.Sprintf("%s: of %d forecasts %.0f came true, %.1f were expected; Brier %.3f, the usual share %.3f",
		e.What, len(e.Pairs), came, said, score.Brier(e.Pairs), came/n*(1-came/n))
}

// issuedCrossings scores "crossed and stays within so many days" on every issue
// date on which the water was not yet past the edge, the first issue of a day
// counting. A path that was not measured to its end resolves nothing.
func (bk *Season) issuedCrossings(ctx context.Context, r coldseam.Reach, from coldseam.Date) ([]issuedEvents, error) {
	loc := env.Zone(r.Zone)
	list, err := bk.DB.CrossingsIssued(ctx, r.Site, from.In(loc), bk.Now())
	if err != nil || len(list) == 0 {
		return nil, err
	}
	days, err := bk.DB.DailyFrame(ctx, r.Site, r.TempSite, "", bk.Now(), r.Zone)
	if err != nil {
		return nil, nil // nothing to compare with yet
	}

	horizons := []int{3, 7, 10}
	out := make([]issuedEvents, len(horizons))
	for k, h := range horizons {
		out[k].What = fmt.Sprintf("band edge crossed and held within %d days", h)
	}
	type once struct {
		day  coldseam.Date
		edge float64
	}
	seen := map[once]bool{}

	for _, x := range list {
		c := x.Crossing
		last := coldseam.DateOf(x.Issued.In(loc)).Add(-1)
		if k := (once{last, c.EdgeC}); seen[k] || c.Confirmed || !c.AtEdge.IsZero() {
			continue
		} else {
			seen[k] = true
		}

		for k, p := range []float64{c.Within3, c.Within7, c.Within10} {
			if hit, ok := crossedWithin(days, last, c.EdgeC, c.Up, horizons[k]); ok {
				out[k].Pairs = append(out[k].Pairs, score.Pair{P: p, Hit: hit})
			}
		}
	}

	return out, nil
}

// crossedWithin reports whether a run of days past the edge began within h days
// after last; ok is false while that cannot be known.
func crossedWithin(days coldseam.Days, last coldseam.Date, edge float64, up bool, h int) (hit, ok bool) {
	var path []float64
	for k := 1; k < h+ensemble.RunDays; k++ {
		v := coldseam.At(days.WaterC, days.Index(last.Add(k)))
		if math.IsNaN(v) {
			return false, false
		}
		path = append(path, v)
	}
	d := ensemble.Passed(path, edge, up, 0)
	return d >= 0 && d <= h, true
}

// issuedRises scores the odds of a steep rise and of water over the club's limit
// by the readings that came: the first issue of each morning.
func (bk *Season) issuedRises(ctx context.Context, r coldseam.Reach, from, to coldseam.Date) ([]issuedEvents, error) {
	rise, over := issuedEvents{What: "flow rising over the limit in 6 h"},
		issuedEvents{What: "flow over the club limit"}

	for d := from; !to.Before(d); d = d.Add(1) {
		issues, err := bk.DB.BriefIssues(ctx, r.ID, d)
		if err != nil {
			return nil, err
		}

		for _, b := range issues {
			if b.Flow.Until.IsZero() || b.Flow.Until.After(bk.Now()) || b.Replay {
				continue
			}
			s, err := bk.DB.History(ctx, r.Site, coldseam.Discharge, coldseam.Instant, b.Issued.Add(-6*time.Hour),
				b.Flow.Until, bk.Now())
			if err != nil {
				break
			}

			top, steep, ok := highest(s.Obs, b.Issued, b.Flow.Until)
			if ok {
				rise.Pairs = append(rise.Pairs, score.Pair{P: b.Flow.RiseP, Hit: steep > b.Flow.RiseLimit})
				if r.MaxFlowM3S != nil {
					over.Pairs = append(over.Pairs, score.Pair{P: b.Flow.ExceedMax, Hit: top > *r.MaxFlowM3S})
				}
			}
			break
		}
	}

	return []issuedEvents{rise, over}, nil
}

// highest is the greatest discharge between two times and the greatest rise
// within 6 h that ends there, as a fraction; ok is false where three hours in a
// row were not read.
func highest(obs []coldseam.Observation, from, to time.Time) (top, steep float64, ok bool) {
	prev := from.Add(-6 * time.Hour)
	for i, o := range obs {
		if !o.Flag.Usable() || o.Value <= 0 {
			continue
		}
		if o.At.Sub(prev) > 3*time.Hour {
			return 0, 0, false
		}
		prev = o.At
		if o.At.Before(from) || o.At.After(to) {
			continue
		}
		top = math.Max(top, o.Value)

		for k := i - 1; k >= 0 && o.At.Sub(obs[k].At) <= 6*time.Hour; k-- {
			if obs[k].Flag.Usable() && obs[k].Value > 0 {
				steep = math.Max(steep, o.Value/obs[k].Value-1)
			}
		}
	}

	return top, steep, top > 0 && to.Sub(prev) <= 3*time.Hour
}
