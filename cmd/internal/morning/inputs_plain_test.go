//go:build !race

package morning_test

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/flow"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/thermal"
	"example.org/coldseam/ingest"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

func featuresOf(t *testing.T, v *clubtest.Harness, r coldseam.Reach) forecast.Inputs {
	t.Helper()
	f, err := v.Morning.Inputs(t.Context(), r, clubtest.Saturday, v.Now(), false)
	require.NoError(t, err)
	return f
}

// told makes the morning of features as the service would.
func told(f forecast.Inputs) forecast.Morning { return forecast.Make(f) }

func inputNote(t *testing.T, b coldseam.Brief, key string) string {
	t.Helper()
	for _, in := range b.Inputs {
		if in.Key == key {
			return notify.Plain(notify.WordsFor("us", b.Zone).Notes(in.Note))
		}
	}
	t.Fatalf("no input %q", key)
	return ""
}

// waterTrips logs water temperatures read in the boat: delta above the gauge.
func waterTrips(t *testing.T, v *clubtest.Harness, reach coldseam.ReachID, days int, value func(at time.Time) float64) (n int) {
	t.Helper()
	for i := range days {
		at := v.Now().AddDate(0, 0, -1-i).Truncate(15 * time.Minute)
		c := value(at)
		if math.IsNaN(c) {
			continue // the gauge was silent
		}
		_, added, err := v.DB.AddTrip(t.Context(), coldseam.Trip{
			Reach:     reach,
			Date:      coldseam.DateOf(at.In(env.Zone("America/Chicago"))),
			Angler:    fmt.Sprintf("b%d", i%3),
			Start:     at.Add(-time.Hour),
			Hours:     3,
			Anglers:   1,
			Lines:     1,
			Species:   "walleye",
			Fish:      1,
			WaterC:    &c,
			WaterAt:   at,
			EnteredAt: at.Add(time.Hour),
			Source:    "csv",
		})
		require.NoError(t, err)
		require.True(t, added)
		n++
	}
	return n
}

// From the boat's thermometer to the brief: stored trips are set beside the
// gauge's own readings of the hour, and move what is told of the reach.
func TestBoatReadingsReachTheBrief(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	r := v.ReachOf(t, "tamsen-bend")
	before := featuresOf(t, v, r)
	require.Empty(t, before.Readings)
	plain := told(before)

	n := waterTrips(t, v, r.ID, 15, func(at time.Time) float64 { return nearestTo(before.Water, at) + 1.2 })
	later := v.Now().AddDate(0, 0, -3)
	_, err := v.DB.Pool().Exec(t.Context(),
		`UPDATE coldseam.trip SET entered_at = $1 WHERE source = 'csv' AND water_c IS NOT NULL AND day = $2`,
		v.Now().Add(time.Hour), coldseam.DateOf(later).UTC())
	require.NoError(t, err)
	f := featuresOf(t, v, r)
	require.Len(t, f.Readings, n-1, "a line that was entered later is not known yet")
	for _, x := range f.Readings {
		require.InDelta(t, 1.2, x.Value-x.Gauge, 1e-9)
	}

	o := thermal.FitOffset(f.Readings)
	require.InDelta(t, 1.2, o.Mean, .15)
	m := told(f)
	require.Contains(t, inputNote(t, m.Brief, "water_temp"), fmt.Sprintf("%d members' readings", n-1))
	a, _ := plain.Brief.Best()
	b, _ := m.Brief.Best()
	require.Greater(t, b.WaterC[1], a.WaterC[1]+.7)
	require.Equal(t, plain.Temp.Site, m.Temp.Site)
	require.InDelta(t, plain.Temp.Quantile(2, .5), m.Temp.Quantile(2, .5), 1e-9,
		"the gauge's own forecast is not moved: it is scored")
}

