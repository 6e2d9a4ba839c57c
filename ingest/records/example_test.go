package records_test

import (
	"fmt"
	"strings"
	"time"

	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/records"
)

// A service with documented JSON of its own is a map of where things stand.
func ExampleParse() {
	p := ingest.Profile{
		Name:       "mill",
		Format:     ingest.FormatRecords,
		BaseURL:    "https://rivers.example.org",
		Parameters: map[string]string{"H": "stage"},
		Records: &ingest.Records{
			Require: []string{"$.rows"},
			Levels:  []string{"$.rows[*]"},
			Site:    "^$.station",
			Values:  []ingest.RecordValue{{Parameter: "=H", Value: "$.h", Time: "$.at", Unit: "^$.unit"}},
		},
	}
	if err := p.Check(); err != nil {
		fmt.Println(err)
		return
	}
	b, err := records.Parse(strings.NewReader(`{"station":"T7","unit":"cm","rows":[
		{"at":"2026-04-10T05:00:00+02:00","h":131},{"at":"2026-04-10T05:15:00","h":132}]}`), p)
	fmt.Println(b.Rows(), err)
	b, err = records.Parse(strings.NewReader(`{"station":"T7","unit":"cm","rows":[
		{"at":"2026-04-10T05:00:00+02:00","h":131}]}`), p)
	s := b.Series[0]
	fmt.Println(s.SeriesKey, s.Obs[0].At.Format(time.RFC3339), s.Obs[0].Value, err)
	// Output:
	// 0 records: 1 of 2 values do not fit, the first: time "2026-04-10T05:15:00": no zone in the document and none configured: invalid
	// mill:T7/stage/instant 2026-04-10T03:00:00Z 1.31 <nil>
}
