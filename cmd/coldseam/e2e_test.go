package main

import (
	"context"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/ingest/simagency"
)

// The same story as the demo, with the clock fixed on an April morning.
func TestMorningFromGaugeToMail(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	v.Join(t, "all@club.example.org", coldseam.Preferences{})
	v.Join(t, "one@club.example.org", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	v.Join(t, "two@club.example.org",
		coldseam.Preferences{Reaches: []coldseam.ReachID{"brandt-ledge", "hallam-sandbar"}, Units: "metric"})
	v.History(t)

	// Fetched again, nothing is new; a correction keeps both versions.
	again, err := v.Feeds.FetchAll(ctx)
	require.NoError(t, err)
	require.Zero(t, again.Added)
	require.Zero(t, again.Revised)
	before := v.Now()
	v.Clock.Forward(before.Add(time.Second))
	v.Agency.Revise()
	later, err := v.Feeds.FetchAll(ctx)
	require.NoError(t, err)
	require.Positive(t, later.Revised)
	old, err := v.DB.History(ctx, "northgauge:NG-1001", coldseam.Discharge, coldseam.Instant, before.Add(-72*time.Hour),
		before, before)
	require.NoError(t, err)
	now, err := v.DB.History(ctx, "northgauge:NG-1001", coldseam.Discharge, coldseam.Instant, before.Add(-72*time.Hour),
		before, v.Now())
	require.NoError(t, err)
	require.Equal(t, len(old.Obs), len(now.Obs))
	changed := 0
	for i := range old.Obs {
		if old.Obs[i].Value != now.Obs[i].Value {
			changed++
		}
	}
	require.Positive(t, changed, "the correction is seen only by who asks after it came")

	briefs, err := v.Morning.MakeAll(ctx, clubtest.Saturday)
	require.NoError(t, err)
	verdicts := map[coldseam.ReachID]coldseam.Brief{}
	for _, b := range briefs {
		verdicts[b.Reach] = b
	}
	tamsen := verdicts["tamsen-bend"]
	require.Contains(t, []coldseam.Verdict{coldseam.Go, coldseam.TossUp}, tamsen.Verdict)
	require.Equal(t, 0.25, tamsen.Jig[0].TieOz)
	require.Equal(t, coldseam.Stop, verdicts["hallam-sandbar"].Verdict)
	require.Equal(t, coldseam.NoCall, verdicts["brandt-ledge"].Verdict)
	require.Equal(t, "discharge_stale", verdicts["brandt-ledge"].Reasons[0].Code)
	require.NotEmpty(t, tamsen.Crossings)
	require.True(t, tamsen.Run.Active)

	v.Send(t, "04:45")
	got := v.Messages(t)
	require.Len(t, got, 3)
	for _, ms := range got {
		require.Len(t, ms, 1)
	}
	one := got["one@club.example.org"][0]
	require.Regexp(t, `^(GO|TOSS-UP) Tamsen Sat, good morning \d in 10, 42F`, clubtest.Subject(t, one))
	body := clubtest.Text(t, one)
	require.Contains(t, body, "JIG    tie 1/4 oz")
	require.Contains(t, body, "This is not a safety clearance")
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	_, shown, found := strings.Cut(string(readme), "```\nSubject: ")
	require.True(t, found)
	shown, _, _ = strings.Cut(shown, "MADE ") // whose minute differs
	require.Equal(t, shown, clubtest.Subject(t, one)+"\n\n"+strings.Split(body, "MADE ")[0],
		"the mail of the README is the demo's")
	two := clubtest.Text(t, got["two@club.example.org"][0])
	require.Contains(t, two, "STOP Hallam Fork")
	require.Contains(t, two, "NO CALL Brandt")
	require.Contains(t, two, "m3/s")
	require.NotRegexp(t, `\bin 10\b`, two)

	// The same morning once more: nothing.
	v.Send(t, "05:00")
	require.Equal(t, 3, v.Sink.Count())

	// No address, no token in the log.
	v.Mu.Lock()
	defer v.Mu.Unlock()
	require.NotContains(t, v.Output.String(), "club.example.org\"")
	require.NotContains(t, v.Output.String(), "@")
}

// One dead service takes its own part away and nothing else.
func TestFailingWeatherIsNoCallAndTheOthersGoOn(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	v := clubtest.NewReady(t, nil)
	v.Clock.Forward(democlub.Start.Add(5 * time.Minute)) // past the making of the ready town
	_, err := v.DB.Pool().Exec(ctx, `DELETE FROM coldseam.forecast`)
	require.NoError(t, err)
	v.Join(t, "all@club.example.org", coldseam.Preferences{})

	v.Agency.ScriptForever("/edr/", simagency.Step{Status: 500})
	v.Feeds.Fetcher.RetryWait = time.Millisecond
	tally, err := v.Feeds.FetchAll(ctx)
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.Equal(t, 1, tally.Failed)
	require.Greater(t, tally.Feeds, 4, "the other feeds were asked all the same")
	briefs, err := v.Morning.MakeAll(ctx, clubtest.Saturday)
	require.NoError(t, err)
	require.Len(t, briefs, 3)

	for _, b := range briefs {
		if b.Reach == "tamsen-bend" {
			require.Equal(t, coldseam.NoCall, b.Verdict)
			codes := []string{}
			for _, r := range b.Reasons {
				codes = append(codes, r.Code)
			}
			require.True(t, strings.Contains(strings.Join(codes, " "), "weather"), codes)
		}
	}

	v.Send(t, "04:45")
	require.Equal(t, 1, v.Sink.Count())
	body := clubtest.Text(t, v.Messages(t)["all@club.example.org"][0])
	require.Contains(t, body, "This is not a go")
}
