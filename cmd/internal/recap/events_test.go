package recap

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/score"
)

func TestCrossedWithin(t *testing.T) {
	t.Parallel()
	d := coldseam.Date{Year: 2026, Month: 4, Day: 1}
	frame := func(x ...float64) coldseam.Days { return coldseam.Days{First: d, WaterC: x} }

	for _, c := range []struct {
		name    string
		water   []float64 // from the issue day on
		h       int
		hit, ok bool
	}{
		{"crossed on day 2", []float64{4, 4, 5, 5, 5, 5, 5, 5, 4}, 3, true, true},
		{"back after four days", []float64{4, 5, 5, 5, 5, 4, 4, 4, 4}, 3, false, true},
		{"begun on day 3, held to day 7", []float64{4, 4, 4, 5, 5, 5, 5, 5}, 3, true, true},
		{"begun on day 4", []float64{4, 4, 4, 4, 5, 5, 5, 5, 5}, 3, false, true},
		{"not measured to the end", []float64{4, 4, 4, 5, 5, 5}, 3, false, false},
		{"a gap", []float64{4, 4, math.NaN(), 5, 5, 5, 5, 5, 5}, 3, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			hit, ok := crossedWithin(frame(c.water...), d, 4.4, true, c.h)
			require.Equal(t, [2]bool{c.hit, c.ok}, [2]bool{hit, ok})
		})
	}
}

func TestHighestWater(t *testing.T) {
	t.Parallel()
	from := time.Date(2026, 4, 18, 9, 0, 0, 0, time.UTC)
	var obs []coldseam.Observation
	for h := -6; h <= 10; h++ {
		v := 100.
		if h >= 4 {
			v = 140
		}
		obs = append(obs, coldseam.Observation{At: from.Add(time.Duration(h) * time.Hour), Value: v})
	}

	top, steep, ok := highest(obs, from, from.Add(10*time.Hour))
	require.True(t, ok)
	require.InDelta(t, 140, top, 1e-9)
	require.InDelta(t, .4, steep, 1e-9)
	_, steep, ok = highest(obs, from, from.Add(3*time.Hour))
	require.True(t, ok)
	require.Zero(t, steep, "a rise after the time does not count")
	_, _, ok = highest(append(append([]coldseam.Observation(nil), obs[:8]...), obs[12:]...), from,
		from.Add(10*time.Hour))
	require.False(t, ok, "four hours were not read")
}

func TestEventWords(t *testing.T) {
	t.Parallel()
	e := issuedEvents{What: "rise", Pairs: []score.Pair{{P: .7, Hit: true}, {P: .2}, {P: .1}}}
	require.Equal(t, "rise: of 3 forecasts 1 came true, 1.0 were expected; Brier 0.047, the usual share 0.222",
		e.words())
	require.Empty(t, issuedEvents{}.words())
}
