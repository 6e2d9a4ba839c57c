//go:build !race

package detect

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
)

// Profiles that a club would write for the services of the collected documents.
var (
	usProfile = ingest.Profile{Name: "us", Zone: "America/Chicago"}
	caProfile = ingest.Profile{Name: "ca"}
	auProfile = ingest.Profile{Name: "au", Zone: "Australia/Brisbane",
		Parameters: map[string]string{"Storage Level": "stage"}}
	metProfile  = ingest.Profile{Name: "met", Parameters: map[string]string{"Temperature": "air_temp"}}
	bareProfile = ingest.Profile{
		Name:        "bare",
		RequestSite: "X1",
		Zone:        "Australia/Sydney",
		Parameters:  map[string]string{"": "stage", "Temperature": "air_temp", "Storage Volume": "discharge"},
	}
	noProfile = ingest.Profile{Name: "none"}
)

// collected lists every collected document with what must come of it: points
// (observations, forecast steps, warnings, gaugings), words of what is left out
// of it, or words of the refusal.
var collected = []struct {
	file   string
	p      ingest.Profile
	format string
	points int
	left   string
	err    string
}{
	{file: "cap/handmade_flood_warning_gauge.xml", format: ingest.FormatCAP, points: 1},
	{file: "cap/oasis_example1.xml", format: ingest.FormatCAP, points: 1},
	{file: "cap/oasis_example2.xml", format: ingest.FormatCAP, points: 1},
	{file: "cap/oasis_example3.xml", format: ingest.FormatCAP, points: 1},
	{file: "cap/oasis_example4.xml", format: ingest.FormatCAP, points: 1},

	{
		file:   "edr_covjson/fmi_ecmwf_skadinavia_painepinta_one_point_multiple_levels.covjson",
		p:      metProfile,
		format: ingest.FormatCovJSON,
		left:   "axis z has 6 values: not a time series",
	},
	{
		file:   "edr_covjson/fmi_pal_skandinavia_location_874863.covjson",
		p:      metProfile,
		format: ingest.FormatCovJSON,
		points: 1,
	},
	{
		file:   "edr_covjson/fmi_pal_skandinavia_multi_point.covjson",
		p:      metProfile,
		format: ingest.FormatCovJSON,
		points: 2,
	},
	{file: "edr_covjson/fmi_pal_skandinavia_one_point.covjson", p: metProfile, format: ingest.FormatCovJSON, points: 1},
	{
		file:   "edr_covjson/fmi_pal_skandinavia_one_point_time_interval.covjson",
		p:      metProfile,
		format: ingest.FormatCovJSON,
		points: 7,
	},
	{file: "edr_covjson/fmi_synop_pointwise_station.covjson", p: metProfile, format: ingest.FormatCovJSON, points: 3},
	{
		file:   "edr_covjson/metno_position.covjson",
		p:      metProfile,
		format: ingest.FormatCovJSON,
		left:   "is not 2 m",
	}, // air on a pressure level
	{file: "edr_covjson/fmi_metadata_pal_skandinavia.json", p: metProfile, err: "no known format"},
	{file: "edr_covjson/fmi_metar_position.txt", p: metProfile, err: `no known format: begins "METAR EFHK`},
	{file: "edr_covjson/metno_collections.json", p: metProfile, err: "no known format"},
	{file: "edr_covjson/metno_instances.json", p: metProfile, err: "no known format"},
	{file: "edr_covjson/metno_landingpage.json", p: metProfile, err: "no known format"},
	{
		file:   "edr_covjson/metno_locations.geojson",
		p:      metProfile,
		format: ingest.FormatFeatures,
		left:   "no record of a known kind",
	},

	{
		file:   "ogcapi_features/handmade_eccc_hydrometric_realtime.json",
		p:      caProfile,
		format: ingest.FormatFeatures,
		points: 3,
	},
	{
		file:   "ogcapi_features/usgs_split_combined-metadata.json",
		p:      usProfile,
		format: ingest.FormatFeatures,
		left:   "not configured",
	},
	{file: "ogcapi_features/usgs_split_continuous.json", p: usProfile, format: ingest.FormatFeatures, points: 2},
	{file: "ogcapi_features/usgs_split_daily.json", p: usProfile, format: ingest.FormatFeatures, points: 2},
	{
		file:   "ogcapi_features/usgs_split_field-measurements.json",
		p:      usProfile,
		format: ingest.FormatFeatures,
		points: 1,
	},
	{file: "ogcapi_features/usgs_split_latest-continuous.json", p: usProfile, format: ingest.FormatFeatures, points: 2},
	{file: "ogcapi_features/usgs_split_monitoring-locations.json", p: usProfile, format: ingest.FormatFeatures},
	{
		file:   "ogcapi_features/usgs_split_observationIntervals.json",
		p:      usProfile,
		format: ingest.FormatFeatures,
		left:   "period-of-record statistics are not read",
	},
	{
		file:   "ogcapi_features/usgs_split_observationNormals.json",
		p:      usProfile,
		format: ingest.FormatFeatures,
		left:   "period-of-record statistics are not read",
	},
	{file: "ogcapi_features/usgs_split_peaks.json", p: usProfile, format: ingest.FormatFeatures, points: 2},
	{
		file:   "ogcapi_features/usgs_split_time-series-metadata.json",
		p:      usProfile,
		format: ingest.FormatFeatures,
		left:   "not configured",
	},
	// 14 answers in one file; package features reads each
	{file: "ogcapi_features/usgs_waterdata_ogc_fixtures.json", p: usProfile, err: "no known format"},
	{file: "ogcapi_features/usgs_waterdata_queryables.json", p: usProfile, err: "no known format"},

	{file: "om_sos/nz_caps_sos_ngmp.xml", err: "a capabilities document holds no data"},
	{file: "om_sos/nz_caps_sos_ngwd.xml", err: "a capabilities document holds no data"},
	{file: "om_sos/ogc_om2_SWEArrayObservation1.xml", format: ingest.FormatWaterML2,
		left: "5 rows without a time column"},
	{file: "om_sos/ogc_om2_swe_weatherRecord1_t.xml", format: ingest.FormatWaterML2,
		left: "a data record without rows is not read"},
	{file: "om_sos/ogc_om2_timeSeries1.xml", format: ingest.FormatWaterML2,
		left: "unsupported encoding CompactDiscreteTimeCoverage"},
	{file: "om_sos/ogc_om2_timeSeries2.xml", format: ingest.FormatWaterML2, left: "unsupported encoding"},
	{file: "om_sos/owslib_sos_52n_get_observation_ioos_om1_swe.xml", format: ingest.FormatWaterML2, points: 21},
	{
		file:   "om_sos/owslib_swe_ioos_multistation_timeseries.xml",
		format: ingest.FormatWaterML2,
		points: 16,
		left:   `property "wind_to_direction" is not known`,
	},

	{
		file:   "sensorthings/handmade_datastreams_expand.json",
		p:      ingest.Profile{Name: "logger", RequestSite: "L1"},
		format: ingest.FormatSensorThings,
		points: 3,
		left:   `parameter of datastream "Stage, hourly mean" is not known`,
	},
	{file: "sensorthings/handmade_datastreams_expand.json", format: ingest.FormatSensorThings, left: "no station"},

	{file: "waterml1/owslib_cuahsi_example_get_values_10.xml", format: ingest.FormatWaterML1,
		left: `variable "USU39" is not known`},
	{
		file:   "waterml1/owslib_cuahsi_example_get_values_11.xml",
		p:      ingest.Profile{Name: "x", UnitAliases: map[string]string{"NTU": "FNU"}},
		format: ingest.FormatWaterML1,
		points: 343,
		left:   `statistic "Variance" is not read`,
	},
	{file: "waterml1/usgs_WaterML1Example.xml", p: usProfile, format: ingest.FormatWaterML1, points: 192},
	{file: "waterml1/usgs_nwis_iv_empty_mock.json", p: usProfile, format: ingest.FormatWaterML1},
	{
		file:   "waterml1/usgs_nwis_iv_mock_wml_json.json",
		p:      usProfile,
		format: ingest.FormatWaterML1,
		left:   "no unit in the document",
	},
	{
		file:   "waterml1/usgs_waterservices_dv_wml11.json",
		p:      usProfile,
		format: ingest.FormatWaterML1,
		points: 4,
		left:   `variable "00095" is not known`,
	},
	{file: "waterml1/usgs_waterservices_iv_wml11.json", p: usProfile, format: ingest.FormatWaterML1, points: 20},

	{file: "waterml2/bom_GetFeatureOfInterestResponse.xml", p: auProfile, format: ingest.FormatWaterML2},
	{file: "waterml2/bom_GetObservationResponse_Daily.xml", p: auProfile, format: ingest.FormatWaterML2, points: 11},
	{file: "waterml2/bom_GetObservationResponse_Yearly.xml", p: auProfile, format: ingest.FormatWaterML2, points: 11},
	{file: "waterml2/bom_pybomwater_response.xml", p: auProfile, format: ingest.FormatWaterML2, points: 1542},
	{file: "waterml2/ogc_collection-forecasting-example.xml", format: ingest.FormatWaterML2, points: 5},
	{file: "waterml2/ogc_measurement-timeseries-discharge.xml", format: ingest.FormatWaterML2, points: 10},
	{file: "waterml2/ogc_measurement-timeseries-example.xml", p: bareProfile, format: ingest.FormatWaterML2, points: 3},
	{file: "waterml2/ogc_measurement-timeseries-min-daily-discharge-monthly.xml", format: ingest.FormatWaterML2,
		points: 13},
	{file: "waterml2/ogc_measurement-timeseries-qualifier.xml", format: ingest.FormatWaterML2, points: 13},
	{
		file:   "waterml2/ogc_timeseries-domain-range-example.xml",
		p:      bareProfile,
		format: ingest.FormatWaterML2,
		points: 6,
	},
	{
		file:   "waterml2/ogc_timeseries-domain-range-wfs-example.xml",
		p:      bareProfile,
		format: ingest.FormatWaterML2,
		left:   "is unknown, want one for m3_s",
	}, // megalitres are no flow
	{file: "waterml2/ogc_xsd-categorical-timeseries-tvp.xml", format: ingest.FormatWaterML2,
		left: "categorical values are not read"},
	{file: "waterml2/ogc_xsd-collection.xml", p: bareProfile, format: ingest.FormatWaterML2, points: 3},
	{
		file:   "waterml2/ogc_xsd-measurement-timeseries-tvp.xml",
		p:      bareProfile,
		format: ingest.FormatWaterML2,
		left:   `unit "ms" is unknown`,
	},
	{file: "waterml2/ogc_xsd-monitoring-point.xml", format: ingest.FormatWaterML2},
	{file: "waterml2/ogc_xsd-timeseries-observation.xml", format: ingest.FormatWaterML2,
		left: "categorical values are not read"},
	{file: "waterml2/owslib_sos_52n_get_observation_ioos_wml2.xml", format: ingest.FormatWaterML2, points: 420},
	{file: "waterml2/owslib_sos_52n_getobservation_wml2_response.xml", format: ingest.FormatWaterML2, points: 6},
	{file: "waterml2/usgs_WaterML2Example.xml", p: usProfile, format: ingest.FormatWaterML2, points: 8},
	{file: "waterml2/usgs_WaterML2Example.xml", format: ingest.FormatWaterML2, left: "no zone"},
}

