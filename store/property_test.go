package store_test

import (
	"fmt"
	"math"
	"sort"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

// dump reads the observation tables as text, for comparing two histories.
func dump(t testing.TB, db *store.DB, site coldseam.SiteID) []string {
	t.Helper()
	rows, err := db.Pool().Query(t.Context(), `
		SELECT concat_ws(' ', 'now', s.param, o.valid_at, o.known_at, o.value, o.flags, q.codes)
		FROM coldseam.observation o JOIN coldseam.series s USING (series_id) JOIN coldseam.qualifier_set q ON q.qualifier_set_id = o.qualifier_set
		WHERE s.site_id = $1
		UNION ALL
		SELECT concat_ws(' ', 'old', s.param, o.valid_at, o.known_at, o.superseded_at, o.value, o.flags, q.codes)
		FROM coldseam.observation_revision o JOIN coldseam.series s USING (series_id) JOIN coldseam.qualifier_set q ON q.qualifier_set_id = o.qualifier_set
		WHERE s.site_id = $1`, site)
	require.NoError(t, err)
	defer rows.Close()

	var out []string
	for rows.Next() {
		var s string
		require.NoError(t, rows.Scan(&s))
		out = append(out, s)
	}
	require.NoError(t, rows.Err())
	sort.Strings(out)
	return out
}

// report is what one fetch said of one time.
type report struct {
	hour  int
	known int // minutes
	value float64
	flag  coldseam.Flag
	quals []string
}

func (r report) obs() coldseam.Observation {
	return obs(float64(r.hour), r.value, t0.Add(time.Duration(r.known)*time.Minute), r.flag, r.quals...)
}

// drawReports makes batches in which a value never comes back once it was
// replaced: with equal rows left untouched, "A, B, A again" can only be told
// from "A, B" when it arrives in order.
func drawReports(rt *rapid.T) [][]report {
	n := rapid.IntRange(1, 6).Draw(rt, "batches")
	version := map[int]int{}
	var out [][]report
	for b := range n {
		var batch []report
		for _, h := range rapid.SliceOfNDistinct(rapid.IntRange(0, 9), 1, 8, func(h int) int { return h }).Draw(rt,
			"hours") {
			version[h] += rapid.IntRange(0, 1).Draw(rt, "new")
			v := version[h]
			r := report{hour: h, known: 1000 + 10*b, value: float64(100*h + v), flag: coldseam.Provisional}
			if v > 2 {
				r.flag, r.quals = coldseam.Approved, []string{fmt.Sprintf("v%d", v/2)}
			}
			batch = append(batch, r)
		}
		out = append(out, batch)
	}
	return out
}

func apply(rt require.TestingT, t testing.TB, db *store.DB, site coldseam.SiteID, batches [][]report) {
	k := flow
	k.Site = site
	for _, b := range batches {
		var os []coldseam.Observation
		for _, r := range b {
			os = append(os, r.obs())
		}
		s, _, err := coldseam.NewSeries(k, os)
		require.NoError(rt, err)
		_, _, err = db.UpsertSeries(t.Context(), 0, []coldseam.Series{s})
		require.NoError(rt, err)
	}
}

// Any order of the batches, each of them any number of times, ends in the
// same rows and the same history, and the summaries agree with the rows.
func TestAnyOrderSameTable(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		in := drawReports(rt)
		a, b := coldseam.SiteID(fmt.Sprintf("sim:a%d", n)), coldseam.SiteID(fmt.Sprintf("sim:b%d", n))
		apply(rt, t, db, a, in)
		shuffled := rapid.Permutation(append(append([][]report(nil), in...), in...)).Draw(rt, "order")
		apply(rt, t, db, b, shuffled)
		require.Equal(rt, dump(t, db, a), dump(t, db, b))
		checkSummaries(rt, t, db, a)
		checkSummaries(rt, t, db, b)
	})
}

