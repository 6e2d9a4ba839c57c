package store_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// BenchmarkOutbox takes a morning of 2,000 mails through the outbox with four
// workers, on a server that syncs every commit: due, queued, claimed, in data,
// done. What is measured is the bookkeeping alone, no mail is composed.
func BenchmarkOutbox(b *testing.B) {
	db := durableDB(b, durableServer(b))
	const subs = 2000
	for i := range subs {
		s, _, err := db.AddSubscriber(b.Context(), fmt.Sprintf("a%d@d%d.example", i, i%40), "", prefs)
		require.NoError(b, err)
		require.NoError(b, db.Confirm(b.Context(), s.ID))
	}

	sqlExec(b, db.Pool(), `VACUUM ANALYZE`)
	payload := make([]byte, 8000)
	day := 0

	for b.Loop() {
		now := morning.AddDate(0, 0, day)
		day++
		began := time.Now()
		due, err := db.Due(b.Context(), now)
		require.NoError(b, err)
		require.Len(b, due, subs)

		b.ReportMetric(float64(time.Since(began).Milliseconds()), "due-ms")
		e := store.NewMailing{Kind: coldseam.MailMorning, MadeAt: now, MailDomain: "club.example"}
		for _, d := range due {
			e.Messages = append(e.Messages, store.NewMessage{
				Subscriber: d.ID,
				LocalDate:  d.LocalDate,
				Deadline:   d.Deadline,
				Payload:    payload,
			})
		}
		began = time.Now()
		_, n, err := db.QueueMailing(b.Context(), e)
		require.NoError(b, err)
		require.Equal(b, subs, n)

		b.ReportMetric(float64(time.Since(began).Milliseconds()), "queue-ms")
		var wg sync.WaitGroup
		for w := range 4 {
			wg.Add(1)
			go func() {
				defer wg.Done()
				drain(b, db, fmt.Sprintf("w%d", w), now)
			}()
		}

		wg.Wait()
		got, err := db.MailCounts(b.Context(), coldseam.MailMorning, due[0].LocalDate)
		require.NoError(b, err)
		require.Equal(b, map[coldseam.MailState]int{coldseam.MailSent: subs}, got)
	}

	b.ReportMetric(float64(subs*b.N)/b.Elapsed().Seconds(), "mails/s")
}

func drain(b *testing.B, db *store.DB, worker string, now time.Time) {
	for {
		ls, err := db.Claim(b.Context(), worker, now, time.Hour, 10)
		if err != nil || len(ls) == 0 {
			if err != nil {
				b.Error(err)
			}
			return
		}

		for _, l := range ls {
			ok, err := db.InData(b.Context(), l, now, now.Add(time.Hour))
			if err != nil || !ok {
				b.Errorf("in data: %v %v", ok, err)
				return
			}
			if err := db.Done(b.Context(), l, coldseam.Outcome{State: coldseam.MailSent, Stage: "sent", Code: 250,
				Reply: "ok"}, now); err != nil {
				b.Error(err)
				return
			}
		}
	}
}
