//go:build !race

package morning_test

import (
	"cmp"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/forecast"
	"example.org/coldseam/ingest"
	"example.org/coldseam/notify"
)

// point is what a service of official stage forecasts answers for one point, in
// feet but for the test that says otherwise.
type point struct {
	status      int
	gauge       string  // default: the reach's own; "none" = not said
	units       string  // default ft; "-" = none
	minor       float64 // flood stage; -9999 = none
	crest       float64 // in six hours; half of it before and after
	crestTwice  float64 // the hour of the crest says this too
	noForecast  bool
	age         time.Duration // of the issue, default two hours
	again       bool          // the issue before this one, corrected
	now, issued time.Time
}

func (p *point) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if p.status != 0 {
		w.WriteHeader(p.status)
		return
	}
	gauge, units := strings.TrimPrefix(cmp.Or(p.gauge, "NG-1001"), "none"), strings.TrimPrefix(cmp.Or(p.units, "ft"), "-")
	stamp := func(h int) string { return p.now.Add(time.Duration(h) * time.Hour).UTC().Format(time.RFC3339) }
	if !strings.HasSuffix(r.URL.Path, "/stageflow") {
		fmt.Fprintf(w, `{"lid":"TAMX1","usgsId":%q,"flood":{"stageUnits":%q,"flowUnits":"cfs","categories":{
			"minor":{"stage":%g,"flow":-9999},"action":{"stage":-9999,"flow":-9999}}}}`, gauge, units, p.minor)
		return
	}

	step := func(h int, v float64) string {
		return fmt.Sprintf(`{"validTime":%q,"generatedTime":%q,"primary":%g,"secondary":-999}`, stamp(h), stamp(-2), v)
	}
	rows := []string{step(-4, p.crest/2), step(6, p.crest), step(18, p.crest/2)}
	if p.crestTwice != 0 {
		rows = append(rows, step(6, p.crestTwice))
	}
	issued := p.issued.UTC().Format(time.RFC3339)
	if p.noForecast {
		rows, issued = nil, "0001-01-01T00:00:00Z"
	}
	fmt.Fprintf(w, `{"observed":{"issuedTime":%q,"primaryUnits":%q,"secondaryUnits":"kcfs","data":[]},
		"forecast":{"issuedTime":%q,"primaryUnits":"","secondaryUnits":"kcfs","data":[%s]}}`,
		stamp(-1), units, issued, strings.Join(rows, ","))
}

// officialTown is a town whose Tamsen names the point, with the shipped profile of
// the service.
func officialTown(t *testing.T, p *point) *clubtest.Harness {
	t.Helper()
	v := clubtest.NewServing(t)
	srv := httptest.NewServer(p)
	t.Cleanup(srv.Close)
	var shipped struct {
		Profile []ingest.Profile `toml:"profile"`
	}
	_, err := toml.DecodeFile("../../../deploy/profiles.toml", &shipped)
	require.NoError(t, err)
	i := slices.IndexFunc(shipped.Profile, func(p ingest.Profile) bool { return p.Name == "us-river-forecast" })
	profile := shipped.Profile[i]
	profile.BaseURL, profile.PrivateHosts = srv.URL, []string{"127.0.0.1"}

	text := democlub.TOML + "\n[[site]]\nid = \"NWPS:TAMX1\"\nprofile = \"us-river-forecast\"\ncode = \"TAMX1\"\n" +
		"name = \"Stage forecast for the Tamsen\"\nzone = \"America/Chicago\"\nlat = 45.3\nlon = -92.6\n"
	text = strings.Replace(text, "gauge_km = 4\n", "gauge_km = 4\nstage_forecast = \"NWPS:TAMX1\"\n", 1)
	cfg, err := config.Parse("demo.toml", text, append(slices.Clone(v.Config.Profiles), profile)...)
	require.NoError(t, err)
	cfg.StateDir, cfg.Mail.SMTP = v.Config.StateDir, v.Config.Mail.SMTP
	v.Config, v.Feeds.Fetcher.Profiles = cfg, cfg.Placed()
	require.NoError(t, v.SyncRivers(t.Context()))
	return v
}

// bring fetches what the point says and makes the morning of it.
func bring(t *testing.T, v *clubtest.Harness) (forecast.Morning, coldseam.Reach, error) {
	t.Helper()
	var failed error
	n := 0
	for _, f := range feeds.Plan(v.Config) {
		if f.Profile == "us-river-forecast" {
			n++
			if _, err := v.Feeds.FetchOne(t.Context(), f, f.Request(v.Now())); err != nil {
				failed = err
			}
		}
	}
	require.GreaterOrEqual(t, n, 2, "the forecast and the flood stages are planned")
	f := featuresOf(t, v, v.ReachOf(t, "tamsen-bend"))
	return told(f), f.Reach, failed
}

