package doctor

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/ingest"
	"example.org/coldseam/store"
	"example.org/coldseam/store/localpg"
)

// A contract test asks for few rows of one station and a short time, at least a
// tenth of the usual one: daily means have no rows in two hours [proposal].
const (
	contractRows = 5
	contractBack = 2 * time.Hour
	maxCase      = 64 << 10 // bytes of an answer that is recorded
)

// contracts asks every endpoint that is fetched one small question and compares
// the answer with the newest one kept: its shape and what is read of it. only
// names one profile, "" = all; dir takes a case of each answer, "" = none.
func (k *checker) contracts(ctx context.Context, only, dir string) {
	kept, err := k.app.Env.DB.NewestKept(ctx)
	if err != nil {
		k.broken("contract", err)
		return
	}
	n := 0
	for _, f := range feeds.Plan(k.cfg) {
		if only != "" && f.Profile != only {
			continue
		}
		n++
		k.contract(ctx, f, kept, dir)
	}
	if n == 0 {
		k.add("contract", LevelFail, fmt.Sprintf("no feed of profile %q", only), "one that is fetched",
			"coldseam check names them")
	}
}

func (k *checker) contract(ctx context.Context, f feeds.Feed, kept []store.FetchRecord, dir string) {
	key := "contract " + f.Key()
	p, err := k.app.Feeds.Fetcher.Profile(f.Profile)
	if err != nil {
		k.broken(key, err)
		return
	}
	req := f.Request(k.now())
	usual, err := p.Addresses(req, k.now())
	if err != nil {
		k.broken(key, err)
		return
	}
	if len(req.Sites) > 1 {
		req.Sites = req.Sites[:1]
	}
	if f.Back > 0 {
		req.Since = k.now().Add(-max(contractBack, f.Back/10))
	}

	small := p
	small.PageLimit, small.Paging, small.Endpoints = contractRows, ingest.PagingFirst, maps.Clone(p.Endpoints)
	for name, e := range small.Endpoints {
		if e.Paging != "" {
			e.Paging = ingest.PagingFirst
			small.Endpoints[name] = e
		}
	}
	seen, err := k.app.Feeds.Ask(ctx, small, req)
	const fix = "coldseam parse on a saved answer; the agency's page of changes; then the [[profile]]"
	switch {
	case errors.Is(err, coldseam.ErrUnavailable):
		k.add(key, levelWarn, "no answer: "+err.Error(), "an answer", "again later")
		return
	case err != nil:
		k.add(key, LevelFail, "changed: "+err.Error(), "an answer that can be read", fix)
	case len(seen.Raw) == 0:
		k.add(key, levelWarn, "silent: an answer without content", "rows", fix)
		return
	}
	if dir != "" && len(seen.Raw) > 0 {
		if err := record(filepath.Join(dir, f.Profile, cmp.Or(f.Endpoint, "main")), small, seen); err != nil {
			k.add(key, levelWarn, "not recorded: "+err.Error(), "a folder that can be written to", "--record DIR")
		}
	}
	if err != nil {
		return
	}

	i := slices.IndexFunc(kept, func(r store.FetchRecord) bool {
		return r.Profile == f.Profile && slices.Contains(usual, r.URL)
	})
	var before *was
	if i >= 0 {
		before, err = k.was(ctx, kept[i])
	}
	if err != nil {
		k.broken(key, err)
		return
	}
	var maxAge time.Duration // of what the morning goes by; a gauging may be years old
	if f.Safety {
		maxAge = time.Duration(p.MaxAge)
	}
	k.judge(key, seen, before, maxAge, fix)
}

// was is what the newest kept answer says.
type was struct {
	shape ingest.Schema
	batch ingest.Batch
}

func (k *checker) was(ctx context.Context, r store.FetchRecord) (*was, error) {
	body, err := k.app.Env.DB.Payload(ctx, r.ID)
	if err != nil {
		return nil, err
	}
	b, err := k.reread(ctx, r)
	if err != nil {
		return nil, nil //nolint:nilerr // it cannot be read any more: there is nothing to compare with
	}
	return &was{ingest.SchemaOf(body), b}, nil
}

