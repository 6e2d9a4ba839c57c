//go:build !race

package faults

import (
	"context"
	"fmt"
	"net/mail"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/smtptest"
	"example.org/coldseam/store/backup"
	"example.org/coldseam/store/localpg"
)

// A backup of a gigabyte while a mailing goes out: `make proof`, which keeps
// the figures.
func TestProofBackupWhileSending(t *testing.T) {
	dir := os.Getenv("COLDSEAM_PROOF")
	if dir == "" {
		t.Skip("long: make proof")
	}
	const mails, connections, dot = 4000, 4, 150 * time.Millisecond
	bin, err := localpg.FindClient()
	require.NoError(t, err)
	k := newKills(t, false, mails)
	_, err = k.db.Pool().Exec(t.Context(), `INSERT INTO coldseam.raw_fetch (profile, url, fetched_at, status, bytes, sha256, dur_ms, etag, last_modified, err, rows_stored, attributes, payload_gzip)
		SELECT 'proof', 'https://river.example/' || i, '2026-04-01', 200, 0, md5(i::text), 0, '', '', '', 0, '', block
		FROM generate_series(1, 800) i, (SELECT string_agg(sha512(j::text::bytea), '' ORDER BY j) AS block FROM generate_series(1, 20000) j) b`)
	require.NoError(t, err)
	relay, err := smtptest.Start(smtptest.Config{Script: func(e smtptest.Event) smtptest.Fault {
		if e.Stage == "dot" {
			time.Sleep(dot)
		}
		return smtptest.Fault{}
	}})
	require.NoError(t, err)
	defer relay.Close()

	c := notify.Composer{Club: "Tamsen River Club", From: mail.Address{Address: "brief@club.example"}, Domain: "club.example",
		BounceDomain: "bounce.club.example", Owner: "keeper@club.example",
		Links: notify.Links{PublicURL: "https://club.example", Tokens: notify.Tokens{List: "brief",
			Current: notify.TokenKey{ID: 1, Secret: []byte("a key of the tests that is long enough to sign")}}}}
	began := time.Now()
	var sending sync.WaitGroup
	for i := range connections {
		s := &notify.Sender{Outbox: k.db, Worker: fmt.Sprintf("proof-%d", i),
			Compose: func(_ context.Context, l coldseam.OutboxMessage) (notify.Message, error) { return c.Compose(l, nil) },
			Relay:   notify.Relay{Addr: relay.Addr(), TLS: "none", Hello: "club.example"},
			Now:     func() time.Time { return killBase.Add(time.Since(began)) }}
		sending.Go(func() {
			if _, err := s.Run(t.Context(), mails); err != nil {
				t.Error(err)
			}
		})
	}
	require.Eventually(t, func() bool { return relay.Count() >= mails/10 }, 5*time.Minute, 100*time.Millisecond)
	alone := float64(relay.Count()) / time.Since(began).Seconds()

	from, before := time.Now(), relay.Count()
	path, err := backup.Make(t.Context(), k.db, backup.Options{Dir: t.TempDir(), Bin: bin})
	require.NoError(t, err)
	to, during := time.Now(), relay.Count()-before
	st, err := os.Stat(path)
	require.NoError(t, err)
	require.Greater(t, st.Size(), int64(1e9))
	sending.Wait()

	require.Equal(t, mails, k.count(coldseam.MailSent))
	require.Equal(t, mails, relay.Count(), "each once")
	last, gap := from, time.Duration(0)
	for _, m := range relay.Mails() {
		if m.At.After(from) && m.At.Before(to) {
			last, gap = m.At, max(gap, m.At.Sub(last))
		}
	}
	text := fmt.Sprintf("backup of %.2f GB while sending: %.0f s; %d mails went out meanwhile, %.1f a second before; the longest pause between two %.1f s\n",
		float64(st.Size())/1e9, to.Sub(from).Seconds(), during, alone, gap.Seconds())
	require.NoError(t, os.WriteFile(filepath.Join(dir, "backup-sending.txt"), []byte(text), 0o644))
}
