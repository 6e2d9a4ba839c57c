package store

import (
	"context"
	"fmt"
	"time"

	"example.org/coldseam"
)

// SetSendAt tells the views when the club's morning mail goes out, "04:45" by
// the local clock: the word that stood then is held against what happened.
func (db *DB) SetSendAt(ctx context.Context, hhmm string) error {
	if _, err := time.Parse("15:04", hhmm); err != nil {
		return fmt.Errorf("send time %q: want HH:MM: %w", hhmm, coldseam.ErrInvalid)
	}
	if _, err := db.pool.Exec(ctx,
		`UPDATE coldseam.club_setting SET send_at = $1::text::time WHERE send_at <> $1::text::time`, hhmm); err != nil {
		return fmt.Errorf("send time: %w", classify(err))
	}
	return nil
}
