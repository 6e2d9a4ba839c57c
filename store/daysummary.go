package store

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"sort"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// unusable are the flags that keep a value out of every summary and forecast;
// the number is written into SQL below.
const unusable = coldseam.Missing | coldseam.Bad | coldseam.QCFail

const sqlLatestSet = `
ON CONFLICT (series_id) DO UPDATE
SET valid_at   = CASE WHEN excluded.valid_at >= latest.valid_at THEN excluded.valid_at ELSE latest.valid_at END,
    known_at   = CASE WHEN excluded.valid_at >= latest.valid_at THEN excluded.known_at ELSE latest.known_at END,
    value      = CASE WHEN excluded.valid_at >= latest.valid_at THEN excluded.value    ELSE latest.value    END,
    flags      = CASE WHEN excluded.valid_at >= latest.valid_at THEN excluded.flags    ELSE latest.flags    END,
    changed_at = GREATEST(excluded.changed_at, latest.changed_at)`

const sqlLatest = `
INSERT INTO coldseam.latest (valid_at, known_at, changed_at, value, series_id, flags)
SELECT w.valid_at, w.known_at, w.changed_at, w.value, w.series_id, w.flags
FROM unnest($1::int4[], $2::timestamptz[], $3::timestamptz[], $4::timestamptz[], $5::float8[], $6::int2[])
  AS w (series_id, valid_at, known_at, changed_at, value, flags)` + sqlLatestSet

// A series that is there is the rule, and an INSERT that finds the conflict is the
// dearer way to it.
const sqlLatestThere = `
UPDATE coldseam.latest
SET valid_at   = CASE WHEN w.valid_at >= latest.valid_at THEN w.valid_at ELSE latest.valid_at END,
    known_at   = CASE WHEN w.valid_at >= latest.valid_at THEN w.known_at ELSE latest.known_at END,
    value      = CASE WHEN w.valid_at >= latest.valid_at THEN w.value    ELSE latest.value    END,
    flags      = CASE WHEN w.valid_at >= latest.valid_at THEN w.flags    ELSE latest.flags    END,
    changed_at = GREATEST(w.changed_at, latest.changed_at)
FROM unnest($1::int4[], $2::timestamptz[], $3::timestamptz[], $4::timestamptz[], $5::float8[], $6::int2[])
  AS w (series_id, valid_at, known_at, changed_at, value, flags)
WHERE latest.series_id = w.series_id`

const sqlLatestStored = `
INSERT INTO coldseam.latest (valid_at, known_at, changed_at, value, series_id, flags)
SELECT o.valid_at, o.known_at, w.changed_at, o.value, o.series_id, o.flags
FROM unnest($1::int4[], $2::timestamptz[], $3::timestamptz[]) AS w (series_id, valid_at, changed_at)
JOIN coldseam.observation o USING (series_id, valid_at)` + sqlLatestSet

// writeLatest keeps the newest row of every touched series. Of new and revised
// rows it has the values at hand; late versions and quality-control changes
// alter stored rows in part, which are read back.
func writeLatest(ctx context.Context, tx pgx.Tx, feeds []*feed) error {
	var c, back columns
	var changed, backChanged []time.Time

	for _, f := range feeds {
		if !f.touched() {
			continue
		}
		newest, known := row{at: math.MinInt64}, int64(math.MinInt64)
		for _, rs := range [][]row{f.added, f.changed, f.late, f.qc} {
			for _, r := range rs {
				known = max(known, r.known)
				if r.at > newest.at {
					newest = r
				}
			}
		}

		if len(f.late)+len(f.qc) > 0 {
			back.add(f.id, newest)
			backChanged = append(backChanged, time.UnixMicro(known))
			continue
		}
		c.add(f.id, newest)
		changed = append(changed, time.UnixMicro(known))
	}

	if len(c.id) > 0 {
		args := []any{c.id, c.at, c.known, changed, c.value, c.flags}
		tag, err := tx.Exec(ctx, sqlLatestThere, args...)
		if err == nil && tag.RowsAffected() < int64(len(c.id)) { // some are new; the others take the same again
			_, err = tx.Exec(ctx, sqlLatest, args...)
		}
		if err != nil {
			return fmt.Errorf("latest values: %w", err)
		}
	}

	if len(back.id) > 0 {
		if _, err := tx.Exec(ctx, sqlLatestStored, back.id, back.at, backChanged); err != nil {
			return fmt.Errorf("latest values: %w", err)
		}
	}

	return nil
}

