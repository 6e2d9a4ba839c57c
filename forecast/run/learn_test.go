package run

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// secondSpring warms later and more steadily than twoWaves.
func secondSpring(day int) float64 {
	return clip(1+.13*float64(day-82)+.8*math.Sin(float64(day)/3.5), .3, 12)
}

// truth is one made-up season: a draw of the model's own parameters and noise
// on a given water, with a catchability.
type truth struct {
	par   draw
	index []float64 // by day
	spent []float64
	arr   []float64
	thru  []float64
	wave  []bool
	mid   int
	q     float64
}

func season1(t testing.TB, water func(int) float64, rng *rand.Rand) truth {
	t.Helper()
	sp := walleye(t)
	d := at45(150, water)
	dr := sp.drives(45, d.First, d.WaterC, nil, nil, 0)
	w := truth{par: sp.sample(rng, Prior{SD: sp.DeltaSD}), q: 2 * math.Exp(.5*rng.NormFloat64()), mid: 150}
	var st state
	for i := range dr {
		sp.step(&w.par, &st, &dr[i], sp.Sigma, rng.NormFloat64())
		tot := st.totals(&sp)
		w.index, w.spent = append(w.index, tot.index()), append(w.spent, tot.spent())
		w.arr, w.thru = append(w.arr, tot.arrived), append(w.thru, tot.through)
		w.wave = append(w.wave, st.wave)
		if tot.spawned >= .5 && w.mid == 150 {
			w.mid = i
		}
	}
	return w
}

// logTrips makes n trips on days between the first fish and the end.
func (w truth) logTrips(n int, rng *rand.Rand) []coldseam.Trip {
	lo, hi := 0, len(w.arr)-1
	for lo < hi && w.arr[lo] < .02 {
		lo++
	}
	for i := len(w.thru) - 1; i > lo && w.thru[i] > .9; i-- {
		hi = i
	}
	jan := coldseam.Date{Year: 2023, Month: 1, Day: 1}
	var out []coldseam.Trip

	for range n {
		i := lo + rng.IntN(max(hi-lo, 1))
		t := coldseam.Trip{Date: jan.Add(i), Hours: 4, Lines: 2, Anglers: 2, Species: "walleye"}
		mu := 8 * w.q * (w.index[i] + DefaultResident) * math.Exp(partySlope*math.Log(2)+.5*rng.NormFloat64())
		t.Fish = poisson(rng, mu*gamma(rng, 1.2)/1.2)
		t.LookedAt = min(t.Fish, 4)
		for range t.LookedAt {
			if rng.Float64() < w.spent[i] {
				t.Spent++
			}
		}
		out = append(out, t)
	}

	return out
}

func poisson(rng *rand.Rand, mu float64) int {
	n, sum := 0, rng.ExpFloat64()
	for sum < mu {
		n++
		sum += rng.ExpFloat64()
	}
	return n
}

