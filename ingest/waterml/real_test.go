package waterml_test

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
	"example.org/coldseam/ingest/waterml"
)

// real is what one collected document must give.
type real struct {
	file      string
	p         ingest.Profile
	series    int
	forecasts int
	points    int
	missing   int
	first     string // RFC 3339 and value of the first series' first point
	firstV    float64
	last      string
	lastV     float64
	refusal   string // exact words in the error
	skipped   string // words of a Skipped reason
	flags     map[coldseam.Flag]int
}

func bom() ingest.Profile {
	return ingest.Profile{Name: "bom", Zone: "Australia/Brisbane",
		Parameters: map[string]string{"Storage Level": "stage"}}
}

func reals() []real {
	return []real{
		{
			file:   "waterml2/usgs_WaterML2Example.xml",
			p:      ingest.Profile{Zone: "America/New_York"},
			series: 1,
			points: 8,
			first:  "2014-09-02T04:00:00Z",
			firstV: 2690 * coldseam.CubicMPerCFS,
			last:   "2014-09-09T04:00:00Z",
			lastV:  2300 * coldseam.CubicMPerCFS,
			flags:  map[coldseam.Flag]int{coldseam.Provisional: 8, coldseam.Suspect: 0},
		},
		{file: "waterml2/usgs_WaterML2Example.xml", series: 0, skipped: "no zone"},
		{
			file:   "waterml2/bom_pybomwater_response.xml",
			p:      bom(),
			series: 1,
			points: 1542,
			first:  "2019-01-19T14:00:00Z",
			firstV: 0,
			flags:  map[coldseam.Flag]int{coldseam.Suspect: 1542},
		},
		{
			file:   "waterml2/bom_pybomwater_response.xml",
			p:      ingest.Profile{Qualifiers: map[string]string{"90": "ok", "10": "warn", "110": "warn"}},
			series: 1,
			points: 1542,
			first:  "2019-01-19T14:00:00Z",
			firstV: 0,
			flags:  map[coldseam.Flag]int{coldseam.Suspect: 467},
		},
		{
			file:    "waterml2/bom_GetObservationResponse_Daily.xml",
			p:       bom(),
			series:  3,
			points:  11,
			missing: 3,
			first:   "2016-08-09T16:00:00Z", // the end of the first day
		},
		{file: "waterml2/bom_GetObservationResponse_Yearly.xml", p: bom(), series: 3, points: 11, missing: 3},
		{file: "waterml2/bom_GetFeatureOfInterestResponse.xml"},
		{
			file:   "waterml2/owslib_sos_52n_get_observation_ioos_wml2.xml",
			series: 21,
			points: 420,
			first:  "2014-07-07T03:00:00Z",
			firstV: 16.02,
		},
		{
			file:   "waterml2/owslib_sos_52n_getobservation_wml2_response.xml",
			series: 1,
			points: 6,
			first:  "2014-07-01T00:01:42Z",
			firstV: 12.2,
			last:   "2014-07-01T01:16:41Z",
			lastV:  12.5,
		},
		{file: "waterml2/ogc_measurement-timeseries-discharge.xml", series: 1, points: 10, firstV: 266, lastV: 275},
		{file: "waterml2/ogc_measurement-timeseries-min-daily-discharge-monthly.xml", series: 1, points: 13, missing: 1,
			first: "2010-10-31T13:00:00Z", firstV: 0.72, last: "2011-10-31T13:00:00Z", lastV: 0.625},
		{
			file:    "waterml2/ogc_measurement-timeseries-qualifier.xml",
			series:  1,
			points:  13,
			missing: 1,
			first:   "2010-10-31T13:00:00Z",
			firstV:  0.72,
			last:    "2011-10-31T13:00:00Z",
			lastV:   0.625,
		},
		{
			file:      "waterml2/ogc_collection-forecasting-example.xml",
			forecasts: 1,
			points:    5,
			first:     "2010-05-06T00:00:00Z",
			firstV:    21.7,
			last:      "2010-05-07T06:00:00Z",
			lastV:     22.6,
		},
		{file: "waterml2/ogc_measurement-timeseries-example.xml", skipped: "names no station"},
		{file: "waterml2/ogc_measurement-timeseries-example.xml", p: ingest.Profile{RequestSite: "X1"},
			skipped: "names no property"},
		{
			file:   "waterml2/ogc_measurement-timeseries-example.xml",
			p:      ingest.Profile{RequestSite: "X1", Parameters: map[string]string{"": "stage"}},
			series: 1,
			points: 3,
			first:  "2011-11-15T13:00:00Z",
			firstV: 2,
			last:   "2011-11-17T13:00:00Z",
			lastV:  3,
			flags:  map[coldseam.Flag]int{coldseam.Suspect: 3},
		},
		{file: "waterml2/ogc_xsd-collection.xml", skipped: `property "Temperature" is not known`},
		{
			file:   "waterml2/ogc_xsd-collection.xml",
			p:      ingest.Profile{Parameters: map[string]string{"Temperature": "air_temp"}},
			series: 1,
			points: 3,
			first:  "2011-11-21T02:30:00Z",
			firstV: 10.5,
			last:   "2011-11-21T03:00:10Z",
			lastV:  10.4,
			flags:  map[coldseam.Flag]int{coldseam.Suspect: 1, coldseam.Provisional: 3},
		},
		{file: "waterml2/ogc_xsd-measurement-timeseries-tvp.xml", p: ingest.Profile{RequestSite: "X1",
			Parameters: map[string]string{"": "stage"}}, skipped: `unit "ms" is unknown`},
		{
			file: "waterml2/ogc_xsd-measurement-timeseries-tvp.xml",
			p: ingest.Profile{RequestSite: "X1", Parameters: map[string]string{"": "stage"},
				UnitAliases: map[string]string{"ms": "m"}},
			series:  1,
			points:  4,
			missing: 1,
			first:   "2011-11-21T02:27:00Z",
			firstV:  3,
			last:    "2011-11-21T02:30:00Z",
			lastV:   3.63,
		},
		{file: "waterml2/ogc_xsd-categorical-timeseries-tvp.xml", skipped: "categorical values are not read"},
		{file: "waterml2/ogc_xsd-timeseries-observation.xml", skipped: "categorical values are not read"},
		{file: "waterml2/ogc_xsd-monitoring-point.xml"},
		{
			file:    "waterml2/ogc_timeseries-domain-range-example.xml",
			p:       ingest.Profile{RequestSite: "X1", Parameters: map[string]string{"": "stage"}},
			series:  1,
			points:  6,
			missing: 1,
			first:   "2001-01-01T00:00:00Z",
			firstV:  2.03,
			last:    "2001-01-06T00:00:00Z",
			lastV:   2.23,
			flags:   map[coldseam.Flag]int{coldseam.Bad: 2},
		},
		{file: "waterml2/ogc_timeseries-domain-range-wfs-example.xml", p: ingest.Profile{Zone: "Australia/Sydney",
			Parameters: map[string]string{"Storage Volume": "stage"}}, skipped: "is unknown, want one for m"},
		{file: "waterml2/ogc_timeseries-domain-range-wfs-example.xml", p: ingest.Profile{Zone: "Australia/Sydney",
			Parameters: map[string]string{"Storage Volume": "discharge"}}, skipped: "is unknown, want one for m3_s"},
		{
			file:   "om_sos/owslib_sos_52n_get_observation_ioos_om1_swe.xml",
			series: 21,
			points: 21,
			first:  "2014-07-07T22:00:00Z",
			firstV: 25.12,
		},
		{
			file:    "om_sos/owslib_swe_ioos_multistation_timeseries.xml",
			series:  6,
			points:  16,
			first:   "2009-05-23T00:00:00Z",
			firstV:  15.4,
			skipped: `property "wind_to_direction" is not known`,
		},
		{file: "om_sos/ogc_om2_SWEArrayObservation1.xml", skipped: "5 rows without a time column"},
		{file: "om_sos/ogc_om2_swe_weatherRecord1_t.xml", skipped: "a data record without rows is not read"},
		{file: "om_sos/ogc_om2_timeSeries1.xml", skipped: "unsupported encoding CompactDiscreteTimeCoverage"},
		{file: "om_sos/ogc_om2_timeSeries2.xml", skipped: "unsupported encoding"},
		{file: "om_sos/nz_caps_sos_ngmp.xml", refusal: "a capabilities document holds no data"},
		{file: "om_sos/nz_caps_sos_ngwd.xml", refusal: "a capabilities document holds no data"},
	}
}

