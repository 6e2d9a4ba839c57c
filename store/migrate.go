package store

import (
	"context"
	"embed"
	"fmt"
	"io/fs"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/tern/v2/migrate"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"example.org/coldseam"
)

//go:embed migrations/*.sql
var migrations embed.FS

const versionTable = "coldseam.schema_version"

// SchemaState says how far the database is.
type SchemaState struct {
	Have, Want int
}

// Newer reports that a newer program has migrated the database.
func (s SchemaState) Newer() bool { return s.Have > s.Want }

// Current reports that nothing is to be done.
func (s SchemaState) Current() bool { return s.Have == s.Want }

// Schema reads the state without changing anything; Have is 0 on an empty
// database.
func (db *DB) Schema(ctx context.Context) (SchemaState, error) {
	files, err := migrationFiles()
	if err != nil {
		return SchemaState{}, err
	}
	s := SchemaState{Want: len(files)}
	var there bool
	if err := db.pool.QueryRow(ctx, `SELECT to_regclass($1) IS NOT NULL`, versionTable).Scan(&there); err != nil {
		return s, fmt.Errorf("schema version: %w", classify(err))
	}
	if !there {
		return s, nil
	}
	if err := db.pool.QueryRow(ctx, `SELECT version FROM `+versionTable).Scan(&s.Have); err != nil {
		return s, fmt.Errorf("schema version: %w", classify(err))
	}
	return s, nil
}

// RequireCurrent refuses a database that this program must not write to.
func (db *DB) RequireCurrent(ctx context.Context) error {
	s, err := db.Schema(ctx)
	if err != nil {
		return err
	}
	if s.Newer() {
		return s.refusal()
	}
	if !s.Current() {
		return fmt.Errorf("database schema is %d, this program needs %d: run coldseam migrate: %w", s.Have, s.Want,
			coldseam.ErrInvalid)
	}
	return nil
}

func (s SchemaState) refusal() error {
	return fmt.Errorf("database schema %d is newer than this program, which knows %d: use the newer program; there is no way back but restoring a backup: %w",
		s.Have, s.Want, coldseam.ErrInvalid)
}

// oldestServer is the first major version with all that the schema uses:
// unique keys that take nulls as equal.
const oldestServer = 15

func (db *DB) checkServer(ctx context.Context) error {
	var num int
	if err := db.pool.QueryRow(ctx, `SELECT current_setting('server_version_num')::int`).Scan(&num); err != nil {
		return fmt.Errorf("server version: %w", classify(err))
	}
	if num/10000 < oldestServer {
		return fmt.Errorf("the database server is Postgres %d, wanted %d or newer: %w", num/10000, oldestServer,
			coldseam.ErrInvalid)
	}
	return nil
}

// Migrate brings the schema to the state of this program, each step in one
// transaction under an advisory lock, and closes the readers' role. A newer
// schema is refused.
func (db *DB) Migrate(ctx context.Context) error {
	if err := db.checkServer(ctx); err != nil {
		return err
	}
	s, err := db.Schema(ctx)
	if err != nil {
		return err
	}
	if s.Newer() {
		return s.refusal()
	}

	// The queue's own migrations and the role take no lock: several servers
	// that start at once wait for one another here.
	return db.InLongTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(7263710001)`); err != nil {
			return fmt.Errorf("migrate: %w", classify(err))
		}
		cfg := db.pool.Config()
		cfg.MaxConns = 2
		cfg.AfterConnect = func(ctx context.Context, c *pgx.Conn) error { return noTimeLimits(ctx, c, false) }
		patient, err := pgxpool.NewWithConfig(ctx, cfg)
		if err != nil {
			return fmt.Errorf("migrate: %w", classify(err))
		}
		defer patient.Close()

		if err := db.migrateTables(ctx, patient); err != nil {
			return err
		}
		if err := db.migrateQueue(ctx, patient); err != nil {
			return err
		}
		_, err = db.LockDown(ctx)
		return err
	})
}

// Migratable refuses a schema that only a newer program knows.
func Migratable(version int) error {
	files, err := migrationFiles()
	if s := (SchemaState{Have: version, Want: len(files)}); err == nil && s.Newer() {
		return s.refusal()
	}
	return err
}

func migrationFiles() ([]string, error) {
	sub, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	files, err := migrate.FindMigrations(sub)
	if err != nil {
		return nil, fmt.Errorf("migrations: %w", err)
	}
	return files, nil
}

// The schemas come before tern makes its version table.
const sqlSchemas = `
CREATE SCHEMA IF NOT EXISTS coldseam;
CREATE SCHEMA IF NOT EXISTS river;
CREATE SCHEMA IF NOT EXISTS season;`

func (db *DB) migrateTables(ctx context.Context, pool *pgxpool.Pool) error {
	sub, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}

	return pool.AcquireFunc(ctx, func(c *pgxpool.Conn) error {
		if _, err := c.Exec(ctx, sqlSchemas); err != nil {
			return fmt.Errorf("make schemas: %w", classify(err))
		}
		m, err := migrate.NewMigrator(ctx, c.Conn(), versionTable)
		if err != nil {
			return fmt.Errorf("migrate: %w", classify(err))
		}

		if err := m.LoadMigrations(sub); err != nil {
			return fmt.Errorf("migrations: %w", err)
		}
		m.OnStart = func(n int32, name, _, _ string) { db.log.Info("migrating", "n", n, "name", name) }
		if err := m.Migrate(ctx); err != nil {
			return fmt.Errorf("migrate: %w", classify(err))
		}
		return nil
	})
}

func (db *DB) migrateQueue(ctx context.Context, pool *pgxpool.Pool) error {
	m, err := rivermigrate.New(riverpgxv5.New(pool), &rivermigrate.Config{Schema: queueSchema, Logger: db.log})
	if err != nil {
		return fmt.Errorf("migrate queue: %w", err)
	}
	if _, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		return fmt.Errorf("migrate queue: %w", classify(err))
	}
	return nil
}
