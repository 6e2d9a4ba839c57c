package config

import (
	"example.org/coldseam"
)

// Attributions are the credits of the services that serve a reach: its gauges,
// those upstream, weather and warnings.
func (c Config) Attributions(r coldseam.Reach) []coldseam.Attribution {
	want, uses := map[string]bool{r.AlertFeed: true}, map[coldseam.SiteID]bool{r.Site: true, r.WeatherSite: true,
		r.TempSite: true, r.AirSite: true, r.CountSite: true, r.AgencySite: true, r.StageSite: true}
	for _, id := range r.UpstreamSites {
		uses[id] = true
	}
	for _, s := range c.Sites {
		if uses[coldseam.SiteID(s.ID)] {
			want[s.Provider] = true
		}
	}

	var out []coldseam.Attribution
	seen := map[coldseam.Attribution]bool{}
	for _, p := range c.Profiles {
		x := p.AttributionOf()
		same := x
		same.Name = "" // two profiles of one agency say the same
		if want[p.Name] && !seen[same] {
			seen[same] = true
			out = append(out, x)
		}
	}

	return out
}
