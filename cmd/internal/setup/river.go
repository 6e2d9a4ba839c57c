package setup

import (
	"context"
	"fmt"
	"io"
	"math"
	"regexp"
	"strings"
	"text/tabwriter"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/ingest"
	"example.org/coldseam/notify/strip"
)

// record is what the daily flow of a gauge comes to.
type record struct {
	years  int // with at least 300 days
	days   int
	first  coldseam.Date
	p95    float64                   // of the whole record, m3/s; NaN = nothing measured
	months map[time.Month][5]float64 // p5, p25, p50, p75, p95, m3/s
	max    float64                   // m3/s
}

// percentiles sorts the record into a table by month.
func percentiles(d coldseam.Days) record {
	r := record{p95: math.NaN(), months: map[time.Month][5]float64{}}
	var all []float64
	month := map[time.Month][]float64{}
	year := map[int]int{}
	for i, q := range d.FlowM3S {
		if math.IsNaN(q) {
			continue
		}
		day := d.Day(i)
		if len(all) == 0 {
			r.first = day
		}
		all = append(all, q)
		month[day.Month] = append(month[day.Month], q)
		year[day.Year]++
		r.max = max(r.max, q)
	}

	for _, n := range year {
		if n >= 300 {
			r.years++
		}
	}

	r.days = len(all)
	if len(all) == 0 {
		return r
	}
	r.p95 = coldseam.Quantile(all, .95)
	for m, x := range month {
		r.months[m] = [5]float64{coldseam.Quantile(x, .05), coldseam.Quantile(x, .25), coldseam.Quantile(x, .5),
			coldseam.Quantile(x, .75), coldseam.Quantile(x, .95)}
	}
	return r
}

func (r record) print(w io.Writer) {
	fmt.Fprintf(w, "\nDaily flow, %d days since %s, %d full years, cfs:\n", r.days, r.first, r.years)
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "\tP5\tP25\tP50\tP75\tP95\t")

	for m := time.January; m <= time.December; m++ {
		q, ok := r.months[m]
		if !ok {
			continue
		}
		fmt.Fprintf(tw, "%s", m.String()[:3])
		for _, v := range q {
			fmt.Fprintf(tw, "\t%.0f", coldseam.CFS(v))
		}
		fmt.Fprintln(tw, "\t")
	}

	_ = tw.Flush() // the terminal
	fmt.Fprintf(w, "Whole record: P95 %.0f, highest day %.0f.\n", coldseam.CFS(r.p95), coldseam.CFS(r.max))
	if r.years < 10 {
		fmt.Fprintf(w, "Under 10 years: no percentile words, and max_flow alone limits the flow.\n")
	}
}

// limitCFS keeps two digits, rounded down: a limit is no measurement, and none
// is raised by writing it.
func limitCFS(m3s float64) float64 {
	v := coldseam.CFS(m3s)
	if v <= 0 {
		return 0
	}
	e := math.Pow(10, math.Floor(math.Log10(v))-1)
	return math.Floor(v/e+1e-9) * e
}

// propose gives a reach the smallest candidate as its limit, not confirmed.
func propose(r *coldseam.Reach, limits []coldseam.FlowCandidate) {
	if len(limits) == 0 {
		return
	}
	v := limitCFS(limits[0].FlowM3S) * coldseam.CubicMPerCFS
	r.MaxFlowM3S, r.MaxFlowProposed = &v, true
	r.MaxFlowWhy = "proposed: " + morning.CandidateWords(limits[0])
}

var notSlug = regexp.MustCompile(`[^a-z0-9]+`)

func slug(s string) string {
	return strings.Trim(notSlug.ReplaceAllString(strings.ToLower(s), "-"), "-")
}

// reach is the proposal: everything that can be found out, nothing guessed.
func (c *siteAddCmd) reach(a *parts.Parts, s coldseam.Site) coldseam.Reach {
	river := c.River
	if river == "" {
		river = s.Name
		for _, cut := range []string{" at ", " near ", " below ", " above ", " nr "} {
			if i := strings.Index(strings.ToLower(river), cut); i > 0 {
				river = river[:i]
			}
		}
	}

	if river = plainText(river); river == "" {
		river = s.Code
	}
	id := c.ID
	if id == "" {
		id = slug(river + " " + c.Name)
	}

	out := coldseam.Reach{
		ID:            coldseam.ReachID(id),
		River:         river,
		Name:          c.Name,
		Site:          s.ID,
		Zone:          c.Zone,
		Lat:           c.Lat,
		Lon:           c.Lon,
		Species:       []string{"walleye"},
		ResidentShare: 0.15,
		TargetRate:    a.Env.Config.Odds.TargetRate,
	}
	for _, p := range a.Env.Config.Profiles {
		switch {
		case p.Format == ingest.FormatCAP && out.AlertFeed == "":
			out.AlertFeed = p.Name
		case forecastProfile(p) && out.WeatherSite == "":
			out.WeatherSite = p.SiteID(string(out.ID))
		}
	}

	return out
}

