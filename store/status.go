package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
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
	StoppedEds   int // editions stopped by a fault
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
		Scan(&s.Server, &now, &s.Bytes, &s.Observations, &s.Series, &s.Connections, &s.Held, &s.StoppedEds, &oldest); err != nil {
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
	rows, err = db.pool.Query(ctx, `SELECT state, count(*) FROM coldseam.outbox WHERE local_date >= current_date - 1 GROUP BY state`)
	if err != nil {
		return fail(err)
	}
	if _, err := pgx.ForEachRow(rows, []any{&state, &n}, func() error { s.Mail[state] = n; return nil }); err != nil {
		return fail(err)
	}
	return s, nil
}
