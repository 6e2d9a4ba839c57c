package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"example.org/coldseam"
)

const sqlPutSite = `
INSERT INTO coldseam.site (site_id, provider, code, name, zone, lat_deg, lon_deg, datum_m, drainage_km2, tidal, daily_only, stub, updated_at)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, false, $12)
ON CONFLICT (site_id) DO UPDATE
SET provider = excluded.provider, code = excluded.code, name = excluded.name, zone = excluded.zone,
    lat_deg = excluded.lat_deg, lon_deg = excluded.lon_deg, datum_m = excluded.datum_m, drainage_km2 = excluded.drainage_km2,
    tidal = excluded.tidal, daily_only = excluded.daily_only, stub = false, updated_at = excluded.updated_at
WHERE (site.provider, site.code, site.name, site.zone, site.lat_deg, site.lon_deg, site.datum_m, site.drainage_km2, site.tidal, site.daily_only, site.stub)
  IS DISTINCT FROM (excluded.provider, excluded.code, excluded.name, excluded.zone, excluded.lat_deg, excluded.lon_deg, excluded.datum_m, excluded.drainage_km2, excluded.tidal, excluded.daily_only, false)`

// PutSite adds or changes a gauge. A new time zone cuts its civil days anew.
// ErrInvalid: no id, or a zone that is not in the IANA list.
func (db *DB) PutSite(ctx context.Context, s coldseam.Site) error {
	if s.ID == "" {
		return fmt.Errorf("put site: no id: %w", coldseam.ErrInvalid)
	}
	if err := db.checkZone(ctx, s.Zone); err != nil {
		return fmt.Errorf("put site %s: %w", s.ID, err)
	}

	err := db.inTx(ctx, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, ingestLock); err != nil {
			return err
		}
		var old *string
		if err := tx.QueryRow(ctx, `SELECT (SELECT zone FROM coldseam.site WHERE site_id = $1)`, s.ID).Scan(
			&old); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, sqlPutSite, s.ID, s.Provider, s.Code, s.Name, s.Zone, s.Lat, s.Lon, s.DatumM,
			s.DrainageKM2,
			s.Tidal, s.DailyOnly, micro(db.now())); err != nil {
			return err
		}

		if old != nil && *old != s.Zone {
			return rebuildDays(ctx, tx, s.ID, s.Zone)
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("put site %s: %w", s.ID, classify(err))
	}

	return nil
}

// checkZone asks both clocks, ours and the database's: a zone that either does
// not know would break the morning.
func (db *DB) checkZone(ctx context.Context, zone string) error {
	if zone == "" || zone == "Local" {
		return fmt.Errorf("zone %q: want an IANA name such as America/Chicago: %w", zone, coldseam.ErrInvalid)
	}
	if _, err := time.LoadLocation(zone); err != nil {
		return fmt.Errorf("zone %q: want an IANA name such as America/Chicago: %w", zone, coldseam.ErrInvalid)
	}
	// pg_timezone_names would read every zone file.
	var pe *pgconn.PgError
	if _, err := db.pool.Exec(ctx, `SELECT now() AT TIME ZONE $1::text`, zone); errors.As(err, &pe) &&
		pe.Code == "22023" {
		return fmt.Errorf("zone %q is not known to the database: %w", zone, coldseam.ErrInvalid)
	} else if err != nil {
		return classify(err)
	}
	return nil
}

const sqlSites = `
SELECT site_id, provider, code, name, zone, lat_deg, lon_deg, datum_m, drainage_km2, tidal, daily_only
FROM coldseam.site`

// Sites lists all gauges by id.
func (db *DB) Sites(ctx context.Context) ([]coldseam.Site, error) {
	return db.sites(ctx, sqlSites+` ORDER BY site_id`)
}

// SitesNear lists the gauges in a box of so many kilometres to each side of a
// place, but those of a tide or of the club's regulated reaches. Thousands of
// foreign gauges that answers name are not looked through.
func (db *DB) SitesNear(ctx context.Context, lat, lon, km float64) ([]coldseam.Site, error) {
	const kmPerDegree = 111.2
	dLat := km / kmPerDegree
	dLon := dLat / math.Max(math.Cos(lat*math.Pi/180), .01)
	return db.sites(ctx, sqlSites+` t WHERE lat_deg BETWEEN $1 AND $2 AND lon_deg BETWEEN $3 AND $4 AND NOT tidal
		AND NOT EXISTS (SELECT FROM coldseam.reach r WHERE r.site_id = t.site_id AND r.regulated AND NOT r.retired) ORDER BY site_id`, lat-dLat, lat+dLat, lon-dLon, lon+dLon)
}

