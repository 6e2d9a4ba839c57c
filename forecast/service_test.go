package forecast

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/thermal"
	"example.org/coldseam/forecast/verdict"
)

func noteOf(t *testing.T, b coldseam.Brief, key string) coldseam.Notes {
	t.Helper()
	for _, in := range b.Inputs {
		if in.Key == key {
			return in.Note
		}
	}
	t.Fatalf("no input %s", key)
	return nil
}

func fired(m Morning, code string) bool {
	return slices.ContainsFunc(m.Decision.Fired, func(c string) bool { return c == code })
}

func ruleFor(t *testing.T, provider, class string, words ...string) verdict.AlertRule {
	t.Helper()
	c, err := verdict.ParseAlertClass(class)
	require.NoError(t, err)
	return verdict.AlertRule{Provider: provider, Class: c, Words: words}
}

// keepDays cuts the record to its last days and drops the fitted models.
func keepDays(f *Inputs, n int) {
	k := f.Days.Len() - n
	f.Days = coldseam.Days{
		First:   f.Days.First.Add(k),
		Lat:     45,
		FlowM3S: f.Days.FlowM3S[k:],
		WaterC:  f.Days.WaterC[k:],
		AirC:    f.Days.AirC[k:],
	}
	f.FlowModel, f.TempModel = nil, nil
}

// The ladder from a full record to the first week, as the service climbs it:
// every rung makes a whole morning, and the lower ones say that they are low.
func TestLadderToTheFirstWeek(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name  string
		days  int
		tier  ensemble.Tier
		low   bool
		width float64 // least width of the 80 % interval of water on day 5, degC
	}{
		{"four years", 4 * 365, ensemble.TierMedium, false, .1},
		{"a year and a half", 550, ensemble.TierShort, true, .2},
		{"half a year", 180, ensemble.TierCold, true, .5},
		{"the first week", 6, ensemble.TierCold, true, 1.5},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			f := unfitted()
			keepDays(&f, c.days)
			m := Make(f)
			for _, p := range m.Problems { // a run clock needs a spring: the odds go by band and flow
				require.ErrorIs(t, p, coldseam.ErrUnavailable)
			}
			require.Equal(t, c.tier, m.TempModel.Tier)
			require.Equal(t, c.tier, m.FlowModel.Tier)
			require.Equal(t, c.low, slices.Contains(m.Temp.Flags, ensemble.FlagLowConfidence), "%v", m.Temp.Flags)

			if c.tier != ensemble.TierShort { // from a year and a half on regressions of flow beat dressed persistence
				require.Equal(t, c.low, slices.Contains(m.Flow.Flags, ensemble.FlagLowConfidence), "%v", m.Flow.Flags)
			}
			require.Len(t, m.Temp.Members, f.Members)
			require.Len(t, m.Flow.Members, f.Members)
			require.Greater(t, m.Temp.Quantile(4, .9)-m.Temp.Quantile(4, .1), c.width)
			require.InDelta(t, f.Days.WaterC[len(f.Days.WaterC)-1], m.Temp.Quantile(0, .5), 2)
			// The flow limit is the admin's, so a short record does not silence the
			// morning by itself.
			require.True(t, m.Brief.Verdict.ShowsOdds(), "%v %v", m.Brief.Stops, m.Brief.Reasons)
		})
	}
}

// A silent thermometer: the newest days gone, the forecast ages, then runs from
// the model alone, then there is none.
func TestStaleLastObservation(t *testing.T) {
	t.Parallel()
	gone := func(f *Inputs, n int) {
		f.Days.WaterC = slices.Clone(f.Days.WaterC)
		for i := len(f.Days.WaterC) - n; i < len(f.Days.WaterC); i++ {
			f.Days.WaterC[i] = math.NaN()
		}
		for len(f.Water) > 0 && f.Water[len(f.Water)-1].At.After(testNow.AddDate(0, 0, -n)) {
			f.Water = f.Water[:len(f.Water)-1]
		}
	}

	width := func(m Morning) float64 { return m.Temp.Quantile(2, .9) - m.Temp.Quantile(2, .1) }
	f := river()
	fresh := Make(f)
	f = river()
	gone(&f, 2)
	aged := Make(f)
	require.Contains(t, aged.Temp.Flags, ensemble.FlagStale)
	require.Equal(t, fresh.Temp.Source, aged.Temp.Source)

	f = river()
	gone(&f, 9)
	model := Make(f)
	require.NotEqual(t, fresh.Temp.Source, model.Temp.Source)
	require.Contains(t, model.Temp.Flags, ensemble.FlagLowConfidence)
	require.Greater(t, width(model), width(fresh))
	require.Equal(t, coldseam.NoCall, model.Brief.Verdict)
	require.True(t, fired(model, "ice_unknown_water_silent"), "an old reading is no open water: %v",
		model.Decision.Fired)
	f.IceWords = []ice.Word{{At: testNow.Add(-time.Hour), Open: true, Admin: true}}

	model = Make(f)
	require.True(t, fired(model, "water_model"), "capped: from the model alone: %v", model.Decision.Fired)
	require.True(t, fired(model, "ice_admin_open"), "capped: the admin's word alone: %v", model.Decision.Fired)
	require.NotEqual(t, coldseam.Go, model.Brief.Verdict)
	f = river()
	f.Days.WaterC, f.Water, f.TempModel, f.FlowModel = nil, nil, nil, nil
	none := Make(f)
	require.Equal(t, coldseam.NoCall, none.Brief.Verdict)
	require.False(t, none.Brief.OddsOK)
}

