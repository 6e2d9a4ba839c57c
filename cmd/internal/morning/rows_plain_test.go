//go:build !race

package morning_test

import (
	"fmt"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
)

// rowsRead counts the rows that the database touches while f runs, by table.
func rowsRead(t *testing.T, v *clubtest.Harness, f func()) (all float64, by map[string]float64) {
	t.Helper()
	count := func() map[string]float64 {
		t.Helper()
		for _, c := range v.DB.Pool().AcquireAllIdle(t.Context()) { // each tells its own counts
			_, err := c.Exec(t.Context(), `SELECT pg_stat_force_next_flush()`)
			require.NoError(t, err)
			c.Release()
		}

		rows, err := v.DB.Pool().Query(t.Context(),
			`SELECT relname, (seq_tup_read + COALESCE(idx_tup_fetch, 0))::float8 FROM pg_stat_user_tables WHERE schemaname = 'coldseam'`)
		require.NoError(t, err)
		out, name, n := map[string]float64{}, "", 0.
		_, err = pgx.ForEachRow(rows, []any{&name, &n}, func() error { out[name] = n; return nil })
		require.NoError(t, err)
		return out
	}
	before := count()

	f()
	by = count()
	for name, n := range before {
		if by[name] -= n; by[name] == 0 {
			delete(by, name)
		}
		all += by[name]
	}

	return all, by
}

