package feeds

import (
	"sort"
	"time"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest"
)

// Feed is one thing that is fetched on a schedule: an endpoint of a profile for
// the sites that name the profile.
type Feed struct {
	Profile  string
	Endpoint string // "" = the profile itself
	Sites    []string
	Back     time.Duration // how far back a usual fetch asks; 0 = the newest alone
	Ahead    time.Duration // how far ahead, for forecasts
	Idle     time.Duration // time between fetches far from any morning
	Active   time.Duration // near a morning: from 20 minutes before a send to the end of the window
	Safety   bool          // the decision needs it fresh
}

// Key is the feed's name in jobs, metrics and `check`: never an address.
func (f Feed) Key() string {
	if f.Endpoint == "" {
		return f.Profile
	}
	return f.Profile + "/" + f.Endpoint
}

const (
	weatherAhead = 10 * env.Day
	alertsIdle   = 30 * time.Minute // warnings far from any morning, for the page
)

// Plan lists what the configuration asks for: observations (newest values,
// nightly revisions, daily means, gaugings), weather and warnings.
func Plan(c config.Config) []Feed {
	codes := map[string][]string{}
	for _, s := range c.Sites {
		codes[s.Provider] = append(codes[s.Provider], s.Code)
	}
	var out []Feed

	for _, p := range c.Profiles {
		p = p.WithDefaults()
		sites := codes[p.Name]
		sort.Strings(sites)

		switch {
		case p.Format == ingest.FormatCAP:
			out = append(out, Feed{Profile: p.Name, Safety: true}.paced(p))
		case len(sites) == 0:
		case p.Kind == "forecast" || p.Format == ingest.FormatCovJSON || p.Format == ingest.FormatGridpoint:
			out = append(out, Feed{Profile: p.Name, Sites: sites, Ahead: weatherAhead, Safety: true}.paced(p))
			if _, ok := p.Endpoints["flood_levels"]; ok {
				out = append(out, Feed{Profile: p.Name, Endpoint: "flood_levels", Sites: sites, Idle: env.Day, Active: env.Day})
			}
		default:
			out = append(out, observed(p, sites)...)
		}
	}

	return out
}

// paced sets how often a safety input is fetched: within the hourly budget of
// its service. One that a service allows less often is told with its age.
func (f Feed) paced(p ingest.Profile) Feed {
	n := p.Requests(f.Request(time.Unix(0, 0)), time.Unix(0, 0))
	f.Idle, f.Active = p.PollEvery(false, n), p.PollEvery(true, n)
	if p.Format == ingest.FormatCAP {
		f.Idle = max(min(f.Idle, alertsIdle), f.Active)
	}
	return f
}

// observed are the feeds of an observation service, by the endpoints it has.
func observed(p ingest.Profile, sites []string) []Feed {
	has := func(name string) bool { _, ok := p.Endpoints[name]; return ok }
	main := Feed{Profile: p.Name, Sites: sites, Back: 3 * env.Day, Safety: true}
	if has("latest") {
		main.Endpoint, main.Back = "latest", 0
	}
	out := []Feed{main.paced(p)}
	if has("metadata") { // which of a gauge's series is the primary one
		out = append([]Feed{{
			Profile:  p.Name,
			Endpoint: "metadata",
			Sites:    sites,
			Idle:     7 * env.Day,
			Active:   7 * env.Day,
		}}, out...)
	}

	if has("revisions") {
		out = append(out, Feed{Profile: p.Name, Endpoint: "revisions", Sites: sites, Idle: env.Day, Active: env.Day})
	}
	if has("daily") {
		out = append(out, Feed{
			Profile:  p.Name,
			Endpoint: "daily",
			Sites:    sites,
			Back:     30 * env.Day,
			Idle:     12 * time.Hour,
			Active:   12 * time.Hour,
		})
	}
	for _, name := range []string{"gaugings", "channels"} { // stage and discharge of a visit; its section
		if has(name) {
			out = append(out, Feed{
				Profile:  p.Name,
				Endpoint: name,
				Sites:    sites,
				Idle:     7 * env.Day,
				Active:   7 * env.Day,
			})
		}
	}

	return out
}

// Request is the usual request of a feed at now.
func (f Feed) Request(now time.Time) ingest.Request {
	// A safety input is asked for in every slot: the slots are the patience, and
	// the server's own word to wait still holds.
	r := ingest.Request{Endpoint: f.Endpoint, Sites: f.Sites, Force: f.Safety}
	if f.Back > 0 {
		r.Since, r.Until = now.Add(-f.Back), now
	}
	if f.Ahead > 0 {
		r.Since, r.Until = now.Add(-6*time.Hour).Truncate(time.Hour), now.Add(f.Ahead)
	}
	return r
}
