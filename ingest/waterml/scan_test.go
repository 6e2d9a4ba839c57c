package waterml

import (
	"bytes"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
)

const head = `<?xml version="1.0" encoding="UTF-8"?>
<c:Collection xmlns:c="http://www.opengis.net/waterml/2.0" xmlns:w="http://www.opengis.net/waterml/2.0" xmlns:om="http://www.opengis.net/om/2.0" xmlns:gml="http://www.opengis.net/gml/3.2" xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"><c:observationMember><om:OM_Observation><om:procedure xlink:href="p/as-stored"/><om:observedProperty xlink:href="x/discharge"/><om:featureOfInterest xlink:href="urn:x:station:TAM-1"/><om:result><w:MeasurementTimeseries gml:id="ts"><w:defaultPointMetadata><w:DefaultTVPMeasurementMetadata><w:qualifier xlink:title="90"/><w:uom code="m3/s"/><w:interpolationType xlink:href="x/Continuous"/></w:DefaultTVPMeasurementMetadata></w:defaultPointMetadata>`
const tail = `</w:MeasurementTimeseries></om:result></om:OM_Observation></c:observationMember></c:Collection>`

func plain(at, v, rest string) string {
	return "<w:point><w:MeasurementTVP><w:time>" + at + "</w:time><w:value>" + v + "</w:value>" + rest +
		"</w:MeasurementTVP></w:point>"
}

const meta10 = `<w:metadata><w:TVPMeasurementMetadata><w:qualifier xlink:title="10"/></w:TVPMeasurementMetadata></w:metadata>`

// same demands that the scanner's way is the strict one's, or is not taken.
func same(t require.TestingT, body []byte, p ingest.Profile) (fast bool) {
	strict, serr := parseStrict(body, p)
	got, ok := parseFast(body, p)
	if !ok {
		return false
	}
	require.NoError(t, serr, "the scanner's way accepts what the strict one refuses")
	require.Equal(t, strict, got)
	return true
}

func profileOf() ingest.Profile {
	return ingest.Profile{
		Name:          "x",
		Zone:          "America/Chicago",
		RequestSite:   "X",
		Parameters:    map[string]string{"": "stage"},
		MissingTokens: []string{"7.5"},
	}
}

func TestScannerTakesThePlainForm(t *testing.T) {
	t.Parallel()

	for name, points := range map[string]string{
		"compact": plain("2026-04-10T00:00:00Z", "1.5", "") + plain("2026-04-10T00:15:00Z", "-999999", ""),
		"white space": "\n  " + strings.ReplaceAll(plain("2026-04-10T00:00:00.250-05:00", "+1.50", meta10), "><",
			">\r\n\t <"),
		"metadata": plain("2026-04-10T00:00:00Z", "1", meta10) + plain("2026-04-10T00:15:00Z", "2", "") +
			plain("2026-04-10T00:30:00Z", "3", meta10),
		"nil": strings.Replace(plain("2026-04-10T00:00:00Z", "1", ""), "<w:value>1</w:value>",
			`<w:value xsi:nil="true"/>`, 1) + plain("2026-04-10T00:15:00Z", "2", ""),
		"entity in meta": plain("2026-04-10T00:00:00Z", "1", strings.Replace(meta10, "10", "a &amp; b", 1)),
		"nil reason": plain("2026-04-10T00:00:00Z", "1",
			`<w:metadata><w:TVPMeasurementMetadata><w:nilReason/></w:TVPMeasurementMetadata></w:metadata>`),
		"own unit": plain("2026-04-10T00:00:00Z", "1",
			`<w:metadata><w:TVPMeasurementMetadata><w:uom code="cfs"/></w:TVPMeasurementMetadata></w:metadata>`) +
			plain("2026-04-10T00:01:00Z", "1", ""),
		"own statistic": plain("2026-04-10T00:00:00Z", "1",
			`<w:metadata><w:TVPMeasurementMetadata><w:interpolationType xlink:href="x/AverageSucc"/><w:aggregationDuration>P1M</w:aggregationDuration></w:TVPMeasurementMetadata></w:metadata>`),
		"succ, no period": plain("2026-04-10T00:00:00Z", "1",
			`<w:metadata><w:TVPMeasurementMetadata><w:interpolationType xlink:href="x/AverageSucc"/></w:TVPMeasurementMetadata></w:metadata>`) + plain("2026-04-10T00:01:00Z", "1", ""),
		"unknown unit": plain("2026-04-10T00:00:00Z", "1",
			`<w:metadata><w:TVPMeasurementMetadata><w:uom code="ms"/></w:TVPMeasurementMetadata></w:metadata>`),
		"missing token": plain("2026-04-10T00:00:00Z", "7.50", "") + plain("2026-04-10T00:01:00Z", "8", ""),
		"unsorted, twice": plain("2026-04-10T01:00:00Z", "1", "") + plain("2026-04-10T00:00:00Z", "2", "") +
			plain("2026-04-10T01:00:00Z", "3", ""),
		"slow among fast": plain("2026-04-10T00:00:00Z", "1", "") + plain("2026-04-10", "2", "") +
			plain("2026-04-10T02:00:00Z", "3e1", "") + plain("2026-04-10T03:00:00Z", "NaN", "") +
			plain("2026-04-10T04:00:00Z", "4", ""),
		"comment between": plain("2026-04-10T00:00:00Z", "1", "") + "<!-- x -->" + plain("2026-04-10T00:15:00Z", "2",
			""),
		"many digits": plain("2026-04-10T00:00:00Z", "26.89999999999999857", "") + plain("2026-04-10T00:01:00Z",
			"0.123456789012345", ""),
		"leap day":     plain("2024-02-29T23:59:59.999999999+14:00", "1", ""),
		"text between": plain("2026-04-10T00:00:00Z", "1", "") + "stray" + plain("2026-04-10T00:15:00Z", "2", ""),
		"empty pair":   "<w:point><w:MeasurementTVP/></w:point>" + plain("2026-04-10T00:15:00Z", "2", ""),
		"long metadata": plain("2026-04-10T00:00:00Z", "1", strings.Replace(meta10, "10", strings.Repeat("x", 9000),
			1)) + plain("2026-04-10T00:15:00Z", "2", ""),
		"meta with comment": plain("2026-04-10T00:00:00Z", "1", strings.Replace(meta10, "<w:q", "<!-- c --><w:q", 1)),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			require.True(t, same(t, []byte(head+points+tail), profileOf()), "read strictly, which is right but slow")
		})
	}
}

