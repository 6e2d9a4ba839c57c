package store_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

var (
	chief = store.Edit{Who: "admin", Why: "set-up"}
	bend  = coldseam.Reach{
		ID:    "bend",
		River: "Tamsen",
		Name:  "Bend reach",
		Site:  "sim:tamsen",
		Zone:  "America/Chicago",
		Spots: []coldseam.Spot{{ID: "seam", Name: "main seam", Kind: coldseam.SpotSeam}},
		Rules: []coldseam.Rule{{Kind: coldseam.RuleSeason, Species: "walleye", Text: "closed in spring", CheckedOn: day,
			CheckedBy: "secretary",
			Closed:    []coldseam.DayRange{{FromMonth: 3, FromDay: 1, ToMonth: 4, ToDay: 30}}},
			{Kind: coldseam.RuleBait, Allowed: true}},
	}
)

func withBend(t testing.TB, o store.Options) *store.DB {
	t.Helper()
	db := storetest.NewWith(t, o)
	require.NoError(t, db.PutSite(t.Context(), coldseam.Site{
		ID:       "sim:tamsen",
		Provider: "sim",
		Code:     "tamsen",
		Name:     "Tamsen at Ford",
		Zone:     "America/Chicago",
		Lat:      45,
		Lon:      -93,
	}))
	require.NoError(t, db.PutReach(t.Context(), bend, chief))
	return db
}

func TestReachEditsAreKept(t *testing.T) {
	t.Parallel()
	now := t0
	db := withBend(t, store.Options{Now: func() time.Time { return now }})
	ctx := t.Context()
	now = now.Add(time.Hour)
	require.NoError(t, db.PutReach(ctx, bend, store.Edit{Who: "x", Why: "nothing new"}))
	r := bend
	limit := 120.0
	r.MaxFlowM3S, r.MaxFlowWhy = &limit, "bank full"

	now = now.Add(time.Hour)
	require.NoError(t, db.PutReach(ctx, r, store.Edit{Who: "captain", Why: "spring flood"}))
	got, err := db.Reach(ctx, "bend")
	require.NoError(t, err)
	require.Equal(t, r, got)
	list, err := db.ReachEdits(ctx, "bend")
	require.NoError(t, err)
	require.Len(t, list, 2)
	require.Equal(t, "captain", list[1].Who)
	then, err := db.ReachAt(ctx, "bend", t0.Add(90*time.Minute))
	require.NoError(t, err)
	require.Nil(t, then.MaxFlowM3S)
	require.Equal(t, 2, count(t, db,
		`SELECT count(*) FROM coldseam.season_rule WHERE checked_on = '2026-03-20' OR kind = 'bait'`))

	require.ErrorIs(t, db.PutReach(ctx, r, store.Edit{Who: "me@one.example", Why: "x"}), coldseam.ErrInvalid)
	require.ErrorIs(t, db.PutReach(ctx, r, store.Edit{}), coldseam.ErrInvalid)
	r.Site = "no:where"
	require.ErrorIs(t, db.PutReach(ctx, r, chief), coldseam.ErrInvalid)
	require.NoError(t, db.RetireReach(ctx, "bend", chief))
	require.ErrorIs(t, db.RetireReach(ctx, "bend", chief), coldseam.ErrNotFound)
	all, err := db.Reaches(ctx)
	require.NoError(t, err)
	require.Empty(t, all)
	require.NoError(t, db.PutReach(ctx, bend, chief), "fished again")

	all, err = db.Reaches(ctx)
	require.NoError(t, err)
	require.Len(t, all, 1)
	s, err := db.Site(ctx, "sim:tamsen")
	require.NoError(t, err)
	require.Equal(t, 45.0, s.Lat)
	_, err = db.Site(ctx, "no:where")
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	_, err = db.Reach(ctx, "none")
	require.ErrorIs(t, err, coldseam.ErrNotFound)
}

