package features

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
	"github.com/stretchr/testify/require"
)

const cases = "../../testdata/features"

func TestCases(t *testing.T) {
	t.Parallel()
	ingesttest.Cases(t, cases, Parse)
}

func TestReal(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(ingesttest.RealFeeds(t), "ogcapi_features")
	m, _ := filepath.Glob(filepath.Join(dir, "*.json"))
	for _, path := range m {
		body, err := os.ReadFile(path)
		require.NoError(t, err)
		b, err := Parse(bytes.NewReader(body), ingest.Profile{Name: "usgs", Zone: "America/Chicago"})
		t.Logf("%s: %v\n%+v", filepath.Base(path), err, b)
	}
}
