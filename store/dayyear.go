package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// packBatch is how many years are packed in one transaction, which holds the
// lock of all writers of observations [proposal].
const packBatch = 200

// sqlYearsToPack lists past years that have days and no packed row, of the
// series that the daily frame of a reach can ask for. $1 is the current year.
const sqlYearsToPack = `
SELECT s.series_id, y::int4
FROM coldseam.series s
CROSS JOIN LATERAL (SELECT min(d.day) AS day FROM coldseam.day_summary d WHERE d.series_id = s.series_id) f
CROSS JOIN LATERAL generate_series(extract(year FROM f.day)::int4, $1::int4 - 1) y
WHERE s.param IN ('discharge', 'water_temp', 'air_temp')
  AND s.site_id IN (
    SELECT site_id FROM coldseam.reach
    UNION SELECT temp_site_id FROM coldseam.reach
    UNION SELECT body ->> 'AirSite' FROM coldseam.reach
    UNION SELECT up FROM coldseam.reach, jsonb_array_elements_text(NULLIF(body -> 'UpstreamSites', 'null')) up)
  AND NOT EXISTS (SELECT FROM coldseam.day_year p WHERE p.series_id = s.series_id AND p.year = y)
  AND EXISTS (
    SELECT FROM coldseam.day_summary d
    WHERE d.series_id = s.series_id AND d.day BETWEEN make_date(y, 1, 1) AND make_date(y, 12, 31))`

const sqlPackYears = `
INSERT INTO coldseam.day_year (series_id, year, mean, doy, quarters, flags)
SELECT w.series_id, w.year, d.mean, d.doy, d.quarters, d.flags
FROM unnest($1::int4[], $2::int4[]) AS w (series_id, year)
CROSS JOIN LATERAL (
  SELECT array_agg(total / n ORDER BY day) AS mean, array_agg(extract(doy FROM day)::int2 ORDER BY day) AS doy,
         array_agg(quarters ORDER BY day) AS quarters, array_agg(flags ORDER BY day) AS flags
  FROM coldseam.day_summary
  WHERE series_id = w.series_id AND day BETWEEN make_date(w.year, 1, 1) AND make_date(w.year, 12, 31)) d
WHERE d.doy IS NOT NULL
ON CONFLICT ON CONSTRAINT day_year_pkey DO NOTHING`

// PackYears lays the days of each year before the given one into one row a
// series, so that a brief after decades of service reads no more rows than
// after one. A later change of such a day takes the row away again, and the
// next call makes it anew. It returns how many years it packed.
func (db *DB) PackYears(ctx context.Context, before int) (n int, err error) {
	rows, err := db.pool.Query(ctx, sqlYearsToPack, before)
	if err != nil {
		return 0, fmt.Errorf("years to pack: %w", classify(err))
	}
	var todo yearColumns
	var id, year int32
	if _, err := pgx.ForEachRow(rows, []any{&id, &year}, func() error { todo.add(id, year); return nil }); err != nil {
		return 0, fmt.Errorf("years to pack: %w", classify(err))
	}

	for len(todo.id) > 0 {
		k := min(len(todo.id), packBatch)
		err := db.inTx(ctx, func(tx pgx.Tx) error {
			if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, ingestLock); err != nil {
				return err
			}
			tag, err := tx.Exec(ctx, sqlPackYears, todo.id[:k], todo.year[:k])
			n += int(tag.RowsAffected())
			return err
		})
		if err != nil {
			return n, fmt.Errorf("pack years: %w", classify(err))
		}
		todo.id, todo.year = todo.id[k:], todo.year[k:]
	}

	return n, nil
}

// yearColumns are years of series, as arrays of one statement.
type yearColumns struct{ id, year []int32 }

func (c *yearColumns) add(id, year int32) {
	if n := len(c.id); n == 0 || c.id[n-1] != id || c.year[n-1] != year {
		c.id, c.year = append(c.id, id), append(c.year, year)
	}
}

// unpack forgets the packed rows of years whose days change.
func (c *yearColumns) unpack(ctx context.Context, tx pgx.Tx) error {
	if len(c.id) == 0 {
		return nil
	}
	if _, err := tx.Exec(ctx, `
		DELETE FROM coldseam.day_year p USING unnest($1::int4[], $2::int4[]) AS w (series_id, year)
		WHERE p.series_id = w.series_id AND p.year = w.year`, c.id, c.year); err != nil {
		return fmt.Errorf("packed years: %w", err)
	}
	return nil
}

// packedDays reads the packed years of a series, oldest first, and says which
// years they are.
func (db *DB) packedDays(ctx context.Context, id int32) (out []daySum, years []int32, err error) {
	rows, err := db.pool.Query(ctx,
		`SELECT year, mean, doy, quarters, flags FROM coldseam.day_year WHERE series_id = $1 ORDER BY year`, id)
	if err != nil {
		return nil, nil, classify(err)
	}
	var year int32
	var mean []float64
	var doy, quarters, flags []int16
	_, err = pgx.ForEachRow(rows, []any{&year, &mean, &doy, &quarters, &flags}, func() error {
		years = append(years, year)
		first := coldseam.Date{Year: int(year), Month: 1, Day: 1}
		for i, d := range doy {
			out = append(out, daySum{
				day:      first.Add(int(d) - 1),
				total:    mean[i],
				n:        1,
				quarters: quarters[i],
				flags:    coldseam.Flag(uint16(flags[i])),
			})
		}
		return nil
	})
	return out, years, classify(err)
}
