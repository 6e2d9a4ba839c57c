package flow

import (
	"fmt"
	"math"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// HoursInput is what the hours of a reach are read from.
type HoursInput struct {
	Obs   []coldseam.Observation // instantaneous discharge of the last days, m3/s, ascending; 60 days are used
	Now   time.Time
	Loc   *time.Location
	Daily ensemble.Result // member daily means, m3/s; Day is the last complete civil day in Loc
	// TravelH is the time from the gauge to the reach in hours, downstream
	// positive: see TravelTime.
	TravelH float64
}

// Hours gives each member's discharge at any hour: the newest reading times
// the member's own change of the daily means, times the hour shape of one of
// the last days, so that snowmelt and hydropower cycles keep their height and
// their spread. Member i follows the same past day throughout.
type Hours struct {
	now       time.Time // of the newest reading
	q         float64
	noons     []time.Time // of the last complete day and those of the members, as the wall shows noon
	base      float64     // ln of its mean
	lnQ       [][]float64
	atNow     [][2]float64 // path and shape of each member at now
	loc       *time.Location
	shapes    []shape
	slope     float64 // of ln q per hour beyond what path and shape explain, at now
	steep     float64 // greatest rise over 6 h as share of the change of the daily mean
	travel    time.Duration
	route     []float64 // share of the water of each routeStepH earlier; nil = one shift by travel
	regulated bool
	plan      func(time.Time) (float64, bool) // release schedule, nil = none
	planned   map[time.Time]float64           // what it adds to ln q, by time
}

// shape is the departure of ln q from the line through the daily means, by
// hour, of one past day.
type shape struct {
	weekday time.Weekday
	ln      [24]float64
}

const (
	shapeDays = 7  // [source: design, hours]
	hourDays  = 60 // of readings looked at
	slopeH    = 3. // hours over which the last slope is taken [proposal]
	slopeTau  = 6. // hours in which it fades [proposal]
	slopeFade = 24 // hours in which what it did to the level fades [proposal]
	minHours  = 18 // hours with a reading that make a day
	stepSteep = .6 // rise over 6 h for a unit rise of the daily mean, without own rises [assumed]
)

// NewHours needs a newest reading above zero and members; a non-positive or
// missing one is ErrUnavailable.
func NewHours(in HoursInput) (*Hours, error) {
	last, ok := coldseam.Series{Obs: in.Obs}.Last()
	if !ok || last.Value <= 0 || len(in.Daily.Members) == 0 {
		return nil, fmt.Errorf("hours of discharge: no positive reading or no members: %w", coldseam.ErrUnavailable)
	}
	h := &Hours{now: last.At, q: last.Value, loc: in.Loc, travel: time.Duration(in.TravelH * float64(time.Hour))}
	for k := range len(in.Daily.Members[0]) + 1 {
		h.noons = append(h.noons, in.Daily.Day.Add(k).At(12*time.Hour, in.Loc))
	}
	days := hourly(in.Obs, in.Now.AddDate(0, 0, -hourDays), in.Loc)
	h.base = math.NaN()

	for _, d := range days {
		if d.date == in.Daily.Day && d.n >= minHours {
			h.base = d.mean
		}
	}

	if math.IsNaN(h.base) {
		h.base = math.Log(last.Value)
	}
	for _, m := range in.Daily.Members {
		l := make([]float64, len(m))
		for k, q := range m {
			l[k] = math.Log(max(q, 1e-3))
		}
		h.lnQ = append(h.lnQ, l)
	}

	h.route = routing(in.TravelH)
	h.regulated = regulated(days)
	h.shapes = shapesOf(days)
	h.steep = steepness(days)
	for i := range h.lnQ {
		h.atNow = append(h.atNow, [2]float64{h.path(i, h.now), h.shape(i, h.now)})
	}
	h.slope = h.lastSlope(in.Obs)
	return h, nil
}

// day is one civil day of readings in ln q by hour; NaN hours are missing.
type hourDay struct {
	date coldseam.Date
	ln   [24]float64
	n    int
	mean float64
}

// hourly sorts usable positive readings into days and hours.
func hourly(obs []coldseam.Observation, from time.Time, loc *time.Location) []hourDay {
	var out []hourDay
	var cnt [24]float64

	end := func() {
		if len(out) == 0 {
			return
		}
		d := &out[len(out)-1]
		s := 0.0
		for h := range d.ln {
			if cnt[h] == 0 {
				d.ln[h] = math.NaN()
				continue
			}
			d.ln[h] /= cnt[h]
			s += d.ln[h]
			d.n++
		}

		d.mean = s / float64(max(d.n, 1))
		cnt = [24]float64{}
	}

	for _, o := range obs {
		if o.At.Before(from) || !o.Flag.Usable() || o.Value <= 0 {
			continue
		}
		t := o.At.In(loc)
		if d := coldseam.DateOf(t); len(out) == 0 || out[len(out)-1].date != d {
			end()
			out = append(out, hourDay{date: d})
		}
		out[len(out)-1].ln[t.Hour()] += math.Log(o.Value)
		cnt[t.Hour()]++
	}

	end()
	return out
}

// shapesOf are the departures of the last complete days, newest first. A day
// without complete neighbours uses its own mean as line.
func shapesOf(days []hourDay) []shape {
	var out []shape
	for i := len(days) - 1; i >= 0 && len(out) < shapeDays; i-- {
		d := days[i]
		if d.n < minHours {
			continue
		}
		out = append(out, shape{weekday: d.date.Weekday(), ln: departure(days, i)})
	}
	if len(out) == 0 {
		out = []shape{{}}
	}
	return out
}

// departure is ln q less the line through the daily means at noon, missing
// hours filled around the clock.
func departure(days []hourDay, i int) [24]float64 {
	d := days[i]
	prev := d.mean
	if i > 0 && days[i-1].n >= minHours && days[i-1].date.Add(1) == d.date {
		prev = days[i-1].mean
	}
	next := d.mean + (d.mean - prev) // no day after it yet: the line goes on
	if i+1 < len(days) && days[i+1].n >= minHours && d.date.Add(1) == days[i+1].date {
		next = days[i+1].mean
	}

	var out [24]float64
	s, n := 0.0, 0.0
	for h := range out {
		x := (float64(h) + .5 - 12) / 24
		line := d.mean + x*(next-d.mean)
		if x < 0 {
			line = d.mean + x*(d.mean-prev)
		}
		out[h] = d.ln[h] - line
		if !math.IsNaN(out[h]) {
			s, n = s+out[h], n+1
		}
	}

	for h := range out {
		if math.IsNaN(out[h]) {
			out[h] = s / max(n, 1)
		}
		out[h] -= s / max(n, 1)
	}

	return out
}

// at reads the hour shape of member i, linear between the middles of the hours.
// On a regulated river a day of the same kind, working day or weekend, stands
// for the day asked for.
func (h *Hours) shape(i int, t time.Time) float64 {
	l := t.In(h.loc)
	s := h.shapes[i%len(h.shapes)]
	if h.regulated {
		for k := range h.shapes {
			if c := h.shapes[(i+k)%len(h.shapes)]; weekend(c.weekday) == weekend(l.Weekday()) {
				s = c
				break
			}
		}
	}
	x := float64(l.Hour()) + float64(l.Minute())/60 - .5
	k := int(math.Floor(x))
	f := x - float64(k)
	return (1-f)*s.ln[(k+24)%24] + f*s.ln[(k+25)%24]
}

func weekend(d time.Weekday) bool { return d == time.Saturday || d == time.Sunday }

// path is ln of member i's daily means at t, linear between noons.
func (h *Hours) path(i int, t time.Time) float64 {
	x := h.sinceNoon(t)
	m := h.lnQ[i]
	k := int(math.Floor(x))
	switch {
	case x <= 0:
		return h.base
	case k >= len(m):
		return m[len(m)-1]
	case k == 0:
		return h.base + x*(m[0]-h.base)
	}
	return m[k-1] + (x-float64(k))*(m[k]-m[k-1])
}

// sinceNoon is the number of days from the first noon to t. The day on which the
// clock changes has 23 or 25 hours.
func (h *Hours) sinceNoon(t time.Time) float64 {
	last := len(h.noons) - 2
	k := min(max(int(t.Sub(h.noons[0]).Hours()/24), 0), last)
	for k > 0 && t.Before(h.noons[k]) {
		k--
	}
	for k < last && !t.Before(h.noons[k+1]) {
		k++
	}
	return float64(k) + float64(t.Sub(h.noons[k]))/float64(h.noons[k+1].Sub(h.noons[k]))
}

// Members is their number.
func (h *Hours) Members() int { return len(h.lnQ) }

// Flow is member i's discharge in m3/s at the reach at t: what passed the
// gauge one travel time earlier, flattened on the way.
func (h *Hours) Flow(i int, t time.Time) float64 {
	if h.route == nil {
		return h.gauge(i, t.Add(-h.travel))
	}
	q := 0.0
	for k, w := range h.route {
		q += w * h.gauge(i, t.Add(-time.Duration(float64(k)*routeStepH*float64(time.Hour))))
	}
	return q
}

// planShare is how far the members' middle moves to a release schedule: the
// operator means what he says, and sometimes does otherwise [proposal].
const planShare = .9

// Follow moves the hours after the newest reading towards a release schedule:
// plan is the discharge at the gauge at a time, ok false where it says nothing.
// The members keep their spread. nil changes nothing.
func (h *Hours) Follow(plan func(time.Time) (v float64, ok bool)) {
	h.plan, h.planned = plan, map[time.Time]float64{}
}

// toPlan is what the schedule adds to every member's ln q at t.
func (h *Hours) toPlan(t time.Time) float64 {
	if h.plan == nil || !t.After(h.now) {
		return 0
	}
	if d, ok := h.planned[t]; ok {
		return d
	}
	d := 0.0
	if v, ok := h.plan(t); ok && v > 0 {
		x := make([]float64, len(h.lnQ))
		for i := range x {
			x[i] = h.free(i, t)
		}
		d = planShare * (math.Log(v) - coldseam.Quantile(x, .5))
	}
	h.planned[t] = d
	return d
}

// gauge is member i's discharge at the gauge.
func (h *Hours) gauge(i int, t time.Time) float64 {
	return math.Exp(h.free(i, t) + h.toPlan(t))
}

// free is ln of member i's discharge at the gauge without a schedule.
func (h *Hours) free(i int, t time.Time) float64 {
	ln := h.path(i, t) - h.atNow[i][0] + h.shape(i, t) - h.atNow[i][1]
	if dt := t.Sub(h.now).Hours(); dt > 0 {
		ln += h.slope * slopeTau * (1 - math.Exp(-dt/slopeTau)) * math.Exp(-dt/slopeFade)
	}
	return math.Log(h.q) + ln
}

// Peak is member i's highest discharge from a to b, hour by hour.
func (h *Hours) Peak(i int, a, b time.Time) float64 {
	m := h.Flow(i, b)
	for t := a; t.Before(b); t = t.Add(time.Hour) {
		m = max(m, h.Flow(i, t))
	}
	return m
}

// Rise is member i's greatest rise within any 6 h that end between a and b, as
// a fraction: the steeper of its hours and of what the river's own rises make
// of the member's steepest day.
func (h *Hours) Rise(i int, a, b time.Time) float64 {
	m := 0.0
	var before [6]float64 // of the six hours before, by hour
	for k := range before {
		before[k] = h.Flow(i, a.Add(time.Duration(k-6)*time.Hour))
	}
	k := 0
	for t := a; !t.After(b); t = t.Add(time.Hour) {
		q := h.Flow(i, t)
		m = max(m, q/before[k]-1)
		before[k] = q
		k = (k + 1) % len(before)
	}
	day := 0.0
	for t := a; !t.After(b); t = t.Add(6 * time.Hour) {
		s := t.Add(-h.travel)
		day = max(day, h.path(i, s)-h.path(i, s.Add(-24*time.Hour)))
	}
	return max(m, math.Exp(h.steep*day)-1)
}

// lastSlope is the slope of ln q over the last hours beyond what the members'
// mean path and shape explain.
func (h *Hours) lastSlope(obs []coldseam.Observation) float64 {
	from := h.now.Add(-time.Duration(slopeH * float64(time.Hour)))
	for k := len(obs) - 1; k >= 0; k-- {
		o := obs[k]
		if o.At.After(from) || !o.Flag.Usable() || o.Value <= 0 {
			continue
		}
		dt := h.now.Sub(o.At).Hours()
		if dt > 2*slopeH {
			return 0
		}
		want := 0.0
		for i := range h.lnQ {
			want += (h.atNow[i][0] - h.path(i, o.At) + h.atNow[i][1] - h.shape(i, o.At)) / float64(len(h.lnQ))
		}
		return (math.Log(h.q/o.Value) - want) / dt
	}
	return 0
}

// steepness is the upper quartile, over the days on which the daily mean rose
// by 5 % and more, of the greatest rise of ln q over 6 h to that of the means.
func steepness(days []hourDay) float64 {
	var x []float64
	for i := 1; i < len(days); i++ {
		d := days[i].mean - days[i-1].mean
		if d < .05 || days[i].n < minHours || days[i-1].n < minHours || days[i-1].date.Add(1) != days[i].date {
			continue
		}
		both := slices.Concat(days[i-1].ln[:], days[i].ln[:])
		m := 0.0
		for h := 12; h < len(both)-6; h++ {
			if r := both[h+6] - both[h]; r > m {
				m = r
			}
		}

		x = append(x, m/d)
	}

	if len(x) < 3 {
		return stepSteep
	}
	return coldseam.Quantile(x, .75)
}

// Regulated reports whether the hours look set by dam releases.
func (h *Hours) Regulated() bool { return h.regulated }

// Marks of a regulated river [proposal]: a swing that matters, hours that
// repeat after a week but not from day to day, or steps at fixed hours that no
// snowmelt makes.
const (
	regSwing  = .10 // median daily range of ln q
	regWeekly = .5  // correlation of the departure with that of the same weekday a week before
	regGain   = .15 // by which it exceeds that of the day before
	regStep   = .12 // median greatest change of ln q within an hour
	regRepeat = .4
)

func regulated(days []hourDay) bool {
	byDate := map[coldseam.Date]int{}
	var swing, step []float64
	dep := make([][24]float64, len(days))
	for i, d := range days {
		if d.n < minHours {
			continue
		}
		byDate[d.date] = i
		dep[i] = departure(days, i)
		swing = append(swing, slices.Max(dep[i][:])-slices.Min(dep[i][:]))
		s := 0.0
		for h := 1; h < 24; h++ {
			s = max(s, math.Abs(dep[i][h]-dep[i][h-1]))
		}
		step = append(step, s)
	}

	if len(swing) < 21 || coldseam.Quantile(swing, .5) < regSwing {
		return false
	}
	lagged := func(lag int) float64 {
		var a, b []float64
		for i, d := range days {
			if j, ok := byDate[d.date.Add(-lag)]; ok && d.n >= minHours {
				a, b = append(a, dep[i][:]...), append(b, dep[j][:]...)
			}
		}
		return ensemble.Correlation(a, b)
	}
	week, yesterday := lagged(7), lagged(1)
	byWeekday := week >= regWeekly && week-yesterday >= regGain
	return byWeekday || coldseam.Quantile(step, .5) >= regStep && max(week, yesterday) >= regRepeat
}

// TravelTime is the time in hours that a change of discharge and that the
// water itself take over km of river at a mean velocity in m/s. The wave runs
// 5/3 as fast as the water (kinematic wave in a wide channel, Manning
// [common practice]); below 0.05 m/s neither is told and both are 0.
func TravelTime(km, velocityMS float64) (waveH, waterH float64) {
	if !(velocityMS >= .05) {
		return 0, 0
	}
	waterH = km * 1000 / velocityMS / 3600
	return waterH * 3 / 5, waterH
}
