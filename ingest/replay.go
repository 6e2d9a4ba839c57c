package ingest

import (
	"bytes"
	"context"
	"fmt"
	"time"
)

// Replay reads a kept document again, as a mended parser sees it now, and
// stores it as known at the time of its fetch. fetchID is that fetch. Values
// that are stored already write nothing; what a value was revised to since
// stays the newer version. Where the address of the fetch names a model run,
// the caller sets p.RequestIssued with InstanceTime. It asks no server. Errors
// are those of Fetch.
//
// A document that was never stored must be replayed together with those that
// came after it, oldest first: a value equal to the stored one leaves no trace
// of having been confirmed, so the odd old version would stand as the newest.
func (f *Fetcher) Replay(ctx context.Context, p Profile, body []byte, at time.Time,
	fetchID int64) (res Result, err error) {
	res = Result{Profile: p.Name, Remaining: -1, State: StateError, Bytes: int64(len(body)), Flagged: map[string]int{}}
	p = f.withChoice(p.WithDefaults(), "")
	b, err := f.Parse(bytes.NewReader(body), p)
	if err != nil {
		return res, fmt.Errorf("replay of %s: %w", p.Name, err)
	}
	if err := f.save(ctx, p, b, at.UTC(), fetchID, &res); err != nil {
		return res, fmt.Errorf("replay of %s: %w", p.Name, err)
	}
	if b.Rows() == 0 && len(b.Meta) > 0 { // records of series: what they rank lower is passed over from now on
		res.Notes = append(res.Notes, f.Choose(p.Provider, b.Meta)...)
	}
	res.State = StateOK
	if res.Rows == 0 {
		res.State = StateEmpty
	}
	return res, nil
}
