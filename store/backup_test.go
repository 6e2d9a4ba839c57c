package store_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/backup"
	"example.org/coldseam/store/localpg"
	"example.org/coldseam/store/storetest"
)

func pgTools(t *testing.T) string {
	t.Helper()
	bin, err := localpg.Find()
	if err != nil && os.Getenv("CI") == "" {
		t.Skipf("no pg_dump: %v", err)
	}
	require.NoError(t, err)
	return bin
}

// Dump under load, load into another cluster, and the next morning goes out
// exactly once.
func TestBackupAndRestore(t *testing.T) {
	t.Parallel()
	bin := pgTools(t)
	now := morning.Add(-6 * time.Hour) // the evening before
	o := store.Options{Now: func() time.Time { return now }}
	db := storetest.NewWith(t, o)
	ctx := t.Context()
	require.NoError(t, db.PutSite(ctx, coldseam.Site{ID: "sim:tamsen", Zone: "America/Chicago"}))
	require.NoError(t, db.PutReach(ctx, bend, chief))
	_, err := db.SaveBrief(ctx, aBrief(now, coldseam.Go))
	require.NoError(t, err)
	ada := subscriber(t, db, "ada@one.example")
	bo := subscriber(t, db, "bo@two.example")

	// An old morning: one sent, one in transmission when the dump is made.
	old := day.Add(-1)
	_, _, err = db.QueueMailing(ctx, store.NewMailing{
		Kind:       coldseam.MailMorning,
		MadeAt:     now,
		MailDomain: "club.example",
		Messages: []store.NewMessage{
			{Subscriber: ada.ID, LocalDate: old, Deadline: now.Add(time.Hour)},
			{Subscriber: bo.ID, LocalDate: old, Deadline: now.Add(time.Hour)}},
	})
	require.NoError(t, err)
	ls, err := db.Claim(ctx, "w", now, time.Minute, 2)
	require.NoError(t, err)
	_, err = db.InData(ctx, ls[0], now, now.Add(20*time.Minute))
	require.NoError(t, err)
	_, err = db.Pool().Exec(ctx,
		`UPDATE river.river_job SET state = 'running', attempted_at = now() WHERE id = (SELECT min(id) FROM river.river_job)`)
	require.NoError(t, err)

	// Load while the dump is made.
	stop, busy := context.WithCancel(ctx)
	done := make(chan int)
	go func() {
		i := 0
		for ; stop.Err() == nil; i++ {
			s := coldseam.Series{SeriesKey: flow,
				Obs: []coldseam.Observation{obs(float64(i%500), float64(i), t0.Add(time.Duration(i)*time.Second), 0)}}
			if _, _, err := db.UpsertSeries(ctx, 0, []coldseam.Series{s}); err != nil {
				break
			}
		}
		done <- i
	}()

	dir := t.TempDir()
	conf := filepath.Join(dir, "coldseam.toml")
	require.NoError(t, os.WriteFile(conf, []byte("[club]\n"), 0o600))
	path, err := backup.Make(ctx, db, backup.Options{
		Dir:   filepath.Join(dir, "backups"),
		Files: map[string]string{"coldseam.toml": conf},
		Bin:   bin,
		Now:   now,
	})
	busy()
	require.Positive(t, <-done)
	require.NoError(t, err)

	st, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), st.Mode().Perm())
	m, err := backup.Verify(path)
	require.NoError(t, err)
	require.Equal(t, old, m.LastEdition)
	left, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	require.Len(t, left, 1, "no scraps beside it")

	// Another cluster of the same major.
	pgDir, err := os.MkdirTemp("", "coldseam-restore-test-")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(pgDir) })
	require.NoError(t, os.Chmod(pgDir, 0o711))
	pg, err := localpg.Start(ctx, localpg.Options{Dir: filepath.Join(pgDir, "second"), Fast: true})
	require.NoError(t, err)
	t.Cleanup(func() { pg.Stop() })

	r, err := backup.Restore(ctx, path, pg.URL(""), backup.RestoreOptions{
		Bin:     bin,
		FilesTo: filepath.Join(dir, "new"),
		Now:     now.Add(time.Minute),
		Store:   o,
	})
	require.NoError(t, err)
	require.Equal(t, m, r.Manifest)
	require.Equal(t, []int{1, 1, 1}, []int{r.Unknown, r.Jobs, len(r.Files)})
	b, err := os.ReadFile(r.Files[0])
	require.NoError(t, err)
	require.Equal(t, "[club]\n", string(b))
	_, err = backup.Restore(ctx, path, pg.URL(""), backup.RestoreOptions{Bin: bin})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "not empty")

	back, err := store.Open(ctx, pg.URL(""), o)
	require.NoError(t, err)
	t.Cleanup(back.Close)
	held, _, _, err := back.Held(ctx)
	require.NoError(t, err)
	require.True(t, held)
	require.NoError(t, back.Release(ctx, chief))

	none, err := back.Claim(ctx, "w", now.Add(2*time.Minute), time.Minute, 10)
	require.NoError(t, err)
	require.Empty(t, none, "the old morning is not sent again")
	open, err := back.OpenToReaders(ctx)
	require.NoError(t, err)
	require.Empty(t, open)
	got, err := back.Brief(ctx, "bend", day)
	require.NoError(t, err)
	require.Equal(t, coldseam.Go, got.Verdict)
	_, err = back.SaveBrief(ctx, aBrief(now.Add(2*time.Minute), coldseam.Go))
	require.NoError(t, err)
	bad, n, _ := broken(t, back)
	require.Empty(t, bad, "the chain goes on where it was")
	require.Equal(t, 2, n)

	due, err := back.Due(ctx, morning)
	require.NoError(t, err)
	require.Len(t, due, 2)
	require.Equal(t, 2, queue(t, back, coldseam.MailMorning, morning, ada, bo))
	require.Zero(t, queue(t, back, coldseam.MailMorning, morning, ada, bo))
	ls, err = back.Claim(ctx, "w", morning, time.Minute, 10)
	require.NoError(t, err)
	require.Len(t, ls, 2)
}

