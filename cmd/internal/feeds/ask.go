package feeds

import (
	"context"
	"net/http"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// MemorySink takes what an agency answers to a person who looks around. Nothing of it
// is stored, and nothing that was stored before makes an answer shorter.
type MemorySink struct {
	ingest.Result
	Series []coldseam.Series
	Floods []coldseam.FloodLevel
	Raw    []coldseam.RawFetch    // every answer, with its payload
	Heads  map[string]http.Header // by address; none where the answer broke off
}

// UpsertSeries keeps the series in memory.
func (s *MemorySink) UpsertSeries(_ context.Context, _ int64, list []coldseam.Series) (added, revised int, err error) {
	s.Series = append(s.Series, list...)
	return len(list), 0, nil
}

// SaveRaw keeps the answer in memory; the second word on one has no payload.
func (s *MemorySink) SaveRaw(_ context.Context, r coldseam.RawFetch) (int64, error) {
	if r.ID == 0 {
		s.Raw = append(s.Raw, r)
	}
	return int64(len(s.Raw)), nil
}

// SaveForecasts keeps nothing.
func (*MemorySink) SaveForecasts(context.Context, []coldseam.Forecast) error { return nil }

// SaveAlerts keeps nothing.
func (*MemorySink) SaveAlerts(context.Context, []coldseam.Alert) error { return nil }

// SaveFloodLevels keeps them in memory.
func (s *MemorySink) SaveFloodLevels(_ context.Context, list []coldseam.FloodLevel) error {
	s.Floods = append(s.Floods, list...)
	return nil
}

// SaveGaugings keeps nothing.
func (*MemorySink) SaveGaugings(context.Context, []coldseam.Gauging) error { return nil }

// NextFetch knows of no earlier answer.
func (*MemorySink) NextFetch(context.Context, string, string) (etag, lastMod string, notBefore time.Time, err error) {
	return "", "", time.Time{}, nil
}

// Ask asks a service and stores nothing. The requests count against the hour's
// budget that all servers of the club share.
func (fd *Feeds) Ask(ctx context.Context, p ingest.Profile, req ingest.Request) (*MemorySink, error) {
	out, own := &MemorySink{Heads: map[string]http.Header{}}, fd.Fetcher
	f := &ingest.Fetcher{Now: own.Now, Log: own.Log, Parse: own.Parse, Sink: out, Agent: own.Agent, Budget: own.Budget,
		RetryWait: own.RetryWait, SpendAtOnce: own.SpendAtOnce, Waiting: own.Waiting,
		Heard: func(url string, h http.Header) { out.Heads[url] = h }}
	defer f.Close()
	var err error
	out.Result, err = f.Fetch(ctx, p, req)
	return out, err
}
