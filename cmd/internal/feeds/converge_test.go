package feeds_test

import (
	"context"
	"fmt"
	"sort"
	"strings"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/detect"
)

// shelfDoc is one document of a gauge: step -> value as sent.
type shelfDoc struct {
	known time.Time
	rows  map[int]string
}

const (
	shelfSteps = 120
	shelfStep  = time.Hour
)

func (d shelfDoc) body(site string, now time.Time, order []int) string {
	var rows []string
	for _, i := range order {
		if v, ok := d.rows[i]; ok {
			rows = append(rows,
				fmt.Sprintf(`{"type":"Feature","geometry":null,"properties":{"monitoring_location_id":%q,"parameter_code":"00065","statistic_id":"00011","time_series_id":"s1","time":%q,"value":%q,"unit_of_measure":"m","approval_status":"Provisional","qualifier":null}}`,
					site, now.Add(-time.Duration(shelfSteps-i)*shelfStep).Format(time.RFC3339), v))
		}
	}
	rows = append(rows, rows[0]) // every document repeats a row
	return `{"type":"FeatureCollection","features":[` + strings.Join(rows, ",") + `]}`
}

// shelfMachine drives the fetcher and the database with documents in any order
// and knows what the table must be: the newest word on every time, with the
// flags that quality control gives to the whole.
type shelfMachine struct {
	ctx  context.Context
	f    *ingest.Fetcher
	p    ingest.Profile
	site string
	now  time.Time
	docs []shelfDoc // as they were known
	lim  ingest.SiteLimits
	n    int
}

func (m *shelfMachine) deliver(t *rapid.T, d shelfDoc) {
	order := rapid.Permutation(sortedSteps(d.rows)).Draw(t, "rows")
	_, err := m.f.Replay(m.ctx, m.p, []byte(d.body(m.site, m.now, order)), d.known, 0)
	require.NoError(t, err)
	m.n++
}

func sortedSteps(rows map[int]string) []int {
	var out []int
	for i := range rows {
		out = append(out, i)
	}
	sort.Ints(out)
	return out
}

// fresh brings a new document: newest rows, back-filled ones, revised ones or
// all of them.
func (m *shelfMachine) fresh(t *rapid.T) {
	d := shelfDoc{known: m.now.Add(time.Duration(len(m.docs)) * time.Minute), rows: map[int]string{}}
	from := rapid.IntRange(0, shelfSteps-1).Draw(t, "from")
	for i := from; i < min(shelfSteps, from+rapid.IntRange(1, 40).Draw(t, "count")); i++ {
		d.rows[i] = rapid.SampledFrom([]string{"1.2", "1.2", "1.21", "1.25", "1.3", "3.9", "9999", "-999999"}).Draw(t,
			"value")
	}
	m.docs = append(m.docs, d)
	m.deliver(t, d)
}

// again brings an old document once more, as a repeated or late delivery.
func (m *shelfMachine) again(t *rapid.T) {
	if len(m.docs) == 0 {
		t.Skip("nothing was delivered yet")
	}
	m.deliver(t, m.docs[rapid.IntRange(0, len(m.docs)-1).Draw(t, "which")])
}

func (m *shelfMachine) check(t *rapid.T, stored func(coldseam.SeriesKey) []coldseam.Observation) {
	if len(m.docs) == 0 {
		return
	}
	var all []coldseam.Observation
	var key coldseam.SeriesKey
	for _, d := range m.docs {
		b, err := detect.Parse(strings.NewReader(d.body(m.site, m.now, sortedSteps(d.rows))), m.p)
		require.NoError(t, err)
		key = b.Series[0].SeriesKey
		for _, o := range b.Series[0].Obs {
			o.KnownAt = d.known
			all = append(all, o)
		}
	}

	want, _, err := coldseam.NewSeries(key, all)
	require.NoError(t, err)
	want = ingest.Check(want, m.lim, m.now.Add(env.Day))
	words := func(obs []coldseam.Observation) []string {
		var out []string
		for _, o := range obs {
			out = append(out, fmt.Sprint(o.At.UTC().Format(time.DateTime), " ", o.Value, " ", o.Flag.Names()))
		}
		return out
	}
	require.Equal(t, words(want.Obs), words(stored(key)))
}