func TestFetchStateAndPayloads(t *testing.T) {
	t.Parallel()
	db := storetest.NewWith(t, store.Options{KeepPayloads: 2})
	ctx := t.Context()
	const u = "https://feeds.example/a"
	save := func(min int, f coldseam.RawFetch) int64 {
		f.Profile, f.URL, f.At = "sim", u, t0.Add(time.Duration(min)*time.Minute)
		id, err := db.SaveRaw(ctx, f)
		require.NoError(t, err)
		return id
	}
	tag, mod, nb, err := db.NextFetch(ctx, "sim", u)
	require.NoError(t, err)
	require.Empty(t, tag+mod)
	require.True(t, nb.IsZero())

	a := save(0, coldseam.RawFetch{Status: 200, SHA256: "aa", ETag: `"1"`, LastMod: "Mon", Payload: []byte("first")})
	same := save(15, coldseam.RawFetch{Status: 200, SHA256: "aa", ETag: `"1"`, Payload: []byte("first")})
	for _, id := range []int64{a, same} {
		b, err := db.Payload(ctx, id)
		require.NoError(t, err)
		require.Equal(t, "first", string(b))
	}

	require.Equal(t, 1, count(t, db, `SELECT count(*) FROM coldseam.raw_fetch WHERE payload_gzip IS NOT NULL`),
		"equal bytes are kept once")
	tag, mod, _, err = db.NextFetch(ctx, "sim", u)
	require.NoError(t, err)
	require.Equal(t, []string{`"1"`, ""}, []string{tag, mod}, "validators of the newest answer")
	save(30, coldseam.RawFetch{Status: 304})
	tag, _, _, err = db.NextFetch(ctx, "sim", u)
	require.NoError(t, err)
	require.Equal(t, `"1"`, tag, "a 304 keeps them")

	// The validators may come after the contents are stored.
	id := save(40, coldseam.RawFetch{Status: 200, SHA256: "ab", Payload: []byte("late"), Rows: 3})
	tag, _, _, err = db.NextFetch(ctx, "sim", u)
	require.NoError(t, err)
	require.Empty(t, tag, "until then the whole document is asked for")
	require.Equal(t, id, save(40, coldseam.RawFetch{ID: id, Status: 200, SHA256: "ab", ETag: `"2"`, Rows: 3}))

	tag, _, _, err = db.NextFetch(ctx, "sim", u)
	require.NoError(t, err)
	require.Equal(t, `"2"`, tag)
	require.Equal(t, 4, count(t, db, `SELECT count(*) FROM coldseam.raw_fetch`), "one record a fetch")
	b, err := db.Payload(ctx, id)
	require.NoError(t, err)
	require.Equal(t, "late", string(b))
	_, err = db.SaveRaw(ctx, coldseam.RawFetch{ID: 99999, Profile: "sim", URL: u, At: t0})
	require.ErrorIs(t, err, coldseam.ErrNotFound)

	// Failures back off to a ceiling, a server's wish is longer.
	var waits []float64
	for i := range 8 {
		save(60+i, coldseam.RawFetch{Status: 503, Err: "503\x00 no"})
		_, _, nb, err = db.NextFetch(ctx, "sim", u)
		require.NoError(t, err)
		waits = append(waits, nb.Sub(t0).Minutes()-float64(60+i))
	}

	require.Equal(t, []float64{1, 2, 4, 8, 16, 30, 30, 30}, waits)
	save(70, coldseam.RawFetch{Status: 429, Err: "429", NotBefore: t0.Add(10 * time.Hour)})
	_, _, nb, err = db.NextFetch(ctx, "sim", u)
	require.NoError(t, err)
	require.Equal(t, t0.Add(10*time.Hour), nb)
	ages, err := db.FeedAges(ctx)
	require.NoError(t, err)
	require.Len(t, ages, 1)
	require.Equal(t, 9, ages[0].Failures)
	require.Equal(t, t0.Add(40*time.Minute), ages[0].LastOK)

	save(80, coldseam.RawFetch{Status: 200, SHA256: "bb", Payload: []byte("second")})
	_, _, nb, err = db.NextFetch(ctx, "sim", u)
	require.NoError(t, err)
	require.True(t, nb.IsZero())
	save(90, coldseam.RawFetch{Status: 200, SHA256: "cc", Payload: []byte("third")})
	_, err = db.Payload(ctx, a)
	require.ErrorIs(t, err, coldseam.ErrNotFound, "only the newest two payloads are kept")
}

func TestForecastArchive(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	f := coldseam.Forecast{
		Site:     "grid:tamsen",
		Param:    coldseam.AirTemp,
		Stat:     coldseam.Mean,
		Period:   "PT1H",
		Provider: "grid",
		Issued:   t0,
		KnownAt:  t0.Add(time.Hour),
		At:       []time.Time{t0.Add(time.Hour), t0.Add(2 * time.Hour)},
		Value:    []float64{1, 2},
		Members:  [][]float64{{0, 1}, {2, 3}},
	}
	require.NoError(t, db.SaveForecasts(ctx, []coldseam.Forecast{f, f}))
	again := f
	again.KnownAt = t0.Add(2 * time.Hour)
	require.NoError(t, db.SaveForecasts(ctx, []coldseam.Forecast{again}), "the same issue again is not a new one")

	corrected := again
	corrected.Value = []float64{1, 2.5}
	next := f
	next.Issued, next.KnownAt = t0.Add(6*time.Hour), t0.Add(7*time.Hour)
	bad := f
	bad.Value = []float64{1, math.NaN()}
	err := db.SaveForecasts(ctx, []coldseam.Forecast{bad, corrected, next})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "step 1 is not finite")

	for _, row := range []struct {
		name  string
		asOf  time.Duration
		value float64
		n     int
	}{{"before", 0, 0, 0}, {"first", time.Hour, 2, 1}, {"corrected", 3 * time.Hour, 2.5, 1},
		{"next issue", 8 * time.Hour, 2, 1}} {
		got, err := db.Forecasts(ctx, f.Site, f.Param, t0.Add(row.asOf))
		require.NoError(t, err)
		require.Len(t, got, row.n, row.name)
		if row.n > 0 {
			require.Equal(t, row.value, got[0].Value[1], row.name)
			require.Equal(t, [][]float64{{0, 1}, {2, 3}}, got[0].Members)
		}
	}

	all, err := db.ArchivedForecasts(ctx, f.Site, f.Param, t0, t0.Add(24*time.Hour), t0.Add(24*time.Hour))
	require.NoError(t, err)
	require.Len(t, all, 3)

	// Without an issue time the same values are one forecast.
	anon := f
	anon.Site, anon.Issued = "grid:anon", time.Time{}
	require.NoError(t, db.SaveForecasts(ctx, []coldseam.Forecast{anon}))
	anon.KnownAt = anon.KnownAt.Add(time.Hour)
	require.NoError(t, db.SaveForecasts(ctx, []coldseam.Forecast{anon}))
	require.Equal(t, 1, count(t, db,
		`SELECT count(*) FROM coldseam.forecast WHERE site_id = 'grid:anon' AND issued_assumed`))
}

