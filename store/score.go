package store

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sort"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// maxLead is the last day of a forecast that is scored.
const maxLead = 10

// ScoreForecasts puts every ensemble issued since a time beside the daily
// means measured meanwhile, one row a day, and keeps rows made before. Days are
// those of the reach, as in the forecast; day 1 is that of the issue.
// A day is scored once it is over and measured in full. The values are those
// of the scoring time: agencies may still revise them. It returns the number
// of new rows. One gauge in trouble does not stop the others.
func (db *DB) ScoreForecasts(ctx context.Context, since, now time.Time) (int, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT DISTINCT e.site_id, e.param, COALESCE((
		    SELECT r.zone FROM coldseam.reach r WHERE e.site_id IN (r.site_id, r.temp_site_id) ORDER BY r.retired, r.reach_id LIMIT 1), t.zone)
		FROM coldseam.ensemble e JOIN coldseam.site t USING (site_id)
		WHERE e.issued_at >= $1 ORDER BY 1, 2`, micro(since))
	if err != nil {
		return 0, fmt.Errorf("score forecasts: %w", classify(err))
	}

	type one struct {
		Site  coldseam.SiteID
		Param coldseam.Parameter
		Zone  string
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[one])
	if err != nil {
		return 0, fmt.Errorf("score forecasts: %w", classify(err))
	}

	n := 0
	var errs []error
	for _, o := range list {
		k, err := db.scoreSite(ctx, o.Site, o.Param, o.Zone, since, now)
		if err != nil {
			errs = append(errs, fmt.Errorf("score %s/%s: %w", o.Site, o.Param, classify(err)))
		}
		n += k
	}

	return n, errors.Join(errs...)
}

func (db *DB) scoreSite(ctx context.Context, site coldseam.SiteID, param coldseam.Parameter, zone string, since,
	now time.Time) (int, error) {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		return 0, fmt.Errorf("zone %q: %w", zone, coldseam.ErrInvalid)
	}

	days, err := db.dailyMeans(ctx, site, param, now, loc, nil)
	if err != nil || len(days) == 0 {
		return 0, err
	}
	es, err := db.Ensembles(ctx, site, param, since, now)
	if err != nil {
		return 0, err
	}

	today := coldseam.DateOf(now.In(loc))
	var list []Score
	for _, e := range es {
		if len(e.Flags) > 0 && e.Flags[len(e.Flags)-1] == "quantiles" {
			continue // the members are gone: it was scored when it had them
		}
		for _, s := range scoreEnsemble(e, days, loc, today) {
			s.Site, s.Param, s.Issued, s.Source = site, param, e.Issued, e.Source
			list = append(list, s)
		}
	}

	return db.SaveScores(ctx, list)
}

// SaveScores keeps scores, of which a row made before stays. It returns how many
// were new.
func (db *DB) SaveScores(ctx context.Context, list []Score) (int, error) {
	b := &pgx.Batch{}
	for _, s := range list {
		b.Queue(`INSERT INTO coldseam.forecast_score (site_id, param, issued_at, lead_day, source, valid_day, observed, p10, p50, p90, crps, persist)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12) ON CONFLICT ON CONSTRAINT forecast_score_pkey DO NOTHING`,
			s.Site, s.Param, s.Issued, s.Lead, s.Source, s.Day.UTC(), s.Observed, s.P10, s.P50, s.P90, s.CRPS, s.Persist)
	}
	return sendCounted(ctx, db, b)
}

// Scores are all that are kept, in the order of their key.
func (db *DB) Scores(ctx context.Context) ([]Score, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT site_id, param, issued_at, source, valid_day, lead_day::int, observed, p10, p50, p90, crps, persist
		FROM coldseam.forecast_score ORDER BY site_id, param, issued_at, lead_day`)
	if err != nil {
		return nil, fmt.Errorf("scores: %w", classify(err))
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (s Score, err error) {
		var day time.Time
		err = row.Scan(&s.Site, &s.Param, &s.Issued, &s.Source, &day, &s.Lead, &s.Observed, &s.P10, &s.P50, &s.P90, &s.CRPS, &s.Persist)
		s.Issued, s.Day = s.Issued.UTC(), coldseam.DateOf(day)
		return s, err
	})
	if err != nil {
		return nil, fmt.Errorf("scores: %w", classify(err))
	}
	return list, nil
}

func sendCounted(ctx context.Context, db *DB, b *pgx.Batch) (n int, err error) {
	if b.Len() == 0 {
		return 0, nil
	}
	r := db.pool.SendBatch(ctx, b)
	defer r.Close()
	for range b.Len() {
		tag, err := r.Exec()
		if err != nil {
			return n, err
		}
		n += int(tag.RowsAffected())
	}
	return n, r.Close()
}

// Score is one day of a forecast beside what was measured.
type Score struct {
	Site     coldseam.SiteID
	Param    coldseam.Parameter
	Issued   time.Time
	Source   string
	Day      coldseam.Date
	Lead     int
	Observed float64
	P10      float64
	P50      float64
	P90      float64
	CRPS     float64
	Persist  *float64 // absolute error of "stays as it was yesterday"; nil = not known
}

// scoreEnsemble takes the mean of each member over the steps of a civil day.
func scoreEnsemble(e coldseam.Ensemble, days map[coldseam.Date]dayValue, loc *time.Location,
	today coldseam.Date) []Score {
	issued := coldseam.DateOf(e.Issued.In(loc))
	steps := map[coldseam.Date][]int{}
	for h, t := range e.Valid {
		d := coldseam.DateOf(t.Add(-time.Second).In(loc)) // a step ends at its time
		steps[d] = append(steps[d], h)
	}

	var last *dayValue
	for back := 1; back <= 3 && last == nil; back++ {
		if v, ok := days[issued.Add(-back)]; ok {
			last = &v
		}
	}
	var out []Score

	for d, hs := range steps {
		v, measured := days[d]
		lead := d.Sub(issued) + 1
		if !measured || lead < 1 || lead > maxLead || !d.Before(today) {
			continue
		}
		means := make([]float64, len(e.Members))
		for i, m := range e.Members {
			for _, h := range hs {
				means[i] += m[h] / float64(len(hs))
			}
		}

		s := Score{Day: d, Lead: lead, Observed: v.mean, CRPS: crps(means, v.mean),
			P10: coldseam.Quantile(means, .1), P50: coldseam.Quantile(means, .5), P90: coldseam.Quantile(means, .9)}
		if last != nil {
			p := math.Abs(last.mean - v.mean)
			s.Persist = &p
		}
		out = append(out, s)
	}

	sort.Slice(out, func(i, j int) bool { return out[i].Lead < out[j].Lead })
	return out
}

// crps is the continuous ranked probability score of an ensemble x and a
// measured y as it would be with endless members: mean |x - y| less half the mean
// |x - x'| over pairs of different members (Ferro 2014 [from memory], checked
// against the sums in the tests), as forecast/score has it.
func crps(x []float64, y float64) float64 {
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	n := float64(len(s))
	var near, spread float64
	for i, v := range s {
		near += math.Abs(v - y)
		spread += v * (2*float64(i) + 1 - n) // sum over pairs i < j of x_j - x_i
	}
	return near/n - spread/(n*max(n-1, 1))
}
