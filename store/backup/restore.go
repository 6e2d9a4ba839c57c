package backup

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/localpg"
)

// RestoreOptions of Restore.
type RestoreOptions struct {
	Bin     string    // directory of pg_restore; "" = found
	FilesTo string    // directory for config and keys; "" = left in the backup. Nothing there is overwritten
	Back    bool      // each to where it stood instead, FilesTo for those that cannot
	Aside   bool      // where another file is: that one is renamed, not the backup's
	Now     time.Time // zero = now
	Store   store.Options
}

// Restored says what a restore found and did.
type Restored struct {
	Manifest  Manifest
	Files     []string // written to FilesTo
	Unknown   int      // mails that were in transmission
	Expired   int      // mails past their deadline or of an earlier day
	NotMailed int      // subscribers whose mail of today may have gone out after the backup: they get none today
	Jobs      int      // running jobs made retryable
}

// Restore loads a backup into an empty database and compares every table with
// the manifest. Sending is held until the admin releases it. No mail is sent
// again but a correction of a GO: what was open at the backup, and what was due
// today before now, counts as sent. ErrInvalid: the file is damaged, of a newer schema, or
// the database is not empty; nothing was changed then.
func Restore(ctx context.Context, path, url string, o RestoreOptions) (r Restored, err error) {
	fail := func(err error) (Restored, error) { return r, fmt.Errorf("restore: %w", store.Classify(err)) }
	if o.Now.IsZero() {
		o.Now = time.Now()
	}
	if o.Bin, err = toolDir(o.Bin); err != nil {
		return fail(err)
	}
	work, err := os.MkdirTemp("", "coldseam-restore-")
	if err != nil {
		return fail(err)
	}
	defer os.RemoveAll(work)

	if r.Manifest, err = unpack(path, work); err != nil {
		return fail(err)
	}
	db, err := store.Open(ctx, url, o.Store)
	if err != nil {
		return fail(err)
	}
	defer db.Close()

	if err := checkEmpty(ctx, db, r.Manifest); err != nil {
		return fail(err)
	}
	if err := runTool(ctx, db.Pool().Config().ConnConfig, filepath.Join(o.Bin, "pg_restore"),
		"--no-owner", "--no-privileges", "--single-transaction", "--exit-on-error",
		"--dbname="+db.Pool().Config().ConnConfig.Database, filepath.Join(work, backupDump)); err != nil {
		return fail(err)
	}

	if err := compare(ctx, db, r.Manifest); err != nil {
		return fail(err)
	}
	if err := withholdMails(ctx, db, &r, o.Now); err != nil {
		return fail(err)
	}
	if err := db.Migrate(ctx); err != nil { // an older schema is brought up, the readers' role is closed
		return fail(err)
	}

	if o.FilesTo != "" {
		if r.Files, err = placeFiles(work, r.Manifest, o); err != nil {
			return fail(err)
		}
	}

	return r, nil
}

func unpack(path, to string) (Manifest, error) {
	if err := os.Mkdir(filepath.Join(to, backupFiles), 0o700); err != nil {
		return Manifest{}, err
	}
	return readBackup(path, func(name string, r io.Reader) error {
		if name != backupDump && (!strings.HasPrefix(name, backupFiles) ||
			filepath.Base(name) != name[len(backupFiles):]) {
			return fmt.Errorf("entry %q: %w", name, coldseam.ErrInvalid)
		}
		f, err := os.OpenFile(filepath.Join(to, name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if err != nil {
			return err
		}
		defer f.Close()
		if _, err := io.Copy(f, r); err != nil {
			return err
		}
		return f.Close()
	})
}

func checkEmpty(ctx context.Context, db *store.DB, m Manifest) error {
	if err := store.Migratable(m.Schema); err != nil {
		return err
	}
	var found *string
	if err := db.Pool().QueryRow(ctx,
		`SELECT string_agg(nspname, ', ') FROM pg_namespace WHERE nspname IN ('coldseam', 'season', 'river')`).Scan(
		&found); err != nil {
		return err
	}
	if found != nil {
		return fmt.Errorf("the database is not empty, it has %s: restore into a new one: %w", *found,
			coldseam.ErrInvalid)
	}
	return nil
}

func compare(ctx context.Context, db *store.DB, m Manifest) error {
	var got []ManifestTable
	if err := db.InLongTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) (err error) {
		got, err = countTables(ctx, tx)
		return err
	}); err != nil {
		return err
	}
	have := map[string]ManifestTable{}
	for _, t := range got {
		have[t.Name] = t
	}
	for _, want := range m.Tables {
		if have[want.Name] != want {
			return fmt.Errorf("table %s has %d rows, sum %s; the backup says %d, %s: %w",
				want.Name, have[want.Name].Rows, have[want.Name].Sum, want.Rows, want.Sum, coldseam.ErrInvalid)
		}
	}
	return nil
}

