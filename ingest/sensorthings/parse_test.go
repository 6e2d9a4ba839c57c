package sensorthings_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
	"example.org/coldseam/ingest/sensorthings"
)

func TestCases(t *testing.T) {
	t.Parallel()
	ingesttest.Cases(t, "testdata", sensorthings.Parse)
}

func TestTruncatedAtEveryByte(t *testing.T) {
	t.Parallel()
	for _, c := range []string{"expand", "things", "bare_page"} {
		dir := filepath.Join("testdata", c)
		ingesttest.Truncate(t, ingesttest.Response(t, dir), ingesttest.CaseProfile(t, dir), sensorthings.Parse)
	}
}

func FuzzParse(f *testing.F) {
	ingesttest.Seeds(f, "testdata")
	f.Fuzz(func(t *testing.T, body []byte) {
		p := ingest.Profile{
			Name:         "fuzz",
			RequestSite:  "X",
			Zone:         "UTC",
			Statistic:    "mean",
			MaxBodyBytes: 1 << 20,
			Context:      "datastream=a&site=b&name=stage&unit=m",
		}
		b, err := sensorthings.Parse(bytes.NewReader(body), p)
		if err != nil {
			require.Zero(t, b.Rows())
			return
		}
		ingesttest.Sound(t, b)
	})
}

// The address of a nested page carries what that page leaves out.
func TestNestedPagesKeepTheirDatastream(t *testing.T) {
	t.Parallel()
	dir := "testdata/expand"
	b, err := sensorthings.Parse(bytes.NewReader(ingesttest.Response(t, dir)), ingesttest.CaseProfile(t, dir))
	require.NoError(t, err)
	require.Equal(t, "https://logger.example.org/v1.1/Datastreams?$skip=2", b.Next)
	require.Len(t, b.Links, 1)
	address, context, ok := strings.Cut(b.Links[0], "#")
	require.True(t, ok)
	require.Equal(t, "https://logger.example.org/v1.1/Datastreams('ds-1')/Observations?$skip=5", address)
	p := ingest.Profile{Name: "club", Context: context}
	more, err := sensorthings.Parse(
		strings.NewReader(`{"value":[{"phenomenonTime":"2026-04-10T11:00:00Z","result":5.5}]}`), p)
	require.NoError(t, err)
	require.Equal(t, b.Series[0].SeriesKey, more.Series[0].SeriesKey)
}

func TestAttacks(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ body, want string }{
		"html":      {"<html></html>", "not JSON"},
		"trailing":  {`{"value":[]} x`, "after the end"},
		"deep":      {`{"value":[{"Datastreams":` + strings.Repeat(`[`, 200_000), "json"},
		"bad utf-8": {"{\"value\":[],\"a\":\"\xff\"}", "not UTF-8"},
		"empty":     {"", "not JSON"},
		"too large": {`{"value":[` + strings.Repeat(" ", 9<<20), "larger than"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := sensorthings.Parse(strings.NewReader(c.body), ingest.Profile{Name: "x"})
			require.ErrorContains(t, err, c.want)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
		})
	}
}

func TestRealDocuments(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(ingesttest.RealFeeds(t), "sensorthings")
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, files, 1)
	body, err := os.ReadFile(filepath.Join(dir, files[0].Name()))
	require.NoError(t, err)
	p := ingest.Profile{
		Name:        "club",
		RequestSite: "club-1",
		Parameters:  map[string]string{"17": "stage"},
		Statistics:  map[string]string{"stage": "mean"},
	}
	b, err := sensorthings.Parse(bytes.NewReader(body), p)
	require.NoError(t, err)
	require.Empty(t, b.Skipped)
	require.Len(t, b.Series, 2)

	temp, stage := b.Series[0], b.Series[1]
	require.Equal(t, []float64{3.8, 3.9, 0}, []float64{temp.Obs[0].Value, temp.Obs[1].Value, temp.Obs[2].Value},
		"sorted by time")
	require.NotZero(t, temp.Obs[2].Flag&coldseam.Missing)
	require.NotZero(t, temp.Obs[2].Flag&coldseam.Bad)
	require.Zero(t, temp.Obs[1].Flag)
	require.Equal(t, "PT1H", stage.Period)
	require.Equal(t, 1.204, stage.Obs[0].Value)
	require.Equal(t, "17", stage.SeriesRef)
	require.NotEmpty(t, b.Next)
	require.Len(t, b.Links, 1)
}
