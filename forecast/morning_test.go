package forecast

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/verdict"
)

var (
	testLoc = time.FixedZone("CST", -6*3600)
	testDay = coldseam.Date{Year: 2026, Month: time.April, Day: 18}
	testNow = time.Date(2026, time.April, 18, 4, 30, 0, 0, testLoc)
)

func ptr[T any](v T) *T { return &v }

// fitted are the models of the invented river, made once: the fit is the week's
// work, not the morning's.
var fitted = sync.OnceValue(func() Morning { return Make(unfitted()) })

func river() Inputs {
	f := unfitted()
	f.FlowModel, f.TempModel = fitted().FlowModel, fitted().TempModel
	return f
}

// unfitted is an invented reach with twelve years of smooth seasons, fresh
// readings, calm weather and an open rule.
func unfitted() Inputs {
	f := Inputs{
		Now:     testNow,
		Day:     testDay,
		Loc:     testLoc,
		Seed:    1,
		Members: 40,
		Site:    coldseam.Site{ID: "x:1", Zone: "America/Chicago"},
		Reach: coldseam.Reach{ID: "r", River: "Tamsen", Name: "Bend", Site: "x:1", Zone: "America/Chicago", Lat: 45,
			Lon: -92, MaxFlowM3S: ptr(200.0),
			HazardsSurveyed: true, Species: []string{"walleye"}, ResidentShare: .15,
			Rules: []coldseam.Rule{{Kind: coldseam.RuleSeason, Species: "walleye", Link: "https://rules.example.org",
				CheckedOn: testDay.Add(-3), CheckedBy: "keeper"}},
			Spots: []coldseam.Spot{{ID: "seam", Name: "main seam", Kind: coldseam.SpotSeam, Class: "current_seam",
				DepthRefM: ptr(4.0), Sounded: testDay.Add(-10), StageRefM: ptr(1.9), FlowRef: ptr(75.0),
				FloatMS: ptr(.55), FloatOn: testDay.Add(-10), FloatFlow: ptr(75.0), FloatN: 5}}},
		AlertsAt: testNow.Add(-time.Minute),
		Table:    verdict.DefaultTable(),
		Cost:     .4,
	}
	sp, err := run.FindSpecies(run.DefaultSpecies(), "walleye")
	if err != nil {
		panic(err)
	}

	f.Species = sp
	f.Days = coldseam.Days{First: coldseam.Date{Year: 2014, Month: 1, Day: 1}, Lat: 45}
	for i := range testDay.Sub(f.Days.First) {
		d := f.Days.Day(i)
		s := math.Sin(2 * math.Pi * float64(d.YearDay()-105) / 365)
		wobble := math.Sin(float64(i)*.7) + math.Sin(float64(i)*.23)
		f.Days.AirC = append(f.Days.AirC, 6+14*s+2*wobble)
		f.Days.WaterC = append(f.Days.WaterC, math.Max(4+9*s+.6*wobble, 0))
		f.Days.FlowM3S = append(f.Days.FlowM3S, 60+25*math.Sin(2*math.Pi*float64(d.YearDay()-60)/365)+4*wobble)
	}

	for t := testNow.AddDate(0, 0, -20); !t.After(testNow); t = t.Add(time.Hour) {
		h := math.Sin(2 * math.Pi * float64(t.Hour()-10) / 24)
		for _, x := range []struct {
			dst *[]coldseam.Observation
			v   float64
		}{{&f.Discharge, 75}, {&f.Stage, 1.9}, {&f.Water, 5.5 + .8*h}} {
			*x.dst = append(*x.dst, coldseam.Observation{
				At:      t.UTC(),
				KnownAt: t.UTC(),
				Value:   x.v,
				Flag:    coldseam.Provisional,
			})
		}
	}

	f.Weather = weather(map[coldseam.Parameter]float64{coldseam.AirTemp: 8, coldseam.Wind: 2, coldseam.Gust: 4,
		coldseam.Precip: 0, coldseam.ThunderProb: .02})
	return f
}

