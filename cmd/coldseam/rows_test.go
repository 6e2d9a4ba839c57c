package main

import (
	"fmt"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// rowsRead counts the rows that the database touches while f runs, by table.
func (v *town) rowsRead(t *testing.T, f func()) (all float64, by map[string]float64) {
	t.Helper()
	count := func() map[string]float64 {
		t.Helper()
		for _, c := range v.db.Pool().AcquireAllIdle(t.Context()) { // each tells its own counts
			_, err := c.Exec(t.Context(), `SELECT pg_stat_force_next_flush()`)
			require.NoError(t, err)
			c.Release()
		}
		rows, err := v.db.Pool().Query(t.Context(),
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

// A brief reads as many rows after five years of service as after one, and in a
// club of 250 reaches as in one of 5. The days of the river's own record and of
// the few it leans on are what the models are fed, and grow by a row a day.
func TestRowsOfABriefDoNotGrow(t *testing.T) {
	t.Parallel()
	v := servingTown(t)
	ctx := t.Context()
	r := v.reachOf(t, "tamsen-bend")
	exec := func(sql string, args ...any) {
		t.Helper()
		_, err := v.db.Pool().Exec(ctx, sql, args...)
		require.NoError(t, err)
	}
	// A short record: the river leans on others.
	exec(`DELETE FROM coldseam.day_summary WHERE day < '2023-01-01'`)
	grow := func(from, to string, reaches int) {
		exec(`INSERT INTO coldseam.fetch_state (profile, url, last_try_at, last_ok_at)
			SELECT 'northgauge-cap', 'http://alerts.example/' || d || '/' || k, d, d
			FROM generate_series($1::timestamptz, $2::timestamptz, '1 day') d, generate_series(1, 20) k`, from, to)
		exec(`INSERT INTO coldseam.run_state (reach_id, species, day, issued_at, stage, stage_p, p_wave, arrived_p10, arrived_p50, arrived_p90, spawned_p50, body)
			SELECT $3, 'walleye', d::date, d + k * interval '1 hour', 'staging', .5, .5, .1, .2, .3, 0, '{"Active": true, "PWaveRaw": 0.5}'
			FROM generate_series($1::timestamptz, $2::timestamptz, '1 day') d, generate_series(1, 10) k`, from, to, r.ID)
		exec(`INSERT INTO coldseam.forecast (site_id, param, stat, period, provider, issued_at, known_at, issued_assumed, valid_at, value)
			SELECT $3, 'precip', 'sum', 'PT1H', 'metgrid', d, d, false, ARRAY[d], ARRAY[0.]
			FROM generate_series($1::timestamptz, $2::timestamptz, '6 hours') d`, from, to, r.WeatherSite)
		for k := range reaches {
			code := fmt.Sprintf("far%d-%d", reaches, k)
			exec(`INSERT INTO coldseam.site (site_id, provider, code, name, zone, lat_deg, lon_deg)
				SELECT $1, provider, $1, name, zone, lat_deg, lon_deg FROM coldseam.site WHERE site_id = $2`, code, r.Site)
			exec(`WITH s AS (INSERT INTO coldseam.series (site_id, param, stat, period, provider, series_ref, unit, first_known_at)
				SELECT $1, param, stat, period, provider, '', unit, first_known_at FROM coldseam.series
				WHERE site_id = $2 AND period = 'P1D' AND series_ref <> '' RETURNING series_id)
				INSERT INTO coldseam.day_summary (series_id, day, lo, hi, total, n, quarters, flags)
				SELECT series_id, d::date, 5, 5, 5, 1, 15, 0 FROM s, generate_series('2024-01-01'::date, '2026-04-01'::date, '1 day') d`, code, r.Site)
			far := r
			far.ID, far.Site, far.TempSite, far.AirSite, far.Lat = coldseam.ReachID(code), coldseam.SiteID(code), "", "", r.Lat+float64(k+1)/100
			far.Spots, far.UpstreamSites = nil, nil
			require.NoError(t, v.db.PutReach(ctx, far, store.Edit{Who: "test", Why: "a large club"}))
		}
		exec(`ANALYZE`)
	}
	brief := func() { v.featuresOf(t, r) }

	grow("2025-04-01", "2026-04-01", 5)
	brief()
	one, oneBy := v.rowsRead(t, brief)
	grow("2021-04-01", "2025-03-31", 250)
	brief()
	five, fiveBy := v.rowsRead(t, brief)
	t.Logf("rows of a brief: %.0f with one year and 5 more reaches, %.0f with five years and 255", one, five)
	require.InEpsilon(t, one, five, .1, "%v, then %v", oneBy, fiveBy)
}