// From the service to the verdict, one answer after the other. The admin of the
// Tamsen says 3.45 m, which is 11.32 ft.
func TestOfficialStageFromFeedToVerdict(t *testing.T) {
	t.Parallel()
	p := &point{}
	v := officialTown(t, p)
	stop := func(feet float64) float64 { return feet * coldseam.MetrePerFoot }

	for _, c := range []struct {
		name  string
		p     point
		limit float64 // of the stop, 0 = none
		why   string  // of what withholds, "" = nothing
	}{
		// Nothing was read before, and nothing of these answers can be.
		{"no answer", point{status: 503}, 0, "stage_forecast_missing"},
		{"a unit that nobody knows", point{minor: -9999, crest: 8, units: "cubits"}, 0, "stage_forecast_missing"},
		{"no unit", point{minor: -9999, crest: 8, units: "-"}, 0, "stage_forecast_missing"},
		{"two words of one hour", point{minor: -9999, crest: 13, crestTwice: 8}, 0, "stage_forecast_missing"},

		{"not issued", point{minor: -9999, noForecast: true}, 0, ""},
		{"issued long ago", point{minor: -9999, crest: 40, age: 40 * time.Hour}, 0, ""},
		{"calm", point{minor: -9999, crest: 8}, 0, ""},
		{"the agency names no flood stage", point{minor: -9999, crest: 11.5}, 3.45, ""},
		{"the admin's is lower", point{minor: 14, crest: 11.5}, 3.45, ""},
		{"the agency's is lower", point{minor: 11, crest: 11.1}, stop(11), ""},
		{"below both", point{minor: 11, crest: 10.9}, 0, ""},
		{"the same issue, corrected", point{minor: 11, crest: 11.1, again: true}, stop(11), ""},
		{"metres", point{minor: 3.4, crest: 3.42, units: "m"}, 3.4, ""},
		{"metres, calm", point{minor: 8, crest: 3.3, units: "m"}, 0, ""},
		{"no gauge named: the club's stage stands", point{gauge: "none", minor: 20, crest: 11.5}, 3.45, ""},
		{"another gauge, over its own", point{gauge: "NG-9", minor: 20, crest: 21}, stop(20), ""},
		{"another gauge, another zero", point{gauge: "NG-9", minor: 20, crest: 13}, 0, ""},
	} {
		issued := p.issued
		v.Clock.Forward(v.Now().Add(time.Minute))
		again, age := c.p.again, c.p.age
		*p = c.p
		p.now = v.Now()
		if p.issued = v.Now().Add(-2 * time.Hour); age > 0 {
			p.issued = v.Now().Add(-age)
		}
		if again {
			p.issued = issued
		}

		m, r, err := bring(t, v)
		require.Equal(t, c.why != "", err != nil, "%s: %v", c.name, err)
		codes, withheld := clubtest.Codes(m.Decision.Stops), clubtest.Codes(m.Decision.Reasons)
		i := slices.Index(codes, "flood_stage_forecast")
		require.Equal(t, c.limit > 0, i >= 0, "%s: %v", c.name, codes)
		if c.limit > 0 {
			require.Equal(t, coldseam.Stop, m.Brief.Verdict, c.name)
			require.InDelta(t, c.limit, m.Decision.Stops[i].Values["limit_m"], 1e-6, c.name)
			require.Contains(t, notify.WordsFor("us", r.Zone).Reason(m.Decision.Stops[i]), "ft", c.name)
		}
		if c.why != "" {
			require.NotEqual(t, coldseam.Go, m.Brief.Verdict, c.name)
			require.Contains(t, withheld, c.why, c.name)
			continue
		}
		require.NotContains(t, strings.Join(withheld, " "), "stage_forecast", c.name)
	}

	// A calm forecast lifts no stop of the gauge.
	v.Rewrite(t, "northgauge:NG-1001", coldseam.Stage, 3, func(o *coldseam.Observation) { o.Value = 4 })
	m, _, err := bring(t, v)
	require.NoError(t, err)
	require.Equal(t, coldseam.Stop, m.Brief.Verdict)
	require.Contains(t, clubtest.Codes(m.Decision.Stops), "flood_stage")

	// A feed that was good and then failed for longer than its age is NO CALL or worse.
	_, err = v.DB.Pool().Exec(t.Context(), `UPDATE coldseam.fetch_state SET last_ok_at = last_ok_at - interval '37 hours'
		WHERE profile = 'us-river-forecast'`)
	require.NoError(t, err)
	p.status = 500
	m, _, err = bring(t, v)
	require.Error(t, err)
	require.NotEqual(t, coldseam.Go, m.Brief.Verdict)
	require.Contains(t, clubtest.Codes(m.Decision.Reasons), "stage_forecast_stale")
}
