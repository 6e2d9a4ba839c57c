package thermal

import (
	"math"
	"time"

	"example.org/coldseam"
)

// Diel is the day's range of a gauge: departures from the daily mean by the
// hour, drawn from the gauge's own days of like mean and season.
type Diel struct {
	days []dielDay
	loc  *time.Location
	now  time.Time
	at   float64 // newest reading, degC
	ok   bool
}

type dielDay struct {
	mean float64
	dep  [24]float64 // departure from the mean, by hour
}

const (
	dielDays   = 60
	dielHours  = 20  // hours with a reading that make a day
	dielMean   = 1.  // degC: days within +-1 of the mean asked for [proposal]
	dielMin    = 5   // days; with fewer the nearest ones join
	anchorTauH = 12. // hours in which the newest reading's departure fades [proposal]
)

// NewDiel reads the readings of the last 60 days (degC, ascending). Fewer than
// one whole day leaves the assumed range: see assumed.
func NewDiel(obs []coldseam.Observation, now time.Time, loc *time.Location) *Diel {
	d := &Diel{loc: loc}
	var sum, n [24]float64
	var day coldseam.Date

	end := func() {
		var x dielDay
		hours := 0.0
		for h := range sum {
			if n[h] > 0 {
				x.mean += sum[h] / n[h]
				hours++
			}
		}

		if hours >= dielHours {
			x.mean /= hours
			for h := range sum {
				if n[h] > 0 {
					x.dep[h] = sum[h]/n[h] - x.mean
				} else {
					x.dep[h] = math.NaN()
				}
			}
			fillAround(&x.dep)
			d.days = append(d.days, x)
		}

		sum, n = [24]float64{}, [24]float64{}
	}

	from := now.AddDate(0, 0, -dielDays)
	for _, o := range obs {
		if o.At.Before(from) || o.At.After(now) || !o.Flag.Usable() {
			continue
		}
		t := o.At.In(loc)
		if c := coldseam.DateOf(t); c != day {
			end()
			day = c
		}

		v := math.Max(o.Value, 0)
		sum[t.Hour()] += v
		n[t.Hour()]++
		d.now, d.at, d.ok = o.At, v, true
	}

	end() // today joins too once it is nearly whole
	return d
}

// fillAround fills missing hours from the nearest ones around the clock.
func fillAround(x *[24]float64) {
	y := *x
	for h := range x {
		for k := 0; k < 12 && math.IsNaN(x[h]); k++ {
			if v := y[(h+k)%24]; !math.IsNaN(v) {
				x[h] = v
			} else if v := y[(h-k+24)%24]; !math.IsNaN(v) {
				x[h] = v
			}
		}
	}
}

// Departure is what is added to a daily mean in degC to give the temperature at
// t for member i: of one of the gauge's own days with a mean within 1 degC, the
// same day for all hours of a member.
func (d *Diel) Departure(i int, mean float64, t time.Time) float64 {
	l := t.In(d.loc)
	hour := float64(l.Hour()) + float64(l.Minute())/60
	day := d.pick(i, mean)
	if day == nil {
		return assumed(mean, hour)
	}
	x := hour - .5
	k := int(math.Floor(x))
	f := x - float64(k)
	return (1-f)*day.dep[(k+24)%24] + f*day.dep[(k+25)%24]
}

// pick chooses the day of member i among those of like mean, the newest first.
func (d *Diel) pick(i int, mean float64) *dielDay {
	if math.IsNaN(mean) || math.IsInf(mean, 0) {
		return nil // no width of the search would find a day
	}

	for w := dielMean; len(d.days) > 0; w *= 2 {
		n := 0
		for k := range d.days {
			if math.Abs(d.days[k].mean-mean) <= w {
				n++
			}
		}

		if n < min(dielMin, len(d.days)) {
			continue
		}
		want := i % n
		for k := len(d.days) - 1; k >= 0; k-- {
			if math.Abs(d.days[k].mean-mean) <= w {
				if want == 0 {
					return &d.days[k]
				}
				want--
			}
		}
	}

	return nil
}

// assumed is the shape without readings of the hours: a cosine with its maximum
// at 16 h, its range growing from none at freezing over 1.4 degC at 3 degC to
// 3.5 in warm water: medians of two cold rivers and a warm one [proposal].
func assumed(mean, hour float64) float64 {
	rng := 3.5
	switch {
	case mean <= .5:
		rng = 0
	case mean < 3:
		rng = 1.4 * (mean - .5) / 2.5
	case mean < 12:
		rng = 1.4 + 2.1*(mean-3)/9
	}
	return rng / 2 * math.Cos(2*math.Pi*(hour-16)/24)
}

// At is member i's temperature at t, never below 0: its daily means (path[0] is
// the day after day) with the shape of the day, drawn to the newest reading
// while that is fresh.
func (d *Diel) At(i int, path []float64, day coldseam.Date, t time.Time) float64 {
	v := d.raw(i, path, day, t)
	if dt := t.Sub(d.now).Hours(); d.ok && dt >= 0 && dt < 5*anchorTauH {
		if k := coldseam.DateOf(d.now.In(d.loc)).Sub(day) - 1; k >= 0 && k < len(path) {
			v += (d.at - d.raw(i, path, day, d.now)) * math.Exp(-dt/anchorTauH)
		}
	}
	return math.Max(v, 0)
}

func (d *Diel) raw(i int, path []float64, day coldseam.Date, t time.Time) float64 {
	k := min(max(coldseam.DateOf(t.In(d.loc)).Sub(day)-1, 0), len(path)-1)
	return path[k] + d.Departure(i, path[k], t)
}

// Mean is member i's mean temperature from a to b, by the half hour.
func (d *Diel) Mean(i int, path []float64, day coldseam.Date, a, b time.Time) float64 {
	s, n := 0.0, 0.0
	for t := a; !t.After(b); t = t.Add(30 * time.Minute) {
		s, n = s+d.At(i, path, day, t), n+1
	}
	return s / math.Max(n, 1)
}
