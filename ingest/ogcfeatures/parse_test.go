package ogcfeatures

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
	"github.com/stretchr/testify/require"
)

const cases = "../../testdata/features"

func TestCases(t *testing.T) {
	t.Parallel()
	ingesttest.Cases(t, cases, Parse)
}

func TestTruncatedAnywhere(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"latest_two_series", "canada_realtime", "field_measurements", "series_metadata"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := filepath.Join(cases, name)
			ingesttest.Truncate(t, ingesttest.Response(t, dir), ingesttest.CaseProfile(t, dir), Parse)
		})
	}
}

// Documents that hold next to nothing a row cost less than 100 MB at the full
// size, whatever they hold; a quarter of it shows the same in less time.
func TestMemoryOfAttacks(t *testing.T) {
	const share = 4
	for name, piece := range map[string]string{
		"short features": `{"properties":{                                                         }},`,
		"rows":           `{"properties":{"monitoring_location_id":"a","parameter_code":"00065","unit_of_measure":"m","time":"2026-01-01T00:00Z","value":"1"}},`,
	} {
		t.Run(name, func(t *testing.T) {
			body := `{"type":"FeatureCollection","features":[` +
				strings.Repeat(piece, ingest.DefaultMaxBody/share/len(piece)) + `{}]}`
			var before, peak runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			_, err := Parse(strings.NewReader(body), ingest.Profile{})
			runtime.ReadMemStats(&peak)
			require.NoError(t, err)
			require.Less(t, int64(peak.HeapInuse)-int64(before.HeapInuse), int64(100<<20)/share)
		})
	}
}

// Every collected document gives the expected rows or the expected refusal.
func TestRealDocuments(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(ingesttest.RealFeeds(t), "ogcapi_features")
	type row struct {
		key   coldseam.SeriesKey
		first string // of the series, as ingesttest writes it
		n     int
	}
	us := func(site string, p coldseam.Parameter, s coldseam.Statistic, period, ref string) coldseam.SeriesKey {
		return coldseam.SeriesKey{
			Site:      coldseam.SiteID("us:" + site),
			Param:     p,
			Stat:      s,
			Period:    period,
			Provider:  "us",
			SeriesRef: ref,
		}
	}

	for _, c := range []struct {
		file     string
		rows     []row
		gaugings int
		sites    int
		meta     int // records of series, not of rows
		skipped  int
		err      string
	}{
		{file: "usgs_split_continuous.json", sites: 1,
			rows: []row{{us("USGS-06904500", coldseam.Stage, coldseam.Instant, "", "b36569a0067443ac9425e850a3ac7baa"),
				"2025-01-01T00:00:00Z 0.536448 approved", 2}}},
		{file: "usgs_split_latest-continuous.json", sites: 1, rows: []row{
			{us("USGS-06904500", coldseam.Stage, coldseam.Instant, "", "b36569a0067443ac9425e850a3ac7baa"),
				"2026-08-07T18:45:00Z 0.484632 provisional", 1},
			{us("USGS-06904500", coldseam.Discharge, coldseam.Instant, "", "627c17455f9e4a4286e1d75dde4d8470"),
				"2026-08-07T18:45:00Z 15.14951 provisional", 1}}},
		{file: "usgs_split_daily.json", sites: 1,
			rows: []row{{us("USGS-05427718", coldseam.Discharge, coldseam.Mean, "P1D",
				"90a0ea0b6d99431e9f3d91da1aa49564"), "2025-12-27T06:00:00Z 0.5720003 provisional", 2}}},
		{file: "usgs_split_peaks.json", sites: 1, rows: []row{
			{us("USGS-02238500", coldseam.Stage, coldseam.Max, "P1Y", "e1a7644feb9741f790c736370e1d37d8"),
				`1970-04-06T17:00:00Z 15.2339 suspect ["GHNOTASSCPKQ"]`, 1},
			{us("USGS-02238500", coldseam.Discharge, coldseam.Max, "P1Y", "a085297138aa44aa9fa70207f838cf3b"),
				`1954-01-12T06:00:00Z 30.01586 suspect ["REGULATED"]`, 1}}},
		{file: "usgs_split_field-measurements.json", sites: 1, gaugings: 1},
		{file: "usgs_split_time-series-metadata.json", skipped: 2}, // precipitation and orthophosphate: not configured
		{file: "usgs_split_combined-metadata.json", sites: 1, meta: 1, skipped: 1},
		{file: "usgs_split_monitoring-locations.json", sites: 2},
		{file: "usgs_split_observationNormals.json", skipped: 1},
		{file: "usgs_split_observationIntervals.json", skipped: 1},
		{file: "usgs_waterdata_ogc_fixtures.json", err: "want FeatureCollection"}, // 14 collections in one; see below
		{file: "usgs_waterdata_queryables.json", err: "want FeatureCollection"},
		{file: "handmade_eccc_hydrometric_realtime.json", sites: 1, rows: []row{
			{us("05XX001", coldseam.Discharge, coldseam.Instant, "", "05XX001/DISCHARGE"),
				"2026-03-20T14:00:00Z 56.9 provisional", 1},
			{us("05XX001", coldseam.Stage, coldseam.Instant, "", "05XX001/LEVEL"),
				"2026-03-20T14:00:00Z 2.395 provisional", 2}}},
	} {
		t.Run(c.file, func(t *testing.T) {
			t.Parallel()
			body, err := os.ReadFile(filepath.Join(dir, c.file))
			require.NoError(t, err)
			b, err := Parse(bytes.NewReader(body), ingest.Profile{Name: "us", Zone: "America/Chicago"})
			if c.err != "" {
				require.ErrorIs(t, err, coldseam.ErrInvalid)
				require.ErrorContains(t, err, c.err)
				return
			}

			require.NoError(t, err)
			ingesttest.Sound(t, b)
			require.Len(t, b.Series, len(c.rows))
			for i, s := range ingesttest.Readable(b).Series {
				require.Equal(t, c.rows[i].key, b.Series[i].SeriesKey)
				require.Equal(t, c.rows[i].first, s.Rows[0])
				require.Len(t, s.Rows, c.rows[i].n)
			}

			require.Len(t, b.Gaugings, c.gaugings)
			require.Len(t, b.Sites, c.sites)
			require.Len(t, b.Meta, len(c.rows)+c.meta)
			require.Len(t, b.Skipped, c.skipped)
		})
	}
}

