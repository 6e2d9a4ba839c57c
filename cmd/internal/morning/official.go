package morning

import (
	"context"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// official reads the agency's stage forecast of the point that the reach names,
// and its flood levels. The lower of the agency's and the admin's flood stage
// counts; one that the agency does not name relaxes nothing.
func (g *gather) official() {
	r, o := &g.f.Reach, &g.f.Official
	if r.StageSite == "" {
		return
	}
	o.Fed = true
	if at, err := g.readAt(g.ctx, r.StageSite); g.keep(err) && !at.After(g.f.Now) {
		o.At = at
	}
	fcs, err := g.DB.Forecasts(g.ctx, r.StageSite, coldseam.Stage, g.f.Now)
	if !g.keep(err) {
		return
	}
	for _, fc := range fcs {
		if fc.Stat != coldseam.Instant || !fc.Issued.After(o.Issued) {
			continue
		}
		o.Issued, o.Steps = fc.Issued, nil
		for i := range fc.At {
			o.Steps = append(o.Steps, coldseam.Observation{At: fc.At[i], Value: fc.Value[i]})
		}
	}

	levels, err := g.DB.FloodLevels(g.ctx, r.StageSite, g.f.Now)
	if !g.keep(err) {
		return
	}
	for _, l := range levels {
		if l.Param != coldseam.Stage {
			continue
		}
		// A level that names no gauge is taken for this one: it may stop, and opens nothing.
		o.Elsewhere = o.Elsewhere || l.Gauge != "" && !l.Tells(*r)
		if l.Kind == coldseam.FloodMinor {
			o.FloodM = &l.Value
		}
	}
	*r = r.WithFloodLevels(levels)
}

// readAt is when the feed of a site was last read with success.
func (mk *Maker) readAt(ctx context.Context, id coldseam.SiteID) (at time.Time, err error) {
	for _, s := range mk.Config.Sites {
		if s.ID != string(id) {
			continue
		}
		p, err := mk.Profile(s.Provider)
		if err != nil {
			return at, err
		}
		// The window of a request is not part of its name in the log.
		urls, err := p.Addresses(ingest.Request{Sites: []string{s.Code}}, mk.Now())
		if err != nil { // it cannot be fetched either: never read, and the decision says so
			mk.Log.Warn("address of the stage forecast", "feed", s.Provider, "err", err)
			return at, nil
		}
		ages, err := mk.DB.FeedAgesOf(ctx, s.Provider, urls)
		for _, x := range ages {
			at = x.LastOK
		}
		return at, err
	}
	return at, nil
}
