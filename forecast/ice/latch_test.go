package ice

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// spring is a run of full days from 1 March with level flow and no air.
func spring(water ...float64) []Day {
	var out []Day
	for i, w := range water {
		x := day(coldseam.Date{Year: 2027, Month: 3, Day: 1}.Add(i))
		x.WaterC, x.FlowM3S = w, 40
		out = append(out, x)
	}
	return out
}

func states(rs []Record) []State {
	var out []State
	for _, r := range rs {
		out = append(out, r.State)
	}
	return out
}

func TestOpensAfterTwoFullDaysOfOneDegree(t *testing.T) {
	got := states(Run(River{}, Record{}, spring(.2, .2, .6, .9, 1.2, 1.1)))
	assert.Equal(t, []State{Ice, Ice, Ice, Ice, Ice, Open}, got)
}

func TestRisingFlowHoldsTheReachClosedBelowTheWaiver(t *testing.T) {
	for _, c := range []struct {
		water float64
		want  State
	}{{1.6, Ice}, {2.6, Open}} {
		days := spring(.2, .2, .6, .9, 1.2, c.water)
		days[5].FlowM3S = 48
		assert.Equal(t, c.want, Run(River{}, Record{}, days)[5].State, "water %.1f", c.water)
	}
}

func TestFlowNotKnownIsNotCalm(t *testing.T) {
	days := spring(.2, .2, .6, .9, 1.2, 1.1)
	days[5].FlowM3S = math.NaN()
	assert.Equal(t, Ice, Run(River{}, Record{}, days)[5].State)
}

func TestFlaggedMeanClosesAndDoesNotOpen(t *testing.T) {
	days := spring(.2, .2, 3, 3, 3, .4)
	days[2].Doubt, days[3].Doubt, days[5].Doubt = true, true, true
	assert.Equal(t, []State{Ice, Ice, Ice, Ice, Ice, Ice}, states(Run(River{}, Record{}, days)))
	days[3].Doubt = false
	assert.Equal(t, []State{Ice, Ice, Ice, Ice, Open, Ice}, states(Run(River{}, Record{}, days)))
}

// Values in Fahrenheit, or a thermometer pulled out, leap; so does the way back.
func TestLeapOfTheThermometerOpensNothing(t *testing.T) {
	got := Run(River{}, Record{}, spring(.2, .2, 32.4, 32.4, 32.5, 32.5, .3, 1.2, 1.3))
	assert.Equal(t, []State{Ice, Ice, Ice, Ice, Ice, Ice, Ice, Ice, Open}, states(got))
}

// A thermometer that reads two degrees more from one day of frost to the next was
// changed, or hangs in the air; in a thaw the water may have warmed.
func TestLeapInFrostOpensNothing(t *testing.T) {
	days := spring(.2, .2, .2, 2.2, 2.2, 2.2)
	for i := range days {
		days[i].AirC = -4
	}
	assert.Equal(t, Ice, Run(River{}, Record{}, days)[5].State)
	days[3].AirC = 3
	assert.Equal(t, Open, Run(River{}, Record{}, days)[5].State)
}

// In open water too: readings that are not believed are no readings.
func TestDoubtedReadingsAreSilence(t *testing.T) {
	days := spring(5, 5, 5, 5, 5, 5)
	for i := 3; i < 6; i++ {
		days[i].Doubt = true
	}
	assert.Equal(t, []State{Unknown, Open, Open, Open, Open, Unknown}, states(Run(River{}, Record{}, days)))
}

// A flow under ice that jumps is a break-up, and no open water follows from it.
func TestBreakupIsNamedAndLastsThreeDays(t *testing.T) {
	days := spring(.1, .1, .1, .1, .1, .1, .1, .1, .1, .1)
	days[5].FlowM3S = 61
	want := []State{Ice, Ice, Ice, Ice, Ice, Breakup, Breakup, Breakup, Ice, Ice}
	assert.Equal(t, want, states(Run(River{}, Record{}, days)))

	times, least := Jump(days, 5)
	assert.InDelta(t, 1.525, times, 1e-9)
	assert.Equal(t, days[0].Date, least)
}

func TestRiseInOpenWaterIsNoBreakup(t *testing.T) {
	days := spring(5, 5, 5, 5, 5, 5)
	days[5].FlowM3S = 120
	assert.Equal(t, Open, Run(River{}, Record{}, days)[5].State)
}

