// Package storetest gives a test a migrated database of its own. It is
// imported by tests only.
package storetest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/localpg"
)

// New returns a migrated, empty database that goes with the test. It is a
// clone of a template on the server of TEST_DATABASE_URL, or else on a private
// Postgres shared by the tests of one binary. Without either the test is
// skipped; it fails if CI is set.
func New(t testing.TB) *store.DB { return NewWith(t, store.Options{}) }

// NewWith is New with options.
func NewWith(t testing.TB, o store.Options) *store.DB {
	t.Helper()
	db, err := store.Open(t.Context(), URL(t), o)
	require.NoError(t, err)
	t.Cleanup(db.Close)
	return db
}

// URL returns the connection string of a migrated, empty database, for tests
// that open it more than once.
func URL(t testing.TB) string {
	t.Helper()
	s := start(t)
	name := fmt.Sprintf("t_%d_%d", os.Getpid(), clones.Add(1))
	s.exec(t, `CREATE DATABASE `+name+` TEMPLATE `+s.template)
	t.Cleanup(func() { s.exec(t, `DROP DATABASE IF EXISTS `+name+` WITH (FORCE)`) })
	// The rights on a database are not copied with it.
	s.exec(t, `DO $$ BEGIN GRANT CONNECT ON DATABASE `+name+
		` TO season_reader; EXCEPTION WHEN undefined_object OR internal_error THEN NULL; END $$`)
	return s.url(name)
}

// EmptyURL returns the connection string of a database without any schema.
func EmptyURL(t testing.TB) string {
	t.Helper()
	s := start(t)
	name := fmt.Sprintf("t_%d_%d", os.Getpid(), clones.Add(1))
	s.exec(t, `CREATE DATABASE `+name)
	t.Cleanup(func() { s.exec(t, `DROP DATABASE IF EXISTS `+name+` WITH (FORCE)`) })
	return s.url(name)
}

// server is shared by the tests of one binary: the one thing here that is
// kept between tests.
type server struct {
	url      func(database string) string
	template string
	mu       sync.Mutex // CREATE DATABASE copies the template alone
	admin    string
	err      error
}

var (
	shared = sync.OnceValue(newServer)
	clones atomic.Int64
)

func start(t testing.TB) *server {
	t.Helper()
	s := shared()
	if s.err == nil {
		return s
	}
	if errors.Is(s.err, coldseam.ErrNotFound) && os.Getenv("CI") == "" {
		t.Skipf("no database for this test: %v", s.err)
	}
	t.Fatalf("no database for this test: %v", s.err)
	return nil
}

func (s *server) exec(t testing.TB, sql string) {
	t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
	defer cancel()
	c, err := pgx.Connect(ctx, s.admin)
	require.NoError(t, err)
	defer c.Close(ctx)
	_, err = c.Exec(ctx, sql)
	require.NoError(t, err)
}

func newServer() *server {
	ctx, cancel := context.WithTimeout(context.Background(), 90*time.Second)
	defer cancel()
	s := &server{}
	if u := os.Getenv("TEST_DATABASE_URL"); u != "" {
		s.err = s.use(u)
	} else {
		s.err = s.private(ctx)
	}
	if s.err == nil {
		s.err = s.makeTemplate(ctx)
	}
	return s
}

func (s *server) use(raw string) error {
	u, err := url.Parse(raw)
	if err != nil {
		return fmt.Errorf("TEST_DATABASE_URL cannot be read: %w", coldseam.ErrInvalid)
	}
	s.admin = raw
	s.url = func(database string) string {
		c := *u
		c.Path = "/" + database
		return c.String()
	}
	return nil
}

