package ingest_test

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"time"

	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/detect"
)

// A document on disk needs no profile: the body tells its format.
func ExampleParseFunc() {
	body := `{"type":"FeatureCollection","features":[{"type":"Feature","geometry":null,"properties":{
		"monitoring_location_id":"NG-0101","parameter_code":"00060","statistic_id":"00011","time":"2026-03-20T11:00:00Z",
		"value":"535","unit_of_measure":"ft^3/s","approval_status":"Provisional","qualifier":["ICE"]}}]}`
	b, err := detect.Parse(strings.NewReader(body), ingest.Profile{})
	if err != nil {
		fmt.Println(err)
		return
	}
	s := b.Series[0]
	fmt.Println(s.SeriesKey, s.Param.Unit())
	fmt.Printf("%s %.2f %v %v\n", s.Obs[0].At.Format(time.RFC3339), s.Obs[0].Value, s.Obs[0].Flag.Names(),
		s.Obs[0].Qualifiers)
	// Output:
	// file:NG-0101/discharge/instant m3_s
	// 2026-03-20T11:00:00Z 15.15 [provisional ice suspect] [ICE]
}

// A new agency is a profile, not code: here one with wide rows, its own field
// names, degrees Fahrenheit and local time.
func ExampleFetcher_Fetch() {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		fmt.Println("asked:", r.URL.RawQuery)
		_, _ = io.WriteString(w, `{"type":"FeatureCollection","features":[{"type":"Feature","geometry":null,
			"properties":{"gauge":"HF-7","when":"2026-03-20 06:45","temp_f":"39.2","mark":"e"}}]}`)
	}))
	defer srv.Close()
	f := &ingest.Fetcher{
		Now:   func() time.Time { return time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC) },
		Parse: detect.Parse, Sink: newMemory(), Agent: "coldseam/1.0 (club@example.org)",
	}
	defer f.Close()

	res, err := f.Fetch(context.Background(), ingest.Profile{
		Name:         "hallam",
		BaseURL:      srv.URL,
		Path:         "/items",
		PrivateHosts: []string{"127.0.0.1"},
		Query:        map[string]string{"gauge": "{sites}", "since": "{since}", "limit": "{limit}"},
		Wide:         true,
		Zone:         "America/Chicago",
		Fields: map[string]string{"gauge": "site", "when": "time", "temp_f": "water_temp",
			"mark": "water_temp_qualifier"},
		Units:      map[string]string{"water_temp": "degF"},
		Qualifiers: map[string]string{"e": "estimated"},
	}, ingest.Request{Sites: []string{"HF-7"}, Since: time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)})
	fmt.Println(res.State, res.Added, "new, newest", res.NewestValid.Format(time.RFC3339), err)
	// Output:
	// asked: gauge=HF-7&limit=10000&since=2026-03-20T00%3A00%3A00Z
	// ok 1 new, newest 2026-03-20T11:45:00Z <nil>
}
