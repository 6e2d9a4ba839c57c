package store

import (
	"context"
	"fmt"
	"time"

	"example.org/coldseam"
)

// Neighbours returns the current values of exactly one series in [from, to] and
// the one before from, so that a batch can be judged beside what is stored.
// Other series of the site never mix in. Empty for a series not stored yet.
func (db *DB) Neighbours(ctx context.Context, k coldseam.SeriesKey, from,
	to time.Time) ([]coldseam.Observation, error) {
	fail := func(err error) ([]coldseam.Observation, error) {
		return nil, fmt.Errorf("neighbours in %s: %w", k, classify(err))
	}
	all, err := db.seriesOf(ctx, k.Site, k.Param)
	if err != nil {
		return fail(err)
	}

	for _, s := range all {
		if s.SeriesKey != k {
			continue
		}
		var before *time.Time
		err := db.pool.QueryRow(ctx,
			`SELECT max(valid_at) FROM coldseam.observation WHERE series_id = $1 AND valid_at < $2`, s.ID,
			micro(from)).Scan(&before)
		if err != nil {
			return fail(err)
		}

		if before != nil {
			from = *before
		}
		out, err := db.asOf(ctx, s, from, to, maxTime, 0)
		if err != nil {
			return fail(err)
		}

		return out, nil
	}

	return nil, nil
}

// minRecordDays is how many days make a record whose greatest value says
// something about the next one.
const minRecordDays = 300

// Extremes are the least and the greatest usable value of a parameter on record
// at a site; ok is false while the record is shorter than most of a year.
func (db *DB) Extremes(ctx context.Context, site coldseam.SiteID,
	param coldseam.Parameter) (lo, hi float64, ok bool, err error) {
	err = db.pool.QueryRow(ctx, `
		SELECT COALESCE(min(d.lo), 0), COALESCE(max(d.hi), 0), count(DISTINCT d.day) >= $3
		FROM coldseam.day_summary d
		JOIN coldseam.series s USING (series_id)
		WHERE s.site_id = $1 AND s.param = $2`, site, param, minRecordDays).Scan(&lo, &hi, &ok)
	if err != nil {
		return 0, 0, false, fmt.Errorf("extremes of %s at %s: %w", param, site, classify(err))
	}
	if !ok {
		return 0, 0, false, nil
	}
	return lo, hi, true, nil
}