func TestIceRegime(t *testing.T) {
	t.Parallel()
	f := river()
	f.Days.WaterC = slices.Clone(f.Days.WaterC)
	for i := len(f.Days.WaterC) - 12; i < len(f.Days.WaterC); i++ {
		f.Days.WaterC[i] = -.05 // a sensor under ice
	}
	f.Water = append(f.Water, coldseam.Observation{At: testNow.Add(-time.Minute).UTC(), Value: -.05,
		Flag: coldseam.Provisional | coldseam.Ice})
	m := Make(f)
	require.Contains(t, m.Temp.Flags, ensemble.FlagIce)

	for _, p := range m.Temp.Members {
		for _, v := range p {
			require.GreaterOrEqual(t, v, 0.)
		}
	}

	require.Equal(t, coldseam.Stop, m.Brief.Verdict)
	for _, c := range m.Brief.Crossings {
		require.True(t, c.LowConf)
	}
	for _, j := range m.Brief.Jig {
		require.Zero(t, j.TieOz, "no weight on ice")
	}
}

func TestNegativeAndEstimatedFlow(t *testing.T) {
	t.Parallel()
	f := river()
	f.Days.FlowM3S = slices.Clone(f.Days.FlowM3S)
	f.Days.FlowM3S[len(f.Days.FlowM3S)-1] = -12
	f.Discharge = append(slices.Clone(f.Discharge), coldseam.Observation{At: testNow.Add(-time.Minute).UTC(),
		Value: -12, Flag: coldseam.Provisional})
	m := Make(f)
	require.Contains(t, m.Flow.Flags, ensemble.FlagNoLog)
	require.Contains(t, m.Flow.Flags, ensemble.FlagLowConfidence)

	for _, p := range m.Flow.Members {
		for _, v := range p {
			require.Greater(t, v, 0.)
		}
	}

	require.Equal(t, coldseam.NoCall, m.Brief.Verdict, "no hours can be read from a river that runs backwards")
	f = river()
	f.Days.FlowSoft = make([]bool, f.Days.Len())
	f.Days.FlowSoft[f.Days.Len()-1] = true
	require.Contains(t, Make(f).Flow.Flags, ensemble.FlagEstimated)
}

