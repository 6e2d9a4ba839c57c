//go:build !race

package morning_test

import (
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/forecast/season"
	"example.org/coldseam/store"
)

// dump writes a value down to its last number, without addresses and functions.
func dump(w io.Writer, v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		if v.IsNil() {
			fmt.Fprint(w, "nil ")
			return
		}
		dump(w, v.Elem())
	case reflect.Slice, reflect.Array:
		fmt.Fprint(w, v.Len(), "[")
		for i := range v.Len() {
			dump(w, v.Index(i))
		}
		fmt.Fprint(w, "]")
	case reflect.Map:
		keys := v.MapKeys()
		slices.SortFunc(keys, func(a, b reflect.Value) int { return strings.Compare(fmt.Sprint(a), fmt.Sprint(b)) })
		for _, k := range keys {
			fmt.Fprint(w, k, ":")
			dump(w, v.MapIndex(k))
		}
	case reflect.Struct:
		if at, ok := v.Interface().(time.Time); ok {
			fmt.Fprint(w, at.UnixNano(), " ")
			return
		}
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				fmt.Fprint(w, "\n", v.Type().Field(i).Name, " ")
				dump(w, v.Field(i))
			}
		}
	case reflect.Func:
	default:
		fmt.Fprint(w, v, " ")
	}
}

// knownOn is all that a replayed morning of a reach goes by.
func knownOn(t *testing.T, v *clubtest.Harness, r coldseam.Reach, day coldseam.Date) string {
	t.Helper()
	src, err := morning.NewPastMornings(t.Context(), v.Morning, r, season.AirClimatology)
	require.NoError(t, err)
	f, notReplayed, err := src.Morning(day)
	require.NoError(t, err)
	require.NotEmpty(t, f.Discharge, "%s", day)
	var b strings.Builder
	fmt.Fprintln(&b, notReplayed)
	dump(&b, reflect.ValueOf(f))
	return b.String()
}

// same compares two dumps and shows the first lines that differ.
func same(t *testing.T, want, got, what string) {
	t.Helper()
	a, b := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			t.Fatalf("%s: line %d is\n%.300s\nwas\n%.300s", what, i, b[i], a[i])
		}
	}
	require.Len(t, b, len(a), what)
}

