package store

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// Status is the state of the database for checks and metrics. It holds
// numbers only.
type Status struct {
	Server       string        // version of Postgres
	Schema       SchemaState   //
	ClockSkew    time.Duration // of the server against ours, positive = ahead
	Bytes        int64         // size of the database
	Observations int64         // estimate of the statistics, not a count
	Series       int
	Connections  int
	Jobs         map[string]map[string]int // by queue and state of River
	OldestJob    time.Duration             // waiting and due
	Mail         map[string]int            // outbox rows of the last two days by state
	Held         bool
	StoppedEds   int // mailings stopped by a fault
}

// Status reads the state of the database.
func (db *DB) Status(ctx context.Context) (Status, error) {
	s := Status{Jobs: map[string]map[string]int{}, Mail: map[string]int{}}
	fail := func(err error) (Status, error) { return s, fmt.Errorf("database status: %w", classify(err)) }
	var err error
	if s.Schema, err = db.Schema(ctx); err != nil {
		return fail(err)
	}
	var now time.Time
	var oldest float64
	sent := time.Now()

	if err := db.pool.QueryRow(ctx, `
		SELECT current_setting('server_version'), clock_timestamp(), pg_database_size(current_database()),
		  (SELECT GREATEST(reltuples, 0)::int8 FROM pg_class WHERE oid = 'coldseam.observation'::regclass),
		  (SELECT count(*) FROM coldseam.series),
		  (SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()),
		  (SELECT is_on FROM coldseam.switch WHERE name = 'hold'),
		  (SELECT count(*) FROM coldseam.edition WHERE held),
		  (SELECT COALESCE(extract(epoch FROM now() - min(scheduled_at)), 0) FROM river.river_job WHERE state IN ('available', 'retryable') AND scheduled_at <= now())`).
		Scan(&s.Server, &now, &s.Bytes, &s.Observations, &s.Series, &s.Connections, &s.Held, &s.StoppedEds,
			&oldest); err != nil {
		return fail(err)
	}

	// Half the round trip is not the server's clock.
	s.ClockSkew = now.Sub(sent.Add(time.Since(sent) / 2))
	s.OldestJob = time.Duration(oldest * float64(time.Second))
	rows, err := db.pool.Query(ctx, `SELECT queue, state::text, count(*) FROM river.river_job GROUP BY 1, 2`)
	if err != nil {
		return fail(err)
	}

	var queue, state string
	var n int
	if _, err := pgx.ForEachRow(rows, []any{&queue, &state, &n}, func() error {
		if s.Jobs[queue] == nil {
			s.Jobs[queue] = map[string]int{}
		}
		s.Jobs[queue][state] = n
		return nil
	}); err != nil {
		return fail(err)
	}

	rows, err = db.pool.Query(ctx,
		`SELECT state, count(*) FROM coldseam.outbox WHERE local_date >= current_date - 1 GROUP BY state`)
	if err != nil {
		return fail(err)
	}
	if _, err := pgx.ForEachRow(rows, []any{&state, &n}, func() error { s.Mail[state] = n; return nil }); err != nil {
		return fail(err)
	}
	return s, nil
}

// Kinds of a newest value.
const (
	KindGauge   = "gauge"
	KindWeather = "weather"
	KindFeed    = "feed"
)

// NewestValue is how far one source has come.
type NewestValue struct {
	Kind   string
	Source string             // site id, or the profile of a feed
	Param  coldseam.Parameter // "" of a feed
	At     time.Time
}

// NewestValues lists, for the reaches that are not retired, the newest value of
// each quantity their gauges measure and the newest issue of each quantity of
// their weather, and for each profile the last good answer. Rows without a value
// count for nothing.
func (db *DB) NewestValues(ctx context.Context) ([]NewestValue, error) {
	rows, err := db.pool.Query(ctx, `
		WITH r AS (SELECT body->>'Site' AS site, body->>'TempSite' AS temp, body->>'WeatherSite' AS weather FROM coldseam.reach WHERE NOT retired)
		SELECT 'gauge', s.site_id, s.param, max(CASE WHEN l.value IS NOT NULL THEN l.valid_at ELSE
		         (SELECT o.valid_at FROM coldseam.observation o WHERE o.series_id = l.series_id AND o.value IS NOT NULL ORDER BY o.valid_at DESC LIMIT 1) END) AS at
		FROM coldseam.series s JOIN coldseam.latest l USING (series_id)
		WHERE s.stat = 'instant' AND s.site_id IN (SELECT site FROM r UNION SELECT temp FROM r)
		GROUP BY 1, 2, 3
		UNION ALL
		SELECT 'weather', w.site, p.param, (SELECT max(f.issued_at) FROM coldseam.forecast f WHERE f.site_id = w.site AND f.param = p.param)
		FROM (SELECT DISTINCT weather AS site FROM r) w CROSS JOIN unnest($1::text[]) AS p(param)
		UNION ALL
		SELECT 'feed', profile, '', max(last_ok_at) FROM coldseam.fetch_state GROUP BY profile`,
		[]coldseam.Parameter{coldseam.AirTemp, coldseam.Wind, coldseam.Gust, coldseam.Precip, coldseam.ThunderProb})
	if err != nil {
		return nil, fmt.Errorf("newest values: %w", classify(err))
	}

	all, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (NewestValue, error) {
		var v NewestValue
		var at *time.Time
		err := r.Scan(&v.Kind, &v.Source, &v.Param, &at)
		v.At = timeOf(at)
		return v, err
	})
	if err != nil {
		return nil, fmt.Errorf("newest values: %w", classify(err))
	}

	return slices.DeleteFunc(all, func(v NewestValue) bool { return v.At.IsZero() }), nil
}