func TestRealDocuments(t *testing.T) {
	t.Parallel()
	dir := ingesttest.RealFeeds(t)
	seen := map[string]bool{}

	for _, w := range reals() {
		seen[w.file] = true
		t.Run(w.file, func(t *testing.T) {
			t.Parallel()
			body, err := os.ReadFile(filepath.Join(dir, w.file))
			require.NoError(t, err)
			b, err := waterml.Parse(bytes.NewReader(body), w.p)
			if w.refusal != "" {
				require.ErrorContains(t, err, w.refusal)
				require.ErrorIs(t, err, coldseam.ErrInvalid)
				return
			}

			require.NoError(t, err)
			ingesttest.Sound(t, b)
			w.check(t, b)
		})
	}

	for _, folder := range []string{"waterml2", "om_sos"} {
		files, err := os.ReadDir(filepath.Join(dir, folder))
		require.NoError(t, err)
		for _, f := range files {
			require.True(t, seen[folder+"/"+f.Name()], "%s/%s has no expectation", folder, f.Name())
		}
	}
}

func (w real) check(t *testing.T, b ingest.Batch) {
	t.Helper()
	points, missing := 0, 0
	flags := map[coldseam.Flag]int{}
	for _, s := range b.Series {
		points += len(s.Obs)
		for _, o := range s.Obs {
			if o.Flag&coldseam.Missing != 0 {
				missing++
			}
			for f := range w.flags {
				if o.Flag&f != 0 {
					flags[f]++
				}
			}
		}
	}

	for _, f := range b.Forecasts {
		points += len(f.At)
	}
	require.Len(t, b.Series, w.series, "%+v", b.Skipped)
	require.Len(t, b.Forecasts, w.forecasts)
	require.Equal(t, w.points, points, "%+v", b.Skipped)
	require.Equal(t, w.missing, missing)
	for f, n := range w.flags {
		require.Equal(t, n, flags[f], "%v", f.Names())
	}

	if w.skipped != "" {
		require.Contains(t, reasons(b), w.skipped)
	} else {
		require.Empty(t, b.Skipped)
	}
	w.ends(t, b)
}

func (w real) ends(t *testing.T, b ingest.Batch) {
	t.Helper()
	at, v := []time.Time{}, []float64{}
	if len(b.Series) > 0 {
		for _, o := range b.Series[0].Obs {
			at, v = append(at, o.At), append(v, o.Value)
		}
	} else if len(b.Forecasts) > 0 {
		at, v = b.Forecasts[0].At, b.Forecasts[0].Value
	}

	near := func(want, got float64) {
		require.LessOrEqual(t, math.Abs(want-got), 1e-9*math.Max(1, math.Abs(want)))
	}
	if w.first != "" {
		require.Equal(t, w.first, at[0].Format(time.RFC3339))
		near(w.firstV, v[0])
	}

	if w.last != "" {
		require.Equal(t, w.last, at[len(at)-1].Format(time.RFC3339))
		near(w.lastV, v[len(v)-1])
	}
}

func reasons(b ingest.Batch) string {
	var out []string
	for _, s := range b.Skipped {
		out = append(out, s.What+": "+s.Why)
	}
	return strings.Join(out, "\n")
}
