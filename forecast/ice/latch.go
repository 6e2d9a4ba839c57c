package ice

import (
	"math"
	"time"

	"example.org/coldseam"
)

// State is what is known of ice on a reach. The zero value is Unknown, which
// reads as ice.
type State int8

// The states.
const (
	Unknown State = iota
	Open
	Ice
	Breakup
)

var stateNames = [...]string{"unknown", "open", "ice", "breaking_up"}

func (s State) String() string { return stateNames[s] }

// The causes of a state.
const (
	CauseStart     = "record_start" // nothing is known before the record
	CauseSilent    = "water_silent" // the thermometer has been silent for SilentDays
	CauseQualifier = "qualifier"    // the agency marks ice
	CauseWord      = "word"         // a member or the admin reports ice
	CauseCold      = "cold_water"   // a day's mean or a reading at the limit or below
	CauseFrost     = "frost"        // no thermometer, and net frost
	CauseDates     = "flag_dates"   // no thermometer and no air: the usual dates of the agency's marks
	CauseBlind     = "no_record"    // no thermometer, no air and no usual dates
	CauseRise      = "flow_rise"    // flow under ice jumped: break-up
	CauseWarm      = "warm_water"   // two full days of open water
	CauseThaw      = "thaw"         // no thermometer, and net thaw
	CausePassed    = "dates_over"   // no thermometer and no air: the usual dates or the spring flood are over
	CauseSummer    = "summer"       // the summer months
)

// The numbers of the latch, all [proposal], calibrated on the public records
// that the tests read.
const (
	ColdC          = .56  // 33 F: a reading or a day's mean at or below closes
	warmC          = 1.0  // two full days at or above open
	waivedC        = 2.5  // a day's mean from which a rising flow no longer matters
	frostCD        = 15.  // net frost that closes a reach without a thermometer
	thawCD         = 80.  // net thaw that opens one
	calmRise       = 1.10 // flow up by more keeps a reach closed
	breakupRise    = 1.5  // flow over the least of breakupSpan days: break-up
	breakupSpan    = 5
	breakupDays    = 3              // days that a break-up lasts after the jump
	leapC          = 7.             // a mean over that of the day before: no river on record warms so fast
	frostLeapC     = 1.2            // the same on reaches not open,
	frostLeapAirC  = -1.            // after two days of frost: nothing warms a river then
	silentDays     = 3              // full days without water temperature: nothing is known
	blindDays      = 14             // full days without one: the reach counts as one without a thermometer
	floodTimes     = 5.             // of the winter's base flow, that a spring flood must reach
	floodPassed    = .8             // of its peak, that the flow must fall below
	MarkHold       = 48 * time.Hour // a qualifier or a report keeps a reach closed
	midwinter      = 184            // days after 1 July: no spring flood before
	leastWinters   = 10             // of the agency's marks, for usual dates
	firstMarkShare = .10
	lastMarkShare  = .90
)

// Day is what is known of one civil day. NaN marks what is not known.
type Day struct {
	Date coldseam.Date
	// At is when the day is judged: its end, or now for the day under way.
	At      time.Time
	Partial bool // the day under way: it can close a reach and opens none by itself

	WaterC  float64 // mean of the full day
	Doubt   bool    // the mean is flagged: it closes and does not open
	LowC    float64 // lowest usable reading
	AirC    float64 // mean
	FlowM3S float64 // mean, or the newest reading of the day under way

	MarkAt time.Time // newest ice qualifier of the day, also on a row without a value
	WordAt time.Time // newest report of ice by a member or the admin
}

// Record is the state at the end of a day, or now for the day under way.
type Record struct {
	Day     coldseam.Date
	State   State
	Since   coldseam.Date
	Cause   string
	FrostCD float64 // net frost since the reach was last seen open
	ThawCD  float64 // net thaw since it closed
}

// River is what holds for all days of a reach.
type River struct {
	South bool    // of the equator
	ColdC float64 // water that closes; 0 = the constant ColdC
	Usual *Usual  // dates of the agency's ice marks; nil = not known
}

