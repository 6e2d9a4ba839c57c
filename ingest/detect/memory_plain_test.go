//go:build !race

package detect

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/ingest"
)

// dense are documents made of as many pieces as fit into the cap, in the densest
// form of each format.
var dense = []struct {
	name, head, piece, tail string
	records                 *ingest.Records
}{
	{"features: empty ones", `{"type":"FeatureCollection","features":[`, `{},`, `{}]}`, nil},
	{"features: rows", `{"type":"FeatureCollection","features":[`,
		`{"properties":{"monitoring_location_id":"a","parameter_code":"00065","unit_of_measure":"m","time":"2026-01-01T00:00Z","value":"1"}},`, `{}]}`, nil},
	{"features: members", `{"type":"FeatureCollection","features":[{"properties":{`, `"":1,`, `"a":1}}]}`, nil},
	{"features: links", `{"type":"FeatureCollection","features":[],"links":[`, `{},`, `{}]}`, nil},
	{"coverage: values", `{"type":"Coverage","domain":{"type":"Domain","axes":{"x":{"values":[1]},"y":{"values":[1]},"t":{"values":["2026-01-01T00:00:00Z"]}}},"parameters":{},"ranges":{"a":{"type":"NdArray","dataType":"float","values":[`, `1,`, `1]}}}`, nil},
	{"coverage: axis", `{"type":"Coverage","domain":{"type":"Domain","axes":{"x":{"values":[1]},"y":{"values":[1]},"t":{"values":[`, `1,`, `1]}}},"parameters":{},"ranges":{}}`, nil},
	{"coverage: many", `{"type":"CoverageCollection","coverages":[`, `{},`, `{}]}`, nil},
	{"coverage: parameters", `{"type":"Coverage","domain":{},"ranges":{},"parameters":{"a":{}`, `,"b":{}`, `}}`, nil},
	{"gridpoint", `{"type":"Feature","geometry":{"type":"Point","coordinates":[1,1]},"properties":{"updateTime":"2026-01-01T00:00:00Z","temperature":{"uom":"wmoUnit:degC","values":[`, `{},`, `{}]}}}`, nil},
	{"sensorthings: entities", `{"@iot.nextLink":"","value":[`, `{},`, `{}]}`, nil},
	{"sensorthings: observations",
		`{"@iot.id":1,"name":"stage","unitOfMeasurement":{"symbol":"m"},"Observations":[`,
		`{"result":1,"phenomenonTime":"2026-01-01T00:00:00Z"},`,
		`{"result":1,"phenomenonTime":"2026-01-01T00:00:00Z"}]}`, nil},
	{"sensorthings: padded", `{"@iot.nextLink":"","value":[`, `{"name":"","description":"","result":1       },`,
		`{}]}`, nil},
	{"features: short names", `{"type":"FeatureCollection","features":[{"properties":{`, `"a":      1,`,
		`"a":1}}]}`, nil},
	{"gridpoint: padded", `{"type":"Feature","geometry":{"type":"Point","coordinates":[1,1]},"properties":{"updateTime":"2026-01-01T00:00:00Z","temperature":{"uom":"wmoUnit:degC","values":[`, `{"validTime":"","value":1     },`, `{}]}}}`, nil},
	{"waterml 1: padded", `<timeSeriesResponse xmlns="http://www.cuahsi.org/waterML/1.1/"><timeSeries><values>`,
		`<value qualifiers="A" dateTime="2012-05-12T00:00:00.000-05:00">1</value>`,
		`</values></timeSeries></timeSeriesResponse>`, nil},
	{"waterml 1: padded json", `{"declaredType":"x","value":{"timeSeries":[`,
		`{"name":"                                                        "},`, `{}]}}`, nil},
	{"waterml 2: padded", `<o:OM_Observation xmlns:o="http://www.opengis.net/om/2.0"><o:procedure>`,
		`<a>             </a>`, `</o:procedure></o:OM_Observation>`, nil},
	{"waterml 2: observations with a result", `<o:Collection xmlns:o="http://www.opengis.net/om/2.0">`,
		`<o:OM_Observation><o:result>1</o:result></o:OM_Observation>`, `</o:Collection>`, nil},
	{"cap: alerts with a name", `<alerts xmlns="urn:oasis:names:tc:emergency:cap:1.2">`,
		`<alert><identifier>a</identifier></alert>`, `</alerts>`, nil},
	{"cap: geojson", `{"type":"FeatureCollection","title":"current watches, warnings, and advisories","features":[`,
		`{"properties":{"event":"a","messageType":"Alert"}},`,
		`{"properties":{"event":"a","messageType":"Alert"}}]}`, nil},
	{"cap: codes", `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><references>`, `a `,
		`</references></alert>`, nil},
	{"waterml 2: points", `<w:MeasurementTimeseries xmlns:w="http://www.opengis.net/waterml/2.0">`, `<w:point/>`,
		`</w:MeasurementTimeseries>`, nil},
	{"waterml 2: one block", `<o:OM_Observation xmlns:o="http://www.opengis.net/om/2.0"><o:procedure>`, `<a/>`,
		`</o:procedure></o:OM_Observation>`, nil},
	{"waterml 2: observations", `<o:Collection xmlns:o="http://www.opengis.net/om/2.0">`, `<o:OM_Observation/>`,
		`</o:Collection>`, nil},
	{"waterml 2: stations",
		`<w:Collection xmlns:w="http://www.opengis.net/waterml/2.0" xmlns:g="http://www.opengis.net/gml/3.2">`,
		`<w:MonitoringPoint><g:name>x</g:name></w:MonitoringPoint>`, `</w:Collection>`, nil},
	{"waterml 1: values", `<timeSeriesResponse xmlns="http://www.cuahsi.org/waterML/1.1/"><timeSeries><values>`,
		`<value>1</value>`, `</values></timeSeries></timeSeriesResponse>`, nil},
	{"waterml 1: series", `<timeSeriesResponse xmlns="http://www.cuahsi.org/waterML/1.1/">`, `<timeSeries/>`,
		`</timeSeriesResponse>`, nil},
	{"waterml 1: json", `{"declaredType":"x","value":{"timeSeries":[`, `{},`, `{}]}}`, nil},
	{"cap: areas", `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><info>`, `<area/>`, `</info></alert>`, nil},
	{"cap: alerts", `<alerts xmlns="urn:oasis:names:tc:emergency:cap:1.2">`, `<alert/>`, `</alerts>`, nil},
	{"cap: entries", `<feed xmlns="http://www.w3.org/2005/Atom">`, `<entry/>`, `</feed>`, nil},
	{"cap: polygon", `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><info><area><polygon>`, `1,1 `,
		`</polygon></area></info></alert>`, nil},
	{"records: rows", `[`, `{"t":"2026-01-01T00:00Z","v":1,"u":"m"},`, `{}]`, jsonRows},
	{"records: numbers", `[`, `1,`, `1]`, jsonRows},
	{"records: names", `[{`, `"aaaaaaa":1,`, `"b":1}]`, jsonRows},
	{"records: texts", `[`, `"aaaaaaaaaaaaaaaaaaaa",`, `1]`, jsonRows},
	{"records: turns", `[[`, `"2026-01-01T00:00Z",1,`, `"2026-01-01T00:00Z",1]]`, listRows},
	{"records: lines", "t,v\n", "2026-01-01T00:00Z,1\n", "", textRows},
	{"records: cells", "t,v\n", ",", "\n", textRows},
	{"records: elements", `<a>`, `<r><t>2026-01-01T00:00Z</t><v>1</v><u>m</u></r>`, `</a>`, xmlRows},
	{"records: bare elements", `<a>`, `<r/>`, `</a>`, xmlRows},
	{"records: attributes", `<a>`, `<r a="" b="" c="" d=""/>`, `</a>`, xmlRows},
}

