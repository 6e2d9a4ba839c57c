package admin

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/store/backup"
	"example.org/coldseam/store/localpg"
)

// Restore loads a backup into an empty database.
type Restore struct {
	File     string `arg:"" help:"A backup." type:"existingfile"`
	FilesTo  string `help:"Put configuration and keys here, not to where they stood; nothing there is overwritten." type:"path" placeholder:"DIR"`
	Files    string `help:"Where another file stands: backup = the backup's takes its place and the old one is renamed; keep = it stays." enum:",backup,keep" default:"" placeholder:"backup|keep"`
	Only     bool   `help:"Configuration and keys alone: the database is left as it is." name:"files-only"`
	Database string `help:"Postgres URL of an empty database, instead of the configured one." placeholder:"URL"`
	StateDir string `help:"State directory of the private Postgres, where there is no configuration yet." type:"path"`
	Drill    bool   `help:"Restore into a private Postgres that goes away again: proves the backup, touches nothing."`
}

// Run restores. On a new machine there is no configuration yet: it comes out
// of the backup.
func (c *Restore) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	if c.Drill {
		return c.drill(ctx, s)
	}
	cfg, err := config.Load(g.Config)
	if errors.Is(err, fs.ErrNotExist) {
		cfg, err = config.Config{StateDir: c.StateDir}, nil
		cfg.Defaults(func(...string) bool { return false })
	}

	if err != nil {
		return env.Fail(2, err.Error())
	}
	o := c.fileOptions(g.Config)
	m, err := backup.Verify(c.File)
	if err != nil {
		return err
	}

	if other := o.OtherFiles(m); o.Back && c.Files == "" && len(other) > 0 {
		return env.Fail(2, fmt.Sprintf(
			"nothing was touched: the backup has another %s. With --files backup that of the "+
				"backup takes its place and the old one is renamed (a new machine: links in mails and DKIM go on working); "+
				"with --files keep it stays", strings.Join(other, ", ")))

	}

	if c.Only {
		files, err := backup.RestoreFiles(c.File, o)
		c.wrote(s, files)
		return err
	}

	url, stop, err := c.target(ctx, cfg)
	if err != nil {
		return err
	}
	defer stop()
	return c.restore(ctx, s, url, cfg, o)
}

// fileOptions says where the admin's files go: back to where they stood, those
// that the service manager hands over beside the configuration.
func (c *Restore) fileOptions(config string) backup.RestoreOptions {
	if c.FilesTo != "" {
		return backup.RestoreOptions{FilesTo: c.FilesTo}
	}
	return backup.RestoreOptions{FilesTo: filepath.Dir(config), Back: true, Aside: c.Files == "backup"}
}

func (c *Restore) wrote(s *env.Streams, files []string) {
	for _, f := range files {
		fmt.Fprintln(s.Out, "wrote", f)
	}
}

// drill restores into a database of its own, lets every table be compared with
// the manifest, and throws it away. A timer may run it at night.
func (c *Restore) drill(ctx context.Context, s *env.Streams) error {
	start := time.Now()
	dir, err := os.MkdirTemp("", "coldseam-drill-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)

	if err := os.Chmod(dir, 0o711); err != nil { // the database's user passes through
		return err
	}
	pg, err := localpg.Start(ctx, localpg.Options{Dir: filepath.Join(dir, "database")})
	if err != nil {
		return err
	}
	defer pg.Stop()

	r, err := backup.Restore(ctx, c.File, pg.URL(localpg.User), backup.RestoreOptions{Bin: pg.Bin()})
	if err != nil {
		return fmt.Errorf("%s: %w", filepath.Base(c.File), err)
	}
	fmt.Fprintf(s.Out, "drill passed in %.1f s: every table as in the manifest; %s\n", time.Since(start).Seconds(),
		manifestWords(r.Manifest))
	return nil
}

// target is the connection string of the database to fill.
func (c *Restore) target(ctx context.Context, cfg config.Config) (url string, stop func(), err error) {
	for _, u := range []string{c.Database, os.Getenv("COLDSEAM_DATABASE_URL"), cfg.DatabaseURL} {
		if u != "" {
			return u, func() {}, nil
		}
	}
	if c.StateDir != "" {
		cfg.StateDir = c.StateDir
	}
	pg, err := localpg.Start(ctx, localpg.Options{Dir: filepath.Join(cfg.StateDir, "database")})
	if errors.Is(err, coldseam.ErrUnavailable) {
		return "", nil, fmt.Errorf("%w: stop the service first; restore wants a new, empty database", err)
	}
	if err != nil {
		return "", nil, err
	}
	return pg.URL(localpg.User), func() { _ = pg.Stop() }, nil
}

func (c *Restore) restore(ctx context.Context, s *env.Streams, url string, cfg config.Config,
	o backup.RestoreOptions) error {
	o.Store.HoldUnknown = cfg.Mail.Unknown == "hold"
	r, err := backup.Restore(ctx, c.File, url, o)
	if err != nil {
		return fmt.Errorf("%s: %w", filepath.Base(c.File), err)
	}
	fmt.Fprintf(s.Out, "restored: %s\n", manifestWords(r.Manifest))
	c.wrote(s, r.Files)
	fmt.Fprintf(s.Out, "mails: %d in transmission are unknown now, %d of earlier days expired, %d members may have had today's mail and get none today\n", r.Unknown, r.Expired, r.NotMailed)

	if r.Jobs > 0 {
		fmt.Fprintf(s.Out, "jobs: %d that were running will run again\n", r.Jobs)
	}
	last := "there was none"
	if !r.Manifest.LastEdition.IsZero() {
		last = r.Manifest.LastEdition.String()
	}
	fmt.Fprintf(s.Out, "last edition in the backup: %s\n", last)
	fmt.Fprintln(s.Out, "SENDING IS HELD. Look with `coldseam check`, then `coldseam brief --release --reason \"restored\"`.")
	return nil
}