func TestAlertsInForce(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	a := coldseam.Alert{
		Provider:   "wx",
		Sender:     "s@wx.example",
		Identifier: "a1",
		Sent:       t0,
		MsgType:    "Alert",
		Status:     "Actual",
		Event:      "Flood Warning",
		From:       t0,
		End:        t0.Add(24 * time.Hour),
		KnownAt:    t0.Add(time.Minute),
		Areas:      []coldseam.AlertArea{{Geocodes: []string{"UGC=XXC001"}}},
	}
	up := a
	up.Identifier, up.MsgType, up.Sent, up.KnownAt = "a2", "Update", t0.Add(time.Hour), t0.Add(61*time.Minute)

	up.References, up.End = []string{"s@wx.example,a1," + t0.Format(time.RFC3339)}, t0.Add(30*time.Hour)
	cancel := up
	cancel.Identifier, cancel.MsgType, cancel.Sent, cancel.KnownAt, cancel.References = "a3", "Cancel",
		t0.Add(2*time.Hour), t0.Add(121*time.Minute), []string{"a2"}
	require.NoError(t, db.SaveAlerts(ctx, []coldseam.Alert{cancel, a, up}))
	again := a
	again.Headline = "changed"
	require.NoError(t, db.SaveAlerts(ctx, []coldseam.Alert{again}))
	require.ErrorIs(t, db.SaveAlerts(ctx, []coldseam.Alert{{Provider: "wx"}}), coldseam.ErrInvalid)

	for _, row := range []struct {
		name string
		at   time.Duration
		want []string
	}{{"not known", 0, nil}, {"first", time.Minute, []string{"a1"}}, {"updated", 90 * time.Minute, []string{"a2"}},
		{"cancelled", 3 * time.Hour, nil}} {
		got, err := db.Alerts(ctx, "", t0.Add(row.at))
		require.NoError(t, err)
		var ids []string
		for _, g := range got {
			ids = append(ids, g.Identifier)
			require.Empty(t, g.Headline, "of two versions known at once the first counts")
		}
		require.Equal(t, row.want, ids, row.name)
	}
}

// A message that says something else under the same name is a version of its
// own, and a feed's warnings are its own.
func TestAlertVersionsAndFeeds(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	a := coldseam.Alert{
		Feed:       "one",
		Provider:   "wx",
		Sender:     "s@wx.example",
		Identifier: "a1",
		Sent:       t0,
		MsgType:    "Alert",
		Status:     "Actual",
		Event:      "Frost Advisory",
		From:       t0,
		End:        coldseam.FurtherNotice,
		KnownAt:    t0.Add(time.Minute),
	}
	corrected := a
	corrected.Event, corrected.KnownAt = "Flood Warning", t0.Add(time.Hour)

	same := corrected
	same.KnownAt = t0.Add(2 * time.Hour)
	other := a
	other.Feed, other.Event = "two", "Ice Jam"
	cancel := other
	cancel.Identifier, cancel.MsgType, cancel.Sent, cancel.KnownAt, cancel.References = "a2", "Cancel",
		t0.Add(time.Hour), t0.Add(3*time.Hour), []string{"s@wx.example,a1,x"}
	require.NoError(t, db.SaveAlerts(ctx, []coldseam.Alert{a, corrected, same, other, cancel}))
	require.Equal(t, 4, count(t, db, `SELECT count(*) FROM coldseam.alert`))

	events := func(feed string, after time.Duration) (out []string) {
		got, err := db.Alerts(ctx, feed, t0.Add(after))
		require.NoError(t, err)
		for _, g := range got {
			out = append(out, g.Event)
		}
		return out
	}
	require.Equal(t, []string{"Frost Advisory"}, events("one", 30*time.Minute))
	require.Equal(t, []string{"Flood Warning"}, events("one", 90*time.Minute))
	require.Equal(t, []string{"Ice Jam"}, events("two", 90*time.Minute))
	require.Equal(t, []string{"Flood Warning"}, events("one", 4*time.Hour), "a cancel of another feed ends nothing")
	require.Empty(t, events("two", 4*time.Hour))
}