// A gauge without a thermometer: the nearest gauge of the club stands in; far
// from any, the boat's thermometer alone carries the river.
func TestRiverWithoutAThermometer(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()
	dry := v.ReachOf(t, "tamsen-bend")
	site, err := v.DB.Site(ctx, dry.Site)
	require.NoError(t, err)
	src := dry.Site
	site.ID, site.Code, site.Name = "northgauge:DRY", "DRY", "Dry Fork"
	require.NoError(t, v.DB.PutSite(ctx, site))

	for _, k := range []struct {
		param coldseam.Parameter
		stat  coldseam.Statistic
		from  time.Time
	}{{coldseam.Discharge, coldseam.Instant, v.Now().Add(-morning.HistoryBack)},
		{coldseam.Stage, coldseam.Instant, v.Now().Add(-morning.HistoryBack)},
		{coldseam.Discharge, coldseam.Mean, time.Time{}}} {
		s, err := v.DB.History(ctx, src, k.param, k.stat, k.from, v.Now(), v.Now())
		require.NoError(t, err)
		s.Site = site.ID
		_, _, err = v.DB.UpsertSeries(ctx, 0, []coldseam.Series{s})
		require.NoError(t, err)
	}

	dry.ID, dry.Site, dry.AirSite = "dry-fork", site.ID, src
	require.NoError(t, v.DB.PutReach(ctx, dry, store.Edit{Who: "test", Why: "test"}))

	word := store.IceWord{
		Reach: dry.ID,
		At:    v.Now(),
		Open:  true,
		Admin: true,
		Edit:  store.Edit{Who: "admin", Why: "test"},
	}
	require.NoError(t, v.DB.SayIce(ctx, word), "a neighbour's thermometer shows no open water here")
	near := featuresOf(t, v, dry)
	require.Equal(t, src, near.TempSite)
	m := told(near)
	require.Equal(t, src, m.Temp.Site)
	require.Contains(t, inputNote(t, m.Brief, "water_temp"),
		"neighbour gauge northgauge:NG-1001 and no member's reading")
	n := waterTrips(t, v, dry.ID, 15, func(at time.Time) float64 { return math.Max(nearestTo(near.Water, at)-.8, .1) })
	known := told(featuresOf(t, v, dry))
	a, _ := m.Brief.Best()
	b, _ := known.Brief.Best()
	require.Less(t, b.WaterC[2]-b.WaterC[0], a.WaterC[2]-a.WaterC[0])
	require.Less(t, b.WaterC[1], a.WaterC[1])

	dry.Lat += 9 // far from every other gauge
	require.NoError(t, v.DB.PutReach(ctx, dry, store.Edit{Who: "test", Why: "test"}))
	far := featuresOf(t, v, dry)
	require.Empty(t, far.TempSite)
	require.Len(t, far.Readings, n)
	alone := told(far)
	require.Contains(t, inputNote(t, alone.Brief, "water_temp"), fmt.Sprintf("%d members' readings alone", n))
	w, ok := alone.Brief.Best()
	require.True(t, ok)
	require.NotZero(t, w.WaterC[1])
	require.Positive(t, w.WaterC[2]-w.WaterC[0])
}

const flowForecastDoc = `<?xml version="1.0" encoding="UTF-8"?>
<wml2:Collection xmlns:wml2="http://www.opengis.net/waterml/2.0" xmlns:om="http://www.opengis.net/om/2.0" xmlns:gml="http://www.opengis.net/gml/3.2" xmlns:xlink="http://www.w3.org/1999/xlink">
<wml2:observationMember><om:OM_Observation gml:id="o1"><om:resultTime><gml:TimeInstant gml:id="rt"><gml:timePosition>%s</gml:timePosition></gml:TimeInstant></om:resultTime>
<om:observedProperty xlink:href="urn:north:property:discharge"/><om:featureOfInterest xlink:href="urn:north:station:TAMX"/>
<om:result><wml2:MeasurementTimeseries gml:id="ts.1"><wml2:defaultPointMetadata><wml2:DefaultTVPMeasurementMetadata><wml2:uom code="m3/s"/></wml2:DefaultTVPMeasurementMetadata></wml2:defaultPointMetadata>%s</wml2:MeasurementTimeseries></om:result>
</om:OM_Observation></wml2:observationMember></wml2:Collection>`

