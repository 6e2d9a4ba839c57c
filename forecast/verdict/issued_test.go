package verdict

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// A word that was right at its issue holds until its hours end or a safety input
// passes its greatest age, and not a minute longer.
func TestAsOf(t *testing.T) {
	t.Parallel()
	issued := time.Date(2026, 4, 18, 9, 30, 0, 0, time.UTC)
	brief := func() coldseam.Brief {
		return coldseam.Brief{Verdict: coldseam.Go, OddsOK: true, Odds: .6, Issued: issued,
			GoodUntil: issued.Add(5 * time.Hour),
			Windows:   []coldseam.Window{{OddsOK: true, Odds: .6}},
			Inputs: []coldseam.Input{
				{Key: "discharge", Name: "Flow", Safety: true, State: StateGood, Age: time.Hour, Limit: 6 * time.Hour},
				{
					Key:    "alerts",
					Name:   "Warnings",
					Safety: true,
					State:  StateGood,
					Age:    10 * time.Minute,
					Limit:  time.Hour,
				},
				{Key: "water_temp", State: StateGood, Age: time.Minute, Limit: time.Minute},
				{
					Key:    "ice",
					Safety: true,
					State:  StateGood,
					Age:    30 * time.Hour,
					Limit:  24 * time.Hour,
				}, // good for another reason than its age
				{Key: "stage", State: StateStale, Age: 7 * time.Hour, Limit: 6 * time.Hour},
			}}
	}

	for _, c := range []struct {
		name  string
		after time.Duration
		set   func(*coldseam.Brief)
		want  coldseam.Verdict
		code  string
	}{
		{name: "at its issue", want: coldseam.Go},
		{name: "warnings at their greatest age", after: 50 * time.Minute, want: coldseam.Go},
		{name: "warnings older", after: 51 * time.Minute, want: coldseam.NoCall, code: "input_stale"},
		{
			name:  "warnings older, state none",
			after: 51 * time.Minute,
			set:   func(b *coldseam.Brief) { b.Inputs[1].State = "none" },
			want:  coldseam.NoCall,
			code:  "input_stale",
		},
		{
			name:  "hours over",
			after: 5 * time.Hour,
			set:   func(b *coldseam.Brief) { b.Inputs = nil },
			want:  coldseam.NoCall,
			code:  "word_over",
		},
		{
			name:  "last minute",
			after: 5*time.Hour - time.Minute,
			set:   func(b *coldseam.Brief) { b.Inputs = nil },
			want:  coldseam.Go,
		},
		{
			name:  "a stop stays one",
			after: 50 * time.Hour,
			set:   func(b *coldseam.Brief) { b.Verdict = coldseam.Stop },
			want:  coldseam.Stop,
		},
		{
			name:  "a toss-up too",
			after: 51 * time.Minute,
			set:   func(b *coldseam.Brief) { b.Verdict = coldseam.TossUp },
			want:  coldseam.NoCall,
			code:  "input_stale",
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := brief()
			if c.set != nil {
				c.set(&b)
			}
			got := AsOf(b, issued.Add(c.after))
			require.Equal(t, c.want, got.Verdict)

			if c.code != "" {
				require.Equal(t, c.code, got.Reasons[0].Code)
				require.False(t, got.OddsOK)
				require.True(t, b.OddsOK && b.Windows[0].OddsOK, "the brief that was given is not changed")
			}
		})
	}
}

// The windows under way are the day's windows that can no longer be chosen and
// are not over: together with those to come they leave no gap.
func TestBegunAndComingWindowsAreTheDay(t *testing.T) {
	t.Parallel()
	rise := time.Date(2026, 4, 18, 11, 10, 0, 0, time.UTC)
	sun := Sun{OK: true, Rise: rise, Set: rise.Add(13 * time.Hour)}
	day := Windows(sun, rise)
	for m := 0; m < 14*60; m += 7 {
		now := rise.Add(time.Duration(m) * time.Minute)
		var want []Span
		for _, s := range day {
			if s.End.After(now) {
				want = append(want, s)
			}
		}
		got := append(Begun(sun, now), Windows(sun, now)...)
		require.Equal(t, want, got, "%d min after sunrise", m)
	}
}
