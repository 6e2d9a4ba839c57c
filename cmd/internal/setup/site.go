package setup

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"text/tabwriter"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/ingest"
	"example.org/coldseam/notify"
)

// Site sets rivers up.
type Site struct {
	Add  siteAddCmd  `cmd:"" help:"Set up a river from a feed: nearest gauges, record, percentiles, back-fill, a replay of the last spring and autumn; adds it to the configuration."`
	List siteListCmd `cmd:"" help:"List gauges and reaches with the age and length of their records."`
	// Edits is the audit of what people decided.
	Edits siteEditsCmd `cmd:"" help:"Who changed which limit, rule, spot or reach, when and why."`
}

type siteAddCmd struct {
	Lat      float64 `required:"" help:"Latitude of the place fished, degrees north."`
	Lon      float64 `required:"" help:"Longitude, degrees east: west is negative."`
	Profile  string  `help:"The [[profile]] to ask; default the first that lists its stations."`
	Code     string  `help:"The gauge, by the agency's code. Without, the nearest are listed and nothing is added."`
	River    string  `help:"Name of the river; default the gauge's name."`
	Name     string  `help:"Name of the reach." default:"reach"`
	ID       string  `help:"Key of the reach; default made of the river's name." name:"id"`
	Counter  string  `help:"The [[site]] of a fish counter on the river, parameter fish_count, where one is open: its counts lead the wave odds."`
	Zone     string  `help:"IANA zone; default the club's."`
	RadiusKM float64 `help:"How far to look for gauges, km." default:"40" name:"radius-km"`
	Years    int     `help:"How many years of daily values to bring." default:"30"`
	NoReplay bool    `help:"Leave the replay of the last spring and autumn out."`

	seasons [][2]coldseam.Date // that are replayed; nil = the last spring and autumn
	DryRun  bool               `help:"Show everything, and do not touch the configuration. What was fetched stays stored."`
}

// Run does all of it; every step prints what it found.
func (c *siteAddCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	if !(math.Abs(c.Lat) <= 90 && math.Abs(c.Lon) <= 180) {
		return env.Fail(2, fmt.Sprintf("--lat %g --lon %g is no place: latitude -90 to 90, longitude -180 to 180",
			c.Lat, c.Lon))
	}
	a, err := parts.For(ctx, s, g, env.Options{Migrate: true})
	if err != nil {
		return err
	}
	defer a.Close()
	if err := a.Env.SyncRivers(ctx); err != nil {
		return err
	}
	a.Feeds.SayWaits(s.Out)
	a.Feeds.Fetcher.Eager = true
	return c.add(ctx, s.Out, a)
}

func (c *siteAddCmd) add(ctx context.Context, w io.Writer, a *parts.Parts) error {
	p, err := c.profile(a)
	if err != nil {
		return err
	}

	if c.Counter != "" && !slices.ContainsFunc(a.Env.Config.Sites, func(s config.Site) bool {
		return s.ID == c.Counter && slices.Contains(s.Params, string(coldseam.FishCount))
	}) {
		return env.ExitCode{Code: 2,
			Text: fmt.Sprintf("--counter %q: want the id of a [[site]] with \"fish_count\" among its parameters",
				c.Counter)}
	}

	if c.Zone == "" {
		c.Zone = a.Env.Config.Club.Zone
	}
	near, err := c.nearest(ctx, a, p)
	if err != nil {
		return err
	}

	if c.Code == "" {
		c.printNearest(w, a, near)
		if len(near) > 0 {
			fmt.Fprintln(w, "\nNothing added. Take one: the same command with --code.")
		}
		return nil
	}

	one, err := c.chosen(a, near, p)
	if err != nil {
		return err
	}

	c.printNearest(w, a, []candidate{one})
	if why := one.refused(a.Env.Now()); why != "" {
		fmt.Fprintf(w, "\n%s is %s: as long as it is, every morning reads NO CALL.\n", one.Code, why)
	}
	if one.daily() {
		fmt.Fprintln(w, "\nThis gauge reports once a day alone: it can never give GO. Mails will read TOSS-UP at best.")
	}
	site := one.site(p, c)
	if err := a.Env.DB.PutSite(ctx, site); err != nil {
		return err
	}

	fmt.Fprintln(w, "\nBack-fill:")
	if err := c.backfill(ctx, w, a, p.WithSites([]coldseam.Site{site}), one); err != nil {
		return err
	}
	frame, err := a.Env.DB.DailyFrame(ctx, site.ID, "", "", a.Env.Now(), c.Zone)
	if err != nil {
		return fmt.Errorf("no daily flow came of the back-fill: %w", err)
	}

	table := percentiles(frame)
	table.print(w)
	reach := c.reach(a, site)
	limits, err := a.Morning.FlowCandidates(ctx, reach)
	if err != nil {
		return err
	}

	printCandidates(w, limits)
	propose(&reach, limits)
	if !c.NoReplay {
		if err := c.replay(ctx, w, a, reach); err != nil {
			return err
		}
	}

	return c.write(w, a, p, site, reach, one)
}

