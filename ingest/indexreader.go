package ingest

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"example.org/coldseam"
)

// indexReader reads what an index of warnings points to.
type indexReader struct {
	f     *Fetcher
	p     Profile
	res   *Result
	asked map[string]bool
	n     int   // documents asked for
	bytes int64 // read
	ends  time.Time
	gaps  []coldseam.FeedGap
}

// follow reads the documents of an index, each once, and the indexes among
// them. One that fails does not stop the others; the error keeps the index's
// validators away, so that the next fetch comes back for it. An entry that
// cannot be read is passed over where it says itself that it holds elsewhere.
func (w *indexReader) follow(ctx context.Context, base string, entries []Entry, depth int) (open bool, err error) {
	var errs []error

	for i, e := range entries {
		again, why, err := w.entry(ctx, base, e, depth)
		open = open || again
		if err == nil {
			continue
		}

		ended := why == "too_many" || ctx.Err() != nil || !w.res.NotBefore.IsZero()
		name := cmp.Or(e.Title, e.ID, clip(e.Link))
		if !ended && w.f.Elsewhere != nil && w.f.Elsewhere(e.About) {
			w.res.Notes = append(w.res.Notes, fmt.Sprintf("entry %s holds elsewhere: %s", name, oneLine(err)))
			continue
		}

		if why == "too_many" {
			err = fmt.Errorf("%d documents of the index are still to be read: %w", len(entries)-i, err)
		}
		errs = append(errs, err)
		if why != "" && len(w.gaps) < maxGaps {
			w.gaps = append(w.gaps, coldseam.FeedGap{Entry: cmp.Or(e.ID, clip(e.Link)), Title: e.Title, Why: why})
		}
		if ended {
			break
		}
	}

	return open, errors.Join(errs...)
}

// entry reads one document; why is the code of what is wrong with it.
func (w *indexReader) entry(ctx context.Context, base string, e Entry, depth int) (open bool, why string, err error) {
	f := w.f
	if e.Link == "" {
		return false, "no_link", fmt.Errorf("entry %q: no link to a CAP document: %w", cmp.Or(e.Title, e.ID),
			coldseam.ErrInvalid)
	}
	addr, err := w.p.linkURL(base, e.Link)
	if err != nil {
		return false, "no_link", err
	}

	id := strings.Join([]string{w.p.Name, addr, e.Updated}, " ")
	seen, again := f.linkSeen(id)
	if w.asked[id] || seen {
		return again, "", nil
	}
	if w.n++; w.n > maxLinks || w.bytes > maxIndexBytes || f.Now().After(w.ends) {
		return false, "too_many", coldseam.ErrUnavailable
	}
	w.asked[id] = true

	p := w.p
	if !p.sameHost(addr) {
		p.KeyHeader, p.KeyFile, p.Headers = "", "", nil
		p.BaseURL = origin(addr)
		p.PrivateHosts = nil
	}

	pg, err := f.get(ctx, p, address{addr, addr, true}, "", w.res)
	switch {
	case errors.Is(err, coldseam.ErrInvalid):
		return false, "unreadable", err
	case err != nil:
		return false, "unread", err
	}
	w.bytes += pg.raw.Bytes

	open = e.Updated == ""

	if !pg.notModified {
		inner := pg.batch.Entries
		if pg.batch.Next != "" { // its next page is read like another index
			inner = append(inner, Entry{Link: pg.batch.Next, ID: clip(pg.batch.Next), Title: e.Title, About: e.About})
		}
		if len(inner) > 0 && depth >= maxIndexDepth {
			err := fmt.Errorf("%s: an index %d levels deep: %w", pg.raw.URL, depth+1, coldseam.ErrInvalid)
			return false, "too_deep", f.failFetch(ctx, pg.raw, err)
		}

		pg.batch.Entries = inner
		for i := range pg.batch.Alerts {
			pg.batch.Alerts[i].Document = pg.raw.URL
			pg.batch.Alerts[i].PlacedBy(e.About)
		}

		// An index speaks for itself: it is read in every walk. One without entries
		// today may have some tomorrow.
		index := len(inner) > 0 || len(pg.batch.Alerts)+len(pg.batch.Skipped) == 0
		if index {
			pg.raw.ETag, pg.raw.LastMod = "", ""
		}

		gaps := len(w.gaps)
		more, err := f.keep(ctx, w.p, []page{pg}, w.res, w, depth+1)
		if index {
			if err != nil && len(w.gaps) == gaps {
				return true, "unread", err
			}
			return true, "", err
		}

		if err != nil {
			return false, "unread", err
		}
		open = open || more
	}

	f.markLink(id, open)
	return open, "", nil
}

// linkURL is the address of a link that stands in the document at an address.
func (p Profile) linkURL(document, l string) (string, error) {
	own, err := url.Parse(p.BaseURL)
	if err != nil {
		return "", fmt.Errorf("base_url: %w", coldseam.ErrInvalid)
	}
	base, err := url.Parse(document)
	if err != nil {
		return "", fmt.Errorf("address of the index: %w", coldseam.ErrInvalid)
	}
	ref, err := url.Parse(l)
	if err != nil {
		return "", fmt.Errorf("link %q: %w", clip(l), coldseam.ErrInvalid)
	}
	u := base.ResolveReference(ref)
	if u.Scheme != own.Scheme && u.Scheme != "https" || u.Host == "" {
		return "", fmt.Errorf("link %q: want https: %w", clip(l), coldseam.ErrRejected)
	}
	return u.String(), nil
}

func (p Profile) sameHost(addr string) bool {
	a, err1 := url.Parse(p.BaseURL)
	b, err2 := url.Parse(addr)
	return err1 == nil && err2 == nil && sameHost(a, b)
}

// origin is scheme and host of an address.
func origin(addr string) string {
	u, err := url.Parse(addr)
	if err != nil {
		return addr
	}
	return u.Scheme + "://" + u.Host
}

// linkSeen reports whether a document need not be read, and whether it will
// have to be again.
func (f *Fetcher) linkSeen(id string) (seen, again bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	until, ok := f.links[id]
	return ok && (until.IsZero() || f.Now().Before(until)), !until.IsZero()
}

// markLink remembers a document that was stored; open = only for a while.
func (f *Fetcher) markLink(id string, open bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.links == nil || len(f.links) > 20*maxLinks {
		f.links = map[string]time.Time{}
	}
	f.links[id] = time.Time{}
	if open {
		f.links[id] = f.Now().Add(readAgain)
	}
}