// The fixtures of the US service hold one answer of every collection: each is
// read or named, none is an error.
func TestRealEveryCollection(t *testing.T) {
	t.Parallel()
	body, err := os.ReadFile(filepath.Join(ingesttest.RealFeeds(t), "ogcapi_features",
		"usgs_waterdata_ogc_fixtures.json"))
	require.NoError(t, err)
	var all map[string]json.RawMessage
	require.NoError(t, json.Unmarshal(body, &all))
	require.Len(t, all, 14)

	got := map[string]int{}
	for name, doc := range all {
		b, err := Parse(bytes.NewReader(doc), ingest.Profile{Name: "us", Zone: "America/Chicago"})
		require.NoError(t, err, name)
		ingesttest.Sound(t, b)
		got[name] = b.Rows()
		require.Positive(t, b.Rows()+len(b.Sites)+len(b.Meta)+len(b.Skipped), name)
	}

	require.Equal(t, map[string]int{
		"agency-codes": 0, "channel-measurements": 2, "combined-metadata": 0, "continuous": 2, "daily": 2,
		"field-measurements":          1,
		"field-measurements-metadata": 0, "latest-continuous": 2, "latest-daily": 0, "monitoring-locations": 0,
		"observationIntervals": 0, "observationNormals": 0, "peaks": 2, "time-series-metadata": 0,
	}, got)
}

func FuzzParse(f *testing.F) {
	ingesttest.Seeds(f, cases)
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, p := range []ingest.Profile{{Name: "t"}, {
			Name:   "t",
			Zone:   "America/Chicago",
			Wide:   true,
			Fields: map[string]string{"value": "water_temp"},
			Units:  map[string]string{"water_temp": "degF"},
		}} {
			b, err := Parse(bytes.NewReader(body), p)
			if err != nil {
				require.ErrorIs(t, err, coldseam.ErrInvalid)
				require.Zero(t, b.Rows())
				continue
			}
			ingesttest.Sound(t, b)
		}
	})
}

// The decoder would take the last of two members of one name without a word.
func TestMemberTwiceIsRefused(t *testing.T) {
	t.Parallel()
	for _, body := range []string{
		`{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"value":"1","value":"9"}}]}`,
		`{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"value":"1"},"properties":{"value":"9"}}]}`,
		`{"type":"Feature","properties":{"value":"1","Value":"9"}}`,
	} {
		_, err := Parse(strings.NewReader(body), ingest.Profile{Name: "x"})
		require.ErrorContains(t, err, "twice", body)
	}
}