// Maps of the documents of records.
var (
	jsonRows = &ingest.Records{Levels: []string{"$[*]"}, Site: "=a",
		Values: []ingest.RecordValue{{Parameter: "=stage", Value: "$.v", Time: "$.t", Unit: "$.u"}}}
	listRows = &ingest.Records{Levels: []string{"$[*]"}, Site: "=a", Columns: []string{"t", "v"}, Source: "here",
		Values: []ingest.RecordValue{{Parameter: "=stage", Value: "$.v", Time: "$.t", Unit: "=m"}}}
	textRows = &ingest.Records{Kind: "text", Site: "=a", Source: "here",
		Values: []ingest.RecordValue{{Parameter: "=stage", Value: "$.v", Time: "$.t", Unit: "=m"}}}
	xmlRows = &ingest.Records{Kind: "xml", Levels: []string{"$.r[*]"}, Site: "=a",
		Values: []ingest.RecordValue{{Parameter: "=stage", Value: "$.v[*]", Time: "$.t[*]", Unit: "$.u[*]"}}}
)

// maxMemory is what a whole process may take that reads one document [source: the
// design of feeds].
const maxMemory = 64 << 20

// denseChild names the document that a child process of the test reads.
const denseChild = "COLDSEAM_DENSE_DOCUMENT"

