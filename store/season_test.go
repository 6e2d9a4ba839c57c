package store_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

// seedSeason stores a small spring on one reach: 12 years of daily values, 40
// mornings told, forecasts with scores, trips of five anglers, rig logs.
func seedSeason(t testing.TB, db *store.DB) {
	t.Helper()
	ctx := t.Context()
	require.NoError(t, db.PutSite(ctx, coldseam.Site{
		ID:       "sim:tamsen",
		Provider: "sim",
		Code:     "tamsen",
		Name:     "Tamsen at Ford",
		Zone:     "America/Chicago",
		Lat:      45,
		Lon:      -93,
	}))
	r := bend
	limit := 180.0
	r.MaxFlowM3S = &limit
	require.NoError(t, db.PutReach(ctx, r, store.Edit{Who: "admin", Why: "set-up", At: time.Date(2026, 1, 5, 0, 0, 0, 0,
		time.UTC)}))
	val := "0.25"
	require.NoError(t, db.SetThreshold(ctx, "thunder_probability", &val, store.Edit{Who: "admin", Why: "an early storm",
		At: time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)}))

	loc, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	first, last := coldseam.Date{Year: 2015, Month: 1, Day: 1}, coldseam.Date{Year: 2026, Month: 4, Day: 30}
	var q, w []coldseam.Observation
	for d := first; !last.Before(d); d = d.Add(1) {
		at, known := d.Add(1).In(loc), d.Add(1).In(loc).Add(6*time.Hour)
		x := float64(d.YearDay())
		q = append(q, coldseam.Observation{
			At:      at,
			KnownAt: known,
			Value:   60 + 40*math.Sin(x/58) + float64(d.Year%5),
			Flag:    coldseam.Approved,
		})
		if d.Year == 2026 && d.Month == 2 && d.Day >= 10 && d.Day <= 12 {
			continue // the thermometer was out
		}
		w = append(w, coldseam.Observation{
			At:      at,
			KnownAt: known,
			Value:   math.Max(0, 12-12*math.Cos((x-20)/58)),
			Flag:    coldseam.Approved,
		})
	}

	daily := func(p coldseam.Parameter, obs []coldseam.Observation) {
		s, _, err := coldseam.NewSeries(coldseam.SeriesKey{
			Site:     "sim:tamsen",
			Param:    p,
			Stat:     coldseam.Mean,
			Period:   "P1D",
			Provider: "sim",
		}, obs)
		require.NoError(t, err)
		_, _, err = db.UpsertSeries(ctx, 0, []coldseam.Series{s})
		require.NoError(t, err)
	}
	daily(coldseam.Discharge, q)
	daily(coldseam.WaterTemp, w)
	require.NoError(t, db.BuildClimatology(ctx, "sim:tamsen", coldseam.Discharge,
		time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)))

	early := coldseam.Date{Year: 2026, Month: 3, Day: 10}
	require.NoError(t, db.SaveRun(ctx, "bend", early, early.In(loc), coldseam.RunState{Species: "walleye", PWave: 1}))
	verdicts := []coldseam.Verdict{coldseam.Go, coldseam.Go, coldseam.Stay, coldseam.TossUp, coldseam.Stop,
		coldseam.NoCall}

	for i := range 40 {
		d := coldseam.Date{Year: 2026, Month: 3, Day: 15}.Add(i)
		issued := d.In(loc).Add(4 * time.Hour)
		b := aBrief(issued, verdicts[i%len(verdicts)])
		b.Day, b.Odds = d, .3+.1*float64(i%5)
		switch b.Verdict {
		case coldseam.Stop:
			b.Stops = []coldseam.Reason{{Code: "flood_alert", Kind: "safety", Text: "flood warning", Source: "agency"}}
		case coldseam.NoCall:
			b.Reasons = []coldseam.Reason{{Code: "stale_gauge", Kind: "missing", Text: "gauge silent"}}
		}

		b.How.Action = "flutter tail"
		_, err := db.SaveBrief(ctx, b)
		require.NoError(t, err)
		if i == 7 {
			b.Issued, b.Verdict = issued.Add(time.Hour), coldseam.Stop
			_, err = db.SaveBrief(ctx, b)
			require.NoError(t, err)
		}

		in := 1 / (1 + math.Exp(-float64(i-20)/4))
		require.NoError(t, db.SaveRun(ctx, "bend", d, issued, coldseam.RunState{
			Species:  "walleye",
			WaveRule: coldseam.WaveRule,
			Stage:    map[bool]string{true: "spawning", false: "moving"}[i > 25],
			StageP:   .7,
			PWave:    math.Exp(-math.Pow(float64(i-18)/5, 2)),
			Arrived:  [3]float64{in * .8, in, math.Min(1, in*1.2)},
			Spawned:  [3]float64{0, math.Max(0, in-.2), in},
		}))
		e := coldseam.Ensemble{Site: "sim:tamsen", Param: coldseam.WaterTemp, Issued: issued, Source: "thermal"}
		f := coldseam.Ensemble{Site: "sim:tamsen", Param: coldseam.Discharge, Issued: issued, Source: "flow"}
		for lead := range 6 {
			e.Valid = append(e.Valid, d.Add(lead+1).In(loc))
		}
		f.Valid = e.Valid

		for m := range 9 {
			var tw, tq []float64
			for lead := range 6 {
				x := float64(d.Add(lead).YearDay())
				tw = append(tw, 12-12*math.Cos((x-20)/58)+float64(m-4)*.1*float64(lead+1))
				tq = append(tq, 60+40*math.Sin(x/58)+float64(m-4)*float64(lead+1))
			}
			e.Members, f.Members = append(e.Members, tw), append(f.Members, tq)
		}

		for _, x := range []coldseam.Ensemble{e, f} {
			_, err = db.SaveEnsemble(ctx, x)
			require.NoError(t, err)
		}
	}

	for a := range 5 {
		for k := range 12 {
			d := coldseam.Date{Year: 2026, Month: 3, Day: 16}.Add(3*k + a%3*(k%2))
			held := (a+k)%3 != 0
			tr := coldseam.Trip{
				Reach:        "bend",
				Angler:       fmt.Sprintf("angler%d", a),
				Date:         d,
				Hours:        4,
				Anglers:      1,
				Lines:        1,
				Species:      "walleye",
				Fish:         (a + k) % 4,
				WeightOz:     []float64{.25, .375, .5}[(a+k/4)%3],
				Held:         &held,
				SpotID:       "seam",
				Presentation: "vertical",
			}
			if k == 11 {
				yes := true
				tr.WentNot, tr.BecauseMail, tr.Hours, tr.Lines, tr.Fish = true, &yes, 0, 0, 0
			}
			_, added, err := db.AddTrip(ctx, tr)
			require.NoError(t, err)
			require.True(t, added)
		}
	}

	require.NoError(t, db.PublishTrips(ctx))
	n, err := db.ScoreForecasts(ctx, time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC),
		time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC))
	require.NoError(t, err)
	require.Equal(t, 40*6*2, n, "days 1-6 of both parameters")
}