func TestGaugingsAndRatings(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	stage := 1.5
	g := coldseam.Gauging{Site: "sim:tamsen", At: t0, DischargeM3S: 30, StageM: &stage, Method: "bridge"}
	require.NoError(t, db.SaveGaugings(ctx, []coldseam.Gauging{g}))
	g.DischargeM3S = 31
	require.ErrorIs(t, db.SaveGaugings(ctx, []coldseam.Gauging{g, {}}), coldseam.ErrInvalid)
	got, err := db.Gaugings(ctx, "sim:tamsen")
	require.NoError(t, err)
	require.Equal(t, []coldseam.Gauging{g}, got)

	r := coldseam.Rating{
		Site:       "sim:tamsen",
		From:       t0,
		StageM:     []float64{1, 2},
		Discharge:  []float64{10, 40},
		StageZeroM: .5,
	}
	require.NoError(t, db.SaveRating(ctx, r))
	require.NoError(t, db.SaveRating(ctx, r))
	require.Equal(t, 1, count(t, db, `SELECT count(*) FROM coldseam.rating`))
	far := time.Now().Add(time.Hour)
	back, err := db.Rating(ctx, "sim:tamsen", t0.Add(time.Hour), far)
	require.NoError(t, err)
	require.Equal(t, r, back)
	_, err = db.Rating(ctx, "sim:tamsen", t0.Add(-time.Hour), far)
	require.ErrorIs(t, err, coldseam.ErrNotFound)
}

// A visit told by two documents is one gauging, whichever comes first, and the
// same documents again change nothing.
func TestTwoDocumentsOfOneVisit(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	stage, width, area, vel := 1.5, 20.0, 18.0, 1.65
	at := t0.Add(30 * time.Second)
	visit := []coldseam.Gauging{{At: at, DischargeM3S: 29.9, StageM: &stage, Method: "Mid-section", Quality: "Good"}}

	section := []coldseam.Gauging{{
		At:           at.Add(7 * time.Minute),
		DischargeM3S: 30,
		WidthM:       &width,
		AreaM2:       &area,
		MeanVelMS:    &vel,
		Method:       "Ice",
		Ice:          true,
	}}
	// a second measurement of the rising river
	other := []coldseam.Gauging{{At: at.Add(40 * time.Minute), DischargeM3S: 33, StageM: &stage}}
	on := func(site coldseam.SiteID, gs []coldseam.Gauging) []coldseam.Gauging {
		out := append([]coldseam.Gauging(nil), gs...)
		for i := range out {
			out[i].Site = site
		}
		return out
	}

	for _, c := range []struct {
		site  coldseam.SiteID
		order [][]coldseam.Gauging
		at    time.Time
	}{
		{"sim:a", [][]coldseam.Gauging{visit, section, other}, visit[0].At},
		{"sim:b", [][]coldseam.Gauging{other, section, visit}, section[0].At},
	} {
		var first []coldseam.Gauging
		for range 3 {
			for _, gs := range c.order {
				require.NoError(t, db.SaveGaugings(ctx, on(c.site, gs)))
			}
			got, err := db.Gaugings(ctx, c.site)
			require.NoError(t, err)
			require.Len(t, got, 2)
			require.Equal(t, coldseam.Gauging{
				Site:         c.site,
				At:           c.at,
				DischargeM3S: 30,
				StageM:       &stage,
				WidthM:       &width,
				AreaM2:       &area,
				MeanVelMS:    &vel,
				Method:       "Ice",
				Ice:          true,
				Quality:      "Good",
			}, got[0])
			if first == nil {
				first = got
			}
			require.Equal(t, first, got)
		}
	}
}

