package recap

import (
	"context"

	"example.org/coldseam/cmd/internal/env"
)

func (bk *Season) FindPsql() (string, error) { return bk.findPsql() }

func (c *Command) Psql(ctx context.Context, s *env.Streams, bk *Season) error {
	return c.psql(ctx, s, bk)
}
