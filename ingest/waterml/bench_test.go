package waterml

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/ingest"
)

const benchPoints = 100_000

// tally is what every contender must find.
type tally struct {
	n    int
	sum  float64
	last time.Time
}

// stdToken is the plain way: the standard decoder's tokens, one pass.
func stdToken(r io.Reader) (t tally, err error) {
	d := xml.NewDecoder(r)
	var text []byte

	for {
		tok, err := d.Token()
		if err == io.EOF {
			return t, nil
		}
		if err != nil {
			return t, err
		}

		switch e := tok.(type) {
		case xml.StartElement:
			text = text[:0]
		case xml.CharData:
			text = append(text, e...)
		case xml.EndElement:
			switch e.Name.Local {
			case "time":
				if t.last, err = time.Parse(time.RFC3339, string(text)); err != nil {
					return t, err
				}
			case "value":
				v, err := strconv.ParseFloat(string(text), 64)
				if err != nil {
					return t, err
				}
				t.n++
				t.sum += v
			}
		}
	}
}

// stdUnmarshal is the comfortable way.
func stdUnmarshal(body []byte) (t tally, err error) {
	var doc struct {
		Points []struct {
			Time  time.Time `xml:"time"`
			Value float64   `xml:"value"`
		} `xml:"observationMember>OM_Observation>result>MeasurementTimeseries>point>MeasurementTVP"`
	}
	if err := xml.Unmarshal(body, &doc); err != nil {
		return t, err
	}
	for _, p := range doc.Points {
		t.n++
		t.sum += p.Value
		t.last = p.Time
	}
	return t, nil
}

func ours(body []byte) (t tally, err error) {
	b, err := Parse(bytes.NewReader(body), ingest.Profile{Name: "x", MaxBodyBytes: 1 << 30})
	if err != nil {
		return t, err
	}
	for _, o := range b.Series[0].Obs {
		t.n++
		t.sum += o.Value
		t.last = o.At
	}
	return t, nil
}

func oursStrict(body []byte) (t tally, err error) {
	b, err := parseStrict(body, ingest.Profile{Name: "x", MaxBodyBytes: 1 << 30})
	if err != nil {
		return t, err
	}
	for _, o := range b.Series[0].Obs {
		t.n++
		t.sum += o.Value
		t.last = o.At
	}
	return t, nil
}

func streamed(body []byte) (t tally, err error) {
	err = Stream(bytes.NewReader(body), ingest.Profile{Name: "x"}, func(b ingest.Batch) error {
		for _, s := range b.Series {
			for _, o := range s.Obs {
				t.n++
				t.sum += o.Value
				t.last = o.At
			}
		}
		return nil
	})
	return t, err
}

// decoded is the first pass of a stream alone: everything is read and checked,
// and nothing is kept, which is what stdToken does too.
func decoded(body []byte) (t tally, err error) {
	d := newDoc(ingest.Profile{Name: "x"})
	d.st = &streaming{look: func(p fastPoint) {
		t.n++
		t.sum += p.v
		t.last = time.Unix(p.sec, int64(p.nsec))
	}}
	err = d.stream(bytes.NewReader(body), true)
	return t, err
}

// BenchmarkWaterML: stdToken against decoded is the decoder alone, against ours
// the whole way to observations with units and flags.
func BenchmarkWaterML(b *testing.B) {
	body := []byte(generated(benchPoints, false))
	ways := []struct {
		name string
		do   func([]byte) (tally, error)
	}{
		{"decoded", decoded}, {"ours", ours}, {"stream", streamed}, {"strict", oursStrict},
		{"stdToken", func(b []byte) (tally, error) { return stdToken(bytes.NewReader(b)) }},
		{"stdUnmarshal", stdUnmarshal},
	}
	want, err := stdToken(bytes.NewReader(body))
	require.NoError(b, err)

	for _, w := range ways {
		got, err := w.do(body)
		require.NoError(b, err)
		require.Equal(b, want.n, got.n, w.name)
		require.InEpsilon(b, want.sum, got.sum, 1e-12, w.name)
		require.True(b, want.last.Equal(got.last), w.name)
	}

	b.Run("libxml2", func(b *testing.B) { benchLibxml2(b, body, want) })
	for _, w := range ways {
		b.Run(w.name, func(b *testing.B) {
			b.SetBytes(int64(len(body)))
			b.ReportAllocs()
			for b.Loop() {
				_, _ = w.do(body) // checked above
			}
		})
	}
}

// benchLibxml2 is the same extraction by the SAX2 callbacks of libxml2, from C:
// the least of as many passes as b asks for.
func benchLibxml2(b *testing.B, body []byte, want tally) {
	flags, err := exec.Command("xml2-config", "--cflags", "--libs").Output()
	if err != nil {
		b.Skip("no libxml2-dev: not compared")
	}
	dir := b.TempDir()
	bin, doc := filepath.Join(dir, "sax"), filepath.Join(dir, "doc.xml")
	out, err := exec.Command("gcc", append([]string{"-O3", "-o", bin, "testdata/sax.c"},
		strings.Fields(string(flags))...)...).CombinedOutput()
	require.NoError(b, err, string(out))
	require.NoError(b, os.WriteFile(doc, body, 0o600))

	pass := func(rounds int) (ns float64) {
		out, err := exec.Command(bin, doc, strconv.Itoa(rounds)).Output()
		require.NoError(b, err)
		var got tally
		var last int64
		_, err = fmt.Sscan(string(out), &got.n, &got.sum, &last, &ns)
		require.NoError(b, err)
		require.Equal(b, want.n, got.n)
		require.InEpsilon(b, want.sum, got.sum, 1e-12)
		require.Equal(b, want.last.Unix(), last)
		return ns
	}

	b.SetBytes(int64(len(body)))
	best := math.Inf(1)
	for b.Loop() {
		best = min(best, pass(3))
	}
	b.ReportMetric(best, "ns/op")
	b.ReportMetric(float64(len(body))/best*1e3, "MB/s")
}

// Points cost no allocation of their own: ten times the points, the same
// number but for slices that grow and placeholders.
func TestDecodingDoesNotAllocatePerPoint(t *testing.T) {
	few, many := []byte(generated(2_000, false)), []byte(generated(20_000, false))
	run := func(body []byte) float64 {
		return testing.AllocsPerRun(3, func() {
			_, err := decoded(body)
			require.NoError(t, err)
		})
	}
	require.Less(t, run(many)-run(few), 0.05*18_000)
}
