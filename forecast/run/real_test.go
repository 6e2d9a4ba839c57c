package run

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// realData is the folder of public records, or skips: unset is a skip,
// set and unreadable is a failure.
func realData(t testing.TB, parts ...string) string {
	t.Helper()
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: no public records to test against")
	}
	p := filepath.Join(append([]string{root, "series"}, parts...)...)
	_, err := os.Stat(p)
	require.NoError(t, err)
	return p
}

func readAll(t testing.TB, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

// frame reads date, flow, water columns (flow < 0: none) into a gap-aware frame.
func frame(t testing.TB, path string, lat float64, flow, water int) coldseam.Days {
	t.Helper()
	rows := readAll(t, path)
	first, err := coldseam.ParseDate(rows[0][0])
	require.NoError(t, err)
	last, err := coldseam.ParseDate(rows[len(rows)-1][0])
	require.NoError(t, err)
	d := coldseam.Days{First: first, Lat: lat}
	n := last.Sub(first) + 1
	d.WaterC, d.FlowM3S = make([]float64, n), make([]float64, n)
	for i := range n {
		d.WaterC[i], d.FlowM3S[i] = math.NaN(), math.NaN()
	}
	get := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return math.NaN()
		}
		return v
	}
	for _, r := range rows {
		day, err := coldseam.ParseDate(r[0])
		require.NoError(t, err)
		d.WaterC[day.Sub(first)] = get(r[water])
		if flow >= 0 {
			d.FlowM3S[day.Sub(first)] = get(r[flow])
		}
	}
	if flow < 0 {
		d.FlowM3S = nil
	}
	return d
}

func escanaba(t testing.TB) coldseam.Days {
	return frame(t, realData(t, "biology", "escanaba_water_temp_modelled_1956_2020.csv"), 46.06, -1, 1)
}

// iceOff is the day of the year on which the lake's ice went, by year.
func iceOff(t testing.TB) map[int]int {
	t.Helper()
	out := map[int]int{}
	for _, r := range readAll(t, realData(t, "biology", "escanaba_ice_dates_1956_2020.csv")) {
		d, err := time.Parse("1/2/2006", r[2])
		require.NoError(t, err)
		out[d.Year()] = d.YearDay()
	}
	return out
}

// rivers are the river springs of the calibration.
func rivers(t testing.TB) map[string]coldseam.Days {
	t.Helper()
	return map[string]coldseam.Days{
		"stlouis": frame(t, realData(t, "greatlakes", "stlouis.csv"), 46.7, -1, 2),
		"fox":     frame(t, realData(t, "greatlakes", "fox.csv"), 44.5, -1, 2),
		"saginaw": frame(t, realData(t, "greatlakes", "saginaw.csv"), 43.4, -1, 2),
	}
}

// springRun is one spring of the model with what the constraints look at.
type springRun struct {
	name                   string
	year                   int
	days                   []ClockDay
	start, mid, end        int // 5, 50, 95 % of spawning, index; -1 never
	midC                   float64
	male10, female10       int
	male50, female50       int
	unspawned              float64
	share510, above41      float64
	waveDays, openDays     int
	waveRuns, gapRuns, run []int
}

// cohortDays runs the quiet clock and keeps arrivals by type.
func (s *Species) cohortDays(d coldseam.Days, year int) (days []ClockDay, male, female []float64, err error) {
	days, err = Clock(*s, d, ClockOptions{Year: year, NoNoise: true})
	if err != nil {
		return nil, nil, nil, err
	}
	w, err := spring(d, nil, days[len(days)-1].Date.Add(1), s.Tb)
	if err != nil {
		return nil, nil, nil, err
	}
	dr := s.drives(d.Lat, w.first, w.t, w.q, nil, 0)
	p := s.defaults()
	var st state
	for i := range dr {
		s.step(&p, &st, &dr[i], 0, 0)
		m, f, mw := 0.0, 0.0, 0.0
		for c, k := range s.Cohorts {
			if k.Female {
				f += st.moved[c]
			} else {
				m += st.moved[c]
				mw += k.W
			}
		}
		male, female = append(male, m/mw), append(female, f/s.femaleShare)
	}
	return days, male, female, nil
}

func reach(x []float64, v float64) int {
	for i, a := range x {
		if a >= v {
			return i
		}
	}
	return -1
}

