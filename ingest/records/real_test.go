package records_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/detect"
	"example.org/coldseam/ingest/ingesttest"
)

// Recorded answers of services with what the manifest says of them: count of
// values without the missing, first and last in the unit of the document; or what
// is said of the whole document that is left out or refused.
var recorded = []struct {
	file, profile, endpoint, site, zone string
	want                                []string
	next, left, err                     string
}{
	{file: "nwps/stageflow_ACRT2.json", profile: "us-river-forecast", site: "ACRT2", want: []string{
		"stage 3 14 2026-09-28T00:00:00Z 15.1 2026-09-30T13:00:00Z", "discharge 3 0.5 2026-09-28T00:00:00Z 1 2026-09-30T13:00:00Z"}},
	{file: "nwps/gauge_ACRT2.json", profile: "us-river-forecast", endpoint: "flood_levels", site: "ACRT2", want: []string{
		"action 25 ft", "minor 33 ft"}},
	{file: "nve/obs_1.200.0_1003_daily.json", profile: "norway-hydapi", endpoint: "daily", site: "1.200.0", want: []string{
		"water_temp 6 15.85552 2025-07-08T22:00:00Z 19.63008 2025-07-13T22:00:00Z"}},
	{file: "nve/error_404.json", profile: "norway-hydapi", err: `404: "Not Found"`},
	{file: "pegelonline/station_wuerzburg_current.json", profile: "germany-pegelonline", site: "24300600", want: []string{
		"stage 1 159 2023-07-26T17:15:00Z", "air_temp 1 21.2 2023-07-26T17:00:00Z", "water_temp 1 22.1 2023-07-26T17:00:00Z",
		"velocity 1 0.58 2023-07-26T17:15:00Z", "discharge 1 102 2023-07-26T17:00:00Z"}},
	{file: "ea/flood_station_1491TH.json", profile: "england-levels", site: "1491TH", want: []string{
		"stage 1 1.877 2020-02-17T20:00:00Z", "stage 1 2.098 2020-02-17T20:00:00Z"}},
	{file: "ea/hydrology_readings_daily_flow.json", profile: "england-hydrology", want: []string{
		"discharge 31 72.777 2024-01-02T09:00:00Z 7.57 2024-02-01T09:00:00Z"}},
	{file: "kiwis_bom/timeseries_values.csv", profile: "kiwis-daily-flow", site: "283597010", want: []string{
		"discharge 3 0 2010-01-01T14:00:00Z 3.211 2010-01-03T14:00:00Z"}},
	{file: "kiwis_sepa/values_56178010.json", profile: "kiwis-json", site: "56178010", want: []string{
		"stage 3 0.334 2026-04-05T00:00:00Z 0.335 2026-04-05T00:30:00Z"}},
	{file: "hubeau/observations_tr_v1_O588251001.json", profile: "france-hubeau", site: "O588251001", want: []string{
		"discharge 1 147629 2021-02-16T10:00:00Z"}},
	{file: "hubeau/error_400_window.json", profile: "france-hubeau", err: "InvalidRequest"},
	{file: "opw/latest_short.json", profile: "ireland-opw", want: []string{
		"stage 1 1.715 2021-02-18T06:00:00Z", "water_temp 1 4.8 2021-02-18T06:00:00Z"}},
	{file: "opw/day_01041_0001.csv", profile: "ireland-opw-day", site: "01041", want: []string{
		"stage 4 0.294 2021-07-10T00:00:00Z 0.293 2021-07-10T00:45:00Z"}},
	{file: "smhi/latest-day_2357_q15.json", profile: "sweden-hydroobs", site: "2357", want: []string{
		"discharge 3 99.2 2026-08-13T22:00:00Z 96.6 2026-08-15T14:00:00Z"}},
	{file: "lhmt/historical_2024-01.json", profile: "lithuania-lhmt", site: "aunuvenu-vms", want: []string{
		"stage 31 245 2024-01-02T00:00:00Z 172 2024-02-01T00:00:00Z", "discharge 31 1.96 2024-01-02T00:00:00Z 0.88 2024-02-01T00:00:00Z"}},
	{file: "imgw/hydro_stations.json", profile: "poland-imgw", err: "no zone in the document and none configured"},
	{file: "imgw/hydro_stations.json", profile: "poland-imgw", zone: "Europe/Warsaw", want: []string{"stage 600", "discharge 520",
		"water_temp 60"}},
	{file: "imgw/station_status.json", profile: "poland-station", site: "154190050", want: []string{
		"stage 2 539 2024-04-23T12:30:00Z 539 2024-04-23T12:40:00Z"}},
	{file: "imgw/warningshydro.json", profile: "poland-imgw", left: "stands in none of 50 records"},
	{file: "vandah/water_levels_70000590.json", profile: "denmark-vanda", site: "70000590", want: []string{
		"stage 1 236 2026-04-08T00:00:00Z"}},
	{file: "arso/archive_daily.csv", profile: "slovenia-archive", site: "1", want: []string{
		"stage 366 90 1980-01-01T23:00:00Z 60 1980-12-31T23:00:00Z", "discharge 366 115 1980-01-01T23:00:00Z 93 1980-12-31T23:00:00Z",
		"water_temp 335 4 1980-01-01T23:00:00Z 2.8 1980-12-31T23:00:00Z"}},
	{file: "opw/group_16.csv", profile: "ireland-opw-day", err: "no column of the map"},
	{file: "opw/group_16.csv", profile: "ireland-opw-group", want: []string{
		"stage 3 2.14 2021-06-15T22:05:00Z 2.243 2021-06-15T22:15:00Z", "stage 1 0.339 2021-06-15T22:15:00Z",
		"stage 1 1.426 2021-06-15T22:15:00Z", "stage 3 3.113 2021-06-15T22:05:00Z 3.032 2021-06-15T22:15:00Z"}},
	{file: "hilltop/gwrc_hutt_stage.xml", profile: "newzealand-hilltop", site: "Hutt River at Taita Gorge", want: []string{
		"stage 2 24450 2026-04-05T12:05:00Z 24450 2026-04-05T12:10:00Z"}},
	{file: "nrfa/gdf_1001.json", profile: "uk-nrfa", site: "1001", want: []string{
		"discharge 31 1.552 2022-01-02T09:00:00Z 3.905 2022-02-01T09:00:00Z"}},
	{file: "kiwis_bom/timeseries_list.json", profile: "kiwis-json", left: `selects nothing`},
	{file: "eccc/hydrometric_daily_mean_02GA010.json", profile: "canada-hydrometric", endpoint: "daily", zone: "Etc/GMT+5",
		want: []string{"stage 3 3.865 2020-01-02T05:00:00Z 3.565 2020-01-04T05:00:00Z",
			"discharge 3 31 2020-01-02T05:00:00Z 15.3 2020-01-04T05:00:00Z"}},
	{file: "eccc/hydrometric_daily_mean_02GA010.json", profile: "canada-hydrometric", endpoint: "daily", left: "no zone"},
	{file: "eccc/alerts_wfs.json", profile: "us-alerts", err: "a feature that is no alert"},
	{file: "nws/alerts_active_zone.json", profile: "us-alerts", want: []string{
		"Flood Watch sent 2019-12-20T21:34:00Z until 2019-12-22T18:00:00Z 11 zones"}},
	{file: "nws/gridpoint_detailed_forecast.json", profile: "us-grid-forecast", want: []string{
		"air_temp 182 22.77778 2022-02-03T21:00:00Z 4.444444 2022-02-11T10:00:00Z"}},
	{file: "nws/points.json", profile: "us-grid-forecast", next: "/gridpoints/TAE/58,65"},
	{file: "usgs_v1/daily_items.json", profile: "us-water", endpoint: "daily", zone: "America/New_York", want: []string{
		"discharge 3 3800 2026-09-29T04:00:00Z 2840 2026-10-01T04:00:00Z"}},
	{file: "usgs_v1/continuous_slim_page1.json", profile: "us-water", endpoint: "history", left: "properties",
		next: "cursor="},
	{file: "usgs_v1/error_invalid_key.json", profile: "us-water", err: "key refused"},
	{file: "usgs_v1/error_time_envelope.json", profile: "us-water", err: "limited to 1100 day(s)"},
}

