package feeds

import (
	"context"
	"io"
)

func (c *Command) FetchNow(ctx context.Context, w io.Writer, fd *Feeds) error {
	return c.fetchNow(ctx, w, fd)
}

func (c *Command) ReplayKept(ctx context.Context, w io.Writer, fd *Feeds) error {
	return c.replayKept(ctx, w, fd)
}

func (c *Command) Backfill(ctx context.Context, w io.Writer, fd *Feeds) error {
	return c.backfill(ctx, w, fd)
}