func checkSummaries(rt require.TestingT, t testing.TB, db *store.DB, site coldseam.SiteID) {
	var bad int
	require.NoError(rt, db.Pool().QueryRow(t.Context(), `
		WITH raw AS (
		  SELECT o.series_id, ((o.valid_at) AT TIME ZONE t.zone)::date AS day, min(o.value) lo, max(o.value) hi, sum(o.value) total, count(*)::int n, bit_or(o.flags) flags
		  FROM coldseam.observation o JOIN coldseam.series s USING (series_id) JOIN coldseam.site t USING (site_id)
		  WHERE s.site_id = $1 AND s.period = '' AND o.value IS NOT NULL AND o.flags & 16544 = 0 GROUP BY 1, 2)
		SELECT count(*) FROM raw FULL JOIN (SELECT d.* FROM coldseam.day_summary d JOIN coldseam.series s USING (series_id) WHERE s.site_id = $1 AND s.period = '') d USING (series_id, day)
		WHERE (raw.n, raw.lo, raw.hi, raw.flags) IS DISTINCT FROM (d.n, d.lo, d.hi, d.flags) OR abs(raw.total - d.total) > 1e-9 * abs(raw.total) + 1e-9`, site).Scan(&bad))
	require.Zero(rt, bad, "day summaries")
	require.NoError(rt, db.Pool().QueryRow(t.Context(), `
		SELECT count(*) FROM (
		  SELECT DISTINCT ON (o.series_id) o.* FROM coldseam.observation o JOIN coldseam.series s USING (series_id) WHERE s.site_id = $1 ORDER BY o.series_id, o.valid_at DESC) o
		FULL JOIN (SELECT l.* FROM coldseam.latest l JOIN coldseam.series s USING (series_id) WHERE s.site_id = $1) l USING (series_id)
		WHERE (o.valid_at, o.known_at, o.value, o.flags) IS DISTINCT FROM (l.valid_at, l.known_at, l.value, l.flags)`, site).Scan(&bad))
	require.Zero(rt, bad, "latest rows")
}

// A read as of any time returns exactly what the batches known by then said.
func TestAsOfReturnsWhatWasKnown(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	n := 0

	rapid.Check(t, func(rt *rapid.T) {
		n++
		in := drawReports(rt)
		site := coldseam.SiteID(fmt.Sprintf("sim:c%d", n))
		apply(rt, t, db, site, rapid.Permutation(in).Draw(rt, "order"))
		at := rapid.IntRange(990, 1070).Draw(rt, "as of")
		want := map[int]report{}
		for _, b := range in { // in order of known-at
			for _, r := range b {
				if r.known <= at {
					want[r.hour] = r
				}
			}
		}

		s, err := db.History(t.Context(), site, flow.Param, flow.Stat, time.Time{}, time.Time{},
			t0.Add(time.Duration(at)*time.Minute))
		require.NoError(rt, err)
		require.Len(rt, s.Obs, len(want))
		for _, o := range s.Obs {
			r := want[int(o.At.Sub(t0).Hours())]
			require.Equal(rt, r.value, o.Value)
			require.Equal(rt, r.flag, o.Flag)
			require.Equal(rt, r.quals, o.Qualifiers)
			require.False(rt, o.KnownAt.After(t0.Add(time.Duration(at)*time.Minute)))
		}
	})
}

func TestValueThatComesBack(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	for i, v := range []float64{1, 2, 1} {
		put(t, db, flow, obs(0, v, t0.Add(time.Duration(i+1)*time.Hour), 0))
	}
	for i, v := range []float64{1, 2, 1} {
		s, err := db.History(t.Context(), flow.Site, flow.Param, flow.Stat, time.Time{}, time.Time{},
			t0.Add(time.Duration(i+1)*time.Hour))
		require.NoError(t, err)
		require.Equal(t, []float64{v}, values(s))
	}
}

