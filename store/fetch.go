package store

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

const sqlSaveRaw = `
INSERT INTO coldseam.raw_fetch (profile, url, fetched_at, status, bytes, sha256, dur_ms, etag, last_modified, err, rows_stored, attributes, payload_gzip)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12,
  CASE WHEN $6 <> '' AND $6 = (
    SELECT sha256 FROM coldseam.raw_fetch WHERE profile = $1 AND url = $2 AND payload_gzip IS NOT NULL ORDER BY fetched_at DESC, fetch_id DESC LIMIT 1)
  THEN NULL ELSE $13::bytea END)
RETURNING fetch_id`

// sqlCompleteRaw adds to a record what is known only after its contents were
// stored.
const sqlCompleteRaw = `
UPDATE coldseam.raw_fetch SET etag = $4, last_modified = $5, err = $6, rows_stored = $7
WHERE fetch_id = $1 AND profile = $2 AND url = $3
RETURNING fetch_id`

const sqlDropPayloads = `
UPDATE coldseam.raw_fetch SET payload_gzip = NULL
WHERE fetch_id IN (
  SELECT fetch_id FROM coldseam.raw_fetch
  WHERE profile = $1 AND url = $2 AND payload_gzip IS NOT NULL
  ORDER BY fetched_at DESC, fetch_id DESC OFFSET $3)`

const sqlFetchState = `
INSERT INTO coldseam.fetch_state AS s (profile, url, etag, last_modified, not_before, failures, last_try_at, last_ok_at, last_err, gaps)
VALUES ($1, $2, $3, $4, $5, CASE WHEN $6 THEN 0 ELSE 1 END, $7, CASE WHEN $6 THEN $7::timestamptz END, $8, $11)
ON CONFLICT (profile, url) DO UPDATE
SET etag          = CASE WHEN $6 AND ($3 <> '' OR $9) THEN $3 ELSE s.etag END,
    last_modified = CASE WHEN $6 AND ($4 <> '' OR $9) THEN $4 ELSE s.last_modified END,
    failures      = CASE WHEN $6 THEN 0 WHEN $10 THEN GREATEST(s.failures, 1) ELSE s.failures + 1 END, -- a fetch is counted once
    not_before    = CASE WHEN $6 THEN $5
                         ELSE GREATEST($5, $7 + LEAST(interval '30 minutes', interval '1 minute' * 2 ^ LEAST(s.failures, 10))) END,
    last_try_at   = $7,
    last_ok_at    = CASE WHEN $6 THEN $7 ELSE s.last_ok_at END,
    last_err      = $8,
    gaps          = $11`

// SaveRaw logs a fetch, keeps its payload for replay and sets what the next
// fetch of the address needs. Payloads equal to the one before are not kept
// twice, and only the newest few of each address are. After failures the
// address rests 1, 2, 4 ... 30 minutes, or as long as the server asked. It
// returns the id of the fetch. With an ID the record of that id is completed:
// validators come after the contents are stored, so that a crash in between
// asks for the document again; ErrNotFound when there is no such record of the
// address.
func (db *DB) SaveRaw(ctx context.Context, f coldseam.RawFetch) (int64, error) {
	packed, err := pack(f.Payload)
	if err != nil {
		return 0, fmt.Errorf("save fetch of %s: %w", f.Profile, err)
	}

	ok := f.Err == "" && (f.Status >= 200 && f.Status < 300 || f.Status == 304)
	fresh := ok && f.Status != 304 // its validators replace the old ones, absent ones too
	notBefore := nullTime(f.NotBefore)
	if !ok && f.NotBefore.Before(f.At.Add(time.Minute)) {
		notBefore = nullTime(f.At.Add(time.Minute))
	}
	gaps, err := json.Marshal(append([]coldseam.FeedGap{}, f.Gaps...))
	if err != nil {
		return 0, fmt.Errorf("save fetch of %s: %w", f.Profile, err)
	}

	var id int64
	err = db.inTx(ctx, func(tx pgx.Tx) error {
		if f.ID != 0 {
			if err := tx.QueryRow(ctx, sqlCompleteRaw, f.ID, f.Profile, f.URL, clean(f.ETag), clean(f.LastMod),
				clean(f.Err), f.Rows).Scan(&id); err != nil {
				return err
			}
		} else if err := tx.QueryRow(ctx, sqlSaveRaw, f.Profile, f.URL, micro(f.At), f.Status, f.Bytes, f.SHA256,
			f.Dur.Milliseconds(),
			clean(f.ETag), clean(f.LastMod), clean(f.Err), f.Rows, clean(f.Attributes), packed).Scan(&id); err != nil {
			return err
		}

		if packed != nil {
			if _, err := tx.Exec(ctx, sqlDropPayloads, f.Profile, f.URL, db.opts.KeepPayloads); err != nil {
				return err
			}
		}
		_, err := tx.Exec(ctx, sqlFetchState, f.Profile, f.URL, clean(f.ETag), clean(f.LastMod), notBefore, ok,
			micro(f.At), clean(f.Err), fresh, f.ID != 0, gaps)
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("save fetch of %s: %w", f.Profile, classify(err))
	}

	return id, nil
}

// clean makes foreign text storable: no NUL, valid UTF-8, bounded.
func clean(s string) string {
	s = strings.ToValidUTF8(strings.ReplaceAll(s, "\x00", ""), "\uFFFD")
	if len(s) > 2000 {
		s = strings.ToValidUTF8(s[:2000], "")
	}
	return s
}

func pack(b []byte) ([]byte, error) {
	if len(b) == 0 {
		return nil, nil
	}
	var out bytes.Buffer
	w := gzip.NewWriter(&out)
	if _, err := w.Write(b); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// NextFetch returns the validators for a conditional request and the time
// before which the address is not to be asked; all zero for a new address.
func (db *DB) NextFetch(ctx context.Context, profile,
	url string) (etag, lastMod string, notBefore time.Time, err error) {
	var nb *time.Time
	err = db.pool.QueryRow(ctx,
		`SELECT etag, last_modified, not_before FROM coldseam.fetch_state WHERE profile = $1 AND url = $2`, profile,
		url).
		Scan(&etag, &lastMod, &nb)
	if err == pgx.ErrNoRows {
		return "", "", time.Time{}, nil
	}
	if err != nil {
		return "", "", time.Time{}, fmt.Errorf("next fetch of %s: %w", profile, classify(err))
	}
	return etag, lastMod, timeOf(nb), nil
}

// Payload returns the kept bytes of a fetch, or of the earlier fetch with the
// same bytes. ErrNotFound: not kept any more.
func (db *DB) Payload(ctx context.Context, fetchID int64) ([]byte, error) {
	var packed []byte
	err := db.pool.QueryRow(ctx, `
		SELECT p.payload_gzip
		FROM coldseam.raw_fetch f
		JOIN coldseam.raw_fetch p ON p.profile = f.profile AND p.url = f.url AND p.sha256 = f.sha256 AND p.payload_gzip IS NOT NULL
		WHERE f.fetch_id = $1
		ORDER BY p.fetch_id DESC LIMIT 1`, fetchID).Scan(&packed)
	if err != nil {
		return nil, fmt.Errorf("payload of fetch %d: %w", fetchID, classify(err))
	}

	r, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, fmt.Errorf("payload of fetch %d: %w", fetchID, err)
	}
	b, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("payload of fetch %d: %w", fetchID, err)
	}

	return b, nil
}

