package records_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/records"
)

// sink keeps what was stored.
type sink struct{ series []coldseam.Series }

func (s *sink) UpsertSeries(_ context.Context, _ int64, ss []coldseam.Series) (int, int, error) {
	s.series = append(s.series, ss...)
	return len(ss), 0, nil
}
func (*sink) SaveRaw(context.Context, coldseam.RawFetch) (int64, error)    { return 1, nil }
func (*sink) SaveForecasts(context.Context, []coldseam.Forecast) error     { return nil }
func (*sink) SaveAlerts(context.Context, []coldseam.Alert) error           { return nil }
func (*sink) SaveFloodLevels(context.Context, []coldseam.FloodLevel) error { return nil }

func (*sink) SaveGaugings(context.Context, []coldseam.Gauging) error { return nil }
func (*sink) NextFetch(context.Context, string, string) (string, string, time.Time, error) {
	return "", "", time.Time{}, nil
}

// A service of three hours of level, two rows a page: by offset, by page, by a link
// in the body with status 206, and one parameter a request.
func TestPaging(t *testing.T) {
	t.Parallel()
	row := func(i int) string {
		return fmt.Sprintf(`{"s":"1","p":"W","v":%d,"t":"2026-04-10T0%d:00:00Z","u":"m"}`, i, i)
	}
	var asked []string
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = append(asked, r.URL.RequestURI())
		from, next := 0, "null"
		fmt.Sscan(r.URL.Query().Get("offset"), &from)
		if page := r.URL.Query().Get("page"); page > "1" {
			from = 2
		}
		if r.URL.Path == "/linked" && from == 0 {
			next = `"/linked?offset=2"`
			w.WriteHeader(http.StatusPartialContent)
		}
		var rows []string
		for i := from; i < min(from+2, 3); i++ {
			rows = append(rows, row(i))
		}
		fmt.Fprintf(w, `{"total":5,"next":%s,"rows":[%s]}`, next, strings.Join(rows, ","))
	}))
	defer srv.Close()

	for name, c := range map[string]struct {
		p    ingest.Profile
		want []string
	}{
		"offset": {ingest.Profile{Path: "/rows", Paging: ingest.PagingOffset,
			Query: map[string]string{"offset": "{offset}", "limit": "{limit}"}},
			[]string{"/rows?limit=2&offset=0", "/rows?limit=2&offset=2"}},
		"page": {ingest.Profile{Path: "/rows", Paging: ingest.PagingPage, Query: map[string]string{"page": "{page}"}},
			[]string{"/rows?page=1", "/rows?page=2"}},
		"link": {ingest.Profile{Path: "/linked", Paging: ingest.PagingBody, AcceptStatus: []int{206}},
			[]string{"/linked", "/linked?offset=2"}},
	} {
		asked = nil
		p, kept := c.p, &sink{}
		p.Name, p.Format, p.BaseURL, p.PageLimit = "x", ingest.FormatRecords, srv.URL, 2
		p.PrivateHosts, p.Parameters = []string{"127.0.0.1"}, map[string]string{"W": "stage"}
		p.Records = &ingest.Records{Require: []string{"$.rows"}, Levels: []string{"$.rows[*]"}, Site: "$.s", Next: "$.next",
			Values: []ingest.RecordValue{{Parameter: "$.p", Value: "$.v", Time: "$.t", Unit: "$.u"}}}
		require.NoError(t, p.WithDefaults().Check())
		f := &ingest.Fetcher{Profiles: []ingest.Profile{p}, Now: time.Now, Parse: records.Parse, Sink: kept}
		res, err := f.Fetch(t.Context(), p, ingest.Request{Sites: []string{"1"}})
		f.Close()
		require.NoError(t, err, name)
		require.Equal(t, 3, res.Rows, name)
		require.Equal(t, c.want, asked, name)
		require.Len(t, kept.series[0].Obs, 3, name)
	}

	// A service that counts five rows of which two come, without a word of more.
	p := ingest.Profile{Name: "x", Format: ingest.FormatRecords, BaseURL: srv.URL, Path: "/cut",
		PrivateHosts: []string{"127.0.0.1"}, Parameters: map[string]string{"W": "stage"},
		Records: &ingest.Records{Require: []string{"$.rows"}, Levels: []string{"$.rows[*]"}, Site: "$.s", Count: "$.total",
			Values: []ingest.RecordValue{{Parameter: "$.p", Value: "$.v", Time: "$.t", Unit: "$.u"}}}}
	kept := &sink{}
	cut := &ingest.Fetcher{Profiles: []ingest.Profile{p}, Now: time.Now, Parse: records.Parse, Sink: kept}
	_, err := cut.Fetch(t.Context(), p, ingest.Request{Sites: []string{"1"}})
	cut.Close()
	require.ErrorContains(t, err, "counts 5 records, 2 came")
	require.Empty(t, kept.series, "a walk is stored whole or not at all")

	asked = nil
	p = ingest.Profile{Name: "x", Format: ingest.FormatRecords, BaseURL: srv.URL, Path: "/{site}/{parameter}",
		PrivateHosts: []string{"127.0.0.1"}, Parameters: map[string]string{"W": "stage", "Q": "stage"},
		Records: &ingest.Records{Levels: []string{"$.rows[*]"}, Site: "{site}",
			Values: []ingest.RecordValue{{Parameter: "{parameter}", Value: "$.v", Time: "$.t", Unit: "$.u"}}}}
	f := &ingest.Fetcher{Profiles: []ingest.Profile{p}, Now: time.Now, Parse: records.Parse, Sink: &sink{}}
	defer f.Close()
	_, err = f.Fetch(t.Context(), p, ingest.Request{Sites: []string{"1", "2"}})
	require.NoError(t, err)
	require.ElementsMatch(t, []string{"/1/Q", "/1/W", "/2/Q", "/2/W"}, asked)
}