// daySpan is one civil day of one series as instants.
type daySpan struct {
	day      coldseam.Date
	from, to int64 // microseconds, the times of values that belong to the day
}

// spans lists the civil days that rows belong to.
func (f *feed) spans(lists ...[]row) []daySpan {
	seen := map[coldseam.Date]bool{}
	var out []daySpan
	for _, rs := range lists {
		var cur daySpan
		for _, r := range rs {
			if r.at >= cur.from && r.at < cur.to {
				continue
			}
			cur = f.spanOf(r.at)
			if !seen[cur.day] {
				seen[cur.day] = true
				out = append(out, cur)
			}
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].from < out[j].from })
	return out
}

func (f *feed) spanOf(at int64) daySpan {
	return spanOf(coldseam.DateOf(time.UnixMicro(at).Add(-f.offset).In(f.zone)), f.zone, f.offset)
}

func spanOf(d coldseam.Date, zone *time.Location, offset time.Duration) daySpan {
	return daySpan{
		day:  d,
		from: d.In(zone).Add(offset).UnixMicro(),
		to:   d.Add(1).In(zone).Add(offset).UnixMicro(),
	}
}

// The quarters of a day are found by comparison: extract() of an interval is
// numeric, and its arithmetic took most of the statement's time.
const sqlDays = `
INSERT INTO coldseam.day_summary (lo, hi, total, series_id, day, n, quarters, flags)
SELECT min(o.value), max(o.value), sum(o.value), w.series_id, w.day, count(*),
       bit_or(CASE WHEN o.valid_at < w.at6 THEN 1 WHEN o.valid_at < w.at12 THEN 2 WHEN o.valid_at < w.at18 THEN 4 ELSE 8 END::int2),
       bit_or(o.flags)
FROM unnest($1::int4[], $2::date[], $3::timestamptz[], $4::timestamptz[], $5::timestamptz[], $6::timestamptz[], $7::timestamptz[])
  AS w (series_id, day, lo_at, hi_at, at6, at12, at18)
JOIN coldseam.observation o
  ON o.series_id = w.series_id AND o.valid_at >= w.lo_at AND o.valid_at < w.hi_at
WHERE o.value IS NOT NULL AND o.flags & 16544 = 0
GROUP BY w.series_id, w.day
ON CONFLICT (series_id, day) DO UPDATE
SET lo = excluded.lo, hi = excluded.hi, total = excluded.total, n = excluded.n, quarters = excluded.quarters, flags = excluded.flags`

const sqlEmptyDays = `
DELETE FROM coldseam.day_summary d
USING unnest($1::int4[], $2::date[], $3::timestamptz[], $4::timestamptz[]) AS w (series_id, day, lo_at, hi_at)
WHERE d.series_id = w.series_id AND d.day = w.day
  AND NOT EXISTS (
    SELECT FROM coldseam.observation o
    WHERE o.series_id = w.series_id AND o.valid_at >= w.lo_at AND o.valid_at < w.hi_at
      AND o.value IS NOT NULL AND o.flags & 16544 = 0)`

const sqlAddDays = `
INSERT INTO coldseam.day_summary AS d (lo, hi, total, series_id, day, n, quarters, flags)
SELECT w.lo, w.hi, w.total, w.series_id, w.day, w.n, w.quarters, w.flags
FROM unnest($1::float8[], $2::float8[], $3::float8[], $4::int4[], $5::date[], $6::int4[], $7::int2[], $8::int2[])
  AS w (lo, hi, total, series_id, day, n, quarters, flags)
ON CONFLICT (series_id, day) DO UPDATE
SET lo = LEAST(d.lo, excluded.lo), hi = GREATEST(d.hi, excluded.hi), total = d.total + excluded.total, n = d.n + excluded.n,
    quarters = d.quarters | excluded.quarters, flags = d.flags | excluded.flags`

