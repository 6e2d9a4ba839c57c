package verdict

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// Five anglers on one morning are one morning of the log, and who did not go is
// none.
func TestLogMornings(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2026, Month: 3, Day: 1}
	var trips []coldseam.Trip
	for i := range 5 {
		trips = append(trips, coldseam.Trip{Date: day, Hours: 4, Lines: 1, Fish: i, Angler: string(rune('a' + i))})
	}
	trips = append(trips, coldseam.Trip{Date: day.Add(-1), Hours: 2, Anglers: 2, Fish: 1, Angler: "a"},
		coldseam.Trip{Date: day.Add(1), Hours: 4, Fish: 9, WentNot: true, Angler: "z"})
	m, anglers := LogMornings(trips)
	require.Equal(t, []LogMorning{{day.Add(-1), 1, 4, 1}, {day, 10, 20, 5}}, m)
	require.Equal(t, 5, anglers)
	require.True(t, m[1].Good(.5))
	require.False(t, LogMorning{Fish: 1, Hours: 2, Trips: 2}.Good(.5), "a fish a trip at least")
}

// The mark of a good morning stands still from the first day of a season on.
func TestGoodRateIsFrozen(t *testing.T) {
	t.Parallel()
	var m []LogMorning
	for i := range 25 {
		d := coldseam.Date{Year: 2025 + i/15, Month: 3, Day: 1 + i%15}
		m = append(m, LogMorning{Day: d, Fish: float64(i), Hours: 8, Trips: 1})
	}
	season := coldseam.Date{Year: 2026, Month: 1, Day: 1}
	_, ok := GoodRate(m[:9], season)
	require.False(t, ok, "nine mornings are too few")

	r, ok := GoodRate(m, season)
	require.True(t, ok)
	require.InDelta(t, 8.4/8, r, 1e-12, "of the fifteen before it")
	again, _ := GoodRate(m[:16], season)
	require.InDelta(t, r, again, 0, "whatever the season brings")
	first, _ := GoodRate(m, coldseam.Date{Year: 2025, Month: 1, Day: 1})
	require.InDelta(t, 5.4/8, first, 1e-12, "in the first season of the first ten")

	require.InDelta(t, .7, TargetOf(coldseam.Reach{TargetRate: .7}, m, season), 0, "the admin's own")
	require.InDelta(t, DefaultTarget, TargetOf(coldseam.Reach{}, nil, season), 0)
}

// club is a simulated log of n trips on mornings chosen 3:2:1 by word: good by the
// beliefs, or by a rate alone.
func club(c Centre, n int, rng *rand.Rand, truth func(s float64) float64) []Logged {
	var log []Logged
	for len(log) < n {
		s := .6 * rng.NormFloat64()
		share := 1. / 3
		switch p := c.Odds(s); {
		case p >= c.Thirds[1]:
			share = 1
		case p >= c.Thirds[0]:
			share = 2. / 3
		}
		if rng.Float64() < share {
			log = append(log, Logged{S: s, Phase: Phase(rng.IntN(4)), Good: rng.Float64() < truth(s)})
		}
	}
	return log
}

// The weight of the log in level and shape, and what the rules are worth beside the
// log's own rate, over simulated clubs.
func TestSimulatedClubs(t *testing.T) {
	t.Parallel()
	const clubs = 120
	c := CentreOf(nil)
	for _, r := range []struct {
		trips        int
		level, shape float64
	}{{0, 0, 0}, {10, .56, .09}, {40, .81, .27}, {80, .88, .41}, {150, .91, .54}} {
		level, shape, gain, useless, bias := 0., 0., 0., 0., 0.
		for k := range clubs {
			rng := rand.New(rand.NewPCG(uint64(k), uint64(r.trips)))
			true1 := func(s float64) float64 { return c.Odds(s) }
			flat := func(float64) float64 { return .4 }
			low := func(s float64) float64 { return logistic(c.A + beliefShare*s - .73) } // a rate of about .25
			l := c.fit(club(c, r.trips, rng, true1), false)
			level, shape = level+l.Level/clubs, shape+l.Shape/clubs
			gain += brierGain(c, club(c, r.trips, rng, true1), true1, rng) / clubs
			useless += brierGain(c, club(c, r.trips, rng, flat), flat, rng) / clubs
			bias += biasOf(c, club(c, r.trips, rng, low), low, rng) / clubs
		}
		t.Logf("%3d trips: level %.2f shape %.2f, gain %+.3f, worthless beliefs %+.3f, bias %+.2f", r.trips, level,
			shape, gain, useless, bias)
		require.InDelta(t, r.level, level, .08, "level of %d", r.trips)
		require.InDelta(t, r.shape, shape, .12, "shape of %d", r.trips)
		require.Greater(t, gain, 0., "true beliefs help at %d", r.trips)
		require.Greater(t, useless, -.03)
		if r.trips >= 80 {
			require.Greater(t, useless, -.01, "the log outweighs worthless beliefs")
			require.Less(t, math.Abs(bias), .05, "and their level")
		}
	}
}

// brierGain is what the fit scores better than the log's own rate on new mornings.
func brierGain(c Centre, log []Logged, truth func(float64) float64, rng *rand.Rand) float64 {
	l := c.fit(log, false)
	rate := rateWeight * baseRate
	for _, m := range log {
		if m.Good {
			rate++
		}
	}
	rate /= float64(rateWeight + len(log))
	gain := 0.
	const n = 200
	for _, m := range club(c, n, rng, truth) {
		p, q := l.Odds(m.S, m.Phase, 0), truth(m.S)
		gain += ((rate-q)*(rate-q) - (p-q)*(p-q)) / n
	}
	return gain
}

func biasOf(c Centre, log []Logged, truth func(float64) float64, rng *rand.Rand) float64 {
	l := c.fit(log, false)
	bias := 0.
	const n = 200
	for _, m := range club(c, n, rng, truth) {
		bias += (l.Odds(m.S, m.Phase, 0) - truth(m.S)) / n
	}
	return bias
}

// Beliefs that the log shows to be the wrong way round are left out, and said so;
// true ones stay.
func TestWorthlessBeliefsAreLeftOut(t *testing.T) {
	t.Parallel()
	c := CentreOf(nil)
	rng := rand.New(rand.NewPCG(3, 4))
	against := func(s float64) float64 { return c.Odds(-2 * s) }
	l := c.Learn(club(c, 100, rng, against))
	require.True(t, l.RateOnly)
	require.InDelta(t, l.Odds(-1, PhaseRun, 0), l.Odds(1, PhaseRun, 0), .02, "conditions move nothing")
	require.Equal(t, "odds_rate", l.Note().Code)
	require.False(t, c.Learn(club(c, 79, rng, against)).RateOnly, "not before 80")

	along := c.Learn(club(c, 150, rng, func(s float64) float64 { return c.Odds(2 * s) }))
	require.False(t, along.RateOnly)
	require.Greater(t, along.Odds(1, PhaseRun, 0), along.Odds(-1, PhaseRun, 0)+.2)
	for n, code := range map[int]string{12: "odds_level", 60: "odds_level_own", 140: "odds_own"} {
		require.Equal(t, code, Learnt{N: n}.Note().Code)
	}
}