// units of the documents that the manifest counts in, where they are not ours.
var documentUnits = map[string]map[coldseam.Parameter]string{
	"nwps": {coldseam.Stage: "ft", coldseam.Discharge: "kcfs"}, "hubeau": {coldseam.Discharge: "l/s"},
	"pegelonline": {coldseam.Stage: "cm"}, "lhmt": {coldseam.Stage: "cm"}, "imgw": {coldseam.Stage: "cm"},
	"vandah": {coldseam.Stage: "cm"}, "arso": {coldseam.Stage: "cm"}, "hilltop": {coldseam.Stage: "mm"},
	"usgs_v1": {coldseam.Discharge: "ft3/s"},
}

func TestRealServices(t *testing.T) {
	t.Parallel()
	root := filepath.Join(ingesttest.RealFeeds(t), "services")
	all, listed := profiles(t), map[string]bool{}
	table := fmt.Sprintf("%-46s %-34s %-8s %6s\n", "answer", "profile/endpoint", "came", "points")

	for _, r := range recorded {
		body, err := os.ReadFile(filepath.Join(root, r.file))
		require.NoError(t, err)
		listed[r.file] = true
		p, err := all[r.profile].At(r.endpoint)
		require.NoError(t, err, r.profile)
		require.NotEmpty(t, p.Name, r.profile)
		p.RequestSite, p.RequestParameter = r.site, "0001"
		if r.zone != "" {
			p.Zone = r.zone
		}

		b, err := detect.Parse(strings.NewReader(string(body)), p)
		came := "parsed"
		switch {
		case err != nil:
			came = "refused"
		case r.left != "":
			came = "left out"
		}
		table += fmt.Sprintf("%-46s %-34s %-8s %6d\n", r.file, strings.TrimSuffix(r.profile+"/"+r.endpoint, "/"), came, b.Rows())

		if r.err != "" {
			require.ErrorContains(t, err, r.err, r.file)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			continue
		}
		require.NoError(t, err, r.file)
		ingesttest.Sound(t, b)
		require.Contains(t, b.Next, r.next, r.file)
		if r.left != "" {
			require.Zero(t, b.Rows(), r.file)
			require.Contains(t, fmt.Sprint(b.Skipped, b.Notes), r.left, r.file)
			continue
		}
		service, _, _ := strings.Cut(r.file, "/")
		got := told(t, b, documentUnits[service], len(r.want) > 0 && len(strings.Fields(r.want[0])) > 2)
		if service == "nws" && len(r.want) > 0 { // layers of weather beside the temperature
			require.Subset(t, got, r.want)
			continue
		}
		require.ElementsMatch(t, r.want, got, "%s %v", r.file, b.Skipped)
	}

	files, err := filepath.Glob(filepath.Join(root, "*", "*"))
	require.NoError(t, err)
	for _, path := range files {
		rel, err := filepath.Rel(root, path)
		require.NoError(t, err)
		require.True(t, listed[filepath.ToSlash(rel)], "%s is listed nowhere", rel)
	}
	t.Log("\n" + table)
}

