package simagency_test

import (
	"context"
	"io"
	"log/slog"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/capalert"
	"example.org/coldseam/ingest/detect"
	"example.org/coldseam/ingest/simagency"
)

var demo = sync.OnceValues(func() (*simagency.World, error) {
	return simagency.Generate(1, coldseam.DateOf(simagency.DefaultNow()))
})

// shelf is a Sink in memory: newest versions, and how often one was replaced.
type shelf struct {
	mu        sync.Mutex
	obs       map[coldseam.SeriesKey]map[int64]coldseam.Observation
	forecasts []coldseam.Forecast
	alerts    []coldseam.Alert
	gaugings  []coldseam.Gauging
	valid     map[string][2]string
	raws      int64
}

func (s *shelf) UpsertSeries(_ context.Context, _ int64, ss []coldseam.Series) (added, revised int, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()

	for _, x := range ss {
		m := s.obs[x.SeriesKey]
		if m == nil {
			m = map[int64]coldseam.Observation{}
			s.obs[x.SeriesKey] = m
		}

		for _, o := range x.Obs {
			old, ok := m[o.At.Unix()]
			switch {
			case !ok:
				added++
			case old.Value != o.Value || old.Flag&coldseam.AgencyFlags != o.Flag&coldseam.AgencyFlags ||
				!slices.Equal(old.Qualifiers, o.Qualifiers):
				revised++
			}
			m[o.At.Unix()] = o
		}
	}

	return added, revised, nil
}

func (s *shelf) SaveRaw(_ context.Context, r coldseam.RawFetch) (int64, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if r.ETag != "" || r.LastMod != "" {
		s.valid[r.URL] = [2]string{r.ETag, r.LastMod}
	}
	s.raws++
	return s.raws, nil
}

func (s *shelf) SaveForecasts(_ context.Context, fs []coldseam.Forecast) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.forecasts = append(s.forecasts, fs...)
	return nil
}

func (s *shelf) SaveAlerts(_ context.Context, as []coldseam.Alert) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.alerts = append(s.alerts, as...)
	return nil
}

func (*shelf) SaveFloodLevels(context.Context, []coldseam.FloodLevel) error { return nil }

func (s *shelf) SaveGaugings(_ context.Context, gs []coldseam.Gauging) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.gaugings = append(s.gaugings, gs...)
	return nil
}

func (s *shelf) NextFetch(_ context.Context, _, url string) (etag, lastMod string, notBefore time.Time, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.valid[url][0], s.valid[url][1], time.Time{}, nil
}

func (s *shelf) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := 0
	for _, m := range s.obs {
		n += len(m)
	}
	return n
}

type rig struct {
	*ingest.Fetcher
	ag    *simagency.Agency
	shelf *shelf
	now   *atomic.Int64
}

// patience is more than any answer takes on a busy machine.
const patience = 2 * time.Minute

func newRig(t *testing.T) *rig {
	t.Helper()
	w, err := demo()
	require.NoError(t, err)
	now := &atomic.Int64{}
	now.Store(simagency.DefaultNow().UnixNano())
	clock := func() time.Time { return time.Unix(0, now.Load()).UTC() }
	ag, err := simagency.New(simagency.Options{World: w, Now: clock})
	require.NoError(t, err)
	base, err := ag.Start()
	require.NoError(t, err)

	t.Cleanup(func() { require.NoError(t, ag.Close()) })
	s := &shelf{obs: map[coldseam.SeriesKey]map[int64]coldseam.Observation{}, valid: map[string][2]string{}}
	ps := simagency.Profiles(base)
	for i := range ps {
		ps[i].Timeout = ingest.Span(patience)
	}
	f := &ingest.Fetcher{
		Profiles:  ps,
		Now:       clock,
		Log:       slog.New(slog.NewTextHandler(io.Discard, nil)),
		Parse:     detect.Parse,
		Sink:      s,
		Agent:     "coldseam/test (club@example.org)",
		RetryWait: time.Millisecond,
	}
	t.Cleanup(f.Close)
	return &rig{f, ag, s, now}
}

