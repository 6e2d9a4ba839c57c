package recap

import (
	"context"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/score"
)

// PrintIssued prints the scores of what was really issued.
func (bk *Season) PrintIssued(ctx context.Context, w io.Writer) error {
	reaches, err := bk.DB.Reaches(ctx)
	if err != nil {
		return err
	}
	today := coldseam.DateOf(bk.Now().UTC())

	for _, r := range reaches {
		fmt.Fprintf(w, "%s, %s\n", r.River, r.Name)
		list, err := bk.Resolve(ctx, r.ID, today.Add(-365), today)
		if err != nil {
			return err
		}
		for _, line := range scoreWords(list) {
			fmt.Fprintln(w, "  "+line)
		}

		for _, p := range []coldseam.Parameter{coldseam.WaterTemp, coldseam.Discharge} {
			sk, err := bk.IssuedSkill(ctx, r, p, today.Add(-120))
			if err != nil {
				return err
			}
			for _, x := range sk {
				fmt.Fprintf(w, "  %s, day %d: CRPS %.3f, persistence %.3f, 80 %% range held %.0f %%, %d issues\n",
					env.ParamWords[p], x.Lead, x.CRPS, x.Persistence, 100*x.Held, x.N)
			}
		}

		crossings, err := bk.issuedCrossings(ctx, r, today.Add(-120))
		if err != nil {
			return err
		}
		rises, err := bk.issuedRises(ctx, r, today.Add(-120), today)
		if err != nil {
			return err
		}

		for _, e := range append(crossings, rises...) {
			if s := e.words(); s != "" {
				fmt.Fprintln(w, "  "+s)
			}
		}
	}

	return nil
}

// scoreWords says it plainly: of the mornings that read 7 in 10, how many came
// true.
func scoreWords(list []resolved) []string {
	if len(list) == 0 {
		return []string{"no morning with odds has a logged trip yet"}
	}
	said, came := map[int]int{}, map[int]int{}
	for _, r := range list {
		k := int(math.Round(r.Odds * 10))
		said[k]++
		if r.Good {
			came[k]++
		}
	}

	var out []string
	for _, k := range slices.Sorted(maps.Keys(said)) {
		out = append(out, fmt.Sprintf("of %d mornings we said %d in 10, %d came true", said[k], k, came[k]))
	}
	return out
}

// issuedScore is the score of one lead of the issued forecasts.
type issuedScore struct {
	Lead, N           int
	CRPS, Persistence float64
	Held              float64 // share of issues whose 80 % range held what came
}

// issuedLeads are the leads that are scored in service.
var issuedLeads = []int{1, 3, 5, 7, 10}

// IssuedSkill scores the last issue of each day against the daily means that
// came. Discharge is scored in ln m3/s.
func (bk *Season) IssuedSkill(ctx context.Context, r coldseam.Reach, p coldseam.Parameter,
	from coldseam.Date) ([]issuedScore, error) {
	loc := env.Zone(r.Zone)
	site := r.Site
	if p == coldseam.WaterTemp && r.TempSite != "" {
		site = r.TempSite // what a neighbour's thermometer measures is scored there
	}
	es, err := bk.DB.Ensembles(ctx, site, p, from.In(loc), bk.Now())
	if err != nil {
		return nil, err
	}

	days, err := bk.DB.DailyFrame(ctx, r.Site, r.TempSite, r.Site, bk.Now(), r.Zone)
	if err != nil {
		return nil, nil // nothing to compare with yet
	}
	truth, ln := days.WaterC, false
	if p == coldseam.Discharge {
		truth, ln = days.FlowM3S, true
	}

	value := func(v float64) float64 {
		if ln {
			return math.Log(math.Max(v, 1e-3))
		}
		return v
	}
	last := map[coldseam.Date]coldseam.Ensemble{}
	for _, e := range es {
		last[coldseam.DateOf(e.Issued.In(loc))] = e
	}
	var out []issuedScore

	for _, h := range issuedLeads {
		s := issuedScore{Lead: h}
		for day, e := range last {
			// The first step is the day of the issue, whose last whole day is the one before.
			y, was := coldseam.At(truth, days.Index(day.Add(h-1))), coldseam.At(truth, days.Index(day.Add(-1)))
			if h > len(e.Valid) || math.IsNaN(y) || math.IsNaN(was) || day.Add(h).In(loc).After(bk.Now()) {
				continue
			}
			x := e.Step(h - 1)
			for i := range x {
				x[i] = value(x[i])
			}

			s.N++
			s.CRPS += score.FairCRPS(x, value(y))
			s.Persistence += math.Abs(value(was) - value(y))
			if v := value(y); v >= coldseam.Quantile(x, .1) && v <= coldseam.Quantile(x, .9) {
				s.Held++
			}
		}

		if s.N > 0 {
			s.CRPS, s.Persistence, s.Held = s.CRPS/float64(s.N), s.Persistence/float64(s.N), s.Held/float64(s.N)
			out = append(out, s)
		}
	}

	return out, nil
}
