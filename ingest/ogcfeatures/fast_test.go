package ogcfeatures

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
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

// same demands that templates change nothing, or are not used.
func same(t require.TestingT, body []byte, p ingest.Profile) (fast bool) {
	strict, serr := parse(body, p, false)
	got, ok := parseFast(body, p)
	if !ok {
		return false
	}
	require.NoError(t, serr, "templates accept what the decoder refuses")
	require.Equal(t, strict, got)
	return true
}

// feat is a long feature; over replaces or adds raw members of its properties.
func feat(id string, over ...string) string {
	props := []string{"approval_status", `"Provisional"`, "last_modified", `"2026-04-10T09:21:00.000000+00:00"`,
		"monitoring_location_id", `"NG-1001"`, "parameter_code", `"00060"`,
		"qualifier", "null", "statistic_id", `"00011"`, "time", `"2026-04-10T09:15:00+00:00"`, "time_series_id", `"s1"`,
		"unit_of_measure", `"ft^3/s"`, "value", `"2100"`}
	for i := 0; i+1 < len(over); i += 2 {
		found := false
		for k := 0; k < len(props); k += 2 {
			if props[k] == over[i] {
				props[k+1], found = over[i+1], true
			}
		}
		if !found {
			props = append(props, over[i], over[i+1])
		}
	}

	var b strings.Builder
	fmt.Fprintf(&b, `{"type":"Feature","id":%q,"geometry":{"type":"Point","coordinates":[-92.64,45.31]},"properties":{`,
		id)
	for k := 0; k < len(props); k += 2 {
		if k > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, "%q:%s", props[k], props[k+1])
	}

	return b.String() + "}}"
}

func list(fs ...string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(fs, ",") + `],"numberReturned":` +
		strconv.Itoa(len(fs)) + `,"links":[{"rel":"next","href":"http://x.example/2"}]}`
}

func at(min int) string {
	return strconv.Quote(time.Date(2026, 4, 10, 9, min, 0, 0, time.UTC).Format("2006-01-02T15:04:05+00:00"))
}

func TestTemplatesTakePlainPages(t *testing.T) {
	t.Parallel()

	for name, body := range map[string]string{
		"one series": list(feat("a"), feat("b", "time", at(30), "value", `"2110"`),
			feat("c", "time", at(45), "value", `"-999999"`)),
		"two series": list(feat("a"), feat("b", "time_series_id", `"s2"`, "parameter_code", `"00065"`,
			"unit_of_measure", `"ft"`, "value", `"7.25"`), feat("c", "time", at(30)),
			feat("d", "time_series_id", `"s2"`, "parameter_code", `"00065"`, "unit_of_measure", `"ft"`, "time", at(30),
				"value", `"7.31"`)),
		"null and back": list(feat("a"), feat("b", "value", "null", "qualifier", `["ICE"]`, "time", at(30)),
			feat("c", "value", "null", "qualifier", `["ICE"]`, "time", at(45)), feat("d", "time", at(59))),
		"numbers": list(feat("a", "value", "2100"), feat("b", "value", "2100", "time", at(30)),
			feat("c", "value", "2101", "time", at(45))),
		"odd values": list(feat("a"), feat("b", "value", `"Ice"`, "time", at(30)),
			feat("c", "value", `"1e3"`, "time", at(45)), feat("d", "value", `" 5 "`, "time", at(46)),
			feat("e", "value", `"NaN"`, "time", at(47)), feat("f", "value", `""`, "time", at(48))),
		"dates": list(feat("a", "time", `"2026-03-07"`, "statistic_id", `"00003"`),
			feat("b", "time", `"2026-03-08"`, "statistic_id", `"00003"`), feat("c", "time", at(1), "statistic_id",
				`"00003"`)),
		"zone-less": list(feat("a", "time", `"2026-11-01T00:30:00"`),
			feat("b", "time", `"2026-11-01T01:30:00"`), feat("c", "time", `"2026-03-08T02:30:00"`)),
		"escapes": list(feat("a"), feat("b", "time", `"2026-04-10T09:30:00+00:00"`, "value",
			`"21\u0030\u0030"`), feat("c", "time", at(45))),
		"modified": list(feat("a", "last_modified", `"2026-04-10T10:00:00"`),
			feat("b", "time", at(30), "last_modified", `"2026-04-10T11:00:00"`),
			feat("c", "time", at(45), "last_modified", "null")),
		"white space": strings.ReplaceAll(list(feat("a"), feat("b", "time", at(30))), `,"`, ",\n  \""),
		"names as texts": list(feat("a", "note", `"value"`), feat("b", "note", `"time"`),
			feat("c", "note", `"value"`)),
		"names nested":     list(feat("a", "more", `{"time":"x"}`), feat("b", "more", `{"time":"y"}`)),
		"id in properties": list(feat("a", "id", `"a"`), feat("b", "id", `"b"`, "time", at(30))),
		"unknown parameter": list(feat("a", "parameter_code", `"99999"`), feat("b", "parameter_code", `"99999"`),
			feat("c")),
		"unknown unit":      list(feat("a", "unit_of_measure", `"ms"`), feat("b", "unit_of_measure", `"ms"`)),
		"unknown statistic": list(feat("a", "statistic_id", `"00008"`), feat("b", "statistic_id", `"00008"`)),
		"no site": list(feat("a", "monitoring_location_id", "null"),
			feat("b", "monitoring_location_id", "null")),
		"bad time": list(feat("a"), feat("b", "time", `"2026-02-30T00:00:00Z"`), feat("c", "time", `"soon"`)),
		"peaks": list(feat("a", "time", `"2026-03-07"`, "time_of_day", `"12:00:00+00:00"`),
			feat("b", "time", `"2025-03-07"`, "time_of_day", "null")),
		"twice": list(feat("a"), feat("a", "value", `"5"`), feat("a")),
		"other features": list(feat("a"), `{"type":"Feature","properties":{"x":1}}`, feat("b", "time", at(30)),
			`{"type":"Feature","id":"NG-1","geometry":null,"properties":{"monitoring_location_number":"1","monitoring_location_name":"Tamsen"}}`),
		"type behind": `{"features":[` + feat("a") + "," + feat("b", "time", at(30)) +
			`],"type":"FeatureCollection"}`,
		"null properties": list(feat("a"), `{"type":"Feature","properties":null}`, feat("b")),
		"missing tokens": list(feat("a", "value", `"7.50"`), feat("b", "value", `"7.5"`, "time", at(30)),
			feat("c", "value", `"8"`, "time", at(45))),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			require.True(t, same(t, []byte(body), ingest.Profile{Name: "x", Zone: "America/Chicago",
				MissingTokens: []string{"7.5"}}))
			same(t, []byte(body), ingest.Profile{Name: "x", Series: map[string][]string{"NG-1001": {"s2"}},
				Fields: map[string]string{"id": "series"}})
			same(t, []byte(body), ingest.Profile{Name: "x", RequestSite: "Z",
				Parameters: map[string]string{"99999": "stage"}})
		})
	}
}