// told sums up the values by series, in the unit of the document; of many
// stations by parameter.
func told(t *testing.T, b ingest.Batch, units map[coldseam.Parameter]string, each bool) []string {
	t.Helper()
	type group struct {
		p  coldseam.Parameter
		at []string
	}
	var groups []group
	add := func(p coldseam.Parameter, at string, v float64) {
		c := ingest.Conversion{Mul: 1, Div: 1}
		if u := units[p]; u != "" {
			var err error
			c, err = ingest.UnitFor(p, u)
			require.NoError(t, err)
		}
		g := &groups[len(groups)-1]
		g.at = append(g.at, fmt.Sprintf("%.7g %s", v*c.Div/c.Mul+c.Sub, at))
	}
	begin := func(p coldseam.Parameter) {
		for i := range groups {
			if !each && groups[i].p == p {
				g := groups[i]
				groups = append(append(groups[:i:i], groups[i+1:]...), g)
				return
			}
		}
		groups = append(groups, group{p: p})
	}

	for _, s := range b.Series {
		begin(s.Param)
		for _, o := range s.Obs {
			if o.Flag&coldseam.Missing == 0 {
				add(s.Param, o.At.Format("2006-01-02T15:04:05Z"), o.Value)
			}
		}
	}
	for _, f := range b.Forecasts {
		begin(f.Param)
		for i := range f.At {
			add(f.Param, f.At[i].Format("2006-01-02T15:04:05Z"), f.Value[i])
		}
	}

	var out []string
	for _, a := range b.Alerts {
		zones := map[string]bool{}
		for _, x := range a.Areas {
			for _, c := range x.Geocodes {
				if strings.HasPrefix(c, "UGC=") {
					zones[c] = true
				}
			}
		}
		out = append(out, fmt.Sprintf("%s sent %s until %s %d zones", a.Event, a.Sent.UTC().Format(time.RFC3339),
			a.End.UTC().Format(time.RFC3339), len(zones)))
	}
	for _, l := range b.FloodLevels {
		out = append(out, fmt.Sprintf("%s %.4g ft", l.Kind, coldseam.Feet(l.Value)))
	}
	for _, g := range groups {
		line := fmt.Sprintf("%s %d", g.p, len(g.at))
		if each {
			line += " " + g.at[0]
			if n := len(g.at); n > 1 {
				line += " " + g.at[n-1]
			}
		}
		out = append(out, line)
	}
	return out
}
