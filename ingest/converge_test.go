package ingest_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/detect"
)

// delivery is one document as it was known at a time: new rows, repeated rows,
// revised rows, or a piece of history.
type delivery struct {
	known time.Time
	rows  map[int]string // step -> value as sent
}

// All rows lie within 8 days, inside the view that quality control has around
// a batch. Over longer gaps the row after one keeps the flags it got first.
const step = 2 * time.Hour

func (d delivery) body(shuffle []int) string {
	var rows []string
	for _, i := range shuffle {
		if v, ok := d.rows[i]; ok {
			rows = append(rows, row(now.Add(-time.Duration(100-i)*step), v))
		}
	}
	rows = append(rows, rows[0]) // every document repeats a row
	return doc("", rows...)
}

// drawDeliveries draws documents in the order in which they are known. Without
// revisions every row has one value, whichever document brings it.
func drawDeliveries(t *rapid.T, revisions bool) []delivery {
	n := rapid.IntRange(1, 12).Draw(t, "documents")
	odd := rapid.SampledFrom([]string{"1.2", "1.21", "1.2", "1.25", "3.9", "9999", "-999999", "1.2"})
	values := rapid.SliceOfN(odd, 100, 100).Draw(t, "values")
	out := make([]delivery, n)
	for k := range out {
		out[k] = delivery{known: now.Add(time.Duration(k-n) * time.Minute), rows: map[int]string{}}
		from := rapid.IntRange(0, 95).Draw(t, "from")
		for i := from; i < min(100, from+rapid.IntRange(1, 40).Draw(t, "rows")); i++ {
			out[k].rows[i] = values[i]
			if revisions {
				out[k].rows[i] = odd.Draw(t, "value")
			}
		}
	}
	return out
}

func converges(t *rapid.T, docs []delivery, order []int) {
	sink := newMemory()
	limits := ingest.SiteLimits{Step: step}
	f := &ingest.Fetcher{Now: func() time.Time { return now }, Parse: detect.Parse, Sink: sink, Recent: sink.recent,
		Limits: func(coldseam.SiteID) ingest.SiteLimits { return limits }}
	p := ingest.Profile{Name: "tamsen"}
	rows := indices(100)
	replay := func(k int) {
		_, err := f.Replay(context.Background(), p, []byte(docs[k].body(rows)), docs[k].known, 0)
		require.NoError(t, err)
	}

	for _, k := range order {
		rows = append(rows[k*7%100:], rows[:k*7%100]...)
		replay(k)
	}
	require.Equal(t, want(t, docs, limits), table(sink))

	before := fmt.Sprint(sink.revisions, sink.qcChanges, sink.rows())
	for k := range docs {
		replay(k)
	}
	require.Equal(t, before, fmt.Sprint(sink.revisions, sink.qcChanges, sink.rows()),
		"the same documents again write nothing")
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// want folds the documents in the order they were known and checks the whole.
func want(t require.TestingT, docs []delivery, l ingest.SiteLimits) map[string]string {
	var all []coldseam.Observation
	var key coldseam.SeriesKey
	for _, d := range docs {
		b, err := detect.Parse(strings.NewReader(d.body(indices(100))), ingest.Profile{Name: "tamsen"})
		require.NoError(t, err)
		key = b.Series[0].SeriesKey
		all = append(all, b.Series[0].Obs...)
	}
	s, _, err := coldseam.NewSeries(key, all)
	require.NoError(t, err)
	out := map[string]string{}
	for _, o := range ingest.Check(s, l, now).Obs {
		out[o.At.String()] = fmt.Sprint(o.Value, o.Flag.Names())
	}
	return out
}

func table(m *memory) map[string]string {
	out := map[string]string{}
	for _, obs := range m.obs {
		for _, o := range obs {
			out[o.At.String()] = fmt.Sprint(o.Value, o.Flag.Names())
		}
	}
	return out
}

// A long silence is marked although it is longer than the view: the store
// gives the row before it along.
func TestGapLongerThanTheView(t *testing.T) {
	t.Parallel()
	sink := newMemory()
	f := &ingest.Fetcher{Now: func() time.Time { return now }, Parse: detect.Parse, Sink: sink, Recent: sink.recent}
	for k, at := range []time.Time{now.Add(-30 * 24 * time.Hour), now.Add(-time.Hour)} {
		body := doc("", row(at, "1.2"), row(at.Add(15*time.Minute), "1.2"), row(at.Add(30*time.Minute), "1.2"))
		_, err := f.Replay(context.Background(), ingest.Profile{Name: "tamsen"}, []byte(body),
			now.Add(time.Duration(k)*time.Minute), 0)
		require.NoError(t, err)
	}
	require.Equal(t, "1.2 [provisional gap]", table(sink)[now.Add(-time.Hour).String()])
}