// Every collected document gives exactly the points that a club's profile must
// get of it, or is left out or refused with the right reason; one that nobody
// listed fails. The values themselves are the tests of each format.
func TestRealDocuments(t *testing.T) {
	t.Parallel()
	root := ingesttest.RealFeeds(t)
	listed := map[string]bool{}
	tab := newTally()

	for _, c := range collected {
		body, err := os.ReadFile(filepath.Join(root, c.file))
		require.NoError(t, err)
		if c.p.Name == "" {
			c.p = noProfile
		}
		b, err := Parse(bytes.NewReader(body), c.p)
		if !listed[c.file] { // a second look with another profile counts once
			tab.add(c.file, b, err)
		}
		listed[c.file] = true

		if c.err != "" {
			require.ErrorIs(t, err, coldseam.ErrInvalid, c.file)
			require.ErrorContains(t, err, c.err, c.file)
			continue
		}

		require.NoError(t, err, c.file)
		ingesttest.Sound(t, b)
		require.Equal(t, c.format, b.Format, c.file)
		require.Equal(t, c.points, b.Rows(), "%s %v", c.file, b.Skipped)
		why := ""
		for _, k := range b.Skipped {
			why += k.What + ": " + k.Why + "\n"
		}
		if c.left == "" {
			require.Empty(t, why, c.file)
		}
		require.Contains(t, why, c.left, c.file)
	}

	all, err := filepath.Glob(filepath.Join(root, "*", "*"))
	require.NoError(t, err)

	for _, path := range all {
		rel, err := filepath.Rel(root, path)
		require.NoError(t, err)
		if strings.HasPrefix(rel, "LICENSES") || strings.HasSuffix(rel, ".request.txt") {
			continue // no answers
		}
		if strings.HasPrefix(rel, "services"+string(filepath.Separator)) {
			continue // answers of services, one folder each: read with their own profiles
		}
		require.True(t, listed[rel], "%s is listed nowhere", rel)
	}

	t.Log("\n" + tab.String())
}

