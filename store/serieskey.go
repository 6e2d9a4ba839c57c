package store

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// seriesRow is what the upsert needs to know of a series.
type seriesRow struct {
	id    int32
	zone  *time.Location
	fresh bool
}

const sqlFindSeries = `
SELECT w.i, s.series_id, t.zone
FROM unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::text[], $6::text[]) WITH ORDINALITY
  AS w (site_id, param, stat, period, provider, series_ref, i)
JOIN coldseam.series s USING (site_id, param, stat, period, provider, series_ref)
JOIN coldseam.site t USING (site_id)`

const sqlStubSites = `
INSERT INTO coldseam.site (site_id, provider, code, name, zone, lat_deg, lon_deg, stub)
SELECT DISTINCT ON (w.site_id) w.site_id, split_part(w.site_id, ':', 1), w.code, w.code, 'UTC', 0, 0, true
FROM unnest($1::text[], $2::text[]) AS w (site_id, code)
ON CONFLICT (site_id) DO NOTHING`

const sqlAddSeries = `
INSERT INTO coldseam.series (site_id, param, stat, period, provider, series_ref, unit, first_known_at)
SELECT w.site_id, w.param, w.stat, w.period, w.provider, w.series_ref, w.unit, w.known
FROM unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::text[], $6::text[], $7::text[], $8::timestamptz[])
  AS w (site_id, param, stat, period, provider, series_ref, unit, known)`

// seriesIDs finds the series or makes them, with a stub of their site where
// none is described yet.
func seriesIDs(ctx context.Context, tx pgx.Tx, ss []coldseam.Series, known []time.Time) ([]seriesRow, error) {
	out, err := findSeries(ctx, tx, ss)
	if err != nil {
		return nil, err
	}

	var fresh []coldseam.Series
	var freshKnown []time.Time
	var place []int
	for i := range ss {
		if out[i].id == 0 {
			fresh, freshKnown, place = append(fresh, ss[i]), append(freshKnown, known[i]), append(place, i)
		}
	}

	if len(fresh) == 0 {
		return out, nil
	}
	if err := addSeries(ctx, tx, fresh, freshKnown); err != nil {
		return nil, err
	}
	made, err := findSeries(ctx, tx, fresh)
	if err != nil {
		return nil, err
	}

	for k, i := range place {
		if made[k].id == 0 {
			return nil, fmt.Errorf("series %s vanished while it was made: %w", fresh[k].SeriesKey,
				coldseam.ErrUnavailable)
		}
		made[k].fresh = true
		out[i] = made[k]
	}

	return out, nil
}

func addSeries(ctx context.Context, tx pgx.Tx, ss []coldseam.Series, known []time.Time) error {
	k := keyColumns(ss)
	codes, units := make([]string, len(ss)), make([]string, len(ss))
	for i, s := range ss {
		_, codes[i], _ = strings.Cut(string(s.Site), ":")
		units[i] = s.Param.Unit()
	}
	if _, err := tx.Exec(ctx, sqlStubSites, k[0], codes); err != nil {
		return fmt.Errorf("site: %w", err)
	}
	if _, err := tx.Exec(ctx, sqlAddSeries, k[0], k[1], k[2], k[3], k[4], k[5], units, known); err != nil {
		return fmt.Errorf("series: %w", err)
	}
	return nil
}