// The record starts as unknown: nothing opens by the lack of a sign.
func TestStartOfRecordIsUnknown(t *testing.T) {
	got := Run(River{}, Record{}, spring(math.NaN(), 5, 5))
	assert.Equal(t, []State{Unknown, Unknown, Open}, states(got))
	assert.Equal(t, CauseStart, got[0].Cause)
}

// The newest reading closes before the day is full; it never opens.
func TestReadingOfTheDayUnderWay(t *testing.T) {
	days := spring(5, 5, 5, math.NaN())
	days[3].Partial, days[3].LowC = true, .5
	got := Run(River{}, Record{}, days)
	assert.Equal(t, Ice, got[3].State)
	assert.Equal(t, CauseCold, got[3].Cause)

	days = spring(.2, .2, 1.5, math.NaN())
	days[3].Partial, days[3].LowC = true, 9
	assert.Equal(t, Ice, Run(River{}, Record{}, days)[3].State)
}

// A thermometer that went silent in open water is no open water: the latch
// knows nothing until full days agree again.
func TestSilentThermometerIsUnknown(t *testing.T) {
	nan := math.NaN()
	got := Run(River{}, Record{}, spring(8, 8, 8, nan, nan, nan, nan, 8, 8))
	assert.Equal(t, []State{Unknown, Open, Open, Open, Open, Unknown, Unknown, Unknown, Open}, states(got))
	assert.Equal(t, CauseSilent, got[5].Cause)
}

// Without a thermometer fifteen degree days of net frost close, eighty of thaw
// with a calm flow open.
func TestFrostAndThawWithoutThermometer(t *testing.T) {
	var days []Day
	add := func(n int, air float64) {
		for range n {
			x := day(coldseam.Date{Year: 2026, Month: 9, Day: 14}.Add(len(days)))
			x.AirC, x.FlowM3S = air, 40
			days = append(days, x)
		}
	}
	add(60, 6) // open by the summer months

	add(4, -5)  // 15 on the third day
	add(60, -8) // winter
	add(16, 5)  // 80 on the sixteenth
	got := Run(River{}, Record{}, days)
	assert.Equal(t, Open, got[61].State)
	assert.Equal(t, Ice, got[62].State)
	assert.Equal(t, CauseFrost, got[62].Cause)
	assert.Equal(t, 15., got[62].FrostCD)
	assert.Equal(t, Ice, got[138].State)
	assert.Equal(t, Open, got[139].State)
	assert.Equal(t, CauseThaw, got[139].Cause)

	days[139].FlowM3S = 46
	assert.Equal(t, Ice, Run(River{}, Record{}, days)[139].State, "flow up 15 % on three days")
}

func TestFrostSeasonAndSummerSouthOfTheEquator(t *testing.T) {
	frost := func(first coldseam.Date, south bool) State {
		var days []Day
		for i := range 10 {
			x := day(first.Add(i))
			x.AirC = -5
			days = append(days, x)
		}
		return Run(River{South: south}, Record{Day: first.Add(-1), State: Open, Since: first}, days)[9].State
	}
	assert.Equal(t, Ice, frost(coldseam.Date{Year: 2027, Month: 1, Day: 5}, false))
	assert.Equal(t, Open, frost(coldseam.Date{Year: 2027, Month: 1, Day: 5}, true))
	assert.Equal(t, Ice, frost(coldseam.Date{Year: 2027, Month: 7, Day: 5}, true))
	assert.Equal(t, Open, frost(coldseam.Date{Year: 2027, Month: 7, Day: 5}, false))

	for _, c := range []struct {
		d     coldseam.Date
		south bool
		want  State
	}{
		{coldseam.Date{Year: 2027, Month: 6, Day: 14}, false, Unknown}, {coldseam.Date{Year: 2027, Month: 6, Day: 15},
			false, Open},
		{coldseam.Date{Year: 2027, Month: 9, Day: 15}, false, Open}, {coldseam.Date{Year: 2027, Month: 9, Day: 16},
			false, Unknown},
		{coldseam.Date{Year: 2027, Month: 12, Day: 15}, true, Open}, {coldseam.Date{Year: 2027, Month: 6, Day: 20},
			true, Unknown},
	} {
		assert.Equal(t, c.want, Run(River{South: c.south}, Record{}, []Day{day(c.d)})[0].State, "%s south %v", c.d,
			c.south)
	}
}