func TestEnsemblesStayAsIssued(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	e := coldseam.Ensemble{
		Site:    "sim:tamsen",
		Param:   coldseam.WaterTemp,
		Issued:  t0,
		Source:  "thermal",
		Valid:   []time.Time{t0.Add(time.Hour), t0.Add(2 * time.Hour)},
		Members: [][]float64{{1, 2}, {3, 4}, {5, 6}},
		Trace:   []coldseam.Date{day, day.Add(1), day.Add(2)},
		Weights: []float64{.5, .5},
		Flags:   []string{"ice"},
	}
	id, err := db.SaveEnsemble(ctx, e)
	require.NoError(t, err)
	changed := e
	changed.Members = [][]float64{{9, 9}, {9, 9}, {9, 9}}

	id2, err := db.SaveEnsemble(ctx, changed)
	require.NoError(t, err)
	require.Equal(t, id, id2)
	got, err := db.Ensembles(ctx, e.Site, e.Param, t0, t0)
	require.NoError(t, err)
	require.Equal(t, []coldseam.Ensemble{e}, got)
	changed.Members[0][0] = math.Inf(1)
	_, err = db.SaveEnsemble(ctx, changed)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	changed.Members[0] = changed.Members[0][:1]
	_, err = db.SaveEnsemble(ctx, changed)
	require.ErrorIs(t, err, coldseam.ErrInvalid)

	n, err := db.DropMembers(ctx, t0.Add(time.Second))
	require.NoError(t, err)
	require.Equal(t, 1, n)
	got, err = db.Ensembles(ctx, e.Site, e.Param, t0, t0)
	require.NoError(t, err)
	require.Equal(t, []string{"ice", "quantiles"}, got[0].Flags)
	require.InDelta(t, 3, got[0].Quantile(0, .5), 1e-6)

	c := coldseam.Crossing{
		EdgeC:   5,
		Up:      true,
		Within7: .4,
		Dates:   [3]coldseam.Date{day, day.Add(1), day.Add(2)},
		Horizon: 10,
	}
	require.NoError(t, db.SaveCrossings(ctx, e.Site, t0, []coldseam.Crossing{c}))
	cs, err := db.Crossings(ctx, e.Site, t0.Add(time.Hour))
	require.NoError(t, err)
	require.Equal(t, []coldseam.Crossing{c}, cs)
	cs, err = db.Crossings(ctx, e.Site, t0.Add(-time.Hour))
	require.NoError(t, err)
	require.Empty(t, cs)
}

func TestModelVersions(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	m := store.Model{
		Owner:  "sim:tamsen",
		Kind:   "thermal8",
		MadeAt: t0,
		From:   day,
		To:     day.Add(30),
		Params: json.RawMessage(`{"a": 1}`),
		Score:  json.RawMessage(`{"rmse": 1.1}`),
	}
	v, err := db.SaveModel(ctx, m)
	require.NoError(t, err)
	require.Equal(t, 1, v)
	m.MadeAt, m.Params = t0.Add(time.Hour), json.RawMessage(`{"a": 2}`)
	v, err = db.SaveModel(ctx, m)
	require.NoError(t, err)
	require.Equal(t, 2, v)

	got, err := db.Model(ctx, m.Owner, m.Kind, t0)
	require.NoError(t, err)
	require.JSONEq(t, `{"a": 1}`, string(got.Params), "a replay sees no later fit")
	require.Equal(t, day, got.From)
	_, err = db.Model(ctx, m.Owner, m.Kind, t0.Add(-time.Second))
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	m.Params = json.RawMessage(`{`)
	_, err = db.SaveModel(ctx, m)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

func aBrief(issued time.Time, v coldseam.Verdict) coldseam.Brief {
	w := coldseam.Window{Start: issued.Add(time.Hour), End: issued.Add(5 * time.Hour), Odds: .6, OddsOK: true}
	return coldseam.Brief{
		Reach:     "bend",
		River:     "Tamsen",
		ReachName: "Bend reach",
		Site:      "sim:tamsen",
		Zone:      "America/Chicago",
		Day:       day,
		Issued:    issued,
		Verdict:   v,
		Odds:      .6,
		OddsOK:    true,
		Windows:   []coldseam.Window{w},
		Flow:      coldseam.Fact{Window: [3]float64{50, 60, 70}, WindowOK: true, Class: "normal"},
		Temp:      coldseam.Fact{Window: [3]float64{3, 4, 5}, WindowOK: true, Class: "ease"},
		Jig:       []coldseam.SpotJig{{SpotID: "seam", TieOz: .25}},
		Run:       coldseam.RunState{Species: "walleye", Stage: "moving", StageP: .7},
		How:       coldseam.Advice{Row: "ease-1"},
		Sure:      "medium",
		Stops:     []coldseam.Reason{},
		Next:      []coldseam.DayOdds{{Day: day.Add(1), Odds: .4, OddsOK: true}},
	}
}

func TestBriefsStayAsTold(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{})
	ctx := t.Context()
	first := aBrief(morning.Add(-10*time.Hour), coldseam.Go)
	id, err := db.SaveBrief(ctx, first)
	require.NoError(t, err)
	other := first
	other.Verdict = coldseam.Stay

	id2, err := db.SaveBrief(ctx, other)
	require.NoError(t, err)
	require.Equal(t, id, id2)
	second := aBrief(morning, coldseam.Stop)
	_, err = db.SaveBrief(ctx, second)
	require.NoError(t, err)
	replay := aBrief(morning.Add(time.Hour), coldseam.NoCall)
	replay.Replay = true
	rid, err := db.SaveBrief(ctx, replay)
	require.NoError(t, err)

	got, err := db.Brief(ctx, "bend", day)
	require.NoError(t, err)
	require.NotEmpty(t, got.Seal)
	second.ID, second.Seal = got.ID, got.Seal
	require.Equal(t, second, got, "the newest, and it comes back whole")
	require.Equal(t, 1, count(t, db,
		`SELECT count(*) FROM coldseam.brief WHERE verdict = 'STOP' AND odds IS NULL AND tie_oz = 0.25 AND water_c = 4`), "no odds beside STOP")
	all, err := db.Briefs(ctx, day)
	require.NoError(t, err)
	require.Len(t, all, 1)

	some, err := db.BriefsOf(ctx, day, []coldseam.ReachID{"bend", "nowhere"}, time.Time{})
	require.NoError(t, err)
	require.Equal(t, []coldseam.Brief{second}, some, "a reach without a brief is left out")
	water, err := db.WindowWater(ctx, []coldseam.ReachID{"bend", "nowhere"}, day.Add(-1), day.Add(1))
	require.NoError(t, err)
	require.Len(t, water, 2)
	require.InDeltaSlice(t, []float64{math.NaN(), 4, math.NaN()}, water["bend"], 0)
	require.InDeltaSlice(t, []float64{math.NaN(), math.NaN(), math.NaN()}, water["nowhere"], 0)
	issues, err := db.BriefIssues(ctx, "bend", day)
	require.NoError(t, err)
	require.Len(t, issues, 2)

	r, err := db.BriefByID(ctx, rid)
	require.NoError(t, err)
	require.True(t, r.Replay)
	_, err = db.Brief(ctx, "bend", day.Add(1))
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	bad := aBrief(morning.Add(2*time.Hour), coldseam.Go)
	bad.HoldP = math.NaN()
	_, err = db.SaveBrief(ctx, bad)
	require.ErrorIs(t, err, coldseam.ErrInvalid)

	require.NoError(t, db.SaveRun(ctx, "bend", day, morning, first.Run))
	run, err := db.Run(ctx, "bend", morning)
	require.NoError(t, err)
	require.Equal(t, "moving", run.Stage)
}

