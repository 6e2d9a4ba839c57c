package store_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

// sealedBrief is the n-th brief of a morning.
func sealedBrief(n int) coldseam.Brief {
	at := time.Date(2026, 4, 18, 8, 0, n, 0, time.UTC)
	return coldseam.Brief{Reach: "tamsen-bend", Site: "demo:1", Zone: "UTC", Day: coldseam.DateOf(at), Issued: at,
		Verdict: coldseam.Stop, Odds: float64(n) / 100, HoldP: 1. / 3}
}

// broken lists the briefs of the chain that are not as they were sealed, and how
// many there are.
func broken(t *testing.T, db *store.DB) (ids []int64, n int, head string) {
	t.Helper()
	require.NoError(t, db.EachSealed(t.Context(), func(s store.Sealed) error {
		n++
		head = s.Seal
		if !s.Holds {
			ids = append(ids, s.ID)
		}
		return nil
	}))
	return ids, n, head
}

func TestOneChangedByteIsFound(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	var ids []int64
	for n := range 4 {
		id, err := db.SaveBrief(t.Context(), sealedBrief(n))
		require.NoError(t, err)
		ids = append(ids, id)
	}
	replay := sealedBrief(9)
	replay.Replay = true
	_, err := db.SaveBrief(t.Context(), replay)
	require.NoError(t, err)

	bad, n, head := broken(t, db)
	require.Empty(t, bad)
	require.Equal(t, 4, n)
	told, err := db.SealHead(t.Context())
	require.NoError(t, err)
	require.Equal(t, head, told)
	b, err := db.BriefByID(t.Context(), ids[3])
	require.NoError(t, err)
	require.Equal(t, head, b.Seal)

	for i, edit := range []string{
		`UPDATE coldseam.brief SET hold_p = hold_p + 1e-16 WHERE brief_id = $1`,
		`UPDATE coldseam.brief SET body = jsonb_set(body, '{Odds}', '0.010000000000000002') WHERE brief_id = $1`,
		`UPDATE coldseam.brief SET seal = set_byte(seal, 31, get_byte(seal, 31) # 1) WHERE brief_id = $1`,
	} {
		_, err := db.Pool().Exec(t.Context(), edit, ids[i])
		require.NoError(t, err)
		bad, _, _ := broken(t, db)
		require.Contains(t, bad, ids[i], edit)
	}
	_, err = db.Pool().Exec(t.Context(), `DELETE FROM coldseam.brief WHERE brief_id = $1`, ids[2])
	require.NoError(t, err)
	bad, _, _ = broken(t, db)
	require.Contains(t, bad, ids[3], "the one after a brief that is gone")
}

// The chart is dropped from old briefs: it is no statement.
func TestSealOutlastsTheChart(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	b := sealedBrief(1)
	_, err := db.SaveBrief(t.Context(), b)
	require.NoError(t, err)
	n, err := db.DropCharts(t.Context(), b.Issued.Add(time.Hour), b.Issued)
	require.NoError(t, err)
	require.Equal(t, 1, n)
	bad, _, _ := broken(t, db)
	require.Empty(t, bad)
}

func TestServersDoNotForkTheChain(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	var wg sync.WaitGroup
	for n := range 40 {
		wg.Go(func() {
			_, err := db.SaveBrief(context.Background(), sealedBrief(n))
			require.NoError(t, err)
		})
	}
	wg.Wait()
	bad, n, _ := broken(t, db)
	require.Empty(t, bad)
	require.Equal(t, 40, n)
}
