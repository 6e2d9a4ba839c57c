package store_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/riverqueue/river"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

func TestJobsAreUniqueButMail(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	for range 3 {
		require.NoError(t, db.Enqueue(ctx, store.FetchArgs{Profile: "sim", Feed: "q", Slot: t0}))
		require.NoError(t, db.Enqueue(ctx, store.BriefArgs{Reach: "bend", Day: day, Issued: t0}))
		require.NoError(t, db.Enqueue(ctx, store.RefitArgs{Site: "sim:tamsen", Day: day}))
		require.NoError(t, db.Enqueue(ctx, store.SeasonsArgs{Reach: "bend", Asked: t0}))
		require.NoError(t, db.EnqueueAt(ctx, store.MaintenanceArgs{Day: day}, t0.Add(time.Hour)))
		require.NoError(t, db.Enqueue(ctx, store.MailArgs{Mailing: 1, Domain: "one.example", N: 1}))
	}

	require.NoError(t, db.Enqueue(ctx, store.FetchArgs{Profile: "sim", Feed: "q", Slot: t0.Add(15 * time.Minute)}))
	// Many at once: those known, twice in one call, and new ones of several kinds.
	require.NoError(t, db.Enqueue(ctx))
	require.NoError(t, db.Enqueue(ctx, store.FetchArgs{Profile: "sim", Feed: "q", Slot: t0},
		store.FetchArgs{Profile: "sim", Feed: "z", Slot: t0},
		store.FetchArgs{Profile: "sim", Feed: "z", Slot: t0}, store.BriefArgs{Reach: "sand", Day: day, Issued: t0},
		store.BriefArgs{Reach: "bend", Day: day, Issued: t0}))

	for kind, want := range map[string]int{"fetch": 3, "brief": 2, "refit": 1, "seasons": 1, "upkeep": 1, "mail": 3} {
		require.Equal(t, want, count(t, db, `SELECT count(*) FROM river.river_job WHERE kind = $1`, kind), kind)
	}
	s, err := db.Status(ctx)
	require.NoError(t, err)
	require.Equal(t, 3, s.Jobs["mail"]["available"])
	require.Less(t, s.ClockSkew.Abs(), 5*time.Second)
	require.True(t, s.Schema.Current())
	require.Positive(t, s.Bytes)
}

// Rows that wait again after a failure get a job, and only one at a time.
func TestDueMailGivesJobsToWhatWaits(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	queue(t, db, coldseam.MailMorning, morning, subscriber(t, db, "a@one.example"), subscriber(t, db, "b@one.example"))
	n, err := db.DueMail(ctx, morning)
	require.NoError(t, err)
	require.Zero(t, n, "the edition brought its job")
	_, err = db.Pool().Exec(ctx, `UPDATE river.river_job SET state = 'completed', finalized_at = now()`)
	require.NoError(t, err)
	require.NoError(t, db.Hold(ctx, chief))

	n, err = db.DueMail(ctx, morning)
	require.NoError(t, err)
	require.Zero(t, n, "held")
	require.NoError(t, db.Release(ctx, chief))
	for _, want := range []int{1, 0} {
		n, err = db.DueMail(ctx, morning)
		require.NoError(t, err)
		require.Equal(t, want, n)
	}
}

type mailWorker struct {
	river.WorkerDefaults[store.MailArgs]
	mu   sync.Mutex
	seen map[int64]int
	done chan struct{}
	want int
}

func (w *mailWorker) Work(_ context.Context, j *river.Job[store.MailArgs]) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.seen[j.ID]++
	if len(w.seen) == w.want {
		close(w.done)
	}
	return nil
}

// Two processes on one database share the work, and nothing is done twice.
func TestTwoQueuesShareTheWork(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	const jobs = 60
	w := &mailWorker{seen: map[int64]int{}, done: make(chan struct{}), want: jobs}
	var clients []interface{ Stop(context.Context) error }

	for range 2 {
		db, err := store.Open(t.Context(), url, store.Options{})
		require.NoError(t, err)
		t.Cleanup(db.Close)
		workers := river.NewWorkers()
		river.AddWorker(workers, w)
		c, err := db.NewQueue(workers, store.QueueOptions{})
		require.NoError(t, err)
		require.NoError(t, c.Start(t.Context()))
		clients = append(clients, c)
		for range jobs / 2 {
			require.NoError(t, db.Enqueue(t.Context(), store.MailArgs{Domain: "one.example"}))
		}
	}

	select {
	case <-w.done:
	case <-time.After(60 * time.Second):
		t.Fatal("the work is not done")
	}

	for _, c := range clients {
		require.NoError(t, c.Stop(context.Background()))
	}
	for id, n := range w.seen {
		require.Equal(t, 1, n, "job %d", id)
	}
}

func TestPruning(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	queue(t, db, coldseam.MailMorning, morning, subscriber(t, db, "a@one.example"), subscriber(t, db, "b@one.example"))
	ls, err := db.Claim(ctx, "w", morning, time.Minute, 1)
	require.NoError(t, err)
	require.NoError(t, db.Done(ctx, ls[0], coldseam.Outcome{State: coldseam.MailSent}, morning))

	n, err := db.PrunePayloads(ctx, morning.Add(time.Hour))
	require.NoError(t, err)
	require.Equal(t, 1, n, "what waits keeps its payload")
	_, err = db.SaveRaw(ctx, coldseam.RawFetch{
		Profile: "sim",
		URL:     "u",
		At:      t0,
		Status:  200,
		Payload: []byte("x"),
		SHA256:  "s",
	})
	require.NoError(t, err)
	n, err = db.PruneFetches(ctx, t0.Add(time.Second))
	require.NoError(t, err)
	require.Equal(t, 1, n)

	brief := aBrief(morning, coldseam.Go)
	brief.Chart.Valid = []time.Time{morning}
	id, err := db.SaveBrief(ctx, brief)
	require.NoError(t, err)
	newer := brief
	newer.Issued = brief.Issued.Add(time.Hour)
	_, err = db.SaveBrief(ctx, newer)
	require.NoError(t, err)

	n, err = db.DropCharts(ctx, morning.AddDate(-1, 0, 0), morning.Add(3*time.Hour))
	require.NoError(t, err)
	require.Equal(t, 1, n, "the one that a newer one replaced")
	got, err := db.BriefByID(ctx, id)
	require.NoError(t, err)
	brief.ID, brief.Seal, brief.Chart = id, got.Seal, coldseam.ChartData{}
	require.Equal(t, brief, got)
	n, err = db.DropCharts(ctx, morning.Add(3*time.Hour), morning)
	require.NoError(t, err)
	require.Equal(t, 1, n)
}

func TestSwitchesOn(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	for name, on := range map[string]bool{"paused 7": true, "paused 8": false, "paused 12": true, "notpaused 9": true} {
		require.NoError(t, db.SetSwitch(ctx, name, on, chief))
	}
	got, err := db.SwitchesOn(ctx, "paused ")
	require.NoError(t, err)
	require.Equal(t, map[string]bool{"paused 7": true, "paused 12": true}, got)
}