// writeDays keeps the summaries. Days that only gained rows are added to
// without reading them back; days with a changed row are computed anew; those
// of a series made in this transaction are copied in.
func writeDays(ctx context.Context, tx pgx.Tx, feeds []*feed) error {
	var fresh, grown []daySum
	var again dayColumns
	var years yearColumns

	for _, f := range feeds {
		if f.fresh {
			fresh = append(fresh, f.sums()...)
			continue
		}

		anew := map[coldseam.Date]bool{}
		for _, s := range f.spans(f.changed, f.late, f.qc) {
			anew[s.day] = true
			again.add(f.id, s)
			years.add(f.id, int32(s.day.Year))
		}

		for _, d := range f.sums() {
			if !anew[d.day] {
				grown = append(grown, d)
				years.add(f.id, int32(d.day.Year))
			}
		}
	}

	if err := years.unpack(ctx, tx); err != nil {
		return err
	}
	if err := copyDays(ctx, tx, fresh); err != nil {
		return err
	}
	if err := addDays(ctx, tx, grown); err != nil {
		return err
	}
	return again.sumUp(ctx, tx)
}

// dayColumns are days to be computed anew, as arrays of one statement.
type dayColumns struct {
	id                             []int32
	day, from, to, at6, at12, at18 []time.Time
}

func (c *dayColumns) add(id int32, s daySpan) {
	quarter := (s.to - s.from) / 4 // six hours, but on the days of a clock change
	c.id, c.day = append(c.id, id), append(c.day, s.day.UTC())
	c.from, c.to = append(c.from, time.UnixMicro(s.from)), append(c.to, time.UnixMicro(s.to))
	c.at6, c.at12, c.at18 = append(c.at6, time.UnixMicro(s.from+quarter)),
		append(c.at12, time.UnixMicro(s.from+2*quarter)), append(c.at18, time.UnixMicro(s.from+3*quarter))
}

// sumUp reads the days back; one without a usable value has no summary.
func (c *dayColumns) sumUp(ctx context.Context, tx pgx.Tx) error {
	if len(c.id) == 0 {
		return nil
	}
	tag, err := tx.Exec(ctx, sqlDays, c.id, c.day, c.from, c.to, c.at6, c.at12, c.at18)
	if err != nil {
		return fmt.Errorf("day summary: %w", err)
	}
	if tag.RowsAffected() == int64(len(c.id)) {
		return nil
	}
	if _, err := tx.Exec(ctx, sqlEmptyDays, c.id, c.day, c.from, c.to); err != nil {
		return fmt.Errorf("day summary: %w", err)
	}
	return nil
}

func addDays(ctx context.Context, tx pgx.Tx, ds []daySum) error {
	if len(ds) == 0 {
		return nil
	}
	n := len(ds)
	lo, hi, total := make([]float64, n), make([]float64, n), make([]float64, n)
	ids, days, ns := make([]int32, n), make([]time.Time, n), make([]int32, n)
	quarters, flags := make([]int16, n), make([]int16, n)
	for i, d := range ds {
		lo[i], hi[i], total[i] = d.lo, d.hi, d.total
		ids[i], days[i], ns[i] = d.id, d.day.UTC(), d.n
		quarters[i], flags[i] = d.quarters, int16(d.flags)
	}
	if _, err := tx.Exec(ctx, sqlAddDays, lo, hi, total, ids, days, ns, quarters, flags); err != nil {
		return fmt.Errorf("day summary: %w", err)
	}
	return nil
}

// daySum is one row of day_summary.
type daySum struct {
	id            int32
	day           coldseam.Date
	lo, hi, total float64
	n             int32
	quarters      int16
	flags         coldseam.Flag
}