// Members' thermometers stand beside the gauge's: they move what is told of the
// reach and not the gauge's own forecast, which is scored.
func TestReadingsMoveTheReachNotTheGauge(t *testing.T) {
	t.Parallel()
	plain := Make(river())
	f := river()
	for i := range 30 {
		at := testNow.AddDate(0, 0, -i%18).Add(-time.Duration(i) * time.Hour)
		f.Readings = append(f.Readings, thermal.Reading{
			At:     at,
			Reader: fmt.Sprint("r", i%5),
			Gauge:  5,
			Value:  6.5 + .1*float64(i%5-2),
		})
	}

	m := Make(f)
	require.Equal(t, plain.Temp.Members, m.Temp.Members)
	a, b := plain.Brief.Windows[0], m.Brief.Windows[0]
	require.InDelta(t, 1.5, b.WaterC[1]-a.WaterC[1], .3)

	// The picture shows the water of the text.
	inWindow := func(c coldseam.ChartData, w coldseam.Window) float64 {
		var sum, n float64
		for i, at := range c.Valid {
			if !at.Before(w.Start) && !at.After(w.End) {
				sum, n = sum+c.TempFan[i][2], n+1
			}
		}
		require.NotZero(t, n)
		return sum / n
	}
	require.InDelta(t, b.WaterC[1], inWindow(m.Brief.Chart, b), .3)
	require.InDelta(t, a.WaterC[1], inWindow(plain.Brief.Chart, a), .3)

	last := len(m.Brief.Chart.TempObs) - 1
	require.InDelta(t, 1.5, m.Brief.Chart.TempObs[last].V-plain.Brief.Chart.TempObs[last].V, .3)
	require.Equal(t, "water_offset", noteOf(t, m.Brief, "water_temp")[0].Code)
	require.Equal(t, 30., noteOf(t, m.Brief, "water_temp")[0].Values["by_readings"])
	require.Empty(t, noteOf(t, plain.Brief, "water_temp"))

	within := func(m Morning) float64 {
		for _, c := range m.Brief.Crossings {
			if math.Abs(c.EdgeC-coldseam.C(45)) < .01 {
				return c.Within7
			}
		}
		t.Fatal("no 45 F edge")
		return 0
	}
	require.GreaterOrEqual(t, within(m), within(plain), "a warmer reach crosses sooner")
}

func TestNeighbourThermometer(t *testing.T) {
	t.Parallel()
	f := river()
	f.TempSite = "x:2"
	none := Make(f)
	require.Equal(t, coldseam.SiteID("x:2"), none.Temp.Site, "scored where it is measured")
	neighbour := noteOf(t, none.Brief, "water_temp")[0]
	require.Equal(t, "x:2", neighbour.Names["gauge"])
	require.Equal(t, map[string]float64{"by_readings": 0}, neighbour.Values)
	for i := range 40 {
		g := 2 + float64(i%12)/2
		f.Readings = append(f.Readings, thermal.Reading{At: testNow.AddDate(0, 0, -i), Reader: "a", Gauge: g,
			Value: g - 1})
	}
	known := Make(f)
	a, _ := none.Brief.Best()
	b, _ := known.Brief.Best()
	require.Less(t, b.WaterC[2]-b.WaterC[0], a.WaterC[2]-a.WaterC[0], "readings narrow the relation")
	require.InDelta(t, -1, b.WaterC[1]-a.WaterC[1], .5)
}

// No thermometer anywhere: members' readings carry the river.
func TestReadingsAloneCarryARiver(t *testing.T) {
	t.Parallel()
	f := unfitted()
	f.Days.WaterC, f.Water = nil, nil
	f.FlowModel = fitted().FlowModel
	silent := Make(f)
	require.Equal(t, coldseam.NoCall, silent.Brief.Verdict)
	for i := range 6 {
		f.Readings = append(f.Readings, thermal.Reading{
			At:     testNow.AddDate(0, 0, -6+i).Add(4 * time.Hour),
			Reader: "a",
			Gauge:  math.NaN(),
			Value:  5 + .3*float64(i),
		})
	}
	m := Make(f)
	require.True(t, m.Brief.Verdict.ShowsOdds(), "%v %v", m.Brief.Stops, m.Brief.Reasons)
	w, ok := m.Brief.Best()
	require.True(t, ok)
	require.InDelta(t, 6.5, w.WaterC[1], 1.5)
	require.Greater(t, w.WaterC[2]-w.WaterC[0], 1.2, "wide: a reading errs by half a degree, a day by more")
	require.Contains(t, noteOf(t, m.Brief, "water_temp"), byReadings("water_readings", 6))
	require.Contains(t, m.Temp.Flags, ensemble.FlagLowConfidence)
}

// hydropower is a river that steps by the clock on working days.
func hydropower(f *Inputs) {
	f.Discharge, f.Stage = f.Discharge[:0], nil
	for t := testNow.AddDate(0, 0, -50); !t.After(testNow); t = t.Add(time.Hour) {
		q := 70.
		if wd := t.Weekday(); wd != time.Saturday && wd != time.Sunday && t.Hour() >= 7 && t.Hour() < 19 {
			q = 100
		}
		q += .1 * float64(t.Hour()%3) // no gauge stands still to the digit
		f.Discharge = append(f.Discharge, coldseam.Observation{At: t.UTC(), KnownAt: t.UTC(), Value: q,
			Flag: coldseam.Provisional})
		f.Stage = append(f.Stage, coldseam.Observation{
			At:      t.UTC(),
			KnownAt: t.UTC(),
			Value:   1.2 + q/100,
			Flag:    coldseam.Provisional,
		})
	}
}

