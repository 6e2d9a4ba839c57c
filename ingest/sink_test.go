package ingest_test

import (
	"context"
	"slices"
	"sync"
	"time"

	"example.org/coldseam"
)

// memory is a Sink that keeps everything: the newest version of every
// observation, the older ones as revisions, and QC changes apart from both.
type memory struct {
	mu        sync.Mutex
	raws      []coldseam.RawFetch
	obs       map[coldseam.SeriesKey]map[int64]coldseam.Observation
	revisions int
	qcChanges int
	forecasts []coldseam.Forecast
	alerts    []coldseam.Alert
	gaugings  []coldseam.Gauging
	upserts   int
	failNext  error
}

func newMemory() *memory {
	return &memory{obs: map[coldseam.SeriesKey]map[int64]coldseam.Observation{}}
}

func (m *memory) UpsertSeries(_ context.Context, _ int64, ss []coldseam.Series) (added, revised int, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.upserts++
	if err := m.failNext; err != nil {
		m.failNext = nil
		return 0, 0, err
	}

	for _, s := range ss {
		t := m.obs[s.SeriesKey]
		if t == nil {
			t = map[int64]coldseam.Observation{}
			m.obs[s.SeriesKey] = t
		}

		for _, o := range s.Obs {
			old, ok := t[o.At.UnixMicro()]
			same := ok && old.Value == o.Value && old.Flag&coldseam.AgencyFlags == o.Flag&coldseam.AgencyFlags &&
				slices.Equal(old.Qualifiers, o.Qualifiers)
			switch {
			case !ok:
				added++
			case o.KnownAt.Before(old.KnownAt):
				continue // an older version arrives late
			case !same:
				revised++
				m.revisions++
			case old.Flag == o.Flag || !o.KnownAt.After(old.KnownAt):
				continue
			default:
				m.qcChanges++
				o.KnownAt = old.KnownAt
			}

			t[o.At.UnixMicro()] = o
		}
	}

	return added, revised, nil
}

func (m *memory) SaveRaw(_ context.Context, r coldseam.RawFetch) (int64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if r.ID > 0 {
		if r.Payload == nil {
			r.Payload = m.raws[r.ID-1].Payload
		}
		m.raws[r.ID-1] = r
		return r.ID, nil
	}
	r.ID = int64(len(m.raws) + 1)
	m.raws = append(m.raws, r)
	return r.ID, nil
}

func (m *memory) SaveForecasts(_ context.Context, fs []coldseam.Forecast) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.forecasts = append(m.forecasts, fs...)
	return nil
}

func (m *memory) SaveAlerts(_ context.Context, as []coldseam.Alert) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.alerts = append(m.alerts, as...)
	return nil
}

func (*memory) SaveFloodLevels(context.Context, []coldseam.FloodLevel) error { return nil }

func (m *memory) SaveGaugings(_ context.Context, gs []coldseam.Gauging) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.gaugings = append(m.gaugings, gs...)
	return nil
}

func (m *memory) NextFetch(_ context.Context, profile,
	url string) (etag, lastMod string, notBefore time.Time, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for i := len(m.raws) - 1; i >= 0; i-- {
		r := m.raws[i]
		if r.Profile != profile || r.URL != url {
			continue
		}
		if r.NotBefore.After(notBefore) {
			notBefore = r.NotBefore
		}
		if r.Err == "" {
			return r.ETag, r.LastMod, notBefore, nil
		}
	}
	return "", "", notBefore, nil
}

func (m *memory) rows() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	n := 0
	for _, t := range m.obs {
		n += len(t)
	}
	return n
}

// recent is the Fetcher's view back into the store.
func (m *memory) recent(_ context.Context, k coldseam.SeriesKey, from, to time.Time) ([]coldseam.Observation, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []coldseam.Observation
	var before coldseam.Observation
	for _, o := range m.obs[k] {
		if !o.At.Before(from) && !o.At.After(to) {
			out = append(out, o)
		}
		if o.At.Before(from) && o.At.After(before.At) {
			before = o
		}
	}
	if !before.At.IsZero() {
		out = append(out, before)
	}
	slices.SortFunc(out, func(a, b coldseam.Observation) int { return a.At.Compare(b.At) })
	return out, nil
}