// An agency's discharge forecast in WaterML 2 with a result time: fetched,
// archived, in the ensemble, and the plan a regulated reach waits for.
func TestAgencyFlowForecastFromFeedToBrief(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()
	issued := v.Now().Add(-90 * time.Minute).Truncate(time.Hour)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		var pts strings.Builder
		for h := 0; h <= 72; h += 3 {
			fmt.Fprintf(&pts, `<wml2:point><wml2:MeasurementTVP><wml2:time>%s</wml2:time><wml2:value>128</wml2:value></wml2:MeasurementTVP></wml2:point>`,
				issued.Add(time.Duration(h+1)*time.Hour).Format(time.RFC3339))
		}
		w.Header().Set("Content-Type", "text/xml")
		fmt.Fprintf(w, flowForecastDoc, issued.Format(time.RFC3339), pts.String())
	}))
	defer srv.Close()

	text := democlub.TOML + "\n[[site]]\nid = \"northflow:TAMX\"\nprofile = \"northflow\"\ncode = \"TAMX\"\nname = \"Forecast for the Tamsen\"\nzone = \"America/Chicago\"\nlat = 45.3\nlon = -92.6\n"
	text = regexp.MustCompile(`(?m)^leave_mark = .*\n`).ReplaceAllString(text, "") // a regulated reach has none
	text = strings.Replace(text, "gauge_km = 4\n",
		"gauge_km = 4\nregulated = true\nflow_forecast = \"northflow:TAMX\"\n", 1)
	profiles := append(slices.Clone(v.Config.Profiles), ingest.Profile{
		Name:         "northflow",
		Format:       ingest.FormatWaterML2,
		Kind:         "forecast",
		BaseURL:      srv.URL,
		Path:         "/sos",
		Query:        map[string]string{"featureOfInterest": "{sites}"},
		Parameters:   map[string]string{"urn:north:property:discharge": "discharge", "discharge": "discharge"},
		Zone:         "America/Chicago",
		PrivateHosts: []string{"127.0.0.1"},
		RatePerHour:  3600,
		Licence:      "invented",
		Attribution:  "Invented flow forecasts",
	})
	cfg, err := config.Parse("demo.toml", text, profiles...)
	require.NoError(t, err)

	cfg.StateDir, cfg.Mail.SMTP = v.Config.StateDir, v.Config.Mail.SMTP
	v.Config, v.Feeds.Fetcher.Profiles = cfg, cfg.Placed()
	require.NoError(t, v.SyncRivers(ctx))
	r := v.ReachOf(t, "tamsen-bend")
	require.Equal(t, coldseam.SiteID("northflow:TAMX"), r.AgencySite)
	require.True(t, r.Regulated)
	bare := told(featuresOf(t, v, r))
	require.True(t, slices.Contains(bare.Decision.Fired, "regulated"), "%v", bare.Decision.Fired)

	var flowFeed feeds.Feed
	for _, f := range feeds.Plan(v.Config) {
		if f.Profile == "northflow" {
			flowFeed = f
		}
	}

	require.Equal(t, 10*env.Day, flowFeed.Ahead, "asked for the days to come")
	res, err := v.Feeds.FetchOne(ctx, flowFeed, flowFeed.Request(v.Now()))
	require.NoError(t, err)
	require.Positive(t, res.Rows)
	f := featuresOf(t, v, r)
	require.Len(t, f.Agency, 1)
	require.Len(t, f.AgencyPast, 1)
	require.Equal(t, issued, f.Agency[0].Issued)

	m := told(f)
	require.False(t, slices.Contains(m.Decision.Fired, "regulated"), "%v", m.Decision.Fired)
	require.Contains(t, inputNote(t, m.Brief, "discharge"), "agency's flow forecast")
	a, _ := bare.Brief.Best()
	b, _ := m.Brief.Best()
	require.Greater(t, b.FlowM3S[1], a.FlowM3S[1], "128 m3/s lie above what the gauge alone says")
	require.InDelta(t, 128, b.FlowM3S[1], 6, "the hours follow the schedule")
	require.Greater(t, m.Flow.Quantile(1, .5), bare.Flow.Quantile(1, .5))
}