// private starts a Postgres in the first free slot under the temporary
// directory. A slot is kept for the next run: its cluster and template need
// not be made again, and the number of left-over directories is bounded by
// the number of test binaries that ever ran at once.
func (s *server) private(ctx context.Context) error {
	base := filepath.Join(os.TempDir(), "coldseam-storetest-"+strconv.Itoa(os.Getuid()))
	if err := os.Mkdir(base, 0o711); err != nil && !os.IsExist(err) {
		return err
	}
	for slot := range 64 {
		pg, err := localpg.Start(ctx, localpg.Options{Dir: filepath.Join(base, strconv.Itoa(slot)), Fast: true,
			Settings: map[string]string{"max_connections": "200", "autovacuum": "off", "max_wal_size": "256MB"}})
		if errors.Is(err, coldseam.ErrUnavailable) && strings.Contains(err.Error(), "in use") {
			continue
		}
		if err != nil {
			return err
		}
		s.admin, s.url = pg.URL("postgres"), pg.URL
		return nil // it ends with this process
	}
	return fmt.Errorf("all 64 test servers are in use: %w", coldseam.ErrUnavailable)
}

// makeTemplate migrates a database once per state of the migrations and drops
// what earlier runs left.
func (s *server) makeTemplate(ctx context.Context) error {
	c, err := pgx.Connect(ctx, s.admin)
	if err != nil {
		return err
	}
	defer c.Close(ctx)

	state, err := schemaState()
	if err != nil {
		return err
	}
	s.template = "tmpl_" + state
	if _, err := c.Exec(ctx, `SELECT pg_advisory_lock(7263710099)`); err != nil {
		return err
	}
	if os.Getenv("TEST_DATABASE_URL") == "" {
		if err := dropOld(ctx, c, s.template); err != nil {
			return err
		}
	}

	var there bool
	if err := c.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, s.template).Scan(
		&there); err != nil || there {
		return err
	}
	half := s.template + "_half"
	for _, sql := range []string{`DROP DATABASE IF EXISTS ` + half + ` WITH (FORCE)`, `CREATE DATABASE ` + half} {
		if _, err := c.Exec(ctx, sql); err != nil {
			return err
		}
	}

	db, err := store.Open(ctx, s.url(half), store.Options{})
	if err != nil {
		return err
	}

	err = db.Migrate(ctx)
	db.Close()
	if err != nil {
		return err
	}
	_, err = c.Exec(ctx, `ALTER DATABASE `+half+` RENAME TO `+s.template)
	return err
}

// schemaState names what a migrated database holds: the migrations and the
// sources of store that write into a new database. They are found from the
// folder of the test that runs.
func schemaState() (string, error) {
	root, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for root != filepath.Dir(root) {
		if _, err := os.Stat(filepath.Join(root, "go.mod")); err == nil {
			break
		}
		root = filepath.Dir(root)
	}
	dir := filepath.Join(root, "store")
	files, err := filepath.Glob(filepath.Join(dir, "migrations", "*.sql"))
	if err != nil || len(files) == 0 {
		return "", fmt.Errorf("no migrations in %s: %w", dir, coldseam.ErrNotFound)
	}

	h := sha256.New()
	for _, f := range append(files, filepath.Join(dir, "migrate.go"), filepath.Join(dir, "lockdown.go")) {
		b, err := os.ReadFile(f)
		if err != nil {
			return "", err
		}
		fmt.Fprintln(h, filepath.Base(f), len(b))
		h.Write(b)
	}
	return hex.EncodeToString(h.Sum(nil)[:6]), nil
}

func dropOld(ctx context.Context, c *pgx.Conn, keep string) error {
	rows, err := c.Query(ctx, `SELECT datname FROM pg_database WHERE (datname LIKE 't\_%' OR datname LIKE 'tmpl\_%') AND datname <> $1`, keep)
	if err != nil {
		return err
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return err
	}
	for _, n := range names {
		if _, err := c.Exec(ctx, `DROP DATABASE IF EXISTS `+pgx.Identifier{n}.Sanitize()+` WITH (FORCE)`); err != nil {
			return err
		}
	}
	return nil
}

// Ask reads rows of T, matched by column name.
func Ask[T any](ctx context.Context, db *store.DB, sql string, args ...any) ([]T, error) {
	rows, err := db.Pool().Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByName[T])
}