// judge compares an answer with the one before. Of its shape only a field that
// goes while another comes beside it, or that has another type, is a change: what
// a row may lack differs from row to row.
func (k *checker) judge(key string, seen *feeds.MemorySink, before *was, maxAge time.Duration, fix string) {
	shape := ingest.SchemaOf(seen.Raw[0].Payload)
	mark := "shape " + shape.Fingerprint()
	if before == nil {
		k.ok(key, "nothing kept to compare with, %d rows, %s", seen.Rows, mark)
		return
	}

	var changed, added []string
	for _, m := range shape.Moved(before.shape) {
		if strings.Contains(m, "; new there: ") || strings.Contains(m, ", was ") {
			changed = append(changed, m)
		} else if strings.HasSuffix(m, " is new") {
			added = append(added, m)
		}
	}
	units := map[string]string{}
	for _, m := range before.batch.Meta {
		units[string(m.Key.Param)+" "+string(m.Key.Stat)] = m.Unit
	}
	for _, m := range seen.Meta {
		if u, ok := units[string(m.Key.Param)+" "+string(m.Key.Stat)]; ok && u != m.Unit {
			changed = append(changed, fmt.Sprintf("%s is in %q, was %q", m.Key.Param, m.Unit, u))
		}
	}
	for _, s := range seen.Skipped {
		known := func(x ingest.Skipped) bool { return x.Code == s.Code && x.Why == s.Why }
		if !slices.Contains([]string{ingest.CodeChosen, ingest.CodeParameter, ingest.CodeStatistic}, s.Code) &&
			!slices.ContainsFunc(before.batch.Skipped, known) {
			changed = append(changed, "left out "+s.What+": "+s.Why)
		}
	}

	age := k.now().Sub(seen.NewestValid)
	switch {
	case len(changed) > 0:
		k.add(key, LevelFail, "changed: "+strings.Join(changed, "; "), "what is read, as before", fix)
	case seen.Rows == 0 && before.batch.Rows() > 0:
		k.add(key, levelWarn, "silent: no rows, "+mark, "rows, as before", fix)
	case !seen.NewestValid.IsZero() && maxAge > 0 && age > maxAge:
		k.add(key, levelWarn, "the same, but the newest value is "+env.Age(age)+" old", "at most "+env.Age(maxAge), fix)
	case len(added) > 0:
		k.ok(key, "additive: %s; %d rows, %s", strings.Join(added, "; "), seen.Rows, mark)
	default:
		k.ok(key, "the same: %d rows, %s", seen.Rows, mark)
	}
}

// record writes the first answer as a case that can be sent in. Addresses and
// bodies are without keys, as everywhere.
func record(dir string, p ingest.Profile, seen *feeds.MemorySink) error {
	r, h := seen.Raw[0], http.Header{}
	body := []byte(p.WithoutKey(string(r.Payload)))
	if len(body) > maxCase {
		return fmt.Errorf("an answer of %d bytes, at most %d: %w", len(body), maxCase, coldseam.ErrInvalid)
	}
	for name, v := range seen.Heads[r.URL] {
		low := strings.ToLower(name)
		if strings.Contains(low, "ratelimit") || slices.Contains([]string{"content-type", "date", "retry-after"}, low) {
			h[name] = v
		}
	}
	asJSON := func(v any) []byte {
		text, err := json.MarshalIndent(v, "", "  ")
		if err != nil {
			text = []byte(strconv.Quote(err.Error()))
		}
		return append(text, '\n')
	}
	want := asJSON(map[string]any{"rows": seen.Rows, "series": seen.Series, "skipped": seen.Skipped, "notes": seen.Notes,
		"error": r.Err})

	if err := localpg.MakeDir(dir, 0o755); err != nil {
		return err
	}
	for name, text := range map[string][]byte{
		"request.txt": []byte(cmp.Or(p.Method, http.MethodGet) + " " + r.URL + "\n"),
		"response":    body,
		"head.json":   asJSON(map[string]any{"status": r.Status, "head": h}),
		"want.json":   []byte(p.WithoutKey(string(want))),
		"SOURCE": fmt.Appendf(nil, "origin: %s, asked %s\nlicence: %s\nclass: A, as it came\nsha256: %s\n", p.BaseURL,
			r.At.Format(time.RFC3339), p.Licence, r.SHA256),
	} {
		if err := env.WriteClosed(filepath.Join(dir, name), text); err != nil {
			return err
		}
	}
	return nil
}