// Rain is modelled once a hundred storms are archived beside what the river did.
func TestRainIsLearntFromTheArchive(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()
	r := v.ReachOf(t, "tamsen-bend")
	f := featuresOf(t, v, r)
	require.Nil(t, f.RainTerm)
	var dry []coldseam.Date // before days that can be scored: measured, not under ice
	for i := f.Days.Len() - 30; len(dry) < 101; i -= 2 {
		if !f.Days.FlowSoft[i+1] && f.Days.FlowM3S[i+1] > 0 && !f.Days.FlowSoft[i] && f.Days.FlowM3S[i] > 0 {
			dry = append(dry, f.Days.Day(i))
		}
	}

	storms := func(from, to int) {
		for k, last := range dry[from:to] {
			fc := coldseam.Forecast{
				Site:     r.WeatherSite,
				Param:    coldseam.Precip,
				Stat:     coldseam.Sum,
				Period:   "P1D",
				Provider: "metgrid",
				Issued:   last.Add(1).In(f.Loc).Add(time.Hour).UTC(),
				KnownAt:  last.Add(1).In(f.Loc).Add(2 * time.Hour).UTC(),
			}
			for h := 1; h <= 5; h++ {
				fc.At, fc.Value = append(fc.At, last.Add(h+1).In(f.Loc).UTC()), append(fc.Value, float64(3+k%9))
			}
			require.NoError(t, v.DB.SaveForecasts(ctx, []coldseam.Forecast{fc}))
		}
	}
	storms(0, 99)

	require.NoError(t, v.Morning.FitRain(ctx, r, f))
	require.Nil(t, featuresOf(t, v, r).RainTerm, "99 storms are not 100")
	storms(99, 101)
	require.NoError(t, v.Morning.FitRain(ctx, r, f))
	g := featuresOf(t, v, r)
	require.NotNil(t, g.RainTerm)
	require.Equal(t, 101, g.RainTerm.N)

	for i := range g.Weather {
		if g.Weather[i].Param == coldseam.Precip {
			g.Weather[i].Value = slices.Repeat([]float64{1}, len(g.Weather[i].Value))
		}
	}
	g.RainTerm = nil
	require.Contains(t, inputNote(t, told(g).Brief, "weather"), "rain is not modelled")
	g.RainTerm = &flow.RainTerm{PerMM: [3]float64{.01, .01, .01}, N: 101}
	require.NotContains(t, inputNote(t, told(g).Brief, "weather"), "rain is not modelled")
}

