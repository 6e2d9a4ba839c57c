package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

// silent is a client that is cut off in the middle of sending.
type silent struct{ ctx context.Context }

func (s silent) Read([]byte) (int, error) {
	<-s.ctx.Done()
	return 0, s.ctx.Err()
}

// A writer that is cut off holds the lock of all writers; it is ended, and the
// others go on.
func TestLostWriterDoesNotBlockTheOthers(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	lost, err := store.Open(t.Context(), url, store.Options{})
	require.NoError(t, err)
	defer lost.Close()
	db, err := store.Open(t.Context(), url, store.Options{})
	require.NoError(t, err)
	defer db.Close()

	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	locked := make(chan struct{})
	go func() {
		tx, err := lost.Pool().Begin(t.Context())
		if err == nil {
			_, err = tx.Exec(t.Context(), `SELECT pg_advisory_xact_lock(7263710002)`)
		}
		close(locked)
		if err == nil {
			_, err = tx.Conn().PgConn().CopyFrom(t.Context(), silent{ctx}, `COPY coldseam.observation FROM STDIN`)
			tx.Rollback(context.Background())
		}
		ended <- err
	}()

	<-locked
	short, stop := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer stop()
	s := []coldseam.Series{{SeriesKey: flow, Obs: []coldseam.Observation{obs(0, 1, t0, 0)}}}
	_, _, err = db.UpsertSeries(short, 0, s)
	require.Error(t, err, "the lock is held")

	n, err := db.EndLostSessions(t.Context(), time.Minute)
	require.NoError(t, err)
	require.Zero(t, n, "a busy one is given its time")
	require.Eventually(t, func() bool {
		n, err := db.EndLostSessions(t.Context(), 10*time.Millisecond)
		return err == nil && n == 1
	}, 10*time.Second, 10*time.Millisecond)
	a, _, err := db.UpsertSeries(t.Context(), 0, s)
	require.NoError(t, err)
	require.Equal(t, 1, a)
	cancel()
	require.Error(t, <-ended)
}

func TestSessionsAreSet(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	for set, want := range map[string]string{"idle_in_transaction_session_timeout": "30s",
		"client_connection_check_interval": "10s", "TimeZone": "UTC", "application_name": "coldseam"} {
		var got string
		require.NoError(t, db.Pool().QueryRow(t.Context(), `SHOW `+set).Scan(&got))
		require.Equal(t, want, got, set)
	}
}
