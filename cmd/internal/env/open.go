// Package env is what every command stands on: flags, streams and exit
// status, the configuration as checked, the open database, a log and a clock.
package env

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/store"
	"example.org/coldseam/store/backup"
	"example.org/coldseam/store/localpg"
)

// Env is what every command that needs the database gets: the configuration as
// checked, the open database, a log and a clock.
type Env struct {
	Config config.Config
	DB     *store.DB
	Where  string // which database, in words without a password
	Log    *slog.Logger
	Now    func() time.Time
	Table  verdict.Table   // of the decision, with the club's own values
	pg     *localpg.Server // nil with a database of the admin's own
}

// Options are what commands and tests vary.
type Options struct {
	Now      func() time.Time
	Log      *slog.Logger
	Migrate  bool
	FastPG   bool   // tests only
	TokenKey []byte // instead of the key file
	DBURL    string // instead of config and environment
	// AnySchema opens a database of whatever schema: for check, backup and
	// migrate.
	AnySchema bool
	Alone     bool // the service: it owns the private Postgres, and never joins that of another process
}

// Open opens the database: the private one unless a URL is configured. It
// migrates when asked to. Limits and rules that may not stand are refused before.
func Open(ctx context.Context, cfg config.Config, o Options) (*Env, error) {
	e := &Env{Config: cfg, Log: o.Log, Now: o.Now}
	if e.Log == nil {
		e.Log = slog.New(slog.DiscardHandler)
	}
	if e.Now == nil {
		e.Now = time.Now
	}

	var err error
	if e.Table, err = cfg.Table(); err != nil {
		return nil, err
	}
	if _, err = cfg.Alerts(); err != nil {
		return nil, err
	}
	if err := e.openDatabase(ctx, o); err != nil {
		e.Close()
		return nil, err
	}

	return e, nil
}

// Close closes the database and ends a private Postgres that was started for it.
func (e *Env) Close() {
	if e.DB != nil {
		e.DB.Close()
	}
	if e.pg != nil {
		e.pg.Stop()
	}
}

func (e *Env) openDatabase(ctx context.Context, o Options) error {
	dsn := o.DBURL
	e.Where = "the database given"
	if dsn == "" {
		dsn, e.Where = os.Getenv("COLDSEAM_DATABASE_URL"), "the database of COLDSEAM_DATABASE_URL"
	}
	if dsn == "" {
		dsn, e.Where = e.Config.DatabaseURL, "the configured database"
	}

	if dsn == "" {
		var err error
		if dsn, err = e.private(ctx, o); err != nil {
			return err
		}
	}

	db, err := store.Open(ctx, dsn, store.Options{Log: e.Log, Now: e.Now, HoldUnknown: e.Config.Mail.Unknown == "hold",
		DomainRate: e.Config.Mail.DomainRate(), TotalRate: e.Config.Mail.TotalRate()})
	if err != nil {
		return err
	}

	e.DB = db
	if o.AnySchema {
		return nil
	}
	if o.Migrate {
		return e.Upgrade(ctx)
	}
	return db.RequireCurrent(ctx)
}

// Upgrade migrates; a database of an older schema is backed up first, since a
// schema never goes down again.
func (e *Env) Upgrade(ctx context.Context) error {
	st, err := e.DB.Schema(ctx)
	if err != nil {
		return err
	}
	if st.Have > 0 && st.Have < st.Want {
		path, err := backup.Make(ctx, e.DB, backup.Options{
			Dir:   e.Config.Backup.Dir,
			Files: e.Config.SecretFiles(),
			Bin:   e.PgBin(),
			Now:   e.Now(),
		})
		if err != nil {
			return fmt.Errorf(
				"backup before migrating from schema %d to %d: %w (coldseam migrate --no-backup goes on without)",
				st.Have, st.Want, err)
		}
		e.Log.Info("backed up before migrating", "path", path)
	}
	return e.DB.Migrate(ctx)
}

// private starts the private Postgres. While the service runs it, a command
// joins it instead: an admin looks and mends at the busiest hour.
func (e *Env) private(ctx context.Context, o Options) (dsn string, err error) {
	dir := filepath.Join(e.Config.StateDir, "database")
	if !o.Alone {
		// Asked first: starting one touches the directory, which may belong to
		// the user of the service.
		if url, ok := localpg.Running(dir); ok {
			e.Where = "private Postgres of the running service"
			return url, nil
		}
	}
	if e.pg, err = localpg.Start(ctx, localpg.Options{Dir: dir, Log: e.Log, Fast: o.FastPG}); err != nil {
		e.pg = nil
		return "", err
	}
	e.Where = fmt.Sprintf("private Postgres %d", e.pg.Major())
	return e.pg.URL(localpg.User), nil
}

// PgBin is the directory of pg_dump that fits the private server; "" = looked
// for.
func (e *Env) PgBin() string {
	if e.pg != nil {
		return e.pg.Bin()
	}
	return ""
}
