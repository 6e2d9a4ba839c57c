package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/detect"
)

// parseCmd shows what a feed document contains, without a database.
type parseCmd struct {
	JSON    bool   `help:"Print JSON instead of a table."`
	Profile string `help:"Read the document as this [[profile]] of the configuration would, or one of its endpoints." placeholder:"NAME[/ENDPOINT]"`
	Site    string `help:"The station that was asked for, where the document does not say." placeholder:"CODE"`
	Param   string `name:"parameter" help:"The agency's code of the parameter that was asked for, where the document does not say." placeholder:"CODE"`
	Unit    string `help:"The unit of every series, where the document carries none, such as ft3/s."`
	Zone    string `help:"IANA zone of stamps without one, such as America/Chicago."`
	File    string `arg:"" help:"The document." type:"path"`
}

// parsedSeries is one series as `parse --json` prints it.
type parsedSeries struct {
	Provider  string         `json:"provider"`
	Site      string         `json:"site"`
	Series    string         `json:"series"`
	Parameter string         `json:"parameter"`
	Statistic string         `json:"statistic"`
	UnitFound string         `json:"unit_found"`
	Unit      string         `json:"unit"`
	Count     int            `json:"count"`
	Missing   int            `json:"missing"`
	Repeated  int            `json:"repeated,omitempty"`
	Period    string         `json:"period,omitempty"`
	UnitFrom  string         `json:"unit_from,omitempty"`
	First     *parsedPoint   `json:"first"`
	Last      *parsedPoint   `json:"last"`
	Flags     map[string]int `json:"flags"`
	Forecast  bool           `json:"forecast,omitempty"`
	Issued    *time.Time     `json:"issued,omitempty"`
}

type parsedPoint struct {
	At    time.Time `json:"at"`
	Value *float64  `json:"value"`
}

type parsedAlert struct {
	Identifier string    `json:"identifier"`
	Event      string    `json:"event"`
	Expires    time.Time `json:"expires"`
	Areas      []string  `json:"areas"`
}

type parsedDocument struct {
	Format   string                `json:"format"`
	Series   []parsedSeries        `json:"series"`
	Alerts   []parsedAlert         `json:"alerts"`
	Gaugings int                   `json:"gaugings,omitempty"`
	Floods   []coldseam.FloodLevel `json:"flood_levels,omitempty"`
	Skipped  []ingest.Skipped      `json:"skipped"`
	Notes    []string              `json:"notes,omitempty"`
	Next     string                `json:"next,omitempty"`
	Links    []string              `json:"links,omitempty"`
	Entries  []ingest.Entry        `json:"entries,omitempty"`
}

// Run parses the file; a refused document is exit status 1 and one line.
func (c *parseCmd) Run(s *env.Streams, g *env.Globals) error {
	p, err := feeds.ProfileFor(g, c.Profile, c.Unit, c.Zone)
	if err != nil {
		return env.Fail(2, err.Error())
	}
	p.RequestSite, p.RequestParameter = c.Site, c.Param
	f, err := os.Open(c.File)
	if err != nil {
		return env.Fail(2, err.Error())
	}
	defer f.Close()

	b, err := detect.Parse(f, p)
	if err != nil {
		return env.Fail(1, env.OneLine(fmt.Sprintf("%s: %v", filepath.Base(c.File), err)))
	}
	doc := describe(b, p)
	if c.JSON {
		enc := json.NewEncoder(s.Out)
		enc.SetIndent("", "  ")
		return enc.Encode(doc)
	}

	return doc.print(s)
}

// describe boils a batch down to what the command prints.
func describe(b ingest.Batch, p ingest.Profile) parsedDocument {
	d := parsedDocument{
		Format:   b.Format,
		Series:   []parsedSeries{},
		Alerts:   []parsedAlert{},
		Gaugings: len(b.Gaugings),
		Floods:   b.FloodLevels,
		Skipped:  b.Skipped,
		Notes:    b.Notes,
		Next:     b.Next,
		Links:    b.Links,
		Entries:  b.Entries,
	}
	if d.Skipped == nil {
		d.Skipped = []ingest.Skipped{}
	}
	// A forecast has no series id, so that it finds its unit without one.
	metas := map[coldseam.SeriesKey]ingest.SeriesMeta{}
	for _, m := range b.Meta {
		metas[m.Key] = m
		m.Key.SeriesRef = ""
		if _, ok := metas[m.Key]; !ok {
			metas[m.Key] = m
		}
	}
	for _, s := range b.Series {
		d.Series = append(d.Series, describeSeries(s, metas[s.SeriesKey]))
	}

	for _, f := range b.Forecasts {
		k := coldseam.SeriesKey{Site: f.Site, Param: f.Param, Stat: f.Stat, Period: f.Period, Provider: f.Provider}
		x := parsedSeries{
			Provider:  f.Provider,
			Site:      string(f.Site),
			Parameter: string(f.Param),
			Statistic: string(f.Stat),
			Period:    f.Period,
			UnitFound: metas[k].Unit,
			UnitFrom:  metas[k].UnitFrom,
			Unit:      f.Param.Unit(),
			Count:     len(f.At),
			Missing:   metas[k].Missing,
			Flags:     map[string]int{},
			Forecast:  true,
		}
		if !f.Issued.IsZero() {
			x.Issued = &f.Issued
		}
		if n := len(f.At); n > 0 {
			x.First = &parsedPoint{f.At[0], &f.Value[0]}
			x.Last = &parsedPoint{f.At[n-1], &f.Value[n-1]}
		}
		d.Series = append(d.Series, x)
	}

	for _, a := range b.Alerts {
		x := parsedAlert{Identifier: a.Identifier, Event: a.Event, Expires: a.End, Areas: []string{}}
		for _, ar := range a.Areas {
			x.Areas = append(x.Areas, ar.Desc)
		}
		d.Alerts = append(d.Alerts, x)
	}

	return d
}

