package admin

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
	"example.org/coldseam/store/backup"
	"example.org/coldseam/store/storetest"
)

// Dump under load, restore, equal counts; the next morning goes out exactly
// once.
func TestBackupRestoreAndTheNextMorning(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	v.Join(t, "one@club.example.org", coldseam.Preferences{})
	v.Join(t, "two@club.example.org", coldseam.Preferences{Reaches: []coldseam.ReachID{"hallam-sandbar"}})

	_, err := v.Feeds.FetchAll(ctx)
	require.NoError(t, err)
	dir := t.TempDir()
	v.Config.Path = filepath.Join(dir, "coldseam.toml")
	require.NoError(t, os.WriteFile(v.Config.Path, []byte(democlub.TOML), 0o600))
	v.Config.Mail.TokenKeyFile = filepath.Join(dir, "token.key")
	_, err = mailing.EnsureKey(v.Config.Mail.TokenKeyFile)
	require.NoError(t, err)
	v.Config.Backup.Dir = filepath.Join(dir, "backup")

	// Writers go on while the dump runs.
	load, stop := context.WithCancel(ctx)
	var wg sync.WaitGroup
	wg.Add(1)
	go func() {
		defer wg.Done()
		for i := 0; load.Err() == nil; i++ {
			_, _ = v.DB.CountAttempt(load, "load", time.Hour, v.Now().Add(time.Duration(i)*time.Hour))
		}
	}()

	var out bytes.Buffer
	err = (&Backup{}).Backup(ctx, &env.Streams{Out: &out, Err: &out}, v.Parts)
	stop()
	wg.Wait()
	require.NoError(t, err)
	require.Contains(t, out.String(), "verified")
	require.Contains(t, out.String(), "2 files")
	require.Contains(t, out.String(), "1 kept")

	kept, err := backup.List(v.Config.Backup.Dir)
	require.NoError(t, err)
	require.Len(t, kept, 1)
	out.Reset()
	require.NoError(t, (&Backup{Verify: kept[0].Path}).verify(&env.Streams{Out: &out, Err: &out}))
	require.Contains(t, out.String(), "coldseam.subscriber")

	// Into a new database. A second restore there is refused.
	url := storetest.EmptyURL(t)
	c := &Restore{File: kept[0].Path}
	out.Reset()
	files := filepath.Join(dir, "restored")
	require.NoError(t, c.restore(ctx, &env.Streams{Out: &out, Err: &out}, url, v.Config,
		backup.RestoreOptions{FilesTo: files, Now: v.Now()}))
	require.Contains(t, out.String(), "SENDING IS HELD")
	require.Contains(t, out.String(), "last edition in the backup: there was none")
	require.FileExists(t, filepath.Join(files, "token.key"))
	require.FileExists(t, filepath.Join(files, "coldseam.toml"))
	require.ErrorIs(t, c.restore(ctx, &env.Streams{Out: &out, Err: &out}, url, v.Config,
		backup.RestoreOptions{Now: v.Now()}), coldseam.ErrInvalid)

	// The restored club: held until released, then one mail each.
	w := clubtest.NewOn(t, url, nil)
	subs, err := w.DB.Subscribers(ctx, "confirmed")
	require.NoError(t, err)
	require.Len(t, subs, 2)
	makeMorning(t, w, clubtest.Saturday.Add(1))
	require.Zero(t, w.Sink.Count(), "sending is held")
	require.NoError(t, w.DB.Release(ctx, store.Edit{Who: "test", Why: "restored"}))
	makeMorning(t, w, clubtest.Saturday.Add(1))
	makeMorning(t, w, clubtest.Saturday.Add(1))
	require.Equal(t, 2, w.Sink.Count(), "one mail each, exactly once")
}

// makeMorning ticks at 04:56 of a day, when mails go with or without a fresh
// brief, and lets a worker send.
func makeMorning(t *testing.T, v *clubtest.Harness, d coldseam.Date) {
	t.Helper()
	at, err := notify.SendAt(d, "04:56", env.Zone("America/Chicago"))
	require.NoError(t, err)
	v.Clock.Forward(at)
	_, _, err = v.Mail.QueueMornings(t.Context(), v.Now())
	require.NoError(t, err)
	_, err = v.Mail.Sender("test").Run(t.Context(), 100)
	require.NoError(t, err)
}

func TestMigrateBacksUpFirst(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	v.Config.Backup.Dir = filepath.Join(t.TempDir(), "backup")
	var out bytes.Buffer
	require.NoError(t, (&Migrate{}).migrate(ctx, &env.Streams{Out: &out, Err: &out}, v.Parts))
	require.Contains(t, out.String(), "nothing to do")
	kept, err := backup.List(v.Config.Backup.Dir)
	require.NoError(t, err)
	require.Empty(t, kept)

	// A newer schema is refused and left alone, without a backup.
	_, err = v.DB.Pool().Exec(ctx, `UPDATE coldseam.schema_version SET version = version + 1`)
	require.NoError(t, err)
	require.ErrorContains(t, (&Migrate{}).migrate(ctx, &env.Streams{Out: &out, Err: &out}, v.Parts),
		"newer than this program")

	// An older one is backed up before anything is touched, whatever comes of
	// the steps that follow.
	_, err = v.DB.Pool().Exec(ctx, `UPDATE coldseam.schema_version SET version = version - 2`)
	require.NoError(t, err)
	out.Reset()
	if err := (&Migrate{}).migrate(ctx, &env.Streams{Out: &out, Err: &out}, v.Parts); err == nil {
		require.Regexp(t, `was \d+, is \d+`, out.String())
	}
	kept, err = backup.List(v.Config.Backup.Dir)
	require.NoError(t, err)
	require.Len(t, kept, 1)
}

func TestDamagedBackupIsRefusedByName(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "coldseam-20260418T093000Z.tar")
	require.NoError(t, os.WriteFile(path, []byte("not a tar"), 0o600))
	var out bytes.Buffer
	err := (&Backup{Verify: path}).verify(&env.Streams{Out: &out, Err: &out})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "coldseam-20260418T093000Z.tar")
	err = (&Restore{File: path}).restore(t.Context(), &env.Streams{Out: &out, Err: &out}, storetest.EmptyURL(t),
		config.Config{}, backup.RestoreOptions{})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}
