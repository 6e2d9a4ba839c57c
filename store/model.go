package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// Model is one version of fitted parameters. Params and Score are JSON of the
// model's own form.
type Model struct {
	Owner    string // site or reach
	Kind     string // such as "thermal8"
	Version  int    // set by SaveModel
	MadeAt   time.Time
	From, To coldseam.Date // training window
	Score    json.RawMessage
	Params   json.RawMessage
	Note     string
}

const sqlSaveModel = `
INSERT INTO coldseam.model (owner, kind, version, made_at, window_from, window_to, score, params, note)
SELECT $1, $2, 1 + COALESCE(max(version), 0), $3, $4, $5, $6, $7, $8
FROM coldseam.model
WHERE owner = $1 AND kind = $2
RETURNING version`

// SaveModel stores a new version and returns its number. Score may be nil.
func (db *DB) SaveModel(ctx context.Context, m Model) (version int, err error) {
	if m.Owner == "" || m.Kind == "" || !json.Valid(m.Params) {
		return 0, fmt.Errorf("model %s/%s: needs owner, kind and parameters as JSON: %w", m.Owner, m.Kind,
			coldseam.ErrInvalid)
	}
	if m.Score == nil {
		m.Score = json.RawMessage("{}")
	}
	made := m.MadeAt
	if made.IsZero() {
		made = db.now()
	}

	err = db.inTx(ctx, func(tx pgx.Tx) error {
		// Two fits of one model at once would take the same number.
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtext($1 || '/' || $2))`, m.Owner,
			m.Kind); err != nil {
			return err
		}
		return tx.QueryRow(ctx, sqlSaveModel, m.Owner, m.Kind, micro(made), nullDate(m.From), nullDate(m.To), m.Score,
			m.Params, m.Note).Scan(&version)
	})
	if err != nil {
		return 0, fmt.Errorf("model %s/%s: %w", m.Owner, m.Kind, classify(err))
	}

	return version, nil
}

// Model returns the newest version made at or before asOf, or ErrNotFound: a
// replay must not use parameters that were fitted on its future.
func (db *DB) Model(ctx context.Context, owner, kind string, asOf time.Time) (Model, error) {
	m := Model{Owner: owner, Kind: kind}
	var from, to *time.Time
	err := db.pool.QueryRow(ctx, `
		SELECT version, made_at, window_from, window_to, score, params, note
		FROM coldseam.model
		WHERE owner = $1 AND kind = $2 AND made_at <= $3
		ORDER BY made_at DESC, version DESC LIMIT 1`, owner, kind, micro(asOf)).
		Scan(&m.Version, &m.MadeAt, &from, &to, &m.Score, &m.Params, &m.Note)
	if err != nil {
		return m, fmt.Errorf("model %s/%s: %w", owner, kind, classify(err))
	}
	m.MadeAt, m.From, m.To = m.MadeAt.UTC(), dateOf(from), dateOf(to)
	return m, nil
}
