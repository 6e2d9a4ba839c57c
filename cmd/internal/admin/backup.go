package admin

import (
	"context"
	"fmt"
	"path/filepath"
	"time"

	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/store/backup"
)

// Backup writes one verified file and lets old ones go.
type Backup struct {
	Dir    string `help:"Where to, instead of backup.dir." type:"path"`
	Verify string `help:"Read a backup through, compare every byte with its manifest and print it; nothing is written." type:"existingfile" placeholder:"FILE"`
	Keep   bool   `help:"Delete no old backup."`
}

// Run backs up while the service goes on.
func (c *Backup) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	if c.Verify != "" {
		return c.verify(s)
	}
	a, err := parts.For(ctx, s, g, env.Options{AnySchema: true})
	if err != nil {
		return err
	}
	defer a.Close()
	return c.Backup(ctx, s, a)
}

// Backup writes the file, verifies it and lets old ones go.
func (c *Backup) Backup(ctx context.Context, s *env.Streams, a *parts.Parts) error {
	dir := c.Dir
	if dir == "" {
		dir = a.Env.Config.Backup.Dir
	}
	start := time.Now()
	path, err := backup.Make(ctx, a.Env.DB, backup.Options{
		Dir:   dir,
		Files: a.Env.Config.SecretFiles(),
		Bin:   a.Env.PgBin(),
		Now:   a.Env.Now(),
	})
	if err != nil {
		return err
	}

	m, err := backup.Verify(path)
	if err != nil {
		return err
	}

	fmt.Fprintf(s.Out, "%s: verified, %s, in %.1f s\n", path, manifestWords(m), time.Since(start).Seconds())
	if c.Keep {
		return nil
	}
	gone, err := backup.Rotate(dir)
	for _, p := range gone {
		fmt.Fprintln(s.Out, "let go:", filepath.Base(p))
	}
	if err != nil {
		return err
	}

	kept, err := backup.List(dir)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.Out, "%d kept of the last 7 days, 5 weeks and 12 months. It holds config and keys: copy it off this machine, to a place as closed as they are.\n", len(kept))
	return nil
}

func (c *Backup) verify(s *env.Streams) error {
	m, err := backup.Verify(c.Verify)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.Out, "%s: whole; %s\n", c.Verify, manifestWords(m))
	for _, t := range m.Tables {
		fmt.Fprintf(s.Out, "  %-36s %d rows\n", t.Name, t.Rows)
	}
	return nil
}

func manifestWords(m backup.Manifest) string {
	size, rows := int64(0), int64(0)
	for _, f := range m.Files {
		size += f.Bytes
	}
	for _, t := range m.Tables {
		rows += t.Rows
	}
	last := "no edition yet"
	if !m.LastEdition.IsZero() {
		last = "last edition " + m.LastEdition.String()
	}
	return fmt.Sprintf("made %s, %d rows in %d tables, %d files, %.1f MB, %s", m.MadeAt.Format("2006-01-02 15:04 MST"),
		rows, len(m.Tables), len(m.Files)-1, float64(size)/1e6, last)
}
