package main

import (
	"context"
	"encoding/json"
	"errors"
	"net"
	"runtime"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

func smtpDial(addr string) (net.Conn, error) { return net.Dial("tcp", addr) }

// do runs one job as its worker would.
func (v *town) do(ctx context.Context, kind, raw string) error {
	switch kind {
	case "fetch":
		var a store.FetchArgs
		if err := json.Unmarshal([]byte(raw), &a); err != nil {
			return err
		}
		return v.App.FetchJob(ctx, a)
	case "brief":
		var a store.BriefArgs
		if err := json.Unmarshal([]byte(raw), &a); err != nil {
			return err
		}
		return v.App.BriefJob(ctx, a)
	case "upkeep":
		return v.App.UpkeepJob(ctx, store.UpkeepArgs{})
	case "mail":
		if _, err := v.Mail.Sender("job").Run(ctx, 50); !errors.Is(err, coldseam.ErrUnavailable) {
			return err
		}
	}

	return nil
}

// dieAt lets a worker die at a step of its first mail, as a killed process
// does: nothing is given back. It reports whether that step was reached.
func (v *town) dieAt(ctx context.Context, step string) bool {
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
func (v *town) endSessions(ctx context.Context, dbURL string) error {
	c, err := pgx.Connect(ctx, dbURL)
	if err != nil {
		return err
	}
	defer c.Close(ctx)
	_, err = c.Exec(ctx, `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()`)
	return err
}
