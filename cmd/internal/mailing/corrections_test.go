package mailing_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
)

// A notice that tomorrow has turned is not sent once it has turned back.
func TestNoticeThatTurnedBackIsNotSent(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	v.Join(t, "one@h.example", coldseam.Preferences{FlipNotice: true})
	v.Clock.Forward(clubtest.MorningAt(18, 40))
	prev := tomorrow(coldseam.Go, clubtest.MorningAt(4, 40))
	require.NoError(t, v.Mail.QueueVerdictChanges(t.Context(), tomorrow(coldseam.Stop, v.Now()), &prev))
	v.Clock.Forward(clubtest.MorningAt(19, 10))
	_, err := v.Mail.SaveWithCorrections(t.Context(), tomorrow(coldseam.Go, v.Now()))
	require.NoError(t, err)
	v.SendAll(t)
	require.Empty(t, v.Messages(t))
}

// The notice compares with what the morning mail said of tomorrow, not with an
// issue of the afternoon that nobody was sent.
func TestNoticeComparesWithTheMorningMail(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	v.Join(t, "one@h.example", coldseam.Preferences{FlipNotice: true})

	for _, x := range []struct {
		at   time.Time
		says coldseam.Verdict
	}{{clubtest.MorningAt(4, 40), coldseam.Go}, {clubtest.MorningAt(14, 2), coldseam.Stop}} {
		b := clubtest.OnTamsen(x.at)
		b.Next = []coldseam.DayOdds{{
			Day:     clubtest.Saturday.Add(1),
			Odds:    .6,
			OddsOK:  x.says == coldseam.Go,
			Verdict: x.says,
		}}
		_, err := v.DB.SaveBrief(t.Context(), b)
		require.NoError(t, err)
	}

	// In winter the evening's first brief of tomorrow is made at dusk, too early
	// for a notice.
	v.Clock.Forward(clubtest.MorningAt(18, 40))
	dusk := tomorrow(coldseam.Stop, clubtest.MorningAt(17, 2))
	require.NoError(t, v.Mail.QueueVerdictChanges(t.Context(), tomorrow(coldseam.Stop, v.Now()), &dusk))
	v.SendAll(t)
	require.Len(t, v.Messages(t)["one@h.example"], 1)
}
