package capalert_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/capalert"
	"example.org/coldseam/ingest/ingesttest"
)

func TestCases(t *testing.T) {
	t.Parallel()
	ingesttest.Cases(t, "testdata", capalert.Parse)
}

func parse(t *testing.T, name string) ingest.Batch {
	t.Helper()
	dir := filepath.Join("testdata", name)
	b, err := capalert.Parse(bytes.NewReader(ingesttest.Response(t, dir)), ingesttest.CaseProfile(t, dir))
	require.NoError(t, err)
	return b
}

func TestTruncatedAtEveryByte(t *testing.T) {
	t.Parallel()
	for _, c := range []string{"gauge_warning", "wrapper_edxl", "atom_inline", "rss_index", "geojson"} {
		dir := filepath.Join("testdata", c)
		ingesttest.Truncate(t, ingesttest.Response(t, dir), ingest.Profile{Name: "x"}, capalert.Parse)
	}
}

func FuzzParse(f *testing.F) {
	ingesttest.Seeds(f, "testdata")
	f.Fuzz(func(t *testing.T, body []byte) {
		b, err := capalert.Parse(bytes.NewReader(body), ingest.Profile{Name: "fuzz", MaxBodyBytes: 1 << 20})
		if err != nil {
			require.Zero(t, b.Rows())
			return
		}
		ingesttest.Sound(t, b)
		for _, a := range b.Alerts {
			require.NotEmpty(t, a.Identifier)
			require.NotEmpty(t, a.Status)
			capalert.Place(a, coldseam.Reach{Lat: 45, Lon: -92, GaugeCode: "TAMX1", AlertZones: []string{"XXC011"}})
		}
		capalert.Resolve(b.Alerts)
	})
}

func TestAttacks(t *testing.T) {
	t.Parallel()

	for name, c := range map[string]struct{ body, want string }{
		"entity bomb": {`<!DOCTYPE a [<!ENTITY a "aaaa">]><alert>&a;</alert>`, "document type declarations"},
		"external entity": {`<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd">]><alert>&x;</alert>`,
			"document type declarations"},
		"deep":      {"<alert>" + strings.Repeat("<info>", 500_000), "nested deeper than 64"},
		"nul":       {"<alert>\x00</alert>", "illegal character"},
		"bad utf-8": {"<alert>\xff</alert>", "invalid UTF-8"},
		"text":      {"no alerts today", "ends early"},
		"deep json": {strings.Repeat("[", 200_000), "json"},
		"too large": {"<alert>" + strings.Repeat("x", 9<<20), "larger than"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := capalert.Parse(strings.NewReader(c.body), ingest.Profile{Name: "x"})
			require.ErrorContains(t, err, c.want)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
		})
	}
}

func TestMatchFirstHitWins(t *testing.T) {
	t.Parallel()
	gauge := parse(t, "gauge_warning").Alerts[0]
	shapes := parse(t, "polygons_and_circle").Alerts[0]
	areal := parse(t, "vtec_end_and_areal").Alerts[0]

	for _, c := range []struct {
		name  string
		alert coldseam.Alert
		reach coldseam.Reach
		by    string
		ok    bool
	}{
		{"gauge before zone", gauge, coldseam.Reach{GaugeCode: "tamx1", AlertZones: []string{"XXC011"}}, "gauge TAMX1",
			true},
		{"zone with name", gauge, coldseam.Reach{GaugeCode: "OTHR1", AlertZones: []string{"UGC=XXC011"}},
			"zone UGC=XXC011", true},
		{"bare zone", gauge, coldseam.Reach{AlertZones: []string{"xxc011"}}, "zone UGC=XXC011", true},
		{"zone of another kind", gauge, coldseam.Reach{AlertZones: []string{"EMMA_ID=XXC011"}}, "", false},
		{"inside the polygon, lat before lon", gauge, coldseam.Reach{Lat: 45.31, Lon: -92.64},
			"polygon of Tamsen County", true},
		{"outside", gauge, coldseam.Reach{Lat: 45.31, Lon: -93.64}, "", false},
		{"on the edge", gauge, coldseam.Reach{Lat: 45.40, Lon: -92.6}, "polygon of Tamsen County", true},
		{"second polygon", shapes, coldseam.Reach{Lat: 43.7, Lon: -89.5}, "polygon of Tamsen County", true},
		{"open ring with commas and plus signs", shapes, coldseam.Reach{Lat: 45.35, Lon: -92.55},
			"polygon of Tamsen County", true},
		{"radius 0 counts as 5 km", shapes, coldseam.Reach{Lat: 44.65, Lon: -91.07}, "circle of point", true},
		{"beyond 5 km", shapes, coldseam.Reach{Lat: 44.68, Lon: -91.07}, "", false},
		{"areal product has no gauge", areal, coldseam.Reach{GaugeCode: "00000"}, "", false},
		{"second zone of one value", areal, coldseam.Reach{AlertZones: []string{"XXC023"}}, "zone UGC=XXC023", true},
		{"no position is not 0,0", coldseam.Alert{Areas: []coldseam.AlertArea{{Circles: [][3]float64{{0, 0, 100}}}}},
			coldseam.Reach{}, "", false},
		{"no area", parse(t, "no_end").Alerts[0], coldseam.Reach{Lat: 45, Lon: -92}, "", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			by, at := capalert.Place(c.alert, c.reach)
			require.Equal(t, c.ok, at == capalert.Here)
			if c.ok {
				require.Equal(t, c.by, by)
			}
		})
	}
}

