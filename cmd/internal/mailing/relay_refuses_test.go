package mailing_test

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/notify/smtptest"
	"example.org/coldseam/store"
)

// A relay that calls every member dead, at RCPT or after the dot, takes nobody
// off the list: sending stops, the admin hears of it once, and after the release
// every member has the morning mail.
func TestRelayThatRefusesEverybody(t *testing.T) {
	t.Parallel()

	for _, stage := range []string{"rcpt", "dot"} {
		t.Run(stage, func(t *testing.T) {
			t.Parallel()
			ctx := t.Context()
			var broken atomic.Bool
			broken.Store(true)
			v := clubtest.NewReady(t, func(e smtptest.Event) smtptest.Fault {
				if broken.Load() && e.Stage == stage && !strings.HasPrefix(e.To, "keeper@") {
					return smtptest.Reply(550, "5.1.1", "no such user")
				}
				return smtptest.Fault{}
			})

			for i := range 30 {
				v.Join(t, fmt.Sprintf("a%d@home.example", i),
					coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
			}
			v.Clock.Forward(clubtest.MorningAt(4, 45))
			_, _, err := v.Mail.QueueMornings(ctx, v.Now())
			require.NoError(t, err)
			for range 4 {
				v.SendAll(t)
				v.Clock.Forward(v.Now().Add(time.Minute))
				require.NoError(t, v.Mail.Watch(ctx, v.Now()))
			}

			v.SendAll(t)
			require.Equal(t, 30, v.Count(t, `SELECT count(*) FROM coldseam.subscriber WHERE state = 'confirmed'`))
			require.Equal(t, 30,
				v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state NOT IN ('sent', 'failed')`))
			alarms := 0
			for _, m := range v.Messages(t)[v.Config.Club.AdminEmail] {
				if strings.Contains(clubtest.Text(t, m), "nobody was taken off the list") {
					alarms++
				}
			}
			require.Equal(t, 1, alarms)

			broken.Store(false)
			require.NoError(t, v.DB.Release(ctx, store.Edit{Who: "admin", Why: "relay mended"}))
			v.Clock.Forward(v.Now().Add(10 * time.Minute))
			_, err = v.DB.Sweep(ctx, v.Now())
			require.NoError(t, err)
			v.SendAll(t)
			require.Equal(t, 30,
				v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state = 'sent'`))
		})
	}
}

// One job sends at the set rate, not ten mails a minute: sixty to one domain at
// one a second are out within a minute.
func TestOneJobSendsAtTheSetRate(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	url := clubtest.Ready.URL(t)
	v := clubtest.NewOn(t, url, nil)
	paced, err := store.Open(ctx, url, store.Options{DomainRate: 1, TotalRate: 5})
	require.NoError(t, err)
	t.Cleanup(paced.Close)

	for i := range 60 {
		v.Join(t, fmt.Sprintf("a%d@home.example", i), coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	}
	v.Clock.Forward(clubtest.MorningAt(4, 45))
	_, _, err = v.Mail.QueueMornings(ctx, v.Now())
	require.NoError(t, err)
	begin := v.Now()
	s := v.Mail.Sender("test")
	s.Outbox = paced

	s.Sleep = func(_ context.Context, d time.Duration) error {
		v.Clock.Forward(v.Now().Add(d))
		return nil
	}
	tally, err := s.Run(ctx, 60)
	require.NoError(t, err)
	require.Equal(t, 60, tally.Sent)
	took := v.Now().Sub(begin)
	require.LessOrEqual(t, took, time.Minute)
	require.GreaterOrEqual(t, took, 50*time.Second, "no faster than the rate but for the first claim")
}

// The club's own bounce domain is nobody's address.
func TestBounceDomainIsNoMember(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	_, _, err := v.Mail.Enrol(t.Context(), "ann@"+strings.ToUpper(v.Config.Mail.BounceDomain), "", coldseam.Preferences{},
		true)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "bounce domain")
}

// A gauge is silent when no series brings a usable flow: rows without a value
// are silence, and a series that ended beside a live one is none.
func TestSilenceIsOfTheGauge(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name, sql string
		tamsen    bool
	}{
		{"retired beside live", `INSERT INTO coldseam.latest (valid_at, known_at, changed_at, value, series_id, flags)
			SELECT l.valid_at - interval '400 days', l.known_at, l.changed_at, l.value, n.series_id, 0
			FROM coldseam.latest l JOIN coldseam.series s USING (series_id) JOIN coldseam.reach r USING (site_id), coldseam.series n
			WHERE r.reach_id = 'tamsen-bend' AND s.param = 'discharge' AND s.stat = 'instant' AND n.site_id = s.site_id AND n.series_ref = 'retired'`, false},
		{"rows without a value", `UPDATE coldseam.observation o SET value = NULL, flags = flags | 32
			FROM coldseam.series s JOIN coldseam.reach r USING (site_id)
			WHERE s.series_id = o.series_id AND r.reach_id = 'tamsen-bend' AND s.param = 'discharge'`, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			v := clubtest.NewReady(t, nil)
			v.Clock.Forward(clubtest.MorningAt(4, 30))
			_, err := v.DB.Pool().Exec(t.Context(), `
				INSERT INTO coldseam.series (site_id, param, stat, period, provider, unit, first_known_at, series_ref)
				SELECT s.site_id, s.param, s.stat, s.period, s.provider, s.unit, s.first_known_at, 'retired' FROM coldseam.series s JOIN coldseam.reach r USING (site_id)
				WHERE r.reach_id = 'tamsen-bend' AND s.param = 'discharge' AND s.stat = 'instant' LIMIT 1`)
			require.NoError(t, err)

			_, err = v.DB.Pool().Exec(t.Context(), c.sql)
			require.NoError(t, err)
			require.NoError(t, v.Mail.Watch(t.Context(), v.Now()))
			v.SendAll(t)
			words := ""
			for _, m := range v.Messages(t)[v.Config.Club.AdminEmail] {
				words += clubtest.Text(t, m)
			}
			require.Equal(t, c.tamsen, strings.Contains(words, "Tamsen"), words)
		})
	}
}
