package waterml_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/waterml"
)

// observed is a document with one observation a pair of feature and procedure
// elements; the value counts from 1.
func observed(t *testing.T, p ingest.Profile, heads ...string) ingest.Batch {
	t.Helper()
	var b strings.Builder
	b.WriteString(`<Collection xmlns="http://www.opengis.net/waterml/2.0" xmlns:om="http://www.opengis.net/om/2.0"
 xmlns:sam="http://www.opengis.net/sampling/2.0" xmlns:sams="http://www.opengis.net/samplingSpatial/2.0"
 xmlns:gml="http://www.opengis.net/gml/3.2" xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:x="http://stations.example/x">`)
	for i, h := range heads {
		fmt.Fprintf(&b, `<om:OM_Observation>%s<om:observedProperty xlink:title="Stage"/><om:result><MeasurementTimeseries>
<defaultPointMetadata><DefaultTVPMeasurementMetadata><uom code="m"/></DefaultTVPMeasurementMetadata></defaultPointMetadata>
<point><MeasurementTVP><time>2026-04-10T%02d:00:00Z</time><value>%d</value></MeasurementTVP></point>
</MeasurementTimeseries></om:result></om:OM_Observation>`, h, 6+i%len(heads), i+1)
	}
	b.WriteString(`</Collection>`)
	if p.Name == "" {
		p.Name = "x"
	}
	out, err := waterml.Parse(strings.NewReader(b.String()), p)
	require.NoError(t, err)
	return out
}

// bySite are the first values of the series of a document.
func bySite(b ingest.Batch) map[coldseam.SiteID]float64 {
	out := map[coldseam.SiteID]float64{}
	for _, s := range b.Series {
		out[s.Site] = s.Obs[0].Value
	}
	return out
}

func sampling(position int, station string) string {
	return fmt.Sprintf(`<om:featureOfInterest><sams:SF_SpatialSamplingFeature gml:id="feature-%d">
<sam:sampledFeature><x:LocationCollection><x:member><x:Location gml:id="loc-%d">
<gml:identifier codeSpace="http://stations.example/code">%s</gml:identifier></x:Location></x:member></x:LocationCollection>
</sam:sampledFeature></sams:SF_SpatialSamplingFeature></om:featureOfInterest>`, position, position, station)
}

// A station is who the document says it is, not the place it stands at: with
// the stations in another order each keeps its own values.
func TestStationIsNotItsPositionInTheAnswer(t *testing.T) {
	t.Parallel()
	b := observed(t, ingest.Profile{}, sampling(1, "100"), sampling(2, "200"))
	require.Equal(t, map[coldseam.SiteID]float64{"x:100": 1, "x:200": 2}, bySite(b))
	b = observed(t, ingest.Profile{}, sampling(1, "200"), sampling(2, "100"))
	require.Equal(t, map[coldseam.SiteID]float64{"x:200": 1, "x:100": 2}, bySite(b))
}

// An id inside the document names nothing beyond it: such a series is left out
// unless one site was asked for.
func TestIDInsideTheDocumentIsNoStation(t *testing.T) {
	t.Parallel()
	for _, head := range []string{
		`<om:featureOfInterest><sams:SF_SpatialSamplingFeature gml:id="f-1"/></om:featureOfInterest>`,
		`<om:featureOfInterest xlink:href="#f-1"/>`,
	} {
		b := observed(t, ingest.Profile{}, head)
		require.Empty(t, b.Series)
		require.Equal(t, ingest.CodeStation, b.Skipped[0].Code)
		b = observed(t, ingest.Profile{RequestSite: "100"}, head)
		require.Equal(t, map[coldseam.SiteID]float64{"x:100": 1}, bySite(b))
	}
}

// Two links that differ anywhere are two gauges.
func TestLinksThatDifferAreTwoGauges(t *testing.T) {
	t.Parallel()
	link := func(href string) string { return `<om:featureOfInterest xlink:href="` + href + `"/>` }
	b := observed(t, ingest.Profile{}, link("http://stations.example/foi?stationid=1"),
		link("http://stations.example/foi?stationid=2"))
	require.Equal(t, map[coldseam.SiteID]float64{"x:foi?stationid=1": 1, "x:foi?stationid=2": 2}, bySite(b))

	b = observed(t, ingest.Profile{}, link("http://stations.example/1/location"),
		link("http://stations.example/2/location"), link("http://stations.example/3/other"))
	require.Equal(t, map[coldseam.SiteID]float64{"x:other": 3}, bySite(b), "two of one name are told apart by nothing")
	require.Equal(t, ingest.CodeStation, b.Skipped[0].Code)
	require.Contains(t, b.Skipped[0].Why, "two stations")
}

// Two procedures that differ only in the query are two series.
func TestProceduresThatDifferInTheQueryAreTwoSeries(t *testing.T) {
	t.Parallel()
	head := func(q string) string {
		return `<om:procedure xlink:href="http://stations.example/sensor?` + q + `"/>` +
			`<om:featureOfInterest xlink:title="100"/>`
	}
	b := observed(t, ingest.Profile{}, head("id=1"), head("id=2"))
	require.Len(t, b.Series, 2)
}