// alterFrom turns all that is stored of the time from on: every series of every
// gauge, forecasts, warnings, gaugings, trips, logs of weights, what members said
// and timed from the bank, words of ice, models and briefs, and adds to them.
func alterFrom(t *testing.T, v *clubtest.Harness, r coldseam.Reach, from time.Time) {
	t.Helper()
	ctx, now := t.Context(), v.Now()
	sites, err := v.DB.Sites(ctx)
	require.NoError(t, err)
	for _, s := range sites {
		list, err := v.DB.SeriesList(ctx, s.ID)
		require.NoError(t, err)
		for _, k := range list {
			x := coldseam.Series{SeriesKey: k.SeriesKey}
			if h, err := v.DB.History(ctx, s.ID, k.Param, k.Stat, from, time.Time{}, now); err == nil {
				x.Obs = h.Obs
			}
			for n := 1; n < 60 && k.Period != "P1D"; n++ {
				x.Obs = append(x.Obs, coldseam.Observation{At: from.Add(time.Duration(n) * 61 * time.Minute)})
			}
			x.Obs = slices.DeleteFunc(x.Obs, func(o coldseam.Observation) bool { return o.At.After(now) })
			slices.SortStableFunc(x.Obs, func(a, b coldseam.Observation) int { return a.At.Compare(b.At) })
			x.Obs = slices.CompactFunc(x.Obs, func(a, b coldseam.Observation) bool { return a.At.Equal(b.At) })
			for i := range x.Obs {
				x.Obs[i].Value, x.Obs[i].KnownAt = 3+1.7*x.Obs[i].Value, now
			}
			if len(x.Obs) > 0 {
				_, _, err = v.DB.UpsertSeries(ctx, 0, []coldseam.Series{x})
				require.NoError(t, err)
			}
		}
		for _, p := range []coldseam.Parameter{coldseam.AirTemp, coldseam.Wind, coldseam.Gust, coldseam.WindFrom,
			coldseam.Precip, coldseam.ThunderProb, coldseam.Visibility, coldseam.Discharge, coldseam.Stage} {
			fc := coldseam.Forecast{Site: s.ID, Param: p, Provider: "northgauge", Issued: from.Add(time.Hour),
				KnownAt: from.Add(time.Hour)}
			for h := range 72 {
				fc.At, fc.Value = append(fc.At, from.Add(time.Duration(h)*time.Hour)), append(fc.Value, 31)
			}
			require.NoError(t, v.DB.SaveForecasts(ctx, []coldseam.Forecast{fc}))
		}
	}

	day := coldseam.DateOf(from.In(time.UTC))
	for n := range 12 {
		c := 1.5
		_, _, err := v.DB.AddTrip(ctx, coldseam.Trip{Reach: r.ID, Angler: fmt.Sprint("angler ", n%4), Date: day.Add(n),
			Hours: 3, Fish: 20, Species: "walleye", WaterC: &c, WaterAt: from.Add(time.Duration(24*n+2) * time.Hour)})
		require.NoError(t, err)
		_, _, err = v.DB.AddRigLog(ctx, store.RigLog{Reach: r.ID, Spot: string(r.Spots[0].ID), Angler: "a", WeightOz: 1,
			At: from.Add(time.Duration(24*n+3) * time.Hour), Body: "paddle", Line: "braid 8 lb", FlowM3S: &c})
		require.NoError(t, err)
	}

	sayFrom(t, v, r, from)

	alert := clubtest.Flood("northalert", from.Add(time.Hour))
	alert.KnownAt = from.Add(time.Hour)
	require.NoError(t, v.DB.SaveAlerts(ctx, []coldseam.Alert{alert}))
	stage, area := 2., 90.
	require.NoError(t, v.DB.SaveGaugings(ctx, []coldseam.Gauging{{Site: r.Site, At: from.Add(time.Hour), DischargeM3S: 40,
		StageM: &stage, AreaM2: &area}}))
	for _, kind := range []string{"flow", "thermal", "odds-centre", "run-refit", "wave-odds"} {
		_, err := v.DB.SaveModel(ctx, store.Model{Owner: string(r.Site), Kind: kind, MadeAt: from.Add(time.Hour),
			Params: []byte(`{"N":1}`)})
		require.NoError(t, err)
		_, err = v.DB.SaveModel(ctx, store.Model{Owner: string(r.ID), Kind: kind, MadeAt: from.Add(time.Hour),
			Params: []byte(`{"N":1}`)})
		require.NoError(t, err)
	}

	told := clubtest.OnTamsen(from.Add(time.Hour))
	told.Day, told.Inputs = coldseam.DateOf(from), []coldseam.Input{{Key: "alerts", At: from.Add(30 * time.Minute)}}
	_, err = v.DB.SaveBrief(ctx, told)
	require.NoError(t, err)
}

// sayFrom enters what members and the admin say of ice, water, fish and currents
// from a time on, of the hours after it and of those before.
func sayFrom(t *testing.T, v *clubtest.Harness, r coldseam.Reach, from time.Time) {
	t.Helper()
	ctx := t.Context()
	member := v.Join(t, fmt.Sprintf("m%d@bank.example", from.Unix()), coldseam.Preferences{Zone: r.Zone})
	for _, h := range []time.Duration{-2, 1, 26} {
		at := from.Add(h * time.Hour)
		for _, say := range []string{"ice", "wood", "muddy", "ripe"} {
			require.NoError(t, v.DB.AddBankWord(ctx, coldseam.BankWord{Reach: r.ID, Subscriber: member, At: at, Say: say}))
		}
		flow := 60.
		require.NoError(t, v.DB.AddFloatTiming(ctx, coldseam.FloatTiming{Reach: r.ID, Spot: string(r.Spots[0].ID),
			Subscriber: member, At: at, LengthM: 20, Seconds: [3]float64{9, 10, 11}, Wind: "calm", FlowM3S: &flow}))
		for _, admin := range []bool{false, true} {
			require.NoError(t, v.DB.SayIce(ctx, store.IceWord{Reach: r.ID, At: at.Add(time.Minute), Open: admin, Admin: admin,
				Edit: store.Edit{Who: "someone", Why: "seen from the bank", At: from.Add(max(h, 1) * time.Hour)}}))
		}
	}
}

