package setup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/cmd/internal/triplog"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/detect"
	"example.org/coldseam/ingest/table"
	"example.org/coldseam/ingest/waterml"
	"example.org/coldseam/store"
)

// Import loads documents and tables from files. What is imported is known
// from now on: replays of past mornings say so.
type Import struct {
	Files   []string `arg:"" help:"Feed documents or tables (date,flow_m3s,water_c,air_c)." type:"existingfile"`
	Site    string   `help:"The gauge a table belongs to, as provider:code; needed for tables."`
	Name    string   `help:"Name of the gauge, where it is new."`
	Zone    string   `help:"IANA zone of the gauge." default:""`
	Lat     float64  `help:"Latitude of the gauge, degrees north."`
	Lon     float64  `help:"Longitude, degrees east."`
	Profile string   `help:"Read documents as this [[profile]] would."`
	Map     string   `help:"A column map (TOML) for tables and trip logs of another layout." type:"existingfile"`
	Unit    string   `help:"The unit of every series, where a document carries none."`
	OpenEnd bool     `help:"Take a table whose last line has no line end; else it counts as cut short."`
	DryRun  bool     `help:"Show what the files hold and store nothing."`
	Trips   bool     `help:"The tables are trip logs."`
	Rating  bool     `help:"The table is a rating (stage_m or stage_ft, discharge_m3s or discharge_cfs) of a gauge that reports stage alone."`
	Since   string   `help:"The day a rating came into force, YYYY-MM-DD." placeholder:"DATE"`
	Zero    float64  `help:"Stage of zero flow of a rating, in the unit of its stages."`

	fed map[coldseam.SiteID]bool // gauges of which values were stored
}

// Run imports file by file; a refused file stores nothing and does not stop
// the others.
func (c *Import) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	cfg, err := config.Load(g.Config)
	if err != nil {
		return env.Fail(2, err.Error())
	}
	a, err := parts.Open(ctx, cfg, env.Options{Log: env.NewLogger(s.Err, slog.LevelWarn), Migrate: true})
	if err != nil {
		return err
	}
	defer a.Close()
	return c.files(ctx, s.Out, g, a)
}

func (c *Import) files(ctx context.Context, w io.Writer, g *env.Globals, a *parts.Parts) error {
	if c.Trips {
		if err := a.Env.SyncRivers(ctx); err != nil {
			return err
		}
	}
	failed := 0
	c.fed = map[coldseam.SiteID]bool{}
	for _, f := range c.Files {
		if err := c.one(ctx, w, g, a, f); err != nil {
			failed++
			fmt.Fprintln(w, env.OneLine(fmt.Sprintf("%s: refused: %v", filepath.Base(f), err)))
		}
	}
	if err := c.renewPages(ctx, a); err != nil {
		return err
	}
	if failed > 0 {
		return env.Fail(1, fmt.Sprintf("%d of %d files refused", failed, len(c.Files)))
	}
	return nil
}

// renewPages asks the service to replay the last seasons of the reaches whose
// record has grown.
func (c *Import) renewPages(ctx context.Context, a *parts.Parts) error {
	if len(c.fed) == 0 {
		return nil
	}
	reaches, err := a.Env.DB.Reaches(ctx)
	for _, r := range reaches {
		if c.fed[r.Site] || c.fed[r.TempSite] || c.fed[r.AirSite] {
			err = errors.Join(err, a.Env.DB.Enqueue(ctx, store.SeasonsArgs{Reach: r.ID, Asked: a.Env.Now()}))
		}
	}
	return err
}

