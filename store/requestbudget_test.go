package store_test

import (
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

// Several servers on one database have one budget together.
func TestServersShareTheBudgetOfAHost(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	url := storetest.URL(t)
	var dbs []*store.DB
	for range 3 {
		db, err := store.Open(ctx, url, store.Options{MaxConns: 2})
		require.NoError(t, err)
		defer db.Close()
		dbs = append(dbs, db)
	}

	// 200 an hour: 20 at once, then one in 20 seconds.
	var taken atomic.Int32
	var wg sync.WaitGroup

	for _, db := range dbs {
		for range 4 {
			wg.Go(func() {
				for range 10 {
					wait, err := db.TakeRequest(ctx, "gauges.example.org", 200, .1)
					require.NoError(t, err)
					if wait == 0 {
						taken.Add(1)
					} else {
						require.Less(t, wait, 21*time.Second)
					}
				}
			})
		}
	}

	wg.Wait()
	require.EqualValues(t, 20, taken.Load(), "120 were asked for")

	wait, err := dbs[1].TakeRequest(ctx, "other.example.org", 200, .1)
	require.NoError(t, err)
	require.Zero(t, wait, "another host is not concerned")
	// What repeated tries used is counted, and lengthens the wait.
	require.NoError(t, dbs[1].SpendRequests(ctx, "other.example.org", 200, 22))
	wait, err = dbs[2].TakeRequest(ctx, "other.example.org", 200, .1)
	require.NoError(t, err)
	require.InDelta(t, 80, wait.Seconds(), 5, "24 of 20 at one in 20 s")
}

// What one server was told to wait holds for all, and a shorter word does not
// cut a longer one.
func TestAHostsWordHoldsForAllServers(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	url := storetest.URL(t)
	a, err := store.Open(ctx, url, store.Options{})
	require.NoError(t, err)
	defer a.Close()
	b, err := store.Open(ctx, url, store.Options{})
	require.NoError(t, err)
	defer b.Close()
	require.NoError(t, a.HoldRequests(ctx, "gauges.example.org", 10*time.Minute))
	require.NoError(t, a.HoldRequests(ctx, "gauges.example.org", time.Minute))
	wait, err := b.TakeRequest(ctx, "gauges.example.org", 3600, .1)
	require.NoError(t, err)
	require.InDelta(t, 600, wait.Seconds(), 20)
}

// A clock that ran ahead and was put right starves nobody for long, and a
// budget that was used up is whole again after its time.
func TestBudgetHeals(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	now := t0
	db := storetest.NewWith(t, store.Options{Now: func() time.Time { return now }})
	take := func() time.Duration {
		wait, err := db.TakeRequest(ctx, "gauges.example.org", 200, .1)
		require.NoError(t, err)
		return wait
	}

	now = t0.AddDate(0, 0, 3)
	require.Zero(t, take())
	now = t0
	for range 20 {
		require.Zero(t, take())
	}
	require.NotZero(t, take())

	// Whatever is asked for, no hour sees more than 200.
	now = now.Add(2 * time.Hour)
	n := 0
	for range 3600 {
		now = now.Add(time.Second)
		if take() == 0 {
			n++
		}
	}

	require.InDelta(t, 200, n, 1)
}

// A command by hand takes most of an hour at once, and a second one no more than
// the first has left; the polls wait until it is spread.
func TestCommandsByHandShareOneHour(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	now := t0
	db := storetest.NewWith(t, store.Options{Now: func() time.Time { return now }})
	take := func(atOnce float64) (n int) {
		for {
			wait, err := db.TakeRequest(ctx, "gauges.example.org", 50, atOnce)
			require.NoError(t, err)
			if wait > 0 {
				return n
			}
			n++
		}
	}
	require.Equal(t, 40, take(.8))
	require.Zero(t, take(.8))
	require.Zero(t, take(.1))

	polls := 0
	for range 3600 {
		now = now.Add(time.Second)
		polls += take(.1)
	}
	require.InDelta(t, 10, polls, 1)
}
