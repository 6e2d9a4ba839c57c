package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// ConfirmReadings keeps the admin's word on the readings of a span. The same again is
// left alone. ErrInvalid: no site, who or why, or a span that is empty or
// reaches past the time of the word, which cannot speak of what is to come.
func (db *DB) ConfirmReadings(ctx context.Context, c coldseam.Confirmation) error {
	fail := func(err error) error { return fmt.Errorf("confirm %s at %s: %w", c.Param, c.Site, err) }
	if err := (Edit{Who: c.Who, Why: c.Why}).check(); err != nil {
		return fail(err)
	}
	if c.Site == "" || c.To.Before(c.From) || c.At.Before(c.To) {
		return fail(fmt.Errorf("from %s to %s, said at %s: %w", c.From, c.To, c.At, coldseam.ErrInvalid))
	}
	_, err := db.pool.Exec(ctx, `
		INSERT INTO coldseam.confirmation (site_id, param, from_at, until_at, known_at, who, why) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT ON CONSTRAINT confirmation_key DO NOTHING`,
		c.Site, c.Param, micro(c.From), micro(c.To), micro(c.At), clean(c.Who), clean(c.Why))
	if err != nil {
		return fail(classify(err))
	}
	return nil
}

// Confirmations lists the words on readings of a site, "" for all, from since on
// that were known at asOf, in order of entry.
func (db *DB) Confirmations(ctx context.Context, site coldseam.SiteID, since,
	asOf time.Time) ([]coldseam.Confirmation, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT site_id, param, from_at, until_at, known_at, who, why
		FROM coldseam.confirmation
		WHERE ($1 = '' OR site_id = $1) AND until_at >= $2 AND known_at <= $3
		ORDER BY known_at, confirmation_id`, site, micro(since), micro(asOf))
	if err != nil {
		return nil, fmt.Errorf("confirmations at %s: %w", site, classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (c coldseam.Confirmation, err error) {
		err = r.Scan(&c.Site, &c.Param, &c.From, &c.To, &c.At, &c.Who, &c.Why)
		c.From, c.To, c.At = c.From.UTC(), c.To.UTC(), c.At.UTC()
		return c, err
	})
	if err != nil {
		return nil, fmt.Errorf("confirmations at %s: %w", site, classify(err))
	}
	return out, nil
}