// Wave odds that came true too seldom are moved by the club's own log.
func TestWaveOddsLearnFromTheLog(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()
	r := v.ReachOf(t, "tamsen-bend")
	_, err := v.DB.Pool().Exec(ctx, `DELETE FROM coldseam.trip`)
	require.NoError(t, err)
	loc := env.Zone(r.Zone)
	first := coldseam.Date{Year: 2025, Month: 3, Day: 1}

	for k := range 80 {
		d := first.Add(k)
		for a := range 2 { // two boats, three line hours each, a steady catch: no wave ever
			_, _, err := v.DB.AddTrip(ctx, coldseam.Trip{
				Reach:     r.ID,
				Date:      d,
				Angler:    fmt.Sprintf("w%d", a),
				Start:     d.In(loc).Add(7 * time.Hour),
				Hours:     3,
				Anglers:   1,
				Lines:     1,
				Species:   "walleye",
				Fish:      2,
				EnteredAt: d.In(loc).Add(12 * time.Hour),
				Source:    "csv",
			})
			require.NoError(t, err)
		}

		s := coldseam.RunState{
			Species:  "walleye",
			Active:   true,
			PWave:    .6,
			PWaveRaw: .6,
			WaveRule: coldseam.WaveRule,
			Days:     []coldseam.RunDay{{Day: d, PWave: .6}},
		}
		require.NoError(t, v.DB.SaveRun(ctx, r.ID, d, d.In(loc).Add(4*time.Hour), s))
		s.PWaveRaw = .9 // a later issue is not the word of the morning
		require.NoError(t, v.DB.SaveRun(ctx, r.ID, d, d.In(loc).Add(6*time.Hour), s))
		s.Days[0].Day = d.Add(-1) // nor is one of the day before
		require.NoError(t, v.DB.SaveRun(ctx, r.ID, d, d.In(loc).Add(-4*time.Hour), s))
	}

	old := coldseam.RunState{
		Species:  "walleye",
		Active:   true,
		PWave:    .1,
		PWaveRaw: .1,
		Days:     []coldseam.RunDay{{Day: first.Add(-1), PWave: .1}},
	}
	require.NoError(t, v.DB.SaveRun(ctx, r.ID, first.Add(-1), first.In(loc).Add(-20*time.Hour), old))
	said, err := v.DB.WaveOdds(ctx, r.ID, "walleye", v.Now())
	require.NoError(t, err)
	require.InDelta(t, .6, said[first], 1e-9)
	require.NotContains(t, said, first.Add(-1), "odds of another kind of wave are not scored")
	require.NoError(t, v.Morning.Recalibrate(ctx))

	f := featuresOf(t, v, r)
	require.GreaterOrEqual(t, f.Recal.N, 70)
	require.Less(t, f.Recal.Apply(.6), .2)
	moved := told(f).Brief.Run
	f.Recal.N = 0
	plain := told(f).Brief.Run
	require.InDelta(t, plain.PWave, moved.PWaveRaw, 1e-9, "what is scored is the odds before the lesson")
	if plain.PWave > 0 {
		require.Less(t, moved.PWave, plain.PWave)
	}
}

func TestClubTables(t *testing.T) {
	t.Parallel()
	const head = "public_url = \"https://x.example.org\"\n[club]\nname = \"Club\"\n"
	for _, c := range []struct{ name, text, want string }{
		{"two costs", head + "cost_per_mile = 1.0\ncost_per_km = 0.6\n", "both given"},
		{"unknown class", head + "[[alert_rule]]\nclass = \"mud\"\nwords = [\"mud\"]\n", `alert class "mud"`},
		{"says nothing", head + "[[alert_rule]]\nclass = \"ice\"\n", "neither codes nor words"},
		{"fits everything", head + "[[alert_rule]]\nclass = \"ice\"\nwords = [\" \"]\n", "fits every warning"},
		{"silences without a reason", head + "[[alert_rule]]\nclass = \"none\"\nwords = [\"frost\"]\n", "want why"},
		{"tie out of range", head + "[weight]\ntie_new = 1.5\n", "weight.tie_new is 1.5; want 0.3 to 0.95"},
		{"floor above max", head + "[weight]\nfloor_oz = 0.75\nmax_oz = 0.5\n", "is above max_oz"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, err := config.Parse("c.toml", c.text)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.Contains(t, err.Error(), c.want)
		})
	}

	cfg, err := config.Parse("c.toml",
		head+"cost_per_km = 0.5\ncurrency = \"EUR\"\n[weight]\nmax_oz = 0.5\n[[profile]]\nname = \"north\"\nbase_url = \"https://north.example\"\n[[alert_rule]]\nprovider = \"north\"\nclass = \"none\"\nwords = [\"frost\"]\nwhy = \"no matter for the river\"\n")
	require.NoError(t, err)
	rules, err := cfg.Alerts()
	require.NoError(t, err)
	require.Len(t, rules, 1)
	require.Equal(t, .5, cfg.Weight.Limits().MaxOz)
	mile, err := cfg.Club.DriveCost()
	require.NoError(t, err)
	require.InDelta(t, .8047, mile, 1e-4)
}