// Site returns one gauge, or ErrNotFound.
func (db *DB) Site(ctx context.Context, id coldseam.SiteID) (coldseam.Site, error) {
	out, err := db.sites(ctx, sqlSites+` WHERE site_id = $1`, id)
	if err == nil && (len(out) == 0 || id == "") {
		err = coldseam.ErrNotFound
	}
	if err != nil {
		return coldseam.Site{}, fmt.Errorf("site %q: %w", id, err)
	}
	return out[0], nil
}

func (db *DB) sites(ctx context.Context, sql string, args ...any) ([]coldseam.Site, error) {
	rows, err := db.pool.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("sites: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (coldseam.Site, error) {
		var s coldseam.Site
		err := r.Scan(&s.ID, &s.Provider, &s.Code, &s.Name, &s.Zone, &s.Lat, &s.Lon, &s.DatumM, &s.DrainageKM2,
			&s.Tidal, &s.DailyOnly)
		return s, err
	})
	if err != nil {
		return nil, fmt.Errorf("sites: %w", classify(err))
	}
	return out, nil
}

// Edit says who changed something and why. Who is a role or a name the admin
// gave, never an address.
type Edit struct {
	Who, Why string
	At       time.Time // zero = now
}

func (e Edit) check() error {
	if e.Who == "" || e.Why == "" {
		return fmt.Errorf("an edit needs who and why: %w", coldseam.ErrInvalid)
	}
	if strings.Contains(e.Who, "@") {
		return fmt.Errorf("who is a role or name, not an address: %w", coldseam.ErrInvalid)
	}
	return nil
}

const sqlPutReach = `
INSERT INTO coldseam.reach (reach_id, river, name, site_id, temp_site_id, zone, lat_deg, lon_deg, regulated, max_flow_m3s, edit, updated_at, body)
VALUES ($1, $2, $3, $4, NULLIF($5, ''), $6, $7, $8, $9, $10, $11, $12, $13)
ON CONFLICT (reach_id) DO UPDATE
SET river = excluded.river, name = excluded.name, site_id = excluded.site_id, temp_site_id = excluded.temp_site_id, zone = excluded.zone,
    lat_deg = excluded.lat_deg, lon_deg = excluded.lon_deg, regulated = excluded.regulated, max_flow_m3s = excluded.max_flow_m3s,
    edit = excluded.edit, retired = false, updated_at = excluded.updated_at, body = excluded.body`

// PutReach adds or changes a reach; every state is kept with who, when and
// why. An equal state writes nothing. ErrInvalid: no id, zone or gauge, an
// edit without who and why, or a gauge that is not stored.
func (db *DB) PutReach(ctx context.Context, r coldseam.Reach, e Edit) error {
	fail := func(err error) error { return fmt.Errorf("put reach %s: %w", r.ID, err) }
	if r.ID == "" || r.Site == "" {
		return fail(fmt.Errorf("needs an id and a gauge: %w", coldseam.ErrInvalid))
	}
	if err := e.check(); err != nil {
		return fail(err)
	}
	if err := db.checkZone(ctx, r.Zone); err != nil {
		return fail(err)
	}

	body, err := json.Marshal(r)
	if err != nil {
		return fail(fmt.Errorf("%w: %w", err, coldseam.ErrInvalid))
	}
	at := micro(e.At)
	if e.At.IsZero() {
		at = micro(db.now())
	}

	err = db.inTx(ctx, func(tx pgx.Tx) error {
		var edit int32
		var same, retired bool
		err := tx.QueryRow(ctx,
			`SELECT edit, body = $2::jsonb, retired FROM coldseam.reach WHERE reach_id = $1 FOR UPDATE`, r.ID,
			body).Scan(&edit, &same, &retired)
		if err != nil && err != pgx.ErrNoRows {
			return err
		}

		if same && !retired {
			return nil
		}
		edit++
		if _, err := tx.Exec(ctx, sqlPutReach, r.ID, r.River, r.Name, r.Site, r.TempSite, r.Zone, r.Lat, r.Lon,
			r.Regulated, r.MaxFlowM3S, edit, at, body); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx,
			`INSERT INTO coldseam.reach_edit (reach_id, edit, edited_at, who, why, body) VALUES ($1, $2, $3, $4, $5, $6)`,
			r.ID, edit, at, e.Who, e.Why, body); err != nil {
			return err
		}

		return putRules(ctx, tx, r)
	})
	if err != nil {
		return fail(classify(err))
	}

	return nil
}

