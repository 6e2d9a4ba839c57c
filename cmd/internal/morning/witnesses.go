package morning

import (
	"cmp"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/trust"
	"example.org/coldseam/ingest"
)

// Other gauges that are asked about a reach whose gauge does not change [proposal].
const (
	nearKM    = 60
	maxNear   = 4
	triedNear = 12 // forecast points are sites as well, and have no readings
	nearBack  = 3 * env.Day
	rainBeen  = 36 * time.Hour
)

// witnesses reads what else would have moved the river, on a morning on which
// the gauge stands still.
func (g *gather) witnesses() {
	f := g.f
	if f.Site.DailyOnly || !trust.Standing(f.Discharge, f.Now) {
		return
	}

	if site := f.Reach.WeatherSite; site != "" {
		issues, err := g.DB.ArchivedForecasts(g.ctx, site, coldseam.Precip, f.Now.Add(-rainBeen), f.Now, f.Now)
		if g.keep(err) {
			f.RainIssues = issues
		}
	}

	for _, site := range []coldseam.SiteID{f.Reach.Site, f.Reach.AirSite, f.Reach.WeatherSite} {
		for _, stat := range []coldseam.Statistic{coldseam.Sum, coldseam.Instant} {
			if site == "" || f.Rain != nil {
				continue
			}
			s, err := g.DB.History(g.ctx, site, coldseam.Precip, stat, f.Now.Add(-env.Day), f.Now, f.Now, g.opts...)
			if g.keep(err) {
				f.Rain = s.Obs
			}
		}
	}

	for _, site := range g.nearSites() {
		for _, p := range []coldseam.Parameter{coldseam.Discharge, coldseam.Stage} {
			if len(f.Near) == maxNear {
				return
			}
			s, err := g.DB.History(g.ctx, site, p, coldseam.Instant, f.Now.Add(-nearBack), f.Now, f.Now, g.opts...)
			if g.keep(err) && len(s.Obs) > 0 {
				f.Near = append(f.Near, trust.Near{Param: p, Obs: trust.Confirm(s.Obs, p, g.confirmed(site, p))})
				break
			}
		}
	}
}

// nearSites are the gauges upstream, then the nearest sites of the club. A
// river that a tide or a dam moves by the day says nothing of another.
func (g *gather) nearSites() []coldseam.SiteID {
	r := g.f.Reach
	sites, err := g.DB.SitesNear(g.ctx, r.Lat, r.Lon, nearKM)
	g.keep(err)
	km := func(s coldseam.Site) float64 { return ingest.DistanceKM(r.Lat, r.Lon, s.Lat, s.Lon) }
	slices.SortFunc(sites, func(a, b coldseam.Site) int {
		return cmp.Or(cmp.Compare(km(a), km(b)), cmp.Compare(a.ID, b.ID))
	})

	near := slices.Clone(r.UpstreamSites)
	for _, s := range sites {
		placed := s.Lat != 0 || s.Lon != 0
		if placed && km(s) <= nearKM && s.ID != r.Site && !slices.Contains(near, s.ID) {
			near = append(near, s.ID)
		}
	}
	return near[:min(len(near), triedNear)]
}
