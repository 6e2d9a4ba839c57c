package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// climateProbs are the quantiles of the climatology table.
var climateProbs = [...]float64{.01, .05, .10, .25, .50, .75, .90, .95, .99}

// climateWindow pools the days this far around a date [proposal].
const climateWindow = 15

// DayClimate is what is usual on one day of the year.
type DayClimate struct {
	DOY   int // 1-366; 29 February is 60 in every year's count
	Years int
	N     int                        // days pooled
	Q     [len(climateProbs)]float64 // at 0.01 0.05 0.10 0.25 0.50 0.75 0.90 0.95 0.99, SI unit
}

// BuildClimatology makes the quantiles of daily means by day of the year from
// what is known at asOf, and stores them with that time: a forecast issued
// earlier does not see them. It replaces those made less than a year before,
// except that the first of every year stays, so that the table does not grow
// by the week. ErrNotFound: no daily values.
func (db *DB) BuildClimatology(ctx context.Context, site coldseam.SiteID, param coldseam.Parameter, asOf time.Time,
	opts ...HistoryOption) error {
	fail := func(err error) error { return fmt.Errorf("climatology of %s/%s: %w", site, param, classify(err)) }
	s, err := db.Site(ctx, site)
	if err != nil {
		return fail(err)
	}
	loc, err := time.LoadLocation(s.Zone)
	if err != nil {
		return fail(fmt.Errorf("zone %q: %w", s.Zone, coldseam.ErrInvalid))
	}

	days, err := db.dailyMeans(ctx, site, param, asOf, loc, opts)
	if err != nil {
		return fail(err)
	}
	if len(days) == 0 {
		return fail(coldseam.ErrNotFound)
	}
	table := climate(days)

	asOf = micro(asOf)
	err = db.inTx(ctx, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `
			DELETE FROM coldseam.climatology c
			WHERE site_id = $1 AND param = $2 AND (made_at = $3 OR made_at > $3::timestamptz - interval '1 year' AND made_at < $3
			  AND EXISTS (SELECT FROM coldseam.climatology e
			    WHERE e.site_id = $1 AND e.param = $2 AND e.made_at < c.made_at AND date_trunc('year', e.made_at) = date_trunc('year', c.made_at)))`,
			site, param, asOf); err != nil {
			return err
		}

		_, err := tx.CopyFrom(ctx, pgx.Identifier{"coldseam", "climatology"}, []string{"site_id", "param", "made_at",
			"doy", "years", "n", "quantile"},
			pgx.CopyFromSlice(len(table), func(i int) ([]any, error) {
				d := table[i]
				return []any{site, param, asOf, int16(d.DOY), int16(d.Years), int32(d.N), float32s(d.Q[:])}, nil
			}))
		return err
	})
	if err != nil {
		return fail(err)
	}

	return nil
}

// doyOf counts 1 March as 61 in every year, so that a date has one number.
func doyOf(d coldseam.Date) int {
	return coldseam.Date{Year: 2000, Month: d.Month, Day: d.Day}.YearDay()
}

func climate(days map[coldseam.Date]dayValue) []DayClimate {
	var byDay [367][]float64
	var years [367][]int
	for d, v := range days {
		k := doyOf(d)
		byDay[k], years[k] = append(byDay[k], v.mean), append(years[k], d.Year)
	}
	var out []DayClimate

	for k := 1; k <= 366; k++ {
		var pool []float64
		seen := map[int]bool{}
		for off := -climateWindow; off <= climateWindow; off++ {
			j := (k-1+off+366)%366 + 1
			pool = append(pool, byDay[j]...)
			for _, y := range years[j] {
				seen[y] = true
			}
		}

		if len(pool) == 0 {
			continue
		}
		c := DayClimate{DOY: k, Years: len(seen), N: len(pool)}
		for i, p := range climateProbs {
			c.Q[i] = coldseam.Quantile(pool, p)
		}
		out = append(out, c)
	}

	return out
}

const sqlClimate = `
SELECT doy, years, n, quantile
FROM coldseam.climatology
WHERE site_id = $1 AND param = $2 AND doy = $3 AND made_at <= $4
ORDER BY made_at DESC
LIMIT 1`

// Climatology returns what is usual on a day, as made at or before asOf;
// ErrNotFound.
func (db *DB) Climatology(ctx context.Context, site coldseam.SiteID, param coldseam.Parameter, d coldseam.Date,
	asOf time.Time) (DayClimate, error) {
	var c DayClimate
	var q []float32
	err := db.pool.QueryRow(ctx, sqlClimate, site, param, doyOf(d), micro(asOf)).Scan(&c.DOY, &c.Years, &c.N, &q)
	if err != nil {
		return c, fmt.Errorf("climatology of %s/%s on %s: %w", site, param, d, classify(err))
	}
	for i := range min(len(q), len(c.Q)) {
		c.Q[i] = float64(q[i])
	}
	return c, nil
}

// SetBands replaces the temperature bands in the database, where the views
// read them, by the program's; equal ones are left alone.
func (db *DB) SetBands(ctx context.Context, bands []coldseam.Band) error {
	for i, b := range bands {
		if b.Key == "" || i > 0 && b.Upper <= bands[i-1].Upper {
			return fmt.Errorf("band %d %q: needs a name and a higher edge than the one before: %w", i+1, b.Key,
				coldseam.ErrInvalid)
		}
	}

	var keys []string
	var edges []float64
	for _, b := range bands {
		keys, edges = append(keys, b.Key), append(edges, b.Upper)
	}

	err := db.inTx(ctx, func(tx pgx.Tx) error {
		var same bool
		if err := tx.QueryRow(ctx,
			`SELECT COALESCE(array_agg(key ORDER BY band_no) = $1 AND array_agg(upper_f ORDER BY band_no) = $2, false) FROM coldseam.band`,
			keys, edges).Scan(&same); err != nil || same {
			return err
		}

		b := &pgx.Batch{}
		b.Queue(`LOCK TABLE coldseam.band`) // several servers start at once
		b.Queue(`DELETE FROM coldseam.band`)
		for i, x := range bands {
			b.Queue(`INSERT INTO coldseam.band (band_no, key, upper_f) VALUES ($1, $2, $3)`, i+1, x.Key, x.Upper)
		}
		return tx.SendBatch(ctx, b).Close()
	})
	if err != nil {
		return fmt.Errorf("bands: %w", classify(err))
	}

	return nil
}