// Run carries the latch from a stored record over the days after it; the zero
// record starts where the days do. The days are consecutive. Those up to
// from.Day are only looked back on.
func Run(r River, from Record, days []Day) []Record {
	if len(days) == 0 {
		return nil
	}
	if r.ColdC < ColdC {
		r.ColdC = ColdC
	}
	l := latch{River: r, days: days, Record: from, lastC: math.NaN()}
	first := 0
	if from.Day.IsZero() {
		l.Record = Record{State: Unknown, Since: days[0].Date, Cause: CauseStart}
	} else {
		first = max(from.Day.Sub(days[0].Date)+1, 0)
	}

	var out []Record
	for l.i = range days {
		l.see()
		if l.i >= first {
			l.step()
			out = append(out, l.Record)
		}
	}

	return out
}

// latch is a run at day i.
type latch struct {
	River
	Record
	days             []Day
	i                int
	lastSign         time.Time // newest qualifier or word
	lastC            float64   // newest believed mean of a day, and its day
	lastDay          int
	leapt            bool
	leap             float64 // what the mean must fall below again, over lastC
	water, air, flow int     // day index + 1 of the newest of each; 0 = none yet
}

// see takes note of what day i holds.
func (l *latch) see() {
	d := l.days[l.i]
	if known(d.WaterC) {
		// Values in another unit, of a thermometer in the air or one that was
		// changed leap: they are not believed until they are back near what was
		// before.
		by := d.WaterC - l.lastC

		switch {
		case l.leapt:
			l.leapt = by > l.leap
		case by > leapC*float64(l.i-l.lastDay):
			l.leapt, l.leap = true, leapC
		case by > frostLeapC*float64(l.i-l.lastDay) && l.State != Open &&
			max(d.AirC, l.days[l.i-1].AirC) <= frostLeapAirC:
			l.leapt, l.leap = true, frostLeapC
		}

		if !l.leapt {
			l.lastC, l.lastDay = d.WaterC, l.i
		}
	}

	if (known(d.WaterC) || known(d.LowC)) && !d.Doubt && !l.leapt {
		l.water = l.i + 1
	}
	if known(d.AirC) {
		l.air = l.i + 1
	}
	if known(d.FlowM3S) {
		l.flow = l.i + 1
	}

	for _, t := range []time.Time{d.MarkAt, d.WordAt} {
		if t.After(l.lastSign) {
			l.lastSign = t
		}
	}
}

func known(v float64) bool { return !math.IsNaN(v) }

// step moves the state over day i.
func (l *latch) step() {
	d := l.days[l.i]
	l.Day = d.Date
	if known(d.AirC) {
		l.FrostCD, l.ThawCD = max(0, l.FrostCD-d.AirC), max(0, l.ThawCD+d.AirC)
	}

	sign := l.sign()
	open := l.exit()
	switch {
	case sign != "" && l.State != Ice && l.State != Breakup:
		l.to(Ice, sign)
		l.ThawCD = 0
	case sign != "":
	case open != "" && l.State != Open:
		l.to(Open, open)
		l.FrostCD = 0
	case l.State == Open && !l.summer() && l.silent():
		l.to(Unknown, CauseSilent)
		l.ThawCD = 0
	case l.State == Open && !l.summer() && l.unseen():
		l.to(Unknown, CauseBlind)
	}

	if l.State == Ice && l.breakup() {
		l.to(Breakup, CauseRise)
	} else if l.State == Breakup && !l.breakup() {
		l.to(Ice, CauseRise)
	}
}

func (l *latch) to(s State, cause string) { l.State, l.Cause, l.Since = s, cause, l.Day }

// sign is what closes the reach on day i, "" when nothing does.
func (l *latch) sign() string {
	d := l.days[l.i]
	switch {
	case !d.MarkAt.IsZero():
		return CauseQualifier
	case !d.WordAt.IsZero():
		return CauseWord
	case d.WaterC <= l.ColdC || d.LowC <= l.ColdC:
		return CauseCold
	case l.thermometer() && !l.silent():
		return ""
	case (l.State == Open || l.State == Unknown) && l.FrostCD >= frostCD && FrostSeason(l.days[l.i].Date, l.South):
		return CauseFrost
	case !l.aired() && l.Usual != nil:
		if begun, over := l.Usual.at(l.South, l.days[:l.i+1]); begun && !over {
			return CauseDates
		}
	}

	return ""
}