// FeedAge is the state of one feed address.
type FeedAge struct {
	Profile, URL string
	LastTry      time.Time
	LastOK       time.Time // zero = never
	Failures     int       // in a row
	Err          string    // of the last attempt
	NotBefore    time.Time
	Gaps         []coldseam.FeedGap // of the last attempt
}

// FeedAges lists all addresses ever fetched, those that fail longest first.
func (db *DB) FeedAges(ctx context.Context) ([]FeedAge, error) {
	return db.feedAges(ctx, sqlFeedAges+" ORDER BY last_ok_at NULLS FIRST, profile, url")
}

// FeedAgesOf lists some addresses of one profile: a brief needs no others.
func (db *DB) FeedAgesOf(ctx context.Context, profile string, urls []string) ([]FeedAge, error) {
	return db.feedAges(ctx, sqlFeedAges+" WHERE profile = $1 AND url = ANY($2)", profile, urls)
}

const sqlFeedAges = `SELECT profile, url, last_try_at, last_ok_at, failures, last_err, not_before, gaps FROM coldseam.fetch_state`

func (db *DB) feedAges(ctx context.Context, sql string, args ...any) ([]FeedAge, error) {
	rows, err := db.pool.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("feed ages: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (FeedAge, error) {
		var f FeedAge
		var try, ok, nb *time.Time
		err := r.Scan(&f.Profile, &f.URL, &try, &ok, &f.Failures, &f.Err, &nb, &f.Gaps)
		f.LastTry, f.LastOK, f.NotBefore = timeOf(try), timeOf(ok), timeOf(nb)
		return f, err
	})
	if err != nil {
		return nil, fmt.Errorf("feed ages: %w", classify(err))
	}
	return out, nil
}

// LatestValue is the newest row of one series.
type LatestValue struct {
	coldseam.SeriesKey
	coldseam.Observation // without qualifiers
	Changed              time.Time
}

// Latest returns the newest row of every series, by site and parameter; with
// sites given, of those alone.
func (db *DB) Latest(ctx context.Context, sites ...coldseam.SiteID) ([]LatestValue, error) {
	ids := make([]string, len(sites))
	for i, s := range sites {
		ids[i] = string(s)
	}
	rows, err := db.pool.Query(ctx, `
		SELECT s.site_id, s.param, s.stat, s.period, s.provider, s.series_ref, l.valid_at, l.known_at, l.value, l.flags, l.changed_at
		FROM coldseam.latest l
		JOIN coldseam.series s USING (series_id)
		WHERE cardinality($1::text[]) = 0 OR s.site_id = ANY($1)
		ORDER BY s.site_id, s.param, s.stat, s.series_id`, ids)
	if err != nil {
		return nil, fmt.Errorf("latest values: %w", classify(err))
	}

	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (LatestValue, error) {
		var v LatestValue
		var value *float64
		var flags int16
		err := r.Scan(&v.Site, &v.Param, &v.Stat, &v.Period, &v.Provider, &v.SeriesRef, &v.At, &v.KnownAt, &value,
			&flags, &v.Changed)
		v.At, v.KnownAt, v.Changed, v.Flag = v.At.UTC(), v.KnownAt.UTC(), v.Changed.UTC(), coldseam.Flag(uint16(flags))
		if value != nil {
			v.Value = *value
		}
		return v, err
	})
	if err != nil {
		return nil, fmt.Errorf("latest values: %w", classify(err))
	}

	return out, nil
}
