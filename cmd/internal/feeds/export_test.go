package feeds

import (
	"context"
	"io"
)

func (c *Command) Bring(ctx context.Context, w io.Writer, fd *Feeds) error {
	return c.bring(ctx, w, fd)
}
