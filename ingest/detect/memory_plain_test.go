//go:build !race

package detect

import (
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/ingest"
)

// peakOf is how far the heap in use grows while f runs.
func peakOf(f func()) int64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	before, most := m.HeapInuse, m.HeapInuse
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for {
			select {
			case <-stop:
				return
			case <-time.After(2 * time.Millisecond):
				runtime.ReadMemStats(&m)
				most = max(most, m.HeapInuse)
			}
		}
	}()

	f()
	close(stop)
	<-done
	runtime.ReadMemStats(&m)
	return int64(max(most, m.HeapInuse) - before)
}

// A document that holds as many pieces as fit into the cap, in the densest form
// of each format, costs less than 100 MB, whether it is read or refused. A
// quarter of the cap shows it in less time.
func TestMemoryOfDenseDocuments(t *testing.T) {
	const share = 4

	for _, c := range []struct{ name, head, piece, tail string }{
		{"features: empty ones", `{"type":"FeatureCollection","features":[`, `{},`, `{}]}`},
		{"features: rows", `{"type":"FeatureCollection","features":[`,
			`{"properties":{"monitoring_location_id":"a","parameter_code":"00065","unit_of_measure":"m","time":"2026-01-01T00:00Z","value":"1"}},`, `{}]}`},
		{"features: members", `{"type":"FeatureCollection","features":[{"properties":{`, `"":1,`, `"a":1}}]}`},
		{"features: links", `{"type":"FeatureCollection","features":[],"links":[`, `{},`, `{}]}`},
		{"coverage: values", `{"type":"Coverage","domain":{"type":"Domain","axes":{"x":{"values":[1]},"y":{"values":[1]},"t":{"values":["2026-01-01T00:00:00Z"]}}},"parameters":{},"ranges":{"a":{"type":"NdArray","dataType":"float","values":[`, `1,`, `1]}}}`},
		{"coverage: axis", `{"type":"Coverage","domain":{"type":"Domain","axes":{"x":{"values":[1]},"y":{"values":[1]},"t":{"values":[`, `1,`, `1]}}},"parameters":{},"ranges":{}}`},
		{"coverage: many", `{"type":"CoverageCollection","coverages":[`, `{},`, `{}]}`},
		{"coverage: parameters", `{"type":"Coverage","domain":{},"ranges":{},"parameters":{"a":{}`, `,"b":{}`, `}}`},
		{"gridpoint", `{"type":"Feature","geometry":{"type":"Point","coordinates":[1,1]},"properties":{"updateTime":"2026-01-01T00:00:00Z","temperature":{"uom":"wmoUnit:degC","values":[`, `{},`, `{}]}}}`},
		{"sensorthings: entities", `{"@iot.nextLink":"","value":[`, `{},`, `{}]}`},
		{"sensorthings: observations",
			`{"@iot.id":1,"name":"stage","unitOfMeasurement":{"symbol":"m"},"Observations":[`,
			`{"result":1,"phenomenonTime":"2026-01-01T00:00:00Z"},`,
			`{"result":1,"phenomenonTime":"2026-01-01T00:00:00Z"}]}`},
		{"sensorthings: padded", `{"@iot.nextLink":"","value":[`, `{"name":"","description":"","result":1       },`,
			`{}]}`},
		{"features: short names", `{"type":"FeatureCollection","features":[{"properties":{`, `"a":      1,`,
			`"a":1}}]}`},
		{"gridpoint: padded", `{"type":"Feature","geometry":{"type":"Point","coordinates":[1,1]},"properties":{"updateTime":"2026-01-01T00:00:00Z","temperature":{"uom":"wmoUnit:degC","values":[`, `{"validTime":"","value":1     },`, `{}]}}}`},
		{"waterml 1: padded", `<timeSeriesResponse xmlns="http://www.cuahsi.org/waterML/1.1/"><timeSeries><values>`,
			`<value qualifiers="A" dateTime="2012-05-12T00:00:00.000-05:00">1</value>`,
			`</values></timeSeries></timeSeriesResponse>`},
		{"waterml 1: padded json", `{"declaredType":"x","value":{"timeSeries":[`,
			`{"name":"                                                        "},`, `{}]}}`},
		{"waterml 2: padded", `<o:OM_Observation xmlns:o="http://www.opengis.net/om/2.0"><o:procedure>`,
			`<a>             </a>`, `</o:procedure></o:OM_Observation>`},
		{"waterml 2: observations with a result", `<o:Collection xmlns:o="http://www.opengis.net/om/2.0">`,
			`<o:OM_Observation><o:result>1</o:result></o:OM_Observation>`, `</o:Collection>`},
		{"cap: alerts with a name", `<alerts xmlns="urn:oasis:names:tc:emergency:cap:1.2">`,
			`<alert><identifier>a</identifier></alert>`, `</alerts>`},
		{"cap: geojson", `{"type":"FeatureCollection","title":"current watches, warnings, and advisories","features":[`,
			`{"properties":{"event":"a","messageType":"Alert"}},`,
			`{"properties":{"event":"a","messageType":"Alert"}}]}`},
		{"cap: codes", `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><references>`, `a `,
			`</references></alert>`},
		{"waterml 2: points", `<w:MeasurementTimeseries xmlns:w="http://www.opengis.net/waterml/2.0">`, `<w:point/>`,
			`</w:MeasurementTimeseries>`},
		{"waterml 2: one block", `<o:OM_Observation xmlns:o="http://www.opengis.net/om/2.0"><o:procedure>`, `<a/>`,
			`</o:procedure></o:OM_Observation>`},
		{"waterml 2: observations", `<o:Collection xmlns:o="http://www.opengis.net/om/2.0">`, `<o:OM_Observation/>`,
			`</o:Collection>`},
		{"waterml 2: stations",
			`<w:Collection xmlns:w="http://www.opengis.net/waterml/2.0" xmlns:g="http://www.opengis.net/gml/3.2">`,
			`<w:MonitoringPoint><g:name>x</g:name></w:MonitoringPoint>`, `</w:Collection>`},
		{"waterml 1: values", `<timeSeriesResponse xmlns="http://www.cuahsi.org/waterML/1.1/"><timeSeries><values>`,
			`<value>1</value>`, `</values></timeSeries></timeSeriesResponse>`},
		{"waterml 1: series", `<timeSeriesResponse xmlns="http://www.cuahsi.org/waterML/1.1/">`, `<timeSeries/>`,
			`</timeSeriesResponse>`},
		{"waterml 1: json", `{"declaredType":"x","value":{"timeSeries":[`, `{},`, `{}]}}`},
		{"cap: areas", `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><info>`, `<area/>`, `</info></alert>`},
		{"cap: alerts", `<alerts xmlns="urn:oasis:names:tc:emergency:cap:1.2">`, `<alert/>`, `</alerts>`},
		{"cap: entries", `<feed xmlns="http://www.w3.org/2005/Atom">`, `<entry/>`, `</feed>`},
		{"cap: polygon", `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><info><area><polygon>`, `1,1 `,
			`</polygon></area></info></alert>`},
	} {
		t.Run(c.name, func(t *testing.T) {
			share := share
			if strings.HasPrefix(c.name, "cap:") {
				share = 1 // a message is bounded by itself
			}
			body := c.head + strings.Repeat(c.piece, (ingest.DefaultMaxBody/share-len(c.head)-len(c.tail))/len(
				c.piece)) + c.tail
			var err error
			grown := peakOf(func() {
				_, err = Parse(strings.NewReader(body), ingest.Profile{Name: "t", RequestSite: "a", Zone: "UTC"})
			})
			t.Logf("%4d MB, error %.60v", grown>>20*int64(share), err)
			require.Less(t, grown, int64(100<<20)/int64(share))
		})
	}
}