func weather(v map[coldseam.Parameter]float64) []coldseam.Forecast {
	var out []coldseam.Forecast
	for p, x := range v {
		f := coldseam.Forecast{
			Site:    "w:1",
			Param:   p,
			Issued:  testNow.Add(-4 * time.Hour),
			KnownAt: testNow.Add(-time.Hour),
		}
		for h := range 240 {
			f.At = append(f.At, testNow.Truncate(time.Hour).Add(time.Duration(h-4)*time.Hour).UTC())
			f.Value = append(f.Value, x)
		}
		out = append(out, f)
	}
	return out
}

func TestMorningIsWholeAndRepeatable(t *testing.T) {
	t.Parallel()
	a := Make(river())
	require.Empty(t, a.Problems)
	b := a.Brief
	require.True(t, b.Verdict.ShowsOdds(), "%v %v", b.Stops, b.Reasons)
	require.True(t, b.OddsOK)

	w, ok := b.Best()
	require.True(t, ok)
	require.True(t, w.Start.After(testNow) && w.End.After(w.Start))
	require.NotZero(t, b.Jig[0].TieOz)
	require.Len(t, b.Crossings, 4)
	require.Len(t, b.Run.Days, 10)
	require.Len(t, b.Next, 9)
	require.NotEmpty(t, b.Chart.FlowFan)
	require.NotEmpty(t, b.How.Tail)
	require.Len(t, a.Flow.Members, 40)
	require.Equal(t, a.Flow.Trace, a.Temp.Trace, "flow and temperature of a member share one past day")

	x, err := json.Marshal(a.Brief)
	require.NoError(t, err)
	y, err := json.Marshal(Make(river()).Brief)
	require.NoError(t, err)
	require.JSONEq(t, string(x), string(y))
}

func TestNothingKnownIsNoCall(t *testing.T) {
	t.Parallel()
	m := Make(Inputs{Now: testNow, Day: testDay, Loc: testLoc, Reach: coldseam.Reach{ID: "r", River: "Tamsen"}})
	require.Equal(t, coldseam.NoCall, m.Brief.Verdict)
	require.False(t, m.Brief.OddsOK)
	require.NotEmpty(t, m.Brief.Reasons)
}

// A record that could not be read while the models could: no view, no word.
func TestModelsWithoutARecordIsNoCall(t *testing.T) {
	t.Parallel()
	f := river()
	f.Days = coldseam.Days{}
	m := Make(f)
	require.Equal(t, coldseam.NoCall, m.Brief.Verdict)
	require.NotEmpty(t, m.Problems)
}

// Each row takes one thing away, or adds one danger, and the word follows.
func TestMorningFollowsItsInputs(t *testing.T) {
	t.Parallel()
	last := func(o *[]coldseam.Observation, h time.Duration) {
		for len(*o) > 0 && (*o)[len(*o)-1].At.After(testNow.Add(-h)) {
			*o = (*o)[:len(*o)-1]
		}
	}

	for _, tc := range []struct {
		name string
		edit func(*Inputs)
		want coldseam.Verdict
		code string
	}{
		{"gauge silent", func(f *Inputs) { last(&f.Discharge, 8*time.Hour) }, coldseam.NoCall, "discharge_stale"},
		{"no warnings read", func(f *Inputs) { f.AlertsAt = time.Time{} }, coldseam.NoCall, "alerts_missing"},
		{"warnings old", func(f *Inputs) {
			f.AlertsAt = testNow.Add(-2 * time.Hour)
		}, coldseam.NoCall, "alerts_stale"},
		{"no weather", func(f *Inputs) { f.Weather = nil }, coldseam.NoCall, "weather_missing"},
		{"no flow limit and a short record", func(f *Inputs) {
			f.Reach.MaxFlowM3S = nil
			f.Days = coldseam.Days{
				First:   f.Days.First.Add(3650),
				Lat:     45,
				FlowM3S: f.Days.FlowM3S[3650:],
				WaterC:  f.Days.WaterC[3650:],
				AirC:    f.Days.AirC[3650:],
			}
		}, coldseam.NoCall, "no_max_flow"},
		{"rule unchecked", func(f *Inputs) {
			f.Reach.Rules[0].CheckedOn = testDay.Add(-400)
		}, coldseam.NoCall, "season_unverified"},
		{"thunder", func(f *Inputs) {
			f.Weather = weather(map[coldseam.Parameter]float64{coldseam.AirTemp: 8, coldseam.Wind: 2, coldseam.Gust: 4,
				coldseam.Precip: 0, coldseam.ThunderProb: .6})
		}, coldseam.Stop, "thunder"},
		{"over the limit", func(f *Inputs) { f.Reach.MaxFlowM3S = ptr(50.0) }, coldseam.Stop, "max_flow"},
		{"closed", func(f *Inputs) {
			f.Reach.Rules[0].Closed = []coldseam.DayRange{{FromMonth: 4, FromDay: 1, ToMonth: 4, ToDay: 30}}
		}, coldseam.Stop, "closed"},
		{"ice without a value", func(f *Inputs) {
			f.Discharge = append(f.Discharge, coldseam.Observation{At: testNow.Add(-time.Minute).UTC(),
				Flag: coldseam.Missing | coldseam.Ice})
		}, coldseam.Stop, "ice"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			f := river()
			tc.edit(&f)
			m := Make(f)
			require.Equal(t, tc.want, m.Brief.Verdict, "%v %v", m.Brief.Stops, m.Brief.Reasons)
			require.False(t, m.Brief.OddsOK)

			codes := m.Decision.Fired
			require.Condition(t, func() bool {
				for _, c := range codes {
					if c == tc.code || len(c) > len(tc.code) && c[:len(tc.code)] == tc.code {
						return true
					}
				}
				return false
			}, "%v", codes)
		})
	}
}