func (s *Species) springOf(name string, d coldseam.Days, year int) (springRun, error) {
	days, male, female, err := s.cohortDays(d, year)
	if err != nil {
		return springRun{}, err
	}
	r := springRun{name: name, year: year, days: days}
	get := func(f func(ClockDay) float64) []float64 {
		out := make([]float64, len(days))
		for i := range days {
			out[i] = f(days[i])
		}
		return out
	}
	sp := get(func(c ClockDay) float64 { return c.Spawned })
	total := sp[len(sp)-1]
	r.unspawned = 1 - total
	r.start, r.mid, r.end = reach(sp, .05*total), reach(sp, .5*total), reach(sp, .95*total)
	if total < .05 {
		return r, fmt.Errorf("%s %d: hardly any spawning", name, year)
	}
	r.midC = days[r.mid].Water
	r.male10, r.male50, r.female10, r.female50 = reach(male, .1), reach(male, .5), reach(female, .1), reach(female, .5)
	prev, in510, arrWarm, arr := 0.0, 0.0, 0.0, 0.0
	for i, c := range days {
		if c.Water >= 5 && c.Water <= 10 {
			in510 += sp[i] - prev
		}
		prev = sp[i]
		arr += c.Arrivals
		if c.Water > 4.1 {
			arrWarm += c.Arrivals
		}
	}
	r.share510, r.above41 = in510/total, arrWarm/arr
	return r, nil
}

func median(x []float64) float64 { return coldseam.Quantile(x, .5) }

func slope(x, y []float64) float64 {
	mx, my := mean(x), mean(y)
	a, b := 0.0, 0.0
	for i := range x {
		a += (x[i] - mx) * (y[i] - my)
		b += (x[i] - mx) * (x[i] - mx)
	}
	return a / b
}

// lakeSprings are the springs of the lake with the whole of 1 January to July.
func (s *Species) lakeSprings(t testing.TB) (out []springRun, ice []float64) {
	t.Helper()
	d, off := escanaba(t), iceOff(t)
	var years []int
	for y := range off {
		years = append(years, y)
	}
	sort.Ints(years)
	for _, y := range years {
		if y < 1957 || y > 2019 {
			continue
		}
		r, err := s.springOf("lake", d.Cut(coldseam.Date{Year: y, Month: 7, Day: 31}), y)
		if err != nil {
			continue
		}
		out, ice = append(out, r), append(ice, float64(off[y]))
	}
	return out, ice
}

func (s *Species) riverSprings(t testing.TB) (out []springRun) {
	t.Helper()
	for _, name := range []string{"stlouis", "fox", "saginaw"} {
		d := rivers(t)[name]
		for y := 2012; y <= 2014; y++ {
			r, err := s.springOf(name, d.Cut(coldseam.Date{Year: y, Month: 7, Day: 31}), y)
			if err != nil {
				t.Log(name, y, err)
				continue
			}
			out = append(out, r)
		}
	}
	return out
}

func pick(rs []springRun, f func(springRun) float64) []float64 {
	var out []float64
	for _, r := range rs {
		out = append(out, f(r))
	}
	return out
}

// lateCold is the late cold spring of the calibration: 44 N, linear through
// .5 C (1 April), 1.1 (15 April), 4.4 (1 May), 9.5 (21 May).
func lateCold(day int) float64 {
	x := []float64{91, 105, 121, 141}
	y := []float64{.5, 1.1, 4.4, 9.5}
	d := float64(day)
	if d <= x[0] {
		return y[0]
	}
	for i := 1; i < len(x); i++ {
		if d <= x[i] {
			return y[i-1] + (y[i]-y[i-1])*(d-x[i-1])/(x[i]-x[i-1])
		}
	}
	return y[3] + .25*(d-x[3])
}

// TestWaveDaysOfTheRun holds the share of wave days of the noisy clock near
// that of counted runs (.13-.19), which last two or three times as long: a
// shorter run doubles more often.
func TestWaveDaysOfTheRun(t *testing.T) {
	t.Parallel()
	sp := walleye(t)
	_, days := sp.noiseConstraints(t)
	for name, share := range days {
		t.Logf("%s: %.3f of the days of the run", name, share)
		require.InDelta(t, .18, share, .06, name)
	}
}

