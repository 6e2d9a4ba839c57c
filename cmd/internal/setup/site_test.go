package setup

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/forecast/flowlimit"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/store/storetest"
)

// newEmptyTown is a club without a river that knows the agency: its
// configuration is a file, as an admin has it.
func newEmptyTown(t *testing.T) *clubtest.Harness {
	t.Helper()
	v := clubtest.NewOn(t, storetest.URL(t), nil)
	path := filepath.Join(t.TempDir(), "coldseam.toml")
	head, _, _ := strings.Cut(democlub.TOML, "[[site]]")
	require.NoError(t, os.WriteFile(path, []byte(head), 0o600))
	v.Config.Path, v.Config.Sites, v.Config.Reaches = path, nil, nil
	for i, p := range v.Config.Profiles {
		if p.Name != simagency.ProfileGauges {
			continue
		}
		v.Config.Profiles[i].Endpoints["nearby"] = ingest.Endpoint{Path: "/ogcapi/v1/collections/monitoring-locations/items", Query: map[string]string{"f": "json", "bbox": "{bbox}", "limit": "{limit}"}}
	}
	return v
}

func TestSiteAddFromAFeed(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := newEmptyTown(t)
	before, err := os.ReadFile(v.Config.Path)
	require.NoError(t, err)
	var out bytes.Buffer
	list := &siteAddCmd{Lat: 45.29, Lon: -92.66, RadiusKM: 200, Years: 30, Name: "bend"}
	require.NoError(t, list.add(ctx, &out, v.Parts))
	require.Regexp(t, `2\.\d +NG-1001 +Tamsen at Alder Landing +\d+ km2 +[\d,]+ cfs, \d+ min old +[\d.]+ ft, \d+ min old +\d+ ?F, \d+ min old +20\d\d`, out.String())
	require.Less(t, strings.Index(out.String(), "NG-1001"), strings.Index(out.String(), "NG-1002"), "nearest first")
	require.Contains(t, out.String(), "Nothing added")

	out.Reset()
	c := &siteAddCmd{Lat: 45.29, Lon: -92.66, RadiusKM: 40, Years: 4, Code: "NG-1001", Name: "bend", NoReplay: true}
	// The file names no profile of its own in this test: the block is shown, and
	// proven against the program's own reader below.
	c.DryRun = true
	require.NoError(t, c.add(ctx, &out, v.Parts))
	text := out.String()
	for _, want := range []string{"daily     2 of 2 parts", "history", "P5", "Apr", "Whole record: P95",
		"Under 10 years", "PROPOSED", "hazards_surveyed = false",
		`weather = "metgrid:tamsen-bend"`, `alerts = "northgauge-cap"`, `river = "Tamsen"`, `id = "tamsen-bend"`} {
		require.Contains(t, text, want)
	}

	_, block, ok := strings.Cut(text, "configuration:\n\n")
	require.True(t, ok)
	cfg, err := config.Parse("c.toml", string(before)+block, v.Config.Profiles...)
	require.NoError(t, err)
	require.Len(t, cfg.Sites, 2)
	require.Len(t, cfg.Reaches, 1)
	r, err := cfg.Reaches[0].Build(cfg)
	require.NoError(t, err)
	frame, err := v.DB.DailyFrame(ctx, "northgauge:NG-1001", "", "", v.Now(), "America/Chicago")
	require.NoError(t, err)

	best := flowlimit.Propose(flowlimit.Input{Days: frame})[0]
	require.LessOrEqual(t, *r.MaxFlowM3S, best.FlowM3S,
		"the proposal is the smallest candidate, to two digits and not above it")
	require.InEpsilon(t, best.FlowM3S, *r.MaxFlowM3S, 0.1)
	require.True(t, r.MaxFlowProposed)
	require.False(t, r.HazardsSurveyed)
	require.Empty(t, r.Rules, "nothing is guessed")
	after, err := os.ReadFile(v.Config.Path)
	require.NoError(t, err)
	require.Equal(t, before, after, "a dry run touches nothing")

	// A station that is not there, a profile that lists none.
	require.ErrorContains(t, (&siteAddCmd{Lat: 45.29, Lon: -92.66, RadiusKM: 40, Code: "NG-9"}).add(ctx, &out, v.Parts),
		`does not list a station "NG-9"`)
	require.ErrorContains(t, (&siteAddCmd{Lat: 45, Lon: -92, RadiusKM: 40, Profile: "metgrid"}).add(ctx, &out, v.Parts),
		"no endpoint named nearby")
	out.Reset()
	require.NoError(t, (&siteAddCmd{Lat: 10, Lon: 10, RadiusKM: 40}).add(ctx, &out, v.Parts))
	require.Contains(t, out.String(), "No gauge within 40 km")
}