// tally sums up what came of the documents, by folder.
type tally map[string]*[4]int // parsed, left out, refused, points

func newTally() tally { return tally{} }

func (t tally) add(file string, b ingest.Batch, err error) {
	folder, _, _ := strings.Cut(file, "/")
	if t[folder] == nil {
		t[folder] = &[4]int{}
	}
	k := 0
	switch {
	case err != nil:
		k = 2
	case b.Rows()+len(b.Meta) == 0 && len(b.Skipped) > 0:
		k = 1
	}
	t[folder][k]++
	t[folder][3] += b.Rows()
}

func (t tally) String() string {
	out := fmt.Sprintf("%-16s %6s %8s %7s %6s\n", "folder", "parsed", "left out", "refused", "points")
	var sum [4]int
	var names []string
	for n := range t {
		names = append(names, n)
	}
	sort.Strings(names)
	for _, n := range names {
		x := t[n]
		out += fmt.Sprintf("%-16s %6d %8d %7d %6d\n", n, x[0], x[1], x[2], x[3])
		for i := range sum {
			sum[i] += x[i]
		}
	}
	return out + fmt.Sprintf("%-16s %6d %8d %7d %6d", "all", sum[0], sum[1], sum[2], sum[3])
}

// The recorded answers of version 1 of the US service read as their manifest
// says: counts, first and last values, the next link as it stands, and both
// shapes of an error in words.
func TestRealUSVersion1(t *testing.T) {
	t.Parallel()
	read := func(name string, p ingest.Profile) (ingest.Batch, error) {
		body, err := os.ReadFile(filepath.Join(ingesttest.RealFeeds(t), "services", "usgs_v1", name))
		require.NoError(t, err)
		return Parse(bytes.NewReader(body), p)
	}
	p := usProfile
	p.Zones = map[string]string{"USGS-01646500": "America/New_York"}

	daily, err := read("daily_items.json", p)
	require.NoError(t, err)
	require.Len(t, daily.Series, 1)
	require.Empty(t, daily.Next)
	s := daily.Series[0]
	require.Equal(t, coldseam.Mean, s.Stat)
	require.Equal(t, coldseam.SiteID("us:USGS-01646500"), s.Site)
	require.Len(t, s.Obs, 3)
	require.InDelta(t, 3800, coldseam.CFS(s.Obs[0].Value), 1e-6)
	require.InDelta(t, 2840, coldseam.CFS(s.Obs[2].Value), 1e-6)

	slim, err := read("continuous_slim_page1.json", p)
	require.NoError(t, err)
	require.Contains(t, slim.Next,
		"https://api.waterdata.usgs.gov/ogcapi/v1/collections/continuous/items?cursor=NjZhNGUzZmI4YWJlNDJmY2IwOTQyYjVjMGZlOThmNjh8MjAyNi0xMC0wMSAwMDoxMDowMCswMDowMA&")
	require.Empty(t, slim.Series, "rows without a gauge belong to nothing")
	require.Len(t, slim.Skipped, 1)
	require.Equal(t, 3, slim.Skipped[0].N)
	require.Contains(t, slim.Skipped[0].Why, "properties")

	_, err = read("error_invalid_key.json", p)
	require.ErrorContains(t, err, "key refused, API_KEY_INVALID")
	_, err = read("error_time_envelope.json", p)
	require.ErrorContains(t, err, "limited to 1100 day(s)")
}
