//go:build !race

// Package gauntlet sends faults of weather, warnings, rivers and letters
// against the verdict that is mailed. It holds tests alone, each of which prints
// a row of the table that `make gauntlet` adds up.
package gauntlet

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
)

var thunder = coldseam.Reason{
	Code:   "thunder",
	Kind:   "safety",
	Text:   "thunder 40% in the window; the limit is 30%",
	Source: "weather forecast",
}

// stopOn puts a stop on window i and moves the word to the next free one.
func stopOn(b *coldseam.Brief, i int) {
	b.Windows[i].Stops, b.Windows[i].OddsOK, b.Windows[i].Odds = []coldseam.Reason{thunder}, false, 0
	for k, w := range b.Windows {
		if w.OddsOK {
			b.WindowI, b.Odds, b.GoodUntil = k, w.Odds, w.End
			return
		}
	}
}

// begin moves the first n windows to those under way, as a later issue has them.
func begin(b *coldseam.Brief, n int) {
	b.Begun, b.Windows = b.Windows[:n:n], b.Windows[n:]
	for i := range b.Begun {
		b.Begun[i].Odds, b.Begun[i].OddsOK = 0, false
	}
	b.WindowI, b.Odds, b.GoodUntil = 0, b.Windows[0].Odds, b.Windows[0].End
}

func wholeDay(v coldseam.Verdict) func(*coldseam.Brief) {
	return func(b *coldseam.Brief) {
		b.Verdict, b.OddsOK, b.WindowI = v, false, -1
		if v == coldseam.Stop {
			b.Stops = []coldseam.Reason{thunder}
		} else {
			b.Reasons = []coldseam.Reason{{Code: "weather_missing", Kind: "missing", Text: "no weather forecast"}}
		}
		for i := range b.Windows {
			b.Windows[i].OddsOK, b.Windows[i].Stops = false, b.Stops
		}
	}
}

// gauntlet prints one row of the table that `make gauntlet` adds up: a scenario
// and whether it read GO though it must not.
func gauntlet(t *testing.T, class, name string, goes bool) {
	t.Helper()
	n := 0
	if goes {
		n = 1
	}
	t.Logf("GAUNTLET|%s|%s|1|%d|%d|-", class, name, n, n)
}

// correctionCases are what a later issue may do to members who were told GO for
// 6:00 to 9:30 (or for their own hours) in the mail of 4:46.
var correctionCases = []struct {
	name  string
	prefs coldseam.Preferences
	at    time.Time // of the later issue
	later func(*coldseam.Brief)
	want  string // pattern of the subject of the correction, "" = none
}{
	{name: "the same word", at: clubtest.MorningAt(5, 20)},
	{
		name:  "stop on the whole day",
		at:    clubtest.MorningAt(5, 20),
		later: wholeDay(coldseam.Stop),
		want:  "^STOP replaces GO: Tamsen",
	},
	{
		name:  "a safety input is gone",
		at:    clubtest.MorningAt(5, 20),
		later: wholeDay(coldseam.NoCall),
		want:  "^NO CALL replaces GO: Tamsen",
	},
	{
		name:  "stop on the hours told, later ones free",
		at:    clubtest.MorningAt(5, 20),
		later: func(b *coldseam.Brief) { stopOn(b, 0) },
		want:  "^STOP replaces GO: Tamsen",
	},
	{name: "stop on later hours alone", at: clubtest.MorningAt(5, 20), later: func(b *coldseam.Brief) { stopOn(b, 2) }},
	{name: "the hours told cannot be judged any more", at: clubtest.MorningAt(5, 20), later: func(b *coldseam.Brief) {
		b.Windows[0].OddsOK, b.WindowI, b.GoodUntil = false, 1, b.Windows[1].End
	}, want: "^NO CALL replaces GO: Tamsen"},
	{name: "the odds fall", at: clubtest.MorningAt(5, 20), later: func(b *coldseam.Brief) {
		b.Verdict = coldseam.Stay
		for i := range b.Windows {
			b.Windows[i].Odds = .1
		}
	}},
	{
		name:  "stop on the hours told while they run",
		at:    clubtest.MorningAt(7, 20),
		later: func(b *coldseam.Brief) { stopOn(b, 0); begin(b, 1) },
		want:  "^STOP replaces GO: Tamsen",
	},
	{name: "the hours told run on freely", at: clubtest.MorningAt(7, 20),
		later: func(b *coldseam.Brief) { stopOn(b, 2); begin(b, 1) }},
	{name: "stop after the hours told", at: clubtest.MorningAt(9, 31),
		later: func(b *coldseam.Brief) { stopOn(b, 2); begin(b, 2) }},
	{name: "stop of the whole day when the hours told are over", at: clubtest.MorningAt(9, 31),
		later: wholeDay(coldseam.Stop)},
	{
		name:  "stop before the member's own hours",
		prefs: coldseam.Preferences{WindowFrom: "09:00", WindowTo: "12:30"},
		at:    clubtest.MorningAt(5, 20),
		later: func(b *coldseam.Brief) { stopOn(b, 0) },
	},
	{
		name:  "stop on the member's own hours",
		prefs: coldseam.Preferences{WindowFrom: "09:00", WindowTo: "12:30"},
		at:    clubtest.MorningAt(5, 20),
		later: func(b *coldseam.Brief) { stopOn(b, 2) },
		want:  "^STOP replaces GO: Tamsen",
	},
	{
		name:  "an issue without the windows under way",
		at:    clubtest.MorningAt(8, 10),
		later: func(b *coldseam.Brief) { stopOn(b, 1); begin(b, 1); b.Begun = nil },
		want:  "^STOP replaces GO: Tamsen",
	},
}