func TestSubscriberLife(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{})
	ctx := t.Context()
	for _, bad := range []string{"", "a", "a@b", "Ada <a@b.example>", "a@b.example\r\nBcc: x@y.example", "a@[1.2.3.4]",
		"a b@c.example", "a@localhost."} {
		_, _, err := db.AddSubscriber(ctx, bad, "", prefs)
		require.ErrorIs(t, err, coldseam.ErrInvalid, "%q", bad)
		if len(bad) > 1 {
			require.NotContains(t, err.Error(), bad)
		}
	}

	for _, p := range []coldseam.Preferences{{}, {Zone: "Nowhere/Here"}, {Zone: "UTC", SendAt: "25:00"},
		{Zone: "UTC", WindowFrom: "dawn"}} {
		_, _, err := db.AddSubscriber(ctx, "a@one.example", "", p)
		require.ErrorIs(t, err, coldseam.ErrInvalid)
	}

	s, known, err := db.AddSubscriber(ctx, "Ada@One.example", "Ada", prefs)
	require.NoError(t, err)
	require.False(t, known)
	require.Equal(t, store.SubPending, s.State)
	same, known, err := db.AddSubscriber(ctx, "ada@one.EXAMPLE", "Mallory", prefs)
	require.NoError(t, err)
	require.True(t, known)
	require.Equal(t, s.ID, same.ID)
	require.NoError(t, db.Confirm(ctx, s.ID))
	require.NoError(t, db.Confirm(ctx, s.ID))

	other := prefs
	other.SendAt = "06:00"
	same, _, err = db.AddSubscriber(ctx, "ada@one.example", "Mallory", other)
	require.NoError(t, err)
	require.Equal(t, "04:45", same.Prefs.SendAt, "a stranger cannot change a confirmed one")
	require.NoError(t, db.SetPrefs(ctx, s.ID, other))
	require.NoError(t, db.Pause(ctx, s.ID))
	require.NoError(t, db.Resume(ctx, s.ID))
	require.NoError(t, db.Suppress(ctx, s.ID, "5.1.1 gone"))
	require.ErrorIs(t, db.Confirm(ctx, s.ID), coldseam.ErrRejected)
	require.NoError(t, db.Unsuppress(ctx, s.ID))
	require.NoError(t, db.Unsubscribe(ctx, s.ID))
	require.NoError(t, db.Unsubscribe(ctx, s.ID))
	require.ErrorIs(t, db.Pause(ctx, s.ID), coldseam.ErrRejected)
	require.ErrorIs(t, db.Confirm(ctx, s.ID), coldseam.ErrRejected, "an old link brings nobody back")
	require.ErrorIs(t, db.Unsubscribe(ctx, 999999), coldseam.ErrNotFound)

	got, err := db.SubscriberByEmail(ctx, "ADA@one.example")
	require.NoError(t, err)
	require.Equal(t, "06:00", got.Prefs.SendAt)
	list, err := db.Subscribers(ctx, store.SubUnsubscribed)
	require.NoError(t, err)
	require.Len(t, list, 1)

	held := true
	id, added, err := db.AddTrip(ctx, coldseam.Trip{
		Reach:      "bend",
		Subscriber: s.ID,
		Date:       day,
		Hours:      3,
		Anglers:    1,
		Lines:      1,
		Species:    "walleye",
		Fish:       2,
		Held:       &held,
		WeightOz:   .25,
		Note:       "with Bo",
	})
	require.NoError(t, err)
	require.True(t, added)
	require.NotZero(t, id)
	_, added, err = db.AddTrip(ctx, coldseam.Trip{
		Reach:      "bend",
		Subscriber: s.ID,
		Date:       day,
		Hours:      3,
		Anglers:    1,
		Lines:      1,
		Species:    "walleye",
		Fish:       2,
	})
	require.NoError(t, err)
	require.False(t, added, "the same trip twice")
	_, _, err = db.AddTrip(ctx, coldseam.Trip{Reach: "none", Date: day})
	require.ErrorIs(t, err, coldseam.ErrInvalid)

	ex, err := db.ExportSubscriber(ctx, s.ID)
	require.NoError(t, err)
	require.Len(t, ex.Trips, 1)
	require.NotEmpty(t, ex.Trips[0].Angler)
	require.NoError(t, db.Forget(ctx, s.ID))
	_, err = db.Subscriber(ctx, s.ID)
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	trips, err := db.Trips(ctx, "", day, day)
	require.NoError(t, err)
	require.Len(t, trips, 1, "the trip stays, the person does not")
	require.Empty(t, trips[0].Note)
	require.NotEqual(t, ex.Trips[0].Angler, trips[0].Angler)

	_, _, err = db.AddSubscriber(ctx, "late@one.example", "", prefs)
	require.NoError(t, err)
	n, err := db.PruneUnconfirmed(ctx, time.Now().AddDate(0, 0, 15))
	require.NoError(t, err)
	require.Equal(t, 1, n)
}

