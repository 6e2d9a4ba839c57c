package covjson

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
	"github.com/stretchr/testify/require"
)

const cases = "../../testdata/covjson"

func TestReal(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(ingesttest.RealFeeds(t), "edr_covjson")
	m, _ := filepath.Glob(filepath.Join(dir, "*"))
	for _, path := range m {
		body, err := os.ReadFile(path)
		require.NoError(t, err)
		b, err := Parse(bytes.NewReader(body), ingest.Profile{Name: "met", Parameters: map[string]string{"Temperature": "air_temp"}})
		t.Logf("%s: %v\n%+v", filepath.Base(path), err, b)
	}
}