// What is not surely plain is read strictly.
func TestScannerStandsBack(t *testing.T) {
	t.Parallel()
	p := plain("2026-04-10T00:00:00Z", "1", "")

	for name, doc := range map[string]string{
		"in a comment":       head + "<!-- " + p + " -->" + p + tail,
		"in cdata":           head + "<![CDATA[" + p + "]]>" + p + tail,
		"outside a series":   strings.Replace(head, "<om:result>", "<om:result>"+p, 1) + p + tail,
		"in another element": head + "<w:comment>" + p + "</w:comment>" + p + tail,
		"in a point":         head + "<w:point>" + p + "</w:point>" + p + tail,
		"prefix not bound": strings.Replace(head, `xmlns:w="http://www.opengis.net/waterml/2.0"`,
			`xmlns:w="urn:other"`, 1) + p + tail,
		"xsi of its own": strings.Replace(head, "http://www.w3.org/2001/XMLSchema-instance", "urn:other", 1) +
			strings.Replace(p, "<w:value>1</w:value>", `<w:value xsi:nil="true"/>`, 1) + tail,
		"our own mark":        head + `<w:point><` + runName + ` n="0"><v/></` + runName + `></w:point>` + p + tail,
		"our own mark, after": head + p + `<w:point><` + runName + ` n="0"><v/></` + runName + `></w:point>` + tail,
		"truncated":           head + p + tail[:20],
		"doctype":             "<!DOCTYPE c>" + head[strings.Index(head, "\n")+1:] + p + tail,
		"other encoding":      strings.Replace(head, "UTF-8", "ISO-8859-1", 1) + p + tail,
		"unbalanced metadata": head + plain("2026-04-10T00:00:00Z", "1", "<w:metadata><w:x></w:metadata>") + tail,
		"hidden end": head + plain("2026-04-10T00:00:00Z", "1",
			"<w:metadata><!-- </w:metadata></w:MeasurementTVP></w:point> --></w:metadata>") +
			strings.Replace(tail, "</w:M", "</w:metadataX></w:M", 1),
		"bad utf-8 in meta": head + plain("2026-04-10T00:00:00Z", "1", strings.Replace(meta10, "10", "\xff", 1)) +
			tail,
		"undeclared in meta": head + plain("2026-04-10T00:00:00Z", "1", strings.Replace(meta10, "10", "&x;", 1)) +
			tail,
		"too deep": strings.Repeat("<a>", 61) + strings.TrimPrefix(head,
			`<?xml version="1.0" encoding="UTF-8"?>`) + p + tail + strings.Repeat("</a>", 61),
		"categorical": strings.ReplaceAll(head, "MeasurementTimeseries", "CategoricalTimeseries") + p +
			strings.ReplaceAll(tail, "MeasurementTimeseries", "CategoricalTimeseries"),
		"two roots":            head + p + tail + "<x/>",
		"exception in the end": head + p + strings.Replace(tail, "</c:Coll", "<ExceptionReport/></c:Coll", 1),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			require.False(t, same(t, []byte(doc), profileOf()))
		})
	}
}

