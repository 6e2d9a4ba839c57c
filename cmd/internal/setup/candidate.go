package setup

import (
	"context"
	"fmt"
	"io"
	"sort"
	"text/tabwriter"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/ingest"
	"example.org/coldseam/notify"
)

// candidate is a gauge near the place.
type candidate struct {
	ingest.SiteMeta
	km     float64
	series []ingest.SeriesMeta
	last   map[coldseam.Parameter]coldseam.Observation // the newest short-interval value of each quantity
}

func (c candidate) site(p ingest.Profile, here *siteAddCmd) coldseam.Site {
	if c.Lat == 0 && c.Lon == 0 { // the service did not say: the place fished will do
		c.Lat, c.Lon = here.Lat, here.Lon
	}
	return coldseam.Site{
		ID:          p.SiteID(c.Code),
		Provider:    p.Name,
		Code:        c.Code,
		Name:        plainText(c.Name),
		Zone:        here.Zone,
		Lat:         c.Lat,
		Lon:         c.Lon,
		DrainageKM2: c.DrainageKM2,
		DatumM:      c.DatumM,
		DailyOnly:   c.daily(),
	}
}

// has reports whether the gauge measures something at short intervals, or as
// daily means.
func (c candidate) has(p coldseam.Parameter, daily bool) (ingest.SeriesMeta, bool) {
	var best ingest.SeriesMeta
	ok := false
	for _, m := range c.series {
		if m.Key.Param == p && (m.Key.Period == "P1D") == daily && (!ok || m.First.Before(best.First)) {
			best, ok = m, true
		}
	}
	return best, ok
}

// daily reports a gauge without short-interval flow.
func (c candidate) daily() bool {
	_, short := c.has(coldseam.Discharge, false)
	_, mean := c.has(coldseam.Discharge, true)
	return mean && !short
}

// maxAsked is how many of the nearest stations are asked for their series, in
// as few requests as the service takes [proposal].
const maxAsked = 100

// nearest asks for the stations in a box around the place and sorts them by
// distance. With a code given only that one is asked for its series.
func (c *siteAddCmd) nearest(ctx context.Context, a *parts.Parts, p ingest.Profile) ([]candidate, error) {
	at, req := p, ingest.Request{Endpoint: "nearby", Force: true}
	if _, ok := p.Endpoints["nearby"]; ok {
		at = withBox(p, boxText(c.Lat, c.Lon, c.RadiusKM))
	} else {
		req.Endpoint, req.Sites = "locations", []string{c.Code}
	}

	seen, err := a.Feeds.Ask(ctx, at, req)
	if err != nil {
		return nil, err
	}

	var out []candidate
	for _, m := range seen.Sites {
		x := candidate{SiteMeta: m, km: distanceKM(c.Lat, c.Lon, m.Lat, m.Lon),
			last: map[coldseam.Parameter]coldseam.Observation{}}
		if c.Code != "" && m.Code == c.Code || c.Code == "" && x.km <= c.RadiusKM {
			out = append(out, x)
		}
	}

	sort.Slice(out, func(i, j int) bool { return out[i].km < out[j].km })
	asked := out[:min(len(out), maxAsked)]
	if err := c.records(ctx, a, p, asked); err != nil {
		return nil, err
	}
	return out, c.newest(ctx, a, p, asked)
}

// records asks which series the gauges have and how far they reach.
func (c *siteAddCmd) records(ctx context.Context, a *parts.Parts, p ingest.Profile, list []candidate) error {
	if _, ok := p.Endpoints["metadata"]; !ok || len(list) == 0 {
		return nil
	}
	seen, err := a.Feeds.Ask(ctx, p, ingest.Request{Endpoint: "metadata", Sites: codesOf(list), Force: true})
	if err != nil {
		return err
	}
	a.Feeds.Fetcher.Choose(p.Provider, seen.Meta)
	for _, m := range seen.Meta {
		for i := range list {
			if m.Key.Site == p.SiteID(list[i].Code) {
				list[i].series = append(list[i].series, m)
			}
		}
	}
	return nil
}

// newest asks the gauges that their records call live for their last values.
func (c *siteAddCmd) newest(ctx context.Context, a *parts.Parts, p ingest.Profile, list []candidate) error {
	var live []candidate
	for _, x := range list {
		if x.refused(a.Env.Now()) == "" {
			live = append(live, x)
		}
	}

	if _, ok := p.Endpoints[ingest.EndpointLatest]; !ok || len(live) == 0 {
		return nil
	}
	seen, err := a.Feeds.Ask(ctx, p, ingest.Request{Endpoint: ingest.EndpointLatest, Sites: codesOf(live), Force: true})
	if err != nil {
		return err
	}

	for _, s := range seen.Series {
		o, ok := s.Last()
		for i := range list {
			if x := list[i]; ok && s.Site == p.SiteID(x.Code) && o.At.After(x.last[s.Param].At) {
				x.last[s.Param] = o
			}
		}
	}

	return nil
}