// profile is the service to ask: it must be able to list its stations.
func (c *siteAddCmd) profile(a *parts.Parts) (ingest.Profile, error) {
	for _, p := range a.Env.Config.Profiles {
		if c.Profile != "" && p.Name != c.Profile {
			continue
		}
		_, nearby := p.Endpoints["nearby"]
		_, places := p.Endpoints["locations"]
		if nearby || places && c.Code != "" {
			return p, nil
		}
		if c.Profile != "" {
			return p, env.Fail(2,
				fmt.Sprintf("profile %s has no endpoint named nearby: give --code, or add [profile.endpoints.nearby] with query bbox = \"{bbox}\"", p.Name))
		}
	}
	return ingest.Profile{}, env.Fail(2, "no [[profile]] that lists its stations: add one from deploy/profiles.toml")
}

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

// maxLooked is how many of the nearest stations are asked for their series, in
// as few requests as the service takes [proposal].
const maxLooked = 100

// nearest asks for the stations in a box around the place and sorts them by
// distance. With a code given only that one is asked for its series.
func (c *siteAddCmd) nearest(ctx context.Context, a *parts.Parts, p ingest.Profile) ([]candidate, error) {
	at, req := p, ingest.Request{Endpoint: "nearby", Force: true}
	if _, ok := p.Endpoints["nearby"]; ok {
		at = withBox(p, boxText(c.Lat, c.Lon, c.RadiusKM))
	} else {
		req.Endpoint, req.Sites = "locations", []string{c.Code}
	}

	seen, err := look(ctx, a, at, req)
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
	asked := out[:min(len(out), maxLooked)]
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
	seen, err := look(ctx, a, p, ingest.Request{Endpoint: "metadata", Sites: codesOf(list), Force: true})
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
	seen, err := look(ctx, a, p, ingest.Request{Endpoint: ingest.EndpointLatest, Sites: codesOf(live), Force: true})
	if err != nil {
		return err
	}

	for _, s := range seen.series {
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

	asked := list[:min(len(list), maxLooked)]
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

// backfill brings daily values of the whole record, short-interval values of
// the last 60 days, and gaugings.
func (c *siteAddCmd) backfill(ctx context.Context, w io.Writer, a *parts.Parts, p ingest.Profile, x candidate) error {
	from := a.Env.Now().AddDate(-c.Years, 0, 0)
	if m, ok := x.has(coldseam.Discharge, true); ok && m.First.After(from) {
		from = m.First
	}
	sites := []string{x.Code}

	for _, r := range []ingest.Request{
		{Endpoint: "daily", Sites: sites, Since: from, Until: a.Env.Now()},
		{Endpoint: "history", Sites: sites, Since: a.Env.Now().Add(-morning.HistoryBack), Until: a.Env.Now()},
		{Endpoint: "gaugings", Sites: sites},
		{Endpoint: "channels", Sites: sites},
	} {
		if _, ok := p.Endpoints[r.Endpoint]; !ok {
			continue
		}
		r.Force = true
		r.Progress = func(pr ingest.Progress) {
			if pr.Total > 1 {
				fmt.Fprintf(w, "  %-9s %d of %d parts, %d rows, to %s\n", r.Endpoint, pr.Done, pr.Total, pr.Rows,
					pr.Until.Format(time.DateOnly))
			}
		}

		res, err := a.Feeds.Fetcher.Fetch(ctx, p, r)
		if err != nil {
			return fmt.Errorf("%w (what came is stored: the same command goes on)", err)
		}
		fmt.Fprintf(w, "  %-9s %s\n", r.Endpoint, feeds.ResultWords(res))
	}

	return nil
}

// withBox fills {bbox} of the nearby endpoint: west, south, east, north.
func withBox(p ingest.Profile, box string) ingest.Profile {
	e := p.Endpoints["nearby"]
	q := map[string]string{}
	for k, v := range e.Query {
		q[k] = strings.ReplaceAll(v, "{bbox}", box)
	}
	e.Query = q
	ends := map[string]ingest.Endpoint{}
	for k, v := range p.Endpoints {
		ends[k] = v
	}
	ends["nearby"] = e
	p.Endpoints = ends
	p.Places = nil // they would be sent as the wanted sites
	return p
}

func boxText(lat, lon, km float64) string {
	dLat := km / kmPerDegree
	dLon := dLat / max(math.Cos(lat*math.Pi/180), .05)
	return fmt.Sprintf("%.4f,%.4f,%.4f,%.4f", lon-dLon, lat-dLat, lon+dLon, lat+dLat)
}

// sight takes what an agency answers to a person who looks around. Nothing of it
// is stored, and nothing that was stored before makes an answer shorter.
type sight struct {
	ingest.Result
	series []coldseam.Series
}

// UpsertSeries keeps the series in memory.
func (s *sight) UpsertSeries(_ context.Context, _ int64, list []coldseam.Series) (added, revised int, err error) {
	s.series = append(s.series, list...)
	return len(list), 0, nil
}

// SaveRaw keeps nothing.
func (*sight) SaveRaw(context.Context, coldseam.RawFetch) (int64, error) { return 1, nil }

// SaveForecasts keeps nothing.
func (*sight) SaveForecasts(context.Context, []coldseam.Forecast) error { return nil }

// SaveAlerts keeps nothing.
func (*sight) SaveAlerts(context.Context, []coldseam.Alert) error { return nil }

// SaveGaugings keeps nothing.
func (*sight) SaveGaugings(context.Context, []coldseam.Gauging) error { return nil }

// NextFetch knows of no earlier answer.
func (*sight) NextFetch(context.Context, string, string) (etag, lastMod string, notBefore time.Time, err error) {
	return "", "", time.Time{}, nil
}

// look asks a service and stores nothing. The requests count against the hour's
// budget that all servers of the club share.
func look(ctx context.Context, a *parts.Parts, p ingest.Profile, req ingest.Request) (*sight, error) {
	out, own := &sight{}, a.Feeds.Fetcher
	f := &ingest.Fetcher{Now: own.Now, Log: own.Log, Parse: own.Parse, Sink: out, Agent: own.Agent, Budget: own.Budget,
		RetryWait: own.RetryWait, Eager: own.Eager, Waiting: own.Waiting}
	defer f.Close()
	var err error
	out.Result, err = f.Fetch(ctx, p, req)
	return out, err
}

// kmPerDegree of latitude, by the mean radius of 6,371 km.
const kmPerDegree = math.Pi * 6371 / 180

// distanceKM is the great-circle distance (haversine).
func distanceKM(lat1, lon1, lat2, lon2 float64) float64 {
	rad := math.Pi / 180
	s1, s2 := math.Sin((lat2-lat1)*rad/2), math.Sin((lon2-lon1)*rad/2)
	return 2 * 6371 * math.Asin(math.Sqrt(min(s1*s1+math.Cos(lat1*rad)*math.Cos(lat2*rad)*s2*s2, 1)))
}

// appendConfig adds a block to the configuration after the whole has been
// read with it: a block that does not fit is never written. The rest of the
// file is left alone, byte by byte.
func appendConfig(path, block string) error {
	old, err := os.ReadFile(path)
	if err != nil {
		return err
	}

	if len(old) > 0 && old[len(old)-1] != '\n' {
		block = "\n" + block
	}
	if _, err := config.Parse(filepath.Base(path), string(old)+block); err != nil {
		return fmt.Errorf("the block to add does not fit the file: %w", err)
	}
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	defer f.Close()

	if _, err := f.WriteString(block); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	return f.Close()
}