func describeSeries(s coldseam.Series, m ingest.SeriesMeta) parsedSeries {
	x := parsedSeries{
		Provider:  s.Provider,
		Site:      string(s.Site),
		Series:    s.SeriesRef,
		Parameter: string(s.Param),
		Statistic: string(s.Stat),
		Period:    s.Period,
		UnitFound: m.Unit,
		UnitFrom:  m.UnitFrom,
		Unit:      s.Param.Unit(),
		Repeated:  m.Duplicates,
		Count:     len(s.Obs),
		Flags:     map[string]int{},
	}
	for i := range s.Obs {
		o := &s.Obs[i]
		for _, n := range o.Flag.Names() {
			x.Flags[n]++
		}
		if o.Flag&coldseam.Missing != 0 {
			x.Missing++
		}
	}

	point := func(o coldseam.Observation) *parsedPoint {
		if o.Flag&coldseam.Missing != 0 {
			return &parsedPoint{At: o.At}
		}
		return &parsedPoint{o.At, &o.Value}
	}
	if n := len(s.Obs); n > 0 {
		x.First, x.Last = point(s.Obs[0]), point(s.Obs[n-1])
	}
	return x
}

func (d parsedDocument) print(s *env.Streams) error {
	fmt.Fprintf(s.Out, "format %s, %d series, %d alerts\n", d.Format, len(d.Series), len(d.Alerts))
	for _, x := range d.Series {
		fmt.Fprintln(s.Out, "  "+x.line())
	}
	for _, a := range d.Alerts {
		fmt.Fprintf(s.Out, "  alert %s: %s until %s: %s\n", a.Identifier, a.Event, a.Expires.Format(time.RFC3339),
			strings.Join(a.Areas, "; "))
	}
	if d.Gaugings > 0 {
		fmt.Fprintf(s.Out, "  %d measurements at the gauge\n", d.Gaugings)
	}

	for _, l := range d.Floods {
		fmt.Fprintf(s.Out, "  %s flood level %s: %s %.4g %s, told of gauge %q\n", l.Site, l.Kind, l.Param, l.Value, l.Param.Unit(), l.Gauge)
	}
	for _, k := range d.Skipped {
		fmt.Fprintf(s.Out, "  skipped %s: %s (%s, %d)\n", k.What, k.Why, k.Code, k.N)
	}
	for _, n := range d.Notes {
		fmt.Fprintf(s.Out, "  note: %s\n", n)
	}
	for _, e := range d.Entries {
		fmt.Fprintf(s.Out, "  entry %s: %s\n", cmp.Or(e.Title, e.ID), cmp.Or(e.Link, "no link"))
	}
	if d.Next != "" {
		fmt.Fprintf(s.Out, "  goes on at %s\n", d.Next)
	}
	for _, l := range d.Links {
		fmt.Fprintf(s.Out, "  a part goes on at %s\n", l)
	}
	return nil
}

// line is the series in one line.
func (x parsedSeries) line() string {
	out := fmt.Sprintf("%s %s %s%s", x.Site, x.Parameter, x.Statistic, x.Period)
	if x.Series != "" {
		out += " (series " + x.Series + ")"
	}
	if x.Forecast {
		out += ", forecast"
		if x.Issued != nil {
			out += " of " + x.Issued.Format(time.RFC3339)
		}
	}
	out += fmt.Sprintf(": %d values, %d missing", x.Count, x.Missing)
	if x.Repeated > 0 {
		out += fmt.Sprintf(", %d repeated", x.Repeated)
	}

	span := "empty"
	if x.First != nil {
		span = x.First.At.Format(time.RFC3339) + " to " + x.Last.At.Format(time.RFC3339)
	}
	out += fmt.Sprintf(", %s, found in %q", span, x.UnitFound)
	if x.UnitFrom == "profile" {
		out += " by the profile"
	}
	return out + ", kept in " + x.Unit + flagWords(x.Flags)
}

func flagWords(flags map[string]int) string {
	if len(flags) == 0 {
		return ""
	}
	names := make([]string, 0, len(flags))
	for n := range flags {
		names = append(names, n)
	}
	sort.Strings(names)
	for i, n := range names {
		names[i] = fmt.Sprintf("%s %d", n, flags[n])
	}
	return ", flags: " + strings.Join(names, ", ")
}
