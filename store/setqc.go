package store

import (
	"context"
	"fmt"
	"sort"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// QCChange sets the quality-control bits of one stored value.
type QCChange struct {
	At  time.Time     // valid time of the value
	New coldseam.Flag // only its quality-control half is used
	Why string        // test or person
}

// SetQC changes quality-control bits in place and logs every change with the
// present time, so that reads as of an earlier time do not see it. Values that
// have the bits already, or are not stored, are left alone. It returns the
// number changed. ErrNotFound: no such series.
func (db *DB) SetQC(ctx context.Context, k coldseam.SeriesKey, changes []QCChange) (n int, err error) {
	if len(changes) == 0 {
		return 0, nil
	}
	cs := append([]QCChange(nil), changes...)
	sort.SliceStable(cs, func(i, j int) bool { return cs[i].At.Before(cs[j].At) })

	err = db.inTx(ctx, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, ingestLock); err != nil {
			return err
		}
		ids, err := findSeries(ctx, tx, []coldseam.Series{{SeriesKey: k}})
		if err != nil {
			return err
		}

		if ids[0].id == 0 {
			return coldseam.ErrNotFound
		}
		f := &feed{id: ids[0].id, zone: ids[0].zone, offset: periodOf(k.Period) / 2}
		for _, c := range cs {
			f.in = append(f.in, row{at: c.At.UnixMicro()})
		}
		if err := readWindows(ctx, tx, []*feed{f}); err != nil {
			return err
		}

		byWhy := f.pickQC(cs, micro(db.now()))
		for _, why := range sortedKeys(byWhy) {
			g := byWhy[why]
			if err := g.writeQC(ctx, tx, why); err != nil {
				return err
			}
			n += len(g.qc)
			f.qc = append(f.qc, g.qc...)
		}

		f.qcOld = nil
		if !f.touched() {
			return nil
		}
		if err := writeLatest(ctx, tx, []*feed{f}); err != nil {
			return err
		}
		return writeDays(ctx, tx, []*feed{f})
	})
	if err != nil {
		return 0, fmt.Errorf("quality control of %s: %w", k, classify(err))
	}

	return n, nil
}

// pickQC finds the stored rows that change, by reason.
func (f *feed) pickQC(cs []QCChange, now time.Time) map[string]*feed {
	stored := map[int64]row{}
	for _, r := range f.stored {
		stored[r.at] = r
	}
	out := map[string]*feed{}

	for i, c := range cs {
		if i+1 < len(cs) && cs[i+1].At.Equal(c.At) {
			continue // the last word on a value counts
		}
		old, ok := stored[c.At.UnixMicro()]
		if !ok {
			continue
		}
		r := old
		r.flags = old.flags&coldseam.AgencyFlags | c.New&coldseam.QCFlags

		if r.flags == old.flags {
			continue
		}
		r.known = max(now.UnixMicro(), old.known)
		if out[c.Why] == nil {
			out[c.Why] = &feed{id: f.id}
		}
		g := out[c.Why]
		g.qc, g.qcOld = append(g.qc, r), append(g.qcOld, old.flags)
	}

	return out
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
