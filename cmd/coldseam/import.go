package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/document"
	"example.org/coldseam/ingest/table"
	"example.org/coldseam/store"
)

// importCmd loads documents and tables from files. What is imported is known
// from now on: replays of past mornings say so.
type importCmd struct {
	Files   []string `arg:"" help:"Feed documents or tables (date,flow_m3s,water_c,air_c)." type:"existingfile"`
	Site    string   `help:"The gauge a table belongs to, as provider:code; needed for tables."`
	Name    string   `help:"Name of the gauge, where it is new."`
	Zone    string   `help:"IANA zone of the gauge." default:""`
	Lat     float64  `help:"Latitude of the gauge, degrees north."`
	Lon     float64  `help:"Longitude, degrees east."`
	Profile string   `help:"Read documents as this [[profile]] would."`
	Map     string   `help:"A column map (TOML) for tables of another layout." type:"existingfile"`
	Unit    string   `help:"The unit of every series, where a document carries none."`
	DryRun  bool     `help:"Show what the files hold and store nothing."`
	Trips   bool     `help:"The tables are trip logs."`
}

// Run imports file by file; a refused file stores nothing and does not stop
// the others.
func (c *importCmd) Run(ctx context.Context, s *streams, g *Globals) error {
	cfg, err := loadConfig(g.Config)
	if err != nil {
		return exitCode{2, err.Error()}
	}
	a, err := build(ctx, cfg, buildOptions{log: newLogger(s.err, slog.LevelWarn), migrate: true})
	if err != nil {
		return err
	}
	defer a.Close()
	return c.files(ctx, s.out, g, a)
}

func (c *importCmd) files(ctx context.Context, w io.Writer, g *Globals, a *app) error {
	if c.Trips {
		if err := a.syncRivers(ctx); err != nil {
			return err
		}
	}
	failed := 0
	for _, f := range c.Files {
		if err := c.one(ctx, w, g, a, f); err != nil {
			failed++
			fmt.Fprintln(w, oneLine(fmt.Sprintf("%s: refused: %v", filepath.Base(f), err)))
		}
	}
	if failed > 0 {
		return exitCode{1, fmt.Sprintf("%d of %d files refused", failed, len(c.Files))}
	}
	return nil
}

func (c *importCmd) one(ctx context.Context, w io.Writer, g *Globals, a *app, path string) error {
	if c.Trips {
		return c.trips(ctx, w, a, path)
	}
	b, err := c.read(g, path)
	if err != nil {
		return err
	}
	known := a.now()
	for i := range b.Series {
		for k := range b.Series[i].Obs {
			b.Series[i].Obs[k].KnownAt = known
		}
		b.Series[i].Obs = ingest.Check(b.Series[i], ingest.SiteLimits{}, known).Obs
	}
	first, last, n := span(b)
	what := fmt.Sprintf("%s: %s, %d series, %d values", filepath.Base(path), b.Format, len(b.Series), n)
	if n > 0 {
		what += ", " + first.Format(time.DateOnly) + " to " + last.Format(time.DateOnly)
	}
	for _, more := range []struct {
		n    int
		what string
	}{{len(b.Forecasts), "forecasts"}, {len(b.Alerts), "alerts"}, {len(b.Gaugings), "gaugings"}} {
		if more.n > 0 {
			what += fmt.Sprintf(", %d %s", more.n, more.what)
		}
	}
	for _, k := range b.Skipped {
		what += fmt.Sprintf("; skipped %s: %s", k.What, k.Why)
	}
	if c.DryRun {
		fmt.Fprintln(w, what+"; dry run, nothing stored")
		return nil
	}
	added, revised, err := c.store(ctx, a, b)
	fmt.Fprintf(w, "%s; %d new, %d revised\n", what, added, revised)
	return err
}

// read parses a table by its header or map, anything else as a document.
func (c *importCmd) read(g *Globals, path string) (ingest.Batch, error) {
	f, err := os.Open(path)
	if err != nil {
		return ingest.Batch{}, err
	}
	defer f.Close()
	br := bufio.NewReader(f)
	head, _ := br.Peek(4096)
	line, _, _ := strings.Cut(strings.TrimPrefix(string(head), "\ufeff"), "\n")
	columns, isTable := table.DailyColumns(strings.TrimSpace(line))
	if c.Map != "" || isTable {
		return c.readTable(br, columns)
	}
	p, err := (&parseCmd{Profile: c.Profile, Unit: c.Unit, Zone: c.Zone}).profile(g)
	if err != nil {
		return ingest.Batch{}, err
	}
	return document.Parse(br, p)
}