func (c *Import) one(ctx context.Context, w io.Writer, g *env.Globals, a *parts.Parts, path string) error {
	switch {
	case c.Trips:
		return c.trips(ctx, w, a, path)
	case c.Rating:
		return c.rating(ctx, w, a, path)
	}
	in := &importer{
		Import:   c,
		ctx:      ctx,
		app:      a,
		keys:     map[coldseam.SeriesKey]bool{},
		pending:  map[coldseam.SeriesKey][]coldseam.Observation{},
		nameless: map[coldseam.SiteID]bool{},
	}
	if err := c.read(g, path, in); err != nil {
		return err
	}
	if err := in.finish(); err != nil {
		return err
	}
	if in.added+in.revised > 0 && !c.DryRun {
		for k := range in.keys {
			c.fed[k.Site] = true
		}
	}
	fmt.Fprintln(w, filepath.Base(path)+": "+in.words())
	return nil
}

// maxFile bounds a file of a format that is read as a whole. WaterML 2 has no
// bound: it streams.
const maxFile = 512 << 20

// read parses a table by its header or map, anything else as a document, and
// gives what is in it to the importer. Nothing is given out of a refused file.
func (c *Import) read(g *env.Globals, path string, in *importer) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return err
	}

	head := make([]byte, 64<<10)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return err
	}
	head = head[:n]
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return err
	}

	line, _, _ := strings.Cut(strings.TrimPrefix(string(head), "\ufeff"), "\n")
	columns, isTable := table.DailyColumns(strings.TrimSpace(line))
	if c.Map != "" || isTable {
		b, report, err := c.readTable(f, columns)
		if err != nil {
			return err
		}
		in.report = &report
		return in.take(b)
	}

	p, err := feeds.ProfileFor(g, c.Profile, c.Unit, c.Zone)
	if err != nil {
		return err
	}

	in.p = p
	large := st.Size() > p.MaxBodyBytes
	p.MaxBodyBytes = max(p.MaxBodyBytes, min(st.Size(), maxFile))
	if large && p.EncodingOverride == "" && (p.Format == ingest.FormatWaterML2 || p.Format == "" &&
		detect.Format(head) == ingest.FormatWaterML2) {
		return waterml.Stream(f, p, in.take)
	}
	b, err := detect.Parse(f, p)
	if err != nil && strings.ContainsAny(line, ",;\t") && !strings.ContainsAny(line[:1], "<{[") {
		return fmt.Errorf("its first line is %q; a daily table begins date,flow_m3s,water_c,air_c (any of the three, commas between); say with --map how another layout is to be read: %w",
			clipped(line), coldseam.ErrInvalid)
	}

	if err != nil {
		return err
	}

	return in.take(b)
}

// clipped is a line of a file in a message.
func clipped(s string) string {
	s = strings.TrimSpace(s)
	if len(s) > 80 {
		return strings.ToValidUTF8(s[:80], "") + "..."
	}
	return s
}

func (c *Import) readTable(r io.Reader, columns []string) (ingest.Batch, table.Report, error) {
	provider, code, ok := strings.Cut(c.Site, ":")
	if !ok || provider == "" || code == "" {
		return ingest.Batch{}, table.Report{},
			fmt.Errorf("--site is %q; a table wants provider:code, such as survey:04024000: %w", c.Site,
				coldseam.ErrInvalid)
	}
	if _, err := time.LoadLocation(c.Zone); err != nil || c.Zone == "" {
		return ingest.Batch{}, table.Report{},
			fmt.Errorf("--zone is %q; a table wants an IANA zone for its civil days: %w", c.Zone, coldseam.ErrInvalid)
	}
	m := table.DailyMap(code, c.Zone, columns...)

	if c.Map != "" {
		m = table.Map{}
		md, err := toml.DecodeFile(c.Map, &m)
		if err != nil {
			return ingest.Batch{}, table.Report{}, fmt.Errorf("%s: %w", c.Map, err)
		}

		if un := md.Undecoded(); len(un) > 0 {
			return ingest.Batch{}, table.Report{}, fmt.Errorf("%s: unknown key %q: %w", c.Map, un[0].String(),
				coldseam.ErrInvalid)
		}
		if m.Site == "" && m.SiteColumn == "" {
			m.Site = code
		}
		if m.Zone == "" {
			m.Zone = c.Zone
		}
	}

	b, report, err := table.Parse(r, ingest.Profile{
		Name:         provider,
		Provider:     provider,
		Zone:         c.Zone,
		MaxBodyBytes: maxFile,
	}.WithDefaults(), m)
	if err != nil {
		return b, report, err
	}

	if report.OpenEnd && !c.OpenEnd { // a number cut in two is a number
		return ingest.Batch{}, report,
			fmt.Errorf("the last line has no line end, so the file may be cut short: look at it, then --open-end: %w",
				coldseam.ErrInvalid)
	}
	for _, x := range slices.Concat(report.Examples, report.Repeats) {
		b.Skipped = append(b.Skipped, ingest.Skipped{What: fmt.Sprintf("line %d", x.Line), Code: ingest.CodeRow, Why: x.Why, N: 1})
	}
	return b, report, nil
}