func TestTemplatesStandBack(t *testing.T) {
	t.Parallel()
	for name, body := range map[string]string{
		"trailing comma":  `{"type":"FeatureCollection","features":[` + feat("a") + "," + feat("b") + `,]}`,
		"no comma":        `{"type":"FeatureCollection","features":[` + feat("a") + " " + feat("b") + `]}`,
		"cut":             strings.TrimSuffix(list(feat("a"), feat("b")), "}"),
		"data behind":     list(feat("a"), feat("b")) + "{}",
		"two lists":       `{"features":[` + feat("a") + `],"features":[` + feat("b") + `],"type":"FeatureCollection"}`,
		"an element of 1": list(feat("a"), "1", feat("b")),
		"control char":    list(feat("a"), strings.Replace(feat("b"), `"b"`, "\"b\x01\"", 1)),
		"bad utf-8":       list(feat("a"), strings.Replace(feat("b"), `"b"`, "\"\xff\"", 1)),
		"wrong type":      strings.Replace(list(feat("a"), feat("b")), "FeatureCollection", "Coverage", 1),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			require.False(t, same(t, []byte(body), ingest.Profile{Name: "x"}))
		})
	}
}

func TestTemplatesRefuseEveryCut(t *testing.T) {
	t.Parallel()
	body := []byte(list(feat("a"), feat("b", "time", at(30)), feat("c", "time", at(45))))
	for n := range body {
		_, ok := parseFast(body[:n], ingest.Profile{Name: "x"})
		require.False(t, ok, "cut at %d", n)
	}
}

