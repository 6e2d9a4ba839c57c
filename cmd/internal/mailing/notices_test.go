package mailing_test

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/notify/brieftest"
)

// tomorrow is the sample's GO as the Tamsen's brief for Sunday, made at a time.
func tomorrow(v coldseam.Verdict, issued time.Time) coldseam.Brief {
	b := brieftest.Go()
	b.Reach, b.River, b.ReachName, b.Zone = "tamsen-bend", "Tamsen", "Bend", "America/Chicago"
	b.Day, b.Issued = clubtest.Saturday.Add(1), issued
	b.GoodUntil = b.Day.In(env.Zone(b.Zone)).Add(10 * time.Hour)
	b.Windows, b.WindowI = nil, -1
	if v == coldseam.Stop {
		b.Verdict, b.OddsOK = v, false
		b.Stops = []coldseam.Reason{{Code: "flood", Kind: "safety", Text: "flood warning", Source: "weather service"}}
		return b
	}
	b.Windows = []coldseam.Window{{
		Start:  b.Day.In(env.Zone(b.Zone)).Add(6 * time.Hour),
		End:    b.GoodUntil,
		Odds:   .6,
		OddsOK: true,
	}}
	return b
}

// TestFlipNotice: the evening before, whoever asked hears that their own verdict
// for tomorrow has turned, once, and nobody else.
func TestFlipNotice(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name string
		at   time.Time
		prev func(b *coldseam.Brief) // the word before
		now  coldseam.Verdict
		want []string
	}{
		{"the brief of tomorrow turned", clubtest.MorningAt(18, 40), func(b *coldseam.Brief) {
			b.Day = clubtest.Saturday.Add(1)
		}, coldseam.Stop, []string{"patient@h.example", "yes@h.example"}},
		{"this morning's outlook turned", clubtest.MorningAt(18, 40), nil, coldseam.Stop,
			[]string{"patient@h.example", "yes@h.example"}},
		{"the outlook said so already", clubtest.MorningAt(18, 40), func(b *coldseam.Brief) {
			b.Next[0].Verdict = coldseam.Stop
		}, coldseam.Stop, nil},
		{"turned for one threshold only", clubtest.MorningAt(18, 40), func(b *coldseam.Brief) { b.Next[0].Odds = .44 },
			coldseam.Go, []string{"yes@h.example"}},
		{"nothing was said", clubtest.MorningAt(18, 40), func(b *coldseam.Brief) { b.Next = nil }, coldseam.Stop, nil},
		{"too early", clubtest.MorningAt(17, 59), nil, coldseam.Stop, nil},
		{"too late", clubtest.MorningAt(21, 40), nil, coldseam.Stop, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			v := clubtest.New(t, nil)
			v.Join(t, "yes@h.example", coldseam.Preferences{FlipNotice: true})
			v.Join(t, "patient@h.example", coldseam.Preferences{FlipNotice: true, Cost: .2,
				Reaches: []coldseam.ReachID{"tamsen-bend"}})
			v.Join(t, "no@h.example", coldseam.Preferences{})
			v.Join(t, "elsewhere@h.example", coldseam.Preferences{FlipNotice: true,
				Reaches: []coldseam.ReachID{"hallam-sandbar"}})
			prev := tomorrow(coldseam.Go, clubtest.MorningAt(4, 40))
			prev.Day = clubtest.Saturday
			prev.Next = []coldseam.DayOdds{{
				Day:     clubtest.Saturday.Add(1),
				Odds:    .6,
				OddsOK:  true,
				Verdict: coldseam.Go,
			}}

			if c.prev != nil {
				c.prev(&prev)
			}
			v.Clock.Forward(c.at)
			for range 2 { // a second look the same evening says nothing more
				require.NoError(t, v.Mail.QueueVerdictChanges(t.Context(), tomorrow(c.now, c.at), &prev))
			}
			v.SendAll(t)
			got := v.Messages(t)
			require.Len(t, got, len(c.want))

			for _, to := range c.want {
				require.Len(t, got[to], 1, to)
				words := strings.Join(strings.Fields(clubtest.Text(t, got[to][0])), " ")
				require.Contains(t, words, "has turned: "+c.now.String()+", was ")
				require.Contains(t, words, "not a safety clearance")
				require.NotContains(t, clubtest.Subject(t, got[to][0]), "replaces")
			}
		})
	}
}