// A stop on the hours that a member was told to go in reaches that member,
// whatever stays free later; nobody else is written to.
func TestCorrectionFollowsTheHoursTold(t *testing.T) {
	t.Parallel()

	for _, c := range correctionCases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			v := clubtest.New(t, nil)
			c.prefs.Reaches = []coldseam.ReachID{"tamsen-bend"}
			v.Join(t, "one@h.example", c.prefs)
			v.TellTamsen(t)
			require.Len(t, v.Messages(t)["one@h.example"], 1)
			require.Regexp(t, "^GO Tamsen", clubtest.Subject(t, v.Messages(t)["one@h.example"][0]))

			for range 2 { // a repeated issue says it once
				v.Clock.Forward(c.at)
				b := clubtest.OnTamsen(v.Now())
				if c.later != nil {
					c.later(&b)
				}
				_, err := v.Mail.SaveWithCorrections(t.Context(), b)
				require.NoError(t, err)
				v.SendAll(t)
				c.at = c.at.Add(time.Minute)
			}

			got := v.Messages(t)["one@h.example"]
			if c.want == "" {
				gauntlet(t, "corrections", c.name, false)
				require.Len(t, got, 1)
				require.Zero(t, v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'correction'`))
				return
			}

			require.Len(t, got, 2)
			gauntlet(t, "corrections", c.name, strings.HasPrefix(clubtest.Subject(t, got[1]), "GO"))
			require.Regexp(t, c.want, clubtest.Subject(t, got[1]))
			require.NotRegexp(t, `\bin 10\b`, clubtest.Text(t, got[1]))
		})
	}
}

// waitingCases are what happens to a GO that waits in the outbox until its relay
// takes it at a later time.
var waitingCases = []struct {
	name  string
	at    time.Time // when it leaves
	later func(*coldseam.Brief)
	sql   string // fault in the stored brief
	want  string // pattern of the subject
	says  string // pattern of the text
}{
	{name: "nothing new", at: clubtest.MorningAt(5, 20), want: "^GO Tamsen", says: `WINDOW 6:00-9:30`},
	{
		name:  "the same word again",
		at:    clubtest.MorningAt(5, 20),
		later: func(*coldseam.Brief) {},
		want:  "^GO Tamsen",
		says:  `MADE   4:40`,
	},
	{name: "stop", at: clubtest.MorningAt(5, 20), later: wholeDay(coldseam.Stop), want: "^STOP Tamsen"},
	{
		name:  "an input is gone",
		at:    clubtest.MorningAt(5, 20),
		later: wholeDay(coldseam.NoCall),
		want:  "^NO CALL Tamsen",
	},
	{name: "the odds fell", at: clubtest.MorningAt(5, 20), later: func(b *coldseam.Brief) {
		b.Verdict, b.Odds = coldseam.TossUp, .41
		for i := range b.Windows {
			b.Windows[i].Odds = .41
		}
	}, want: "^TOSS-UP Tamsen", says: "4 in 10"},
	{name: "another weight", at: clubtest.MorningAt(5, 20), later: func(b *coldseam.Brief) {
		b.Jig = append([]coldseam.SpotJig(nil), b.Jig...)
		b.Jig[0].TieOz, b.Jig[0].PackOz, b.Jig[0].NextOz = .75, 1, 1
	}, want: "^GO Tamsen", says: `JIG +tie 3/4 oz`},
	{name: "another window", at: clubtest.MorningAt(5, 20), later: func(b *coldseam.Brief) {
		b.Windows[1].Odds, b.Odds, b.WindowI, b.GoodUntil = .8, .8, 1, b.Windows[1].End
	}, want: "^GO Tamsen", says: `WINDOW 7:30-11:00`},
	{
		name:  "stop on the first window alone",
		at:    clubtest.MorningAt(5, 20),
		later: func(b *coldseam.Brief) { stopOn(b, 0) },
		want:  "^GO Tamsen",
		says:  `WINDOW 7:30-11:00`,
	},
	{
		name: "its warnings have gone stale",
		at:   clubtest.MorningAt(5, 45),
		want: "^NO CALL Tamsen",
		says: "(?i)warnings: 69 min old; the limit is",
	},
	{name: "its hours are over", at: clubtest.MorningAt(9, 35), want: "^NO CALL Tamsen"},
	{
		name:  "the newer brief cannot be read",
		at:    clubtest.MorningAt(5, 20),
		later: func(*coldseam.Brief) {},
		sql:   `UPDATE coldseam.brief SET body = '{"Odds": "many"}' WHERE issued_at > '2026-04-18 09:45Z'`,
		want:  "^NO CALL Tamsen",
	},
}

// What leaves the outbox is the newest word on the hours, and never a GO that is
// no longer founded.
func TestWaitingMailIsRewritten(t *testing.T) {
	t.Parallel()

	for _, c := range waitingCases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			v := clubtest.New(t, nil)
			v.Join(t, "one@h.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
			v.QueueTamsen(t)
			if c.later != nil {
				v.Clock.Forward(c.at.Add(-time.Minute))
				b := clubtest.OnTamsen(v.Now())
				c.later(&b)
				_, err := v.Mail.SaveWithCorrections(t.Context(), b)
				require.NoError(t, err)
			}

			if c.sql != "" {
				_, err := v.DB.Pool().Exec(t.Context(), c.sql)
				require.NoError(t, err)
			}
			v.Clock.Forward(c.at)
			v.SendAll(t)

			got := v.Messages(t)["one@h.example"]
			require.Len(t, got, 1, "one mail, and no correction of what was never told")
			gauntlet(t, "corrections", "waiting: "+c.name, !strings.HasPrefix(c.want, "^GO") &&
				strings.HasPrefix(clubtest.Subject(t, got[0]), "GO"))
			require.Regexp(t, c.want, clubtest.Subject(t, got[0]))
			require.Regexp(t, regexp.MustCompile(c.says), clubtest.Text(t, got[0]))
			require.Equal(t, strings.Fields(c.want)[0], "^"+strings.Fields(toldVerdict(t, v))[0],
				"what was told stays on record")
		})
	}
}

func toldVerdict(t *testing.T, v *clubtest.Harness) (s string) {
	t.Helper()
	require.NoError(t, v.DB.Pool().QueryRow(t.Context(),
		`SELECT verdict FROM coldseam.outbox WHERE kind = 'morning'`).Scan(&s))
	return s
}