func schedule(issued time.Time, v func(time.Time) float64) coldseam.Forecast {
	fc := coldseam.Forecast{
		Site:    "x:1",
		Param:   coldseam.Discharge,
		Stat:    coldseam.Instant,
		Issued:  issued,
		KnownAt: issued,
	}
	for h := range 240 {
		at := issued.Truncate(time.Hour).Add(time.Duration(h) * time.Hour)
		fc.At, fc.Value = append(fc.At, at.UTC()), append(fc.Value, v(at))
	}
	return fc
}

// Hours that repeat by the weekday give a regulated reach away; it caps at
// TOSS-UP until a release schedule is fed, which the hours then follow.
func TestRegulatedReachWaitsForASchedule(t *testing.T) {
	t.Parallel()
	f := river()
	hydropower(&f)
	m := Make(f)
	require.True(t, m.Brief.Flow.Regulated)
	require.True(t, fired(m, "regulated"), "%v", m.Decision.Fired)
	require.NotEqual(t, coldseam.Go, m.Brief.Verdict)
	f = river()
	f.Reach.Regulated = true // the admin's word does the same
	require.True(t, fired(Make(f), "regulated"))

	f = river()
	hydropower(&f)
	issued := testNow.Add(-3 * time.Hour)
	release := func(t time.Time) float64 {
		if t.In(testLoc).Hour() >= 5 {
			return 95
		}
		return 70
	}
	f.Agency = []coldseam.Forecast{schedule(issued, release)}

	fed := Make(f)
	require.False(t, fired(fed, "regulated"), "%v", fed.Decision.Fired)
	agency := noteOf(t, fed.Brief, "discharge")[0]
	require.Equal(t, "agency_flow", agency.Code)
	require.Equal(t, "Sat 01:30", agency.At.In(f.Loc).Format("Mon 15:04"))
	a, _ := m.Brief.Best()
	for i, w := range fed.Brief.Windows {
		require.InDelta(t, 95, w.FlowM3S[1], 8, "window %d follows the schedule, not Saturday's usual 70", i)
	}
	require.InDelta(t, 70, a.FlowM3S[1], 8)

	f.Agency[0].Issued = testNow.AddDate(0, 0, -3) // nobody runs by a schedule three days old
	require.True(t, fired(Make(f), "regulated"))
	f.Agency = []coldseam.Forecast{schedule(issued, release)}
	for i := range f.Agency[0].At { // says nothing of the morning
		f.Agency[0].At[i] = f.Agency[0].At[i].AddDate(0, 0, 3)
	}
	require.True(t, fired(Make(f), "regulated"))
}

// The agency's forecast moves the ensemble: by half while its errors are not
// known, by its skill once they are.
func TestAgencyForecastEntersTheEnsemble(t *testing.T) {
	t.Parallel()
	plain := Make(river())
	f := river()
	now := plain.Flow.Quantile(4, .5)
	f.Agency = []coldseam.Forecast{schedule(testNow.Add(-2*time.Hour), func(time.Time) float64 { return 2 * now })}
	half := Make(f)
	require.InDelta(t, math.Sqrt2*now, half.Flow.Quantile(4, .5), .05*now)

	day := f.lastDay()
	for k := 150; k >= 12; k-- { // a good agency: a fifth of a per cent off, better than the members know
		issue := day.Add(-k)
		v := f.Days.Index(issue)
		fc := coldseam.Forecast{
			Site:   "x:1",
			Param:  coldseam.Discharge,
			Stat:   coldseam.Mean,
			Period: "P1D",
			Issued: issue.Add(1).In(testLoc).Add(2 * time.Hour),
		}
		for h := 1; h <= 10; h++ {
			fc.At = append(fc.At, issue.Add(h).In(testLoc))
			fc.Value = append(fc.Value, f.Days.FlowM3S[v+h]*(1+.002*float64(k%3-1)))
		}
		f.AgencyPast = append(f.AgencyPast, fc)
	}

	require.Len(t, f.agencyErrors(), 139)
	require.InDelta(t, 0, f.agencyErrors()[0].Err[0], .0021)
	skilled := Make(f)
	require.Greater(t, skilled.Flow.Quantile(4, .5), 1.6*now)

	// The ensemble of an agency counts member by member; the same for daily means.
	e := schedule(testNow.Add(-2*time.Hour), func(time.Time) float64 { return now })
	e.Members = [][]float64{e.Value, e.Value}
	f.Agency = []coldseam.Forecast{e}
	require.Len(t, f.agencyMembers(10), 2)
}