// A process that reads a document of the greatest size, whatever is in it, takes no
// more than 64 MB, its own code with it. The process is told to stay below by the
// limit of its collector, and the kernel says how much it took at most: neither
// depends on how busy the machine is.
func TestMemoryOfDenseDocuments(t *testing.T) {
	if name := os.Getenv(denseChild); name != "" {
		readDense(t, name)
		return
	}
	for _, c := range dense {
		t.Run(c.name, func(t *testing.T) {
			cmd := exec.Command(os.Args[0], "-test.run=^TestMemoryOfDenseDocuments$", "-test.v")
			cmd.Env = append(os.Environ(), denseChild+"="+c.name, "GOMEMLIMIT=32MiB")
			out, err := cmd.CombinedOutput()
			require.NoError(t, err, "%s", out)
			i := bytes.Index(out, []byte("took "))
			require.Positive(t, i, "%s", out)
			var took int64
			_, err = fmt.Sscanf(string(out[i:]), "took %d kB", &took)
			require.NoError(t, err)
			line, _, _ := strings.Cut(string(out[i:]), "\n")
			t.Log(line)
			require.Less(t, took<<10, int64(maxMemory), line)
		})
	}
}

// readDense reads a document that is made while it is read, and prints the greatest
// memory of this process.
func readDense(t *testing.T, name string) {
	for _, c := range dense {
		if c.name != name {
			continue
		}
		p := ingest.Profile{Name: "t", RequestSite: "a", Zone: "UTC"}
		if c.records != nil {
			p = ingest.Profile{Name: "t", Format: ingest.FormatRecords, Records: c.records}
		}
		n := (ingest.DefaultMaxBody - len(c.head) - len(c.tail)) / len(c.piece)
		parts := []io.Reader{strings.NewReader(c.head), &repeated{piece: c.piece, left: n}, strings.NewReader(c.tail)}
		b, err := Parse(io.MultiReader(parts...), p)
		status, rerr := os.ReadFile("/proc/self/status")
		require.NoError(t, rerr)
		_, most, _ := strings.Cut(string(status), "VmHWM:")
		fmt.Printf("took %s kB, %d rows, error %.80v\n", strings.Fields(most)[0], b.Rows(), err)
		return
	}
	t.Fatalf("no document %q", name)
}

// repeated is a reader of one text over and over.
type repeated struct {
	piece    string
	left, at int
}

func (r *repeated) Read(p []byte) (n int, err error) {
	for n < len(p) {
		if r.left == 0 {
			return n, io.EOF
		}
		k := copy(p[n:], r.piece[r.at:])
		n += k
		if r.at += k; r.at == len(r.piece) {
			r.at, r.left = 0, r.left-1
		}
	}
	return n, nil
}