// Not parallel: the readers' role has four connections.
func TestCookbookAndViews(t *testing.T) {
	url, db := lockedDown(t)
	seedSeason(t, db)
	ctx := t.Context()
	c := readerConn(t, url)
	_, err := c.Exec(ctx, `SET statement_timeout = 0`) // what is true does not depend on the machine's load
	require.NoError(t, err)

	one := func(t *testing.T, sql string, to ...any) {
		t.Helper()
		require.NoError(t, c.QueryRow(ctx, sql).Scan(to...), sql)
	}

	t.Run("daily", func(t *testing.T) {
		var m3s, cfs, wf, p float64
		var band, class string
		var years, n int
		one(t, `SELECT discharge_m3s, discharge_cfs, water_f, band, flow_percentile, flow_class, record_years FROM season.daily WHERE reach_id = 'bend' AND day = '2026-04-01'`,
			&m3s, &cfs, &wf, &band, &p, &class, &years)
		x := float64(coldseam.Date{Year: 2026, Month: 4, Day: 1}.YearDay())
		require.InDelta(t, 60+40*math.Sin(x/58)+1, m3s, 1e-9)
		require.InDelta(t, coldseam.CFS(m3s), cfs, 1e-6)

		water := 12 - 12*math.Cos((x-20)/58)
		require.InDelta(t, coldseam.F(water), wf, 1e-6)
		require.Equal(t, coldseam.DefaultBands[coldseam.BandOf(coldseam.DefaultBands, water)].Key, band)
		require.Equal(t, 11, years)
		require.InDelta(t, .5, p, .5)
		require.NotEmpty(t, class)
		one(t, `SELECT count(*) FROM season.daily WHERE reach_id = 'bend'`, &n)
		require.Equal(t, 4138, n, "one row a day")
	})

	t.Run("outage", func(t *testing.T) {
		var from, to time.Time
		var days int
		one(t, `SELECT from_day, to_day, days FROM season.outage WHERE param = 'water_temp'`, &from, &to, &days)
		require.Equal(t, "2026-02-10 2026-02-12 3", fmt.Sprint(from.Format(time.DateOnly), " ",
			to.Format(time.DateOnly), " ", days))
	})
	t.Run("brief and reason", func(t *testing.T) {
		var n, stops int
		one(t, `SELECT count(*) FILTER (WHERE last_word), count(*) FROM season.brief`, &n, &stops)
		require.Equal(t, []int{40, 41}, []int{n, stops})
		one(t, `SELECT count(*) FROM season.reason WHERE code = 'flood_alert' AND list = 'stop'`, &n)
		require.Equal(t, 6, n)
		one(t, `SELECT count(*) FROM season.brief WHERE verdict IN ('STOP', 'NO CALL') AND odds IS NOT NULL`, &n)
		require.Zero(t, n)
	})

	t.Run("skill", func(t *testing.T) {
		var n int
		var e, pe, skill, lo, hi float64
		one(t, `SELECT n, mean_abs_error, persistence_error, skill, skill_lo, skill_hi FROM season.skill WHERE param = 'water_temp' AND lead_day = 5`,
			&n, &e, &pe, &skill, &lo, &hi)
		require.Equal(t, 40, n)
		require.Less(t, e, pe)
		require.InDelta(t, 1-e/pe, skill, 1e-9)
		require.Less(t, lo, skill)
		require.Less(t, skill, hi)

		// Nineteen days claim nothing.
		_, err := db.Pool().Exec(ctx, `DELETE FROM coldseam.forecast_score WHERE lead_day = 5 AND valid_day NOT IN
			(SELECT DISTINCT valid_day FROM coldseam.forecast_score WHERE lead_day = 5 ORDER BY 1 LIMIT 19)`)
		require.NoError(t, err)
		require.Equal(t, 2, count(t, db, `SELECT count(*) FROM season.skill
			WHERE lead_day = 5 AND n = 19 AND evidence = 'too few' AND skill IS NULL AND inside_share IS NULL AND mean_abs_error IS NOT NULL`))
	})
	t.Run("run dates", func(t *testing.T) {
		var half, wave time.Time
		one(t, `SELECT half_in, best_wave FROM season.run_date`, &half, &wave)
		require.Equal(t, "2026-04-04", half.Format(time.DateOnly))
		require.Equal(t, "2026-04-02", wave.Format(time.DateOnly), "the surer day went by another rule")
	})

	t.Run("calls", func(t *testing.T) {
		var mornings int
		one(t, `SELECT sum(mornings) FROM season.call`, &mornings)
		require.Equal(t, 40, mornings)
	})
	t.Run("sums only for the whole season", func(t *testing.T) {
		var all, parts int
		one(t, `SELECT count(*) FILTER (WHERE dimension = 'all' AND fish > 0 AND line_hours > 0), count(*) FILTER (WHERE dimension <> 'all' AND (fish IS NOT NULL OR line_hours IS NOT NULL)) FROM season.trip`, &all, &parts)
		require.Equal(t, []int{1, 0}, []int{all, parts})
	})

	t.Run("dictionary", func(t *testing.T) {
		ms, err := db.Dictionary(ctx)
		require.NoError(t, err)
		text := store.DictionaryText(ms)
		if *update {
			require.NoError(t, os.WriteFile("dictionary.md", []byte(text), 0o644))
		}
		want, err := os.ReadFile("dictionary.md")
		require.NoError(t, err)
		require.Equal(t, string(want), text)
	})

	t.Run("no person in any view", func(t *testing.T) {
		var n int
		one(t, `SELECT count(*) FROM season.dictionary WHERE column_name ~ 'email|angler$|subscriber|name$|who' AND view_name NOT IN ('dictionary')`, &n)
		require.Zero(t, n)
		rows, err := c.Query(ctx, `SELECT DISTINCT view_name FROM season.dictionary`)
		require.NoError(t, err)
		views, err := pgx.CollectRows(rows, pgx.RowTo[string])
		require.NoError(t, err)

		for _, v := range views {
			if v == "dictionary" { // its own words speak of anglers
				continue
			}
			one(t, `SELECT count(*) FROM (SELECT * FROM season.`+v+` LIMIT 500) x WHERE x::text ~ '@|angler[0-9]'`, &n)
			require.Zero(t, n, v)
		}
	})

	c.Close(context.Background())
}