// Restored in the morning from a backup of the night: who was due before
// counts as told.
func TestRestoreAfterTheMailDoesNotRepeatIt(t *testing.T) {
	t.Parallel()
	bin := pgTools(t)
	db := storetest.New(t)
	ctx := t.Context()
	subscriber(t, db, "ada@one.example")
	late, _, err := db.AddSubscriber(ctx, "bo@two.example", "", coldseam.Preferences{Zone: "America/Chicago",
		SendAt: "06:00"})
	require.NoError(t, err)
	require.NoError(t, db.Confirm(ctx, late.ID))

	path, err := backup.Make(ctx, db, backup.Options{Dir: t.TempDir(), Bin: bin, Now: morning.Add(-6 * time.Hour)})
	require.NoError(t, err)
	url := storetest.EmptyURL(t)
	at := morning.Add(30 * time.Minute) // 05:30 local
	r, err := backup.Restore(ctx, path, url, backup.RestoreOptions{Bin: bin, Now: at})
	require.NoError(t, err)
	require.Equal(t, 1, r.NotMailed)
	back, err := store.Open(ctx, url, store.Options{})
	require.NoError(t, err)
	defer back.Close()

	due, err := back.Due(ctx, at)
	require.NoError(t, err)
	require.Empty(t, due)
	due, err = back.Due(ctx, at.Add(time.Hour))
	require.NoError(t, err)
	require.Len(t, due, 1)
	require.Equal(t, late.ID, due[0].ID)
	due, err = back.Due(ctx, at.AddDate(0, 0, 1).Add(time.Hour))
	require.NoError(t, err)
	require.Len(t, due, 2)
}

