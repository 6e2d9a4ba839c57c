//go:build !race

package mailing_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
)

// On the days the clock changes the evening begins when the wall shows 18:00.
func TestNoticesGoByTheWallClock(t *testing.T) {
	t.Parallel()
	chicago := env.Zone("America/Chicago")

	for _, c := range []struct {
		name string
		at   time.Time
		want int
	}{
		{"spring, 18:10", time.Date(2027, 3, 14, 18, 10, 0, 0, chicago), 1},
		{"spring, 17:50", time.Date(2027, 3, 14, 17, 50, 0, 0, chicago), 0},
		{"autumn, 21:20", time.Date(2026, 11, 1, 21, 20, 0, 0, chicago), 1},
		{"autumn, 17:10", time.Date(2026, 11, 1, 17, 10, 0, 0, chicago), 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			v := clubtest.New(t, nil)
			v.Join(t, "one@h.example", coldseam.Preferences{FlipNotice: true})
			v.Clock.Forward(c.at)
			day := coldseam.DateOf(c.at).Add(1)
			made := func(verdict coldseam.Verdict, issued time.Time) coldseam.Brief {
				b := tomorrow(verdict, issued)
				b.Day = day
				return b
			}
			prev := made(coldseam.Go, c.at.Add(-6*time.Hour))
			require.NoError(t, v.Mail.QueueVerdictChanges(t.Context(), made(coldseam.Stop, c.at), &prev))
			require.Equal(t, c.want, v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'flip'`))
		})
	}
}

// A morning that nobody wrote is as bad as one that nobody sent: the admin hears
// of it and /healthz says so, also when the server was away at the deadline.
func TestMissedMorningAlarms(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name  string
		prefs coldseam.Preferences
		warm  bool
		want  bool
	}{
		{name: "missed", want: true},
		{name: "not asked for on a Saturday", prefs: coldseam.Preferences{Weekdays: []int{1}}},
		{name: "a river that is not fished any more", prefs: coldseam.Preferences{Reaches: []coldseam.ReachID{"gone"}}},
		{name: "out of season", prefs: coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}}, warm: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			v := clubtest.New(t, nil)
			v.Join(t, "one@h.example", c.prefs)
			_, err := v.DB.Pool().Exec(t.Context(), `UPDATE coldseam.subscriber SET confirmed_at = '2026-04-01 12:00Z'`)
			require.NoError(t, err)

			for n := range 5 {
				b := clubtest.OnTamsen(clubtest.MorningAt(0, 0).AddDate(0, 0, -n))
				b.Day, b.Temp.Window = clubtest.Saturday.Add(-n), [3]float64{15, 15, 15}
				if c.warm {
					_, err := v.DB.SaveBrief(t.Context(), b)
					require.NoError(t, err)
				}
			}

			v.Clock.Forward(clubtest.MorningAt(9, 59))
			require.NoError(t, v.Mail.Healthy(t.Context()))
			v.Clock.Forward(clubtest.MorningAt(13, 0))
			require.NoError(t, v.Mail.Watch(t.Context(), v.Now()))
			alarms := v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'alarm' AND reach_id = 'deadline'`)
			if c.want {
				require.Equal(t, 1, alarms)
				require.ErrorContains(t, v.Mail.Healthy(t.Context()), "0 of 1 morning mails sent")
				return
			}

			require.Zero(t, alarms)
			require.NoError(t, v.Mail.Healthy(t.Context()))
		})
	}
}