// TestEveningBriefIsMade: the tick looks at tomorrow once every evening, in
// summer before the light is gone and in winter long after.
func TestEveningBriefIsMade(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	asked := func() int {
		return v.Count(t, `SELECT count(*) FROM river.river_job WHERE kind = 'brief' AND args->>'day' LIKE '%2026-04-19%' OR kind = 'brief' AND args::text LIKE '%"Day":19%'`)
	}
	v.Clock.Forward(clubtest.MorningAt(18, 29))
	require.NoError(t, v.App.Tick(t.Context(), v.Now()))
	require.Zero(t, asked())

	for m := range 3 {
		v.Clock.Forward(clubtest.MorningAt(18, 30+m))
		require.NoError(t, v.App.Tick(t.Context(), v.Now()))
	}

	require.Equal(t, len(reachesOf(t, v)), asked(), "once for each river")
	for _, d := range []coldseam.Date{{Year: 2026, Month: 1, Day: 9}, {Year: 2026, Month: 6, Day: 21},
		{Year: 2026, Month: 3, Day: 8}, {Year: 2026, Month: 11, Day: 1}} {
		at, due := mailing.EveningDue(d, env.Zone("America/Chicago"),
			d.In(env.Zone("America/Chicago")).Add(20*time.Hour))
		require.True(t, due, d)
		require.Equal(t, "18:30", at.Format("15:04"), d)
	}
}

func reachesOf(t *testing.T, v *clubtest.Harness) []coldseam.Reach {
	t.Helper()
	rs, err := v.DB.Reaches(t.Context())
	require.NoError(t, err)
	return rs
}

