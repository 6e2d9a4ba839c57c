package store

import (
	"context"
	"fmt"
	"time"
)

// QueueState is what an admin should know of the queue, by the clock of the
// database.
type QueueState struct {
	Waiting   int           // jobs that are due and nobody took
	Oldest    time.Duration // how long the first of them waits
	Discarded int           // given up within a day
	LastError string        // of the newest of those, one line
}

// QueueState looks at the queue.
func (db *DB) QueueState(ctx context.Context) (QueueState, error) {
	var q QueueState
	var oldest float64
	err := db.pool.QueryRow(ctx, `
		SELECT count(*) FILTER (WHERE state IN ('available', 'retryable') AND scheduled_at <= now()),
		       COALESCE(extract(epoch FROM now() - min(scheduled_at) FILTER (WHERE state IN ('available', 'retryable') AND scheduled_at <= now())), 0)::float8,
		       count(*) FILTER (WHERE state = 'discarded' AND finalized_at > now() - interval '1 day'),
		       COALESCE((SELECT kind || ': ' || (errors[cardinality(errors)]->>'error') FROM river.river_job
		                 WHERE state = 'discarded' AND finalized_at > now() - interval '1 day' ORDER BY finalized_at DESC LIMIT 1), '')
		FROM river.river_job`).Scan(&q.Waiting, &oldest, &q.Discarded, &q.LastError)
	if err != nil {
		return q, fmt.Errorf("queue state: %w", classify(err))
	}
	q.Oldest = time.Duration(oldest * float64(time.Second))
	return q, nil
}