func codesOf(list []candidate) []string {
	out := make([]string, len(list))
	for i, x := range list {
		out[i] = x.Code
	}
	return out
}

// silentFor is how old the newest value of a gauge may be before the gauge is not
// offered any more [proposal].
const silentFor = 30 * env.Day

const noFlow = "measures no flow"

// refused says why a gauge cannot stand for a reach; "" = it can, or nothing is
// known of it.
func (c candidate) refused(now time.Time) string {
	short, isShort := c.has(coldseam.Discharge, false)
	mean, isMean := c.has(coldseam.Discharge, true)
	last := feeds.Later(short.Last, mean.Last)
	if o, ok := c.last[coldseam.Discharge]; ok {
		last = feeds.Later(last, o.At)
	}
	switch {
	case len(c.series) == 0:
		return ""
	case !isShort && !isMean:
		return noFlow
	case !last.IsZero() && now.Sub(last) > silentFor:
		return "silent since " + last.Format("2 January 2006")
	}
	return ""
}

func (c *siteAddCmd) chosen(a *parts.Parts, near []candidate, p ingest.Profile) (candidate, error) {
	if len(near) == 0 {
		return candidate{}, env.Fail(1,
			fmt.Sprintf("%s does not list a station %q within %.0f km; without --code the nearest are listed", p.Name,
				c.Code, c.RadiusKM))
	}
	if why := near[0].refused(a.Env.Now()); why == noFlow {
		return near[0], env.Fail(1, fmt.Sprintf("%s %s; take another gauge: without --code the nearest are listed",
			c.Code, why))
	}
	return near[0], nil
}

// printNearest lists the gauges that can stand for a reach, nearest first and
// those of daily means last, and then why each of the others cannot.
func (c *siteAddCmd) printNearest(w io.Writer, a *parts.Parts, list []candidate) {
	if len(list) == 0 {
		fmt.Fprintf(w, "No gauge within %.0f km of %g, %g. West is a negative --lon; else widen --radius-km.\n",
			c.RadiusKM, c.Lat, c.Lon)
		return
	}

	asked := list[:min(len(list), maxAsked)]
	var offered, others []candidate
	for _, x := range asked {
		if x.refused(a.Env.Now()) == "" {
			offered = append(offered, x)
		} else {
			others = append(others, x)
		}
	}

	sort.SliceStable(offered, func(i, j int) bool { return !offered[i].daily() && offered[j].daily() })
	if len(offered) == 0 {
		fmt.Fprintf(w, "No gauge within %.0f km measures flow now; widen --radius-km.\n", c.RadiusKM)
	}

	if len(offered) > 0 {
		tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprintln(tw, "km\tcode\tname\tbasin\tflow\tstage\twater\tdaily flow since")

		for _, x := range offered {
			basin, since := "-", "-"
			if x.DrainageKM2 != nil {
				basin = fmt.Sprintf("%.0f km2", *x.DrainageKM2)
			}
			if m, ok := x.has(coldseam.Discharge, true); ok && !m.First.IsZero() {
				since = m.First.Format("2006")
			}
			fmt.Fprintf(tw, "%.1f\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", x.km, x.Code, x.Name, basin,
				x.lastWords(a, coldseam.Discharge), x.lastWords(a, coldseam.Stage), x.lastWords(a, coldseam.WaterTemp),
				since)
		}

		_ = tw.Flush() // the terminal
	}

	if len(others) > 0 {
		fmt.Fprintln(w, "\nNot offered (one that is silent for the winter can be taken all the same, with --code):")
	}
	for _, x := range others {
		fmt.Fprintf(w, "  %s, %s, %.1f km: %s\n", x.Code, x.Name, x.km, x.refused(a.Env.Now()))
	}
	if n := len(list) - len(asked); n > 0 {
		fmt.Fprintf(w, "  %d farther than %.1f km: not asked; choose a smaller --radius-km or another place\n", n,
			asked[len(asked)-1].km)
	}
}

// lastWords is the newest value of a quantity with its age, or how it is
// measured where no value is known.
func (c candidate) lastWords(a *parts.Parts, p coldseam.Parameter) string {
	if o, ok := c.last[p]; ok {
		words := notify.WordsFor(a.Env.Config.Club.Units, "UTC")
		value := words.Flow(o.Value)
		switch {
		case p == coldseam.WaterTemp:
			value = words.Temp(o.Value)
		case p == coldseam.Stage && words.Metric():
			value = fmt.Sprintf("%.2f m", o.Value)
		case p == coldseam.Stage:
			value = fmt.Sprintf("%.2f ft", coldseam.Feet(o.Value))
		}
		return notify.Plain(value) + ", " + env.Age(max(a.Env.Now().Sub(o.At), time.Minute)) + " old"
	}

	_, short := c.has(p, false)
	_, mean := c.has(p, true)
	switch {
	case len(c.series) == 0:
		return "?"
	case short:
		return "yes"
	case mean:
		return "daily"
	}

	return "no"
}
