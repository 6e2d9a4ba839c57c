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

const sqlWindows = `
SELECT o.series_id, o.valid_at, o.known_at, o.value, o.flags, o.qualifier_set
FROM unnest($1::int4[], $2::timestamptz[], $3::timestamptz[]) AS w (series_id, lo, hi)
JOIN coldseam.observation o
  ON o.series_id = w.series_id AND o.valid_at BETWEEN w.lo AND w.hi`

// readWindows fills stored of every feed that may have rows already.
func readWindows(ctx context.Context, tx pgx.Tx, feeds []*feed) error {
	byID := map[int32]*feed{}
	var ids []int32
	var lo, hi []time.Time
	for _, f := range feeds {
		if f.fresh {
			continue
		}
		byID[f.id] = f
		ids = append(ids, f.id)
		lo, hi = append(lo, time.UnixMicro(f.in[0].at)), append(hi, time.UnixMicro(f.in[len(f.in)-1].at))
	}

	if len(ids) == 0 {
		return nil
	}
	rows, err := tx.Query(ctx, sqlWindows, ids, lo, hi)
	if err != nil {
		return fmt.Errorf("read window: %w", err)
	}
	defer rows.Close()

	for rows.Next() {
		id, r, err := scanRow(rows)
		if err != nil {
			return fmt.Errorf("read window: %w", err)
		}
		f := byID[id]
		f.stored = append(f.stored, r)
	}

	if err := rows.Err(); err != nil {
		return fmt.Errorf("read window: %w", err)
	}
	for _, f := range byID {
		less := func(i, j int) bool { return f.stored[i].at < f.stored[j].at }
		if !sort.SliceIsSorted(f.stored, less) { // a scan of the key comes sorted; no promise of it
			sort.Slice(f.stored, less)
		}
	}

	return nil
}

// epoch2000 is the zero of Postgres' binary times in microseconds since 1970.
const epoch2000 = 946684800 * 1_000_000

// scanRow reads series_id, valid_at, known_at, value, flags, qualifier_set.
func scanRow(rows pgx.Rows) (id int32, r row, err error) {
	if id, r, err = scanRowFast(rows); err == nil {
		return id, r, nil
	}
	return scanRowSlow(rows)
}

// scanRowFast decodes the binary form by hand: it is the hot path of every
// fetch. errNotBinary: the connection speaks text, as through some poolers.
func scanRowFast(rows pgx.Rows) (id int32, r row, err error) {
	raw := rows.RawValues()
	if rows.FieldDescriptions()[1].Format != 1 || len(raw[0]) != 4 || len(raw[1]) != 8 || len(raw[2]) != 8 ||
		len(raw[4]) != 2 || len(raw[5]) != 2 {
		return 0, row{}, errNotBinary
	}
	id = int32(binary.BigEndian.Uint32(raw[0]))
	r.at = int64(binary.BigEndian.Uint64(raw[1])) + epoch2000
	r.known = int64(binary.BigEndian.Uint64(raw[2])) + epoch2000
	if len(raw[3]) == 8 {
		r.value = math.Float64frombits(binary.BigEndian.Uint64(raw[3]))
	} else {
		r.missing = true
	}
	r.flags = coldseam.Flag(binary.BigEndian.Uint16(raw[4]))
	r.quals = int16(binary.BigEndian.Uint16(raw[5]))
	return id, r, nil
}

func scanRowSlow(rows pgx.Rows) (id int32, r row, err error) {
	var at, known time.Time
	var v *float64
	var flags int16
	if err := rows.Scan(&id, &at, &known, &v, &flags, &r.quals); err != nil {
		return 0, row{}, err
	}
	r.at, r.known, r.flags, r.missing = at.UnixMicro(), known.UnixMicro(), coldseam.Flag(uint16(flags)), v == nil
	if v != nil {
		r.value = *v
	}
	return id, r, nil
}

// copyRows is a COPY of observations in Postgres' binary format, made as it is
// read.
type copyRows struct {
	feeds []*feed
	fi, i int
	buf   []byte
	state int // 0 header, 1 rows, 2 done
}

func (c *copyRows) Read(p []byte) (int, error) {
	for len(c.buf) < len(p) && c.state != 2 {
		c.fill(len(p))
	}
	n := copy(p, c.buf)
	c.buf = c.buf[:copy(c.buf, c.buf[n:])]
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

func (c *copyRows) fill(want int) {
	if c.state == 0 {
		c.buf = append(c.buf, "PGCOPY\n\xff\r\n\x00"...)
		c.buf = append(c.buf, make([]byte, 8)...) // flags, header extension
		c.state = 1
	}

	for len(c.buf) < want {
		for c.fi < len(c.feeds) && c.i == len(c.feeds[c.fi].added) {
			c.fi, c.i = c.fi+1, 0
		}
		if c.fi == len(c.feeds) {
			c.buf = append(c.buf, 0xff, 0xff)
			c.state = 2
			return
		}
		f := c.feeds[c.fi]
		c.buf = appendRow(c.buf, f.id, f.added[c.i])
		c.i++
	}
}

// appendRow writes valid_at, known_at, value, series_id, flags, qualifier_set.
func appendRow(b []byte, id int32, r row) []byte {
	be := binary.BigEndian
	b = be.AppendUint16(b, 6)
	b = be.AppendUint64(be.AppendUint32(b, 8), uint64(r.at-epoch2000))
	b = be.AppendUint64(be.AppendUint32(b, 8), uint64(r.known-epoch2000))
	if r.missing {
		b = be.AppendUint32(b, 0xffffffff)
	} else {
		b = be.AppendUint64(be.AppendUint32(b, 8), math.Float64bits(r.value))
	}
	b = be.AppendUint32(be.AppendUint32(b, 4), uint32(id))
	b = be.AppendUint16(be.AppendUint32(b, 2), uint16(r.flags))
	return be.AppendUint16(be.AppendUint32(b, 2), uint16(r.quals))
}