func (s *Species) constraints(t testing.TB) string {
	t.Helper()
	out := ""
	row := func(format string, a ...any) { out += fmt.Sprintf(format+"\n", a...) }
	arrived := func(c float64, days ...int) []float64 {
		got, err := Clock(*s, at45(150, func(int) float64 { return c }), ClockOptions{NoNoise: true})
		require.NoError(t, err)
		var v []float64
		for _, d := range days {
			v = append(v, got[d-1].Arrived)
		}
		return v
	}
	row("constant 2 C by day 90, 105, 120 (<=.03 <=.15 .20-.50): %.2f", arrived(2, 90, 105, 120))
	row("constant 3 C by day 90, 105 (<=.25 .25-.70): %.2f", arrived(3, 90, 105))
	lake, ice := s.lakeSprings(t)
	river := s.riverSprings(t)
	num := func(f func(springRun) int) func(springRun) float64 {
		return func(r springRun) float64 { return float64(f(r)) }
	}
	mid := num(func(r springRun) int { return r.mid })
	start := num(func(r springRun) int { return r.start })
	length := num(func(r springRun) int { return r.end - r.start })
	row("lake springs %d, river springs %d", len(lake), len(river))
	row("spawn midpoint lake C (6.7-8.3): %.1f; share at 5-10 C (>=.65): %.2f", median(pick(lake, func(r springRun) float64 { return r.midC })), median(pick(lake, func(r springRun) float64 { return r.share510 })))
	row("slope of start, midpoint on ice-out (.5-1.0): %.2f %.2f", slope(ice, pick(lake, start)), slope(ice, pick(lake, mid)))
	row("5-95 %% of spawning, lake, rivers (14-20 d): %.0f %.0f", median(pick(lake, length)), median(pick(river, length)))
	l10 := num(func(r springRun) int { return r.female10 - r.male10 })
	l50 := num(func(r springRun) int { return r.female50 - r.male50 })
	row("male lead at 10, 50 %%, lake; rivers (7-14 d): %.0f %.0f; %.0f %.0f", median(pick(lake, l10)), median(pick(lake, l50)), median(pick(river, l10)), median(pick(river, l50)))
	d := at45(190, lateCold)
	d.Lat = 44
	lc, err := s.springOf("late cold", d, 2023)
	require.NoError(t, err)
	by40, at10, at50 := 0.0, 0.0, 0.0
	for _, c := range lc.days {
		if c.Water <= coldseam.C(40) {
			by40 = c.Spawned
		}
		if at10 == 0 && c.Spawned >= .1 {
			at10 = c.Water
		}
		if at50 == 0 && c.Spawned >= .5 {
			at50 = c.Water
		}
	}
	row("late cold spring: spawned by 40 F (>=.25) %.2f; 10 %% at (<=4.4) %.1f; half at (<=6.0) %.1f", by40, at10, at50)
	row("left unspawned, lake: median %.2f worst %.2f", median(pick(lake, func(r springRun) float64 { return r.unspawned })), coldseam.Quantile(pick(lake, func(r springRun) float64 { return r.unspawned }), 1))
	for _, r := range river {
		row("  %s %d midpoint day %d at %.1f C, male lead %d %d", r.name, r.year, r.mid+1, r.midC, r.female10-r.male10, r.female50-r.male50)
	}
	noise, _ := s.noiseConstraints(t)
	return out + noise
}

// noiseConstraints are those that need the noise: where fish arrive, how many
// days are waves.
func (s *Species) noiseConstraints(t testing.TB) (out string, waveDays map[string]float64) {
	t.Helper()
	waveDays = map[string]float64{}
	one := func(name string, frames map[int]coldseam.Days) {
		var share, warm []float64
		var waves, gaps, half []float64
		for y, d := range frames {
			w, err := spring(d, nil, d.First.Add(d.Len()), s.Tb)
			if err != nil {
				continue
			}
			dr := s.drives(d.Lat, w.first, w.t, nil, nil, 0)
			for k := range 6 {
				rng := stream(uint64(y), k)
				p := s.defaults()
				var st state
				var a []float64
				var wave []bool
				in, hot, all := 0, 0.0, 0.0
				wv := 0
				for i := range dr {
					s.step(&p, &st, &dr[i], s.Sigma, rng.NormFloat64())
					a, wave = append(a, st.arrivals), append(wave, st.wave)
					tot := st.totals(s)
					if tot.arrived >= .05 && tot.arrived <= .95 {
						in++
						if st.wave {
							wv++
						}
					}
					all += st.arrivals
					if w.t[i] > 4.1 {
						hot += st.arrivals
					}
				}
				share, warm = append(share, float64(wv)/float64(max(in, 1))), append(warm, hot/all)
				x, g, h := shape(a, wave)
				waves, gaps, half = append(waves, x...), append(gaps, g...), append(half, h)
			}
		}
		waveDays[name] = mean(share)
		out += fmt.Sprintf("%s: wave days (.13-.19) %.3f; arrivals above 4.1 C (.65-.85) %.2f; wave, gap, half of run d (1-3 2-4 6-12): %.0f %.0f %.0f\n",
			name, mean(share), median(warm), median(waves), median(gaps), median(half))
	}
	d := escanaba(t)
	lake := map[int]coldseam.Days{}
	for y := 1957; y <= 2019; y++ {
		lake[y] = yearOf(d, y)
	}
	one("lake", lake)
	riv := map[int]coldseam.Days{}
	k := 0
	for _, name := range []string{"stlouis", "fox", "saginaw"} {
		for y := 2012; y <= 2014; y++ {
			k++
			riv[k] = yearOf(rivers(t)[name], y)
		}
	}
	one("rivers", riv)
	return out, waveDays
}

