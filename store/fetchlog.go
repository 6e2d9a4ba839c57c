package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// FetchRecord is one line of the log of fetches.
type FetchRecord struct {
	ID         int64
	Profile    string
	URL        string // without key
	At         time.Time
	Status     int
	Rows       int
	Attributes string // the packed shape of the document
	Err        string
	Kept       bool // Payload returns its bytes
}

const fetchCols = `fetch_id, profile, url, fetched_at, status, rows_stored, attributes, err, payload_gzip IS NOT NULL`

func scanFetch(r pgx.CollectableRow) (FetchRecord, error) {
	var f FetchRecord
	err := r.Scan(&f.ID, &f.Profile, &f.URL, &f.At, &f.Status, &f.Rows, &f.Attributes, &f.Err, &f.Kept)
	f.At = f.At.UTC()
	return f, err
}

func (db *DB) fetches(ctx context.Context, what, sql string, args ...any) ([]FetchRecord, error) {
	rows, err := db.pool.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, classify(err))
	}
	out, err := pgx.CollectRows(rows, scanFetch)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, classify(err))
	}
	return out, nil
}

// KeptFetches lists the good fetches of a profile whose bytes are kept, oldest
// first; profile "" = all.
func (db *DB) KeptFetches(ctx context.Context, profile string) ([]FetchRecord, error) {
	return db.fetches(ctx, "kept fetches", `
		SELECT `+fetchCols+` FROM coldseam.raw_fetch
		WHERE payload_gzip IS NOT NULL AND status = 200 AND ($1 = '' OR profile = $1)
		ORDER BY fetched_at, fetch_id`, profile)
}

// LastShapes returns, of every address whose documents changed their shape
// within the log, the newest good fetch and the newest one before of another
// shape: pairs, newest first.
func (db *DB) LastShapes(ctx context.Context, since time.Time) ([][2]FetchRecord, error) {
	list, err := db.fetches(ctx, "shapes of documents", `
		WITH good AS (
		  SELECT *, first_value(attributes) OVER w AS newest, row_number() OVER w AS n FROM coldseam.raw_fetch
		  WHERE attributes <> '' AND err = '' AND fetched_at >= $1
		  WINDOW w AS (PARTITION BY profile, url ORDER BY fetched_at DESC, fetch_id DESC)),
		other AS (
		  SELECT DISTINCT ON (profile, url) * FROM good
		  WHERE split_part(attributes, ':', 1) <> split_part(newest, ':', 1)
		  ORDER BY profile, url, fetched_at DESC)
		SELECT `+fetchCols+` FROM (
		  SELECT g.* FROM good g JOIN other o USING (profile, url) WHERE g.n = 1
		  UNION ALL SELECT * FROM other) x
		ORDER BY profile, url, fetched_at DESC`, micro(since))
	if err != nil {
		return nil, err
	}

	var out [][2]FetchRecord
	for i := 0; i+1 < len(list); i += 2 {
		out = append(out, [2]FetchRecord{list[i], list[i+1]})
	}
	return out, nil
}

// NewestKept returns the newest kept fetch of every address.
func (db *DB) NewestKept(ctx context.Context) ([]FetchRecord, error) {
	return db.fetches(ctx, "newest kept fetches", `
		SELECT DISTINCT ON (profile, url) `+fetchCols+` FROM coldseam.raw_fetch
		WHERE payload_gzip IS NOT NULL AND err = ''
		ORDER BY profile, url, fetched_at DESC, fetch_id DESC`)
}
