package waterml_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/waterml"
)

const (
	tvpHead = `<Collection xmlns="http://www.opengis.net/waterml/2.0" xmlns:om="http://www.opengis.net/om/2.0" xmlns:xlink="http://www.w3.org/1999/xlink">
<om:OM_Observation><om:featureOfInterest xlink:title="G"/><om:observedProperty xlink:title="Stage"/><om:result><MeasurementTimeseries>
<defaultPointMetadata><DefaultTVPMeasurementMetadata><uom code="m"/></DefaultTVPMeasurementMetadata></defaultPointMetadata>`
	tvpTail = `</MeasurementTimeseries></om:result></om:OM_Observation></Collection>`
)

// A point says one time, one value and one unit: its own before that of the series.
func TestOnePointOneValue(t *testing.T) {
	t.Parallel()
	for point, want := range map[string][]float64{
		`<time>2026-04-10T08:00:00Z</time><value uom="cm">170</value>`:                                                                              {1.7},
		`<time>2026-04-10T08:00:00Z</time><value uom="ell">170</value>`:                                                                             nil,
		`<time>2026-04-10T08:00:00Z</time><value>1.5</value><value>2.5</value>`:                                                                     nil,
		`<time>2026-04-10T08:00:00Z</time><time>2026-04-10T09:00:00Z</time><value>1.5</value>`:                                                      nil,
		`<time>2026-04-10T08:00:00Z</time><value>1.5</value><metadata><TVPMeasurementMetadata><uom code="cm"/></TVPMeasurementMetadata></metadata>`: {.015},
	} {
		b, err := waterml.Parse(strings.NewReader(tvpHead+"<point><MeasurementTVP>"+point+"</MeasurementTVP></point>"+tvpTail),
			ingest.Profile{Name: "x"})
		require.NoError(t, err, point)
		if want == nil {
			require.Zero(t, b.Rows(), point)
			require.NotEmpty(t, b.Skipped, point)
			continue
		}
		require.InDelta(t, want[0], b.Series[0].Obs[0].Value, 1e-12, point)
	}
}

// Local time and UTC of one value that are not the same instant are both refused.
func TestV1LocalTimeGainsaysUTC(t *testing.T) {
	t.Parallel()
	for utc, rows := range map[string]int{"2026-04-10T15:00:00": 1, "2026-04-10T16:00:00": 0} {
		b, err := waterml.ParseV1(strings.NewReader(`<timeSeriesResponse xmlns="http://www.cuahsi.org/waterML/1.1/"><timeSeries>
<sourceInfo><siteCode>G</siteCode></sourceInfo><variable><variableCode>00065</variableCode><variableName>Gage height, ft</variableName>
<unit><unitCode>ft</unitCode></unit></variable><values><value dateTime="2026-04-10T10:00:00" timeOffset="-05:00" dateTimeUTC="`+utc+`">1.5</value>
</values></timeSeries></timeSeriesResponse>`), ingest.Profile{Name: "x"})
		require.NoError(t, err)
		require.Equal(t, rows, b.Rows())
		require.Len(t, b.Skipped, 1-rows)
	}
}
