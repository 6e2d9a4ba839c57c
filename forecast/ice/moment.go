package ice

import (
	"math"
	"time"

	"example.org/coldseam"
)

// Word is what somebody said of ice on a reach. A member's word only closes.
type Word struct {
	At    time.Time
	Open  bool
	Admin bool
}

// openHolds is how long the admin's word that a reach is open is good, and
// openRise the flow over that at the word from which it is void [proposal].
const (
	openHolds = 24 * time.Hour
	openRise  = 1.25
)

// summerBefore is where a winter's run starts, in days after the 1 July of the
// year before: the summer months make every state of the winter before moot.
const summerBefore = 350

// Moment is all that is known of a reach at Now.
type Moment struct {
	Now   time.Time
	Loc   *time.Location
	ColdC float64 // water that closes; 0 = the constant ColdC

	// Days are the daily means of the gauge, with nothing of members' readings.
	Days coldseam.Days
	// Flow, Stage and Water are readings of the last weeks, ascending; rows
	// without a value kept.
	Flow, Stage, Water []coldseam.Observation
	// Members are members' readings of water temperature: they only close.
	Members []coldseam.Observation
	Words   []Word // in order of time
}

// Status is the state of a reach at a moment.
type Status struct {
	Record
	// OpenedAt is the admin's word in force that opens a reach which the latch
	// holds closed; zero = none.
	OpenedAt time.Time
	// Unwatched: no thermometer, in spring, and the admin has not yet said since
	// the ice that the reach is open.
	Unwatched bool
	Times     float64 // flow now over the least of the days before; 0 = not known
	LeastOn   coldseam.Date
}

// At judges a moment. The records are those of the winter's days, the day under
// way last.
func At(m Moment) (Status, []Record) {
	if m.Loc == nil {
		m.Loc = time.UTC
	}
	r := River{South: m.Days.Lat < 0, ColdC: m.ColdC}
	days := m.days()
	r.Usual = UsualOf(r.South, days)
	from := len(days) - 1
	for year, _ := winter(days[from].Date, r.South); from > 0; from-- {
		// The summer before the winter at hand, where the record reaches so far.
		if y, n := winter(days[from-1].Date, r.South); y < year && n < summerBefore {
			break
		}
	}

	records := Run(r, Record{}, days[from:])
	s := Status{Record: records[len(records)-1]}
	s.Times, s.LeastOn = m.jump(days)
	m.said(&s, r, days)
	return s, records
}

// days lays the record out by civil day, the one under way last.
func (m *Moment) days() []Day {
	today := coldseam.DateOf(m.Now.In(m.Loc))
	first := today
	if m.Days.Len() > 0 && m.Days.First.Before(today) {
		first = m.Days.First
	}

	days := make([]Day, today.Sub(first)+1)
	for i := range days {
		d := first.Add(i)
		k := m.Days.Index(d)
		days[i] = Day{Date: d, At: d.Add(1).In(m.Loc), WaterC: coldseam.At(m.Days.WaterC, k), LowC: math.NaN(),
			AirC: coldseam.At(m.Days.AirC, k), FlowM3S: coldseam.At(m.Days.FlowM3S, k)}
		days[i].Doubt = marked(m.Days.WaterDoubt, k)
		if marked(m.Days.IceMark, k) {
			days[i].MarkAt = days[i].At
		}
	}

	now := &days[len(days)-1]
	now.Partial, now.At = true, m.Now
	now.WaterC, now.AirC, now.FlowM3S, now.MarkAt = math.NaN(), math.NaN(), math.NaN(), time.Time{}

	of := func(t time.Time) *Day {
		i := coldseam.DateOf(t.Add(-time.Second).In(m.Loc)).Sub(first)
		if i < 0 || i >= len(days) || t.After(m.Now) {
			return nil
		}
		return &days[i]
	}

	for _, s := range [][]coldseam.Observation{m.Flow, m.Stage, m.Water} {
		for _, o := range s {
			if d := of(o.At); d != nil && o.Flag&coldseam.Ice != 0 && o.At.After(d.MarkAt) {
				d.MarkAt = o.At
			}
		}
	}

	for _, o := range m.Water {
		if d := of(o.At); d != nil && o.Flag.Usable() && !(d.LowC <= o.Value) {
			d.LowC = o.Value
		}
	}

	for _, o := range m.Flow {
		if d := of(o.At); d != nil && d.Partial && o.Flag.Usable() {
			d.FlowM3S = o.Value
		}
	}

	cold := max(m.ColdC, ColdC)
	for _, o := range m.Members {
		if d := of(o.At); d != nil && o.Flag.Usable() && o.Value <= cold && o.At.After(d.WordAt) {
			d.WordAt = o.At
		}
	}

	for _, w := range m.Words {
		if d := of(w.At); d != nil && !w.Open {
			d.WordAt = w.At
		}
	}

	return days
}

func marked(x []bool, i int) bool { return i >= 0 && i < len(x) && x[i] }

// jump is the rise that names a break-up: of today where flow is known, else of
// the newest day that has it.
func (m *Moment) jump(days []Day) (float64, coldseam.Date) {
	for i := len(days) - 1; i >= 0 && i >= len(days)-1-breakupDays; i-- {
		if t, on := Jump(days, i); t >= breakupRise {
			return t, on
		}
	}
	return 0, coldseam.Date{}
}

// said applies the admin's word that the reach is open.
func (m *Moment) said(s *Status, r River, days []Day) {
	var word Word
	for _, w := range m.Words {
		if w.Open && w.Admin && !w.At.After(m.Now) {
			word = w
		}
	}

	today := coldseam.DateOf(m.Now.In(m.Loc))
	if s.State == Open {
		s.Unwatched = m.unwatched(s, r, days, word)
		return
	}
	if word.At.IsZero() || s.State == Breakup || m.Now.Sub(word.At) >= openHolds {
		return
	}

	cold := max(m.ColdC, ColdC)
	flowThen := math.NaN()
	for _, o := range m.Flow {
		if o.Flag.Usable() && !o.At.After(word.At) {
			flowThen = o.Value
		}
		if o.Flag.Usable() && o.At.After(word.At) && !o.At.After(m.Now) && !(o.Value < openRise*flowThen) {
			return
		}
	}

	newest := math.NaN()
	for _, o := range m.Water {
		if !o.Flag.Usable() || o.At.After(m.Now) {
			continue
		}
		newest = o.Value
		if o.At.After(word.At) && o.Value <= cold {
			return
		}
	}

	if newest <= cold {
		return
	}
	for _, d := range days {
		if !d.MarkAt.IsZero() && m.Now.Sub(d.MarkAt) < MarkHold || d.WordAt.After(word.At) {
			return
		}
	}
	s.OpenedAt, s.State, s.Cause, s.Since = word.At, Open, CauseWord, today
}

// unwatched: spring is the half-year before the summer months.
func (m *Moment) unwatched(s *Status, r River, days []Day, word Word) bool {
	l := latch{River: r, days: days, i: len(days) - 1}
	for i, d := range days {
		if known(d.WaterC) {
			l.water = i + 1
		}
	}
	today := season(days[l.i].Date, r.South)
	if l.thermometer() || l.summer() || today.Month > time.June {
		return false
	}
	since := coldseam.DateOf(days[l.i].Date.UTC().AddDate(0, -int(today.Month)+1, 0))
	since.Day = 1
	if since.Before(s.Since) {
		since = s.Since
	}
	return word.At.IsZero() || coldseam.DateOf(word.At.In(m.Loc)).Before(since)
}