func TestQCChangesAreUndone(t *testing.T) {
	t.Parallel()
	now := t0.Add(10 * time.Hour)
	db := storetest.NewWith(t, store.Options{Now: func() time.Time { return now }})
	put(t, db, flow, obs(0, 5, t0.Add(time.Hour), coldseam.Provisional),
		obs(1, 900, t0.Add(time.Hour), coldseam.Provisional))
	read := func(asOf time.Time) []coldseam.Flag {
		s, err := db.History(t.Context(), flow.Site, flow.Param, flow.Stat, time.Time{}, time.Time{}, asOf)
		require.NoError(t, err)
		var out []coldseam.Flag
		for _, o := range s.Obs {
			out = append(out, o.Flag)
		}
		return out
	}

	n, err := db.SetQC(t.Context(), flow,
		[]store.QCChange{{At: t0.Add(time.Hour), New: coldseam.QCSpike | coldseam.QCFail | coldseam.Approved,
			Why: "spike"}, {At: t0.Add(5 * time.Hour), New: coldseam.QCFlat}})
	require.NoError(t, err)
	require.Equal(t, 1, n, "a row that is not stored is left alone")
	n, err = db.SetQC(t.Context(), flow,
		[]store.QCChange{{At: t0.Add(time.Hour), New: coldseam.QCSpike | coldseam.QCFail}})
	require.NoError(t, err)
	require.Zero(t, n)
	spike := coldseam.Provisional | coldseam.QCSpike | coldseam.QCFail
	require.Equal(t, []coldseam.Flag{coldseam.Provisional, spike}, read(now))
	require.Equal(t, []coldseam.Flag{coldseam.Provisional, coldseam.Provisional}, read(now.Add(-time.Second)))
	checkSummaries(t, t, db, flow.Site)
	require.Equal(t, 1, count(t, db, `SELECT n FROM coldseam.day_summary`), "a failed value is in no summary")

	// A later report of the same value clears the bits when it may, and a
	// revision starts from its own.
	now = now.Add(time.Hour)
	put(t, db, flow, obs(0, 5, now, coldseam.Provisional), obs(1, 900, now, coldseam.Provisional))
	require.Equal(t, []coldseam.Flag{coldseam.Provisional, coldseam.Provisional}, read(now))
	require.Equal(t, []coldseam.Flag{coldseam.Provisional, spike}, read(now.Add(-time.Minute)))
	require.Equal(t, []coldseam.Flag{coldseam.Provisional, coldseam.Provisional}, read(t0.Add(2*time.Hour)))
	_, err = db.SetQC(t.Context(), coldseam.SeriesKey{Site: "no:where"}, []store.QCChange{{}})
	require.ErrorIs(t, err, coldseam.ErrNotFound)

	// What is said of a value is not taken off the one that it replaced.
	flat := now.Add(time.Minute)
	say := func(bit coldseam.Flag) {
		_, err := db.SetQC(t.Context(), flow, []store.QCChange{{At: t0.Add(time.Hour), New: bit}})
		require.NoError(t, err)
		now = now.Add(time.Hour)
	}
	say(coldseam.QCFlat)
	put(t, db, flow, obs(1, 7, now, coldseam.Provisional))
	now = now.Add(time.Hour)
	say(coldseam.QCRange)
	require.Equal(t, coldseam.Provisional|coldseam.QCFlat, read(flat)[1])
}

func TestAssumedLagForBackfill(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	imported := t0.AddDate(10, 0, 0)
	k := coldseam.SeriesKey{
		Site:     "imp:hallam",
		Param:    coldseam.Discharge,
		Stat:     coldseam.Mean,
		Period:   "P1D",
		Provider: "imp",
	}
	var os []coldseam.Observation
	for d := range 5 {
		os = append(os, obs(float64(24*(d+1)), float64(d), imported, coldseam.Approved))
	}
	put(t, db, k, os...)

	put(t, db, k, obs(48, 100, imported.Add(time.Hour), coldseam.Approved)) // revised after the import
	read := func(asOf time.Time, o ...store.HistoryOption) []float64 {
		s, err := db.History(t.Context(), k.Site, k.Param, k.Stat, time.Time{}, time.Time{}, asOf, o...)
		require.NoError(t, err)
		return values(s)
	}
	lag := store.AssumeLag(time.Hour, 24*time.Hour)
	asOf := t0.Add(24*time.Hour*3 + 24*time.Hour)
	require.Empty(t, read(asOf))
	require.Equal(t, []float64{0, 1, 2}, read(asOf, lag), "valid time plus a day, the version as imported")
	require.Equal(t, []float64{0, 1}, read(asOf.Add(-time.Microsecond), lag))
	require.Equal(t, []float64{0, 100, 2, 3, 4}, read(imported.Add(time.Hour), lag))

	// A value the series lived through is never assumed.
	put(t, db, k, obs(24*365*11, 7, imported.AddDate(2, 0, 0), coldseam.Approved))
	late := t0.Add(24 * 365 * 11 * time.Hour).Add(30 * 24 * time.Hour)
	require.Len(t, read(late, lag), 5)
	from, err := db.FetchedLiveFrom(t.Context(), k.Site)
	require.NoError(t, err)
	require.Equal(t, imported, from)
}

