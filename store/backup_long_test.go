package store_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/backup"
	"example.org/coldseam/store/localpg"
	"example.org/coldseam/store/storetest"
)

// shortLimit stands for the 30 s after which the server ends a session that
// idles in its transaction; what is slow here takes many times as long.
const shortLimit = time.Second

// impatient opens a database whose sessions are all ended after shortLimit.
func impatient(t *testing.T, url string, conns int) *store.DB {
	t.Helper()
	db, err := store.Open(t.Context(), url, store.Options{MaxConns: int32(conns)})
	require.NoError(t, err)
	t.Cleanup(db.Close)
	var held []*pgxpool.Conn
	for range conns {
		c, err := db.Pool().Acquire(t.Context())
		require.NoError(t, err)
		_, err = c.Exec(t.Context(), fmt.Sprintf(`SET idle_in_transaction_session_timeout = '%dms'`,
			shortLimit.Milliseconds()))
		require.NoError(t, err)
		held = append(held, c)
	}
	for _, c := range held {
		c.Release()
	}
	return db
}

// slowDump is a pg_dump that waits for the file go to appear before it begins.
func slowDump(t *testing.T, real string) (bin, gate string) {
	t.Helper()
	bin = t.TempDir()
	gate = filepath.Join(bin, "go")
	script := fmt.Sprintf("#!/bin/sh\ntouch %s.waits\nwhile [ ! -e %s ]; do sleep 0.02; done\nexec %s/pg_dump \"$@\"\n",
		gate, gate, real)
	require.NoError(t, os.WriteFile(filepath.Join(bin, "pg_dump"), []byte(script), 0o755))
	return bin, gate
}

func TestBackupMayTakeAnyTime(t *testing.T) {
	t.Parallel()
	bin, gate := slowDump(t, pgTools(t))
	url := storetest.URL(t)
	db := impatient(t, url, 1)
	other, err := store.Open(t.Context(), url, store.Options{}) // another server, whose tick ends lost sessions
	require.NoError(t, err)
	defer other.Close()

	made := make(chan error, 1)
	dir := t.TempDir()
	go func() {
		_, err := backup.Make(t.Context(), db, backup.Options{Dir: dir, Bin: bin})
		made <- err
	}()
	require.Eventually(t, func() bool {
		_, err := os.Stat(gate + ".waits")
		return err == nil
	}, 20*time.Second, 5*time.Millisecond)

	for end := time.Now().Add(3 * shortLimit); time.Now().Before(end); time.Sleep(shortLimit / 4) {
		n, err := other.EndLostSessions(t.Context(), time.Millisecond)
		require.NoError(t, err)
		require.Zero(t, n, "the dump waits for its program, it is not lost")
	}
	require.NoError(t, os.WriteFile(gate, nil, 0o600))
	require.NoError(t, <-made)
}

func TestMigrationMayTakeAnyTime(t *testing.T) {
	t.Parallel()
	url := storetest.EmptyURL(t)
	db := impatient(t, url, 4)
	other, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer other.Close(context.Background())
	// that of the migrations' runner: a slow step
	_, err = other.Exec(t.Context(), `SELECT pg_advisory_lock(9628173550095224)`)
	require.NoError(t, err)
	done := make(chan error, 1)
	go func() { done <- db.Migrate(t.Context()) }()

	require.Eventually(t, func() bool {
		var waits bool
		err := other.QueryRow(t.Context(), `SELECT EXISTS (SELECT FROM pg_locks WHERE locktype = 'advisory' AND NOT granted AND pid <> pg_backend_pid())
			AND EXISTS (SELECT FROM pg_stat_activity WHERE datname = current_database() AND state = 'idle in transaction')`).Scan(&waits)
		return err == nil && waits
	}, 20*time.Second, 5*time.Millisecond)
	time.Sleep(3 * shortLimit) // the slow step itself
	_, err = other.Exec(t.Context(), `SELECT pg_advisory_unlock(9628173550095224)`)
	require.NoError(t, err)
	require.NoError(t, <-done)
	require.NoError(t, db.RequireCurrent(t.Context()))
}

