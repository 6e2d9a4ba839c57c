//go:build !race

package faults

import (
	"bytes"
	"context"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/admin"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/doctor"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify/smtptest"
	"example.org/coldseam/store/localpg"
)

// The disk of the database and of the state fills while the mails go out. What
// was stored stays, no mail is sent that could not be noted, the error and
// check name the disk, and with room again the morning ends well by itself.
func TestServeOnAFullDisk(t *testing.T) {
	t.Parallel()
	const readers = 60
	dir := smallDisk(t, 260)
	slow := func(e smtptest.Event) smtptest.Fault {
		if e.Stage == "dot" {
			time.Sleep(100 * time.Millisecond)
		}
		return smtptest.Fault{}
	}

	pg, dbURL := ownPostgresIn(t, clubtest.Ready.URL(t), localpg.Options{Dir: filepath.Join(dir, "database"),
		Settings: map[string]string{"max_wal_size": "32MB", "min_wal_size": "32MB", "shared_buffers": "16MB"}})
	v := clubtest.NewOn(t, dbURL, slow)
	v.Config.StateDir, v.Config.Backup.Dir = dir, filepath.Join(dir, "backup")
	for i := range readers {
		v.Join(t, fmt.Sprintf("angler%d@home%d.example", i, i%5),
			coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	}

	at, err := url.Parse(v.Config.Profiles[0].BaseURL)
	require.NoError(t, err)
	sent := func() int {
		return v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state = 'sent'`)
	}
	clock := swiftClock{base: clubtest.MorningAt(4, 44), origin: time.Now(), speed: 10}
	s := startServer(t, append(clock.env(at.Scheme+"://"+at.Host, v.Sink.Addr()), "COLDSEAM_CHILD_DB="+dbURL)...)
	require.True(t, clubtest.AssertEventually(time.Minute, func() bool { return sent() > 4 }), "first mails: %s\n%s",
		states(t, v), tail(s.logged(t), 3000))

	// Full: the ballast takes what is left; then rows of the tables' own kind
	// fail, and with the next segment the log of Postgres, which ends it.
	_, err = v.DB.Pool().Exec(t.Context(), `CREATE TABLE public.ballast (n int, pad text)`)
	require.NoError(t, err)
	observations := v.Count(t, `SELECT count(*) FROM coldseam.observation`)
	exec := func(sql string, args ...any) error {
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		_, err := v.DB.Pool().Exec(ctx, sql, args...)
		return err
	}

	stored := 0
	var dataErr, walErr error
	insert := func() error {
		err := exec(`INSERT INTO public.ballast SELECT $1, repeat(md5(i::text), 30) FROM generate_series(1, 500) i`,
			stored)
		if err == nil {
			stored++
		}
		return err
	}

	for range 3 {
		require.NoError(t, insert())
	}
	fill := fillDisk(t, dir)
	require.True(t, clubtest.AssertEventually(time.Minute, func() bool {
		fill()
		dataErr = insert()
		return dataErr != nil
	}), "the disk was meant to fill")
	require.ErrorContains(t, dataErr, "No space left on device", "the error names the disk")
	var out, errs bytes.Buffer
	err = (&admin.Backup{}).Backup(t.Context(), &env.Streams{Out: &out, Err: &errs}, v.Parts)
	require.Error(t, err, "a backup on a full disk")
	require.ErrorContains(t, err, "No space left on device")

	left, _ := filepath.Glob(filepath.Join(dir, "backup", "*"))
	require.Empty(t, left, "a part of a backup stays")
	require.True(t, clubtest.AssertEventually(time.Minute, func() bool {
		fill()
		walErr = exec(`SELECT pg_logical_emit_message(true, 'test', 'x'), pg_switch_wal()`)
		return walErr != nil
	}), "the log was meant to fill")
	t.Logf("full after %d batches: %v; then %v", stored, dataErr, walErr)
	before := v.Sink.Count()
	full := time.Now()

	// The word: whoever looks is told of the disk.
	v.Clock.Forward(clock.now())
	var said []string
	for _, l := range doctor.RunChecks(t.Context(), v.Parts, true) {
		if l.Level == doctor.LevelFail {
			said = append(said, l.Key+": "+l.Found)
		}
	}

	require.Condition(t, func() bool {
		for _, l := range said {
			if strings.HasPrefix(l, "disk: ") {
				return true
			}
		}
		return false
	}, "check does not name the disk: %v", said)
	t.Logf("check: %s", strings.Join(said, " | "))

	select {
	case err := <-s.done:
		t.Fatalf("the service ended: %v\n%s", err, tail(s.logged(t), 3000))
	case <-time.After(time.Until(full.Add(4 * time.Second))):
	}
	during := v.Sink.Count()

	// Room again.
	require.NoError(t, os.Remove(filepath.Join(dir, "ballast")))
	require.NoError(t, syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT, "size=500m,mode=0711"))
	back := time.Now()
	t.Logf("Postgres while it was full: %v; health %v", pg.Ready(), clubtest.HealthOK(s.addr))

	require.True(t, clubtest.AssertEventually(reconnect, func() bool {
		return pg.Ready() == nil && clubtest.HealthOK(s.addr)
	}), "recovers: %v\n%s", pg.Ready(), tail(s.logged(t), 3000))
	t.Logf("recovered %s after there was room; %d mails before, %d while it was full",
		time.Since(back).Round(10*time.Millisecond), before, during-before)
	v.DB.Pool().Reset()
	require.True(t, clubtest.AssertEventually(2*time.Minute, func() bool { return sent() == readers }),
		"all mails: %s\n%s", states(t, v), tail(s.logged(t), 3000))
	var batches, rows int
	require.NoError(t, v.DB.Pool().QueryRow(t.Context(), `SELECT count(DISTINCT n), count(*) FROM public.ballast`).Scan(
		&batches, &rows))
	require.GreaterOrEqual(t, batches, stored, "rows that were stored")
	require.Equal(t, batches*500, rows, "half a batch")
	require.GreaterOrEqual(t, v.Count(t, `SELECT count(*) FROM coldseam.observation`), observations, "observations")

	copies := 0
	for _, n := range clubtest.ByMessage(t, v.Sink) {
		copies += n - 1
	}
	t.Logf("%d mails, %d copies", v.Sink.Count(), copies)
	v.Clock.Forward(clock.now())
	invariants(t, v, 8)
	require.NoError(t, s.cmd.Process.Signal(syscall.SIGTERM))
	require.NoError(t, <-s.done)
}