// Cells of few anglers are hidden, and what would give them away.
func TestSmallCellsAreHidden(t *testing.T) {
	t.Parallel()
	type cell struct {
		day     int
		anglers []string
	}

	for _, row := range []struct {
		name  string
		cells []cell
		open  []int // days shown
	}{
		{"all large", []cell{{1, []string{"a", "b", "c"}}, {2, []string{"a", "b", "c", "d"}}}, []int{1, 2}},
		{"one small takes the smallest with it", []cell{{1, []string{"a"}}, {2, []string{"a", "b", "c"}},
			{3, []string{"a", "b", "c", "d"}}}, []int{3}},
		{"two small of one person do too", []cell{{1, []string{"a"}}, {2, []string{"a"}}, {3, []string{"a", "b", "c"}},
			{4, []string{"a", "b", "c", "d"}}}, []int{4}},
		{"two small of three persons protect one another", []cell{{1, []string{"a"}}, {2, []string{"b", "c"}},
			{3, []string{"a", "b", "c"}}}, []int{3}},
		{"unknown anglers are nobody", []cell{{1, []string{"", "", "", "a"}}, {2, []string{"a", "b", "c"}},
			{3, []string{"b", "c", "d"}}}, []int{3}},
		{"only one cell", []cell{{1, []string{"a", "b"}}}, nil},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			db := withBend(t, store.Options{})
			for _, c := range row.cells {
				for i, a := range c.anglers {
					_, added, err := db.AddTrip(t.Context(), coldseam.Trip{
						Reach:   "bend",
						Angler:  a,
						Date:    coldseam.Date{Year: 2026, Month: 3, Day: c.day},
						Start:   t0.Add(time.Duration(i) * time.Minute),
						Hours:   2,
						Lines:   1,
						Species: "walleye",
						Fish:    1,
					})
					require.NoError(t, err)
					require.True(t, added)
				}
			}

			require.NoError(t, db.PublishTrips(t.Context()))
			rows, err := db.Pool().Query(t.Context(),
				`SELECT extract(day FROM cell::date)::int FROM season.trip WHERE dimension = 'day' AND fish_per_line_hour IS NOT NULL ORDER BY 1`)
			require.NoError(t, err)
			got, err := pgx.CollectRows(rows, pgx.RowTo[int])
			require.NoError(t, err)
			require.ElementsMatch(t, row.open, got)
			require.Equal(t, len(row.open), count(t, db, `SELECT count(*) FROM season.trip WHERE dimension = 'day'`),
				"a row of few anglers would tell of their day")
		})
	}
}

