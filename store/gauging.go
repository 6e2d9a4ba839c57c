package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// A visit comes in two documents: one has stage and discharge, the other the
// section. They are one gauging when they are of one hour and one discharge
// [proposal]: two measurements of a visit hardly agree to half a per cent.
const (
	visitApart = time.Hour
	visitFlow  = .005
)

const sqlVisit = `
SELECT site_id, measured_at, discharge_m3s, stage_m, width_m, area_m2, mean_vel_ms, method, ice, quality
FROM coldseam.gauging
WHERE site_id = $1 AND measured_at BETWEEN $2 AND $3
ORDER BY measured_at
FOR UPDATE`

const sqlSaveGauging = `
INSERT INTO coldseam.gauging (site_id, measured_at, discharge_m3s, stage_m, width_m, area_m2, mean_vel_ms, method, ice, quality, known_at)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
ON CONFLICT ON CONSTRAINT gauging_pkey DO UPDATE
SET discharge_m3s = excluded.discharge_m3s, stage_m = excluded.stage_m, width_m = excluded.width_m, area_m2 = excluded.area_m2,
    mean_vel_ms = excluded.mean_vel_ms, method = excluded.method, ice = excluded.ice, quality = excluded.quality
WHERE (gauging.discharge_m3s, gauging.stage_m, gauging.width_m, gauging.area_m2, gauging.mean_vel_ms, gauging.method, gauging.ice, gauging.quality)
  IS DISTINCT FROM (excluded.discharge_m3s, excluded.stage_m, excluded.width_m, excluded.area_m2, excluded.mean_vel_ms, excluded.method, excluded.ice, excluded.quality)`

// SaveGaugings stores field measurements, one per site and visit. A corrected
// one replaces the old and keeps the time it was first known; what one of two
// documents of a visit does not say, the other's word stands for. The same
// measurements again write nothing, in whatever order the documents come.
func (db *DB) SaveGaugings(ctx context.Context, gs []coldseam.Gauging) error {
	var errs []error
	for _, g := range gs {
		var err error
		if g.Site == "" || g.At.IsZero() {
			err = fmt.Errorf("needs site and time: %w", coldseam.ErrInvalid)
		} else {
			err = classify(db.saveGauging(ctx, g))
		}
		if err != nil {
			errs = append(errs, fmt.Errorf("gauging %s %s: %w", g.Site, g.At.Format(time.RFC3339), err))
		}
	}
	return errors.Join(errs...)
}

func (db *DB) saveGauging(ctx context.Context, g coldseam.Gauging) error {
	return db.inTx(ctx, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, ingestLock); err != nil {
			return err
		}
		at := micro(g.At)
		rows, err := tx.Query(ctx, sqlVisit, g.Site, at.Add(-visitApart), at.Add(visitApart))
		if err != nil {
			return err
		}

		near, err := pgx.CollectRows(rows, pgx.RowToStructByPos[coldseam.Gauging])
		if err != nil {
			return err
		}
		if old, ok := sameVisit(near, g); ok {
			g = withVisit(g, old)
		}
		_, err = tx.Exec(ctx, sqlSaveGauging, g.Site, micro(g.At), g.DischargeM3S, g.StageM, g.WidthM, g.AreaM2,
			g.MeanVelMS, g.Method, g.Ice, g.Quality, micro(db.now()))
		return err
	})
}

// sameVisit finds the stored gauging that g speaks of: the one of its time,
// else the nearest of its hour with its discharge.
func sameVisit(near []coldseam.Gauging, g coldseam.Gauging) (best coldseam.Gauging, ok bool) {
	for _, o := range near {
		apart := o.At.Sub(micro(g.At)).Abs()
		if apart > 0 && math.Abs(o.DischargeM3S-g.DischargeM3S) > visitFlow*math.Abs(g.DischargeM3S) {
			continue
		}
		if !ok || apart < best.At.Sub(micro(g.At)).Abs() {
			best, ok = o, true
		}
	}
	return best, ok
}

// withVisit completes a gauging by what is stored of its visit. The document of
// the section is the more exact one; a mark of ice by either counts.
func withVisit(g, old coldseam.Gauging) coldseam.Gauging {
	section := func(x coldseam.Gauging) bool { return x.WidthM != nil || x.AreaM2 != nil }
	if section(old) && !section(g) {
		g.DischargeM3S, g.Method = old.DischargeM3S, old.Method
	}
	for _, p := range []struct {
		dst **float64
		src *float64
	}{{&g.StageM, old.StageM}, {&g.WidthM, old.WidthM}, {&g.AreaM2, old.AreaM2}, {&g.MeanVelMS, old.MeanVelMS}} {
		if *p.dst == nil {
			*p.dst = p.src
		}
	}
	g.At, g.Ice = old.At, g.Ice || old.Ice
	g.Method, g.Quality = cmp.Or(g.Method, old.Method), cmp.Or(g.Quality, old.Quality)
	return g
}

