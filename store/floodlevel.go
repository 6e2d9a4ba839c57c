package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

const sqlSaveFloodLevel = `
INSERT INTO coldseam.flood_level (site_id, kind, param, value, gauge, known_at) VALUES ($1, $2, $3, $4, $5, $6)
ON CONFLICT ON CONSTRAINT flood_level_pkey DO UPDATE
SET value = excluded.value, gauge = excluded.gauge, known_at = excluded.known_at
WHERE flood_level.known_at <= excluded.known_at AND (flood_level.value, flood_level.gauge) IS DISTINCT FROM (excluded.value, excluded.gauge)`

// SaveFloodLevels keeps the newest word of an agency on each of its flood levels,
// known since it was first said. One that it no longer names stays: a limit that
// vanishes relaxes nothing.
func (db *DB) SaveFloodLevels(ctx context.Context, ts []coldseam.FloodLevel) error {
	batch := &pgx.Batch{}
	for _, t := range ts {
		batch.Queue(sqlSaveFloodLevel, t.Site, t.Kind, t.Param, t.Value, t.Gauge, micro(t.KnownAt))
	}
	if err := db.pool.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("flood levels: %w", classify(err))
	}
	return nil
}

const sqlFloodLevels = `
SELECT site_id, kind, param, value, gauge, known_at
FROM coldseam.flood_level
WHERE site_id = $1 AND known_at <= $2
ORDER BY param, value`

// FloodLevels are those of a forecast point known at a time, from low to high.
func (db *DB) FloodLevels(ctx context.Context, site coldseam.SiteID, asOf time.Time) ([]coldseam.FloodLevel, error) {
	rows, err := db.pool.Query(ctx, sqlFloodLevels, site, micro(asOf))
	if err != nil {
		return nil, fmt.Errorf("flood levels of %s: %w", site, classify(err))
	}
	out, err := pgx.CollectRows(rows, pgx.RowToStructByPos[coldseam.FloodLevel])
	if err != nil {
		return nil, fmt.Errorf("flood levels of %s: %w", site, classify(err))
	}
	return out, nil
}
