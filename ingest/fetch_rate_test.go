package ingest_test

import (
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"github.com/stretchr/testify/require"
)

// newUSBench is a bench with endpoints as the US service has them.
func newUSBench(t *testing.T, h http.HandlerFunc) *bench {
	t.Helper()
	b := newBench(t, h)
	b.p.Path, b.p.Query = "", nil
	b.p.Endpoints = map[string]ingest.Endpoint{
		"latest": {Path: "/ogcapi/v0/collections/latest-continuous/items",
			Query: map[string]string{"limit": "{limit}"}},
		"history": {Path: "/ogcapi/v0/collections/continuous/items", Query: map[string]string{"limit": "{limit}",
			"datetime": "{since}/{until}"}},
	}
	return b
}

// Below a twentieth of the host's limit only the newest values are asked for,
// until the next full hour or until an answer counts more.
func TestFetchKeepsTheLastOfTheBudgetForLatest(t *testing.T) {
	t.Parallel()
	left := atomic.Value{}
	left.Store("49")
	var asked atomic.Int32
	b := newUSBench(t, func(w http.ResponseWriter, r *http.Request) {
		asked.Add(1)
		w.Header().Set("X-RateLimit-Limit", "1000")
		w.Header().Set("X-RateLimit-Remaining", left.Load().(string))
		_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5")))
	})
	latest := ingest.Request{Endpoint: "latest"}
	history := ingest.Request{Endpoint: "history", Since: now.Add(-24 * time.Hour), Until: now}
	_, err := b.fetch(t, latest)
	require.NoError(t, err)

	res, err := b.fetch(t, history)
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.ErrorContains(t, err, "less than 5 %")
	require.Equal(t, now.Add(time.Hour), res.NotBefore)
	require.EqualValues(t, 1, asked.Load())

	left.Store("50")
	_, err = b.fetch(t, latest)
	require.NoError(t, err, "the newest values go on")
	_, err = b.fetch(t, history)
	require.NoError(t, err, "fifty of a thousand are enough")
}

// A 429 without a time is not asked again, by any feed of the host, before the
// next full hour.
func TestFetch429WithoutRetryAfter(t *testing.T) {
	t.Parallel()
	var asked atomic.Int32
	b := newUSBench(t, func(w http.ResponseWriter, r *http.Request) {
		asked.Add(1)
		w.Header().Set("X-RateLimit-Remaining", "0")
		w.WriteHeader(http.StatusTooManyRequests)
	})
	b.p.Format = ingest.FormatFeatures
	at := now.Add(17 * time.Minute)
	b.Now = func() time.Time { return at }

	for range 3 {
		res, err := b.fetch(t, ingest.Request{Endpoint: "latest"})
		require.ErrorIs(t, err, coldseam.ErrUnavailable)
		require.Equal(t, now.Add(time.Hour), res.NotBefore)
	}
	require.EqualValues(t, 1, asked.Load())

	at = now.Add(time.Hour)
	_, err := b.fetch(t, ingest.Request{Endpoint: "latest"})
	require.Error(t, err)
	require.EqualValues(t, 2, asked.Load(), "the next hour asks once")
}

// Both shapes of an error answer are said in words, whatever the status, asked
// for once, and never with the key.
func TestFetchServiceErrors(t *testing.T) {
	t.Parallel()
	const (
		badKey   = `{"error":{"code":"API_KEY_INVALID","message":"An invalid api_key s3cret was supplied."}}`
		badQuery = `{"code":"InvalidQuery","type":"InvalidQuery","description":"The requested time envelope is too large, the query must be limited to 1100 day(s) or less for this collection."}`
	)

	for name, c := range map[string]struct {
		status int
		body   string
		words  []string
	}{
		"key at 403": {403, badKey, []string{"HTTP 403", "key refused, API_KEY_INVALID"}},
		"key at 200": {200, badKey, []string{"key refused, API_KEY_INVALID"}},
		"query at 400": {400, badQuery, []string{"HTTP 400", "InvalidQuery",
			"limited to 1100 day(s) or less for this collection"}},
		"other at 400": {400, `{"code":5,"message":"no"}`, []string{"HTTP 400", `5: "no"`}},
		"text at 400":  {400, `no`, []string{"HTTP 400", `begins "no"`}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var asked atomic.Int32
			b := newUSBench(t, func(w http.ResponseWriter, r *http.Request) {
				asked.Add(1)
				w.WriteHeader(c.status)
				_, _ = io.WriteString(w, c.body)
			})
			b.p.Format = ingest.FormatFeatures

			b.p.KeyHeader, b.p.KeyFile = "X-Api-Key", filepath.Join(t.TempDir(), "key")
			require.NoError(t, os.WriteFile(b.p.KeyFile, []byte("s3cret"), 0o600))
			_, err := b.fetch(t, ingest.Request{Endpoint: "latest"})
			for _, w := range c.words {
				require.ErrorContains(t, err, w)
				require.Contains(t, b.sink.raws[0].Err, w)
			}
			require.NotContains(t, err.Error()+b.sink.raws[0].Err, "s3cret")
			require.EqualValues(t, 1, asked.Load())
		})
	}
}

// A configuration of version 0 follows next links of version 1 as they stand.
func TestFetchFollowsVersion1FromVersion0(t *testing.T) {
	t.Parallel()
	const cursor = "/ogcapi/v1/collections/continuous/items?cursor=NjZh%3AMDA&properties=time,value&datetime=a%2Fb"
	var asked []string
	b := newUSBench(t, func(w http.ResponseWriter, r *http.Request) {
		asked = append(asked, r.URL.RequestURI())
		if strings.Contains(r.URL.Path, "/v1/") {
			_, _ = io.WriteString(w, doc("", row(now.Add(-3*time.Hour), "1.3")))
			return
		}
		_, _ = io.WriteString(w, doc("http://"+r.Host+cursor, row(now.Add(-time.Hour), "1.1"),
			row(now.Add(-2*time.Hour), "1.2")))
	})
	_, err := b.fetch(t, ingest.Request{Endpoint: "history", Since: now.Add(-24 * time.Hour), Until: now})
	require.NoError(t, err)
	require.Equal(t, cursor, asked[1])
	for _, obs := range b.sink.obs {
		require.Len(t, obs, 3)
	}
}

// A short list of properties keeps those that name a row.
func TestProfileProperties(t *testing.T) {
	t.Parallel()
	p := ingest.Profile{
		Name:    "us",
		Format:  ingest.FormatFeatures,
		BaseURL: "https://us.example",
		Path:    "/collections/continuous/items",
		Query: map[string]string{"monitoring_location_id": "{sites}", "limit": "{limit}",
			"properties": "time,value,unit_of_measure,approval_status,qualifier"},
	}
	err := p.Check()
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err,
		"want also monitoring_location_id,parameter_code,time_series_id,statistic_id,last_modified")
	p.Query["properties"] += ",monitoring_location_id,parameter_code,time_series_id,statistic_id,last_modified"
	require.NoError(t, p.Check())
}
