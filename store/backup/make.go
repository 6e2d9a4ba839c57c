package backup

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/localpg"
)

// Options of Make.
type Options struct {
	Dir   string            // where backups are kept; made if absent, 0700
	Files map[string]string // name in the backup -> path: config and keys
	Bin   string            // directory of pg_dump; "" = found
	Now   time.Time         // zero = now
}

// Make writes a backup while the program goes on and returns its path. Dump
// and counts are of one instant. It is complete or absent: written beside its
// place, synced, verified, renamed. Config and keys are in it as they are: the
// file must be kept as secret as they.
func Make(ctx context.Context, db *store.DB, o Options) (path string, err error) {
	fail := func(err error) (string, error) { return "", fmt.Errorf("backup: %w", store.Classify(err)) }
	if o.Now.IsZero() {
		o.Now = time.Now()
	}
	if o.Bin, err = toolDir(o.Bin); err != nil {
		return fail(err)
	}
	if err := localpg.MakeDir(o.Dir, 0o700); err != nil {
		return fail(err)
	}

	work, err := os.MkdirTemp(o.Dir, ".making-")
	if err != nil {
		return fail(err)
	}
	defer os.RemoveAll(work)
	dump := filepath.Join(work, backupDump)
	m, err := dumpTo(ctx, db, o, dump)
	if err != nil {
		return fail(err)
	}

	part := filepath.Join(work, "backup.tar")
	if err := writeBackup(part, dump, o.Files, m); err != nil {
		return fail(err)
	}
	if _, err := Verify(part); err != nil {
		return fail(err)
	}

	path = filepath.Join(o.Dir, backupName(o.Now))
	if err := os.Rename(part, path); err != nil {
		return fail(err)
	}
	if err := localpg.Inherit(path); err != nil {
		return fail(err)
	}
	if err := syncPath(o.Dir); err != nil {
		return fail(err)
	}
	return path, nil
}

func toolDir(bin string) (string, error) {
	if bin != "" {
		return bin, nil
	}
	return localpg.FindClient()
}

// dumpTo runs pg_dump on the snapshot of a transaction of ours, which counts
// the tables meanwhile.
func dumpTo(ctx context.Context, db *store.DB, o Options, to string) (m Manifest, err error) {
	m = Manifest{Format: backupFormat, MadeAt: o.Now.UTC().Truncate(time.Second)}
	err = db.InLongTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly},
		func(tx pgx.Tx) error {
			var snapshot string
			if err := tx.QueryRow(ctx, `SELECT pg_export_snapshot()`).Scan(&snapshot); err != nil {
				return err
			}
			if err := tx.QueryRow(ctx,
				`SELECT current_setting('server_version'), version FROM coldseam.schema_version`).Scan(&m.Server,
				&m.Schema); err != nil {
				return err
			}

			var last *time.Time
			if err := tx.QueryRow(ctx, `SELECT max(local_date) FROM coldseam.outbox WHERE kind = 'morning'`).Scan(
				&last); err != nil {
				return err
			}
			if last != nil {
				m.LastEdition = coldseam.DateOf(last.UTC())
			}
			if m.Tables, err = countTables(ctx, tx); err != nil {
				return err
			}
			return runTool(ctx, db.Pool().Config().ConnConfig, filepath.Join(o.Bin, "pg_dump"),
				"--format=custom", "--no-owner", "--no-privileges", "--snapshot="+snapshot, "--schema=coldseam",
				"--schema=season", "--schema=river", "--file="+to)
		})
	return m, err
}

// largeSums hash what matters of the large tables, without making text of
// them.
var largeSums = map[string]string{
	"coldseam.observation": `hashfloat8extended(COALESCE(x.value, 0), x.series_id) # hashint8extended(extract(epoch FROM x.valid_at)::int8, x.flags)`,
	"coldseam.raw_fetch":   `hashtextextended(x.sha256 || x.url, extract(epoch FROM x.fetched_at)::int8)`,
	"coldseam.ensemble":    `hashtextextended(x.site_id || x.param || x.source || x.quantile::text, extract(epoch FROM x.issued_at)::int8)`,
	"coldseam.forecast":    `hashtextextended(x.site_id || x.param || x.provider || x.value::text, extract(epoch FROM x.known_at)::int8)`,
	"coldseam.outbox":      `hashtextextended(x.message_id || x.state, length(x.payload))`,
}

// countTables counts rows and sums up the hashes of their content: equal
// content gives equal sums whatever the order.
func countTables(ctx context.Context, tx pgx.Tx) ([]ManifestTable, error) {
	rows, err := tx.Query(ctx, `
		SELECT n.nspname || '.' || c.relname
		FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
		WHERE c.relkind = 'r' AND n.nspname = 'coldseam' ORDER BY 1`)
	if err != nil {
		return nil, err
	}

	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, err
	}

	var out []ManifestTable
	for _, n := range names {
		t := ManifestTable{Name: n}
		what, large := largeSums[n]
		if !large {
			what = `hashtextextended(x::text, 0)`
		}
		err := tx.QueryRow(ctx, `SELECT count(*), COALESCE(sum(`+what+`), 0)::text FROM `+
			pgx.Identifier(strings.SplitN(n, ".", 2)).Sanitize()+` x`).Scan(&t.Rows, &t.Sum)
		if err != nil {
			return nil, err
		}
		out = append(out, t)
	}

	return out, nil
}

var tlsSetting = regexp.MustCompile(`\b(sslmode|sslrootcert|sslcert|sslkey)=([^&\s']+)`)

// runTool runs a program of Postgres against a connection. The password goes
// by the environment: arguments can be read by every user of the machine.
func runTool(ctx context.Context, c *pgx.ConnConfig, prog string, args ...string) error {
	cmd := exec.CommandContext(ctx, prog, args...)
	cmd.Env = append(os.Environ(), "PGHOST="+c.Host, fmt.Sprintf("PGPORT=%d", c.Port), "PGUSER="+c.User, "PGDATABASE="+
		c.Database, "PGPASSWORD="+c.Password)
	for _, m := range tlsSetting.FindAllStringSubmatch(c.ConnString(), -1) { // as strict as the program itself
		cmd.Env = append(cmd.Env, "PG"+strings.ToUpper(m[1])+"="+m[2])
	}
	cmd.WaitDelay = 5 * time.Second
	out, err := cmd.CombinedOutput()
	if err != nil {
		line := strings.TrimSpace(string(out))
		if i := strings.LastIndexByte(line, '\n'); i >= 0 {
			line = line[i+1:]
		}
		return fmt.Errorf("%s: %s: %w", filepath.Base(prog), line, err)
	}
	return nil
}

func syncPath(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
