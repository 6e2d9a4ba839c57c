package ingest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"example.org/coldseam"
)

// Bounds of one walk through an index of warnings [proposal]. The next fetch
// goes on where the first or the last one ended it; an index deeper than the
// second is never complete.
const (
	maxLinks      = 500 // documents
	maxIndexDepth = 3   // indexes that point to indexes
	maxIndexBytes = 64 << 20
	maxIndexTime  = 5 * time.Minute
	maxGaps       = 20 // named; more are not
)

// readAgain is when a document is read again though its address and stamp are
// known: its index gives no stamp, or its warning has no end and holds as long
// as the index lists it [proposal].
const readAgain = time.Hour

// unread is the word on an index until its documents are read: a feed of
// warnings that lacks one of them must not look alive, not even after a crash.
const unread = "the documents of the index are not read yet"

// store stamps, checks and saves a whole walk. Validators are recorded last:
// if anything before fails, the next fetch asks for the documents again.
func (f *Fetcher) store(ctx context.Context, p Profile, pages []page, res *Result) error {
	_, err := f.keep(ctx, p, pages, res, nil, 1)
	return err
}

// keep is store for a document of an index too: w is then the walk through the
// index, and open says that something of the document is to be read again.
func (f *Fetcher) keep(ctx context.Context, p Profile, pages []page, res *Result, w *indexReader,
	depth int) (open bool, err error) {
	b, err := join(pages)
	if err != nil {
		return false, err
	}

	if b.unusable() {
		res.Skipped = append(res.Skipped, b.Skipped...)
		last := pages[len(pages)-1].raw
		last.Payload = last.Payload[:min(len(last.Payload), 64<<10)]
		return false, f.failFetch(ctx, last, fmt.Errorf("%s: nothing in it can be used: %s: %s: %w", last.URL,
			b.Skipped[0].What, b.Skipped[0].Why, coldseam.ErrInvalid))
	}

	f.drop(p, &b, res.asked)
	known := pages[len(pages)-1].raw.At
	var ids []int64
	for _, pg := range pages {
		r := pg.raw
		r.ETag, r.LastMod = "", ""
		if len(b.Entries) > 0 {
			r.Err = unread
		}
		id, err := f.Sink.SaveRaw(ctx, r)
		if err != nil {
			return false, fmt.Errorf("save raw fetch: %w", err)
		}
		ids = append(ids, id)
	}

	saveErr := f.save(ctx, p, b, known, ids[len(ids)-1], res)
	if w == nil {
		w = &indexReader{f: f, p: p, res: res, asked: map[string]bool{}, ends: f.Now().Add(maxIndexTime)}
	}
	read := len(w.gaps)
	open, linkErr := w.follow(ctx, pages[0].raw.URL, b.Entries, depth)
	if saveErr == nil {
		saveErr = linkErr
	}

	// An index does not answer for what lies behind it where that may change.
	if open = open || openEnded(b.Alerts); open {
		for i := range pages {
			pages[i].raw.ETag, pages[i].raw.LastMod = "", ""
		}
	}
	pages[0].raw.Gaps = w.gaps[read:]
	return open, errors.Join(saveErr, f.complete(ctx, pages, ids, len(b.Entries) > 0, saveErr))
}

// complete records how a walk ended. One page's validators do not speak for a
// walk of several.
func (f *Fetcher) complete(ctx context.Context, pages []page, ids []int64, index bool, saveErr error) error {
	// A stop of ours must not leave what was read in doubt.
	ctx = context.WithoutCancel(ctx)
	for i, pg := range pages {
		r, isLast := pg.raw, i == len(pages)-1
		r.ID, r.Payload = ids[i], nil
		if saveErr != nil {
			r.ETag, r.LastMod, r.Err = "", "", oneLine(saveErr)
		} else if len(pages) > 1 {
			r.ETag, r.LastMod = "", ""
		}

		if !index && (!isLast || saveErr == nil && r.ETag+r.LastMod == "") {
			continue // the record says it all
		}
		if _, err := f.Sink.SaveRaw(ctx, r); err != nil {
			return fmt.Errorf("save raw fetch: %w", err)
		}
	}

	return nil
}

// drop leaves out the stations that nobody asked for: a service that answers with
// all it has must not cost the club's own rivers their time.
func (f *Fetcher) drop(p Profile, b *Batch, asked []string) {
	if f.Ours == nil || len(asked) == 0 {
		return
	}
	ours := map[coldseam.SiteID]bool{}
	for _, code := range asked {
		ours[p.SiteID(code)] = true
	}
	var first coldseam.SiteID

	n := 0
	foreign := func(id coldseam.SiteID) bool {
		if _, known := ours[id]; !known {
			ours[id] = f.Ours(id)
		}
		if !ours[id] && n == 0 {
			first = id
		}
		if !ours[id] {
			n++
		}
		return !ours[id]
	}
	b.Series = slices.DeleteFunc(b.Series, func(s coldseam.Series) bool { return foreign(s.Site) })

	b.Forecasts = slices.DeleteFunc(b.Forecasts, func(x coldseam.Forecast) bool { return foreign(x.Site) })
	b.Gaugings = slices.DeleteFunc(b.Gaugings, func(g coldseam.Gauging) bool { return foreign(g.Site) })
	b.FloodLevels = slices.DeleteFunc(b.FloodLevels, func(t coldseam.FloodLevel) bool { return foreign(t.Site) })
	if n > 0 {
		b.Skipped = append(b.Skipped, Skipped{What: "stations that were not asked for, such as " + string(first),
			Code: CodeChosen, Why: "not of the club", N: n})
	}
}

