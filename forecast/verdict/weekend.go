package verdict

import (
	"fmt"
	"math"
	"sort"
	"time"

	"example.org/coldseam"
)

// RiverOdds is one river on one day of the weekend, on the members that all
// the club's rivers share.
type RiverOdds struct {
	Reach   coldseam.ReachID
	Name    string
	Day     coldseam.Date
	Verdict coldseam.Verdict
	PGood   []float64 // trajectories
	Member  []int     // forecast member of each trajectory
	Cost    float64   // (fixed cost + drive cost) / value of a good trip
}

// Ranked is a river's place.
type Ranked struct {
	RiverOdds
	Odds     float64
	OddsOK   bool
	Net      float64 // odds - cost
	Beats    float64 // share of the common members in which it beats the next; NaN for the last
	TooClose bool    // Beats within .4-.6
	Words    string
}

// Rank orders rivers by odds minus cost. Rivers under STOP or NO CALL come
// last, without odds. The overlap with the next river is counted member by
// member, so that a warm front that lifts both does not look like a choice.
func Rank(rivers []RiverOdds) []Ranked {
	out := make([]Ranked, 0, len(rivers))
	for _, r := range rivers {
		k := Ranked{RiverOdds: r, Beats: math.NaN()}
		if r.Verdict.ShowsOdds() && len(r.PGood) > 0 {
			k.Odds, k.OddsOK = average(r.PGood), true
			k.Net = k.Odds - r.Cost
		}
		out = append(out, k)
	}
	sort.SliceStable(out, func(i, j int) bool {
		if out[i].OddsOK != out[j].OddsOK {
			return out[i].OddsOK
		}
		return out[i].OddsOK && out[i].Net > out[j].Net
	})
	for i := range out {
		k := &out[i]
		switch {
		case !k.OddsOK:
			k.Words = k.Verdict.String()
			continue
		case i+1 < len(out) && out[i+1].OddsOK:
			k.Beats = beats(k.RiverOdds, out[i+1].RiverOdds)
			k.TooClose = k.Beats >= .4 && k.Beats <= .6
		}
		k.Words = rankWords(*k, out, i)
	}
	return out
}

func rankWords(k Ranked, all []Ranked, i int) string {
	s := Odds(k.Odds) + " for a good morning"
	switch {
	case math.IsNaN(k.Beats):
	case k.TooClose:
		s += ", too close to " + all[i+1].Name
	default:
		s += ", better than " + all[i+1].Name + " " + Odds(k.Beats)
	}
	return s
}

// beats is the share of common members in which a's odds minus cost exceed
// b's; ties count half.
func beats(a, b RiverOdds) float64 {
	x, y := byMember(a), byMember(b)
	n, sum := 0, 0.0
	for m, v := range x {
		w, ok := y[m]
		if !ok {
			continue
		}
		n++
		switch d := (v - a.Cost) - (w - b.Cost); {
		case d > 1e-12:
			sum++
		case d >= -1e-12:
			sum += .5
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}

func byMember(r RiverOdds) map[int]float64 {
	sum, n := map[int]float64{}, map[int]float64{}
	for i, p := range r.PGood {
		m := i
		if i < len(r.Member) {
			m = r.Member[i]
		}
		sum[m] += p
		n[m]++
	}
	for m := range sum {
		sum[m] /= n[m]
	}
	return sum
}

func average(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(max(len(x), 1))
}

// insteadGain is how much better a later day must be to be named [proposal].
const insteadGain = 0.15

// Instead names the best of the next days when it is clearly better than
// today: "Sunday 6 in 10 against 3 in 10 today". "" when it is not, or when
// today has no odds: a stop is never weighed against tomorrow.
func Instead(today float64, ok bool, next []coldseam.DayOdds) string {
	if !ok {
		return ""
	}
	best := -1
	for i, d := range next {
		if i < 4 && d.OddsOK && d.Verdict.ShowsOdds() && d.Odds >= today+insteadGain && (best < 0 || d.Odds > next[best].Odds+0.02) {
			best = i
		}
	}
	if best < 0 {
		return ""
	}
	return fmt.Sprintf("%s %s against %s today", weekday(next[best].Day), Odds(next[best].Odds), Odds(today))
}

func weekday(d coldseam.Date) string { return d.Weekday().String() }

// WeekendDays are the Saturday and Sunday to look at from day on: today's
// weekend while it lasts, else the coming one.
func WeekendDays(day coldseam.Date) [2]coldseam.Date {
	if day.Weekday() == time.Sunday {
		return [2]coldseam.Date{day.Add(-1), day}
	}
	sat := day.Add((int(time.Saturday) - int(day.Weekday()) + 7) % 7)
	return [2]coldseam.Date{sat, sat.Add(1)}
}