// sums adds up the added rows, which are all the rows of a fresh series.
func (f *feed) sums() []daySum {
	var out []daySum
	var span daySpan
	for _, r := range f.added {
		if r.missing || r.flags&unusable != 0 {
			continue
		}
		if r.at < span.from || r.at >= span.to {
			span = f.spanOf(r.at)
			out = append(out, daySum{id: f.id, day: span.day, lo: r.value, hi: r.value})
		}
		d := &out[len(out)-1]
		d.lo, d.hi, d.total = min(d.lo, r.value), max(d.hi, r.value), d.total+r.value
		d.n++
		d.quarters |= 1 << min(3, 4*(r.at-span.from)/(span.to-span.from))
		d.flags |= r.flags
	}
	return out
}

func copyDays(ctx context.Context, tx pgx.Tx, ds []daySum) error {
	if len(ds) == 0 {
		return nil
	}
	const sql = `COPY coldseam.day_summary (lo, hi, total, series_id, day, n, quarters, flags) FROM STDIN (FORMAT binary)`
	r, w := io.Pipe()
	go func() { w.CloseWithError(writeDayCopy(w, ds)) }()
	_, err := tx.Conn().PgConn().CopyFrom(ctx, r, sql)
	r.CloseWithError(io.ErrClosedPipe) // lets the writer end when COPY failed
	if err != nil {
		return fmt.Errorf("day summary: %w", err)
	}
	return nil
}

// day2000 is the zero of Postgres' binary dates.
var day2000 = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

func writeDayCopy(w io.Writer, ds []daySum) error {
	be := binary.BigEndian
	b := append([]byte("PGCOPY\n\xff\r\n\x00"), make([]byte, 8)...)
	f8 := func(v float64) { b = be.AppendUint64(be.AppendUint32(b, 8), math.Float64bits(v)) }
	i4 := func(v int32) { b = be.AppendUint32(be.AppendUint32(b, 4), uint32(v)) }
	i2 := func(v int16) { b = be.AppendUint16(be.AppendUint32(b, 2), uint16(v)) }

	for _, d := range ds {
		b = be.AppendUint16(b, 8)
		f8(d.lo)
		f8(d.hi)
		f8(d.total)
		i4(d.id)
		i4(int32(d.day.UTC().Sub(day2000).Hours() / 24))
		i4(d.n)
		i2(d.quarters)
		i2(int16(d.flags))

		if len(b) > 1<<16 {
			if _, err := w.Write(b); err != nil {
				return err
			}
			b = b[:0]
		}
	}

	_, err := w.Write(append(b, 0xff, 0xff))
	return err
}

// rebuildDays cuts the civil days of all series of a site anew.
func rebuildDays(ctx context.Context, tx pgx.Tx, site coldseam.SiteID, zone string) error {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		return fmt.Errorf("zone %q: %w", zone, coldseam.ErrInvalid)
	}
	rows, err := tx.Query(ctx, `SELECT series_id, period FROM coldseam.series WHERE site_id = $1 ORDER BY series_id`,
		site)
	if err != nil {
		return fmt.Errorf("rebuild days: %w", err)
	}

	type one struct {
		ID     int32
		Period string
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[one])
	if err != nil {
		return fmt.Errorf("rebuild days: %w", err)
	}

	for _, s := range list {
		f := &feed{id: s.ID, zone: loc, offset: periodOf(s.Period) / 2}
		if err := f.readAll(ctx, tx); err != nil {
			return fmt.Errorf("rebuild days: %w", err)
		}
		for _, table := range []string{"day_summary", "day_year"} {
			if _, err := tx.Exec(ctx, `DELETE FROM coldseam.`+table+` WHERE series_id = $1`, s.ID); err != nil {
				return fmt.Errorf("rebuild days: %w", err)
			}
		}

		if err := copyDays(ctx, tx, f.sums()); err != nil {
			return err
		}
	}

	return nil
}

// readAll reads a whole series into added.
func (f *feed) readAll(ctx context.Context, tx pgx.Tx) error {
	rows, err := tx.Query(ctx, `
		SELECT series_id, valid_at, known_at, value, flags, qualifier_set
		FROM coldseam.observation WHERE series_id = $1 ORDER BY valid_at`, f.id)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		_, r, err := scanRow(rows)
		if err != nil {
			return err
		}
		f.added = append(f.added, r)
	}
	return rows.Err()
}