// A service of official flood stages that knows the gauge is asked by the gauge's
// own code, and what it says of this gauge is proposed with its source.
func TestSiteAddProposesFloodStages(t *testing.T) {
	t.Parallel()
	v := newEmptyTown(t)
	gauge := "1001"
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/gauges/1001" {
			w.WriteHeader(http.StatusNotFound)
			return
		}
		fmt.Fprintf(w, `{"lid":"TAMX1","usgsId":%q,"flood":{"stageUnits":"ft","flowUnits":"cfs","categories":{
			"minor":{"stage":11,"flow":-9999},"action":{"stage":9,"flow":-9999}}}}`, gauge)
	}))
	defer srv.Close()
	var shipped struct {
		Profile []ingest.Profile `toml:"profile"`
	}
	_, err := toml.DecodeFile("../../../deploy/profiles.toml", &shipped)
	require.NoError(t, err)
	for _, p := range shipped.Profile {
		if p.Name == "us-river-forecast" {
			p.BaseURL, p.PrivateHosts = srv.URL, []string{"127.0.0.1"}
			v.Config.Profiles = append(v.Config.Profiles, p)
		}
	}

	add := func() (string, coldseam.Reach) {
		var out bytes.Buffer
		before, err := os.ReadFile(v.Config.Path)
		require.NoError(t, err)
		c := &siteAddCmd{Lat: 45.29, Lon: -92.66, RadiusKM: 40, Years: 1, Code: "NG-1001", Name: "bend", NoReplay: true, DryRun: true}
		require.NoError(t, c.add(t.Context(), &out, v.Parts))
		_, block, ok := strings.Cut(out.String(), "configuration:\n\n")
		require.True(t, ok)
		cfg, err := config.Parse("c.toml", string(before)+block, v.Config.Profiles...)
		require.NoError(t, err, block)
		r, err := cfg.Reaches[0].Build(cfg)
		require.NoError(t, err)
		return block, r
	}
	block, r := add()
	require.Contains(t, block, "flood_stage_ft = 11.00          # PROPOSED: minor flood by us-river-forecast, asked 2026-04-")
	require.Equal(t, coldseam.SiteID("NWPS:1001"), r.StageSite)
	require.InDelta(t, 11*coldseam.MetrePerFoot, *r.FloodStageM, 1e-9)
	require.InDelta(t, 9*coldseam.MetrePerFoot, *r.ActionStage, 1e-9)

	gauge = "2002" // the answer is of another gauge: another zero
	block, r = add()
	require.Contains(t, block, "#flood_stage_ft = 0.0")
	require.Nil(t, r.FloodStageM)
	require.Empty(t, r.StageSite)
}

// oldRiver is a service of thirty stations around a place, on loopback. The
// nearest twenty ended in 1994, one measures stage alone, one daily means alone.
func oldRiver(t *testing.T, now time.Time, asked *atomic.Int32) ingest.Profile {
	t.Helper()
	const live = 20

	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked.Add(1)
		var out []string
		row := func(id string, i int, more string) {
			out = append(out, fmt.Sprintf(
				`{"type":"Feature","id":%q,"geometry":{"type":"Point","coordinates":[%.3f,45.0]},"properties":{"id":%q,"monitoring_location_id":"S-%02d",%s}}`,
				id, -92+.002*float64(i), id, i, more))
		}

		for i := range 30 {
			end, param, period := now.Add(-time.Hour), "00060", "Points"
			switch {
			case i < live:
				end = time.Date(1994, time.September, 30, 5, 0, 0, 0, time.UTC)
			case i == live:
				param = "00065"
			case i == live+1:
				period = "Daily"
			}

			meta := fmt.Sprintf(
				`"parameter_code":%q,"unit_of_measure":"ft^3/s","computation_identifier":"Instantaneous","computation_period_identifier":%q,"statistic_id":"00011",`+
					`"begin_utc":"1980-01-01T00:00:00+00:00","end_utc":%q,"primary":"Primary"`, param, period,
				end.UTC().Format(time.RFC3339))
			switch {
			case strings.Contains(r.URL.Path, "locations"):
				row(fmt.Sprintf("S-%02d", i), i,
					fmt.Sprintf(`"monitoring_location_number":"%02d","monitoring_location_name":"Mill run %d"`, i, i))
			case strings.Contains(r.URL.Path, "metadata"):
				row(fmt.Sprintf("m%d", i), i, meta)
			case strings.Contains(r.URL.Query().Get("monitoring_location_id"), fmt.Sprintf("S-%02d", i)):
				row(fmt.Sprintf("v%d", i), i,
					fmt.Sprintf(
						`"parameter_code":"00060","unit_of_measure":"ft^3/s","statistic_id":"00011","time_series_id":"v%d","time":%q,"value":"%d"`,
						i, now.Add(-20*time.Minute).UTC().Format(time.RFC3339), 100+i))
			}
		}

		w.Header().Set("Content-Type", "application/geo+json")
		_, _ = io.WriteString(w, `{"type":"FeatureCollection","features":[`+strings.Join(out, ",")+`]}`)
	}))

	t.Cleanup(srv.Close)
	rows := map[string]string{"f": "json", "monitoring_location_id": "{sites}", "limit": "{limit}"}
	return ingest.Profile{
		Name:         "old",
		Format:       ingest.FormatFeatures,
		BaseURL:      srv.URL,
		Path:         "/latest",
		Query:        rows,
		Paging:       ingest.PagingLinks,
		PrivateHosts: []string{"127.0.0.1"},
		RatePerHour:  50,
		Zone:         "UTC",
		Endpoints: map[string]ingest.Endpoint{
			"nearby":   {Path: "/locations", Query: map[string]string{"bbox": "{bbox}", "limit": "{limit}"}},
			"metadata": {Path: "/metadata"}, "latest": {Path: "/latest"},
		},
	}
}

