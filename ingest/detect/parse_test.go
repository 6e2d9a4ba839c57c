package detect

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
	"github.com/stretchr/testify/require"
)

func TestFormat(t *testing.T) {
	t.Parallel()

	for _, c := range []struct{ name, body, want string }{
		{"feature collection", `{"type":"FeatureCollection","features":[]}`, ingest.FormatFeatures},
		{"byte order mark and white space", "\xef\xbb\xbf\n  {\"type\":\"FeatureCollection\"}", ingest.FormatFeatures},
		{"coverage", `{"type":"Coverage"}`, ingest.FormatCovJSON},
		{"gridpoint", `{"type":"Feature","properties":{"updateTime":"x"}}`, ingest.FormatGridpoint},
		{"point record", `{"type":"Feature","properties":{"forecastGridData":"x"}}`, ingest.FormatGridpoint},
		{"cut feature collection", `{"type":"FeatureCollection","features":[`, ingest.FormatFeatures},
		{"waterml 1 as json", `{"name":"ns1:timeSeriesResponseType","declaredType":"x","value":{"timeSeries":[]}}`,
			ingest.FormatWaterML1},
		{"sensorthings", `{"@iot.count":1,"value":[]}`, ingest.FormatSensorThings},
		{"waterml 1", `<?xml version="1.0"?><ns1:timeSeriesResponse xmlns:ns1="http://www.cuahsi.org/waterML/1.1/"/>`,
			ingest.FormatWaterML1},
		{"waterml 2", `<wml2:Collection xmlns:wml2="http://www.opengis.net/waterml/2.0"/>`, ingest.FormatWaterML2},
		{"soap", `<soap12:Envelope xmlns:soap12="http://www.w3.org/2003/05/soap-envelope"/>`, ingest.FormatWaterML2},
		{"exception report", `<ows:ExceptionReport xmlns:ows="http://www.opengis.net/ows/1.1"/>`,
			ingest.FormatWaterML2},
		{"alert", `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"/>`, ingest.FormatCAP},
		{"alert features", `{"type":"FeatureCollection","features":[{"type":"Feature"},{"type":"Feature","properties":{"id":"x","event":"Flood Warning","severity":"Severe"}}]}`, ingest.FormatCAP},
		{"an alert feature alone", `{"type":"Feature","properties":{"event":"Flood Warning","messageType":"Alert"}}`,
			ingest.FormatCAP},
		{"values that tell an event",
			`{"type":"FeatureCollection","features":[{"properties":{"event":"visit","time":"2026-01-01T00:00:00Z","value":1}}]}`, ingest.FormatFeatures},
		{"alert index", `<feed xmlns="http://www.w3.org/2005/Atom"/>`, ingest.FormatCAP},
		{"web page", `<!DOCTYPE html><html></html>`, ""},
		{"text", `METAR`, ""},
		{"empty", ``, ""},
		{"other json", `{"title":"x"}`, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, c.want, Format([]byte(c.body)))
		})
	}
}

func TestParseRefusesAndQuotes(t *testing.T) {
	t.Parallel()
	_, err := Parse(strings.NewReader("<html><body>Sorry, the service is closed</body></html>"), ingest.Profile{})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "Sorry, the service is closed")
	_, err = Parse(strings.NewReader(strings.Repeat("x", 9<<20)), ingest.Profile{})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "larger than 8388608 bytes")
}

// Warnings as features need no profile; what cannot be read is no empty list.
func TestParseAlertFeaturesWithoutProfile(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../capalert/testdata/geojson/response.json")
	require.NoError(t, err)
	defer f.Close()
	b, err := Parse(f, ingest.Profile{Name: "file"})
	require.NoError(t, err)
	require.NotEmpty(t, b.Alerts)
	_, err = Parse(strings.NewReader(`{"type":"Feature","properties":{"event":"Flood Warning","messageType":"Alert"}}`),
		ingest.Profile{Name: "file"})
	require.ErrorContains(t, err, "want a FeatureCollection of alerts")
}