func TestResolve(t *testing.T) {
	t.Parallel()
	at := func(h int) time.Time { return time.Date(2026, 4, 9, h, 0, 0, 0, time.UTC) }
	a := coldseam.Alert{
		Sender:     "S@x.example",
		Identifier: "1",
		MsgType:    "Alert",
		Status:     "Actual",
		From:       at(1),
		Sent:       at(1),
	}
	up := coldseam.Alert{
		Sender:     "s@x.example",
		Identifier: "2",
		MsgType:    "Update",
		Status:     "Actual",
		From:       at(2),
		Sent:       at(2),
		References: []string{"s@X.example,1,2026-04-09T01:00:00-00:00"},
	}
	cancel := coldseam.Alert{
		Sender:     "s@x.example",
		Identifier: "3",
		MsgType:    "Cancel",
		Status:     "Actual",
		Sent:       at(3),
		References: []string{"s@x.example,2,x"},
	}
	test := cancel
	test.Identifier, test.Status = "4", "Test"
	foreign := cancel
	foreign.Identifier, foreign.References = "5", []string{"other@x.example,2,x", "broken"}

	ids := func(as []coldseam.Alert) string {
		var out []string
		for _, a := range as {
			out = append(out, a.Identifier)
		}
		return strings.Join(out, " ")
	}
	require.Equal(t, "1", ids(capalert.Resolve([]coldseam.Alert{a})))
	require.Equal(t, "2", ids(capalert.Resolve([]coldseam.Alert{up, a})))
	require.Equal(t, "", ids(capalert.Resolve([]coldseam.Alert{a, up, cancel})))
	require.Equal(t, "2", ids(capalert.Resolve([]coldseam.Alert{a, up, test})), "a test cancels nothing real")
	require.Equal(t, "2", ids(capalert.Resolve([]coldseam.Alert{a, up, foreign})), "another sender cancels nothing")
	require.Equal(t, "1", ids(capalert.Resolve([]coldseam.Alert{a, a})), "the same message from two feeds")
}

// Any order of arrival ends in the same standing alerts.
func TestResolveIgnoresOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 7).Draw(t, "n")
		var as []coldseam.Alert
		for i := range n {
			x := coldseam.Alert{
				Sender:     "s",
				Identifier: string(rune('a' + i)),
				Status:     "Actual",
				MsgType:    rapid.SampledFrom([]string{"Alert", "Update", "Cancel"}).Draw(t, "type"),
				From:       time.Unix(int64(i), 0),
			}
			if i > 0 {
				x.References = []string{"s," + string(rune('a'+rapid.IntRange(0, i-1).Draw(t, "ref"))) + ",t"}
			}
			as = append(as, x)
		}
		mixed := rapid.Permutation(as).Draw(t, "order")
		require.Equal(t, capalert.Resolve(as), capalert.Resolve(mixed))
	})
}

// What each collected document must give.
func TestRealDocuments(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(ingesttest.RealFeeds(t), "cap")
	type want struct {
		event, severity, from, end string
		assumed                    bool
		areas                      int
		gauges, codes              []string
	}

	wants := map[string]want{
		"oasis_example1.xml": {"Homeland Security Advisory System Update", "Severe",
			"2003-04-02T19:39:01Z", "2003-04-03T19:39:01Z", true, 1, nil, nil},
		"oasis_example2.xml": {"SEVERE THUNDERSTORM", "Severe", "2003-06-17T21:57:00Z",
			"2003-06-17T23:00:00Z", false, 1, nil, []string{"SAME=SVR"}},
		"oasis_example3.xml": {"Earthquake", "Minor", "2003-06-12T03:56:00Z", "2003-06-13T03:56:00Z",
			true, 1, nil, nil},
		"oasis_example4.xml": {"Child Abduction", "Severe", "2003-06-12T05:39:00Z",
			"2003-06-13T05:39:00Z", true, 1, nil, []string{"SAME=CAE"}},
		"handmade_flood_warning_gauge.xml": {"Flood Warning", "Severe", "2026-03-22T08:00:00Z", "2026-03-25T18:00:00Z",
			false, 1, []string{"XXXX1"}, []string{"VTEC=FL.W"}},
	}
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, files, len(wants))

	for _, f := range files {
		body, err := os.ReadFile(filepath.Join(dir, f.Name()))
		require.NoError(t, err)
		b, err := capalert.Parse(bytes.NewReader(body), ingest.Profile{Name: "x"})
		require.NoError(t, err, f.Name())
		require.Len(t, b.Alerts, 1)
		a, w := b.Alerts[0], wants[f.Name()]
		require.Equal(t, w, want{a.Event, a.Severity, a.From.Format(time.RFC3339), a.End.Format(time.RFC3339),
			a.EndAssumed, len(a.Areas), a.GaugeCodes, a.EventCodes}, f.Name())
		require.Empty(t, a.Defects, f.Name())
	}

	body, err := os.ReadFile(filepath.Join(dir, "oasis_example2.xml"))
	require.NoError(t, err)
	b, err := capalert.Parse(bytes.NewReader(body), ingest.Profile{Name: "x"})
	require.NoError(t, err)
	_, at := capalert.Place(b.Alerts[0], coldseam.Reach{Lat: 38.5, Lon: -119.9})
	require.Equal(t, capalert.Here, at, "the polygon is written lat,lon")
}

// Thousands of messages of one name are told apart in one pass.
func TestResolveManyOfOneName(t *testing.T) {
	t.Parallel()
	var as []coldseam.Alert
	for i := range 10_000 {
		as = append(as, coldseam.Alert{Identifier: "a", Event: strings.Repeat("e", i%5000)})
	}
	require.Len(t, capalert.Resolve(as), 5000)
}
