package ingest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"time"

	"example.org/coldseam"
)

// maxLinks bounds the documents of one index that are fetched in one go.
const maxLinks = 500

// store stamps, checks and saves a whole walk. Validators are recorded last:
// if anything before fails, the next fetch asks for the documents again.
func (f *Fetcher) store(ctx context.Context, p Profile, pages []page, res *Result) error {
	known := pages[len(pages)-1].raw.At
	var ids []int64
	for _, pg := range pages {
		r := pg.raw
		r.ETag, r.LastMod = "", ""
		id, err := f.Sink.SaveRaw(ctx, r)
		if err != nil {
			return fmt.Errorf("save raw fetch: %w", err)
		}
		ids = append(ids, id)
	}
	b, err := join(pages)
	if err != nil {
		return err
	}
	saveErr := f.save(ctx, p, b, known, ids[len(ids)-1], res)
	if linkErr := f.follow(ctx, p, b.Links, res); saveErr == nil {
		saveErr = linkErr
	}
	last := pages[len(pages)-1].raw
	last.ID, last.Payload = ids[len(ids)-1], nil
	if saveErr != nil {
		last.ETag, last.LastMod, last.Err = "", "", clip(saveErr.Error())
	} else if len(pages) > 1 {
		last.ETag, last.LastMod = "", "" // one page's validators do not speak for the walk
	}
	if _, err := f.Sink.SaveRaw(ctx, last); err != nil {
		return errors.Join(saveErr, fmt.Errorf("save raw fetch: %w", err))
	}
	return saveErr
}

// save writes one batch as known at the given time.
func (f *Fetcher) save(ctx context.Context, p Profile, b Batch, known time.Time, fetchID int64, res *Result) error {
	series, err := f.prepare(ctx, b.Series, known, res)
	if err != nil {
		return err
	}
	if len(series) > 0 {
		added, revised, err := f.Sink.UpsertSeries(ctx, fetchID, series)
		if err != nil {
			return fmt.Errorf("upsert %d series: %w", len(series), err)
		}
		res.Added += added
		res.Revised += revised
	}
	fs := f.forecasts(b.Forecasts, known, res)
	if len(fs) > 0 {
		if err := f.Sink.SaveForecasts(ctx, fs); err != nil {
			return fmt.Errorf("save forecasts: %w", err)
		}
	}
	if len(b.Alerts) > 0 {
		for i := range b.Alerts {
			b.Alerts[i].KnownAt = known
			if b.Alerts[i].Provider == "" {
				b.Alerts[i].Provider = p.Provider
			}
		}
		if err := f.Sink.SaveAlerts(ctx, b.Alerts); err != nil {
			return fmt.Errorf("save alerts: %w", err)
		}
	}
	if len(b.Gaugings) > 0 {
		if err := f.Sink.SaveGaugings(ctx, b.Gaugings); err != nil {
			return fmt.Errorf("save gaugings: %w", err)
		}
	}
	res.Rows += b.Rows()
	res.Sites = append(res.Sites, b.Sites...)
	res.Meta = append(res.Meta, b.Meta...)
	res.Skipped = append(res.Skipped, b.Skipped...)
	res.Notes = append(res.Notes, b.Notes...)
	return nil
}

// prepare sets known-at, refuses stamps of the future and runs quality control
// with the stored neighbours in view. Stored rows whose flags change by it go
// along.
func (f *Fetcher) prepare(ctx context.Context, in []coldseam.Series, known time.Time, res *Result) ([]coldseam.Series, error) {
	var out []coldseam.Series
	for _, s := range in {
		kept := s.Obs[:0:0]
		future := 0
		for _, o := range s.Obs {
			if o.At.After(known.Add(MaxFutureStamp)) {
				future++
				continue
			}
			o.KnownAt = known
			kept = append(kept, o)
			if o.Flag.Usable() && o.At.After(res.NewestValid) {
				res.NewestValid = o.At
			}
		}
		if future > 0 {
			res.Refused += future
			res.Skipped = append(res.Skipped, Skipped{What: s.SeriesKey.String(), Why: "stamped in the future: check the zone and both clocks", N: future})
		}
		if len(kept) == 0 {
			continue
		}
		s.Obs = kept
		checked, err := f.check(ctx, s, known)
		if err != nil {
			return nil, err
		}
		for _, o := range checked.Obs {
			for _, n := range (o.Flag & coldseam.QCFlags).Names() {
				res.Flagged[n]++
			}
		}
		out = append(out, checked)
	}
	return out, nil
}

