package verdict

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/score"
)

func TestWorthCounts(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2026, Month: 3, Day: 20}
	var days []Resolved
	add := func(v coldseam.Verdict, known, good bool) {
		days = append(days, Resolved{Day: day.Add(len(days)), Verdict: v, Known: known, Good: good})
	}

	for range 11 {
		add(coldseam.Go, true, true)
	}
	for range 3 {
		add(coldseam.Go, true, false)
	}
	for range 6 {
		add(coldseam.Stay, true, false)
	}

	add(coldseam.Stop, true, true)
	add(coldseam.Go, false, false)
	m := ScoreValue(days, .4, []Baseline{{Name: "first ten", Fishes: func(d coldseam.Date) bool {
		return d.Before(day.Add(10))
	}}}, rand.New(rand.NewPCG(1, 1)))
	require.InDelta(t, 11*.6-3*.4, m.Net, 1e-9)
	require.InDelta(t, 12*.6-9*.4, m.Baselines[0].Net, 1e-9)
	require.InDelta(t, 10*.6, m.Baselines[1].Net, 1e-9)
	require.Equal(t, 1, m.UnknownGo)
}

// synthetic makes one spring of the invented Tamsen: water with weather of
// several days, a truth drawn from the model's own priors, and a club that
// fishes every other day whatever the word was. It returns the mornings as
// they would have been issued and the log.
func synthetic(t testing.TB, year int, seed uint64,
	water map[coldseam.Date]float64) (days []Resolved, waves []score.Pair) {
	t.Helper()
	sp, err := run.FindSpecies(run.DefaultSpecies(), "walleye")
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(seed, 11))
	jan := coldseam.Date{Year: year, Month: 1, Day: 1}
	const n = 150
	d := coldseam.Days{First: jan, Lat: 45, WaterC: make([]float64, n)}
	front, shift := 0.0, 6*rng.NormFloat64()
	for i := range n {
		front = .85*front + .75*rng.NormFloat64()
		d.WaterC[i] = math.Max(.1, .14*(float64(i)-72-shift)+front)
		water[jan.Add(i)] = d.WaterC[i]
	}

	truth, err := run.Clock(sp, d, run.ClockOptions{Year: year, Draws: 1, Seed: seed + 1000})
	require.NoError(t, err)
	const q, k = 2.2, 1.2
	for i := 70; i < n-11; i += 2 {
		in := run.Input{
			Species:       sp,
			Days:          d.Cut(jan.Add(i - 1)),
			Today:         jan.Add(i),
			Draws:         100,
			Seed:          seed,
			ResidentShare: .15,
		}
		for m := range 20 {
			mr, err := rand.New(rand.NewPCG(seed, uint64(1000*i+m))), 0.0
			path := make([]float64, 4)
			for l := range path {
				err = .8*err + .35*mr.NormFloat64()
				path[l] = math.Max(0, d.WaterC[i+l]+err)
			}
			in.WaterC = append(in.WaterC, path)
		}

		r, err := run.Forecast(in)
		require.NoError(t, err)
		index := make([]float64, len(r.Index))
		for j := range index {
			index[j] = r.Index[j][0]
		}
		odds := 0.0
		for _, x := range index { // two fish or more, negative binomial
			m := 4 * q * x
			none := math.Pow(1+m/k, -k)
			odds += (1 - none - none*m/(1+m/k)) / float64(len(index))
		}

		mu := 4 * q * (truth[i].Index + .15)
		fish := 0
		for lam := mu * gammaOf(rng, k) / k; ; fish++ {
			if lam -= rng.ExpFloat64(); lam < 0 {
				break
			}
		}
		days = append(days, Resolved{
			Day:     jan.Add(i),
			Verdict: coldseam.LineOf(.4, .1).Word(odds),
			Odds:    odds,
			OddsOK:  true,
			Known:   true,
			Good:    fish >= 2,
		})
		waves = append(waves, score.Pair{P: r.State.PWave, Hit: truth[i].PWave == 1})
	}

	return days, waves
}

func gammaOf(rng *rand.Rand, k float64) float64 {
	d := k - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := rng.NormFloat64()
		v := math.Pow(1+c*x, 3)
		if v > 0 && math.Log(rng.Float64()) < .5*x*x+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}

// TestHindcastInTheAnglersMoney is the worked example on a synthetic log: what
// following the word is worth against always going and against a fixed
// calendar, and the wave odds with their base rate.
func TestHindcastInTheAnglersMoney(t *testing.T) {
	t.Parallel()
	var days []Resolved
	var waves []score.Pair
	water := map[coldseam.Date]float64{}
	for y := range 8 {
		d, w := synthetic(t, 2018+y, uint64(100+y), water)
		days, waves = append(days, d...), append(waves, w...)
	}

	april := Baseline{Name: "April only", Fishes: coldseam.DayRange{FromMonth: time.April, FromDay: 1, ToMonth: time.April,
		ToDay: 30}.Contains}
	thumb := RuleOfThumb(func(d coldseam.Date) float64 { return water[d] })
	m := ScoreValue(days, .4, []Baseline{april, thumb}, rand.New(rand.NewPCG(7, 7)))
	t.Logf("net %.1f good trips", m.Net)
	for _, r := range m.Baselines {
		t.Logf("  %s %.1f; gain over it %.1f, 90 %% interval %.1f to %.1f", r.Name, r.Net, m.Net-r.Net, r.Lo, r.Hi)
	}
	require.Greater(t, m.N, 250)

	for _, r := range m.Baselines[:2] {
		require.Greater(t, m.Net, r.Net, r.Name)
	}
	base := 0.0
	for _, w := range waves {
		if w.Hit {
			base += 1 / float64(len(waves))
		}
	}

	b := score.Brier(waves)
	t.Logf("wave odds, synthetic, n %d: Brier %.3f against %.3f for the base rate of %.2f", len(waves), b,
		base*(1-base), base)
	for _, r := range score.Reliability(waves, 5) {
		t.Logf("  said %.2f: came %.2f of %d", r.P, r.Freq, r.N)
	}
	require.Less(t, b, base*(1-base))
}
