package clubtest

import (
	"bytes"
	"context"
	"fmt"
	"net/url"
	"os"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify/smtptest"
	"example.org/coldseam/store/storetest"
)

// Template is a database with years of history, fitted models and the
// briefs of the morning, made once by the first test that needs it: fits take
// seconds, a clone a tenth. On the private server of the tests it stays for the
// other packages of the same go test run.
type Template struct {
	once        sync.Once
	admin, name string
	n           atomic.Int64
	own         bool // of this binary alone
}

// Ready is the template that the tests of one run share.
var Ready Template

// other is the connection string of another database on the same server.
func other(t testing.TB, dbURL, name string) string {
	t.Helper()
	u, err := url.Parse(dbURL)
	require.NoError(t, err)
	u.Path = "/" + name
	return u.String()
}

func (x *Template) exec(sql string) error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	c, err := pgx.Connect(ctx, x.admin)
	if err != nil {
		return err
	}
	defer c.Close(ctx)
	_, err = c.Exec(ctx, sql)
	return err
}

// runKey names the go test run that this binary is part of: its packages are of
// one state of the code. "" where that is not known, or the server not ours.
func runKey() string {
	comm, err := os.ReadFile(fmt.Sprintf("/proc/%d/comm", os.Getppid()))
	if err != nil || strings.TrimSpace(string(comm)) != "go" || os.Getenv("TEST_DATABASE_URL") != "" {
		return ""
	}
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", os.Getppid()))
	f := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:]))
	if err != nil || len(f) < 20 {
		return ""
	}
	return fmt.Sprintf("%d_%s", os.Getppid(), f[19]) // a number comes again, not with the same start
}

// keepOnly drops the templates of other runs and reports whether name is there.
func (x *Template) keepOnly(name string) (there bool, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	c, err := pgx.Connect(ctx, x.admin)
	if err != nil {
		return false, err
	}
	defer c.Close(ctx)
	rows, err := c.Query(ctx, `SELECT datname FROM pg_database WHERE datname LIKE 'town\_%'`)
	if err != nil {
		return false, err
	}
	found, err := pgx.CollectRows(rows, pgx.RowTo[string])
	for _, n := range found {
		if n == name {
			there = true
		} else if err == nil {
			_, err = c.Exec(ctx, `DROP DATABASE IF EXISTS `+n+` WITH (FORCE)`)
		}
	}
	return there, err
}

// Main runs the tests of a package that uses the template, and drops it.
func Main(m *testing.M) {
	code := m.Run()
	Ready.drop()
	os.Exit(code)
}

func (x *Template) drop() {
	if x.own {
		_ = x.exec(`DROP DATABASE IF EXISTS ` + x.name + ` WITH (FORCE)`)
	}
}

// URL is a clone of the ready club's database, dropped with the test.
func (x *Template) URL(t *testing.T) string {
	t.Helper()
	x.once.Do(func() {
		src := storetest.URL(t)
		x.admin = other(t, src, "postgres")
		name, there := "t_town_"+strconv.Itoa(os.Getpid()), false
		if key := runKey(); key != "" {
			name = "town_" + key
			var err error
			there, err = x.keepOnly(name)
			require.NoError(t, err)
		} else {
			x.own = true
		}

		if !there {
			v := NewOn(t, src, nil)
			v.History(t)
			_, err := v.Morning.MakeAll(t.Context(), Saturday)
			require.NoError(t, err)
			v.DB.Close()
			u, err := url.Parse(src)
			require.NoError(t, err)
			require.NoError(t, x.exec(`CREATE DATABASE `+name+` TEMPLATE `+u.Path[1:]))
		}
		x.name = name
	})

	require.NotEmpty(t, x.name, "the ready club was not built")
	name := fmt.Sprintf("t_%d_c%d", os.Getpid(), x.n.Add(1))
	require.NoError(t, x.exec(`CREATE DATABASE `+name+` TEMPLATE `+x.name))
	t.Cleanup(func() { _ = x.exec(`DROP DATABASE IF EXISTS ` + name + ` WITH (FORCE)`) })
	return other(t, x.admin, name)
}

// NewReady is a harness whose briefs for Saturday are made.
func NewReady(t *testing.T, script smtptest.Script) *Harness {
	t.Helper()
	return NewOn(t, Ready.URL(t), script)
}

// MorningAt is a clock time of Saturday in Chicago.
func MorningAt(hh, mm int) time.Time {
	return Saturday.In(env.Zone("America/Chicago")).Add(time.Duration(hh)*time.Hour + time.Duration(mm)*time.Minute)
}

// NewServing is a harness whose clock stands past the making of its record, which
// took as long as the machine was busy, and whose feeds have just been fetched.
func NewServing(t *testing.T) *Harness {
	t.Helper()
	v := NewReady(t, nil)
	var made time.Time
	require.NoError(t, v.DB.Pool().QueryRow(t.Context(), `
		SELECT greatest((SELECT max(made_at) FROM coldseam.model), (SELECT max(last_try_at) FROM coldseam.fetch_state), (SELECT max(issued_at) FROM coldseam.brief))`).Scan(&made))
	v.Clock.Forward(made.UTC().Add(time.Second))
	_, err := v.Feeds.FetchAll(t.Context())
	require.NoError(t, err)
	return v
}