// neighbours is how far quality control looks around a batch.
const neighbours = 8 * 24 * time.Hour

func (f *Fetcher) check(ctx context.Context, s coldseam.Series, now time.Time) (coldseam.Series, error) {
	var limits SiteLimits
	if f.Limits != nil {
		limits = f.Limits(s.Site)
	}
	var stored []coldseam.Observation
	if f.Recent != nil {
		var err error
		first, last := s.Obs[0].At, s.Obs[len(s.Obs)-1].At
		if stored, err = f.Recent(ctx, s.SeriesKey, first.Add(-neighbours), last.Add(24*time.Hour)); err != nil {
			return s, fmt.Errorf("neighbours of %s: %w", s.SeriesKey, err)
		}
	}
	fresh := make(map[int64]bool, len(s.Obs))
	for _, o := range s.Obs {
		fresh[o.At.UnixMicro()] = true
	}
	old := map[int64]coldseam.Flag{}
	all := s.Obs[:len(s.Obs):len(s.Obs)]
	for _, o := range stored {
		if t := o.At.UnixMicro(); !fresh[t] {
			all = append(all, o)
			old[t] = o.Flag
		}
	}
	whole, _, err := coldseam.NewSeries(s.SeriesKey, all)
	if err != nil {
		return s, err
	}
	whole = Check(whole, limits, now)
	out := whole.Obs[:0:0]
	for _, o := range whole.Obs {
		was, isOld := old[o.At.UnixMicro()]
		if !isOld || was != o.Flag {
			out = append(out, o)
		}
	}
	whole.Obs = out
	return whole, nil
}

// forecasts sets the issue time where the document gave none and refuses what
// no weather has.
func (f *Fetcher) forecasts(in []coldseam.Forecast, known time.Time, res *Result) []coldseam.Forecast {
	var out []coldseam.Forecast
	for _, fc := range in {
		fc.KnownAt = known
		if fc.Issued.IsZero() {
			fc.Issued, fc.IssuedAssumed = known, true
		}
		err := CheckForecast(fc)
		if err == nil && fc.Issued.After(known.Add(MaxFutureStamp)) {
			err = errors.New("issued in the future: check both clocks")
		}
		if err != nil {
			res.Refused++
			res.Skipped = append(res.Skipped, Skipped{What: fmt.Sprintf("forecast %s/%s", fc.Site, fc.Param), Why: err.Error(), N: len(fc.At)})
			continue
		}
		if fc.Issued.After(res.NewestIssued) {
			res.NewestIssued = fc.Issued
		}
		out = append(out, fc)
	}
	return out
}

// follow fetches the documents an index points to, each once. One that fails
// does not stop the others; the error keeps the index's validators away, so
// that the next fetch comes back for it.
func (f *Fetcher) follow(ctx context.Context, p Profile, links []string, res *Result) error {
	if len(links) > maxLinks {
		res.Notes = append(res.Notes, fmt.Sprintf("the index has %d documents; the first %d are read", len(links), maxLinks))
		links = links[:maxLinks]
	}
	var errs []error
	for _, l := range links {
		addr, err := p.linkURL(l)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		id := p.Name + " " + addr
		if f.linkSeen(id) {
			continue
		}
		q := p
		if !p.sameHost(addr) {
			q.KeyHeader, q.KeyFile, q.Headers = "", "", nil
			q.BaseURL = addr
			q.PrivateHosts = nil
		}
		pg, err := f.get(ctx, q, addr, "", true, res)
		if err == nil && !pg.notModified {
			err = f.storeLink(ctx, p, pg, res)
		}
		if err != nil {
			errs = append(errs, err)
			if ctx.Err() != nil || !res.NotBefore.IsZero() {
				break
			}
			continue
		}
		f.markLink(id)
	}
	return errors.Join(errs...)
}

func (f *Fetcher) storeLink(ctx context.Context, p Profile, pg page, res *Result) error {
	pg.batch.Links = nil // one level
	return f.store(ctx, p, []page{pg}, res)
}

