package main

import (
	"context"
	"fmt"
	"log/slog"

	"example.org/coldseam/cmd/internal/config"
)

// openApp reads the configuration and wires the program for one command. The
// logger of a command speaks of what heals itself no more than of what does
// not: the command's own output is for that.
func openApp(ctx context.Context, s *streams, g *Globals, o buildOptions) (*app, error) {
	cfg, err := read(s, g, &o)
	if err != nil {
		return nil, err
	}
	return build(ctx, cfg, o)
}

// read reads the configuration for one command, whose log goes to the terminal.
func read(s *streams, g *Globals, o *buildOptions) (config.Config, error) {
	cfg, err := config.Load(g.Config)
	if err != nil {
		return cfg, exitWith(2, err.Error())
	}
	if o.log == nil {
		o.log = newLogger(s.err, slog.LevelError)
	}
	return cfg, nil
}

// openCommand opens the database for one command.
func openCommand(ctx context.Context, s *streams, g *Globals, o buildOptions) (*Env, error) {
	cfg, err := read(s, g, &o)
	if err != nil {
		return nil, err
	}
	return openEnv(ctx, cfg, o)
}

// migrateCmd brings the database to this program's schema.
type migrateCmd struct {
	NoBackup   bool `help:"Do not back up before. The backup is the only way back: a schema never goes down."`
	ReadersSQL bool `help:"Print the statements that make the readers' role and close the rest to it, for a superuser of the server; migrate nothing." name:"readers-sql"`
}

// Run backs up what is there, then migrates. A newer schema is refused.
func (c *migrateCmd) Run(ctx context.Context, s *streams, g *Globals) error {
	a, err := openApp(ctx, s, g, buildOptions{anySchema: true})
	if err != nil {
		return err
	}
	defer a.Close()
	return c.migrate(ctx, s, a)
}

func (c *migrateCmd) migrate(ctx context.Context, s *streams, a *app) error {
	if c.ReadersSQL {
		sql, err := a.db.LockSQL(ctx)
		fmt.Fprint(s.out, sql)
		return err
	}
	st, err := a.db.Schema(ctx)
	if err != nil {
		return err
	}
	if c.NoBackup {
		err = a.db.Migrate(ctx)
	} else {
		err = a.upgrade(ctx)
	}
	if err != nil {
		return err
	}
	if st.Current() { // the queue's own tables and the readers' role may still have been behind
		fmt.Fprintf(s.out, "database schema %d: nothing to do\n", st.Have)
		return nil
	}
	fmt.Fprintf(s.out, "database schema: was %d, is %d\n", st.Have, st.Want)
	return nil
}

// pgBin is the directory of pg_dump that fits the private server; "" = looked
// for.
func (e *Env) pgBin() string {
	if e.pg != nil {
		return e.pg.Bin()
	}
	return ""
}