// Missing air holds the sums and the state; a record that never sees water or
// air is not known once the summer months are over.
func TestMissingAirHoldsAndNoRecordIsUnknown(t *testing.T) {
	var days []Day
	for i := range 40 {
		x := day(coldseam.Date{Year: 2026, Month: 9, Day: 10}.Add(i))
		x.FlowM3S = 20
		days = append(days, x)
	}
	got := Run(River{}, Record{}, days)
	assert.Equal(t, Open, got[5].State)
	assert.Equal(t, Unknown, got[6].State)
	assert.Equal(t, CauseBlind, got[6].Cause)

	for i := range 25 {
		days[i].AirC = -1 // October holds ten of them
	}
	held := Run(River{}, Record{}, days)
	assert.Equal(t, held[24].FrostCD, held[30].FrostCD)
	assert.Equal(t, held[24].State, held[30].State)
}

// A mark holds for 48 h also where it stands on a row without a value.
func TestQualifierHolds48Hours(t *testing.T) {
	zone := time.FixedZone("zone", -6*3600)
	mark := time.Date(2027, 4, 10, 3, 0, 0, 0, zone)
	at := func(now time.Time) State {
		m := openRiver(now, zone)
		m.Flow = append(m.Flow, coldseam.Observation{At: mark, Flag: coldseam.Ice | coldseam.Missing})
		s, _ := At(m)
		return s.State
	}
	assert.Equal(t, Open, at(mark.Add(-time.Minute)))
	assert.Equal(t, Ice, at(mark.Add(time.Minute)))
	assert.Equal(t, Ice, at(mark.Add(47*time.Hour+59*time.Minute)))
	assert.Equal(t, Open, at(mark.Add(48*time.Hour)))
}

// openRiver is an April river of 3 degC and level flow.
func openRiver(now time.Time, loc *time.Location) Moment {
	last := coldseam.DateOf(now.In(loc)).Add(-1)
	n := 60
	m := Moment{Now: now, Loc: loc, Days: coldseam.Days{First: last.Add(1 - n), Lat: 46}}
	for range n {
		m.Days.WaterC, m.Days.FlowM3S, m.Days.AirC = append(m.Days.WaterC, 3), append(m.Days.FlowM3S, 40),
			append(m.Days.AirC, 6)
	}
	for at := now.Add(-72 * time.Hour); !at.After(now); at = at.Add(time.Hour) {
		m.Flow = append(m.Flow, coldseam.Observation{At: at, Value: 40})
		m.Water = append(m.Water, coldseam.Observation{At: at, Value: 3})
	}
	return m
}

func frozenRiver(now time.Time) Moment {
	m := openRiver(now, time.UTC)
	for i := range m.Days.WaterC {
		m.Days.WaterC[i] = .9
	}
	m.Days.WaterC[40] = .3
	for i := range m.Water {
		m.Water[i].Value = .9
	}
	return m
}

var dawn = time.Date(2027, 4, 10, 11, 0, 0, 0, time.UTC)

func TestAdminOpensForADay(t *testing.T) {
	m := frozenRiver(dawn)
	s, _ := At(m)
	require.Equal(t, Ice, s.State)

	m.Words = []Word{{At: dawn.Add(-23 * time.Hour), Open: true, Admin: true}}
	s, records := At(m)
	assert.Equal(t, Open, s.State)
	assert.Equal(t, m.Words[0].At, s.OpenedAt)
	assert.Equal(t, Ice, records[len(records)-1].State, "the latch itself stays closed")

	m.Words[0].At = dawn.Add(-24 * time.Hour)
	s, _ = At(m)
	assert.Equal(t, Ice, s.State)
}

func TestAdminsWordIsVoid(t *testing.T) {
	word := Word{At: dawn.Add(-5 * time.Hour), Open: true, Admin: true}

	for name, spoil := range map[string]func(*Moment){
		"cold reading":                   func(m *Moment) { m.Water[len(m.Water)-1].Value = .56 },
		"cold reading before the newest": func(m *Moment) { m.Water[len(m.Water)-2].Value = .4 },
		"qualifier": func(m *Moment) {
			m.Stage = []coldseam.Observation{{At: dawn.Add(-time.Hour), Flag: coldseam.Ice | coldseam.Missing}}
		},
		"flow up":               func(m *Moment) { m.Flow[len(m.Flow)-1].Value = 50 },
		"no flow then":          func(m *Moment) { m.Flow = m.Flow[len(m.Flow)-2:] },
		"a later report of ice": func(m *Moment) { m.Words = append(m.Words, Word{At: dawn.Add(-time.Hour)}) },
		"a member said it":      func(m *Moment) { m.Words[0].Admin = false },
		"break-up":              func(m *Moment) { m.Days.FlowM3S[m.Days.Len()-2] = 61 },
	} {
		m := frozenRiver(dawn)
		m.Words = []Word{word}
		s, _ := At(m)
		require.Equal(t, Open, s.State)
		spoil(&m)
		s, _ = At(m)
		assert.NotEqual(t, Open, s.State, name)
		assert.Zero(t, s.OpenedAt, name)
	}
}

