package store

import (
	"context"
	"fmt"
	"sort"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// writeFeeds writes what diff found, and the summaries of it. It returns the
// number of late versions that entered the history.
func (db *DB) writeFeeds(ctx context.Context, tx pgx.Tx, fetchID int64, feeds []*feed) (late int, err error) {
	any := false
	for _, f := range feeds {
		any = any || f.touched()
	}
	if !any {
		return 0, nil
	}
	if err := writeAdded(ctx, tx, feeds); err != nil {
		return 0, err
	}
	if err := writeChanged(ctx, tx, fetchID, feeds); err != nil {
		return 0, err
	}

	for _, f := range feeds {
		n, err := f.writeLate(ctx, tx, fetchID)
		if err != nil {
			return 0, err
		}
		late += n
		if err := f.writeQC(ctx, tx, "feed"); err != nil {
			return 0, err
		}
	}

	if err := writeLatest(ctx, tx, feeds); err != nil {
		return 0, err
	}
	return late, writeDays(ctx, tx, feeds)
}

func writeAdded(ctx context.Context, tx pgx.Tx, feeds []*feed) error {
	n := 0
	for _, f := range feeds {
		n += len(f.added)
	}
	if n == 0 {
		return nil
	}
	const sql = `COPY coldseam.observation (valid_at, known_at, value, series_id, flags, qualifier_set) FROM STDIN (FORMAT binary)`
	tag, err := tx.Conn().PgConn().CopyFrom(ctx, &copyRows{feeds: feeds}, sql)
	if err != nil {
		return fmt.Errorf("add observations: %w", err)
	}
	if tag.RowsAffected() != int64(n) {
		return fmt.Errorf("add observations: %d of %d rows arrived: %w", tag.RowsAffected(), n, coldseam.ErrUnavailable)
	}
	return nil
}

// columns are rows as arrays of one statement.
type columns struct {
	id          []int32
	at, known   []time.Time
	value       []*float64
	flags, qual []int16
}

func (c *columns) add(id int32, r row) {
	c.id = append(c.id, id)
	c.at, c.known = append(c.at, time.UnixMicro(r.at)), append(c.known, time.UnixMicro(r.known))
	var v *float64
	if !r.missing {
		v = &r.value
	}
	c.value = append(c.value, v)
	c.flags, c.qual = append(c.flags, int16(r.flags)), append(c.qual, r.quals)
}

// Both halves see the rows as they were before the statement.
const sqlRevise = `
WITH w AS (
  SELECT * FROM unnest($1::int4[], $2::timestamptz[], $3::timestamptz[], $4::float8[], $5::int2[], $6::int2[])
    AS w (series_id, valid_at, known_at, value, flags, qualifier_set)),
kept AS (
  INSERT INTO coldseam.observation_revision (valid_at, known_at, superseded_at, value, fetch_id, series_id, flags, qualifier_set)
  SELECT o.valid_at, o.known_at, w.known_at, o.value, NULLIF($7::int8, 0), o.series_id, o.flags, o.qualifier_set
  FROM w
  JOIN coldseam.observation o USING (series_id, valid_at)
  RETURNING 1),
put AS (
  UPDATE coldseam.observation o
  SET known_at = w.known_at, value = w.value, flags = w.flags, qualifier_set = w.qualifier_set
  FROM w
  WHERE o.series_id = w.series_id AND o.valid_at = w.valid_at
  RETURNING 1)
SELECT (SELECT count(*) FROM kept), (SELECT count(*) FROM put)`

func writeChanged(ctx context.Context, tx pgx.Tx, fetchID int64, feeds []*feed) error {
	var c columns
	for _, f := range feeds {
		for _, r := range f.changed {
			c.add(f.id, r)
		}
	}
	if len(c.id) == 0 {
		return nil
	}
	var kept, put int
	if err := tx.QueryRow(ctx, sqlRevise, c.id, c.at, c.known, c.value, c.flags, c.qual, fetchID).Scan(&kept,
		&put); err != nil {
		return fmt.Errorf("revise observations: %w", err)
	}
	if kept != len(c.id) || put != len(c.id) {
		return fmt.Errorf("revise observations: %d rows, %d kept, %d put: %w", len(c.id), kept, put,
			coldseam.ErrUnavailable)
	}
	return nil
}

// version is one version of a key in its history.
type version struct {
	row
	fetch *int64 // that brought the next one
}

const sqlVersions = `
SELECT valid_at, known_at, value, flags, qualifier_set, fetch_id
FROM coldseam.observation_revision
WHERE series_id = $1 AND valid_at = $2
UNION ALL
SELECT valid_at, known_at, value, flags, qualifier_set, NULL
FROM coldseam.observation
WHERE series_id = $1 AND valid_at = $2
ORDER BY known_at`

// writeLate puts versions that became known before the stored one in their
// place: two servers may apply their fetches in the wrong order. It is rare
// and goes row by row.
func (f *feed) writeLate(ctx context.Context, tx pgx.Tx, fetchID int64) (n int, err error) {
	for _, r := range f.late {
		vs, err := readVersions(ctx, tx, f.id, r.at)
		if err != nil {
			return n, err
		}
		now, grew := insertVersion(vs, r, fetchID)
		if len(now) == len(vs) && !grew {
			continue
		}
		if err := f.rewrite(ctx, tx, now); err != nil {
			return n, err
		}
		if len(now) > len(vs) {
			n++
		}
	}
	return n, nil
}

func readVersions(ctx context.Context, tx pgx.Tx, id int32, at int64) ([]version, error) {
	rows, err := tx.Query(ctx, sqlVersions, id, time.UnixMicro(at))
	if err != nil {
		return nil, fmt.Errorf("read versions: %w", err)
	}
	return pgx.CollectRows(rows, func(r pgx.CollectableRow) (version, error) {
		var v version
		var at, known time.Time
		var value *float64
		var flags int16
		err := r.Scan(&at, &known, &value, &flags, &v.quals, &v.fetch)
		v.at, v.known, v.missing, v.flags = at.UnixMicro(), known.UnixMicro(), value == nil,
			coldseam.Flag(uint16(flags))
		if value != nil {
			v.value = *value
		}
		return v, err
	})
}

// insertVersion places r among the versions, oldest first. Equal neighbours
// are one version, known since the earlier time. changed reports that a
// known-at moved.
func insertVersion(vs []version, r row, fetchID int64) (out []version, changed bool) {
	i := sort.Search(len(vs), func(i int) bool { return vs[i].known >= r.known })
	for i < len(vs) && vs[i].known == r.known { // taken: just after it
		if vs[i].sameReport(r) {
			return vs, false
		}
		r.known++
		i++
	}

	if i > 0 && vs[i-1].sameReport(r) {
		return vs, false
	}
	out = append(out, vs...)
	if i < len(out) && out[i].sameReport(r) {
		out[i].known = r.known
		return out, true
	}

	v := version{row: r}
	if i > 0 {
		v.fetch = out[i-1].fetch
		out[i-1].fetch = &fetchID
	}
	out = append(out[:i:i], append([]version{v}, out[i:]...)...)
	return out, true
}

// rewrite replaces the history of one key; the last version is the current
// one.
func (f *feed) rewrite(ctx context.Context, tx pgx.Tx, vs []version) error {
	at := time.UnixMicro(vs[0].at)
	b := &pgx.Batch{}
	b.Queue(`DELETE FROM coldseam.observation_revision WHERE series_id = $1 AND valid_at = $2`, f.id, at)

	for i, v := range vs[:len(vs)-1] {
		fetch := v.fetch
		if fetch != nil && *fetch == 0 {
			fetch = nil
		}
		b.Queue(`INSERT INTO coldseam.observation_revision (valid_at, known_at, superseded_at, value, fetch_id, series_id, flags, qualifier_set)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
			at, time.UnixMicro(v.known), time.UnixMicro(vs[i+1].known), nullValue(v.row), fetch, f.id, int16(v.flags),
			v.quals)
	}

	last := vs[len(vs)-1]
	b.Queue(`UPDATE coldseam.observation SET known_at = $3, value = $4, flags = $5, qualifier_set = $6
		WHERE series_id = $1 AND valid_at = $2`,
		f.id, at, time.UnixMicro(last.known), nullValue(last.row), int16(last.flags), last.quals)
	if err := tx.SendBatch(ctx, b).Close(); err != nil {
		return fmt.Errorf("rewrite history: %w", err)
	}
	return nil
}

func nullValue(r row) *float64 {
	if r.missing {
		return nil
	}
	return &r.value
}

// writeQC changes quality-control bits in place and logs the change.
func (f *feed) writeQC(ctx context.Context, tx pgx.Tx, why string) error {
	if len(f.qc) == 0 {
		return nil
	}
	var c columns
	old := make([]int16, len(f.qc))
	for i, r := range f.qc {
		c.add(f.id, r)
		old[i] = int16(f.qcOld[i])
	}

	if _, err := tx.Exec(ctx, `
		INSERT INTO coldseam.qc_change (series_id, valid_at, changed_at, old_flags, new_flags, why)
		SELECT w.series_id, w.valid_at, GREATEST(w.changed_at,
		  (SELECT max(q.changed_at) + interval '1 microsecond' FROM coldseam.qc_change q WHERE q.series_id = w.series_id AND q.valid_at = w.valid_at)),
		  w.old, w.new, $6
		FROM unnest($1::int4[], $2::timestamptz[], $3::timestamptz[], $4::int2[], $5::int2[]) AS w (series_id, valid_at, changed_at, old, new)`,
		c.id, c.at, c.known, old, c.flags, why); err != nil {
		return fmt.Errorf("log quality control: %w", err)
	}

	if _, err := tx.Exec(ctx, `
		UPDATE coldseam.observation o
		SET flags = w.flags
		FROM unnest($1::int4[], $2::timestamptz[], $3::int2[]) AS w (series_id, valid_at, flags)
		WHERE o.series_id = w.series_id AND o.valid_at = w.valid_at`, c.id, c.at, c.flags); err != nil {
		return fmt.Errorf("write quality control: %w", err)
	}

	return nil
}