func TestSeriesExtendOneAnother(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	old := flow
	old.Provider = "import"
	put(t, db, old, obs(-48, 1, t0, 0), obs(-24, 2, t0, 0), obs(1, 99, t0, 0))
	put(t, db, flow, obs(0, 3, t0, 0), obs(2, 4, t0, 0))
	s, err := db.History(t.Context(), flow.Site, flow.Param, flow.Stat, time.Time{}, time.Time{}, t0)
	require.NoError(t, err)
	require.Equal(t, flow, s.SeriesKey, "the newest leads")
	require.Equal(t, []float64{1, 2, 3, 4}, values(s))

	list, err := db.SeriesList(t.Context(), flow.Site)
	require.NoError(t, err)
	require.Len(t, list, 2)
	require.Equal(t, "m3_s", list[0].Param.Unit())
	require.NoError(t, db.PreferSeries(t.Context(), old, 1))
	s, err = db.History(t.Context(), flow.Site, flow.Param, flow.Stat, time.Time{}, time.Time{}, t0)
	require.NoError(t, err)
	require.Equal(t, []float64{1, 2, 99, 4}, values(s), "the preferred one leads, the other only extends it")
	require.ErrorIs(t, db.PreferSeries(t.Context(), coldseam.SeriesKey{}, 1), coldseam.ErrNotFound)
}

func TestDailyFrame(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	zone := "America/Chicago"
	require.NoError(t, db.PutSite(ctx, coldseam.Site{ID: "sim:tamsen", Zone: zone, Lat: 45}))
	loc, err := time.LoadLocation(zone)
	require.NoError(t, err)
	d0 := coldseam.Date{Year: 2026, Month: 3, Day: 6} // the clock springs forward on the 8th
	known := d0.Add(10).In(loc)

	daily := coldseam.SeriesKey{
		Site:     "sim:tamsen",
		Param:    coldseam.Discharge,
		Stat:     coldseam.Mean,
		Period:   "P1D",
		Provider: "sim",
	}
	put(t, db, daily,
		coldseam.Observation{At: d0.Add(1).In(loc), KnownAt: known, Value: 50, Flag: coldseam.Ice | coldseam.Estimated},
		coldseam.Observation{At: d0.Add(2).In(loc), KnownAt: known, Value: 60})
	var inst []coldseam.Observation
	for at := d0.Add(1).In(loc); at.Before(d0.Add(4).In(loc).Add(11 * time.Hour)); at = at.Add(30 * time.Minute) {
		inst = append(inst, coldseam.Observation{At: at, KnownAt: known,
			Value: float64(coldseam.DateOf(at.In(loc)).Sub(d0))})
	}
	put(t, db, flow, inst...)
	wt := flow
	wt.Param = coldseam.WaterTemp
	wt.Site = "sim:neighbour"
	put(t, db, wt, coldseam.Observation{At: d0.In(loc), KnownAt: known, Value: 4})

	check := func(asOf time.Time, zone string) coldseam.Days {
		f, err := db.DailyFrame(ctx, "sim:tamsen", "sim:neighbour", "", asOf, zone)
		require.NoError(t, err)
		return f
	}
	f := check(known, zone)
	require.Equal(t, d0, f.First)
	require.Equal(t, []float64{50, 60, 2, 3}, f.FlowM3S, "daily means lead, the unfinished day is left out")
	require.Equal(t, []bool{true, false, false, false}, f.FlowSoft)
	require.Nil(t, f.WaterC, "one reading is no daily mean")
	require.Nil(t, f.AirC)
	require.Equal(t, 45.0, f.Lat)

	// The same from the history, as a read of an earlier time must do.
	put(t, db, flow, coldseam.Observation{At: inst[len(inst)-1].At, KnownAt: known.Add(time.Hour), Value: 77})
	again := check(known, zone)
	require.Equal(t, f, again)

	require.NoError(t, db.PutSite(ctx, coldseam.Site{ID: "sim:neighbour", Zone: zone, DailyOnly: true}))
	f = check(known, zone)
	require.Equal(t, 4.0, f.WaterC[0], "a site that reports once a day is taken as it is")
	require.True(t, math.IsNaN(f.WaterC[1]))
	_, err = db.DailyFrame(ctx, "no:where", "", "", known, zone)
	require.ErrorIs(t, err, coldseam.ErrNotFound)
}