// A morning in transmission when the backup was made, an outlook and a notice of
// the evening: after the restore none of them goes again, whatever the policy for
// mails without an answer.
func TestRestoreRepeatsNoMail(t *testing.T) {
	t.Parallel()
	bin := pgTools(t)
	ctx := t.Context()
	thursday := time.Date(2026, 4, 16, 23, 30, 0, 0, time.UTC) // 18:30 in Chicago
	evening := time.Date(2026, 4, 17, 3, 0, 0, 0, time.UTC)

	for _, c := range []struct {
		name      string
		kind      coldseam.MailKind
		at, until time.Time
		inData    bool
		again     int
	}{
		{"morning in transmission", coldseam.MailMorning, morning, morning.Add(4 * time.Hour), true, 0},
		{"morning waiting", coldseam.MailMorning, morning, morning.Add(4 * time.Hour), false, 0},
		{"outlook in transmission", coldseam.MailOutlook, thursday, evening, true, 0},
		{"outlook waiting", coldseam.MailOutlook, thursday, evening, false, 0},
		{"welcome waiting", coldseam.MailWelcome, morning, morning.Add(4 * time.Hour), false, 0},
		{"correction of a GO", coldseam.MailCorrection, morning, morning.Add(4 * time.Hour), false, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			db := storetest.New(t)
			s, _, err := db.AddSubscriber(ctx, "ada@one.example", "", coldseam.Preferences{
				Zone:       "America/Chicago",
				SendAt:     "04:45",
				Outlook:    true,
				FlipNotice: true,
			})
			require.NoError(t, err)
			require.NoError(t, db.Confirm(ctx, s.ID))
			_, _, err = db.QueueMailing(ctx, store.NewMailing{Kind: c.kind, MadeAt: c.at, MailDomain: "club.example",
				Messages: []store.NewMessage{{Subscriber: s.ID, LocalDate: coldseam.DateOf(c.at), Deadline: c.until}}})
			require.NoError(t, err)

			if c.inData {
				ls, err := db.Claim(ctx, "w", c.at, time.Minute, 1)
				require.NoError(t, err)
				ok, err := db.InData(ctx, ls[0], c.at, c.at.Add(time.Minute))
				require.NoError(t, err)
				require.True(t, ok)
			}

			path, err := backup.Make(ctx, db, backup.Options{Dir: t.TempDir(), Bin: bin, Now: c.at})
			require.NoError(t, err)
			url := storetest.EmptyURL(t)
			_, err = backup.Restore(ctx, path, url, backup.RestoreOptions{Bin: bin, Now: c.at.Add(2 * time.Minute)})
			require.NoError(t, err)
			back, err := store.Open(ctx, url, store.Options{})
			require.NoError(t, err)
			defer back.Close()

			require.NoError(t, back.Release(ctx, chief))
			sent := 0
			for at := c.at.Add(3 * time.Minute); at.Before(c.until); at = at.Add(10 * time.Minute) {
				_, err = back.Sweep(ctx, at)
				require.NoError(t, err)
				ls, err := back.Claim(ctx, "w", at, time.Minute, 10)
				require.NoError(t, err)
				for _, l := range ls {
					require.NoError(t, back.Done(ctx, l, coldseam.Outcome{State: coldseam.MailSent}, at))
				}
				sent += len(ls)
			}

			require.Equal(t, c.again, sent)
		})
	}
}

// The outlook of a Thursday went out after the backup of the night before: it is
// not due again.
func TestOutlookSentAfterTheBackupIsNotDueAgain(t *testing.T) {
	t.Parallel()
	bin := pgTools(t)
	db := storetest.New(t)
	ctx := t.Context()
	s, _, err := db.AddSubscriber(ctx, "ada@one.example", "", coldseam.Preferences{Zone: "America/Chicago",
		SendAt: "04:45", Outlook: true})
	require.NoError(t, err)
	require.NoError(t, db.Confirm(ctx, s.ID))
	thursday := time.Date(2026, 4, 16, 23, 30, 0, 0, time.UTC) // 18:30 in Chicago
	due, err := db.DueOutlook(ctx, thursday)
	require.NoError(t, err)
	require.Len(t, due, 1)

	path, err := backup.Make(ctx, db, backup.Options{Dir: t.TempDir(), Bin: bin, Now: thursday.Add(-20 * time.Hour)})
	require.NoError(t, err)
	url := storetest.EmptyURL(t)
	_, err = backup.Restore(ctx, path, url, backup.RestoreOptions{Bin: bin, Now: thursday})
	require.NoError(t, err)
	back, err := store.Open(ctx, url, store.Options{})
	require.NoError(t, err)
	defer back.Close()
	due, err = back.DueOutlook(ctx, thursday.Add(time.Minute))
	require.NoError(t, err)
	require.Empty(t, due)
}

