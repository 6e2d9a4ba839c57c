package faults

import (
	"context"
	"runtime"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam/cmd/internal/clubtest"
)

// dieAt lets a worker die at a step of its first mail, as a killed process
// does: nothing is given back. It reports whether that step was reached.
func dieAt(ctx context.Context, v *clubtest.Harness, step string) bool {
	died := false
	done := make(chan struct{})
	go func() {
		defer close(done)
		s := v.Mail.Sender("dies at " + step)
		s.Fail = func(at string) {
			if at == step {
				died = true
				runtime.Goexit()
			}
		}
		_, _ = s.Run(ctx, 5)
	}()
	<-done
	return died
}

// endSessions ends every session of the town's database, as a restart of
// Postgres does.
func endSessions(ctx context.Context, v *clubtest.Harness, dbURL string) error {
	c, err := pgx.Connect(ctx, dbURL)
	if err != nil {
		return err
	}
	defer c.Close(ctx)
	_, err = c.Exec(ctx, `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()`)
	return err
}