func findSeries(ctx context.Context, tx pgx.Tx, ss []coldseam.Series) ([]seriesRow, error) {
	k := keyColumns(ss)
	rows, err := tx.Query(ctx, sqlFindSeries, k[0], k[1], k[2], k[3], k[4], k[5])
	if err != nil {
		return nil, fmt.Errorf("series: %w", err)
	}
	out := make([]seriesRow, len(ss))
	var i int64
	var id int32
	var zone string

	zones := map[string]*time.Location{} // each is read from a file
	_, err = pgx.ForEachRow(rows, []any{&i, &id, &zone}, func() error {
		loc := zones[zone]
		if loc == nil {
			if loc, err = time.LoadLocation(zone); err != nil {
				loc = time.UTC // PutSite checks zones; one unknown to this machine must not stop storing
			}
			zones[zone] = loc
		}
		out[i-1] = seriesRow{id: id, zone: loc}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("series: %w", err)
	}

	return out, nil
}

func keyColumns(ss []coldseam.Series) [6][]string {
	var k [6][]string
	for c := range k {
		k[c] = make([]string, len(ss))
	}
	for i, s := range ss {
		k[0][i], k[1][i], k[2][i] = string(s.Site), string(s.Param), string(s.Stat)
		k[3][i], k[4][i], k[5][i] = s.Period, s.Provider, s.SeriesRef
	}
	return k
}

// qualKey is a set of codes as a map key; the separator cannot be in a code.
func qualKey(codes []string) string {
	c := append([]string(nil), codes...)
	sort.Strings(c)
	return strings.Join(c, "\x1f")
}

// qualifierIDs returns the keys of all sets of codes in ss, making those that
// are new. Sets never change, so they are remembered; a set is remembered only
// when it was read, as the transaction that made it may still fail.
func (db *DB) qualifierIDs(ctx context.Context, tx pgx.Tx, ss []coldseam.Series) (map[string]int16, error) {
	want := map[string][]string{}
	for _, s := range ss {
		for _, o := range s.Obs {
			if len(o.Qualifiers) > 0 {
				k := qualKey(o.Qualifiers)
				if _, ok := want[k]; !ok {
					want[k] = strings.Split(k, "\x1f")
				}
			}
		}
	}

	if len(want) == 0 {
		return nil, nil
	}
	have, highest, err := readQualifiers(ctx, tx)
	if err != nil {
		return nil, err
	}

	keys := make([]string, 0, len(want))
	for k := range want {
		if _, ok := have[k]; !ok {
			keys = append(keys, k)
		}
	}

	sort.Strings(keys)
	for _, k := range keys {
		if highest == math.MaxInt16 {
			return nil, fmt.Errorf("more than %d sets of qualifiers: %w", math.MaxInt16, coldseam.ErrInvalid)
		}
		highest++
		if _, err := tx.Exec(ctx, `INSERT INTO coldseam.qualifier_set (qualifier_set_id, codes) VALUES ($1, $2)`,
			highest, want[k]); err != nil {
			return nil, fmt.Errorf("qualifiers: %w", err)
		}
		have[k] = highest
	}

	return have, nil
}

type querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
}

func readQualifiers(ctx context.Context, q querier) (have map[string]int16, highest int16, err error) {
	rows, err := q.Query(ctx, `SELECT qualifier_set_id, codes FROM coldseam.qualifier_set`)
	if err != nil {
		return nil, 0, fmt.Errorf("qualifiers: %w", err)
	}
	have = map[string]int16{}
	var id int16
	var codes []string
	_, err = pgx.ForEachRow(rows, []any{&id, &codes}, func() error {
		have[qualKey(codes)] = id
		highest = max(highest, id)
		return nil
	})
	if err != nil {
		return nil, 0, fmt.Errorf("qualifiers: %w", err)
	}
	return have, highest, nil
}

var isoPeriod = regexp.MustCompile(`^P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?$`)

// periodOf reads an ISO 8601 duration of days and smaller parts; 0 for
// anything else, so that a value then belongs to the day of its time.
func periodOf(s string) time.Duration {
	m := isoPeriod.FindStringSubmatch(s)
	if m == nil {
		return 0
	}
	var d time.Duration
	for i, unit := range []time.Duration{24 * time.Hour, time.Hour, time.Minute, time.Second} {
		n, _ := strconv.Atoi(m[i+1]) // an absent part counts nothing
		d += time.Duration(n) * unit
	}
	return d
}

// PreferSeries sets which series leads where several measure the same at a
// site: the greater preference, then the newest. ErrNotFound.
func (db *DB) PreferSeries(ctx context.Context, k coldseam.SeriesKey, preference int) error {
	tag, err := db.pool.Exec(ctx, `
		UPDATE coldseam.series SET preference = $7
		WHERE site_id = $1 AND param = $2 AND stat = $3 AND period = $4 AND provider = $5 AND series_ref = $6`,
		k.Site, k.Param, k.Stat, k.Period, k.Provider, k.SeriesRef, preference)
	if err == nil && tag.RowsAffected() == 0 {
		err = coldseam.ErrNotFound
	}
	if err != nil {
		return fmt.Errorf("prefer %s: %w", k, classify(err))
	}
	return nil
}