// TestWeekendOutlook goes out on Thursday evening to those who asked for it,
// once, about their rivers and in their units.
func TestWeekendOutlook(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	v.Join(t, "yes@h.example", coldseam.Preferences{Outlook: true, Units: "metric",
		Reaches: []coldseam.ReachID{"tamsen-bend"}})
	v.Join(t, "no@h.example", coldseam.Preferences{})
	thursday := clubtest.Saturday.Add(5).In(env.Zone("America/Chicago"))
	for _, at := range []time.Duration{-5 * time.Hour, 16*time.Hour + 59*time.Minute, 17 * time.Hour, 17*time.Hour +
		time.Minute, 20 * time.Hour, 21 * time.Hour, 41 * time.Hour} {
		v.Clock.Forward(thursday.Add(at))
		require.NoError(t, v.Mail.QueueOutlooks(t.Context(), v.Now()))
	}
	require.Zero(t, v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'outlook'`),
		"no brief of these days: nothing to tell")

	again := clubtest.NewReady(t, nil)
	again.Join(t, "yes@h.example", coldseam.Preferences{Outlook: true, Units: "metric",
		Reaches: []coldseam.ReachID{"tamsen-bend"}})
	again.Join(t, "no@h.example", coldseam.Preferences{})
	b := tomorrow(coldseam.Go, thursday.Add(5*time.Hour))
	b.Day = clubtest.Saturday.Add(5)
	b.Next = nil
	for i := 1; i <= 4; i++ {
		b.Next = append(b.Next, coldseam.DayOdds{
			Day:     b.Day.Add(i),
			Odds:    .1 * float64(i+2),
			OddsOK:  true,
			Verdict: coldseam.TossUp,
			WaterC:  [3]float64{4, 5, 6},
		})
	}
	_, err := again.DB.SaveBrief(t.Context(), b)
	require.NoError(t, err)

	for _, at := range []time.Duration{-5 * time.Hour, 16*time.Hour + 59*time.Minute, 17 * time.Hour, 17*time.Hour +
		time.Minute, 20 * time.Hour} {
		again.Clock.Forward(thursday.Add(at))
		require.NoError(t, again.Mail.QueueOutlooks(t.Context(), again.Now()))
		again.SendAll(t)
		want := 0
		if at >= 17*time.Hour {
			want = 1
		}
		require.Equal(t, want, len(again.Messages(t)["yes@h.example"]), fmt.Sprint(at))
	}

	got := again.Messages(t)
	require.Len(t, got, 1)
	require.Equal(t, "Weekend, good morning: Tamsen Sat 4 in 10, Sun 5 in 10",
		clubtest.Subject(t, got["yes@h.example"][0]))
	require.Contains(t, clubtest.Text(t, got["yes@h.example"][0]), "water 5.0C")
}

// TestSeasonPause: when the river was too warm for five mornings one note goes
// out, the morning mail rests, and it comes back when the river is cold again.
func TestSeasonPause(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	id := v.Join(t, "one@h.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}, SendAt: "04:45"})
	save := func(d coldseam.Date, c float64) {
		b := tomorrow(coldseam.Go, d.In(env.Zone("America/Chicago")).Add(4*time.Hour+40*time.Minute))
		b.Day, b.Temp.WindowOK, b.Temp.Window = d, true, [3]float64{c - 1, c, c + 1}
		b.GoodUntil = d.In(env.Zone(b.Zone)).Add(10 * time.Hour)
		b.Windows[0].Start, b.Windows[0].End = d.In(env.Zone(b.Zone)).Add(6*time.Hour), b.GoodUntil
		_, err := v.DB.SaveBrief(t.Context(), b)
		require.NoError(t, err)
	}

	first := clubtest.Saturday.Add(1)
	morning := func(n int, c float64) map[string]int {
		save(first.Add(n), c)
		v.Clock.Forward(first.Add(n).In(env.Zone("America/Chicago")).Add(4*time.Hour + 46*time.Minute))
		_, _, err := v.Mail.QueueMornings(t.Context(), v.Now())
		require.NoError(t, err)
		v.SendAll(t)
		out := map[string]int{}
		for _, k := range []string{"morning", "pause"} {
			out[k] = v.Count(t,
				`SELECT count(*) FROM coldseam.outbox WHERE subscriber_id = $1 AND kind = $2 AND state = 'sent'`, id, k)
		}
		return out
	}

	for n := range 4 {
		require.Equal(t, map[string]int{"morning": n + 1, "pause": 0}, morning(n, 15))
	}
	for n := 4; n < 8; n++ {
		require.Equal(t, map[string]int{"morning": 4, "pause": 1}, morning(n, 15), "one note, then rest")
	}
	require.Equal(t, map[string]int{"morning": 5, "pause": 1}, morning(8, 11), "cold again")
	for n := 9; n < 14; n++ {
		morning(n, 15)
	}
	require.Equal(t, 2, morning(14, 15)["pause"], "the next warm spell has its own note")
}

// TestSilentGaugeIsTold: before the morning the admin hears of gauges past
// their limit, in one mail a day.
func TestSilentGaugeIsTold(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	for m := 30; m < 40; m++ {
		v.Clock.Forward(clubtest.MorningAt(4, m))
		require.NoError(t, v.Mail.Watch(t.Context(), v.Now()))
	}
	v.SendAll(t)
	got := v.Messages(t)[v.Config.Club.AdminEmail]
	require.Len(t, got, 1)
	words := strings.Join(strings.Fields(clubtest.Text(t, got[0])), " ")
	require.Contains(t, words, "gauge silent", "the Brandt's gauge of the demo is stale")
	require.Contains(t, words, "not a safety clearance")
}

// A series that ended beside a live one is no silence; rows without a value are.
func TestSilenceIsOfValues(t *testing.T) {
	t.Parallel()
	const live = `SELECT series_id FROM coldseam.series WHERE site_id = 'northgauge:NG-1001' AND param = 'discharge' AND stat = 'instant' AND series_ref <> 'old'`

	for _, c := range []struct {
		name, change string
		silent       bool
	}{
		{"as it is", `SELECT 1`, false},
		{"new rows without a value", `UPDATE coldseam.observation SET value = NULL, flags = flags | ` +
			strconv.Itoa(int(coldseam.Missing)) +
			` WHERE valid_at > $1::timestamptz - interval '12 h' AND series_id IN (` + live + `)`, true},
		{"flagged as failed", `UPDATE coldseam.observation SET flags = flags | ` + strconv.Itoa(int(coldseam.QCFail)) +
			` WHERE valid_at > $1::timestamptz - interval '12 h' AND series_id IN (` + live + `)`, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			ctx := t.Context()
			v := clubtest.New(t, nil)
			_, err := v.Feeds.FetchAll(ctx)
			require.NoError(t, err)
			retired, _, err := coldseam.NewSeries(coldseam.SeriesKey{
				Site:      "northgauge:NG-1001",
				Param:     coldseam.Discharge,
				Stat:      coldseam.Instant,
				Provider:  "northgauge",
				SeriesRef: "old",
			},
				[]coldseam.Observation{{At: v.Now().Add(-60 * 24 * time.Hour), KnownAt: v.Now(), Value: 40}})
			require.NoError(t, err)
			_, _, err = v.DB.UpsertSeries(ctx, 0, []coldseam.Series{retired})
			require.NoError(t, err)

			args := []any{v.Now()}
			if c.change == `SELECT 1` {
				args = nil
			}
			_, err = v.DB.Pool().Exec(ctx, c.change, args...)
			require.NoError(t, err)
			v.Clock.Forward(clubtest.MorningAt(4, 31))
			require.NoError(t, v.Mail.Watch(ctx, v.Now()))
			told := v.Count(t,
				`SELECT count(*) FROM coldseam.outbox WHERE kind = 'silent' AND convert_from(payload, 'UTF8') LIKE '%Tamsen, %'`)
			require.Equal(t, c.silent, told == 1)
		})
	}
}