// unusable tells a document of which nothing could be read from an empty one.
// An index without entries and a quiet alert service are both empty.
func (b Batch) unusable() bool {
	return b.Rows() == 0 && len(b.Meta) == 0 && len(b.Links) == 0 && b.Format != FormatCAP && len(b.Skipped) > 0
}

// save writes one batch as known at the given time.
func (f *Fetcher) save(ctx context.Context, p Profile, b Batch, known time.Time, fetchID int64, res *Result) error {
	var errs []error
	fail := func(what string, n int, err error) {
		if err != nil {
			errs = append(errs, fmt.Errorf("save %d %s: %w", n, what, err))
		}
	}
	series, err := f.prepare(ctx, b.Series, known, res)
	fail("series", len(b.Series), err)

	if len(series) > 0 {
		added, revised, err := f.Sink.UpsertSeries(ctx, fetchID, series)
		res.Added += added
		res.Revised += revised
		fail("series", len(series), err)
	}

	if fs := f.forecasts(b.Forecasts, known, res); len(fs) > 0 {
		fail("forecasts", len(fs), f.Sink.SaveForecasts(ctx, fs))
	}
	if as := stamped(b.Alerts, p, known); len(as) > 0 {
		fail("alerts", len(as), f.Sink.SaveAlerts(ctx, as))
	}

	if len(b.Gaugings) > 0 {
		fail("gaugings", len(b.Gaugings), f.Sink.SaveGaugings(ctx, b.Gaugings))
	}
	if len(b.FloodLevels) > 0 {
		for i := range b.FloodLevels {
			b.FloodLevels[i].KnownAt = known
		}
		fail("flood levels", len(b.FloodLevels), f.Sink.SaveFloodLevels(ctx, b.FloodLevels))
	}
	res.Rows += b.Rows()
	res.Sites = append(res.Sites, b.Sites...)
	res.Meta = append(res.Meta, b.Meta...)
	res.Skipped = append(res.Skipped, b.Skipped...)
	res.Notes = append(res.Notes, b.Notes...)
	return errors.Join(errs...)
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// prepare sets known-at, refuses stamps of the future and runs quality control
// with the stored neighbours in view. Stored rows whose flags change by it go
// along; a series whose neighbours cannot be read is checked by itself.
func (f *Fetcher) prepare(ctx context.Context, in []coldseam.Series, known time.Time,
	res *Result) ([]coldseam.Series, error) {
	var out []coldseam.Series
	var errs []error

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
			res.Skipped = append(res.Skipped,
				Skipped{What: s.SeriesKey.String(), Code: CodeTime,
					Why: "stamped in the future: check the zone and both clocks", N: future})
		}

		if len(kept) == 0 {
			continue
		}
		s.Obs = kept
		checked, err := f.check(ctx, s, known)
		errs = append(errs, err)
		out = append(out, checked)
	}

	rated, err := f.rate(ctx, out, known)
	errs = append(errs, err)
	for _, s := range rated {
		checked, err := f.check(ctx, s, known)
		errs = append(errs, err)
		out = append(out, checked)
	}

	for _, s := range out {
		for _, o := range s.Obs {
			for _, n := range (o.Flag & coldseam.QCFlags).Names() {
				res.Flagged[n]++
			}
		}
	}

	return out, errors.Join(errs...)
}

// Quality control of a batch reads stored rows around it. A test looks back at
// most 7 days (flat line) and ahead at most 1 (unit change), so a new row can
// change flags from reachBack before it to reachAhead after it, and those rows
// are judged right when contextBack and contextAhead are read. Rows outside
// keep the flags they have: at the edge of the view they lack neighbours.
const (
	reachBack    = 25 * time.Hour
	reachAhead   = 8 * 24 * time.Hour
	contextBack  = 9 * 24 * time.Hour
	contextAhead = 10 * 24 * time.Hour
)

func (f *Fetcher) check(ctx context.Context, s coldseam.Series, known time.Time) (coldseam.Series, error) {
	var limits SiteLimits
	if f.Limits != nil {
		limits = f.Limits(s.Site)
	}
	first, last := s.Obs[0].At, s.Obs[len(s.Obs)-1].At
	if f.Air != nil && s.Param == coldseam.WaterTemp && warm(s.Obs) {
		var err error
		limits.Air, err = f.Air(ctx, s.Site, first.Add(-reachBack-hardFrostSpan), last.Add(reachAhead))
		f.warn("air beside the gauge", string(s.Site), err) // one test less
	}

	if f.Recent == nil {
		return Check(s, limits, known), nil
	}
	stored, err := f.Recent(ctx, s.SeriesKey, first.Add(-contextBack), last.Add(contextAhead))
	if err != nil {
		return Check(s, limits, known), fmt.Errorf("neighbours of %s: %w", s.SeriesKey, err)
	}

	v := newView(s, stored)
	whole, _, err := coldseam.NewSeries(s.SeriesKey, v.all)
	if err != nil {
		return Check(s, limits, known), err
	}
	whole = Check(whole, limits, known)
	whole.Obs = v.changed(whole.Obs, first.Add(-reachBack), last.Add(reachAhead), known)
	return whole, nil
}