func (r *rig) fetch(t *testing.T, profile string, req ingest.Request) (ingest.Result, error) {
	t.Helper()
	p, err := r.Profile(profile)
	require.NoError(t, err)
	req.Force = true
	ctx, cancel := context.WithTimeout(context.Background(), 2*patience)
	defer cancel()
	return r.Fetch(ctx, p, req)
}

// The demo's fetches: once, again with nothing new, and the late revision.
func TestFetchTwiceThenRevision(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	sites := []string{"NG-1001", "NG-1002", "NG-1003"}
	now := simagency.DefaultNow()
	history := ingest.Request{Endpoint: "history", Sites: sites, Since: now.Add(-10 * 24 * time.Hour), Until: now}
	first, err := r.fetch(t, simagency.ProfileGauges, history)
	require.NoError(t, err)
	require.Greater(t, first.Added, 8000)
	require.Empty(t, first.Skipped)

	again, err := r.fetch(t, simagency.ProfileGauges, history)
	require.NoError(t, err)
	require.Zero(t, again.Added+again.Revised)
	newest := ingest.Request{Endpoint: "latest", Sites: sites}
	_, err = r.fetch(t, simagency.ProfileGauges, newest)
	require.NoError(t, err)

	again, err = r.fetch(t, simagency.ProfileGauges, newest)
	require.NoError(t, err)
	require.True(t, again.NotModified)
	r.ag.Revise()
	third, err := r.fetch(t, simagency.ProfileGauges, ingest.Request{Endpoint: "revisions", Sites: sites})
	require.NoError(t, err)
	require.Equal(t, 8, third.Revised)
	require.Zero(t, third.Added)
}

// Twelve years of daily means of all rivers, in slices the service allows.
func TestFetchHistory(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	from := time.Date(2014, 1, 1, 6, 0, 0, 0, time.UTC)
	res, err := r.fetch(t, simagency.ProfileGauges, ingest.Request{
		Endpoint: "daily",
		Sites:    []string{"NG-1001", "NG-1002", "NG-1003"},
		Since:    from,
		Until:    simagency.DefaultNow(),
	})
	require.NoError(t, err)
	w, err := demo()
	require.NoError(t, err)
	truth, err := w.Truth("NG-1001")
	require.NoError(t, err)
	require.InDelta(t, 9*truth.Len(), res.Added, 60,
		"three rivers, three quantities, less the planted gap and the silent day")
	_, err = r.fetch(t, simagency.ProfileGauges, ingest.Request{Endpoint: "channels", Sites: []string{"NG-1001"}})
	require.NoError(t, err)
	require.Equal(t, 27, len(r.shelf.gaugings))
}

func TestFetchWeatherAndWarnings(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	_, err := r.fetch(t, simagency.ProfileWeather, ingest.Request{Sites: []string{"NG-1001"}, Since: simagency.DefaultNow(),
		Until: simagency.DefaultNow().Add(240 * time.Hour)})
	require.NoError(t, err)
	require.Equal(t, 6, len(r.shelf.forecasts))
	for _, f := range r.shelf.forecasts {
		require.Equal(t, coldseam.SiteID("metgrid:NG-1001"), f.Site)
		require.Equal(t, "2026-04-10T06:00:00Z", f.Issued.Format(time.RFC3339))
	}
	_, err = r.fetch(t, simagency.ProfileAlerts, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, 3, len(r.shelf.alerts))
	standing := capalert.Resolve(r.shelf.alerts)
	require.Equal(t, 2, len(standing), "the watch was superseded")
}