func TestDamagedBackupsAreRefused(t *testing.T) {
	t.Parallel()
	bin := pgTools(t)
	db := storetest.New(t)
	path, err := backup.Make(t.Context(), db, backup.Options{Dir: t.TempDir(), Bin: bin})
	require.NoError(t, err)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	bad := filepath.Join(t.TempDir(), "bad.tar")
	for i := 0; i < len(whole); i += len(whole) / 60 {
		require.NoError(t, os.WriteFile(bad, whole[:i], 0o600))
		_, err := backup.Verify(bad)
		require.ErrorIs(t, err, coldseam.ErrInvalid, "cut at %d", i)
	}

	for _, at := range []int{600, len(whole) / 3, len(whole) / 2} {
		flipped := append([]byte(nil), whole...)
		flipped[at] ^= 1
		require.NoError(t, os.WriteFile(bad, flipped, 0o600))
		_, err := backup.Verify(bad)
		require.ErrorIs(t, err, coldseam.ErrInvalid, "bit flipped at %d", at)
		url := storetest.EmptyURL(t)
		_, err = backup.Restore(t.Context(), bad, url, backup.RestoreOptions{Bin: bin})
		require.ErrorIs(t, err, coldseam.ErrInvalid)
		empty, err := store.Open(t.Context(), url, store.Options{})
		require.NoError(t, err)
		require.Zero(t, count(t, empty, `SELECT count(*) FROM pg_namespace WHERE nspname = 'coldseam'`),
			"nothing was changed")
		empty.Close()
	}

	_, err = backup.Make(t.Context(), db, backup.Options{Dir: t.TempDir(), Bin: bin,
		Files: map[string]string{"../x": path}})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

func TestBackupOfNewerSchemaIsRefused(t *testing.T) {
	t.Parallel()
	bin := pgTools(t)
	db := storetest.New(t)
	_, err := db.Pool().Exec(t.Context(), `UPDATE coldseam.schema_version SET version = 99`)
	require.NoError(t, err)
	path, err := backup.Make(t.Context(), db, backup.Options{Dir: t.TempDir(), Bin: bin})
	require.NoError(t, err)
	_, err = backup.Restore(t.Context(), path, storetest.EmptyURL(t), backup.RestoreOptions{Bin: bin})
	require.ErrorContains(t, err, "schema 99 is newer")
}

func TestRotation(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	first := time.Date(2025, 1, 1, 2, 0, 0, 0, time.UTC)
	const days = 500
	for d := range days {
		for _, h := range []int{0, 12} {
			name := first.AddDate(0, 0, d).Add(time.Duration(h) * time.Hour).Format("coldseam-20060102T150405Z.tar")
			require.NoError(t, os.WriteFile(filepath.Join(dir, name), nil, 0o600))
		}
		_, err := backup.Rotate(dir)
		require.NoError(t, err)
	}

	require.NoError(t, os.WriteFile(filepath.Join(dir, "notes.txt"), nil, 0o600))
	_, err := backup.Rotate(dir)
	require.NoError(t, err)
	require.FileExists(t, filepath.Join(dir, "notes.txt"), "only backups are touched")
	bs, err := backup.List(dir)
	require.NoError(t, err)

	last := first.AddDate(0, 0, days-1).Add(12 * time.Hour)
	require.Equal(t, last, bs[0].MadeAt)
	daily := map[string]bool{}
	weeks, months := map[string]bool{}, map[string]bool{}
	for _, b := range bs {
		daily[b.MadeAt.Format(time.DateOnly)] = true
		y, w := b.MadeAt.ISOWeek()
		weeks[fmt.Sprint(y, w)], months[b.MadeAt.Format("2006-01")] = true, true
	}

	for i := range 7 {
		require.True(t, daily[last.AddDate(0, 0, -i).Format(time.DateOnly)])
	}
	require.GreaterOrEqual(t, len(weeks), 5)
	require.GreaterOrEqual(t, len(months), 12)
	require.LessOrEqual(t, len(bs), 7+5+12)
	require.True(t, sort.SliceIsSorted(bs, func(i, j int) bool { return bs[i].MadeAt.After(bs[j].MadeAt) }))
	none, err := backup.List(filepath.Join(dir, "none"))
	require.NoError(t, err)
	require.Empty(t, none)
}