func TestBounces(t *testing.T) {
	t.Parallel()

	for _, row := range []struct {
		name string
		esc  []string // one failing day after another; "" = a good day
		want string
	}{
		{"no such user", []string{"5.1.1"}, store.SubSuppressed},
		{"three days in a row", []string{"4.2.2", "5.2.2", "4.2.2"}, store.SubSuppressed},
		{"a good day between", []string{"4.2.2", "4.2.2", "", "4.2.2", "4.2.2"}, store.SubConfirmed},
		{"policy is about us", []string{"5.7.1", "5.7.1", "5.7.1", "5.7.26", "4.7.0"}, store.SubConfirmed},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			db := storetest.New(t)
			ctx := t.Context()
			s := subscriber(t, db, "ada@one.example")

			for i, esc := range row.esc {
				d := day.Add(i)
				at := morning.AddDate(0, 0, i)
				_, _, err := db.QueueMailing(ctx, store.NewMailing{
					Kind:       coldseam.MailMorning,
					MadeAt:     at,
					MailDomain: "club.example",
					Messages:   []store.NewMessage{{Subscriber: s.ID, LocalDate: d}},
				})
				require.NoError(t, err)
				ls, err := db.Claim(ctx, "w", at, time.Minute, 1)
				require.NoError(t, err)
				if len(ls) == 1 {
					require.NoError(t, db.Done(ctx, ls[0], coldseam.Outcome{State: coldseam.MailSent}, at))
				}

				for range 2 { // two reports of one mail count once
					if esc != "" {
						_, err = db.RecordBounce(ctx, s.ID, store.Bounce{At: at.Add(time.Hour), MailDay: d, Code: 550,
							Esc: esc, Text: "no"})
						require.NoError(t, err)
					}
				}
			}

			got, err := db.Subscriber(ctx, s.ID)
			require.NoError(t, err)
			require.Equal(t, row.want, got.State)
			bs, err := db.Bounces(ctx, s.ID)
			require.NoError(t, err)
			require.NotEmpty(t, bs)
		})
	}
}