func putRules(ctx context.Context, tx pgx.Tx, r coldseam.Reach) error {
	b := &pgx.Batch{}
	b.Queue(`DELETE FROM coldseam.season_rule WHERE reach_id = $1`, r.ID)
	for i, u := range r.Rules {
		closed, err := json.Marshal(u.Closed)
		if err != nil {
			return err
		}
		b.Queue(`INSERT INTO coldseam.season_rule (reach_id, rule_no, kind, species, allowed, wording, link, checked_on, checked_by, closed)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
			r.ID, i, u.Kind, u.Species, u.Allowed, u.Text, u.Link, nullDate(u.CheckedOn), u.CheckedBy, closed)
	}
	return tx.SendBatch(ctx, b).Close()
}

// RetireReach ends the briefs of a reach; its history stays.
func (db *DB) RetireReach(ctx context.Context, id coldseam.ReachID, e Edit) error {
	if err := e.check(); err != nil {
		return fmt.Errorf("retire reach %s: %w", id, err)
	}
	tag, err := db.pool.Exec(ctx, `
		WITH r AS (UPDATE coldseam.reach SET retired = true, edit = edit + 1, updated_at = $2 WHERE reach_id = $1 AND NOT retired RETURNING reach_id, edit, body)
		INSERT INTO coldseam.reach_edit (reach_id, edit, edited_at, who, why, body)
		SELECT reach_id, edit, $2, $3, 'retired: ' || $4, body FROM r`, id, micro(db.now()), e.Who, e.Why)
	if err != nil {
		return fmt.Errorf("retire reach %s: %w", id, classify(err))
	}
	if tag.RowsAffected() == 0 {
		return fmt.Errorf("retire reach %s: %w", id, coldseam.ErrNotFound)
	}
	return nil
}

// Reaches lists the reaches that are fished, by river and name.
func (db *DB) Reaches(ctx context.Context) ([]coldseam.Reach, error) {
	return db.reaches(ctx, `SELECT body FROM coldseam.reach WHERE NOT retired ORDER BY river, name, reach_id`)
}

// ReachesNear lists the n reaches that are fished nearest to a place by degrees,
// without a look at the others.
func (db *DB) ReachesNear(ctx context.Context, lat, lon float64, n int) ([]coldseam.Reach, error) {
	return db.reaches(ctx, `
		SELECT body FROM coldseam.reach WHERE NOT retired
		ORDER BY point(lon_deg, lat_deg) <-> point($2, $1), river, name, reach_id LIMIT $3`, lat, lon, n)
}

func (db *DB) reaches(ctx context.Context, sql string, args ...any) ([]coldseam.Reach, error) {
	rows, err := db.pool.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("reaches: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, pgx.RowTo[coldseam.Reach])
	if err != nil {
		return nil, fmt.Errorf("reaches: %w", classify(err))
	}
	return out, nil
}

// Reach returns one reach, retired or not, or ErrNotFound.
func (db *DB) Reach(ctx context.Context, id coldseam.ReachID) (coldseam.Reach, error) {
	var r coldseam.Reach
	if err := db.pool.QueryRow(ctx, `SELECT body FROM coldseam.reach WHERE reach_id = $1`, id).Scan(&r); err != nil {
		return r, fmt.Errorf("reach %q: %w", id, classify(err))
	}
	return r, nil
}

// ReachAt returns a reach as it was set at a time: what a replay must use.
// Before its first edit it is ErrNotFound.
func (db *DB) ReachAt(ctx context.Context, id coldseam.ReachID, at time.Time) (coldseam.Reach, error) {
	var r coldseam.Reach
	err := db.pool.QueryRow(ctx, `
		SELECT body FROM coldseam.reach_edit WHERE reach_id = $1 AND edited_at <= $2 ORDER BY edit DESC LIMIT 1`, id, micro(at)).Scan(&r)
	if err != nil {
		return r, fmt.Errorf("reach %q at %s: %w", id, at.Format(time.RFC3339), classify(err))
	}
	return r, nil
}

// ReachEdit is one kept state of a reach.
type ReachEdit struct {
	N        int
	At       time.Time
	Who, Why string
	Reach    coldseam.Reach
}

// ReachEdits lists every state of a reach, oldest first.
func (db *DB) ReachEdits(ctx context.Context, id coldseam.ReachID) ([]ReachEdit, error) {
	rows, err := db.pool.Query(ctx,
		`SELECT edit, edited_at, who, why, body FROM coldseam.reach_edit WHERE reach_id = $1 ORDER BY edit`, id)
	if err != nil {
		return nil, fmt.Errorf("edits of %s: %w", id, classify(err))
	}
	out, err := pgx.CollectRows(rows, pgx.RowToStructByPos[ReachEdit])
	if err != nil {
		return nil, fmt.Errorf("edits of %s: %w", id, classify(err))
	}
	return out, nil
}