// Who was due today by the clock, before the restore, may have been sent the
// mail after the backup was made; so may who waits for an outlook on Thursday or
// for an evening's word on tomorrow.
const sqlTold = `
WITH local AS (
  SELECT subscriber_id, $1::timestamptz AT TIME ZONE zone AS local_now, send_at, prefs
  FROM coldseam.subscriber WHERE state IN ('confirmed', 'paused')),
due AS (
  SELECT subscriber_id, local_now::date AS local_date, 'morning' AS kind FROM local WHERE local_now >= local_now::date + send_at
  UNION ALL
  SELECT subscriber_id, local_now::date, 'outlook' FROM local
  WHERE prefs -> 'outlook' = 'true' AND extract(dow FROM local_now) = ` + store.OutlookDay + `
    AND local_now::time >= ` + store.OutlookFrom + `
  UNION ALL
  SELECT subscriber_id, local_now::date, 'flip' FROM local
  WHERE prefs -> 'flip_notice' = 'true' AND local_now::time >= '18:00')
INSERT INTO coldseam.outbox (edition_id, subscriber_id, local_date, kind, state, priority, next_at, deadline, done_at, domain, message_id, reply, payload)
SELECT $2, subscriber_id, local_date, kind, 'skipped', 3, $1, $1, $1, '', '<restore.' || kind || '.' || subscriber_id || '.' || $2::int8 || '@invalid>',
  'restored: may have been sent after the backup', ''
FROM due
ON CONFLICT ON CONSTRAINT outbox_key DO NOTHING`

func withholdMails(ctx context.Context, db *store.DB, r *Restored, now time.Time) error {
	now = now.UTC().Truncate(time.Microsecond)

	return pgx.BeginFunc(ctx, db.Pool(), func(tx pgx.Tx) error {
		var edition int64
		if err := tx.QueryRow(ctx,
			`INSERT INTO coldseam.edition (kind, made_at, n, held, held_why) VALUES ('morning', $1, 0, true, 'restore') RETURNING edition_id`, now).Scan(&edition); err != nil {
			return err
		}
		var waiting int

		steps := []struct {
			n    *int
			sql  string
			args []any
		}{
			{nil, `UPDATE coldseam.switch SET is_on = true, changed_at = $1, who = 'restore', why = 'restored from a backup' WHERE name = 'hold'`, []any{now}},
			// Past their deadline at once: the policy for mails without an answer does not
			// send them again. A correction of a GO is better twice than never.
			{&r.Unknown, `UPDATE coldseam.outbox SET state = 'unknown', done_at = $1, lease_until = $1,
				deadline = CASE kind WHEN 'correction' THEN deadline ELSE LEAST(deadline, $1) END WHERE state IN ('in_data', 'unknown')`, []any{now}},
			{nil, `UPDATE coldseam.outbox SET state = 'pending', worker = '', lease_until = NULL WHERE state = 'claimed'`, nil},
			{&r.Expired, `UPDATE coldseam.outbox o SET state = 'expired', done_at = $1
				WHERE state IN ('pending', 'deferred') AND (deadline <= $1 OR local_date <
				  ($1::timestamptz AT TIME ZONE COALESCE((SELECT zone FROM coldseam.subscriber s WHERE s.subscriber_id = o.subscriber_id), 'UTC'))::date)`, []any{now}},
			{&waiting, `UPDATE coldseam.outbox SET state = 'skipped', done_at = $1, reply = 'restored: may have been sent after the backup'
				WHERE kind <> 'correction' AND state IN ('pending', 'deferred')`, []any{now}},
			{&r.NotMailed, sqlTold, []any{now, edition}},
			{&r.Jobs, `UPDATE river.river_job SET state = 'retryable', scheduled_at = now() WHERE state = 'running'`,
				nil},
			{nil, `DELETE FROM river.river_leader`, nil},
		}

		for _, s := range steps {
			tag, err := tx.Exec(ctx, s.sql, s.args...)
			if err != nil {
				return err
			}
			if s.n != nil {
				*s.n = int(tag.RowsAffected())
			}
		}

		_, err := tx.Exec(ctx, `UPDATE coldseam.edition SET n = $2 WHERE edition_id = $1`, edition, r.NotMailed)
		r.NotMailed += waiting
		return err
	})
}