// warm reports whether some value is worth a look at the air.
func warm(obs []coldseam.Observation) bool {
	return slices.ContainsFunc(obs, func(o coldseam.Observation) bool { return o.Value > warmInFrostC })
}

// view is a batch among the stored rows, keyed by time in microseconds.
type view struct {
	all []coldseam.Observation         // newest version of every time
	was map[int64]coldseam.Observation // stored rows that stay as they are
	old map[int64]coldseam.Observation // rows of the batch that are older than what is stored
}

func newView(s coldseam.Series, stored []coldseam.Observation) view {
	v := view{was: map[int64]coldseam.Observation{}, old: map[int64]coldseam.Observation{}}
	fresh := make(map[int64]coldseam.Observation, len(s.Obs))
	for _, o := range s.Obs {
		fresh[o.At.UnixMicro()] = o
	}

	for _, o := range stored {
		t := o.At.UnixMicro()
		if n, ok := fresh[t]; ok {
			if !o.KnownAt.After(n.KnownAt) {
				continue
			}
			v.old[t] = n
		}
		v.was[t] = o
		v.all = append(v.all, o)
	}

	for _, o := range s.Obs {
		if _, late := v.old[o.At.UnixMicro()]; !late {
			v.all = append(v.all, o)
		}
	}

	return v
}

// changed is the piece of the checked rows that the store must see: the batch,
// and stored rows whose flags changed, as known now.
func (v view) changed(rows []coldseam.Observation, from, to, known time.Time) []coldseam.Observation {
	lo, hi := -1, 0
	out := make([]coldseam.Observation, len(rows))

	for i, o := range rows {
		t := o.At.UnixMicro()
		was, isStored := v.was[t]
		n, late := v.old[t]
		switch {
		case late:
			o = n
		case isStored && (was.Flag == o.Flag || o.At.Before(from) || o.At.After(to)):
			out[i] = was
			continue
		case isStored:
			o.KnownAt = known
			if !was.KnownAt.Before(known) {
				o.KnownAt = was.KnownAt.Add(time.Microsecond) // a later word on the flags alone
			}
		}

		out[i] = o
		if lo < 0 {
			lo = i
		}
		hi = i + 1
	}

	return out[max(lo, 0):hi]
}

// forecasts joins the pieces of one issue, sets the issue time where the
// document gave none (the store knows when its content was first seen) and leaves
// out what no weather has.
func (f *Fetcher) forecasts(in []coldseam.Forecast, known time.Time, res *Result) []coldseam.Forecast {
	in, left := JoinForecasts(in)
	res.Skipped = append(res.Skipped, left...)
	res.Refused += len(left)
	var out []coldseam.Forecast

	for _, fc := range in {
		fc.KnownAt = known
		if fc.Issued.IsZero() {
			fc.Issued, fc.IssuedAssumed = known, true
		}
		fc, n, err := BoundForecast(fc)
		if err == nil && n > 0 {
			res.Skipped = append(res.Skipped, Skipped{What: fmt.Sprintf("forecast %s/%s", fc.Site, fc.Param),
				Code: CodeRange, Why: "values out of range are holes", N: n})
		}

		if err == nil && fc.Issued.After(known.Add(MaxFutureStamp)) {
			err = Because(CodeTime, errors.New("issued in the future: check both clocks"))
		}

		if err != nil {
			res.Refused++
			res.Skipped = append(res.Skipped, Skipped{What: fmt.Sprintf("forecast %s/%s", fc.Site, fc.Param),
				Code: CodeOf(err), Why: err.Error(), N: len(fc.At)})
			continue
		}

		if fc.Issued.After(res.NewestIssued) {
			res.NewestIssued = fc.Issued
		}
		out = append(out, fc)
	}

	return out
}

// Import stores a batch that was read from a file, known now. It leaves no mark
// in the log of fetches: a file must never make a feed look alive.
func (f *Fetcher) Import(ctx context.Context, p Profile, b Batch) (Result, error) {
	res := Result{Profile: p.Name, Remaining: -1, State: StateError, Flagged: map[string]int{}}
	if err := f.save(ctx, p.WithDefaults(), b, f.Now().UTC(), 0, &res); err != nil {
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
		out.FloodLevels = append(out.FloodLevels, b.FloodLevels...)
		out.Sites = append(out.Sites, b.Sites...)
		out.Meta = append(out.Meta, b.Meta...)
		out.Skipped = append(out.Skipped, b.Skipped...)
		out.Notes = append(out.Notes, b.Notes...)
		out.Links = append(out.Links, b.Links...)
		out.Entries = append(out.Entries, b.Entries...)
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
