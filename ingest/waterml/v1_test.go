package waterml_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
	"example.org/coldseam/ingest/waterml"
)

func TestV1Cases(t *testing.T) {
	t.Parallel()
	ingesttest.Cases(t, "testdata/v1", waterml.ParseV1)
}

func TestV1TruncatedAtEveryByte(t *testing.T) {
	t.Parallel()
	for _, c := range []string{"qualifiers", "json", "version_10"} {
		dir := "testdata/v1/" + c
		ingesttest.Truncate(t, ingesttest.Response(t, dir), ingesttest.CaseProfile(t, dir), waterml.ParseV1)
	}
}

func FuzzParseV1(f *testing.F) {
	ingesttest.Seeds(f, "testdata/v1")
	f.Fuzz(func(t *testing.T, body []byte) {
		b, err := waterml.ParseV1(bytes.NewReader(body), ingest.Profile{
			Name:         "fuzz",
			Zone:         "America/Chicago",
			RequestSite:  "X",
			MaxBodyBytes: 1 << 20,
		})
		if err != nil {
			require.Zero(t, b.Rows())
			return
		}
		ingesttest.Sound(t, b)
	})
}

func TestV1Attacks(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ body, want string }{
		"entities": {`<!DOCTYPE a [<!ENTITY a "a">]><timeSeriesResponse>&a;</timeSeriesResponse>`,
			"document type"},
		"deep xml":      {"<timeSeriesResponse>" + strings.Repeat("<timeSeries>", 100_000), "nested deeper"},
		"deep json":     {strings.Repeat(`[`, 1_000_000), "json"},
		"trailing json": {`{"value":{"timeSeries":[]}}{}`, "after the end"},
		"nul":           {"<timeSeriesResponse>\x00</timeSeriesResponse>", "illegal character"},
		"bad utf-8":     {"{\"value\":{\"timeSeries\":[]},\"a\":\"\xff\"}", "not UTF-8"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := waterml.ParseV1(strings.NewReader(c.body), ingest.Profile{Name: "x"})
			require.ErrorContains(t, err, c.want)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
		})
	}
}

// What each collected document of version 1 must give.
func TestV1RealDocuments(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(ingesttest.RealFeeds(t), "waterml1")
	type want struct {
		series, points int
		first          string
		value          float64
		skipped        string
		p              ingest.Profile
	}

	wants := map[string][]want{
		"usgs_WaterML1Example.xml": {{1, 192, "2012-05-12T05:00:00Z", 83 * coldseam.CubicMPerCFS, "",
			ingest.Profile{}}},
		"usgs_waterservices_iv_wml11.json": {{4, 20, "2019-02-14T05:00:00Z", 974 * coldseam.CubicMPerCFS, "",
			ingest.Profile{}}},
		"usgs_waterservices_dv_wml11.json": {{2, 4, "2020-02-15T05:00:00Z", 466 * coldseam.CubicMPerCFS,
			`variable "00095" is not known`, ingest.Profile{Zone: "America/New_York"}},
			{0, 0, "", 0, "no zone", ingest.Profile{}}},
		"usgs_nwis_iv_mock_wml_json.json": {{0, 0, "", 0, "no unit in the document", ingest.Profile{}}},
		"usgs_nwis_iv_empty_mock.json":    {{0, 0, "", 0, "", ingest.Profile{}}},
		"owslib_cuahsi_example_get_values_11.xml": {
			{4, 196, "2005-08-05T07:00:00Z", -1000, `unit "NTU" is unknown`, ingest.Profile{}},
			{7, 343, "2005-08-05T07:00:00Z", -1000, `statistic "Variance" is not read`,
				ingest.Profile{UnitAliases: map[string]string{"NTU": "FNU"}}},
		},
		"owslib_cuahsi_example_get_values_10.xml": {
			{0, 0, "", 0, `variable "USU39" is not known`, ingest.Profile{}},
			{12, 29, "2008-04-14T19:00:00Z", 0.1192, "", ingest.Profile{Zone: "America/Denver",
				Parameters: map[string]string{"USU39": "turbidity"}, UnitAliases: map[string]string{"mg/L": "FNU"}}},
		},
	}

	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, files, len(wants))

	for _, f := range files {
		body, err := os.ReadFile(filepath.Join(dir, f.Name()))
		require.NoError(t, err)

		for _, w := range wants[f.Name()] {
			b, err := waterml.ParseV1(bytes.NewReader(body), w.p)
			require.NoError(t, err, f.Name())
			ingesttest.Sound(t, b)
			require.Len(t, b.Series, w.series, "%s %s", f.Name(), reasons(b))
			require.Equal(t, w.points, b.Rows(), f.Name())
			if w.skipped != "" {
				require.Contains(t, reasons(b), w.skipped)
			} else {
				require.Empty(t, b.Skipped, f.Name())
			}

			if w.first != "" {
				require.Equal(t, w.first, b.Series[0].Obs[0].At.Format(time.RFC3339), f.Name())
			}
			if w.first != "" && w.value != -1000 {
				require.InDelta(t, w.value, b.Series[0].Obs[0].Value, 1e-9)
			}
		}
	}
}