func TestScannerRefusesEveryCut(t *testing.T) {
	t.Parallel()
	body := []byte(head + plain("2026-04-10T00:00:00Z", "1", meta10) + plain("2026-04-10T00:15:00Z", "2", "") + tail)
	for n := range body {
		_, ok := parseFast(body[:n], profileOf())
		require.False(t, ok, "cut at %d", n)
	}
	require.True(t, same(t, body, profileOf()))
}

// Runs longer than the bound, windows that end inside a point, and references
// into the document.
func TestScannerOverManyWindows(t *testing.T) {
	t.Parallel()
	body := []byte(generated(20_000, true))
	require.Greater(t, len(body), 10*window)
	require.True(t, same(t, body, ingest.Profile{Name: "x", MaxBodyBytes: 1 << 30}))
	b, err := Parse(bytes.NewReader(body), ingest.Profile{Name: "x", MaxBodyBytes: 1 << 30})
	require.NoError(t, err)
	require.Len(t, b.Series[0].Obs, 20_000)
}

// generated is a document of n plain points; every fifth has metadata.
func generated(n int, meta bool) string {
	var b strings.Builder
	b.WriteString(head)
	at := time.Date(1996, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range n {
		m := ""
		if meta && i%5 == 0 {
			m = meta10
		}
		b.WriteString(plain(at.Add(time.Duration(i)*15*time.Minute).Format(time.RFC3339),
			strconv.FormatFloat(60+float64(i%977)/7, 'f', 3, 64), m))
	}
	b.WriteString(tail)
	return b.String()
}

func TestScannerOnCollectedDocuments(t *testing.T) {
	t.Parallel()
	dir := ingesttest.RealFeeds(t)
	files, err := filepath.Glob(filepath.Join(dir, "*", "*.xml"))
	require.NoError(t, err)
	fast := 0
	for _, f := range files {
		body, err := os.ReadFile(f)
		require.NoError(t, err)
		if same(t, body, profileOf()) {
			fast++
		}
	}

	require.Greater(t, fast, 15)
	body, err := os.ReadFile(filepath.Join(dir, "waterml2", "bom_pybomwater_response.xml"))
	require.NoError(t, err)
	s := newScanner(bytes.NewReader(body))
	d := newDoc(profileOf())
	d.scan = s
	require.NoError(t, d.read(ingest.NewXMLReader(s)))
	require.True(t, s.sound())
	require.Positive(t, s.seq, "the large document is of the plain form")
}

// Documents made of odd and plain pieces in any order, with bytes changed.
func TestScannerAgreesOnDrawnDocuments(t *testing.T) {
	t.Parallel()
	pieces := []string{
		plain("2026-04-10T00:00:00Z", "1.25", ""), plain("2026-04-10T00:15:00-05:00", "-3", meta10),
		plain("2026-04-10", "2", ""), plain("2026-04-10T02:00:00Z", " 3 ", ""),
		"<!-- ", " -->", "<![CDATA[", "]]>", "<w:comment>", "</w:comment>", "\n ", "&amp;", "x", "<w:point>",
		"</w:point>", "<w:metadata>", "</w:metadata>",
		`<w:point><w:MeasurementTVP><w:time>2026-04-10T03:00:00Z</w:time><w:value xsi:nil="true"/></w:MeasurementTVP></w:point>`, tail, head, "<?p q?>",
		`<w:point xmlns:w="urn:x">`, plain("2026-02-30T00:00:00Z", "1", ""),
		plain("2026-04-10T05:00:00Z", "1", "<w:metadata><w:y/></w:metadata>"), runName,
	}

	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		b.WriteString(head)
		for range rapid.IntRange(0, 8).Draw(t, "n") {
			b.WriteString(rapid.SampledFrom(pieces).Draw(t, "piece"))
		}
		b.WriteString(tail)
		body := []byte(b.String())
		for range rapid.IntRange(0, 2).Draw(t, "changes") {
			i := rapid.IntRange(0, len(body)-1).Draw(t, "at")
			body[i] = rapid.SampledFrom([]byte("<>/\"'& :wpxn-0\x00\xff")).Draw(t, "byte")
		}

		same(t, body[:rapid.IntRange(len(body)-min(3, len(body)), len(body)).Draw(t, "cut")], profileOf())
	})
}

func FuzzScannerAgrees(f *testing.F) {
	ingesttest.Seeds(f, "testdata/v2")
	f.Add([]byte(head + plain("2026-04-10T00:00:00Z", "1", meta10) + plain("2026-04-10T00:15:00Z", "2", "") + tail))
	f.Add([]byte(head + "<!-- " + plain("2026-04-10T00:00:00Z", "1", "") + " -->" + tail))
	f.Fuzz(func(t *testing.T, body []byte) {
		if len(body) < 1<<20 {
			same(t, body, profileOf())
		}
	})
}