// A document of records costs no more than 64 MB, at the whole cap.
func TestMemoryOfDenseRecords(t *testing.T) {
	json := &ingest.Records{Levels: []string{"$[*]"}, Site: "=a",
		Values: []ingest.RecordValue{{Parameter: "=stage", Value: "$.v", Time: "$.t", Unit: "$.u"}}}
	text := &ingest.Records{Kind: "text", Site: "=a", Source: "here",
		Values: []ingest.RecordValue{{Parameter: "=stage", Value: "$.v", Time: "$.t", Unit: "=m"}}}
	for name, c := range map[string]struct {
		m                 *ingest.Records
		head, piece, tail string
	}{
		"rows":    {json, `[`, `{"t":"2026-01-01T00:00Z","v":1,"u":"m"},`, `{}]`},
		"numbers": {json, `[`, `1,`, `1]`},
		"names":   {json, `[{`, `"aaaaaaa":1,`, `"b":1}]`},
		"texts":   {json, `[`, `"aaaaaaaaaaaaaaaaaaaa",`, `1]`},
		"lines":   {text, "t,v\n", "2026-01-01T00:00Z,1\n", ""},
		"cells":   {text, "t,v\n", ",", "\n"},
	} {
		body := c.head + strings.Repeat(c.piece, (ingest.DefaultMaxBody-len(c.head)-len(c.tail))/len(c.piece)) + c.tail
		var err error
		grown := peakOf(func() {
			_, err = Parse(strings.NewReader(body), ingest.Profile{Name: "t", Format: ingest.FormatRecords, Records: c.m})
		})
		t.Logf("%s: %d MB, error %.80v", name, grown>>20, err)
		require.Less(t, grown, int64(64<<20), name)
	}
}
