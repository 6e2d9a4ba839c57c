package admin

import (
	"context"
	"fmt"

	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
)

// Migrate brings the database to this program's schema.
type Migrate struct {
	NoBackup   bool `help:"Do not back up before. The backup is the only way back: a schema never goes down."`
	ReadersSQL bool `help:"Print the statements that make the readers' role and close the rest to it, for a superuser of the server; migrate nothing." name:"readers-sql"`
}

// Run backs up what is there, then migrates. A newer schema is refused.
func (c *Migrate) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	a, err := parts.For(ctx, s, g, env.Options{AnySchema: true})
	if err != nil {
		return err
	}
	defer a.Close()
	return c.migrate(ctx, s, a)
}

func (c *Migrate) migrate(ctx context.Context, s *env.Streams, a *parts.Parts) error {
	if c.ReadersSQL {
		sql, err := a.Env.DB.LockSQL(ctx)
		fmt.Fprint(s.Out, sql)
		return err
	}
	st, err := a.Env.DB.Schema(ctx)
	if err != nil {
		return err
	}

	if c.NoBackup {
		err = a.Env.DB.Migrate(ctx)
	} else {
		err = a.Env.Upgrade(ctx)
	}
	if err != nil {
		return err
	}

	if st.Current() { // the queue's own tables and the readers' role may still have been behind
		fmt.Fprintf(s.Out, "database schema %d: nothing to do\n", st.Have)
		return nil
	}
	fmt.Fprintf(s.Out, "database schema: was %d, is %d\n", st.Have, st.Want)
	return nil
}