// years enters what the service keeps of a reach for each day from $1 to $2, and
// what it archives of its feeds. $3 is the reach, $4 its gauge, $5 the place of
// its weather.
var years = []string{
	`INSERT INTO coldseam.day_summary SELECT * FROM kept_days WHERE day >= $1::date AND day < $2::date AND $3 || $4 || $5 <> '' ON CONFLICT DO NOTHING`,
	`INSERT INTO coldseam.fetch_state (profile, url, last_try_at, last_ok_at)
		SELECT 'northgauge-cap', 'http://alerts.example/' || $3 || $4 || $5 || d || '/' || k, d, d
		FROM generate_series($1::timestamptz, $2::timestamptz, '1 day') d, generate_series(1, 20) k`,
	`INSERT INTO coldseam.run_state (reach_id, species, day, issued_at, stage, stage_p, p_wave, arrived_p10, arrived_p50, arrived_p90, spawned_p50, body)
		SELECT $3, 'walleye', d::date, d + k * interval '1 hour', 'staging', .5, .5, .1, .2, .3, 0, '{"Active": true, "PWaveRaw": 0.5}'
		FROM generate_series($1::timestamptz, $2::timestamptz, '1 day') d, generate_series(1, 10) k WHERE $4 || $5 <> '' ON CONFLICT DO NOTHING`,
	`INSERT INTO coldseam.forecast (site_id, param, stat, period, provider, issued_at, known_at, issued_assumed, valid_at, value)
		SELECT $5, p, 'sum', 'PT1H', 'metgrid', d, d, false, ARRAY[d], ARRAY[0.]
		FROM generate_series($1::timestamptz, $2::timestamptz, '6 hours') d, unnest(ARRAY['precip', 'air_temp']) p WHERE $3 || $4 <> ''`,
	`INSERT INTO coldseam.observation (valid_at, known_at, value, series_id, flags, qualifier_set)
		SELECT d, d, 50, s.series_id, 0, o.qualifier_set
		FROM coldseam.series s
		CROSS JOIN LATERAL (SELECT qualifier_set FROM coldseam.observation WHERE series_id = s.series_id LIMIT 1) o
		CROSS JOIN generate_series($1::timestamptz, $2::timestamptz - interval '70 days', '6 hours') d
		WHERE s.site_id = $4 AND s.stat = 'instant' AND $3 || $5 <> '' ON CONFLICT DO NOTHING`,
	`INSERT INTO coldseam.brief OVERRIDING SYSTEM VALUE
		SELECT x.* FROM (SELECT * FROM coldseam.brief WHERE reach_id = $3 LIMIT 1) b
		CROSS JOIN generate_series($1::timestamptz, $2::timestamptz - interval '3 days', '1 day') WITH ORDINALITY d (at, n)
		CROSS JOIN LATERAL jsonb_populate_record(NULL::coldseam.brief, to_jsonb(b) || jsonb_build_object('brief_id', extract(epoch FROM at)::bigint, 'day', at::date, 'issued_at', at, 'body', '{}')) x
		WHERE $4 || $5 <> '' ON CONFLICT DO NOTHING`,
	`INSERT INTO coldseam.ensemble OVERRIDING SYSTEM VALUE
		SELECT x.* FROM (SELECT DISTINCT ON (param) * FROM coldseam.ensemble WHERE site_id = $4) b
		CROSS JOIN generate_series($1::timestamptz, $2::timestamptz - interval '3 days', '1 day') d
		CROSS JOIN LATERAL jsonb_populate_record(NULL::coldseam.ensemble, to_jsonb(b) || jsonb_build_object('ensemble_id', extract(epoch FROM d)::bigint + length(b.param), 'issued_at', d, 'members', NULL)) x
		WHERE $3 || $5 <> '' ON CONFLICT DO NOTHING`,
	`INSERT INTO coldseam.model
		SELECT x.* FROM (SELECT DISTINCT ON (owner, kind) * FROM coldseam.model WHERE owner IN ($3, $4) AND made_at < '3000-01-01' ORDER BY owner, kind, version) b
		CROSS JOIN generate_series($1::timestamptz, $2::timestamptz - interval '3 days', '7 days') d
		CROSS JOIN LATERAL jsonb_populate_record(NULL::coldseam.model, to_jsonb(b) || jsonb_build_object('version', extract(epoch FROM d)::bigint / 86400, 'made_at', d)) x
		WHERE $5 <> '' ON CONFLICT DO NOTHING`,
	`INSERT INTO coldseam.trip OVERRIDING SYSTEM VALUE
		SELECT x.* FROM (SELECT * FROM coldseam.trip WHERE reach_id = $3 AND NOT went_not LIMIT 1) b
		CROSS JOIN generate_series($1::timestamptz, $2::timestamptz - interval '3 days', '7 days') d
		CROSS JOIN LATERAL jsonb_populate_record(NULL::coldseam.trip, to_jsonb(b) || jsonb_build_object('trip_id', extract(epoch FROM d)::bigint, 'day', d::date, 'start_at', d, 'entered_at', d)) x
		WHERE $4 || $5 <> '' ON CONFLICT DO NOTHING`,
	`INSERT INTO coldseam.alert (provider, sender, identifier, sent_at, known_at, starts_at, ends_at, status, msg_type, event, severity, reference_ids, body, feed)
		SELECT 'northgauge-cap', 'office', $3 || $4 || $5 || d || k, d, d, d, d + interval '6 hours', 'Actual', 'Alert', 'Flood', 'Severe', '{}', '{}', 'northgauge-cap'
		FROM generate_series($1::timestamptz, $2::timestamptz - interval '3 days', '1 day') d, generate_series(1, 10) k`,
	`INSERT INTO coldseam.ice_state (reach_id, day, known_at, state, since, cause, frost_cd, thaw_cd)
		SELECT $3, d::date, d, 'open', d::date, 'warm', 0, 0 FROM generate_series($1::timestamptz, $2::timestamptz - interval '3 days', '1 day') d
		WHERE $4 || $5 <> '' ON CONFLICT DO NOTHING`,
}

// manyReaches enters $3 reaches of a club beside reach $2 with records of their
// own at gauges named $1-1, $1-2 and so on.
var manyReaches = []string{
	`INSERT INTO coldseam.site (site_id, provider, code, name, zone, lat_deg, lon_deg)
		SELECT $1 || '-' || k, t.provider, $1 || k, t.name, t.zone, t.lat_deg + k / 100., t.lon_deg
		FROM coldseam.reach r JOIN coldseam.site t USING (site_id), generate_series(1, $3::int) k WHERE r.reach_id = $2`,
	`WITH s AS (
			INSERT INTO coldseam.series (site_id, param, stat, period, provider, series_ref, unit, first_known_at)
			SELECT $1 || '-' || k, s.param, s.stat, s.period, s.provider, '', s.unit, s.first_known_at
			FROM coldseam.reach r JOIN coldseam.series s USING (site_id), generate_series(1, $3::int) k
			WHERE r.reach_id = $2 AND s.period = 'P1D' AND s.series_ref <> '' RETURNING series_id),
		l AS (
			INSERT INTO coldseam.latest (series_id, valid_at, known_at, changed_at, value, flags)
			SELECT series_id, '2026-04-01', '2026-04-01', '2026-04-01', 5, 0 FROM s)
		INSERT INTO coldseam.day_summary (series_id, day, lo, hi, total, n, quarters, flags)
		SELECT series_id, d::date, 5, 5, 5, 1, 15, 0 FROM s, generate_series('2024-12-01'::date, '2026-04-01'::date, '1 day') d`,
	`INSERT INTO coldseam.reach
		SELECT x.* FROM coldseam.reach r
		CROSS JOIN generate_series(1, $3::int) k
		CROSS JOIN LATERAL jsonb_build_object('ID', $1 || k, 'Site', $1 || '-' || k, 'TempSite', '', 'AirSite', '', 'Lat', r.lat_deg + k / 100.,
			'Spots', NULL, 'UpstreamSites', NULL) b
		CROSS JOIN LATERAL jsonb_populate_record(r, jsonb_build_object('reach_id', $1 || k, 'site_id', $1 || '-' || k, 'temp_site_id', NULL,
			'lat_deg', r.lat_deg + k / 100., 'body', r.body || b)) x
		WHERE r.reach_id = $2`,
}

