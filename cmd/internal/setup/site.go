package setup

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/ingest"
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

	flood   ingest.Profile     // that knows the flood stages of the gauge
	seasons [][2]coldseam.Date // that are replayed; nil = the last spring and autumn
	ask     *Asker             // for the gauge; nil = nobody is asked
	DryRun  bool               `help:"Show everything, and do not touch the configuration. What was fetched stays stored."`
}

func isPlace(lat, lon float64) bool { return math.Abs(lat) <= 90 && math.Abs(lon) <= 180 }

// Run does all of it; every step prints what it found.
func (c *siteAddCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	if !isPlace(c.Lat, c.Lon) {
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
	a.Feeds.Fetcher.SpendAtOnce = true
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
		if best := c.proposed(near, a.Env.Now()); c.ask != nil && best != "" {
			c.Code = c.ask.line("\nGauge, by its code", best)
			return c.add(ctx, w, a)
		}
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
	c.floodPoint(ctx, w, a, &reach)
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
