package run

import (
	"math"

	"example.org/coldseam"
)

// Odds from a counter move by logit(p') = A + B logit(p): their own noise makes
// them too sure. The shipped values were fitted to three public counters of
// salmon, 2,189 days; each is served better by those of the other two than by
// its own share of waves [reference calculation]. A counter's own seasons move
// them within the spread [proposal].
const (
	counterA, counterASD = -0.82, 0.5
	counterB, counterBSD = 0.38, 0.3
)

// MaxCountAge is the age in days at which a count says nothing of today: the
// departure from its week has faded to half by then [proposal].
const MaxCountAge = 2

// minWeekDays is how many days of the week before must be counted [proposal].
const minWeekDays = 5

// counterOdds are the odds of a wave in the departure of the last count from
// its week, which fades by the row's own noise, and in the spread of a count;
// ahead is the days since that count, week the mean of the seven days to it.
func (s *Species) counterOdds(last, week float64, ahead int) float64 {
	fade := math.Pow(s.Rho, float64(ahead))
	mu := fade * math.Log((last+.5)/(week+.5))
	sd := math.Sqrt(s.Sigma*s.Sigma*(1-fade*fade) + 1/week)
	return 1 - phi((math.Log(waveRatio)-mu+sd*sd/2)/sd)
}

// pushDay is one day of a counted season with its odds from the days before,
// P = 0 where the week had too few fish for a ratio.
type pushDay struct {
	Resolved
	at  int     // day of the season
	dev float64 // of the log count about its mean of 13 days
}

// pushDays are the days of the run of a season that is over, but for days that
// were not counted, or followed one that was not, or a week with too many.
func (s *Species) pushDays(y counted) (out []pushDay) {
	for i := 8; i < LastDay-6; i++ {
		blanks := 0
		for _, b := range y.blank[i-7 : i] {
			if b {
				blanks++
			}
		}
		if !inRun(y.share[i-1]) || y.blank[i] || y.blank[i-1] || 7-blanks < minWeekDays {
			continue
		}

		week := mean(y.n[i-7 : i])
		d := pushDay{Resolved{Wave: isWave(y.n[i]/y.Fish, week/y.Fish)}, i,
			math.Log((y.n[i] + .5) / (mean(y.n[i-6:i+7]) + .5))}
		if week >= 1 {
			d.P = s.counterOdds(y.n[i-1], week, 1)
		}
		out = append(out, d)
	}
	return out
}

// counterRecal is what seasons that are over say of a counter's odds.
func counterRecal(days []pushDay) Recalibration {
	var said []Resolved
	for _, d := range days {
		if d.P > 0 {
			said = append(said, d.Resolved)
		}
	}
	return fitOdds(said, Recalibration{A: counterA, B: counterB}, counterASD, counterBSD)
}

// counter is what a fish counter says this morning.
type counter struct {
	coldseam.FishCounted
	odds  float64 // of a wave today, for a day of the run
	ahead int     // days since the count
}

// counted reads the newest count of the days before today; nil where it is too
// old, or its week too thin. The seasons before the running one teach how far
// to trust it.
func (in *Input) counted() *counter {
	for ahead := 1; ahead <= MaxCountAge; ahead++ {
		c := counter{ahead: ahead}
		c.Day = in.Today.Add(-ahead)
		if c.Fish = in.count(c.Day); math.IsNaN(c.Fish) {
			continue
		}
		n := 0.0
		for k := range 7 {
			if v := in.count(c.Day.Add(-k)); !math.IsNaN(v) {
				c.WeekMean, n = c.WeekMean+v, n+1
			}
		}

		if c.WeekMean /= n; n < minWeekDays || c.WeekMean < 1 {
			return nil
		}

		var past []pushDay
		seasons, _ := countSeasons(in.Species, in.Days, in.Counts.First, in.Counts.Fish,
			seasonStart(in.Today, in.Days.Lat).Year)
		for _, s := range seasons {
			past, c.Seasons = append(past, in.Species.pushDays(s)...), c.Seasons+1
		}
		r := counterRecal(past)
		c.odds = logistic(r.A + r.B*logit(in.Species.counterOdds(c.Fish, c.WeekMean, ahead)))
		return &c
	}

	return nil
}

// count is the fish of a day, NaN = not counted; a counter that lets fish back
// down may net fewer than none.
func (in *Input) count(day coldseam.Date) float64 {
	return math.Max(coldseam.At(in.Counts.Fish, day.Sub(in.Counts.First)), 0)
}

// countSD is the spread of a counted ratio beyond that of its counts [proposal].
const countSD = 0.5

// weigh gives the draws weight by how well their own last day and week fit the
// counted ones, so that the noise path goes on from what was seen.
func (c *counter) weigh(st []state, weight []float64) {
	const trickle = 1e-4
	v := countSD*countSD + 1/c.WeekMean + 1/(c.Fish+.5)
	sum := 0.0
	for j := range st {
		s := &st[j]
		d := math.Log((c.Fish+.5)/(c.WeekMean+.5)) - math.Log((s.arrivals+trickle)/(mean(s.week[:])+trickle))
		weight[j] *= math.Exp(-d * d / (2 * v))
		sum += weight[j]
	}
	for j := range weight {
		weight[j] /= sum
	}
}