// gamma draws from Gamma(k, 1) by Marsaglia and Tsang.
func gamma(rng *rand.Rand, k float64) float64 {
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

// midpoints runs the particles of a filter to the end of the season and
// returns the weighted mean and sd of the spawn midpoint.
func midpoints(t testing.TB, in LearnInput) (mean, sd, deltaSD float64) {
	t.Helper()
	w, err := spring(in.Days, nil, in.Today, in.Species.Tb)
	require.NoError(t, err)
	f := newFilter(in, w)
	for _, x := range in.season(w) {
		f.advance(x.Date.Sub(w.first) + 1)
		f.weigh(x)
		f.normalise()
	}

	_, deltaSD = f.Delta()
	mid := make([]float64, len(f.par))
	for j := range f.par {
		var st state
		mid[j] = float64(len(f.dr))
		for i := range f.dr {
			f.sp.step(&f.par[j], &st, &f.dr[i], f.sp.Sigma, f.z[j][i])
			if st.totals(f.sp).spawned >= .5 {
				mid[j] = float64(i)
				break
			}
		}
		mean += f.weight[j] * mid[j]
	}

	for j, m := range mid {
		sd += f.weight[j] * (m - mean) * (m - mean)
	}
	return mean, math.Sqrt(sd), deltaSD
}

func learnInput(t testing.TB, water func(int) float64, trips []coldseam.Trip, n int) LearnInput {
	t.Helper()
	d := at45(150, water)
	return LearnInput{Species: walleye(t), Days: d, Today: d.First.Add(150), Trips: trips, Particles: n, Seed: 7}
}

func TestFortyTripsSharpenTheMidpoint(t *testing.T) {
	t.Parallel()
	rng := stream(7, 1)
	ratio, n := 0.0, 0
	for _, water := range []func(int) float64{twoWaves, secondSpring} {
		_, prior, _ := midpoints(t, learnInput(t, water, nil, 300))
		for range 7 {
			w := season1(t, water, rng)
			_, post, _ := midpoints(t, learnInput(t, water, w.logTrips(40, rng), 300))
			ratio += post / prior
			n++
		}
	}
	require.Less(t, ratio/float64(n), .80, "mean posterior sd over prior sd")
	require.Greater(t, ratio/float64(n), .40, "a log cannot teach that much")
	t.Logf("sd of the spawn midpoint after 40 trips: %.0f %% of the prior", 100*ratio/float64(n))
}

func TestZeroTripsLowerTheCatchability(t *testing.T) {
	t.Parallel()
	rng := stream(7, 2)
	w := season1(t, twoWaves, rng)
	trips := w.logTrips(10, rng)
	q := func(trips []coldseam.Trip) float64 {
		l, err := Learn(learnInput(t, twoWaves, trips, 400))
		require.NoError(t, err)
		p, k := l.Catch()
		require.Greater(t, k, .5)
		sum, mean := 0.0, 0.0
		for i, q := range QGrid() {
			sum += p[i]
			mean += p[i] * math.Log(q)
		}
		require.InDelta(t, 1, sum, 1e-9)
		return mean
	}
	none := q(nil)

	some := q(trips)
	var zeros []coldseam.Trip
	for _, x := range trips {
		x.Fish, x.LookedAt, x.Spent = 0, 0, 0
		zeros = append(zeros, x)
	}

	require.Less(t, q(zeros), none)
	require.Less(t, q(append(trips, zeros...)), some)
	noTrip := append([]coldseam.Trip(nil), trips...)
	for i := range 20 {
		noTrip = append(noTrip, coldseam.Trip{Date: trips[0].Date.Add(i), WentNot: true, Hours: 4})
	}
	require.InDelta(t, some, q(noTrip), 1e-12, "days without a trip change nothing")
	require.InDelta(t, math.Log(math.Sqrt(qMin*qMax)), none, 1e-6, "the prior is flat in the logarithm")
}

func TestLearnFeedsTheForecast(t *testing.T) {
	t.Parallel()
	in := morning(t, 95, 20)
	var trips []coldseam.Trip
	for i := range 8 {
		trips = append(trips, coldseam.Trip{
			Date:     in.Today.Add(-9 + i),
			Hours:    4,
			Lines:    1,
			Fish:     6,
			Species:  "walleye",
			LookedAt: 3,
			Spent:    0,
		})
	}

	trips = append(trips, coldseam.Trip{Date: in.Today, Hours: 4, Lines: 1, Fish: 99},
		coldseam.Trip{Date: in.Today.Add(-1), Hours: 3, Species: "sauger", Fish: 9})
	l, err := Learn(LearnInput{
		Species:   in.Species,
		Days:      in.Days,
		Today:     in.Today,
		Trips:     trips,
		Particles: 500,
		Seed:      7,
	})
	require.NoError(t, err)
	require.Equal(t, 8, l.Trips, "neither today's trip nor another species")
	require.InDelta(t, 32, l.LineHours, 1e-9)
	in.Learnt = l
	r, err := Forecast(in)
	require.NoError(t, err)
	require.Len(t, r.QWeights, 500)
	require.Greater(t, r.K, .5)

	plain := morning(t, 95, 20)
	p, err := Forecast(plain)
	require.NoError(t, err)
	require.NotEqual(t, p.State.Arrived, r.State.Arrived)
	in.Learnt.year--
	r, err = Forecast(in)
	require.NoError(t, err)
	require.Equal(t, p.State, r.State, "last year's particles are not this year's")
}

func TestLearnIsReproducible(t *testing.T) {
	t.Parallel()
	rng := stream(7, 3)
	trips := season1(t, twoWaves, rng).logTrips(200, rng)
	a, err := Learn(learnInput(t, twoWaves, trips, 300))
	require.NoError(t, err)
	b, err := Learn(learnInput(t, twoWaves, trips, 300))
	require.NoError(t, err)
	require.Equal(t, a, b)
	require.Positive(t, a.Resampled)
}

func TestCarry(t *testing.T) {
	t.Parallel()
	require.InDelta(t, .76, carryWeight(1), .005)
	require.InDelta(t, .91, carryWeight(3), .005)
	p, q := Carry(nil)
	require.Equal(t, Prior{SD: .45}, p)
	require.InDelta(t, 1.0/15, q[3], 1e-12)
	one := make([]float64, qPoints)
	one[4] = 1
	p, q = Carry([]Memory{{Trips: 20, Delta: .5, Q: one}, {Trips: 0, Delta: -9}})
	require.InDelta(t, .5*carryWeight(1), p.Mean, 1e-12)
	require.Less(t, p.SD, .45)
	require.Greater(t, p.SD, .25)
	require.InDelta(t, .8+.2/15, q[4], 1e-12)
}

// BenchmarkLogTable prints what a log can teach: run it with
// -bench LogTable -benchtime 1x -v. Perfect weather, 1000 particles, two
// springs times 20 truths.
func BenchmarkLogTable(b *testing.B) {
	for b.Loop() {
		for _, n := range []int{0, 5, 10, 20, 40} {
			rng := stream(7, 1)
			var sds, deltas []float64
			for _, water := range []func(int) float64{twoWaves, secondSpring} {
				for range 20 {
					w := season1(b, water, rng)
					_, sd, dsd := midpoints(b, learnInput(b, water, w.logTrips(n, rng), 1000))
					sds, deltas = append(sds, sd), append(deltas, dsd)
				}
			}
			sort.Float64s(sds)
			b.Logf("%2d trips: sd of the spawn midpoint %.1f d, of delta %.2f", n, mean(sds), mean(deltas))
		}
	}
}

func BenchmarkLearn(b *testing.B) {
	rng := stream(7, 3)
	in := learnInput(b, twoWaves, season1(b, twoWaves, rng).logTrips(40, rng), 1000)
	for b.Loop() {
		_, err := Learn(in)
		require.NoError(b, err)
	}
}

// carryWeight is the weight on a river's own n logged seasons.
func carryWeight(n int) float64 {
	return float64(n) / (float64(n) + (deltaYearSD/deltaRiverSD)*(deltaYearSD/deltaRiverSD))
}