func TestTemplatesAgreeOnDrawnPages(t *testing.T) {
	t.Parallel()
	over := map[string][]string{
		"time":             {at(0), at(30), `"2026-04-10"`, `"x"`, "null", `"2026-11-01T01:30:00"`},
		"value":            {`"1"`, `"2.5"`, "null", "3", `"Ice"`, `"-9999"`, `"None"`, `"\u0031"`},
		"qualifier":        {"null", `["ICE"]`, `"e"`},
		"last_modified":    {`"2026-04-10T10:00:00+00:00"`, "null", `"2026-04-10T12:00:00"`},
		"parameter_code":   {`"00060"`, `"00010"`, `"7"`},
		"unit_of_measure":  {`"ft^3/s"`, `"degC"`, "null"},
		"approval_status":  {`"Approved"`, `"Provisional"`},
		"channel_flow":     {`"1"`},
		"time_of_day":      {"null", `"12:00:00+00:00"`},
		"statistic_id":     {`"00011"`, `"00003"`, "null"},
		"STATION_NUMBER":   {`"x"`},
		"sublocation":      {`"time"`, `{"value":"1"}`},
		"value_of_a_thing": {`"é"`},
	}
	names := []string{"time", "value", "time", "value", "qualifier", "last_modified", "parameter_code",
		"unit_of_measure", "approval_status", "channel_flow", "time_of_day", "statistic_id", "STATION_NUMBER",
		"sublocation", "value_of_a_thing"}

	rapid.Check(t, func(t *rapid.T) {
		var fs []string
		for i := range rapid.IntRange(1, 8).Draw(t, "n") {
			var o []string
			for range rapid.IntRange(0, 3).Draw(t, "changes") {
				n := rapid.SampledFrom(names).Draw(t, "name")
				o = append(o, n, rapid.SampledFrom(over[n]).Draw(t, "v"))
			}
			fs = append(fs, feat(strconv.Itoa(i), o...))
		}

		body := []byte(list(fs...))
		for range rapid.IntRange(0, 2).Draw(t, "bytes") {
			body[rapid.IntRange(0, len(body)-1).Draw(t, "at")] = rapid.SampledFrom([]byte(`{}[]",:\0e `)).Draw(t,
				"byte")
		}
		same(t, body, ingest.Profile{Name: "x", Zone: "America/Chicago"})
	})
}

func FuzzTemplatesAgree(f *testing.F) {
	ingesttest.Seeds(f, "testdata")
	f.Add([]byte(list(feat("a"), feat("b", "time", at(30)), feat("c", "value", "null"))))
	f.Fuzz(func(t *testing.T, body []byte) {
		if len(body) < 1<<20 {
			same(t, body, ingest.Profile{Name: "x", Zone: "America/Chicago"})
		}
	})
}

func TestTemplatesOnCollectedPages(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(filepath.Join(ingesttest.RealFeeds(t), "ogcapi_features", "*.json"))
	require.NoError(t, err)
	fast := 0
	for _, f := range files {
		body, err := os.ReadFile(f)
		require.NoError(t, err)
		if same(t, body, ingest.Profile{Name: "x", Zone: "America/Chicago"}) {
			fast++
		}
	}
	require.Greater(t, fast, 5)
}

// stdJSON is the plain way: the standard decoder into a struct, streaming.
func stdJSON(body []byte) (n int, sum float64, err error) {
	j := json.NewDecoder(bytes.NewReader(body))
	for {
		t, err := j.Token()
		if err != nil {
			return 0, 0, err
		}
		if t == json.Delim('[') {
			break
		}
	}

	for j.More() {
		var f struct {
			Properties struct {
				Time  time.Time `json:"time"`
				Value string    `json:"value"`
			} `json:"properties"`
		}
		if err := j.Decode(&f); err != nil {
			return 0, 0, err
		}

		v, err := strconv.ParseFloat(f.Properties.Value, 64)
		if err != nil {
			return 0, 0, err
		}
		n++
		sum += v
	}

	for {
		if _, err := j.Token(); err == io.EOF {
			return n, sum, nil
		} else if err != nil {
			return 0, 0, err
		}
	}
}

func BenchmarkFeatures(b *testing.B) {
	body := []byte(pageOf(ingest.DefaultPageLimit))
	count := func(x ingest.Batch, err error) int {
		require.NoError(b, err)
		return len(x.Series[0].Obs)
	}

	n, sum, err := stdJSON(body)
	require.NoError(b, err)
	require.NotZero(b, sum)
	require.Equal(b, n, count(Parse(bytes.NewReader(body), ingest.Profile{})))
	fast, ok := parseFast(body, ingest.Profile{})
	require.True(b, ok)
	strict, err := parse(body, ingest.Profile{}, false)
	require.NoError(b, err)
	require.Equal(b, strict, fast)

	for _, w := range []struct {
		name string
		do   func()
	}{
		{"ours", func() { _, _ = Parse(bytes.NewReader(body), ingest.Profile{}) }},
		{"strict", func() { _, _ = parse(body, ingest.Profile{}, false) }},
		{"stdJSON", func() { _, _, _ = stdJSON(body) }},
	} {
		b.Run(w.name, func(b *testing.B) {
			b.SetBytes(int64(len(body)))
			b.ReportAllocs()
			for b.Loop() {
				w.do() // checked above
			}
		})
	}
}
