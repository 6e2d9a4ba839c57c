//go:build !race

package detect

import (
	"bufio"
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
)

// row of the second reader.
type row struct {
	at *float64
	v  float64
}

// secondReader reads files by Python's standard library.
func secondReader(t *testing.T, files []string) map[string][]row {
	t.Helper()
	python, err := exec.LookPath("python3")
	if err != nil && os.Getenv("CI") == "" {
		t.Skip("no python3: no second reader")
	}
	require.NoError(t, err)
	text, err := exec.Command(python, append([]string{"testdata/second_reader.py"}, files...)...).Output()
	require.NoError(t, err)
	out := map[string][]row{}
	lines := bufio.NewScanner(bytes.NewReader(text))
	lines.Buffer(nil, 16<<20)
	for lines.Scan() {
		var x struct {
			File string
			Rows [][2]any
		}
		require.NoError(t, json.Unmarshal(lines.Bytes(), &x))
		for _, r := range x.Rows {
			v, err := ingest.ParseDecimal(r[1].(string))
			if err != nil {
				continue
			}
			got := row{v: v}
			if at, ok := r[0].(float64); ok {
				got.at = &at
			}
			out[x.File] = append(out[x.File], got)
		}
	}
	return out
}

// A second reader, in another language and with nothing of ours, finds every value
// that we read in the collected documents, at its moment where it is a reading of
// one. Arrays, domain ranges and times that are implied are not its business.
func TestSecondReaderAgrees(t *testing.T) {
	root := ingesttest.RealFeeds(t)
	var files []string
	for _, c := range collected {
		files = append(files, filepath.Join(root, c.file))
	}
	second := secondReader(t, files)
	agreed := 0

	for _, c := range collected {
		if c.p.Name == "" {
			c.p = noProfile
		}
		path := filepath.Join(root, c.file)
		body, err := os.ReadFile(path)
		require.NoError(t, err)
		b, err := Parse(bytes.NewReader(body), c.p)
		if err != nil || bytes.Contains(body, []byte("DataArray")) || bytes.Contains(body, []byte("DomainRange")) {
			continue
		}
		units := map[coldseam.SeriesKey]ingest.Conversion{}
		for _, m := range b.Meta {
			if conv, _, err := c.p.Unit(m.Key.Param, m.Unit); err == nil {
				units[m.Key] = conv
			}
		}

		for _, s := range b.Series {
			conv, ok := units[s.SeriesKey]
			if !ok {
				continue
			}
			for _, o := range s.Obs {
				if o.Flag&coldseam.Missing != 0 {
					continue
				}
				want := o.Value*conv.Div/conv.Mul + conv.Sub
				found := false
				for _, r := range second[path] {
					same := math.Abs(r.v-want) <= 1e-9*math.Max(1, math.Abs(want))
					found = found || same && (s.Stat != coldseam.Instant || r.at == nil || *r.at == float64(o.At.Unix()))
				}
				require.True(t, found, "%s: %s %g at %s is not in the document", c.file, s.SeriesKey, want, o.At)
				agreed++
			}
		}
	}
	t.Logf("%d values agree", agreed)
	require.Greater(t, agreed, 2500)
}
