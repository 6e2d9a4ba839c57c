package store

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sort"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// ingestLock is the advisory lock of all writers of observations: read-diff
// needs the stored window to hold still.
const ingestLock = 7263710002

// batchRows bounds the rows of one transaction, and with it the memory of a
// large import.
const batchRows = 250_000

// UpsertSeries stores what is new and what has changed, and touches nothing
// that is equal: a second call with the same values writes no byte. A changed
// value, approval or qualifier is a revision; the old version moves to
// observation_revision. Versions that arrive late, known before the stored
// one, take their place in the history.
//
// Quality-control bits of a row that is otherwise equal are changed in place
// and logged in qc_change. The caller must have judged the rows beside their
// stored neighbours (Neighbours): a bare window hides from the tests what came
// before it.
//
// All series of a call share one transaction (per 250,000 rows). When that
// fails, each series is tried alone: the error names those refused, the others
// are stored, and the counts are of those. fetchID may be 0.
func (db *DB) UpsertSeries(ctx context.Context, fetchID int64, ss []coldseam.Series) (added, revised int, err error) {
	good, errs := db.checkSeries(ss)
	for _, batch := range batches(good) {
		a, r, err := db.upsertBatch(ctx, fetchID, batch)
		if err != nil && len(batch) > 1 && ctx.Err() == nil {
			a, r, err = db.upsertEach(ctx, fetchID, batch)
		} else if err != nil {
			err = fmt.Errorf("upsert %s: %w", batch[0].SeriesKey, err)
		}
		added, revised = added+a, revised+r
		errs = append(errs, err)
	}
	return added, revised, errors.Join(errs...)
}

func (db *DB) upsertEach(ctx context.Context, fetchID int64, ss []coldseam.Series) (added, revised int, err error) {
	var errs []error
	for i := range ss {
		a, r, err := db.upsertBatch(ctx, fetchID, ss[i:i+1])
		if err != nil {
			errs = append(errs, fmt.Errorf("upsert %s: %w", ss[i].SeriesKey, err))
			continue
		}
		added, revised = added+a, revised+r
	}
	return added, revised, errors.Join(errs...)
}

// checkSeries refuses what can never be stored, joins series of one key and
// leaves out empty ones.
func (db *DB) checkSeries(ss []coldseam.Series) (good []coldseam.Series, errs []error) {
	place := map[coldseam.SeriesKey]int{}

	for _, s := range ss {
		if len(s.Obs) == 0 {
			continue
		}
		if err := checkSeries(s); err != nil {
			errs = append(errs, err)
			continue
		}

		i, twice := place[s.SeriesKey]
		if !twice {
			place[s.SeriesKey] = len(good)
			good = append(good, s)
			continue
		}

		joined, _, err := coldseam.NewSeries(s.SeriesKey, append(append([]coldseam.Observation(nil), good[i].Obs...),
			s.Obs...))
		if err != nil {
			errs = append(errs, err)
			continue
		}

		good[i] = joined
	}

	return good, errs
}

func checkSeries(s coldseam.Series) error {
	refuse := func(why string) error { return fmt.Errorf("upsert %s: %s: %w", s.SeriesKey, why, coldseam.ErrInvalid) }
	switch {
	case s.Param.Unit() == "":
		return refuse(fmt.Sprintf("unknown parameter %q", s.Param))
	case s.Site == "":
		return refuse("no site")
	}

	var prev int64 = math.MinInt64
	for i, o := range s.Obs {
		at := o.At.UnixMicro()
		if o.At.Year() < 1800 || o.At.Year() > 2200 {
			return refuse(fmt.Sprintf("row %d has the time %s", i, o.At.Format(time.RFC3339)))
		}
		if at <= prev {
			return refuse(fmt.Sprintf("row %d at %s is not after the row before", i, o.At.Format(time.RFC3339Nano)))
		}
		prev = at
		if math.IsNaN(o.Value) || math.IsInf(o.Value, 0) {
			return refuse(fmt.Sprintf("row %d at %s is not finite", i, o.At.Format(time.RFC3339)))
		}
	}

	return nil
}

// batches cuts the series into groups of at most batchRows rows; a longer
// series is cut in pieces.
func batches(ss []coldseam.Series) [][]coldseam.Series {
	var out [][]coldseam.Series
	var cur []coldseam.Series
	n := 0
	for _, s := range ss {
		for len(s.Obs) > 0 {
			take := min(len(s.Obs), batchRows-n)
			cur = append(cur, coldseam.Series{SeriesKey: s.SeriesKey, Obs: s.Obs[:take]})
			s.Obs = s.Obs[take:]
			if n += take; n == batchRows {
				out, cur, n = append(out, cur), nil, 0
			}
		}
	}
	if len(cur) > 0 {
		out = append(out, cur)
	}
	return out
}

