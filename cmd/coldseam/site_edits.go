package main

import (
	"context"
	"fmt"
	"io"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"example.org/coldseam"
)

// siteListCmd lists what is configured beside what is stored.
type siteListCmd struct{}

// Run prints one line a gauge and one a reach.
func (c *siteListCmd) Run(ctx context.Context, s *streams, g *Globals) error {
	a, err := openApp(ctx, s, g, buildOptions{migrate: true})
	if err != nil {
		return err
	}
	defer a.Close()
	if err := a.syncRivers(ctx); err != nil {
		return err
	}
	return c.list(ctx, s.out, a)
}

func (c *siteListCmd) list(ctx context.Context, w io.Writer, a *app) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "gauge\tname\tmeasures\tnewest")
	for _, s := range a.cfg.Sites {
		list, err := a.db.SeriesList(ctx, coldseam.SiteID(s.ID))
		if err != nil {
			return err
		}
		params, newest := map[string]bool{}, time.Time{}
		for _, x := range list {
			params[string(x.Param)] = true
			newest = later(newest, x.Newest)
		}
		when := "never"
		if !newest.IsZero() {
			when = age(max(a.now().Sub(newest), time.Minute)) + " old"
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\n", s.ID, s.Name, strings.Join(slices.Sorted(maps.Keys(params)), " "), when)
	}
	fmt.Fprintln(tw, "\nreach\triver\tgauge\tspots")
	for _, r := range a.cfg.Reaches {
		fmt.Fprintf(tw, "%s\t%s, %s\t%s\t%d\n", r.ID, r.River, r.Name, r.Site, len(r.Spots))
	}
	return tw.Flush()
}

// siteEditsCmd shows the audit.
type siteEditsCmd struct {
	Reach string `help:"One reach; default all, and the limits." placeholder:"ID"`
}

// Run prints one line an edit, oldest first.
func (c *siteEditsCmd) Run(ctx context.Context, s *streams, g *Globals) error {
	return withApp(ctx, s, g, func(a *app) error {
		if err := a.syncRivers(ctx); err != nil {
			return err
		}
		return c.edits(ctx, s.out, a)
	})
}

func (c *siteEditsCmd) edits(ctx context.Context, w io.Writer, a *app) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	loc := zoneOf(a.cfg.Club.Zone)
	row := func(at time.Time, who, what, why string) {
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\n", at.In(loc).Format("2006-01-02 15:04"), who, what, oneLine(why))
	}
	fmt.Fprintln(tw, "when\twho\twhat\twhy")
	if c.Reach == "" {
		limits, err := a.db.ThresholdEdits(ctx, "")
		if err != nil {
			return err
		}
		for _, e := range limits {
			row(e.At, e.Who, e.Key+": "+orShipped(e.Old)+" -> "+orShipped(e.New), e.Why)
		}
	}
	reaches, err := a.db.Reaches(ctx)
	if err != nil {
		return err
	}
	found := c.Reach == ""
	for _, r := range reaches {
		if c.Reach != "" && string(r.ID) != c.Reach {
			continue
		}
		found = true
		list, err := a.db.ReachEdits(ctx, r.ID)
		if err != nil {
			return err
		}
		for i, e := range list {
			what := "entered"
			if i > 0 {
				what = strings.Join(changed(list[i-1].Reach, e.Reach), ", ")
			}
			row(e.At, e.Who, string(r.ID)+": "+what, e.Why)
		}
	}
	if !found {
		return a.noReach(ctx, fmt.Errorf("reach %q: %w", c.Reach, coldseam.ErrNotFound))
	}
	return tw.Flush()
}

func orShipped(s *string) string {
	if s == nil {
		return "as shipped"
	}
	return *s
}

var wordEnd = regexp.MustCompile(`([a-z])([A-Z])`)

// changed names the parts of a reach that differ, much as the file does.
func changed(a, b coldseam.Reach) []string {
	var out []string
	x, y := reflect.ValueOf(a), reflect.ValueOf(b)
	for i := range x.NumField() {
		if !reflect.DeepEqual(x.Field(i).Interface(), y.Field(i).Interface()) {
			out = append(out, strings.ToLower(wordEnd.ReplaceAllString(x.Type().Field(i).Name, "${1}_$2")))
		}
	}
	return out
}
