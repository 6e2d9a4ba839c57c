package setup

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/parts"
)

// siteListCmd lists what is configured beside what is stored.
type siteListCmd struct{}

// Run prints one line a gauge and one a reach.
func (c *siteListCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.WithRivers(ctx, s, g, func(a *parts.Parts) error { return c.list(ctx, s.Out, a) })
}

func (c *siteListCmd) list(ctx context.Context, w io.Writer, a *parts.Parts) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "gauge\tname\tmeasures\tnewest")

	for _, s := range a.Env.Config.Sites {
		list, err := a.Env.DB.SeriesList(ctx, coldseam.SiteID(s.ID))
		if err != nil {
			return err
		}
		params, newest := map[string]bool{}, time.Time{}
		for _, x := range list {
			params[string(x.Param)] = true
			newest = feeds.Later(newest, x.Newest)
		}

		when := "never"
		if !newest.IsZero() {
			when = env.Age(max(a.Env.Now().Sub(newest), time.Minute)) + " old"
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\n", s.ID, s.Name, strings.Join(slices.Sorted(maps.Keys(params)), " "), when)
	}

	fmt.Fprintln(tw, "\nreach\triver\tgauge\tspots")
	for _, r := range a.Env.Config.Reaches {
		fmt.Fprintf(tw, "%s\t%s, %s\t%s\t%d\n", r.ID, r.River, r.Name, r.Site, len(r.Spots))
	}
	return tw.Flush()
}

// siteEditsCmd shows the audit.
type siteEditsCmd struct {
	Reach string `help:"One reach; default all, and the limits." placeholder:"ID"`
}

// Run prints one line an edit, oldest first.
func (c *siteEditsCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.WithRivers(ctx, s, g, func(a *parts.Parts) error { return c.edits(ctx, s.Out, a) })
}

func (c *siteEditsCmd) edits(ctx context.Context, w io.Writer, a *parts.Parts) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	loc := env.Zone(a.Env.Config.Club.Zone)
	row := func(at time.Time, who, what, why string) {
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\n", at.In(loc).Format("2006-01-02 15:04"), who, what, env.OneLine(why))
	}
	fmt.Fprintln(tw, "when\twho\twhat\twhy")

	if c.Reach == "" {
		limits, err := a.Env.DB.ThresholdEdits(ctx, "")
		if err != nil {
			return err
		}
		for _, e := range limits {
			row(e.At, e.Who, e.Key+": "+OrShipped(e.Old)+" -> "+OrShipped(e.New), e.Why)
		}
	}

	reaches, err := a.Env.DB.Reaches(ctx)
	if err != nil {
		return err
	}
	found := c.Reach == ""

	for _, r := range reaches {
		if c.Reach != "" && string(r.ID) != c.Reach {
			continue
		}
		found = true
		list, err := a.Env.DB.ReachEdits(ctx, r.ID)
		if err != nil {
			return err
		}

		for i, e := range list {
			what := "entered"
			if i > 0 {
				what = strings.Join(env.Changed(list[i-1].Reach, e.Reach), ", ")
			}
			row(e.At, e.Who, string(r.ID)+": "+what, e.Why)
		}
	}

	if !found {
		return env.NoReach(ctx, a.Env.DB, fmt.Errorf("reach %q: %w", c.Reach, coldseam.ErrNotFound))
	}
	return tw.Flush()
}

// OrShipped words a limit that may be the program's own.
func OrShipped(s *string) string {
	if s == nil {
		return "as shipped"
	}
	return *s
}