// A packed year reads as its days do, and no change of a day passes it by.
func TestPackedYearsFollowEveryChange(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	known := time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)
	key := coldseam.SeriesKey{
		Site:     "sim:tamsen",
		Param:    coldseam.Discharge,
		Stat:     coldseam.Mean,
		Period:   "P1D",
		Provider: "sim",
	}
	require.NoError(t, db.PutSite(ctx, coldseam.Site{ID: key.Site, Zone: "UTC"}))
	require.NoError(t, db.PutReach(ctx, coldseam.Reach{
		ID:    "bend",
		River: "Tamsen",
		Name:  "Bend",
		Site:  key.Site,
		Zone:  "UTC",
	}, store.Edit{Who: "test", Why: "test"}))

	noon := func(y, m, d int) time.Time { return time.Date(y, time.Month(m), d, 12, 0, 0, 0, time.UTC) }
	var all []coldseam.Observation
	for at := noon(2022, 12, 30); at.Before(known); at = at.AddDate(0, 0, 1) {
		if at.Year() != 2024 || at.Month() > 2 {
			all = append(all, coldseam.Observation{
				At:      at,
				KnownAt: known,
				Value:   float64(len(all)),
				Flag:    coldseam.Ice * coldseam.Flag(len(all)%2),
			})
		}
	}

	put(t, db, key, all...)
	frame := func() coldseam.Days {
		t.Helper()
		f, err := db.DailyFrame(ctx, key.Site, "", "", known.AddDate(1, 0, 0), "UTC")
		require.NoError(t, err)
		return f
	}

	packed := func() int { return count(t, db, `SELECT count(*) FROM coldseam.day_year`) }
	pack := func(want int) {
		t.Helper()
		n, err := db.PackYears(ctx, 2026)
		require.NoError(t, err)
		require.Equal(t, want, n)
	}

	before := frame()
	pack(4)
	require.True(t, fmt.Sprint(before) == fmt.Sprint(frame()), "the same days, packed") // NaN is not equal to itself
	pack(0)

	at := noon(2023, 7, 4)
	i := before.Index(coldseam.Date{Year: 2023, Month: 7, Day: 4})
	put(t, db, key, coldseam.Observation{At: at, KnownAt: known.Add(time.Hour), Value: 1000})
	require.Equal(t, 1000., frame().FlowM3S[i], "a correction")
	require.Equal(t, 3, packed())
	pack(1)

	_, err := db.SetQC(ctx, key, []store.QCChange{{At: at, New: coldseam.QCFail, Why: "test"}})
	require.NoError(t, err)
	require.True(t, math.IsNaN(frame().FlowM3S[i]), "a mark of quality control")
	pack(1)
	put(t, db, key, coldseam.Observation{At: noon(2024, 1, 15), KnownAt: known.Add(2 * time.Hour), Value: 7})
	require.Equal(t, 7., coldseam.At(frame().FlowM3S, frame().Index(coldseam.Date{Year: 2024, Month: 1, Day: 15})),
		"a day that was not there")
	pack(1)
	require.NoError(t, db.PutSite(ctx, coldseam.Site{ID: key.Site, Zone: "America/Chicago"}))
	require.Zero(t, packed(), "days cut in another zone")
}

func TestZoneChangeRecutsDays(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	put(t, db, flow, obs(1, 1, t0, 0), obs(23, 2, t0, 0))
	require.Equal(t, 1, count(t, db, `SELECT count(*) FROM coldseam.day_summary`))
	require.NoError(t, db.PutSite(t.Context(), coldseam.Site{ID: flow.Site, Zone: "America/Chicago"}))
	require.Equal(t, 2, count(t, db, `SELECT count(*) FROM coldseam.day_summary`))
	checkSummaries(t, t, db, flow.Site)
	require.ErrorIs(t, db.PutSite(t.Context(), coldseam.Site{ID: flow.Site, Zone: "Mars/Base"}), coldseam.ErrInvalid)
}
