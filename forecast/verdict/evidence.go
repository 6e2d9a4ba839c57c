package verdict

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"example.org/coldseam"
)

// EvidenceOf answers whether mornings fished better where the word was better.
// Only days with an outcome count. rng is the source of the bootstrap.
func EvidenceOf(days []Resolved, rng *rand.Rand) coldseam.Evidence {
	e := coldseam.Evidence{Words: map[string]coldseam.Share{}}
	n, good := map[coldseam.Verdict]int{}, map[coldseam.Verdict]int{}
	for _, d := range days {
		if d.Known {
			n[d.Verdict]++
			good[d.Verdict] += count(d.Good)
		}
	}
	for _, v := range []coldseam.Verdict{coldseam.Go, coldseam.TossUp, coldseam.Stay} {
		e.Words[v.String()] = share(good[v], n[v])
	}

	e.N = n[coldseam.Go] + n[coldseam.Stay]
	if e.N < coldseam.MinEvidence {
		return e
	}
	gap, ok := estimate(days, func(days []Resolved) float64 {
		var n, good [coldseam.Go + 1]int
		for _, d := range days {
			if d.Known && (d.Verdict == coldseam.Go || d.Verdict == coldseam.Stay) {
				n[d.Verdict]++
				good[d.Verdict] += count(d.Good)
			}
		}
		return float64(good[coldseam.Go])/float64(n[coldseam.Go]) -
			float64(good[coldseam.Stay])/float64(n[coldseam.Stay])
	}, rng)
	e.Gap, e.Enough = gap, ok
	return e
}

// Ranked is how often a score puts a good morning above a poor one, ties half,
// with its 90 % interval; days with a score of NaN are left out. N = 0 where
// there is no pair.
func Ranked(name string, days []Resolved, score func(Resolved) float64, rng *rand.Rand) coldseam.Ranking {
	var scored []Resolved
	for _, d := range days {
		if d.Odds = score(d); d.Known && !math.IsNaN(d.Odds) {
			scored = append(scored, d)
		}
	}

	r := coldseam.Ranking{Name: name}
	var ok bool
	r.AUC, ok = estimate(scored, func(days []Resolved) float64 {
		slices.SortFunc(days, func(a, b Resolved) int { return cmp.Compare(a.Odds, b.Odds) })
		var sum, good, poor float64 // of the days ranked lower
		for i := 0; i < len(days); {
			var g, p float64 // of equal scores
			for at := days[i].Odds; i < len(days) && days[i].Odds == at; i++ {
				if days[i].Good {
					g++
				} else {
					p++
				}
			}
			sum += g * (poor + p/2)
			good, poor = good+g, poor+p
		}
		return sum / (good * poor)
	}, rng)
	if ok {
		r.N = len(scored)
	}
	return r
}

// dayOfYearSD is the width in days over which other years speak for a date
// [proposal].
const dayOfYearSD = 7.

// DayOfYear is the share of good mornings at a date in the other years; NaN
// without any within two months.
func DayOfYear(days []Resolved) func(coldseam.Date) float64 {
	return func(at coldseam.Date) float64 {
		sum, n := 0.0, 0.0
		for _, d := range days {
			same := d.Day
			same.Year = at.Year
			gap := same.Sub(at)
			if !d.Known || d.Day.Year == at.Year || gap < -60 || gap > 60 {
				continue
			}
			w := math.Exp(-.5 * math.Pow(float64(gap)/dayOfYearSD, 2))
			n += w
			sum += w * float64(count(d.Good))
		}
		return sum / n
	}
}

// share is a proportion with its 90 % interval after Wilson (1927)
// [common practice].
func share(good, n int) coldseam.Share {
	const z = 1.6449
	s := coldseam.Share{Good: good, N: n}
	if n == 0 {
		return s
	}
	m, p := float64(n), float64(good)/float64(n)
	mid, half := (p+z*z/(2*m))/(1+z*z/m), z/(1+z*z/m)*math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	s.Lo, s.Hi = max(mid-half, 0), min(mid+half, 1)
	return s
}

// estimate is a statistic with its 90 % interval over resampled weeks, as
// neighbouring days share their weather; ok is false where it has no value.
func estimate(days []Resolved, stat func([]Resolved) float64, rng *rand.Rand) (e coldseam.Estimate, ok bool) {
	if e.Value = stat(slices.Clone(days)); !finite(e.Value) {
		return coldseam.Estimate{}, false
	}
	at := map[int]int{}
	var weeks [][]Resolved
	for _, d := range days {
		w := weekOf(d.Day)
		if _, ok := at[w]; !ok {
			at[w] = len(weeks)
			weeks = append(weeks, nil)
		}
		weeks[at[w]] = append(weeks[at[w]], d)
	}

	var x, drawn = []float64{}, []Resolved{}
	for range replicates {
		drawn = drawn[:0]
		for range weeks {
			drawn = append(drawn, weeks[rng.IntN(len(weeks))]...)
		}
		if v := stat(drawn); finite(v) { // a draw may lack one of the words
			x = append(x, v)
		}
	}
	e.Lo, e.Hi = coldseam.Quantile(x, .05), coldseam.Quantile(x, .95)
	return e, finite(e.Lo)
}

func weekOf(d coldseam.Date) int { return int(d.UTC().Unix() / (7 * 86400)) }

func count(b bool) int {
	if b {
		return 1
	}
	return 0
}