// Gaugings lists the field measurements of a site, oldest first.
func (db *DB) Gaugings(ctx context.Context, site coldseam.SiteID) ([]coldseam.Gauging, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT site_id, measured_at, discharge_m3s, stage_m, width_m, area_m2, mean_vel_ms, method, ice, quality
		FROM coldseam.gauging WHERE site_id = $1 ORDER BY measured_at`, site)
	if err != nil {
		return nil, fmt.Errorf("gaugings of %s: %w", site, classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (coldseam.Gauging, error) {
		g, err := pgx.RowToStructByPos[coldseam.Gauging](r)
		g.At = g.At.UTC()
		return g, err
	})
	if err != nil {
		return nil, fmt.Errorf("gaugings of %s: %w", site, classify(err))
	}
	return out, nil
}

// SaveRating stores a rating table; an equal newest one is not stored again.
func (db *DB) SaveRating(ctx context.Context, r coldseam.Rating) error {
	if err := r.Check(); err != nil {
		return err
	}
	_, err := db.pool.Exec(ctx, `
		INSERT INTO coldseam.rating (site_id, valid_from, known_at, valid_to, stage_zero_m, stage_m, discharge_m3s)
		SELECT $1, $2, $3, $4, $5, $6, $7
		WHERE NOT EXISTS (
		  SELECT FROM (
		    SELECT valid_to, stage_zero_m, stage_m, discharge_m3s FROM coldseam.rating
		    WHERE site_id = $1 AND valid_from = $2 ORDER BY known_at DESC LIMIT 1) n
		  WHERE (n.valid_to, n.stage_zero_m, n.stage_m, n.discharge_m3s) IS NOT DISTINCT FROM ($4::timestamptz, $5::float8, $6::float8[], $7::float8[]))`,
		r.Site, micro(r.From), micro(db.now()), nullTime(r.To), r.StageZeroM, r.StageM, r.Discharge)
	if err != nil {
		return fmt.Errorf("rating %s: %w", r.Site, classify(err))
	}
	return nil
}

// Rating returns the table in force at a time as known at asOf, or
// ErrNotFound.
func (db *DB) Rating(ctx context.Context, site coldseam.SiteID, at, asOf time.Time) (coldseam.Rating, error) {
	r := coldseam.Rating{Site: site}
	var to *time.Time
	err := db.pool.QueryRow(ctx, `
		SELECT valid_from, valid_to, stage_zero_m, stage_m, discharge_m3s
		FROM coldseam.rating
		WHERE site_id = $1 AND valid_from <= $2 AND (valid_to IS NULL OR valid_to > $2) AND known_at <= $3
		ORDER BY valid_from DESC, known_at DESC LIMIT 1`, site, micro(at), micro(asOf)).Scan(&r.From, &to, &r.StageZeroM, &r.StageM, &r.Discharge)
	if err != nil {
		return r, fmt.Errorf("rating of %s: %w", site, classify(err))
	}
	r.From, r.To = r.From.UTC(), timeOf(to)
	return r, nil
}

// Ratings lists the tables of a site as they stand now, oldest first; each ends
// where the next begins.
func (db *DB) Ratings(ctx context.Context, site coldseam.SiteID) ([]coldseam.Rating, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT DISTINCT ON (valid_from) site_id, valid_from, valid_to, stage_m, discharge_m3s, stage_zero_m
		FROM coldseam.rating
		WHERE site_id = $1
		ORDER BY valid_from, known_at DESC`, site)
	if err != nil {
		return nil, fmt.Errorf("ratings of %s: %w", site, classify(err))
	}

	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (coldseam.Rating, error) {
		var x coldseam.Rating
		var to *time.Time
		err := r.Scan(&x.Site, &x.From, &to, &x.StageM, &x.Discharge, &x.StageZeroM)
		x.From, x.To = x.From.UTC(), timeOf(to)
		return x, err
	})
	if err != nil {
		return nil, fmt.Errorf("ratings of %s: %w", site, classify(err))
	}

	for i := 0; i+1 < len(out); i++ {
		if next := out[i+1].From; out[i].To.IsZero() || out[i].To.After(next) {
			out[i].To = next
		}
	}

	return out, nil
}
