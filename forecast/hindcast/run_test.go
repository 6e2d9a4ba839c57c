package hindcast

import (
	"encoding/json"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/score"
)

// river is an invented river of n days from 1 January 2010, cold enough to
// freeze, with a melt flood: the Tamsen.
func river(n int, seed uint64) coldseam.Days {
	d := coldseam.Days{First: coldseam.Date{Year: 2010, Month: 1, Day: 1}, Lat: 46,
		WaterC: make([]float64, n), AirC: make([]float64, n), FlowM3S: make([]float64, n)}
	rng := ensemble.Stream(seed, d.First, 0)
	c := ensemble.NewCalendar(d.First, n)
	a, w, z := 0.0, 0.0, 0.0
	for i := range n {
		a = .7*a + 2.2*rng.NormFloat64()
		d.AirC[i] = 4 - 15*math.Cos(2*math.Pi*float64(c.Doy[i]-20)/ensemble.YearDays) + a
		w = max(0, .55*w+.45*(.8*d.AirC[i]+1)+.25*rng.NormFloat64())
		d.WaterC[i] = w
		z = .9*z + .15*rng.NormFloat64() + .4*max(rng.NormFloat64()-1.8, 0)
		d.FlowM3S[i] = 20 * math.Exp(z+1.6*math.Exp(-math.Pow((float64(c.Doy[i])-115)/25, 2)/2))
	}
	return d
}

// collect runs a hindcast and returns its member rows by issue day.
func collect(t *testing.T, d coldseam.Days, o Options) map[coldseam.Date][]MemberRow {
	t.Helper()
	out := map[coldseam.Date][]MemberRow{}
	o.Intervals, o.NoDates = -1, true
	o.Member = func(r MemberRow) error { out[r.Issued] = append(out[r.Issued], r); return nil }
	_, err := Run(d, o)
	require.NoError(t, err)
	return out
}

// What happened after the issue must not touch the forecast: with every value
// after one day garbled, all forecasts issued up to that day, made with earlier
// years only, stay the same to the bit, in every mode that promises it.
func TestNothingLeaksFromTheFuture(t *testing.T) {
	t.Parallel()
	d := river(4*365, 1)
	cut := d.Index(coldseam.Date{Year: 2013, Month: 4, Day: 20})
	garbled := d
	for _, x := range []*[]float64{&garbled.WaterC, &garbled.AirC, &garbled.FlowM3S} {
		*x = slices.Clone(*x)
		for i := cut + 1; i < len(*x); i++ {
			(*x)[i] = 3 + math.Mod(float64(i)*7.3, 11)
		}
	}

	for _, q := range []Quantity{Temperature, Flow} {
		t.Run(string(q), func(t *testing.T) {
			t.Parallel()
			o := Options{Quantity: q, Air: Climatology, Expanding: true, Members: 20, Step: 4}
			a, b := collect(t, d, o), collect(t, garbled, o)
			n := 0
			for day, rows := range a {
				if d.Index(day) > cut {
					continue
				}
				require.Len(t, b[day], len(rows))
				for k := range rows {
					require.Equal(t, rows[k].Members, b[day][k].Members, "issued %s lead %d", day, rows[k].Lead)
				}
				n++
			}

			require.Greater(t, n, 100)
		})
	}
}

// The same with NaN planted after the issue, straight at the models.
func TestModelsReadNothingAfterTheIssue(t *testing.T) {
	t.Parallel()
	d := river(5*365, 2)
	h := newReplay(d, Options{Quantity: Temperature, Air: Climatology, Seed: 1, Members: 30, Step: 2, Leads: []int{1}})

	for _, q := range []Quantity{Temperature, Flow} {
		h.o.Quantity = q
		model, err := h.fit(fold{training: ensemble.Training{Last: coldseam.Date{Year: 2013, Month: 12, Day: 31}}})
		require.NoError(t, err)

		for _, t0 := range []int{1500, 1533, 1570, 1700} {
			ask := h.ask(t0, ensemble.CrossingHorizon)
			want, err := model.Forecast(ask)
			require.NoError(t, err)
			blind := d
			for _, x := range []*[]float64{&blind.WaterC, &blind.AirC, &blind.FlowM3S} {
				*x = slices.Clone(*x)
				for i := t0 + 1; i < len(*x); i++ {
					(*x)[i] = math.NaN()
				}
			}

			ask.View = blind
			got, err := model.Forecast(ask)
			require.NoError(t, err)
			require.Equal(t, want, got)
		}
	}
}

func TestSameSeedSameBytes(t *testing.T) {
	t.Parallel()
	d := river(3*365, 3)
	run := func(seed uint64) []byte {
		r, err := Run(d, Options{Site: "tamsen", Air: Perfect, Seed: seed, Members: 20, Step: 5, Intervals: 50})
		require.NoError(t, err)
		raw, err := json.Marshal(r)
		require.NoError(t, err)
		return raw
	}
	a := run(7)
	require.Equal(t, string(a), string(run(7)))
	require.NotEqual(t, string(a), string(run(8)))
}