// A member's word closes, and a member's reading at the limit does.
func TestMembersWordOnlyCloses(t *testing.T) {
	m := openRiver(dawn, time.UTC)
	m.Words = []Word{{At: dawn.Add(-30 * time.Hour)}}
	s, _ := At(m)
	assert.Equal(t, Ice, s.State)
	assert.Equal(t, CauseWord, s.Cause)

	m.Words = []Word{{At: dawn.Add(-50 * time.Hour)}}
	s, _ = At(m)
	assert.Equal(t, Open, s.State, "48 h on, two full days of 3 degC")

	m.Words = nil
	m.Members = []coldseam.Observation{{At: dawn.Add(-3 * time.Hour), Value: .4}}
	s, _ = At(m)
	assert.Equal(t, Ice, s.State)

	m = frozenRiver(dawn)
	m.Words = []Word{{At: dawn.Add(-time.Hour), Open: true}}
	for i := range 40 {
		m.Members = append(m.Members, coldseam.Observation{At: dawn.Add(-time.Duration(i) * time.Hour), Value: 6})
	}
	s, _ = At(m)
	assert.Equal(t, Ice, s.State)
}

// A reach without a thermometer is unwatched each spring until the admin says
// after the ice that it is open.
func TestUnwatchedInSpringUntilTheAdminOpens(t *testing.T) {
	m := openRiver(time.Date(2027, 5, 20, 11, 0, 0, 0, time.UTC), time.UTC)
	m.Days.WaterC, m.Water = nil, nil
	s, _ := At(m)
	require.Equal(t, Open, s.State)
	require.Equal(t, CauseThaw, s.Cause)
	assert.True(t, s.Unwatched)

	m.Words = []Word{{At: s.Since.UTC().AddDate(0, 0, -2), Open: true, Admin: true}}
	s, _ = At(m)
	assert.True(t, s.Unwatched, "said before the latch opened")

	m.Words = []Word{{At: s.Since.UTC().AddDate(0, 0, 1), Open: true, Admin: true}}
	s, _ = At(m)
	assert.False(t, s.Unwatched)

	m = openRiver(dawn, time.UTC)
	s, _ = At(m)
	assert.False(t, s.Unwatched, "a thermometer watches")
}

// Nothing that is missing and no flag that is added opens a reach.
func TestLessNeverOpens(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 60).Draw(t, "n")
		first := coldseam.Date{Year: 2026, Month: 10, Day: 1}.Add(rapid.IntRange(0, 220).Draw(t, "from"))
		days := make([]Day, n)
		value := func(name string, lo, hi float64) float64 {
			if rapid.IntRange(0, 5).Draw(t, "gap") == 0 {
				return math.NaN()
			}
			return rapid.Float64Range(lo, hi).Draw(t, name)
		}

		for i := range days {
			days[i] = day(first.Add(i))
			days[i].WaterC, days[i].AirC, days[i].FlowM3S = value("water", 0, 6), value("air", -20, 20),
				value("flow", 5, 60)
		}
		full := Run(River{}, Record{}, days)

		k := rapid.IntRange(0, n-1).Draw(t, "k")
		worse := append([]Day(nil), days...)
		switch rapid.IntRange(0, 3).Draw(t, "what") {
		case 0:
			worse[k].MarkAt = worse[k].At
		case 1:
			worse[k].WordAt = worse[k].At
		case 2:
			worse[k].Doubt = true
		case 3:
			worse[k].LowC = .1
		}

		for i, r := range Run(River{}, Record{}, worse) {
			if r.State == Open && full[i].State != Open && i-k < blindDays {
				t.Fatalf("day %d open with a sign of ice on day %d, %s without", i, k, full[i].State)
			}
		}

		cut := Run(River{}, full[k], days)
		for i, r := range cut {
			if r != full[k+1+i] {
				t.Fatalf("carried on from day %d: day %d %+v, want %+v", k, k+1+i, r, full[k+1+i])
			}
		}
	})
}