func TestRateCountersAndRigLogs(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{Now: func() time.Time { return t0.Add(48 * time.Hour) }})
	ctx := t.Context()
	for want := 1; want <= 3; want++ {
		n, err := db.CountAttempt(ctx, "ip:10.0.0", time.Hour, t0.Add(time.Duration(want)*time.Minute))
		require.NoError(t, err)
		require.Equal(t, want, n)
	}

	n, err := db.CountAttempt(ctx, "ip:10.0.0", time.Hour, t0.Add(61*time.Minute))
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.NoError(t, db.PruneCounts(ctx, t0.Add(time.Hour)))
	require.Equal(t, 1, count(t, db, `SELECT count(*) FROM coldseam.rate_count`))

	put(t, db, flow, obs(5, 42, t0, 0), obs(6, 43, t0, 0))
	l := store.RigLog{
		Reach:    "bend",
		Spot:     "seam",
		At:       t0.Add(330 * time.Minute),
		Angler:   "a1",
		WeightOz: .25,
		Held:     true,
	}
	_, added, err := db.AddRigLog(ctx, l)
	require.NoError(t, err)
	require.True(t, added)
	_, added, err = db.AddRigLog(ctx, l)
	require.NoError(t, err)
	require.False(t, added)

	logs, err := db.RigLogs(ctx, "bend", time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Len(t, logs, 1)
	require.Equal(t, 42.0, *logs[0].FlowM3S, "the value before, not the one after")
	require.Nil(t, logs[0].StageM)
	l.WeightOz = 0
	l.At = l.At.Add(time.Minute)
	_, _, err = db.AddRigLog(ctx, l)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

// A forecast without an issue time ages from the first sight of what it says.
func TestForecastAgesFromItsContent(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	const a, b = "a", "b"

	for _, row := range []struct {
		name  string
		seen  []string      // content of each fetch, an hour apart
		slide time.Duration // the service drops the hours that are over
		want  time.Duration // issue time of the last
	}{
		{"the same for days", []string{a, a, a, a}, 0, 0},
		{"the same, its window moving", []string{a, a, a, a}, time.Hour, 0},
		{"two caches in turn", []string{a, b, a, b, a}, 0, time.Hour},
		{"new content", []string{a, a, b}, 0, 2 * time.Hour},
		{"new content in a moving window", []string{a, a, b}, time.Hour, 2 * time.Hour},
	} {
		site := coldseam.SiteID("grid:" + strings.ReplaceAll(row.name, " ", "_"))
		for i, content := range row.seen {
			f := coldseam.Forecast{
				Site:     site,
				Param:    coldseam.AirTemp,
				Stat:     coldseam.Instant,
				Provider: "grid",
				KnownAt:  t0.Add(time.Duration(i) * time.Hour),
			}
			for h := range 48 {
				at := t0.Add(time.Duration(h)*time.Hour + time.Duration(i)*row.slide)
				f.At = append(f.At, at)
				f.Value = append(f.Value, math.Sin(float64(at.Unix()/3600)*float64(len(content)+int(content[0]))))
			}
			require.NoError(t, db.SaveForecasts(t.Context(), []coldseam.Forecast{f}))
		}

		got, err := db.Forecasts(t.Context(), site, coldseam.AirTemp, t0.Add(24*time.Hour))
		require.NoError(t, err)
		require.Len(t, got, 1)
		require.Equal(t, t0.Add(row.want), got[0].Issued, row.name)
	}
}

// No thunder in a dry spell is as young as the air; odds that change in time and
// come back unchanged are as old as they are.
func TestQuietForecastIsAsYoungAsTheRest(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)

	for _, row := range []struct {
		site    coldseam.SiteID
		thunder func(h int) float64
		want    time.Duration
	}{
		{"grid:dry", func(int) float64 { return 0 }, 3 * time.Hour},
		{"grid:stuck", func(h int) float64 { return float64(h%24) / 100 }, 0},
	} {
		for i := range 4 {
			air := coldseam.Forecast{
				Site:     row.site,
				Param:    coldseam.AirTemp,
				Stat:     coldseam.Instant,
				Provider: "grid",
				KnownAt:  t0.Add(time.Duration(i) * time.Hour),
			}
			thunder := air
			thunder.Param = coldseam.ThunderProb
			for h := range 48 {
				air.At, air.Value = append(air.At, t0.Add(time.Duration(h)*time.Hour)), append(air.Value, float64(h+i))
				thunder.Value = append(thunder.Value, row.thunder(h))
			}
			thunder.At = air.At
			require.NoError(t, db.SaveForecasts(t.Context(), []coldseam.Forecast{thunder, air}))
		}

		got, err := db.Forecasts(t.Context(), row.site, coldseam.ThunderProb, t0.Add(24*time.Hour))
		require.NoError(t, err)
		require.Equal(t, t0.Add(row.want), got[0].Issued, row.site)
	}
}

// What each step stands for comes back as it was stored.
func TestForecastSpans(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	f := coldseam.Forecast{
		Site:     "grid:1",
		Param:    coldseam.Wind,
		Stat:     coldseam.Instant,
		Provider: "grid",
		Issued:   t0,
		KnownAt:  t0.Add(time.Minute),
		At:       []time.Time{t0, t0.Add(12 * time.Hour)},
		Value:    []float64{1, 2},
	}
	require.NoError(t, db.SaveForecasts(t.Context(), []coldseam.Forecast{f}))
	f.KnownAt = f.KnownAt.Add(time.Minute)
	f.Span = [][2]time.Time{{t0, t0.Add(12 * time.Hour)}, {t0.Add(12 * time.Hour), t0.Add(24 * time.Hour)}}
	require.NoError(t, db.SaveForecasts(t.Context(), []coldseam.Forecast{f}))
	got, err := db.Forecasts(t.Context(), f.Site, f.Param, t0.Add(time.Hour))
	require.NoError(t, err)
	require.Equal(t, f.Span, got[0].Span, "the same values with spans are a correction")
	f.Span = f.Span[:1]
	require.ErrorIs(t, db.SaveForecasts(t.Context(), []coldseam.Forecast{f}), coldseam.ErrInvalid)
}