// The keys that others read.
func TestReportKeys(t *testing.T) {
	t.Parallel()
	r, err := Run(river(4*365, 4), Options{Site: "tamsen", Air: Climatology, Members: 20, Step: 4, Intervals: 50})
	require.NoError(t, err)
	raw, err := json.Marshal(r)
	require.NoError(t, err)
	var m map[string]any
	require.NoError(t, json.Unmarshal(raw, &m))
	for _, k := range []string{"site", "quantity", "air", "n", "leads", "cold", "all", "crossing", "brier"} {
		require.Contains(t, m, k)
	}
	require.Equal(t, "temperature", m["quantity"])
	require.Equal(t, []any{1., 3., 5., 7., 10.}, m["leads"])

	for _, season := range []string{"cold", "all"} {
		b := m[season].(map[string]any)
		require.Greater(t, b["n"], 20.)
		require.Len(t, b["coverage80"], 5)
		for _, name := range Methods {
			require.Len(t, b["crps"].(map[string]any)[name], 5, name)
			require.Len(t, b["rmse"].(map[string]any)[name], 5, name)
			for _, v := range b["crps"].(map[string]any)[name].([]any) {
				require.Greater(t, v, 0.)
			}
		}

		require.Len(t, b["pit"], 5)
		require.Len(t, b["skill"].(map[string]any)["dressed"], 5)
	}

	c := m["crossing"].(map[string]any)
	for _, k := range []string{"threshold_c", "ahead_days", "mae_days", "crps_days", "n"} {
		require.Contains(t, c, k)
	}
	br := m["brier"].(map[string]any)
	for _, k := range []string{"within_days", "coldseam", "dressed", "anomaly_ar", "climatology", "reliability"} {
		require.Contains(t, br, k)
	}
	require.Greater(t, br["n"], 50.)
}

// Every score can be made again from the members alone.
func TestMembersGiveTheScores(t *testing.T) {
	t.Parallel()
	sum, n := 0.0, 0.0
	r, err := Run(river(4*365, 5), Options{Quantity: Flow, Members: 20, Intervals: -1, Member: func(m MemberRow) error {
		require.GreaterOrEqual(t, len(m.Members), 10)
		if m.Lead == 5 {
			x := make([]float64, len(m.Members))
			for i, v := range m.Members {
				require.Greater(t, v, 0.)
				x[i] = math.Log(v)
			}
			sum += score.FairCRPS(x, math.Log(m.Observed))
			n++
		}
		return nil
	}})
	require.NoError(t, err)
	require.Equal(t, float64(r.N), n)
	require.InDelta(t, r.All.CRPS[Coldseam][2], sum/n, 1e-5)
}

func TestRunRefuses(t *testing.T) {
	t.Parallel()
	d := river(3*365, 6)
	bare := d
	bare.AirC = nil

	for _, c := range []struct {
		name string
		d    coldseam.Days
		o    Options
	}{
		{"unknown quantity", d, Options{Quantity: "stage"}},
		{"unknown air", d, Options{Air: "crystal"}},
		{"archived without archive", d, Options{Air: Archived}},
		{"perfect without air", bare, Options{Air: Perfect}},
		{"lead", d, Options{Leads: []int{11}}},
		{"one year", river(300, 1), Options{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, err := Run(c.d, c.o)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
		})
	}
}

// A river without an air record runs on the models that need none.
func TestRunWithoutAir(t *testing.T) {
	t.Parallel()
	d := river(5*365, 7)
	d.AirC = nil
	r, err := Run(d, Options{Members: 20, Step: 4, Intervals: 100, NoDates: true})
	require.NoError(t, err)
	require.Less(t, r.All.CRPS[Coldseam][4], 1.05*r.All.CRPS[Dressed][4])
}

// An issue without enough air ahead is dropped in mode perfect, and counted.
func TestDroppedForMissingAirIsCounted(t *testing.T) {
	t.Parallel()
	d := river(4*365, 8)
	o := Options{Air: Perfect, Members: 10, Step: 4, Intervals: -1, NoDates: true}
	whole, err := Run(d, o)
	require.NoError(t, err)
	require.Zero(t, whole.DroppedAir)
	for i := 900; i < 940; i++ {
		d.AirC[i] = math.NaN()
	}
	gap, err := Run(d, o)
	require.NoError(t, err)
	require.Equal(t, 11, gap.DroppedAir, "every fourth day from 893 to 933: four or more of its ten days ahead lie in the gap")
	require.Equal(t, whole.N, gap.N+gap.DroppedAir)
	require.Equal(t, 4, gap.Step)
}

// What is not known is null in a report, never 0, the best score there is.
func TestNaNIsNoScore(t *testing.T) {
	t.Parallel()
	raw, err := json.Marshal(Scores{1.5, round(math.NaN()), round(math.Inf(1))})
	require.NoError(t, err)
	require.Equal(t, "[1.5,null,null]", string(raw))
	raw, err = json.Marshal(Skill{.1, math.NaN(), .2})
	require.NoError(t, err)
	require.Equal(t, "[0.1,null,0.2]", string(raw))
	var back Scores
	require.NoError(t, json.Unmarshal(raw, &back))
	require.True(t, back[0] == .1 && math.IsNaN(back[1]) && back[2] == .2)

	require.ErrorIs(t, finite([][]float64{{1, 2}, {3, math.NaN()}}), coldseam.ErrInvalid)
	require.ErrorIs(t, finite([][]float64{{math.Inf(-1)}}), coldseam.ErrInvalid)
	require.NoError(t, finite([][]float64{{1, 2}}))
}