func TestFlowDaysNeedTheWholeDay(t *testing.T) {
	t.Parallel()
	loc := testLoc
	d := coldseam.Date{Year: 2026, Month: 4, Day: 17}
	at := func(day, hour int) time.Time { return time.Date(2026, 4, day, hour, 0, 0, 0, loc) }
	six := coldseam.Forecast{Stat: coldseam.Instant}
	for h := 0; h <= 54; h += 6 {
		six.At, six.Value = append(six.At, at(18, h)), append(six.Value, 10+float64(h))
	}
	got := flowDays(six, six.Value, nil, d, 4, loc)
	require.InDelta(t, 22, got[0], 1e-9) // 10..34 over the day, in a line
	require.InDelta(t, 46, got[1], 1e-9)
	require.True(t, math.IsNaN(got[2]), "six hours of a day are no day")

	late := coldseam.Forecast{Stat: coldseam.Instant, At: []time.Time{at(18, 12), at(18, 18), at(19, 0)},
		Value: []float64{30, 30, 30}}
	require.True(t, math.IsNaN(flowDays(late, late.Value, nil, d, 1, loc)[0]))
	obs := []coldseam.Observation{{At: at(17, 23), Value: 10}, {At: at(18, 11), Value: 10}}
	require.InDelta(t, 20, flowDays(late, late.Value, obs, d, 1, loc)[0], .9,
		"the hours that were read belong to the day")
	mean := coldseam.Forecast{Stat: coldseam.Mean, At: []time.Time{at(18, 0), at(19, 0)}, Value: []float64{5, 6}}
	got = flowDays(mean, mean.Value, nil, d, 3, loc)
	require.Equal(t, []float64{5, 6}, got[:2])
	require.True(t, math.IsNaN(got[2]))
	sparse := coldseam.Forecast{Stat: coldseam.Instant, At: []time.Time{at(18, 0), at(19, 0)}, Value: []float64{5, 6}}
	require.True(t, math.IsNaN(flowDays(sparse, sparse.Value, nil, d, 1, loc)[0]), "no line is drawn over a day")
}

// A day's travel lets the water forget the gauge; an hour's shifts it.
func TestTravelMovesTheHoursOfWater(t *testing.T) {
	t.Parallel()
	f := river()
	w := work{f: &f}
	w.fill()
	w.daily()
	a := testNow.Add(5 * time.Hour)
	at := func(travel float64, from time.Time) float64 {
		w.travelH = travel
		return coldseam.Quantile(w.waterIn(from, from.Add(time.Hour)), .5)
	}
	here, earlier := at(0, a), at(0, a.Add(-time.Hour))
	require.NotEqual(t, here, earlier)
	keep := math.Exp(-1 / waterMemoryH)
	require.InDelta(t, keep*earlier+(1-keep)*here, at(1, a), .02)
	require.InDelta(t, here, at(72, a), .05)
}

func TestDebrisWithholdsTheAnchor(t *testing.T) {
	t.Parallel()
	f := river()
	w := work{f: &f}
	w.fill()
	require.False(t, w.debris())
	f.Alerts = []coldseam.Alert{{Event: "Treibgut am Oberlauf", Provider: "north", Severity: "Moderate"}}
	require.False(t, w.debris())
	f.AlertRules = append(f.AlertRules, ruleFor(t, "north", "ice", "treibgut"))
	require.True(t, w.debris(), "the club's rule says what its provider's words mean")
	f.Alerts = nil
	n := len(f.Days.FlowM3S)
	f.Days.FlowM3S = slices.Clone(f.Days.FlowM3S)
	f.Days.FlowM3S[n-2], f.Days.FlowM3S[n-1] = 60, 130
	f.Discharge = append(slices.Clone(f.Discharge), coldseam.Observation{At: testNow.Add(-time.Minute).UTC(),
		Value: 140, Flag: coldseam.Provisional})
	w = work{f: &f}
	w.fill()
	require.True(t, w.debris())
}

// The club's own limits of the weight reach the advice.
func TestClubLimitsReachTheWeight(t *testing.T) {
	t.Parallel()
	f := river()
	base := Make(f).Brief.Jig[0]
	f.Limits.FloorOz = base.TieOz + .125
	require.GreaterOrEqual(t, Make(f).Brief.Jig[0].TieOz, base.TieOz+.125)
}
