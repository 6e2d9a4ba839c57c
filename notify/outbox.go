package notify

import (
	"context"
	"time"

	"example.org/coldseam"
)

// Outbox is where mails wait. *store.DB satisfies it.
type Outbox interface {
	// Claim takes up to n rows that are due at now for this worker and leases
	// them; corrections come before all other rows. A row whose deadline has
	// passed or whose subscriber has left must not be returned.
	Claim(ctx context.Context, worker string, now time.Time, lease time.Duration, n int) ([]coldseam.OutboxMessage, error)
	// Paced is when the next row that is due at now may go out, where nothing but
	// the set pace keeps it back; the zero time when no row waits for that alone.
	Paced(ctx context.Context, now time.Time) (time.Time, error)
	// InData records, committed, that the text is about to be transmitted.
	// False: the row is no longer this worker's; it must not be sent. Called
	// again while the reply is waited for, it lengthens the lease.
	InData(ctx context.Context, l coldseam.OutboxMessage, now, leaseUntil time.Time) (bool, error)
	// Done records what the attempt came to, guarded by worker and attempt.
	Done(ctx context.Context, l coldseam.OutboxMessage, o coldseam.Outcome, now time.Time) error
}