// Gauges that are dead do not hide those that live: the list has what can be
// fished by, with its last value, and says why the others are not in it.
func TestSiteAddListsLiveGaugesFirst(t *testing.T) {
	t.Parallel()
	v := newEmptyTown(t)
	var asked atomic.Int32
	v.Config.Profiles = []ingest.Profile{oldRiver(t, v.Now(), &asked)}
	v.Feeds.Fetcher.SpendAtOnce = true
	v.Feeds.Fetcher.Waiting = func(string, time.Duration) { t.Error("it waits") }
	var out bytes.Buffer
	require.NoError(t, (&siteAddCmd{Lat: 45, Lon: -92, RadiusKM: 40}).add(t.Context(), &out, v.Parts))
	text := out.String()

	require.Equal(t, 3, int(asked.Load()), "stations, series, last values")
	offered, others, ok := strings.Cut(text, "Not offered")
	require.True(t, ok, text)
	require.NotContains(t, offered, "S-19")
	require.Regexp(t, `S-22 +Mill run 22 +- +122 cfs, 20 min old`, offered)
	require.Less(t, strings.Index(offered, "S-29"), strings.Index(offered, "S-21"), "daily means last")
	require.Contains(t, others, "S-00, Mill run 0, 0.0 km: silent since 30 September 1994")
	require.Contains(t, others, "S-20, Mill run 20, 3.1 km: measures no flow")
	require.ErrorContains(t, (&siteAddCmd{Lat: 45, Lon: -92, RadiusKM: 40, Code: "S-20"}).add(t.Context(), &out,
		v.Parts), "S-20 measures no flow; take another")
	series, err := v.DB.SeriesList(t.Context(), "old:S-22")
	require.NoError(t, err)
	require.Empty(t, series, "to look around stores nothing")
}

// Thirty years of a gauge at fifty requests an hour come without a wait.
func TestSiteAddSpendsTheHoursBudget(t *testing.T) {
	t.Parallel()
	v := newEmptyTown(t)
	for i := range v.Config.Profiles {
		v.Config.Profiles[i].RatePerHour = 50
	}
	v.Feeds.Fetcher.SpendAtOnce = true
	v.Feeds.Fetcher.Waiting = func(_ string, d time.Duration) { t.Errorf("it waits %s", d) }
	before, began := len(v.Agency.Requests()), time.Now()
	var out bytes.Buffer
	require.NoError(t, (&siteAddCmd{
		Lat:      45.29,
		Lon:      -92.66,
		RadiusKM: 40,
		Years:    30,
		Code:     "NG-1001",
		Name:     "bend",
		NoReplay: true,
		DryRun:   true,
	}).add(t.Context(), &out, v.Parts))
	asked := len(v.Agency.Requests()) - before
	t.Logf("%d requests in %s", asked, time.Since(began).Round(time.Millisecond))
	require.LessOrEqual(t, asked, 15)
}

func TestAppendConfigNeverBreaksAFile(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "coldseam.toml")
	old := "# mine\n[club]\nname = \"Our Club\"   # and this"
	require.NoError(t, os.WriteFile(path, []byte(old), 0o640))
	require.Error(t, appendConfig(path,
		"\n[[site]]\nid = \"a\"\nprofile = \"nowhere\"\ncode = \"a\"\nzone = \"UTC\"\n"))
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, old, string(b))

	// Names of a foreign service are quoted so that the file can be read.
	odd := candidate{SiteMeta: ingest.SiteMeta{Code: "X-1", Name: "Mill \"Old\"\x00\n[[reach]]\x7f \u200b creek"}}
	add := &siteAddCmd{Zone: "UTC", Name: "bend"}
	a := &parts.Parts{Env: &env.Env{Now: time.Now}}
	site := odd.site(ingest.Profile{Name: "ng"}, add)
	block := add.block(a, ingest.Profile{Name: "ng"}, site, add.reach(a, site), odd)
	cfg, err := config.Parse("c.toml", old+"\n"+block, ingest.Profile{Name: "ng", BaseURL: "https://ng.example"})
	require.NoError(t, err, block)
	require.Equal(t, "Mill \"Old\"[[reach]]  creek", cfg.Sites[0].Name)
	require.NoError(t, appendConfig(path, "[thresholds]\nwind_mph = 20\n"))

	b, err = os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, old+"\n[thresholds]\nwind_mph = 20\n", string(b))
	st, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o640), st.Mode().Perm())
}

