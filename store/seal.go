package store

import (
	"bytes"
	"context"
	"encoding/hex"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// sealLock orders the briefs of all servers: the chain must not fork. It is
// taken before a brief gets its number.
const sealLock = 7263710005

// seal hashes a new brief onto the chain, within the transaction that stored it
// under sealLock.
func seal(ctx context.Context, tx pgx.Tx, id int64) error {
	_, err := tx.Exec(ctx, `
		UPDATE coldseam.brief b SET seal = coldseam.brief_seal((
		  SELECT p.seal FROM coldseam.brief p
		  WHERE p.brief_id < $1 AND p.seal IS NOT NULL ORDER BY p.brief_id DESC LIMIT 1), b)
		WHERE b.brief_id = $1 AND NOT b.replay`, id)
	return err
}

// SealHead is the seal of the newest brief in hexadecimal digits; "" = none.
func (db *DB) SealHead(ctx context.Context) (string, error) {
	var head []byte
	err := db.pool.QueryRow(ctx, `
		SELECT seal FROM coldseam.brief WHERE seal IS NOT NULL ORDER BY brief_id DESC LIMIT 1`).Scan(&head)
	if err == pgx.ErrNoRows {
		return "", nil
	}
	if err != nil {
		return "", fmt.Errorf("seal: %w", classify(err))
	}
	return hex.EncodeToString(head), nil
}

// Sealed is one brief of the chain.
type Sealed struct {
	ID     int64
	Reach  coldseam.ReachID
	Day    coldseam.Date
	Issued time.Time
	Seal   string // hexadecimal; "" = a brief told without one
	Holds  bool   // it is what its brief and the seal before it give
}

// EachSealed hands out the briefs told, in the order of the chain, from the
// first that is sealed. The first holds only where it begins the chain.
func (db *DB) EachSealed(ctx context.Context, f func(Sealed) error) error {
	rows, err := db.pool.Query(ctx, `
		SELECT brief_id, reach_id, day::text, issued_at, seal,
		  coldseam.brief_seal(lag(seal) OVER (ORDER BY brief_id), b)
		FROM coldseam.brief b
		WHERE NOT replay AND brief_id >= (SELECT min(brief_id) FROM coldseam.brief WHERE seal IS NOT NULL)
		ORDER BY brief_id`)
	if err != nil {
		return fmt.Errorf("sealed briefs: %w", classify(err))
	}
	var s Sealed
	var day string
	var have, want []byte
	_, err = pgx.ForEachRow(rows, []any{&s.ID, &s.Reach, &day, &s.Issued, &have, &want}, func() (err error) {
		s.Seal, s.Holds = hex.EncodeToString(have), bytes.Equal(have, want)
		if s.Day, err = coldseam.ParseDate(day); err != nil {
			return err
		}
		return f(s)
	})
	if err != nil {
		return fmt.Errorf("sealed briefs: %w", classify(err))
	}
	return nil
}