func forecastProfile(p ingest.Profile) bool {
	return p.Kind == "forecast" || p.Format == ingest.FormatCovJSON || p.Format == ingest.FormatGridpoint
}

// replay shows what the mornings of the last spring and autumn would have read.
func (c *siteAddCmd) replay(ctx context.Context, w io.Writer, a *parts.Parts, r coldseam.Reach) error {
	spans := c.seasons
	if spans == nil {
		spans = morning.LastSeasons(coldseam.DateOf(a.Env.Now().In(env.Zone(r.Zone))))
	}
	fmt.Fprintln(w, "\nThe last spring and autumn again:")
	seasons, err := a.Morning.RenewSeasons(ctx, r, spans, w)
	if err != nil {
		return err
	}
	return strip.Text(w, seasons, "us", false)
}

// write appends the commented block, or shows it.
func (c *siteAddCmd) write(w io.Writer, a *parts.Parts, p ingest.Profile, s coldseam.Site, r coldseam.Reach,
	x candidate) error {
	for _, have := range a.Env.Config.Reaches {
		if have.ID == string(r.ID) {
			return env.Fail(1, fmt.Sprintf("there is a reach %q already: give another --id", r.ID))
		}
	}

	block := c.block(a, p, s, r, x)
	if c.DryRun || a.Env.Config.Path == "" {
		fmt.Fprintf(w, "\nDry run. This would be added to the configuration:\n\n%s", block)
		return nil
	}
	if err := appendConfig(a.Env.Config.Path, block); err != nil {
		return err
	}
	fmt.Fprintf(w, "\nAdded to %s: gauge %s, reach %q. Now fill in, in this order:\n", a.Env.Config.Path, s.ID, r.ID)

	for i, what := range []string{
		"max_flow_cfs: the proposal stops from today, and GO is capped until somebody who knows the reach has said it: `coldseam reach limit confirm " + string(r.ID) + " --craft boat --why ...`. A wader's limit is another one: --craft wade.",
		"hazards: dams, strainers, shelf ice, releases; then hazards_surveyed = true. Until then TOSS-UP at best.",
		"[[reach.rule]] season with link and the day you checked it. Without it NO CALL.",
		"weather: the id of a forecast point, a [[site]] of a forecast profile; alerts: the profile of the official warnings. Ready ones are in deploy/profiles.toml. Without both NO CALL.",
		"flood stage, gauge_code and alert_zones from the agency's flood page.",
		"count_site: ask whether a weir, ladder or antenna on the river publishes daily counts. Yesterday's count tells more of today's wave than any forecast.",
		"[[reach.spot]]: a sounded depth and five timed floats at each. Without a depth there is no weight.",
	} {
		fmt.Fprintf(w, "%d. %s\n", i+1, what)
	}

	fmt.Fprintln(w, "Then `coldseam fetch`, which enters the river and asks its feeds, and `coldseam check`.")
	return nil
}

