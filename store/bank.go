package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// MaxBankWords and MaxTimings are what one member may send in a day [proposal].
const (
	MaxBankWords = 12
	MaxTimings   = 12
)

// errCame ends a transaction whose entry came before.
var errCame = errors.New("entry came before")

// claimEntry notes the key of an entry; errCame where it is known.
func claimEntry(ctx context.Context, tx pgx.Tx, sub int64, key string, now time.Time) error {
	if key == "" {
		return nil
	}
	tag, err := tx.Exec(ctx, `
		INSERT INTO coldseam.entry_key (subscriber_id, entry_key, known_at) VALUES ($1, $2, $3)
		ON CONFLICT ON CONSTRAINT entry_key_pkey DO NOTHING`, sub, clean(key), micro(now))
	if err == nil && tag.RowsAffected() == 0 {
		return errCame
	}
	return err
}

// addEntry runs one insert of a member's entry, at most most of them a day. An
// entry that came before is no error and changes nothing. ErrRejected: too many.
func (db *DB) addEntry(ctx context.Context, sub int64, key, count string, most int, sql string, args ...any) error {
	now := db.now()
	err := db.inTx(ctx, func(tx pgx.Tx) error {
		if err := claimEntry(ctx, tx, sub, key, now); err != nil {
			return err
		}
		// One entry of a member after the other: the count sees those before.
		if _, err := tx.Exec(ctx, `SELECT FROM coldseam.subscriber WHERE subscriber_id = $1 FOR UPDATE`, sub); err != nil {
			return err
		}
		var n int
		if err := tx.QueryRow(ctx, `SELECT count(*) FROM `+count+` x WHERE x.subscriber_id = $1 AND x.known_at > $2`, sub,
			micro(now.Add(-24*time.Hour))).Scan(&n); err != nil {
			return err
		}
		if n >= most {
			return fmt.Errorf("%d a day: %w", most, coldseam.ErrRejected)
		}
		_, err := tx.Exec(ctx, sql, append([]any{sub, micro(now)}, args...)...)
		return err
	})
	if errors.Is(err, errCame) {
		return nil
	}
	return err
}

// AddBankWord keeps what a member saw from the bank; see addEntry.
func (db *DB) AddBankWord(ctx context.Context, w coldseam.BankWord) error {
	count := "coldseam.bank_word"
	if slices.Contains(coldseam.BankDangers, w.Say) { // colours and fish use up no danger
		count = "(SELECT * FROM coldseam.bank_word WHERE say IN ('ice', 'wood', 'launch'))"
	}
	err := db.addEntry(ctx, w.Subscriber, w.Entry, count, MaxBankWords, `
		INSERT INTO coldseam.bank_word (subscriber_id, known_at, reach_id, said_at, say) VALUES ($1, $2, $3, $4, $5)`,
		w.Reach, micro(w.At), w.Say)
	if err != nil {
		return fmt.Errorf("word from the bank of %s: %w", w.Reach, classify(err))
	}
	return nil
}

// BankWords lists what was said of a reach for times from since on and was known
// at asOf, newest first.
func (db *DB) BankWords(ctx context.Context, reach coldseam.ReachID, since, asOf time.Time) ([]coldseam.BankWord, error) {
	return db.bankWords(ctx, `reach_id = $1 AND said_at >= $2 AND known_at <= $3`, reach, micro(since), micro(asOf))
}

func (db *DB) bankWords(ctx context.Context, where string, args ...any) ([]coldseam.BankWord, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT reach_id, COALESCE(subscriber_id, 0), said_at, say FROM coldseam.bank_word
		WHERE `+where+` ORDER BY said_at DESC, bank_word_id DESC`, args...)
	if err != nil {
		return nil, fmt.Errorf("words from the bank: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (w coldseam.BankWord, err error) {
		err = r.Scan(&w.Reach, &w.Subscriber, &w.At, &w.Say)
		w.At = w.At.UTC()
		return w, err
	})
	if err != nil {
		return nil, fmt.Errorf("words from the bank: %w", classify(err))
	}
	return out, nil
}

// AddFloatTiming keeps a timing with the flow of the reach's gauge at that time
// (newest usable instant value within 3 hours before); see addEntry.
func (db *DB) AddFloatTiming(ctx context.Context, t coldseam.FloatTiming) error {
	r, err := db.Reach(ctx, t.Reach)
	if err != nil {
		return err
	}
	if t.FlowM3S == nil {
		s, err := db.History(ctx, r.Site, coldseam.Discharge, coldseam.Instant, t.At.Add(-3*time.Hour), t.At, db.now())
		if err != nil && !isNotFound(err) {
			return err
		}
		if o, ok := s.Last(); err == nil && ok {
			t.FlowM3S = &o.Value
		}
	}
	err = db.addEntry(ctx, t.Subscriber, t.Entry, "coldseam.float_timing", MaxTimings, `
		INSERT INTO coldseam.float_timing (subscriber_id, known_at, reach_id, spot_id, timed_at, length_m, seconds, wind, discharge_m3s)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
		t.Reach, t.Spot, micro(t.At), t.LengthM, t.Seconds[:], t.Wind, t.FlowM3S)
	if err != nil {
		return fmt.Errorf("float timing of %s %s: %w", t.Reach, t.Spot, classify(err))
	}
	return nil
}

// FloatTimings lists the timings of a reach from since on that were known at asOf,
// oldest first.
func (db *DB) FloatTimings(ctx context.Context, reach coldseam.ReachID, since, asOf time.Time) ([]coldseam.FloatTiming, error) {
	return db.floatTimings(ctx, `reach_id = $1 AND timed_at >= $2 AND known_at <= $3`, reach, micro(since), micro(asOf))
}

func (db *DB) floatTimings(ctx context.Context, where string, args ...any) ([]coldseam.FloatTiming, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT reach_id, spot_id, COALESCE(subscriber_id, 0), timed_at, length_m, seconds, wind, discharge_m3s
		FROM coldseam.float_timing WHERE `+where+` ORDER BY timed_at, float_timing_id`, args...)
	if err != nil {
		return nil, fmt.Errorf("float timings: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (t coldseam.FloatTiming, err error) {
		var s []float64
		err = r.Scan(&t.Reach, &t.Spot, &t.Subscriber, &t.At, &t.LengthM, &s, &t.Wind, &t.FlowM3S)
		copy(t.Seconds[:], s)
		t.At = t.At.UTC()
		return t, err
	})
	if err != nil {
		return nil, fmt.Errorf("float timings: %w", classify(err))
	}
	return out, nil
}

// PruneEntries forgets the keys of entries that came before a time. It returns how
// many.
func (db *DB) PruneEntries(ctx context.Context, before time.Time) (int, error) {
	tag, err := db.pool.Exec(ctx, `DELETE FROM coldseam.entry_key WHERE known_at < $1`, micro(before))
	if err != nil {
		return 0, fmt.Errorf("prune entries: %w", classify(err))
	}
	return int(tag.RowsAffected()), nil
}