// A gauge that reports once a day says so.
func TestDailyGaugeIsSaid(t *testing.T) {
	t.Parallel()
	key := func(period string) ingest.SeriesMeta {
		return ingest.SeriesMeta{Key: coldseam.SeriesKey{Param: coldseam.Discharge, Period: period}}
	}
	require.True(t, candidate{series: []ingest.SeriesMeta{key("P1D")}}.daily())
	require.False(t, candidate{series: []ingest.SeriesMeta{key("P1D"), key("")}}.daily())
	require.False(t, candidate{}.daily(), "not said is not known")
}

func TestPercentilesAndDistances(t *testing.T) {
	t.Parallel()
	d := coldseam.Days{First: coldseam.Date{Year: 2024, Month: time.January, Day: 1}}
	for i := range 366 {
		d.FlowM3S = append(d.FlowM3S, float64(i))
	}
	d.FlowM3S[10] = math.NaN()

	r := percentiles(d)
	require.Equal(t, 365, r.days)
	require.Equal(t, 1, r.years)
	require.Equal(t, 365.0, r.max)
	require.InDelta(t, 347, r.p95, 1)
	require.True(t, math.IsNaN(percentiles(coldseam.Days{}).p95))
	for in, want := range map[float64]float64{5190: 5100, 87: 87, 12.94: 12, 0: 0} {
		require.InDelta(t, want, limitCFS(in*coldseam.CubicMPerCFS), 1e-6)
	}

	// A degree of latitude is 111.2 km on a sphere of 6,371 km.
	require.InDelta(t, 111.19, distanceKM(45, -92, 46, -92), 0.01)
	require.InDelta(t, 78.6, distanceKM(45, -92, 45, -91), 0.1)
	require.Equal(t, "st-mary-s-river", slug("St. Mary's River"))
}

// The audit names who changed what and why, limits and reaches alike.
func TestSiteEdits(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	v.Config.Thresholds = map[string]config.Limit{"gust_mph": {Value: 40, Why: "big boats", Who: "season keeper"}}
	for i := range v.Config.Reaches {
		if r := &v.Config.Reaches[i]; r.ID == "tamsen-bend" {
			flow := 5000.0
			r.MaxFlowCFS, r.Hazards, r.Why, r.Who = &flow, []string{"a new strainer"}, "seen on Tuesday",
				"launch keeper"
		}
	}

	require.NoError(t, v.SyncRivers(ctx))
	require.NoError(t, v.SyncRivers(ctx), "the same file again leaves no edit")
	var out bytes.Buffer
	require.NoError(t, (&siteEditsCmd{}).edits(ctx, &out, v.Parts))
	require.Regexp(t, `2026-04-18 04:30 +season keeper +gust_mph: as shipped -> 40 +big boats`, out.String())
	require.Regexp(t, `launch keeper +tamsen-bend: max_flow_m3s, hazards +seen on Tuesday`, out.String())
	require.Equal(t, 1+1+3+1, strings.Count(out.String(), "\n"))
	out.Reset()
	require.NoError(t, (&siteEditsCmd{Reach: "brandt-ledge"}).edits(ctx, &out, v.Parts))
	require.Contains(t, out.String(), "brandt-ledge: entered")
	require.ErrorIs(t, (&siteEditsCmd{Reach: "nowhere"}).edits(ctx, &out, v.Parts), coldseam.ErrNotFound)
}

// A reason that was left standing in the file is not the reason of a later edit.
func TestAnOldReasonIsNotRepeated(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	for _, edit := range []struct {
		flow float64
		why  string
	}{{5000, "demo"}, {4000, ""}, {3000, "the ramp was moved"}, {2000, "the ramp was moved"}} {
		v.Config.Reaches[0].MaxFlowCFS, v.Config.Reaches[0].Why = &edit.flow, edit.why
		require.NoError(t, v.SyncRivers(t.Context()))
	}
	edits, err := v.DB.ReachEdits(t.Context(), "tamsen-bend")
	require.NoError(t, err)
	var why []string
	for _, e := range edits {
		why = append(why, e.Why)
	}
	const none = "no new reason in the file; changed: max_flow_m3s"
	require.Equal(t, []string{"demo", none, none, "the ramp was moved", none}, why)
}