// Files of a restore never replace any, their own earlier ones included.
// Restored by root, configuration and keys are read by those who read them before:
// the owner of the directory, and whoever the mode lets.
func TestRestoredFilesKeepTheirReaders(t *testing.T) {
	t.Parallel()
	if os.Getuid() != 0 {
		t.Skip("needs root: another's directory")
	}
	const service = 12345
	db, bin := storetest.New(t), pgTools(t)
	dir := t.TempDir()
	require.NoError(t, os.Chown(dir, service, service))
	old := t.TempDir()
	files := map[string]string{}
	for name, mode := range map[string]os.FileMode{"coldseam.toml": 0o644, "token.key": 0o600} {
		files[name] = filepath.Join(old, name)
		require.NoError(t, os.WriteFile(files[name], []byte(name), mode))
	}
	path, err := backup.Make(t.Context(), db, backup.Options{Dir: filepath.Join(dir, "backup"), Bin: bin, Files: files})
	require.NoError(t, err)
	_, err = backup.RestoreFiles(path, backup.RestoreOptions{FilesTo: filepath.Join(dir, "back")})
	require.NoError(t, err)

	for at, mode := range map[string]os.FileMode{"backup": 0o700, path[len(dir)+1:]: 0o600, "back/coldseam.toml": 0o644,
		"back/token.key": 0o600} {
		st, err := os.Stat(filepath.Join(dir, at))
		require.NoError(t, err)
		require.Equal(t, mode, st.Mode().Perm(), at)
		require.EqualValues(t, service, st.Sys().(*syscall.Stat_t).Uid, at)
	}
}

func TestRestoredFilesOverwriteNothing(t *testing.T) {
	t.Parallel()
	bin := pgTools(t)
	db := storetest.New(t)
	dir := t.TempDir()
	key := filepath.Join(dir, "token.key")
	to := filepath.Join(dir, "to")
	require.NoError(t, os.Mkdir(to, 0o700))
	there := map[string]string{"token.key": "in use", "token.key.restored": "of an earlier restore"}
	for name, text := range there {
		require.NoError(t, os.WriteFile(filepath.Join(to, name), []byte(text), 0o600))
	}

	require.NoError(t, os.WriteFile(key, []byte("of the backup"), 0o600))
	path, err := backup.Make(t.Context(), db, backup.Options{Dir: filepath.Join(dir, "b"), Bin: bin,
		Files: map[string]string{"token.key": key}})
	require.NoError(t, err)
	for _, want := range [][]string{{filepath.Join(to, "token.key.restored.2")}, nil} { // the second finds its own
		r, err := backup.Restore(t.Context(), path, storetest.EmptyURL(t), backup.RestoreOptions{Bin: bin, FilesTo: to})
		require.NoError(t, err)
		require.Equal(t, want, r.Files)
	}

	for name, text := range there {
		b, err := os.ReadFile(filepath.Join(to, name))
		require.NoError(t, err)
		require.Equal(t, text, string(b))
	}
}

// A backup of two gigabytes: `make proof`, which keeps the figures.
func TestProofBackupOfTwoGigabytes(t *testing.T) {
	out := os.Getenv("COLDSEAM_PROOF")
	if out == "" {
		t.Skip("long: make proof")
	}
	bin := pgTools(t)
	db := storetest.New(t)
	ctx := t.Context()
	_, err := db.Pool().Exec(ctx, `INSERT INTO coldseam.raw_fetch (profile, url, fetched_at, status, bytes, sha256, dur_ms, etag, last_modified, err, rows_stored, attributes, payload_gzip)
		SELECT 'proof', 'https://river.example/' || i, '2026-04-01', 200, 0, md5(i::text), 0, '', '', '', 0, '', block
		FROM generate_series(1, 1700) i, (SELECT string_agg(sha512(j::text::bytea), '' ORDER BY j) AS block FROM generate_series(1, 20000) j) b`)
	require.NoError(t, err)

	began := time.Now()
	path, err := backup.Make(ctx, db, backup.Options{Dir: t.TempDir(), Bin: bin})
	require.NoError(t, err)
	took := time.Since(began)
	st, err := os.Stat(path)
	require.NoError(t, err)
	require.Greater(t, st.Size(), int64(2e9))
	began = time.Now()
	pg, err := localpg.Start(ctx, localpg.Options{Dir: filepath.Join(openDir(t), "second"), Fast: true})
	require.NoError(t, err)
	defer pg.Stop()

	_, err = backup.Restore(ctx, path, pg.URL(""), backup.RestoreOptions{Bin: bin})
	require.NoError(t, err)
	text := fmt.Sprintf("backup of %.2f GB: %.0f s; restored, every table compared: %.0f s\n", float64(st.Size())/1e9,
		took.Seconds(), time.Since(began).Seconds())
	require.NoError(t, os.WriteFile(filepath.Join(out, "backup.txt"), []byte(text), 0o644))
}

// openDir is a directory that the database's user can enter.
func openDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "coldseam-proof-")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	require.NoError(t, os.Chmod(dir, 0o711))
	return dir
}