func (c *importCmd) readTable(r io.Reader, columns []string) (ingest.Batch, error) {
	provider, code, ok := strings.Cut(c.Site, ":")
	if !ok || provider == "" || code == "" {
		return ingest.Batch{}, fmt.Errorf("--site is %q; a table wants provider:code, such as survey:04024000: %w", c.Site, coldseam.ErrInvalid)
	}
	if _, err := time.LoadLocation(c.Zone); err != nil || c.Zone == "" {
		return ingest.Batch{}, fmt.Errorf("--zone is %q; a table wants an IANA zone for its civil days: %w", c.Zone, coldseam.ErrInvalid)
	}
	m := table.DailyMap(code, c.Zone, columns...)
	if c.Map != "" {
		m = table.Map{}
		md, err := toml.DecodeFile(c.Map, &m)
		if err != nil {
			return ingest.Batch{}, fmt.Errorf("%s: %w", c.Map, err)
		}
		if un := md.Undecoded(); len(un) > 0 {
			return ingest.Batch{}, fmt.Errorf("%s: unknown key %q: %w", c.Map, un[0].String(), coldseam.ErrInvalid)
		}
		if m.Site == "" && m.SiteColumn == "" {
			m.Site = code
		}
		if m.Zone == "" {
			m.Zone = c.Zone
		}
	}
	b, report, err := table.Parse(r, ingest.Profile{Name: provider, Provider: provider, Zone: c.Zone}.WithDefaults(), m)
	if err != nil {
		return b, err
	}
	for _, x := range report.Examples {
		b.Skipped = append(b.Skipped, ingest.Skipped{What: fmt.Sprintf("line %d", x.Line), Why: x.Why, N: 1})
	}
	return b, nil
}

// store enters unknown sites, then everything of the batch.
func (c *importCmd) store(ctx context.Context, a *app, b ingest.Batch) (added, revised int, err error) {
	meta := map[coldseam.SiteID]ingest.SiteMeta{}
	for _, m := range b.Sites {
		meta[m.ID] = m
	}
	seen := map[coldseam.SiteID]bool{}
	for _, s := range b.Series {
		if seen[s.Site] {
			continue
		}
		seen[s.Site] = true
		if err := c.enterSite(ctx, a, s.Site, meta[s.Site]); err != nil {
			return 0, 0, err
		}
	}
	added, revised, err = a.db.UpsertSeries(ctx, 0, b.Series)
	return added, revised, errors.Join(err, a.db.SaveForecasts(ctx, b.Forecasts), a.db.SaveAlerts(ctx, b.Alerts), a.db.SaveGaugings(ctx, b.Gaugings))
}

func (c *importCmd) enterSite(ctx context.Context, a *app, id coldseam.SiteID, m ingest.SiteMeta) error {
	if _, err := a.db.Site(ctx, id); err == nil || !errors.Is(err, coldseam.ErrNotFound) {
		return err
	}
	provider, code, _ := strings.Cut(string(id), ":")
	s := coldseam.Site{ID: id, Provider: provider, Code: code, Name: c.Name, Zone: c.Zone, Lat: c.Lat, Lon: c.Lon}
	if s.Name == "" {
		s.Name = m.Name
	}
	if s.Lat == 0 && s.Lon == 0 {
		s.Lat, s.Lon = m.Lat, m.Lon
	}
	if s.Zone == "" {
		s.Zone = a.cfg.Club.Zone
	}
	return a.db.PutSite(ctx, s)
}

func span(b ingest.Batch) (first, last time.Time, n int) {
	for _, s := range b.Series {
		n += len(s.Obs)
		if len(s.Obs) == 0 {
			continue
		}
		if first.IsZero() || s.Obs[0].At.Before(first) {
			first = s.Obs[0].At
		}
		if s.Obs[len(s.Obs)-1].At.After(last) {
			last = s.Obs[len(s.Obs)-1].At
		}
	}
	return first, last, n
}

// trips imports a paper log.
func (c *importCmd) trips(ctx context.Context, w io.Writer, a *app, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	reaches, err := a.db.Reaches(ctx)
	if err != nil {
		return err
	}
	list, err := readTrips(f, reaches)
	if err != nil {
		return err
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].Date.Before(list[j].Date) })
	if c.DryRun {
		fmt.Fprintf(w, "%s: %d trips; dry run, nothing stored\n", filepath.Base(path), len(list))
		return nil
	}
	added, twice := 0, 0
	for _, t := range list {
		t.EnteredAt, t.Source = a.now(), "csv"
		_, ok, err := a.db.AddTrip(ctx, t)
		if err != nil {
			return err
		}
		if !ok {
			twice++
			continue
		}
		added++
		if err := a.logRig(ctx, t); err != nil {
			return err
		}
	}
	fmt.Fprintf(w, "%s: %d trips, %d new, %d there already\n", filepath.Base(path), len(list), added, twice)
	return nil
}

var _ ingest.Sink = (*store.DB)(nil)