// row is an observation as the table holds it.
type row struct {
	at, known int64 // microseconds since 1970
	value     float64
	missing   bool
	flags     coldseam.Flag
	quals     int16
}

// sameReport is the equality of what the agency said: quality control is ours.
func (r row) sameReport(o row) bool {
	return r.missing == o.missing && (r.missing || r.value == o.value) &&
		r.flags&coldseam.AgencyFlags == o.flags&coldseam.AgencyFlags && r.quals == o.quals
}

// feed is one series of a batch on its way in.
type feed struct {
	key    coldseam.SeriesKey
	id     int32
	zone   *time.Location
	offset time.Duration // half the period: a period value belongs to the day of its middle
	fresh  bool          // made in this transaction: nothing can be stored yet
	in     []row
	stored []row

	added   []row
	changed []row // current versions that replace the stored one
	late    []row // versions older than the stored one
	qc      []row // stored rows with new quality-control bits
	qcOld   []coldseam.Flag
}

func (db *DB) upsertBatch(ctx context.Context, fetchID int64, ss []coldseam.Series) (added, revised int, err error) {
	err = db.inTx(ctx, func(tx pgx.Tx) error {
		// The windows are read through the key whatever the statistics say.
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1), set_config('enable_seqscan', 'off', true),
			set_config('enable_hashjoin', 'off', true), set_config('enable_mergejoin', 'off', true)`, ingestLock); err != nil {
			return err
		}
		feeds, err := db.openFeeds(ctx, tx, ss)
		if err != nil {
			return err
		}

		if err := readWindows(ctx, tx, feeds); err != nil {
			return err
		}
		for _, f := range feeds {
			f.diff()
			added += len(f.added)
			revised += len(f.changed)
		}

		n, err := db.writeFeeds(ctx, tx, fetchID, feeds)
		revised += n
		return err
	})
	if err != nil {
		return 0, 0, classify(err)
	}

	return added, revised, nil
}

// openFeeds turns the series into rows of the table, in the order of their
// keys.
func (db *DB) openFeeds(ctx context.Context, tx pgx.Tx, ss []coldseam.Series) ([]*feed, error) {
	now := micro(db.now())
	known := make([]time.Time, len(ss))
	for i, s := range ss {
		for _, o := range s.Obs {
			k := micro(o.KnownAt)
			if o.KnownAt.IsZero() {
				k = now
			}
			if known[i].IsZero() || k.Before(known[i]) {
				known[i] = k
			}
		}
	}

	ids, err := seriesIDs(ctx, tx, ss, known)
	if err != nil {
		return nil, err
	}
	quals, err := db.qualifierIDs(ctx, tx, ss)
	if err != nil {
		return nil, err
	}

	feeds := make([]*feed, len(ss))
	for i, s := range ss {
		f := &feed{
			key:    s.SeriesKey,
			id:     ids[i].id,
			zone:   ids[i].zone,
			fresh:  ids[i].fresh,
			offset: periodOf(s.Period) / 2,
		}
		f.in = make([]row, len(s.Obs))
		for j, o := range s.Obs {
			f.in[j] = rowOf(o, quals, now)
		}
		feeds[i] = f
	}

	sort.Slice(feeds, func(i, j int) bool { return feeds[i].id < feeds[j].id })
	return feeds, nil
}

func rowOf(o coldseam.Observation, quals map[string]int16, now time.Time) row {
	r := row{
		at:      o.At.UnixMicro(),
		known:   now.UnixMicro(),
		value:   o.Value,
		flags:   o.Flag,
		missing: o.Flag&coldseam.Missing != 0,
	}
	if !o.KnownAt.IsZero() {
		r.known = o.KnownAt.UnixMicro()
	}
	if r.missing {
		r.value = 0
	}
	if len(o.Qualifiers) > 0 {
		r.quals = quals[qualKey(o.Qualifiers)]
	}
	return r
}

// diff merges the incoming rows with the stored window.
func (f *feed) diff() {
	j := 0
	for _, n := range f.in {
		for j < len(f.stored) && f.stored[j].at < n.at {
			j++
		}
		if j == len(f.stored) || f.stored[j].at != n.at {
			f.added = append(f.added, n)
			continue
		}
		f.compare(f.stored[j], n)
	}
}

func (f *feed) compare(old, n row) {
	switch {
	case n.known < old.known:
		f.late = append(f.late, n) // settled against the whole history of the key
	case !old.sameReport(n):
		n.known = max(n.known, old.known+1) // two documents of one instant: the later call wins
		f.changed = append(f.changed, n)
	case n.flags != old.flags && n.known > old.known:
		changed := old
		changed.flags = n.flags
		changed.known = n.known // when the bits changed
		f.qc = append(f.qc, changed)
		f.qcOld = append(f.qcOld, old.flags)
	}
}

func (f *feed) touched() bool {
	return len(f.added)+len(f.changed)+len(f.late)+len(f.qc) > 0
}