func TestReplayNeverSpeaksMoreThanOdds(t *testing.T) {
	t.Parallel()
	f := river()
	f.Replayed, f.Weather, f.AlertsAt = true, nil, time.Time{}
	b := Make(f).Brief
	require.Equal(t, coldseam.NoCall, b.Verdict)
	require.True(t, b.Replay)
	require.Equal(t, "replay_rank", b.ReplayOdds.Code)
	f.Log = logged(f)
	require.Equal(t, "replay_odds", Make(f).Brief.ReplayOdds.Code)
	require.NotEmpty(t, b.Reasons[0].Names["inputs"], "stops not replayed")
}

// A stop that a replay found is among its stops, for every reader of a brief.
func TestReplayKeepsTheStopsItFound(t *testing.T) {
	t.Parallel()
	f := river()
	limit := f.Discharge[len(f.Discharge)-1].Value / 2
	f.Replayed, f.Reach.MaxFlowM3S = true, &limit
	b := Make(f).Brief
	require.Equal(t, coldseam.NoCall, b.Verdict)
	require.Contains(t, fmt.Sprint(b.Stops), "max_flow")
	for _, w := range b.Windows {
		require.False(t, w.OddsOK)
	}
}

// What the stops read of the flow goes six hours past the window, with the
// highest flow and the steepest rise of every member.
func TestCandidatesLookPastTheWindow(t *testing.T) {
	t.Parallel()
	f := river()
	for i := range f.Discharge {
		o := &f.Discharge[i]
		// the melt of the afternoon
		o.Value = 75 * math.Exp(.15*math.Sin(2*math.Pi*float64(o.At.In(testLoc).Hour()-14)/24))
	}

	w := work{f: &f}
	w.fill()
	w.daily()
	w.hours()
	w.candidates()

	later := 0
	for _, c := range w.cands {
		after := c.End.Add(6 * time.Hour)
		for i := range c.AfterM3S {
			require.InDelta(t, w.flowH.Peak(i, c.Start, after), c.AfterM3S[i], 1e-9)
			require.InDelta(t, w.flowH.Rise(i, testNow, after), c.RiseShare[i], 1e-9)
			if c.AfterM3S[i] > c.FlowM3S[i]*1.01 {
				later++
			}
		}
	}

	require.Positive(t, later, "no member rises after a window: the test is blind")
}

// A reach on a rising flood: the chance of minor flood is that of its members.
func TestChanceOfFloodIsTheMembers(t *testing.T) {
	t.Parallel()
	f := river()
	f.Stage = nil
	for i := range f.Discharge {
		o := f.Discharge[i]
		o.Value = 75 * math.Exp(.3*math.Sin(2*math.Pi*float64(o.At.In(testLoc).Hour()-14)/24))
		f.Discharge[i] = o
		o.Value = .3 * math.Sqrt(o.Value)
		f.Stage = append(f.Stage, o)
	}

	newest := f.Stage[len(f.Stage)-1].Value
	for share, at := range map[float64]float64{1: newest - .1, 0: 2 * newest} {
		f.Reach.FloodStageM = &at
		w := work{f: &f}
		w.fill()
		w.daily()
		w.hours()
		w.candidates()
		require.NotNil(t, w.cands[0].PFlood)
		require.InDelta(t, share, *w.cands[0].PFlood, .1, "flood stage %.2f, stage %.2f", at, newest)
	}
}