// A dead gauge asked for alone is an error; the others are not touched by it.
func TestDeadGaugeStopsNobodyElse(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	_, err := r.fetch(t, simagency.ProfileGauges, ingest.Request{Endpoint: "latest", Sites: []string{"NG-1003"}})
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.Zero(t, r.shelf.count())
	res, err := r.fetch(t, simagency.ProfileGauges,
		ingest.Request{Endpoint: "latest", Sites: []string{"NG-1001", "NG-1002", "NG-1003"}})
	require.NoError(t, err)
	require.Equal(t, 9, res.Added)
}

// Every scripted fault: either healed by a second try or an error that stores
// nothing; memory stays bounded, and the next fetch is good.
func TestScriptedFaults(t *testing.T) {
	const path = "/ogcapi"
	req := ingest.Request{Endpoint: "latest", Sites: []string{"NG-1001", "NG-1002"}}
	always := func(s simagency.Step) []simagency.Step { return []simagency.Step{s, s, s, s, s, s} }

	for name, c := range map[string]struct {
		steps []simagency.Step
		heals bool
		words string
	}{
		"500 then good":     {steps: []simagency.Step{{Status: 500}}, heals: true},
		"dropped then good": {steps: []simagency.Step{{Drop: true}}, heals: true},
		"429 short":         {steps: []simagency.Step{{Status: 429, RetryAfter: "1"}}, heals: true},
		"429 long":          {steps: always(simagency.Step{Status: 429, RetryAfter: "3600"}), words: "429"},
		"500 for good":      {steps: always(simagency.Step{Status: 500}), words: "500"},
		"404":               {steps: always(simagency.Step{Status: 404}), words: "404"},
		"html with 200":     {steps: always(simagency.Step{HTML: true}), words: "begins"},
		"truncated":         {steps: always(simagency.Step{Truncate: 700}), words: ""},
		"private redirect": {steps: always(simagency.Step{Redirect: "http://169.254.169.254/latest/meta-data"}),
			words: ""},
		"redirect elsewhere": {steps: always(simagency.Step{Redirect: "http://10.0.0.1/"}), words: ""},
		"endless body":       {steps: always(simagency.Step{Endless: true}), words: ""},
		"slow drip":          {steps: always(simagency.Step{Drip: 50 * time.Millisecond}), words: ""},
		"gzip bomb":          {steps: always(simagency.Step{Bomb: 64 << 20}), words: ""},
		"big header":         {steps: always(simagency.Step{BigHeader: 200 << 10}), words: ""},
		"garbage":            {steps: always(simagency.Step{Body: "\x00\x01"}), words: "begins"},
		"empty with 200":     {steps: always(simagency.Step{Body: " "}), words: ""},
		"a document of other": {steps: always(
			simagency.Step{Body: `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"value":"1"}}]}x`}), words: ""},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t)
			r.ag.Script(path, c.steps...)
			if name == "endless body" || name == "slow drip" {
				for i := range r.Profiles {
					r.Profiles[i].Timeout = ingest.Span(2 * time.Second)
				}
			}

			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			start := time.Now()
			res, err := r.fetch(t, simagency.ProfileGauges, req)
			runtime.ReadMemStats(&after)
			require.Less(t, float64(after.HeapAlloc)-float64(before.HeapAlloc), 100e6)
			require.Less(t, time.Since(start), patience)

			if c.heals {
				require.NoError(t, err)
				require.Equal(t, 6, res.Added)
				return
			}

			require.Error(t, err)
			require.ErrorContains(t, err, c.words)
			require.False(t, strings.ContainsAny(err.Error(), "\n\x00"), "one line: %q", err)
			require.Zero(t, r.shelf.count())
			r.ag.ClearScripts()
			for i := range r.Profiles {
				r.Profiles[i].Timeout = ingest.Span(patience)
			}
			_, err = r.fetch(t, simagency.ProfileGauges, req)
			if name == "429 long" {
				require.ErrorContains(t, err, "asked to wait until", "the server's word holds")
				return
			}

			require.NoError(t, err)
			require.Equal(t, 6, r.shelf.count())
		})
	}
}