func TestClimatologyKnowsItsTime(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	k := coldseam.SeriesKey{
		Site:     "sim:tamsen",
		Param:    coldseam.Discharge,
		Stat:     coldseam.Mean,
		Period:   "P1D",
		Provider: "sim",
	}
	known := func(y int) time.Time { return time.Date(y+1, 1, 1, 0, 0, 0, 0, time.UTC) }
	for y := 2000; y < 2012; y++ {
		var os []coldseam.Observation
		for d := (coldseam.Date{Year: y, Month: 1, Day: 1}); d.Year == y; d = d.Add(1) {
			os = append(os, coldseam.Observation{At: d.Add(1).UTC(), KnownAt: known(y), Value: float64(y - 2000)})
		}
		put(t, db, k, os...)
	}

	require.NoError(t, db.BuildClimatology(ctx, k.Site, k.Param, known(2009)))
	require.NoError(t, db.BuildClimatology(ctx, k.Site, k.Param, known(2011)))
	leap := coldseam.Date{Year: 2008, Month: 2, Day: 29}
	early, err := db.Climatology(ctx, k.Site, k.Param, leap, known(2010))
	require.NoError(t, err)
	require.Equal(t, 60, early.DOY)
	require.Equal(t, 10, early.Years, "years after the issue are not in it")
	require.InDelta(t, 4.5, early.Q[4], .5)

	late, err := db.Climatology(ctx, k.Site, k.Param, leap, known(2011))
	require.NoError(t, err)
	require.Equal(t, 12, late.Years)
	_, err = db.Climatology(ctx, k.Site, k.Param, leap, known(2008))
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	for w := range 8 {
		require.NoError(t, db.BuildClimatology(ctx, k.Site, k.Param, known(2011).AddDate(0, 0, 7*(w+1))))
	}
	require.Equal(t, 3, count(t, db, `SELECT count(DISTINCT made_at) FROM coldseam.climatology`),
		"the table does not grow by the week")
	require.ErrorIs(t, db.BuildClimatology(ctx, "no:where", k.Param, known(2011)), coldseam.ErrNotFound)

	for _, row := range []struct {
		v, want float64
	}{{-1, 0}, {99, 1}, {early.Q[4], .5}, {early.Q[2], .1}} {
		var p float64
		require.NoError(t, db.Pool().QueryRow(ctx,
			`SELECT coldseam.percentile_of(ARRAY[1, 2, 3, 4, 4.5, 5, 6, 7, 8]::float4[], $1)`, row.v).Scan(&p))
		if row.v < 0 || row.v > 50 {
			require.Equal(t, row.want, p)
		}
	}

	var p float64
	require.NoError(t, db.Pool().QueryRow(ctx,
		`SELECT coldseam.percentile_of(ARRAY[1, 2, 3, 4, 5, 6, 7, 8, 9]::float4[], 4.5)`).Scan(&p))
	require.InDelta(t, .375, p, 1e-9)
}