func (p Profile) linkURL(l string) (string, error) {
	base, err := url.Parse(p.BaseURL)
	if err != nil {
		return "", fmt.Errorf("base_url: %w", coldseam.ErrInvalid)
	}
	ref, err := url.Parse(l)
	if err != nil {
		return "", fmt.Errorf("link %q: %w", clip(l), coldseam.ErrInvalid)
	}
	u := base.ResolveReference(ref)
	if u.Scheme != base.Scheme && u.Scheme != "https" || u.Host == "" {
		return "", fmt.Errorf("link %q: want https: %w", clip(l), coldseam.ErrRejected)
	}
	return u.String(), nil
}

func (p Profile) sameHost(addr string) bool {
	a, err1 := url.Parse(p.BaseURL)
	b, err2 := url.Parse(addr)
	return err1 == nil && err2 == nil && sameHost(a, b)
}

func (f *Fetcher) linkSeen(id string) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.links[id]
}

func (f *Fetcher) markLink(id string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.links == nil || len(f.links) > 20*maxLinks {
		f.links = map[string]bool{}
	}
	f.links[id] = true
}

// Replay parses the kept payload of an earlier fetch again, as known when it
// was fetched, and stores what comes of it. Values that are stored already
// write nothing.
func (f *Fetcher) Replay(ctx context.Context, p Profile, raw coldseam.RawFetch) (Result, error) {
	res := Result{Profile: p.Name, Remaining: -1, State: StateError, Flagged: map[string]int{}, Bytes: int64(len(raw.Payload))}
	p = p.WithDefaults()
	p.RequestIssued = instanceTime(raw.URL)
	b, err := f.Parse(bytes.NewReader(raw.Payload), p)
	if err != nil {
		return res, fmt.Errorf("replay %s of %s: %w", raw.URL, raw.At.Format(time.RFC3339), err)
	}
	if err := f.save(ctx, p, b, raw.At.UTC(), raw.ID, &res); err != nil {
		return res, fmt.Errorf("replay %s: %w", raw.URL, err)
	}
	res.State = StateOK
	if res.Rows == 0 {
		res.State = StateEmpty
	}
	return res, nil
}

// Import stores a batch that was read from a file, known now. File formats are
// import only: they are never polled.
func (f *Fetcher) Import(ctx context.Context, p Profile, b Batch) (Result, error) {
	res := Result{Profile: p.Name, Remaining: -1, State: StateError, Flagged: map[string]int{}}
	p = p.WithDefaults()
	now := f.Now().UTC()
	id, err := f.Sink.SaveRaw(ctx, coldseam.RawFetch{Profile: p.Name, URL: "file:", At: now, Status: 200, Rows: b.Rows()})
	if err != nil {
		return res, fmt.Errorf("save raw fetch: %w", err)
	}
	if err := f.save(ctx, p, b, now, id, &res); err != nil {
		return res, fmt.Errorf("import: %w", err)
	}
	res.State = StateOK
	return res, nil
}

// join makes one batch of the pages of a walk. Series of one key become one; of
// equal times the later page wins.
func join(pages []page) (Batch, error) {
	var out Batch
	obs := map[coldseam.SeriesKey][]coldseam.Observation{}
	var keys []coldseam.SeriesKey
	for _, pg := range pages {
		b := pg.batch
		out.Format = b.Format
		for _, s := range b.Series {
			if _, ok := obs[s.SeriesKey]; !ok {
				keys = append(keys, s.SeriesKey)
			}
			obs[s.SeriesKey] = append(obs[s.SeriesKey], s.Obs...)
		}
		out.Forecasts = append(out.Forecasts, b.Forecasts...)
		out.Alerts = append(out.Alerts, b.Alerts...)
		out.Gaugings = append(out.Gaugings, b.Gaugings...)
		out.Sites = append(out.Sites, b.Sites...)
		out.Meta = append(out.Meta, b.Meta...)
		out.Skipped = append(out.Skipped, b.Skipped...)
		out.Notes = append(out.Notes, b.Notes...)
		out.Links = append(out.Links, b.Links...)
	}
	for _, k := range keys {
		s, _, err := coldseam.NewSeries(k, obs[k])
		if err != nil {
			return Batch{}, err
		}
		out.Series = append(out.Series, s)
	}
	return out, nil
}

// longestStep is the longest usual step of the series of a result.
func longestStep(ms []SeriesMeta) time.Duration {
	var d time.Duration
	for _, m := range ms {
		if m.Points > 1 {
			d = max(d, m.Last.Sub(m.First)/time.Duration(m.Points-1))
		}
		if m.Key.Period == "P1D" {
			d = max(d, 24*time.Hour)
		}
	}
	return d
}
