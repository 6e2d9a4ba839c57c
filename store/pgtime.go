package store

import (
	"encoding/binary"
	"errors"
	"math"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"
)

// infTime scans a timestamptz that may be infinite; an infinite one has the
// zero Time.
type infTime struct {
	Time time.Time
	inf  pgtype.InfinityModifier
}

// ScanTimestamptz implements pgtype.TimestamptzScanner.
func (t *infTime) ScanTimestamptz(v pgtype.Timestamptz) error {
	t.Time, t.inf = time.Time{}, v.InfinityModifier
	if v.Valid && v.InfinityModifier == pgtype.Finite {
		t.Time = v.Time.UTC()
	}
	return nil
}

func (t infTime) micro() int64 {
	switch t.inf {
	case pgtype.Infinity:
		return math.MaxInt64
	case pgtype.NegativeInfinity:
		return math.MinInt64
	}
	return t.Time.UnixMicro()
}

var errNotBinary = errors.New("not in binary form")

// rawTime decodes column i of the current row, a timestamptz.
func rawTime(rows pgx.Rows, i int) (int64, error) {
	raw := rows.RawValues()[i]
	if rows.FieldDescriptions()[i].Format != 1 || len(raw) != 8 {
		return 0, errNotBinary
	}
	v := int64(binary.BigEndian.Uint64(raw))
	if v == math.MaxInt64 || v == math.MinInt64 {
		return v, nil
	}
	return v + epoch2000, nil
}