// enterSite enters a gauge that is not known yet.
func (c *Import) enterSite(ctx context.Context, a *parts.Parts, id coldseam.SiteID,
	m ingest.SiteMeta) (entered bool, err error) {
	if _, err := a.Env.DB.Site(ctx, id); err == nil || !errors.Is(err, coldseam.ErrNotFound) {
		return false, err
	}
	return true, a.Env.DB.PutSite(ctx, c.siteOf(a, id, m))
}

func (c *Import) siteOf(a *parts.Parts, id coldseam.SiteID, m ingest.SiteMeta) coldseam.Site {
	provider, code, _ := strings.Cut(string(id), ":")
	s := coldseam.Site{ID: id, Provider: provider, Code: code, Name: c.Name, Zone: c.Zone, Lat: c.Lat, Lon: c.Lon}
	if s.Name == "" {
		s.Name = m.Name
	}
	if s.Lat == 0 && s.Lon == 0 {
		s.Lat, s.Lon = m.Lat, m.Lon
	}
	if s.Zone == "" {
		s.Zone = a.Env.Config.Club.Zone
	}
	return s
}

// trips imports a paper log.
func (c *Import) trips(ctx context.Context, w io.Writer, a *parts.Parts, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	reaches, err := a.Env.DB.Reaches(ctx)
	if err != nil {
		return err
	}

	m, err := triplog.ReadMap(c.Map)
	if err != nil {
		return err
	}
	m.Species, m.Now = a.Morning.Species, a.Env.Now()
	list, err := triplog.Read(f, reaches, m)
	if err != nil {
		return err
	}

	sort.SliceStable(list, func(i, j int) bool { return list[i].Date.Before(list[j].Date) })
	if c.DryRun {
		fmt.Fprintf(w, "%s: %d trips; dry run, nothing stored\n", filepath.Base(path), len(list))
		return nil
	}

	for i := range list {
		list[i].EnteredAt, list[i].Source = a.Env.Now(), "csv"
	}
	changes, err := a.Env.DB.ImportTrips(ctx, list)
	if err != nil {
		return err
	}

	added, corrected := 0, 0
	for _, x := range changes {
		switch {
		case x.New:
			added++
		case x.Was != nil:
			corrected++
			fmt.Fprintf(w, "corrected: %s %s %s, %d fish in %g h, was %d in %g h\n", x.Trip.Date, x.Trip.Reach,
				x.Trip.Angler, x.Trip.Fish, x.Trip.Hours, x.Was.Fish, x.Was.Hours)
		}
		// Of every row: one that an interrupted import left out is caught up.
		if err := a.Morning.LogRig(ctx, x.Trip); err != nil {
			return err
		}
	}

	fmt.Fprintf(w, "%s: %d trips, %d new, %d corrected, %d there already\n", filepath.Base(path), len(list), added,
		corrected, len(list)-added-corrected)
	return nil
}

var _ ingest.Sink = (*store.DB)(nil)