// What is stored of the time after a morning changes nothing that the morning goes
// by: not of one from daily means, not of one from readings on record, not of one
// that the club lived through.
func TestNothingStoredAfterAMorningChangesIt(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	r := v.ReachOf(t, "tamsen-bend")
	r.CountSite = "northgauge:weir"
	require.NoError(t, v.DB.PutSite(t.Context(), coldseam.Site{ID: r.CountSite, Provider: "northgauge", Code: "weir", Zone: r.Zone,
		Lat: r.Lat, Lon: r.Lon}))
	require.NoError(t, v.DB.PutReach(t.Context(), r, store.Edit{Who: "keeper", Why: "a counter", At: v.Now().AddDate(0, -9, 0)}))
	counts := coldseam.Series{SeriesKey: coldseam.SeriesKey{Site: r.CountSite, Param: coldseam.FishCount, Stat: coldseam.Sum,
		Period: "P1D", Provider: "northgauge"}}
	for n := range 400 {
		at := clubtest.Saturday.Add(n - 400).UTC()
		counts.Obs = append(counts.Obs, coldseam.Observation{At: at, KnownAt: at.AddDate(0, 0, 1), Value: 50 * math.Abs(math.Sin(float64(n)))})
	}
	_, _, err := v.DB.UpsertSeries(t.Context(), 0, []coldseam.Series{counts})
	require.NoError(t, err)

	issued, err := v.DB.Brief(t.Context(), r.ID, clubtest.Saturday)
	require.NoError(t, err)
	send := issued.Issued.Add(time.Minute).In(time.UTC)
	v.Config.Club.SendAt = send.In(clubtest.MorningAt(0, 0).Location()).Format("15:04")
	v.Clock.Forward(send.AddDate(0, 0, 2))

	days := []coldseam.Date{clubtest.Saturday, clubtest.Saturday.Add(-10), clubtest.Saturday.Add(-200)}
	var before []string
	for _, d := range days {
		before = append(before, knownOn(t, v, r, d))
	}
	for i, d := range days {
		alterFrom(t, v, r, send.AddDate(0, 0, d.Sub(clubtest.Saturday)).Add(time.Minute))
		for k := i; k < len(days); k++ {
			same(t, before[k], knownOn(t, v, r, days[k]), fmt.Sprintf("%s, altered from %s on", days[k], d))
		}
	}
	require.NotEqual(t, before[1], knownOn(t, v, r, days[1]), "a morning knows what was before it")
}

// A replay of the database that begins later gives the same cells.
func TestAPartOfTheDatabaseIsAsTheWhole(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	v.Clock.Forward(v.Now().AddDate(0, 0, 2))
	day := func(n int) coldseam.Date { return coldseam.Date{Year: 2026, Month: time.February, Day: n} }
	run := func(from int) []coldseam.ReplayCell {
		src, err := morning.NewPastMornings(t.Context(), v.Morning, v.ReachOf(t, "tamsen-bend"), season.AirClimatology)
		require.NoError(t, err)
		years := &src.Record.Days // four, as fits of twelve take long
		for _, x := range []*[]float64{&years.FlowM3S, &years.WaterC, &years.AirC} {
			*x = (*x)[8*365:]
		}
		years.First = years.First.Add(8 * 365)
		src.Record.Members = 15
		r, err := season.Run(src, season.Options{From: day(from), To: day(6)})
		require.NoError(t, err)
		return r.Cells
	}
	whole := run(2)
	require.Len(t, whole, 5)
	require.NotNil(t, whole[4].FlowM3S)
	require.Equal(t, whole[3:], run(5))
}

// The page of a reach is renewed when a season has ended since the last it shows.
func TestSeasonsAreDueWhenOneHasEnded(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	r := v.ReachOf(t, "tamsen-bend")
	due := func() bool {
		ok, err := v.Morning.SeasonsDue(t.Context(), r)
		require.NoError(t, err)
		return ok
	}
	require.True(t, due())
	for _, x := range []struct {
		to   coldseam.Date
		want bool
	}{
		{coldseam.Date{Year: 2025, Month: time.May, Day: 31}, true},
		{coldseam.Date{Year: 2025, Month: time.November, Day: 30}, false},
	} {
		_, err := v.DB.SaveModel(t.Context(), store.Model{Owner: string(r.ID), Kind: "seasons", MadeAt: v.Now(), To: x.to,
			Params: []byte("[]")})
		require.NoError(t, err)
		require.Equal(t, x.want, due(), "%s", x.to)
	}
	v.Clock.Forward(time.Date(2026, 6, 2, 0, 0, 0, 0, time.UTC))
	require.True(t, due(), "the spring is over")
}

func TestLastSeasons(t *testing.T) {
	t.Parallel()
	for today, want := range map[string]string{
		"2026-04-18": "[[2025-03-01 2025-05-31] [2025-09-15 2025-11-30]]",
		"2026-06-01": "[[2025-09-15 2025-11-30] [2026-03-01 2026-05-31]]",
		"2026-12-01": "[[2026-03-01 2026-05-31] [2026-09-15 2026-11-30]]",
	} {
		d, err := coldseam.ParseDate(today)
		require.NoError(t, err)
		require.Equal(t, want, fmt.Sprint(morning.LastSeasons(d)), today)
	}
}