func TestThresholdsAndBands(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	a, b := "30", "25"
	require.NoError(t, db.SetThreshold(ctx, "wind_mph", &a, chief))
	require.NoError(t, db.SetThreshold(ctx, "wind_mph", &a, chief))
	require.NoError(t, db.SetThreshold(ctx, "wind_mph", &b, store.Edit{Who: "captain", Why: "small boats"}))

	got, err := db.Thresholds(ctx)
	require.NoError(t, err)
	require.Equal(t, map[string]string{"wind_mph": "25"}, got)
	require.NoError(t, db.SetThreshold(ctx, "wind_mph", nil, chief))
	es, err := db.ThresholdEdits(ctx, "")
	require.NoError(t, err)
	require.Len(t, es, 3)
	require.Equal(t, "captain", es[1].Who)
	require.Nil(t, es[2].New)
	require.ErrorIs(t, db.SetThreshold(ctx, "wind_mph", &a, store.Edit{}), coldseam.ErrInvalid)

	require.ErrorIs(t, db.SetBands(ctx, []coldseam.Band{{Key: "a", Upper: 40}, {Key: "b", Upper: 39}}),
		coldseam.ErrInvalid)
	require.NoError(t, db.SetBands(ctx, []coldseam.Band{{Key: "cold", Upper: 45}, {Key: "warm", Upper: 999}}))
	require.Equal(t, 1, count(t, db,
		`SELECT count(*) FROM season.band WHERE band = 'cold' AND abs(upper_c - 7.2222) < 0.001`))
}

// What was said is held against what came by the word at the mail, not by a
// correction after it.
func TestMorningWord(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	seedSeason(t, db) // on the eighth day GO at 4:00 becomes STOP at 5:00
	eighth := coldseam.Date{Year: 2026, Month: 3, Day: 22}
	for _, row := range []struct{ sendAt, word string }{{"04:45", "GO"}, {"05:00", "STOP"}, {"05:30", "STOP"},
		{"03:30", "GO"}} {
		require.NoError(t, db.SetSendAt(ctx, row.sendAt))
		got, err := storetest.Ask[struct{ Verdict string }](ctx, db,
			`SELECT verdict FROM season.brief WHERE morning_word AND day = $1`, eighth.UTC())
		require.NoError(t, err)
		require.Len(t, got, 1, "one word a morning")
		require.Equal(t, row.word, got[0].Verdict, row.sendAt)
		words, err := db.MorningWords(ctx, "bend", eighth, eighth)
		require.NoError(t, err)
		require.Len(t, words, 1)
		require.Equal(t, row.word, words[eighth].String(), row.sendAt)
		require.Equal(t, 40, count(t, db, `SELECT count(*) FROM season.brief WHERE morning_word`))
		require.Zero(t, count(t, db, `
			SELECT count(*) FROM season.call c
			FULL JOIN (SELECT reach_id, season, verdict, count(*) AS n FROM season.brief WHERE morning_word GROUP BY 1, 2, 3) b USING (reach_id, season, verdict)
			WHERE c.mornings IS DISTINCT FROM b.n`))
	}

	require.ErrorIs(t, db.SetSendAt(ctx, "quarter to five"), coldseam.ErrInvalid)
}