// block is the text to append. It says where each number comes from.
func (c *siteAddCmd) block(a *parts.Parts, p ingest.Profile, s coldseam.Site, r coldseam.Reach, x candidate) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	have := map[string]bool{}
	for _, y := range a.Env.Config.Sites {
		have[y.ID] = true
	}
	line("\n# --- %s, added by `coldseam site add` on %s.", r.River, coldseam.DateOf(a.Env.Now().In(env.Zone(c.Zone))))

	if !have[string(s.ID)] {
		line("[[site]]\nid = %q\nprofile = %q\ncode = %q\nname = %q\nzone = %q\nlat = %.4f\nlon = %.4f", s.ID, p.Name,
			s.Code, s.Name, s.Zone, s.Lat, s.Lon)
		if s.DrainageKM2 != nil {
			line("drainage_km2 = %.0f", *s.DrainageKM2)
		}
		if s.DailyOnly {
			line("daily_only = true              # once a day: never GO")
		}
		line("parameters = [%s]", x.params())
	}

	if r.WeatherSite != "" && !have[string(r.WeatherSite)] {
		for _, y := range a.Env.Config.Profiles {
			if forecastProfile(y) && y.SiteID(string(r.ID)) == r.WeatherSite {
				line("\n[[site]]                        # the point of the weather forecast\nid = %q\nprofile = %q\ncode = %q\nname = %q\nzone = %q\nlat = %.4f\nlon = %.4f",
					r.WeatherSite, y.Name, r.ID, "Weather for "+r.River, c.Zone, c.Lat, c.Lon)
				break
			}
		}
	}

	if r.StageSite != "" && !have[string(r.StageSite)] {
		_, code, _ := strings.Cut(string(r.StageSite), ":")
		line("\n[[site]]                        # the point of the official stages\nid = %q\nprofile = %q\ncode = %q\nname = %q\nzone = %q\nlat = %.4f\nlon = %.4f",
			r.StageSite, c.flood.Name, code, "Official stages of "+r.River, c.Zone, s.Lat, s.Lon)
	}

	line("\n[[reach]]\nid = %q\nriver = %q\nname = %q\nsite = %q", r.ID, r.River, r.Name, s.ID)
	if _, ok := x.has(coldseam.WaterTemp, false); !ok && len(x.series) > 0 {
		line("#temp_site = \"\"                # this gauge has no thermometer: a neighbour that has one")
	}
	if c.Counter != "" {
		line("count_site = %q", c.Counter)
	} else {
		line("#count_site = \"\"               # is there a weir, ladder or antenna that counts fish? A [[site]] with parameters = [\"fish_count\"], a sum a day: its counts lead the wave odds")
	}

	if r.WeatherSite != "" {
		line("weather = %q", r.WeatherSite)
	} else {
		line("#weather = \"\"                  # id of a forecast point: without it NO CALL")
	}

	if r.AlertFeed != "" {
		line("alerts = %q", r.AlertFeed)
	} else {
		line("#alerts = \"\"                   # profile of the official warnings: without it NO CALL")
	}

	line("zone = %q\nlat = %.4f\nlon = %.4f", r.Zone, r.Lat, r.Lon)
	line("gauge_km = 0.0                  # river distance from gauge to reach, downstream positive; about %.1f km as the crow flies", x.km)
	if r.MaxFlowM3S != nil {
		flow := limitCFS(*r.MaxFlowM3S)
		line("max_flow_cfs = %.6g            # PROPOSED: a boat's ceiling, no go above it. Not yet looked at by anybody who knows the reach\nmax_flow_why = %q", flow, r.MaxFlowWhy)
		line("max_flow_proposed_cfs = %.6g   # while both are equal GO is capped: confirm it, or write your own above",
			flow)
	}
	line("%s", c.floodLines(r, a.Env.Now()))
	line("hazards_surveyed = false        # true once the list is filled by somebody who ran the reach\nhazards = []\nspecies = [\"walleye\"]\nwhy = \"first entry\"")

	line(`  #[[reach.rule]]               # without a season rule checked by a person: NO CALL
  #kind = "season"
  #species = "walleye"
  #closed = []                  # "MM-DD..MM-DD"
  #text = ""
  #link = ""
  #checked_on = ""              # YYYY-MM-DD
  #checked_by = ""              # a role
  #[[reach.spot]]
  #id = ""
  #name = ""
  #kind = "seam"                # hole, seam, slack, dunes, shallow, main
  #depth_ft = 0.0               # sounded, never guessed
  #sounded = ""
  #float_fps = 0.0              # mean of five floats
  #float_on = ""`)

	return b.String()
}

// params lists what the gauge measures; all three where the agency did not
// say.
func (c candidate) params() string {
	var out []string
	for _, p := range []coldseam.Parameter{coldseam.Discharge, coldseam.Stage, coldseam.WaterTemp, coldseam.Turbidity} {
		_, short := c.has(p, false)
		_, mean := c.has(p, true)
		if short || mean || len(c.series) == 0 && p != coldseam.Turbidity {
			out = append(out, fmt.Sprintf("%q", p))
		}
	}
	return strings.Join(out, ", ")
}