// RestoreFiles is Restore without the database: configuration and keys alone.
func RestoreFiles(path string, o RestoreOptions) (files []string, err error) {
	work, err := os.MkdirTemp("", "coldseam-restore-")
	if err != nil {
		return nil, fmt.Errorf("restore files: %w", err)
	}
	defer os.RemoveAll(work)
	m, err := unpack(path, work)
	if err == nil {
		files, err = placeFiles(work, m, o)
	}
	if err != nil {
		return files, fmt.Errorf("restore files: %w", err)
	}
	return files, nil
}

// place is where a restore puts one of the admin's files.
func (o RestoreOptions) place(f ManifestFile) string {
	name, ok := strings.CutPrefix(f.Name, backupFiles)
	switch {
	case !ok:
		return ""
	case o.Back && f.Path != "" && !strings.HasPrefix(f.Path, "/run/"): // there the service manager puts its copies
		return f.Path
	}
	return filepath.Join(o.FilesTo, name)
}

// OtherFiles lists the places at which a restore would find a file with other
// content than the backup's.
func (o RestoreOptions) OtherFiles(m Manifest) []string {
	var out []string
	for _, f := range m.Files {
		path := o.place(f)
		if b, err := os.ReadFile(path); path != "" && err == nil && sha(b) != f.SHA256 {
			out = append(out, path)
		}
	}
	return out
}

// placeFiles writes the admin's files of a backup and loses none that is there.
func placeFiles(work string, m Manifest, o RestoreOptions) ([]string, error) {
	var out []string

	for _, f := range m.Files {
		path := o.place(f)
		if path == "" {
			continue
		}
		b, err := os.ReadFile(filepath.Join(work, f.Name))
		if err != nil {
			return out, err
		}

		put := func(path string) (string, error) {
			if err := localpg.MakeDir(filepath.Dir(path), 0o755); err != nil {
				return "", err
			}
			if old, err := os.ReadFile(path); o.Aside && err == nil && !bytes.Equal(old, b) {
				if _, err := writeBeside(path+".before", old, 0); err != nil {
					return "", err
				}
				if err := os.Remove(path); err != nil {
					return "", err
				}
			}

			return writeBeside(path, b, os.FileMode(f.Mode))
		}

		at, err := put(path)
		if errors.Is(err, fs.ErrPermission) && o.Back {
			at, err = put(filepath.Join(o.FilesTo, filepath.Base(f.Name)))
		}
		if err != nil {
			return out, err
		}
		if at != "" {
			out = append(out, at)
		}
	}

	return out, nil
}

// writeBeside writes b to path or, where something else is there, to the first
// free of path.restored, path.restored.2 and so on; "" = one of them holds b. Those
// may read it who might before.
func writeBeside(path string, b []byte, mode os.FileMode) (string, error) {
	for i, try := 1, path; ; i++ {
		f, err := os.OpenFile(try, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if err == nil {
			_, err = f.Write(b)
			return try, errors.Join(err, f.Chmod(mode|0o600), localpg.Inherit(try), f.Sync(), f.Close())
		}
		if !errors.Is(err, fs.ErrExist) {
			return "", err
		}
		if old, err := os.ReadFile(try); err == nil && bytes.Equal(old, b) {
			return "", nil
		}
		if try = path + ".restored"; i > 1 {
			try += "." + strconv.Itoa(i)
		}
	}
}
