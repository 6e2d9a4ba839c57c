package setup

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/table"
)

// heldRows is how many values of a file are held before they are stored.
const heldRows = 40_000

// importer takes a file in pieces, counts what is in it and stores it as it
// comes, judged beside what is stored already.
type importer struct {
	*Import
	ctx    context.Context
	app    *parts.Parts
	p      ingest.Profile
	report *table.Report // of a table

	pending map[coldseam.SeriesKey][]coldseam.Observation
	order   []coldseam.SeriesKey
	held    int

	format                      string
	keys                        map[coldseam.SeriesKey]bool
	values                      int
	first, last                 coldseam.Date
	forecasts, alerts, gaugings int
	skipped                     []ingest.Skipped
	added, revised              int
	nameless                    map[coldseam.SiteID]bool // entered before the file told their names
}

// take is the receiver of a file's pieces.
func (in *importer) take(b ingest.Batch) error {
	in.format = b.Format
	in.forecasts, in.alerts, in.gaugings = in.forecasts+len(b.Forecasts), in.alerts+len(b.Alerts),
		in.gaugings+len(b.Gaugings)
	in.skip(b.Skipped, false)

	for _, s := range b.Series {
		in.keys[s.SeriesKey] = true
		in.values += len(s.Obs)
		if len(s.Obs) > 0 {
			first, last := in.dayOf(s.SeriesKey, s.Obs[0].At), in.dayOf(s.SeriesKey, s.Obs[len(s.Obs)-1].At)
			if in.first.IsZero() || first.Before(in.first) {
				in.first = first
			}
			if in.last.Before(last) {
				in.last = last
			}
		}

		if in.DryRun {
			continue
		}
		if in.pending[s.SeriesKey] == nil {
			in.order = append(in.order, s.SeriesKey)
		}
		in.pending[s.SeriesKey] = append(in.pending[s.SeriesKey], s.Obs...)
		in.held += len(s.Obs)
	}

	if in.DryRun {
		return nil
	}
	rest := b
	rest.Series, rest.Skipped = nil, nil
	if rest.Rows()+len(rest.Sites) > 0 {
		return in.store(rest)
	}
	if in.held >= heldRows {
		return in.store(ingest.Batch{Format: b.Format})
	}
	return nil
}

// dayOf is the civil day of a value: that of the middle of its period. A daily
// mean stands at the end of its day, which is the day after.
func (in *importer) dayOf(k coldseam.SeriesKey, at time.Time) coldseam.Date {
	if _, days, rest, err := ingest.ParsePeriod(k.Period); err == nil {
		at = at.Add(-(time.Duration(days)*env.Day + rest) / 2)
	}
	return coldseam.DateOf(at.In(env.Zone(in.Zone)))
}

// skip joins what was left out, so that a long file does not repeat itself.
// The pieces of a stream tell the sum so far, storing tells each time anew.
func (in *importer) skip(more []ingest.Skipped, anew bool) {
	for _, k := range more {
		known := false
		for i := range in.skipped {
			o := &in.skipped[i]
			if o.What != k.What || o.Why != k.Why {
				continue
			}
			known = true
			if anew {
				o.N += k.N
			} else {
				o.N = max(o.N, k.N)
			}
		}

		if !known {
			in.skipped = append(in.skipped, k)
		}
	}
}

// store enters unknown sites, then everything that is held and b.
func (in *importer) store(b ingest.Batch) error {
	for _, k := range in.order {
		s, _, err := coldseam.SeriesOf(k, in.pending[k])
		if err != nil {
			return err
		}
		b.Series = append(b.Series, s)
	}

	in.order, in.held = nil, 0
	clear(in.pending)
	meta := map[coldseam.SiteID]ingest.SiteMeta{}
	for _, m := range b.Sites {
		meta[m.ID] = m
		if in.nameless[m.ID] {
			delete(in.nameless, m.ID)
			if err := in.app.Env.DB.PutSite(in.ctx, in.siteOf(in.app, m.ID, m)); err != nil {
				return err
			}
		}
	}

	seen := map[coldseam.SiteID]bool{}
	for _, s := range b.Series {
		if seen[s.Site] {
			continue
		}
		seen[s.Site] = true
		m, told := meta[s.Site]
		entered, err := in.enterSite(in.ctx, in.app, s.Site, m)
		if err != nil {
			return err
		}

		if entered && !told {
			in.nameless[s.Site] = true
		}
	}

	res, err := in.app.Feeds.Fetcher.Import(in.ctx, in.p, b)
	in.added, in.revised = in.added+res.Added, in.revised+res.Revised
	in.skip(res.Skipped, true)
	if err != nil && in.added > 0 {
		err = fmt.Errorf("%w (%d values before it are stored; the same command goes on)", err, in.added)
	}

	return err
}

// finish stores what is left.
func (in *importer) finish() error {
	if in.held == 0 {
		return nil
	}
	return in.store(ingest.Batch{Format: in.format})
}

// words say what was in the file and what became of it.
func (in *importer) words() string {
	out := fmt.Sprintf("%s, %d series, %d values", in.format, len(in.keys), in.values)
	if in.values > 0 {
		out += ", " + in.first.String() + " to " + in.last.String()
	}

	for _, more := range []struct {
		n    int
		what string
	}{{in.forecasts, "forecasts"}, {in.alerts, "alerts"}, {in.gaugings, "gaugings"}} {
		if more.n > 0 {
			out += fmt.Sprintf(", %d %s", more.n, more.what)
		}
	}

	for _, k := range in.skipped {
		out += fmt.Sprintf("; skipped %s: %s", k.What, k.Why)
		if k.N > 1 {
			out += fmt.Sprintf(" (%d times)", k.N)
		}
	}

	if !in.DryRun {
		return out + fmt.Sprintf("; %d new, %d revised", in.added, in.revised)
	}
	if in.report != nil {
		out += in.tableWords()
	}
	return out + "; dry run, nothing stored"
}

// tableWords sum up the columns of a table before anything of it is stored.
func (in *importer) tableWords() string {
	out := ""
	for _, s := range in.report.Series {
		out += fmt.Sprintf("; %s in %s: %d values, %d missing, %s to %s, from %.4g to %.4g", s.Key, s.Unit, s.Count,
			s.Missing,
			in.dayOf(s.Key, s.First), in.dayOf(s.Key, s.Last), s.Min, s.Max)
	}
	for _, col := range slices.Sorted(maps.Keys(in.report.ByColumn)) {
		out += fmt.Sprintf("; %d rows refused for %s", in.report.ByColumn[col], col)
	}
	return out
}