// yearOf cuts 1 January to 31 July.
func yearOf(d coldseam.Days, y int) coldseam.Days {
	i := d.Index(coldseam.Date{Year: y, Month: 1, Day: 1})
	n := 212
	out := coldseam.Days{First: coldseam.Date{Year: y, Month: 1, Day: 1}, Lat: d.Lat, WaterC: make([]float64, n)}
	for k := range n {
		out.WaterC[k] = coldseam.At(d.WaterC, i+k)
	}
	return out
}

// shape measures waves, gaps between them, and the shortest time in which half
// of the run arrived.
func shape(a []float64, wave []bool) (waves, gaps []float64, half float64) {
	run, gap, seen := 0, 0, false
	for _, on := range wave {
		if on {
			if run == 0 && seen && gap > 0 {
				gaps = append(gaps, float64(gap))
			}
			run, gap, seen = run+1, 0, true
			continue
		}
		if run > 0 {
			waves = append(waves, float64(run))
		}
		run = 0
		gap++
	}
	half = float64(len(a))
	sum, lo := 0.0, 0
	for hi, x := range a {
		sum += x
		for sum-a[lo] >= .5 {
			sum -= a[lo]
			lo++
		}
		if sum >= .5 {
			half = math.Min(half, float64(hi-lo+1))
		}
	}
	return waves, gaps, half
}

// BenchmarkConstraints prints the constraint table of the model: run it with
// -bench Constraints -benchtime 1x -v.
func BenchmarkConstraints(b *testing.B) {
	sp := walleye(b)
	for b.Loop() {
		b.Log("\n" + sp.constraints(b))
	}
}

func TestSpawnMidpointFollowsIceOut(t *testing.T) {
	t.Parallel()
	sp := walleye(t)
	lake, ice := sp.lakeSprings(t)
	require.Greater(t, len(lake), 55)
	got := slope(ice, pick(lake, func(r springRun) float64 { return float64(r.mid) }))
	require.GreaterOrEqual(t, got, .5)
	require.LessOrEqual(t, got, 1.0)
}

// TestSpeciesMedians holds every row to the medians over twelve river springs:
// water at the spawn midpoint, and days after walleye. Both count the fish that
// the warm springs no longer drive away unspawned.
func TestSpeciesMedians(t *testing.T) {
	t.Parallel()
	rows := DefaultSpecies()
	frames := rivers(t)
	frames["vermilion"] = frame(t, realData(t, "greatlakes", "vermilion.csv"), 41.4, -1, 2)
	for _, d := range frames {
		carry(d.WaterC, 45, false) // summer holes, after the spawning or nearly so
	}
	mids := map[string]map[string]springRun{}
	for _, s := range rows {
		mids[s.Key] = map[string]springRun{}
		for name, d := range frames {
			for y := 2012; y <= 2014; y++ {
				r, err := s.springOf(name, d.Cut(coldseam.Date{Year: y, Month: 7, Day: 31}), y)
				if err != nil {
					t.Log(s.Key, err)
					continue
				}
				mids[s.Key][fmt.Sprint(name, y)] = r
			}
		}
	}
	for key, want := range map[string][2]float64{
		"walleye": {9.4, 0}, "sauger": {10.4, 2}, "northern_pike": {7.6, -6.5},
		"white_bass": {13.1, 19}, "lake_sturgeon": {12.6, 13.5}, "steelhead": {8.3, -5.5},
	} {
		var water, after []float64
		for k, r := range mids[key] {
			water = append(water, r.midC)
			after = append(after, float64(r.mid-mids["walleye"][k].mid))
		}
		t.Logf("%s: %d springs, midpoint at %.1f C, %+.1f d after walleye", key, len(water), median(water), median(after))
		require.InDelta(t, want[0], median(water), 1, key)
		require.InDelta(t, want[1], median(after), 1.5, key)
	}
}