// Once a week, and once: the daily round asks for a refit of every gauge whose
// models are past their week.
func TestWeeklyRefitIsAskedForOnce(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()
	asked := func() int { return v.Count(t, `SELECT count(*) FROM river.river_job WHERE kind = 'refit'`) }
	_, err := v.Morning.MakeAll(ctx, clubtest.Saturday) // fits what has no model yet
	require.NoError(t, err)
	before := asked()
	require.NoError(t, v.App.MaintenanceJob(ctx, store.MaintenanceArgs{Day: clubtest.Saturday}))
	require.Equal(t, before, asked(), "models of this week stand")
	require.Equal(t, 3, v.Count(t, `SELECT count(*) FROM river.river_job WHERE kind = 'seasons'`), "no page has a season")
	v.Clock.Forward(v.Now().Add(morning.RefitAfter + time.Hour))
	week := clubtest.Saturday.Add(7)
	require.NoError(t, v.App.MaintenanceJob(ctx, store.MaintenanceArgs{Day: week}))
	require.Equal(t, before+3, asked())
	require.NoError(t, v.App.MaintenanceJob(ctx, store.MaintenanceArgs{Day: week}))
	require.Equal(t, before+3, asked())
}

// The day that is under way is no daily mean yet: neither the river's own
// record nor those that others lend it reach beyond yesterday.
func TestRecordsEndYesterday(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	r, err := v.DB.Reach(ctx, "tamsen-bend")
	require.NoError(t, err)
	r.UpstreamSites = []coldseam.SiteID{"northgauge:NG-1002"}

	today := coldseam.DateOf(v.Now().In(env.Zone(r.Zone)))
	for _, site := range []coldseam.SiteID{r.Site, "northgauge:NG-1002", "northgauge:NG-1003"} {
		for _, p := range []coldseam.Parameter{coldseam.Discharge, coldseam.WaterTemp} {
			var obs []coldseam.Observation
			for d := today.Add(-500); !today.Before(d); d = d.Add(1) {
				obs = append(obs, coldseam.Observation{At: d.Add(1).In(env.Zone(r.Zone)),
					KnownAt: v.Now().Add(-time.Hour), Value: 10})
			}
			s, _, err := coldseam.NewSeries(coldseam.SeriesKey{
				Site:     site,
				Param:    p,
				Stat:     coldseam.Mean,
				Period:   "P1D",
				Provider: "northgauge",
			}, obs)
			require.NoError(t, err)
			_, _, err = v.DB.UpsertSeries(ctx, 0, []coldseam.Series{s})
			require.NoError(t, err)
		}
	}

	whole, err := v.DB.DailyFrame(ctx, r.Site, "", "", v.Now(), r.Zone)
	require.NoError(t, err)
	require.Equal(t, today, whole.Day(len(whole.FlowM3S)-1), "the store has today's")

	f, err := v.Morning.Inputs(ctx, r, today, v.Now(), false)
	require.NoError(t, err)
	require.Len(t, f.Upstream, 1)
	require.NotEmpty(t, f.Pool)
	for _, d := range append(append([]coldseam.Days{f.Days}, f.Upstream...), f.Pool...) {
		require.Equal(t, today.Add(-1), d.Day(len(d.FlowM3S)-1))
	}
}

