package store_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// An entry counts once however often a phone sends it, a member may send so many
// a day, and what he sent stays without him when he is erased.
func TestWordsFromTheBank(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{Now: func() time.Time { return t0 }})
	ctx := t.Context()
	ann, _, err := db.AddSubscriber(ctx, "ann@bank.example", "", coldseam.Preferences{Zone: "UTC"})
	require.NoError(t, err)
	word := coldseam.BankWord{Reach: "bend", Subscriber: ann.ID, At: t0.Add(-time.Minute), Say: "wood", Entry: "k1"}
	require.NoError(t, db.AddBankWord(ctx, word))
	require.NoError(t, db.AddBankWord(ctx, word), "the answer was lost, the phone sends it again")
	require.Equal(t, 1, count(t, db, `SELECT count(*) FROM coldseam.bank_word`))

	word.Entry, word.Say = "", "green"
	for range store.MaxBankWords - 1 {
		require.NoError(t, db.AddBankWord(ctx, word))
	}
	require.ErrorIs(t, db.AddBankWord(ctx, word), coldseam.ErrRejected)
	word.Say = "ice"
	require.NoError(t, db.AddBankWord(ctx, word), "colours and fish use up no danger")
	word.Say = "open"
	word.Subscriber++
	require.ErrorIs(t, db.AddBankWord(ctx, word), coldseam.ErrInvalid, "nothing opens")

	timing := coldseam.FloatTiming{Reach: "bend", Spot: "seam", Subscriber: ann.ID, At: t0.Add(-time.Hour), LengthM: 20,
		Seconds: [3]float64{30, 32, 31}, Wind: "calm", Entry: "k2"}
	require.NoError(t, db.AddFloatTiming(ctx, timing))
	require.NoError(t, db.AddFloatTiming(ctx, timing))
	got, err := db.FloatTimings(ctx, "bend", t0.Add(-2*time.Hour), t0)
	require.NoError(t, err)
	require.Len(t, got, 1)
	require.InDelta(t, 20./31, got[0].SurfaceMS(), 1e-9)

	own, err := db.ExportSubscriber(ctx, ann.ID)
	require.NoError(t, err)
	require.Len(t, own.Bank, store.MaxBankWords+1)
	require.Len(t, own.Timings, 1)
	raw, err := json.Marshal(own.Bank)
	require.NoError(t, err)
	require.NotContains(t, string(raw), "Subscriber")

	require.NoError(t, db.Forget(ctx, ann.ID))
	words, err := db.BankWords(ctx, "bend", t0.Add(-time.Hour), t0)
	require.NoError(t, err)
	require.Len(t, words, store.MaxBankWords+1)
	require.Zero(t, words[0].Subscriber)
	require.Zero(t, count(t, db, `SELECT count(*) FROM coldseam.entry_key`))
}

// A trip that a phone sends again after it was corrected changes nothing.
func TestALateEntryDoesNotUndoACorrection(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{})
	ctx := t.Context()
	ann, _, err := db.AddSubscriber(ctx, "ann@late.example", "", coldseam.Preferences{Zone: "UTC"})
	require.NoError(t, err)
	trip := coldseam.Trip{Reach: "bend", Subscriber: ann.ID, Date: day, Fish: 2, Hours: 3, Entry: "k1"}
	require.NoError(t, db.ReplaceTrip(ctx, trip))
	corrected := trip
	corrected.Fish, corrected.Entry = 4, ""
	require.NoError(t, db.ReplaceTrip(ctx, corrected))
	require.NoError(t, db.ReplaceTrip(ctx, trip))
	got, err := db.Trips(ctx, "bend", day, day)
	require.NoError(t, err)
	require.Len(t, got, 1)
	require.Equal(t, 4, got[0].Fish)
}