// exit is what opens the reach on day i, "" when nothing does.
func (l *latch) exit() string {
	d := l.days[l.i]
	full := l.full()

	switch {
	case !l.lastSign.IsZero() && d.At.Sub(l.lastSign) < MarkHold:
		return ""
	case l.summer() && (l.State == Unknown || !l.thermometer() && !l.aired()):
		return CauseSummer
	case l.thermometer():
		if l.mean(full) >= warmC && l.mean(full-1) >= warmC && (l.mean(full) >= waivedC || l.calm(full, 1)) {
			return CauseWarm
		}
	case l.aired():
		if l.ThawCD >= thawCD && l.calm(full, 3) {
			return CauseThaw
		}
	case l.Usual != nil:
		begun, over := l.Usual.at(l.South, l.days[:full+1])
		if over || l.State == Unknown && !begun {
			return CausePassed
		}
	}

	return ""
}

// mean is the water temperature of full day i, NaN when it is not known or not
// trusted.
func (l *latch) mean(i int) float64 {
	if i < 0 || l.days[i].Doubt || l.leapt {
		return math.NaN()
	}
	return l.days[i].WaterC
}

// calm reports whether the flow of day i is not up on any of the n days
// before. Where flow is measured but not known for these days it is not calm.
func (l *latch) calm(i, n int) bool {
	if l.flow == 0 {
		return true
	}
	if i < n {
		return false
	}
	now := l.days[i].FlowM3S
	for _, d := range l.days[i-n : i] {
		if !(now <= calmRise*d.FlowM3S) {
			return false
		}
	}
	return true
}

// full is the newest full day.
func (l *latch) full() int {
	if l.days[l.i].Partial {
		return l.i - 1
	}
	return l.i
}

// thermometer reports whether the reach has one that spoke within blindDays.
func (l *latch) thermometer() bool { return l.water > 0 && l.full()+1-l.water < blindDays }

// silent reports whether a thermometer that spoke within blindDays has said
// nothing on the last silentDays.
func (l *latch) silent() bool { return l.thermometer() && l.full()+1-l.water >= silentDays }

// aired reports whether the air temperature is known: a gap up to blindDays
// holds the sums of frost and thaw.
func (l *latch) aired() bool { return l.air > 0 && l.full()+1-l.air < blindDays }

// unseen reports whether nothing measured could show ice here.
func (l *latch) unseen() bool { return !l.thermometer() && !l.aired() && l.Usual == nil }

// breakup reports whether flow jumped on one of the last breakupDays or today.
func (l *latch) breakup() bool {
	for i := l.full() - breakupDays + 1; i <= l.i; i++ {
		if times, _ := Jump(l.days, i); times >= breakupRise {
			return true
		}
	}
	return false
}

// Jump is how many times the least flow of the days before it day i carries,
// and the day of that least flow; 0 when it is not known.
func Jump(days []Day, i int) (times float64, least coldseam.Date) {
	if i < 0 || i >= len(days) || !known(days[i].FlowM3S) {
		return 0, least
	}
	low := math.Inf(1)
	for _, d := range days[max(i-breakupSpan, 0):i] {
		if d.FlowM3S < low {
			low, least = d.FlowM3S, d.Date
		}
	}
	if math.IsInf(low, 1) || low <= 0 {
		return 0, least
	}
	return days[i].FlowM3S / low, least
}

// season is the date moved by half a year south of the equator.
func season(d coldseam.Date, south bool) coldseam.Date {
	if south {
		return coldseam.DateOf(d.UTC().AddDate(0, 6, 0))
	}
	return d
}

// summer: 15 June to 15 September.
func (l *latch) summer() bool {
	d := season(l.days[l.i].Date, l.South)
	k := int(d.Month)*100 + d.Day
	return k >= 615 && k <= 915
}

// FrostSeason: October to April, half a year later south of the equator.
func FrostSeason(d coldseam.Date, south bool) bool {
	m := season(d, south).Month
	return m >= time.October || m <= time.April
}