// foreignSeries are what answers name beside the club's own gauges.
const foreignSeries = `
WITH t AS (
	INSERT INTO coldseam.site (site_id, provider, code, name, zone, lat_deg, lon_deg, stub)
	SELECT 'foreign:' || k, 'foreign', k, k, 'UTC', 0, 0, true FROM generate_series(1, 20000) k RETURNING site_id),
s AS (
	INSERT INTO coldseam.series (site_id, param, stat, period, provider, series_ref, unit, first_known_at)
	SELECT site_id, 'discharge', 'instant', '', 'foreign', '', 'm3_s', '2026-04-01' FROM t RETURNING series_id)
INSERT INTO coldseam.latest (series_id, valid_at, known_at, changed_at, value, flags)
SELECT series_id, '2026-04-01', '2026-04-01', '2026-04-01', 5, 0 FROM s`

// A brief, from its first read to its last write, touches as many rows after five
// years of service as after one, in a club of 250 reaches as in one of 5, and
// whatever else the answers of the feeds name. The gauge stands still, so that
// its neighbours are asked as well.
func TestRowsOfABriefDoNotGrow(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()
	r := v.ReachOf(t, "tamsen-bend")
	exec := func(sql string, args ...any) {
		t.Helper()
		_, err := v.DB.Pool().Exec(ctx, sql, args...)
		require.NoError(t, err)
	}

	// A small table is read whole because that is quick; what grows must not be.
	exec(`DO $$ BEGIN EXECUTE format('ALTER DATABASE %I SET enable_seqscan = off', current_database()); END $$`)
	v.DB.Pool().Reset()
	exec(`CREATE TABLE kept_days AS SELECT * FROM coldseam.day_summary`)
	exec(`DELETE FROM coldseam.day_summary WHERE day < '2025-04-01'`)
	exec(`UPDATE coldseam.observation SET value = 50 WHERE series_id IN (
		SELECT series_id FROM coldseam.series WHERE site_id = $1 AND param = 'discharge') AND valid_at > $2`, r.Site, v.Now().Add(-2*env.Day))

	grow := func(from, to string, reaches int) {
		t.Helper()
		for _, sql := range years {
			exec(sql, from, to, r.ID, r.Site, r.WeatherSite)
		}
		for _, sql := range manyReaches {
			exec(sql, fmt.Sprintf("club-of-%d", reaches), r.ID, reaches)
		}
		require.NoError(t, v.App.Pack(ctx))
		exec(`ANALYZE`)
	}

	brief := func() {
		t.Helper()
		_, err := v.Morning.MakeBrief(ctx, r, clubtest.Saturday)
		require.NoError(t, err)
	}

	grow("2025-04-01", "2026-04-17", 5)
	brief()
	one, oneBy := rowsRead(t, v, brief)
	grow("2021-04-01", "2025-03-31", 250)
	exec(foreignSeries)
	exec(`ANALYZE`)
	brief()
	five, fiveBy := rowsRead(t, v, brief)
	t.Logf("rows of a brief: %.0f with one year and 5 more reaches, %.0f with five years and 255", one, five)
	require.InEpsilon(t, one, five, .1, "%v, then %v", oneBy, fiveBy)
}