// TestReferenceSeason holds the shipped season peak and the quartiles of the
// fishable index to the springs they came from.
func TestReferenceSeason(t *testing.T) {
	t.Parallel()
	r := NewReference(walleye(t), escanaba(t), nil, 2020, 7)
	t.Logf("%d springs: quartiles of N %.3f, season peak %.3f", r.Springs, r.Quartiles, r.Peak)
	require.Equal(t, 63, r.Springs)
	for i, want := range []float64{.214, .360, .454} {
		require.InDelta(t, want, r.Quartiles[i], .03)
	}
	require.InDelta(t, SeasonPeak, r.Peak, .025)
	require.InDelta(t, r.Quartiles[1]+.35, r.WithResidents(.35)[1], 1e-12)
}

// TestNoSpringCancelsSpawning holds what has spawned to 85 % of what arrived:
// in a jump from .5 to 12 C in four days, in a southern spring that never falls
// below 7 C, and in every public spring.
func TestNoSpringCancelsSpawning(t *testing.T) {
	t.Parallel()
	sp := walleye(t)
	hold := func(name string, d coldseam.Days, year int) bool {
		out, err := Clock(sp, d, ClockOptions{Year: year, Draws: 60})
		if err != nil || len(out) == 0 || out[len(out)-1].Arrived < .8 {
			return false
		}
		last := out[len(out)-1]
		require.GreaterOrEqual(t, last.Spawned, .85*last.Arrived, "%s %d", name, year)
		return true
	}
	require.True(t, hold("jump", at45(212, func(day int) float64 { return .5 + 11.5*clip(float64(day-95)/4, 0, 1) }), 2023))
	south := at45(212, func(day int) float64 { return 7 + clip(float64(day-30)*.1, 0, 15) })
	south.Lat = 33
	require.True(t, hold("open winter", south, 2023))

	springs := 0
	for _, folder := range []struct {
		name string
		lat  float64
	}{{"greatlakes", 44.5}, {"alaska", 61}, {"alaska_more", 61}} {
		files, err := filepath.Glob(filepath.Join(realData(t, folder.name), "*.csv"))
		require.NoError(t, err)
		for _, f := range files {
			d := frame(t, f, folder.lat, -1, 2)
			carry(d.WaterC, 45, false)
			for y := d.First.Year; y <= d.Day(d.Len()-1).Year; y++ {
				if hold(filepath.Base(f), d.Cut(coldseam.Date{Year: y, Month: 7, Day: 31}), y) {
					springs++
				}
			}
		}
	}
	lake := escanaba(t)
	for y := 1957; y < 2020; y++ {
		if hold("lake", lake.Cut(coldseam.Date{Year: y, Month: 7, Day: 31}), y) {
			springs++
		}
	}
	require.Greater(t, springs, 150)
}

// TestATaggedFemaleInMarch: a tagged walleye was in the Saginaw at 4.2 C on 29
// March 2013, so that a female in by 31 March lies inside the 90 % range.
func TestATaggedFemaleInMarch(t *testing.T) {
	t.Parallel()
	sp := walleye(t)
	d := rivers(t)["saginaw"]
	w, err := spring(d, nil, coldseam.Date{Year: 2013, Month: 4, Day: 1}, sp.Tb)
	require.NoError(t, err)
	dr := sp.drives(d.Lat, w.first, w.t, w.q, nil, 0)
	in := 0.0
	for j := range 500 {
		rng := stream(3, j)
		p := sp.sample(rng, Prior{SD: sp.DeltaSD})
		var st state
		for i := range dr {
			sp.step(&p, &st, &dr[i], sp.Sigma, rng.NormFloat64())
		}
		for c, k := range sp.Cohorts {
			if k.Female {
				in += st.moved[c] / sp.femaleShare / 500
			}
		}
	}
	t.Logf("females in by 31 March: %.3f", in)
	require.GreaterOrEqual(t, in, .05)
}