// logged is a log of twelve mornings by three anglers.
func logged(f Inputs) (out []coldseam.Trip) {
	for i := range 12 {
		out = append(out, coldseam.Trip{Date: f.Day.Add(-1 - i), Hours: 4, Lines: 1, Fish: i % 4,
			Angler: fmt.Sprint("angler ", i%3)})
	}
	return out
}

// A second issue of a day keeps the odds that have hardly moved, for the board
// and for every member; the first issue of the next day does not.
func TestSecondIssueKeepsOddsThatHardlyMoved(t *testing.T) {
	t.Parallel()
	f := river()
	f.Log = logged(f)
	f.Table.Hysteresis = .1 // the greatest allowed: any odds have an edge of a tenth within it
	first := Make(f).Brief
	require.True(t, first.OddsOK)

	prev := first
	prev.Windows = slices.Clone(first.Windows)
	for i := range prev.Windows {
		prev.Windows[i].Odds -= .09
	}
	f.Prev = &prev
	second := Make(f).Brief
	require.InDelta(t, prev.Windows[second.WindowI].Odds, second.Odds, 1e-9)
	mine := verdict.Personal(second, coldseam.Preferences{Craft: coldseam.CraftBoat},
		verdict.PersonalOptions{Table: f.Table, Loc: f.Loc})
	require.InDelta(t, second.Odds, mine.Odds, 0)
	require.Equal(t, second.Verdict, mine.Verdict)

	prev.Day = f.Day.Add(-1)
	require.InDelta(t, first.Odds, Make(f).Brief.Odds, 1e-9)
}

// The days to come stop where their middle flow is over the club's limit, and no
// odds are told for them.
func TestOutlookStopsOverTheClubLimit(t *testing.T) {
	t.Parallel()
	f := river()
	b := Make(f).Brief
	require.True(t, b.OddsOK)
	limit := b.Next[0].FlowM3S[1]
	for _, d := range b.Next {
		limit = max(limit, d.FlowM3S[1])
		require.True(t, d.OddsOK && d.Verdict.ShowsOdds())
	}

	limit -= 1e-6 // under the highest day alone, and above what stops today
	f.Reach.MaxFlowM3S = &limit
	b = Make(f).Brief
	require.True(t, b.OddsOK, "%v", b.Stops)
	stops := 0
	for _, d := range b.Next {
		over := d.FlowM3S[1] > limit
		require.Equal(t, over, d.Verdict == coldseam.Stop)
		require.Equal(t, !over, d.OddsOK)
		if over {
			stops++
		}
	}

	require.Positive(t, stops)
}

// The place of the mornings before is kept to; a second brief of the same
// morning goes by them too and not by the first.
func TestPlaceIsKeptOverMornings(t *testing.T) {
	t.Parallel()
	f := river()
	f.Reach.Spots = nil // any place of the rows
	wanted := Make(f).Brief.Place
	require.Equal(t, wanted.Wanted, wanted.Told)
	held := coldseam.PlaceMemory{Told: "tributary_mouth", Since: testDay.Add(-2), Wanted: wanted.Wanted}

	f.Prev = &coldseam.Brief{Day: testDay.Add(-1), Place: held}
	b := Make(f).Brief
	require.Equal(t, "tributary_mouth", b.How.Where[0], "advised two mornings running, but told for two days only")
	require.Equal(t, held, b.PlaceBefore)
	f.Prev = &b
	require.Equal(t, b.Place, Make(f).Brief.Place)

	held.Since = testDay.Add(-4)
	f.Prev = &coldseam.Brief{Day: testDay.Add(-1), Place: held}
	got := Make(f).Brief.Place
	require.Equal(t, []any{wanted.Told, testDay, wanted.Told}, []any{got.Told, got.Since, got.Wanted})
}