// The format of the profile is used even where the body looks like another.
func TestParseFormatOfTheProfile(t *testing.T) {
	t.Parallel()
	_, err := Parse(strings.NewReader(`{"type":"Coverage"}`), ingest.Profile{Format: ingest.FormatFeatures})
	require.ErrorContains(t, err, "features:")
}

// Case folders of every format parse to the same through the dispatcher,
// without a format in the profile.
func TestParseCases(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ dir, format string }{
		{"features/latest_two_series", ingest.FormatFeatures},
		{"features/latin1_override", ingest.FormatFeatures},
		{"covjson/point_series", ingest.FormatCovJSON},
		{"covjson/gridpoint", ingest.FormatGridpoint},
	} {
		dir := filepath.Join("../../testdata", c.dir)
		p := ingesttest.CaseProfile(t, dir)
		body := ingesttest.Response(t, dir)
		got, err := Parse(bytes.NewReader(body), p)
		require.NoError(t, err, c.dir)
		require.Equal(t, c.format, got.Format)
		want, err := parser(c.format)(bytes.NewReader(body), p)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
}

func FuzzParse(f *testing.F) {
	ingesttest.Seeds(f, "../../testdata/features", "../../testdata/covjson", "../waterml/testdata/v2",
		"../waterml/testdata/v1", "../capalert/testdata", "../sensorthings/testdata")
	f.Fuzz(func(t *testing.T, body []byte) {
		b, err := Parse(bytes.NewReader(body), ingest.Profile{})
		if err != nil {
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			return
		}
		ingesttest.Sound(t, b)
	})
}

// A result time before the last point does not make a forecast, and is no
// known-at time: agencies stamp a result when its first values come in.
func TestResultTimeBeforeTheLastPoint(t *testing.T) {
	t.Parallel()
	const body = `<om:OM_Observation xmlns:om="http://www.opengis.net/om/2.0" xmlns:wml2="http://www.opengis.net/waterml/2.0" xmlns:gml="http://www.opengis.net/gml/3.2" xmlns:xlink="http://www.w3.org/1999/xlink" gml:id="o1">
<om:resultTime><gml:TimeInstant gml:id="rt"><gml:timePosition>2026-04-10T00:30:00Z</gml:timePosition></gml:TimeInstant></om:resultTime>
<om:procedure xlink:href="http://example.org/procedure/as-stored"/><om:observedProperty xlink:href="http://example.org/property/discharge"/><om:featureOfInterest xlink:href="http://example.org/station/TAM-1"/>
<om:result><wml2:MeasurementTimeseries gml:id="ts"><wml2:defaultPointMetadata><wml2:DefaultTVPMeasurementMetadata><wml2:uom code="m3/s"/><wml2:interpolationType xlink:href="http://www.opengis.net/def/waterml/2.0/interpolationType/Continuous"/></wml2:DefaultTVPMeasurementMetadata></wml2:defaultPointMetadata>
<wml2:point><wml2:MeasurementTVP><wml2:time>2026-04-10T00:00:00Z</wml2:time><wml2:value>5</wml2:value></wml2:MeasurementTVP></wml2:point>
<wml2:point><wml2:MeasurementTVP><wml2:time>2026-04-10T01:00:00Z</wml2:time><wml2:value>6</wml2:value></wml2:MeasurementTVP></wml2:point>
</wml2:MeasurementTimeseries></om:result></om:OM_Observation>`
	b, err := Parse(strings.NewReader(body),
		ingest.Profile{Name: "t", Parameters: map[string]string{"discharge": "discharge"}})
	require.NoError(t, err)
	require.Empty(t, b.Forecasts)
	require.Len(t, b.Series, 1)
	require.Len(t, b.Series[0].Obs, 2)
	require.True(t, b.Series[0].Obs[1].KnownAt.IsZero())
}