// Daily counts of a weir lead the wave odds of its reach, and gauge nothing: the
// morning's flow and water are the same with and without.
func TestAFishCounterLeadsTheWaveOdds(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()
	r := v.ReachOf(t, "tamsen-bend")
	plain := told(featuresOf(t, v, r)).Brief
	require.Zero(t, plain.Run.Counted)

	const weir = coldseam.SiteID("northgauge:WEIR")
	require.NoError(t, v.DB.PutSite(ctx, coldseam.Site{
		ID:       weir,
		Provider: "northgauge",
		Code:     "WEIR",
		Name:     "Weir",
		Zone:     r.Zone,
		Lat:      r.Lat,
		Lon:      r.Lon,
	}))
	var obs []coldseam.Observation
	for k := 9; k >= 1; k-- {
		obs = append(obs, coldseam.Observation{At: clubtest.Saturday.Add(1 - k).In(env.Zone(r.Zone)),
			KnownAt: v.Now().Add(-time.Hour), Value: float64(120 - 10*k)})
	}
	s, _, err := coldseam.NewSeries(coldseam.SeriesKey{
		Site:     weir,
		Param:    coldseam.FishCount,
		Stat:     coldseam.Sum,
		Period:   "P1D",
		Provider: "northgauge",
	}, obs)
	require.NoError(t, err)
	_, _, err = v.DB.UpsertSeries(ctx, 0, []coldseam.Series{s})
	require.NoError(t, err)

	r.CountSite = weir
	counted := told(featuresOf(t, v, r)).Brief
	require.Equal(t, clubtest.Saturday.Add(-1), counted.Run.Counted.Day)
	require.InDelta(t, 110, counted.Run.Counted.Fish, 0)
	require.InDelta(t, 80, counted.Run.Counted.WeekMean, 1e-9)
	require.Equal(t, plain.Flow, counted.Flow)
	require.Equal(t, plain.Temp, counted.Temp)

	// One spring's counts refit nothing; a row that five have refitted is used.
	require.NoError(t, v.DB.PutReach(ctx, r, store.Edit{Who: "test", Why: "test"}))
	require.NoError(t, v.Morning.Recalibrate(ctx))
	shipped := featuresOf(t, v, r).Species
	require.InDelta(t, .5, shipped.Cohorts[0].S, 0)
	raw, err := json.Marshal(run.Refit{Spread: 3, Base: shipped.Tb, RunFit: coldseam.RunFit{Seasons: run.RefitSeasons}})
	require.NoError(t, err)
	v.Clock.Forward(v.Now().Add(time.Second))
	_, err = v.DB.SaveModel(ctx, store.Model{
		Owner:  string(r.ID),
		Kind:   morning.RefitKind,
		MadeAt: v.Now(),
		Params: raw,
	})
	require.NoError(t, err)
	f := featuresOf(t, v, r)
	require.InDelta(t, 1.5, f.Species.Cohorts[0].S, 1e-9)
	require.Equal(t, coldseam.RunFit{Seasons: run.RefitSeasons, On: coldseam.DateOf(v.Now())}, told(f).Brief.Run.Fit)

	// The night gives the row up, as the counts do not bear it out; the next one
	// finds nothing new to keep.
	var versions []int
	for range 2 {
		v.Clock.Forward(v.Now().Add(time.Hour))
		require.NoError(t, v.Morning.Recalibrate(ctx))
		m, err := v.DB.Model(ctx, string(r.ID), morning.RefitKind, v.Now())
		require.NoError(t, err)
		versions = append(versions, m.Version)
	}
	require.Zero(t, featuresOf(t, v, r).Species.Fit)
	require.Equal(t, versions[0], versions[1])
}

// nearestTo is the value nearest in time.
func nearestTo(obs []coldseam.Observation, at time.Time) float64 {
	v, best := math.NaN(), time.Hour+1
	for _, o := range obs {
		if d := o.At.Sub(at).Abs(); o.Flag.Usable() && d < best {
			v, best = o.Value, d
		}
	}
	return v
}
