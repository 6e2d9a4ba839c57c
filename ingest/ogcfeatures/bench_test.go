package ogcfeatures

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"github.com/stretchr/testify/require"
)

// pageOf is a page of a continuous collection with the fields of the US
// service and n rows.
func pageOf(n int) string {
	var b strings.Builder
	b.WriteString(`{"type":"FeatureCollection","features":[`)
	at := time.Date(2025, 3, 20, 0, 0, 0, 0, time.UTC)
	for i := range n {
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, `{"type":"Feature","id":"%08d-9206-4486-9ce2-0c0e4cff7127","geometry":null,"properties":{"approval_status":"Provisional","last_modified":"2026-08-07T18:55:07.672769+00:00","monitoring_location_id":"NG-00000101","parameter_code":"00060","qualifier":null,"statistic_id":"00011","time":%q,"time_series_id":"b36569a0067443ac9425e850a3ac7baa","unit_of_measure":"ft^3/s","value":"%d.%d"}}`,
			i, at.Add(time.Duration(i)*15*time.Minute).Format(time.RFC3339), 500+i%37, i%10)
	}
	b.WriteString(`]}`)
	return b.String()
}

func TestPageOfTenThousandRowsFitsTheCap(t *testing.T) {
	t.Parallel()
	body := pageOf(ingest.DefaultPageLimit)
	require.Less(t, len(body), ingest.DefaultMaxBody)
	b, err := Parse(strings.NewReader(body), ingest.Profile{})
	require.NoError(t, err)
	require.Len(t, b.Series[0].Obs, ingest.DefaultPageLimit)
}

func BenchmarkParse(b *testing.B) {
	body := pageOf(ingest.DefaultPageLimit)
	b.SetBytes(int64(len(body)))
	b.ReportAllocs()
	for b.Loop() {
		_, err := Parse(strings.NewReader(body), ingest.Profile{})
		require.NoError(b, err)
	}
}

func BenchmarkCheckYear(b *testing.B) {
	page, err := Parse(strings.NewReader(pageOf(35_000)), ingest.Profile{MaxBodyBytes: 64 << 20})
	require.NoError(b, err)
	require.Equal(b, coldseam.Discharge, page.Series[0].Param)
	b.ReportAllocs()
	for b.Loop() {
		ingest.Check(page.Series[0], ingest.SiteLimits{}, time.Time{})
	}
}
