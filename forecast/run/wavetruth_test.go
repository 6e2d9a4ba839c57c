package run

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/score"
)

func TestLogWaves(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2026, Month: 3, Day: 20}
	trip := func(d, fish int, hours float64) coldseam.Trip {
		return coldseam.Trip{Date: day.Add(d), Hours: hours, Lines: 2, Fish: fish, Species: "walleye"}
	}
	trips := []coldseam.Trip{trip(0, 4, 4), trip(1, 3, 4), trip(2, 30, 4), trip(3, 9, 1), trip(4, 20, 4)}
	got := LogWaves(trips, "walleye")
	require.Len(t, got, 3, "day 0 has nothing before it, day 3 too few hours")
	require.Equal(t, day.Add(1), got[0].Day)
	require.False(t, got[0].Wave)
	require.True(t, got[1].Wave)
	require.InDelta(t, 30.5/8/(7.5/16), got[1].Ratio, 1e-9)
	require.False(t, got[2].Wave, "high, but not against the week before")
	require.Empty(t, LogWaves(trips, "sauger"))
	_, few := rateRatio(1, 8, 0, 8)
	require.False(t, few, "one fish after a blank week is no wave")
}

// battleCreek reads the daily upstream spring-run counts, January to July.
func battleCreek(t *testing.T) map[int][]float64 {
	t.Helper()
	out := map[int][]float64{}
	for _, r := range readAll(t, realData(t, "biology", "battle_creek_spring_run_passage_raw.csv")) {
		d, err := coldseam.ParseDate(r[0])
		require.NoError(t, err)
		n, err := strconv.ParseFloat(r[2], 64)
		if err != nil || r[3] != "spring" || r[5] != "up" || d.Month > 7 {
			continue
		}
		if out[d.Year] == nil {
			out[d.Year] = make([]float64, 212)
		}
		out[d.Year][d.YearDay()-1] += n
	}
	return out
}

// TestWaveNoiseOnBattleCreek scores the noise of the clock alone on the one
// real series of daily counts: Chinook salmon, another species, and no water
// temperature. The odds of a wave tomorrow come from today's departure from
// the week's level by the clock's own persistence (rho, sigma); they are held
// against the base rate of the other years. Nothing here says how good walleye
// waves are forecast.
func TestWaveNoiseOnBattleCreek(t *testing.T) {
	t.Parallel()
	sp := walleye(t)
	type day struct {
		year int
		p    float64
		hit  bool
	}
	var days []day

	for y, c := range battleCreek(t) {
		total := 0.0
		for _, v := range c {
			total += v
		}
		if total < 60 {
			continue
		}

		for i := 8; i < len(c)-1; i++ {
			week := mean(c[i-6:i+1]) + .25
			if week < 1 {
				continue
			}
			dev := math.Log((c[i] + .5) / (week + .5))
			// The next day's level given today's departure, then a count's own
			// spread: P(count > 2 x the week) by a log-normal of both.
			mu := sp.Rho * dev
			sd := math.Sqrt(sp.Sigma*sp.Sigma*(1-sp.Rho*sp.Rho) + 1/week)
			p := 1 - phi((math.Log(waveRatio)-mu+sd*sd/2)/sd)
			_, hit := rateRatio(c[i+1], 1, 7*week, 7)
			days = append(days, day{y, clip(p, .02, .98), hit})
		}
	}

	var pairs, base []score.Pair
	for _, d := range days {
		n, h := 0.0, 0.0
		for _, o := range days {
			if o.year != d.year {
				n++
				if o.hit {
					h++
				}
			}
		}
		pairs = append(pairs, score.Pair{P: d.p, Hit: d.hit})
		base = append(base, score.Pair{P: h / n, Hit: d.hit})
	}

	require.Greater(t, len(pairs), 300)
	b, ref := score.Brier(pairs), score.Brier(base)
	t.Logf("another species (Chinook, Battle Creek), noise part alone, n %d days: Brier %.3f against %.3f for the base rate of other years", len(pairs), b, ref)
	hits := 0
	for _, r := range score.Reliability(pairs, 5) {
		t.Logf("  said %.2f: came %.2f of %d", r.P, r.Freq, r.N)
		hits += int(math.Round(r.Freq * float64(r.N)))
	}

	require.Positive(t, hits)
	require.Less(t, b, 1.15*ref, "the noise part must not be far worse than the base rate")
}

// TestCountsOnBattleCreek: no bin of the wave odds is off by more than .10 with
// 50 days or more, and the shape is that of counted runs.
func TestCountsOnBattleCreek(t *testing.T) {
	t.Parallel()
	first := coldseam.Date{Year: 1998, Month: 1, Day: 1}
	counts := make([]float64, coldseam.Date{Year: 2020, Month: 1, Day: 1}.Sub(first))
	for y, c := range battleCreek(t) {
		copy(counts[coldseam.Date{Year: y, Month: 1, Day: 1}.Sub(first):], c)
	}
	s, err := ScoreCounts(walleye(t), coldseam.Days{First: first, Lat: 40.4}, first, counts)
	require.NoError(t, err)
	t.Logf("%+v", s)
	require.InDelta(t, .16, s.WaveShare, .03)
	for _, b := range s.Bins {
		if b.N >= 50 {
			require.InDelta(t, b.P, b.Freq, .10)
		}
	}
	_, err = ScoreCounts(walleye(t), coldseam.Days{First: first, Lat: 40.4}, first, counts[:400])
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
}
