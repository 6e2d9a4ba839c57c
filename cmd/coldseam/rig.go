package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/notify/chart"
	"example.org/coldseam/store"
)

// rigCmd answers "what holds bottom here" by hand or from the stored data, and
// takes what the river answered.
type rigCmd struct {
	Show rigShowCmd `cmd:"" default:"withargs" help:"The lightest jig that holds bottom, for a depth and a current or for a spot. The word show may be left out."`
	Log  rigLogCmd  `cmd:"" help:"Log that a weight held bottom at a spot, or did not."`
}

// rigStore is what the commands need of the stored data; *rigApp has it.
type rigStore interface {
	Morning(ctx context.Context, site, spot string, prefs coldseam.Preferences, boxOz []float64) (rigMorning, error)
	AddLog(ctx context.Context, site string, l store.RigLog, at string) (added bool, err error)
}

// rigMorning is the weight at one spot this morning, with the forecast it
// rests on.
type rigMorning struct {
	Title   string // "Tamsen, Main seam"
	Day     coldseam.Date
	Jig     coldseam.SpotJig
	Members []float64 // flow in the window, m3/s
	NowM3S  float64   // 0 = no reading
	WaterC  float64
	WaterOK bool
}

// rigFlags are the parts of a rig.
type rigFlags struct {
	Body         string `help:"slim, flutter, paddle, bulky or bucktail." default:"slim"`
	Line         string `help:"braid-<mm> or nylon-<mm>." default:"braid-0.14"`
	Metal        string `help:"lead or tungsten." default:"lead"`
	Presentation string `help:"quartering, anchored, vertical, drift or wading." default:"quartering"`
}

type rigShowCmd struct {
	rigFlags
	DepthFt    *float64 `help:"Depth over the spot, ft."`
	DepthM     *float64 `help:"Depth over the spot, m."`
	SurfaceFPS *float64 `name:"surface-fps" help:"Surface current, ft/s: time five floats."`
	SurfaceMS  *float64 `name:"surface-ms" help:"Surface current, m/s."`
	WaterC     *float64 `help:"Water temperature, C."`
	WaterF     *float64 `help:"Water temperature, F."`
	FlowCFS    *float64 `name:"flow-cfs" help:"Flow at the gauge with that depth and current, cfs: adds the flow at which each size lets go."`
	FlowM3S    *float64 `name:"flow-m3s" help:"The same in m3/s."`
	Bed        string   `help:"sand, gravel or rock." default:""`
	Snags      bool     `help:"Rock or wood on the bottom."`
	Box        []string `help:"Sizes carried, oz: 1/8,1/4,3/8. Default all nine."`
	Floor      string   `help:"Smallest size to advise, oz." default:"1/8"`
	Max        string   `help:"Largest size to advise, oz." default:"3/4"`
	Site       string   `help:"A reach or gauge: the weight from the stored data instead of by hand."`
	Spot       string   `help:"A spot of that reach."`
	Units      string   `help:"us or metric; default that of the flags." default:""`
	JSON       bool     `help:"Print JSON."`
	Table      bool     `help:"Print the sizes over a grid of depth and current."`
	Chart      string   `help:"Draw size against flow into this PNG file." type:"path" placeholder:"FILE"`

	store func(context.Context, *Globals) (rigStore, func(), error) `kong:"-"`
}

// Run prints physics and advice. A wrong flag is exit status 2; a weight that
// is withheld is not an error.
func (c *rigShowCmd) Run(ctx context.Context, s *streams, g *Globals) error {
	rig, err := jig.ParseRig(c.Body, c.Line, c.Metal, c.Presentation)
	if err != nil {
		return rigUsage(err)
	}
	if c.Table {
		return c.table(s.out, rig)
	}
	var r rigReport
	if c.Site != "" || c.Spot != "" {
		r, err = c.fromStore(ctx, g, rig)
	} else {
		r, err = c.byHand(rig)
	}
	if err != nil {
		return err
	}
	if c.Chart != "" {
		if err := c.draw(r); err != nil {
			return err
		}
	}
	if c.JSON {
		enc := json.NewEncoder(s.out)
		enc.SetIndent("", "  ")
		return enc.Encode(r.json())
	}
	r.print(s.out)
	return nil
}

// rigUsage is exit status 2 with all that is wrong in one line.
func rigUsage(err error) exitCode {
	s := strings.ReplaceAll(err.Error(), ": "+coldseam.ErrInvalid.Error(), "")
	return exitCode{2, strings.ReplaceAll(s, "\n", "; ")}
}

// rigPick takes the value of a flag or of its twin in other units; both or
// neither is an error, unless optional.
func rigPick(what string, a, b *float64, nameA, nameB string, factorA, factorB float64, optional bool) (float64, bool, error) {
	switch {
	case a != nil && b != nil:
		return 0, false, fmt.Errorf("both %s and %s are given; want one: %w", nameA, nameB, coldseam.ErrInvalid)
	case a != nil:
		return *a * factorA, true, nil
	case b != nil:
		return *b * factorB, true, nil
	case optional:
		return 0, false, nil
	}
	return 0, false, fmt.Errorf("no %s given; want %s or %s, or --site and --spot: %w", what, nameA, nameB, coldseam.ErrInvalid)
}

// rigRange refuses what is not a number or outside [lo, hi], in the words of the
// flag.
func rigRange(name string, v, lo, hi float64, unit string) error {
	if !(v >= lo && v <= hi) {
		return fmt.Errorf("%s is %.4g %s; want %.4g to %.4g: %w", name, v, unit, lo, hi, coldseam.ErrInvalid)
	}
	return nil
}

// column reads depth, current and temperature.
func (c *rigShowCmd) column() (st jig.Station, tempC float64, waterOK bool, err error) {
	var errs [3]error
	st.DepthM, _, errs[0] = rigPick("depth", c.DepthFt, c.DepthM, "--depth-ft", "--depth-m", coldseam.MetrePerFoot, 1, false)
	st.SurfaceMS, _, errs[1] = rigPick("surface current", c.SurfaceFPS, c.SurfaceMS, "--surface-fps", "--surface-ms", coldseam.MetrePerFoot, 1, false)
	t, waterOK, err := c.temp()
	errs[2] = err
	if err := errors.Join(errs[:]...); err != nil {
		return st, 0, false, err
	}
	if c.metric() {
		err = errors.Join(rigRange("depth", st.DepthM, .1, jig.MaxDepthM, "m"), rigRange("surface current", st.SurfaceMS, 0, 6, "m/s"))
	} else {
		err = errors.Join(rigRange("depth", coldseam.Feet(st.DepthM), .3, math.Floor(coldseam.Feet(jig.MaxDepthM)), "ft"),
			rigRange("surface current", coldseam.Feet(st.SurfaceMS), 0, 20, "ft/s"))
	}
	st.Water = jig.WaterAt(t)
	return st, t, waterOK, err
}

// temp is the water temperature in C, 3 C when none is given.
func (c *rigShowCmd) temp() (t float64, ok bool, err error) {
	switch {
	case c.WaterC != nil && c.WaterF != nil:
		return 0, false, fmt.Errorf("both --water-c and --water-f are given; want one: %w", coldseam.ErrInvalid)
	case c.WaterC != nil:
		return *c.WaterC, true, rigRange("water", *c.WaterC, 0, 40, "C")
	case c.WaterF != nil:
		return coldseam.C(*c.WaterF), true, rigRange("water", *c.WaterF, 32, 104, "F")
	}
	return 3, false, nil
}

func (c *rigShowCmd) metric() bool {
	return c.Units == "metric" || c.Units == "" && (c.DepthM != nil || c.SurfaceMS != nil)
}

// parseOz reads a size such as 1/4, 0.25 or 1.
func parseOz(name, s string) (float64, error) {
	num, den, frac := strings.Cut(strings.TrimSpace(s), "/")
	a, err := strconv.ParseFloat(num, 64)
	b := 1.0
	if err == nil && frac {
		b, err = strconv.ParseFloat(den, 64)
	}
	if v := a / b; err == nil && v > 0 && v <= 4 {
		return v, nil
	}
	return 0, fmt.Errorf("%s %q; want a size in oz such as 1/4, up to 4: %w", name, s, coldseam.ErrInvalid)
}

func (c *rigShowCmd) sizes() (box []float64, l jig.Limits, err error) {
	for _, s := range c.Box {
		v, e := parseOz("--box", s)
		err = errors.Join(err, e)
		box = append(box, v)
	}
	var e1, e2 error
	l.FloorOz, e1 = parseOz("--floor", c.Floor)
	l.MaxOz, e2 = parseOz("--max", c.Max)
	if err = errors.Join(err, e1, e2); err == nil && l.FloorOz > l.MaxOz {
		err = fmt.Errorf("--floor %s is above --max %s: %w", c.Floor, c.Max, coldseam.ErrInvalid)
	}
	return box, l, err
}

// byHand answers for the depth and current of the flags.
func (c *rigShowCmd) byHand(rig jig.Rig) (rigReport, error) {
	st, t, waterOK, err := c.column()
	box, lim, err2 := c.sizes()
	flow, haveFlow, err3 := rigPick("flow", c.FlowCFS, c.FlowM3S, "--flow-cfs", "--flow-m3s", coldseam.CubicMPerCFS, 1, true)
	if haveFlow && err3 == nil {
		err3 = rigRange("flow", flow, 1e-3, 1e5, "m3/s")
	}
	switch c.Bed {
	case "", "sand", "gravel", "rock":
	default:
		err3 = errors.Join(err3, fmt.Errorf("--bed %q; want sand, gravel or rock: %w", c.Bed, coldseam.ErrInvalid))
	}
	if err := errors.Join(err, err2, err3); err != nil {
		return rigReport{}, rigUsage(err)
	}
	if !haveFlow {
		flow = 1
	}
	in := jig.SpotInput{Rig: rig, BoxOz: box, Limits: lim, FlowM3S: flow, WaterC: t, WaterOK: waterOK, Here: true,
		Spot: coldseam.Spot{DepthRefM: &st.DepthM, FlowRef: &flow, FloatMS: &st.SurfaceMS, FloatFlow: &flow, Bed: c.Bed, Snags: c.Snags, Kind: coldseam.SpotMain}}
	r := rigReport{rig: rig, j: jig.Advise(in), st: st, metric: c.metric(), tempC: t, box: box}
	r.j.Advice = ""
	if haveFlow {
		r.now = flow
	} else {
		r.j.CriticalM3S = nil
	}
	r.physics()
	return r, nil
}

// fromStore answers for a stored spot.
func (c *rigShowCmd) fromStore(ctx context.Context, g *Globals, rig jig.Rig) (rigReport, error) {
	if c.Site == "" || c.Spot == "" {
		return rigReport{}, exitCode{2, "want both --site and --spot"}
	}
	if c.DepthFt != nil || c.DepthM != nil || c.SurfaceFPS != nil || c.SurfaceMS != nil {
		return rigReport{}, exitCode{2, "depth and current come from the spot; want either them or --site and --spot"}
	}
	box, _, err := c.sizes()
	if err != nil {
		return rigReport{}, rigUsage(err)
	}
	open := c.store
	if open == nil {
		open = openRig
	}
	db, done, err := open(ctx, g)
	if err != nil {
		return rigReport{}, err
	}
	defer done()
	m, err := db.Morning(ctx, c.Site, c.Spot, coldseam.Preferences{Body: c.Body, Line: c.Line, Metal: c.Metal, Presentation: c.Presentation}, box)
	if err != nil {
		return rigReport{}, err
	}
	t := 3.0
	if m.WaterOK {
		t = m.WaterC
	}
	r := rigReport{rig: rig, j: m.Jig, title: m.Title, day: m.Day, metric: c.Units == "metric", tempC: t, members: m.Members, now: m.NowM3S, box: box,
		st: jig.Station{DepthM: m.Jig.DepthM, SurfaceMS: m.Jig.SurfaceMS, Water: jig.WaterAt(t)}}
	r.physics()
	return r, nil
}

// rigReport is what is printed.
type rigReport struct {
	title   string
	day     coldseam.Date
	rig     jig.Rig
	j       coldseam.SpotJig
	st      jig.Station
	tempC   float64
	metric  bool
	members []float64
	now     float64 // m3/s
	box     []float64

	minOz  *float64 // nil = none up to 80 g
	sizeOz *float64 // nil = none up to 1 oz
	shape  jig.Shape
}

// physics computes what holds before any rule of the advice.
func (r *rigReport) physics() {
	st, _ := r.st.Clamp()
	if r.st.DepthM <= 0 {
		return
	}
	kg, ok := jig.Lightest(r.rig, st)
	if !ok {
		return
	}
	oz := coldseam.Oz(kg)
	r.minOz = &oz
	if size, ok := jig.SizeFor(kg); ok {
		r.sizeOz = &size
		r.shape = jig.Solve(r.rig, st, size*coldseam.KgPerOunce)
	}
}

// rigJSON is the answer of `rig --json`. Null means: there is none.
type rigJSON struct {
	Spot         string  `json:"spot,omitempty"`
	Day          string  `json:"day,omitempty"`
	DepthM       float64 `json:"depth_m"`
	SurfaceMS    float64 `json:"surface_ms"`
	WaterC       float64 `json:"water_c"`
	Body         string  `json:"body"`
	Line         string  `json:"line"`
	Metal        string  `json:"metal"`
	Presentation string  `json:"presentation"`

	MinOz    *float64 `json:"min_oz"`
	SizeOz   *float64 `json:"size_oz"`
	AngleDeg *float64 `json:"surface_angle_deg"` // of size_oz, as are the next four
	BowPct   *float64 `json:"bow_pct"`
	SlackM   *float64 `json:"slack_m"`
	LineOutM *float64 `json:"line_out_m"`
	SinkS    *float64 `json:"sink_s"`

	TieOz        *float64           `json:"tie_oz"`
	PackOz       *float64           `json:"pack_oz"`
	NextOz       *float64           `json:"next_oz"`
	Holds        map[string]float64 `json:"holds"`
	Withheld     *string            `json:"withheld_reason"`
	WithheldText string             `json:"withheld_text,omitempty"`
	Calibrated   bool               `json:"calibrated"`
	Logs         int                `json:"logs"`
	Warnings     []rigWarning       `json:"warnings"`
	LineWords    string             `json:"line_words,omitempty"`
	CostWords    string             `json:"cost_words,omitempty"`
	Leader       string             `json:"leader,omitempty"`
	Dunes        string             `json:"dunes,omitempty"`
	Critical     []rigCritical      `json:"critical"`
}

type rigWarning struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// rigCritical is the flow at which a size stops holding; beyond: it still
// holds there, the end of the measured range.
type rigCritical struct {
	Size   string  `json:"size"`
	Oz     float64 `json:"oz"`
	M3S    float64 `json:"m3s"`
	Beyond bool    `json:"beyond,omitempty"`
}

// ozOrNil points at v, nil when it is not above zero.
func ozOrNil(v float64) *float64 {
	if v > 0 {
		return &v
	}
	return nil
}

func (r rigReport) json() rigJSON {
	j := r.j
	out := rigJSON{Spot: r.title, DepthM: r.st.DepthM, SurfaceMS: r.st.SurfaceMS, WaterC: r.tempC, Body: r.rig.Body.Name, Line: r.rig.Line.Name,
		Metal: r.rig.Metal.Name, Presentation: r.rig.Pres.Name, MinOz: r.minOz, SizeOz: r.sizeOz,
		TieOz: ozOrNil(j.TieOz), PackOz: ozOrNil(j.PackOz), NextOz: ozOrNil(j.NextOz), Holds: map[string]float64{},
		WithheldText: r.unit(j.WithheldText, j.WithheldTextSI), Calibrated: j.Calibrated, Logs: j.Logs, Warnings: []rigWarning{},
		LineWords: r.unit(j.LineWords, j.LineWordsSI), CostWords: j.CostWords, Leader: j.Leader, Dunes: r.unit(j.Dunes, j.DunesSI), Critical: []rigCritical{}}
	if !r.day.IsZero() {
		out.Day = r.day.String()
	}
	if r.shape.OK {
		out.AngleDeg, out.BowPct, out.SlackM, out.LineOutM, out.SinkS = &r.shape.AngleDeg, &r.shape.BowPct, &r.shape.SlackM, &r.shape.LineOutM, &r.shape.SinkS
	}
	if j.Withheld != "" {
		out.Withheld = &j.Withheld
	}
	for _, h := range j.Holds {
		out.Holds[coldseam.OzName(h.Oz)] = math.Round(h.Holds*1e4) / 1e4
	}
	for _, w := range j.Warnings {
		out.Warnings = append(out.Warnings, rigWarning{w.Code, r.unit(w.Text, w.TextSI)})
	}
	for _, c := range j.CriticalM3S {
		out.Critical = append(out.Critical, rigCritical{coldseam.OzName(c.Oz), c.Oz, c.M3S, c.Beyond})
	}
	return out
}

// unit picks the metric twin of a text where it is wanted and there is one.
func (r rigReport) unit(us, si string) string {
	if r.metric && si != "" {
		return si
	}
	return us
}

// print writes the answer for a person.
func (r rigReport) print(w io.Writer) {
	line := func(label, format string, args ...any) {
		fmt.Fprintf(w, "%-7s %s\n", label, fmt.Sprintf(format, args...))
	}
	j := r.j
	if r.title != "" {
		line("SPOT", "%s, %s", r.title, r.day)
	}
	if r.st.DepthM > 0 {
		line("WATER", "%s", r.water())
	}
	line("RIG", "%s on %s, %s, %s", r.rig.Body.Name, r.rig.Line.Name, r.rig.Pres.Name, r.rig.Metal.Name)
	if r.st.DepthM > 0 {
		line("PHYSICS", "%s", r.physicsWords())
	}
	if j.Withheld != "" {
		line("JIG", "no weight: %s", strings.TrimSuffix(r.unit(j.WithheldText, j.WithheldTextSI), ": no weight"))
	} else {
		line("JIG", "%s", rigTie(j))
	}
	if len(j.Holds) > 0 {
		line("HOLDS", "%s", rigHolds(j.Holds))
	}
	for _, x := range [][2]string{{"LINE", r.unit(j.LineWords, j.LineWordsSI)}, {"COST", j.CostWords}, {"LEADER", j.Leader}, {"BED", r.unit(j.Dunes, j.DunesSI)}} {
		if x[1] != "" {
			line(x[0], "%s", x[1])
		}
	}
	if s := r.criticalWords(); s != "" {
		line("LETS GO", "%s", s)
	}
	for _, n := range j.Warnings {
		if n.Code != j.Withheld {
			line("NOTE", "%s", r.unit(n.Text, n.TextSI))
		}
	}
}

func (r rigReport) water() string {
	if r.metric {
		return fmt.Sprintf("%.1f m, %.2f m/s on top, %.0f C", r.st.DepthM, r.st.SurfaceMS, r.tempC)
	}
	return fmt.Sprintf("%.3g ft, %.2g ft/s on top, %.0fF", coldseam.Feet(r.st.DepthM), coldseam.Feet(r.st.SurfaceMS), coldseam.F(r.tempC))
}

func (r rigReport) physicsWords() string {
	switch {
	case r.minOz == nil:
		return "nothing up to 3 oz holds"
	case r.sizeOz == nil:
		return fmt.Sprintf("%.2f oz would hold: more than 1 oz", *r.minOz)
	}
	s := fmt.Sprintf("%.2f oz holds, so %s oz", *r.minOz, coldseam.OzName(*r.sizeOz))
	if *r.minOz < coldseam.TradeSizesOz[0] {
		s = "the lightest, 1/16 oz, holds"
	}
	if !r.shape.OK {
		return s
	}
	return fmt.Sprintf("%s: line %.0f deg off vertical, bow %.0f %%, down in %.0f s", s, math.Abs(r.shape.AngleDeg), r.shape.BowPct, r.shape.SinkS)
}

func rigTie(j coldseam.SpotJig) string {
	s := fmt.Sprintf("tie %s oz (%s), pack %s", coldseam.OzName(j.TieOz), rigInTen(j.TieHolds), coldseam.OzName(j.PackOz))
	if j.NextOz > 0 {
		s += ", lose bottom: " + coldseam.OzName(j.NextOz)
	}
	return s
}

// rigInTen writes a probability as people say it.
func rigInTen(p float64) string {
	switch n := math.Round(p * 10); {
	case n < 1:
		return "under 1 in 10"
	case n > 9:
		return "over 9 in 10"
	default:
		return fmt.Sprintf("%.0f in 10", n)
	}
}

// rigHolds lists P in tenths, without the sizes that surely do not or surely
// do hold beyond the first.
func rigHolds(hs []coldseam.SizeOdds) string {
	var parts []string
	for i, h := range hs {
		if h.Holds < .05 && i+1 < len(hs) && hs[i+1].Holds < .05 {
			continue
		}
		parts = append(parts, fmt.Sprintf("%s %.0f", coldseam.OzName(h.Oz), math.Round(h.Holds*10)))
		if h.Holds > .95 {
			break
		}
	}
	return strings.Join(parts, ", ") + " in 10"
}

func (r rigReport) criticalWords() string {
	var parts []string
	for _, c := range r.j.CriticalM3S {
		if c.M3S == 0 || c.Beyond {
			continue
		}
		if r.metric {
			parts = append(parts, fmt.Sprintf("%s %.3g", coldseam.OzName(c.Oz), c.M3S))
		} else {
			parts = append(parts, fmt.Sprintf("%s %.0f", coldseam.OzName(c.Oz), threeDigits(coldseam.CFS(c.M3S))))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	if r.metric {
		return "at " + strings.Join(parts, ", ") + " m3/s"
	}
	return "at " + strings.Join(parts, ", ") + " cfs"
}

// threeDigits keeps three digits of a flow.
func threeDigits(v float64) float64 {
	if v <= 0 {
		return 0
	}
	k := math.Pow(10, math.Floor(math.Log10(v))-2)
	return math.Round(v/k) * k
}

// draw writes the chart of size against flow.
func (c *rigShowCmd) draw(r rigReport) error {
	if len(r.j.CriticalM3S) == 0 {
		if c.Site != "" {
			return exitCode{1, "no chart: " + r.j.WithheldText}
		}
		return exitCode{2, "a chart needs the flow at the gauge; want --flow-cfs or --flow-m3s, or --site and --spot"}
	}
	units := "us"
	if r.metric {
		units = "metric"
	}
	title := r.rig.Body.Name + ", " + r.rig.Line.Name + ", " + r.rig.Pres.Name
	if r.title != "" {
		title = r.title + ": " + title
	}
	note := ""
	if !r.j.Calibrated {
		note = "uncalibrated: plus or minus one size"
	}
	png, err := chart.Rig{Title: title, Units: units, Critical: r.j.CriticalM3S, Members: r.members, NowM3S: r.now, Note: note}.PNG()
	if err != nil {
		return err
	}
	return os.WriteFile(c.Chart, png, 0o644)
}

// rigTable is the grid of `rig --table --json`; size_oz[i][j] belongs to
// depth[i] and surface[j], null = none up to 1 oz.
type rigTable struct {
	Units   string       `json:"units"`
	Depth   []float64    `json:"depth"`
	Surface []float64    `json:"surface"`
	SizeOz  [][]*float64 `json:"size_oz"`
}

func (c *rigShowCmd) table(w io.Writer, rig jig.Rig) error {
	t, _, err := c.temp()
	if err != nil {
		return rigUsage(err)
	}
	g := rigTable{Units: "ft, ft/s", Depth: []float64{4, 6, 8, 10, 12, 15, 20, 25}, Surface: []float64{.5, 1, 1.5, 2, 2.5, 3, 4, 5}}
	unit := coldseam.MetrePerFoot
	if c.metric() {
		g = rigTable{Units: "m, m/s", Depth: []float64{1, 2, 3, 4, 5, 6, 8}, Surface: []float64{.15, .3, .45, .6, .75, .9, 1.2, 1.5}}
		unit = 1
	}
	for _, d := range g.Depth {
		var row []*float64
		for _, v := range g.Surface {
			var cell *float64
			if kg, ok := jig.Lightest(rig, jig.Station{DepthM: d * unit, SurfaceMS: v * unit, Water: jig.WaterAt(t)}); ok {
				if oz, ok := jig.SizeFor(kg); ok {
					cell = &oz
				}
			}
			row = append(row, cell)
		}
		g.SizeOz = append(g.SizeOz, row)
	}
	if c.JSON {
		return json.NewEncoder(w).Encode(g)
	}
	fmt.Fprintf(w, "smallest size that holds, oz: %s on %s, %s; depth down, surface current across (%s)\n", rig.Body.Name, rig.Line.Name, rig.Pres.Name, g.Units)
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	for _, v := range g.Surface {
		fmt.Fprintf(tw, "\t%g", v)
	}
	fmt.Fprintln(tw, "\t")
	for i, row := range g.SizeOz {
		fmt.Fprintf(tw, "%g\t", g.Depth[i])
		for _, cell := range row {
			s := "--"
			if cell != nil {
				s = coldseam.OzName(*cell)
			}
			fmt.Fprintf(tw, "%s\t", s)
		}
		fmt.Fprintln(tw)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	_, err = fmt.Fprintln(w, "physics alone, uncalibrated: plus or minus one size; -- none up to 1 oz")
	return err
}

// rigLogCmd stores what held and what did not: it moves the spot's factor.
type rigLogCmd struct {
	rigFlags
	Site   string   `help:"A reach or gauge." required:""`
	Spot   string   `help:"A spot of that reach." required:""`
	Size   string   `help:"The size on the line, oz." required:""`
	Result string   `help:"held or lost." required:"" enum:"held,lost"`
	At     string   `help:"When: 07:30 (today), or 2026-03-20 07:30, local time of the reach." required:""`
	Angle  *float64 `name:"angle-deg" help:"Line angle from vertical at the surface, if seen."`
	Angler string   `help:"A pseudonym; never a name." default:""`

	store func(context.Context, *Globals) (rigStore, func(), error) `kong:"-"`
}

// Run stores the log. The same spot, time and size again is a duplicate and
// changes nothing.
func (c *rigLogCmd) Run(ctx context.Context, s *streams, g *Globals) error {
	_, err := jig.ParseRig(c.Body, c.Line, c.Metal, c.Presentation)
	oz, err2 := parseOz("--size", c.Size)
	if c.Angle != nil {
		err = errors.Join(err, rigRange("--angle-deg", *c.Angle, 0, 89, "deg"))
	}
	if err := errors.Join(err, err2); err != nil {
		return rigUsage(err)
	}
	open := c.store
	if open == nil {
		open = openRig
	}
	db, done, err := open(ctx, g)
	if err != nil {
		return err
	}
	defer done()
	added, err := db.AddLog(ctx, c.Site, store.RigLog{Spot: c.Spot, Angler: c.Angler, Presentation: c.Presentation, Body: c.Body, Line: c.Line,
		WeightOz: oz, Held: c.Result == "held", AngleDeg: c.Angle}, c.At)
	switch {
	case err != nil:
		return err
	case !added:
		fmt.Fprintln(s.out, "already logged")
	default:
		fmt.Fprintf(s.out, "logged: %s oz %s at %s, %s\n", coldseam.OzName(oz), c.Result, c.Spot, c.At)
	}
	return nil
}

// rigTime reads "07:30" of today or "2026-03-20 07:30", in loc.
func rigTime(s string, now time.Time, loc *time.Location) (time.Time, error) {
	if t, err := time.ParseInLocation("2006-01-02 15:04", s, loc); err == nil {
		return t, nil
	}
	t, err := time.Parse("15:04", s)
	if err != nil {
		return time.Time{}, fmt.Errorf("--at %q; want 07:30 or 2026-03-20 07:30: %w", s, coldseam.ErrInvalid)
	}
	d := now.In(loc)
	return time.Date(d.Year(), d.Month(), d.Day(), t.Hour(), t.Minute(), 0, 0, loc), nil
}

// openRig opens the stored data of the configuration.
func openRig(ctx context.Context, g *Globals) (rigStore, func(), error) {
	cfg, err := loadConfig(g.Config)
	if err != nil {
		return nil, nil, rigUsage(err)
	}
	a, err := build(ctx, cfg, buildOptions{})
	if err != nil {
		return nil, nil, err
	}
	return rigApp{a}, func() { a.Close() }, nil
}

// rigApp is the rigStore over the wired program.
type rigApp struct{ *app }

// reach finds a reach by its id or by its gauge.
func (a rigApp) reach(ctx context.Context, site string) (coldseam.Reach, error) {
	all, err := a.db.Reaches(ctx)
	if err != nil {
		return coldseam.Reach{}, err
	}
	var known []string
	for _, r := range all {
		if string(r.ID) == site || string(r.Site) == site {
			return r, nil
		}
		known = append(known, string(r.ID))
	}
	return coldseam.Reach{}, fmt.Errorf("site %q; want one of %s: %w", site, strings.Join(known, ", "), coldseam.ErrNotFound)
}

// spotOf refuses a spot that the reach does not have.
func spotOf(r coldseam.Reach, id string) (coldseam.Spot, error) {
	var known []string
	for _, s := range r.Spots {
		if s.ID == id {
			return s, nil
		}
		known = append(known, s.ID)
	}
	return coldseam.Spot{}, fmt.Errorf("spot %q of %s; want one of %s: %w", id, r.ID, strings.Join(known, ", "), coldseam.ErrNotFound)
}

// Morning computes the coming morning of the spot's reach for the rig, as the
// brief does.
func (a rigApp) Morning(ctx context.Context, site, spot string, prefs coldseam.Preferences, boxOz []float64) (rigMorning, error) {
	r, err := a.reach(ctx, site)
	if err != nil {
		return rigMorning{}, err
	}
	sp, err := spotOf(r, spot)
	if err != nil {
		return rigMorning{}, err
	}
	loc, err := time.LoadLocation(r.Zone)
	if err != nil {
		return rigMorning{}, fmt.Errorf("reach %s: zone %q: %w", r.ID, r.Zone, coldseam.ErrInvalid)
	}
	now := a.now()
	day := coldseam.DateOf(now.In(loc))
	if now.In(loc).Hour() >= 12 {
		day = day.Add(1)
	}
	f, err := a.features(ctx, r, day, now, false)
	if err != nil {
		return rigMorning{}, err
	}
	if f.RigLogs == nil {
		logs, err := a.db.RigLogs(ctx, r.ID)
		if err != nil {
			return rigMorning{}, err
		}
		f.RigLogs = rigLogs(logs)
	}
	f.Prefs = prefs
	if len(boxOz) > 0 {
		f.BoxOz = boxOz
	}
	m := forecast.Make(f)
	out := rigMorning{Title: r.River + ", " + sp.Name, Day: day, NowM3S: m.Brief.Flow.Now}
	if m.Brief.Temp.WindowOK {
		out.WaterC, out.WaterOK = m.Brief.Temp.Window[1], true
	}
	for h, t := range m.Flow.Valid {
		if coldseam.DateOf(t.Add(-time.Second).In(loc)) == day { // a step is named by its end
			out.Members = m.Flow.Step(h)
		}
	}
	for _, j := range m.Brief.Jig {
		if j.SpotID == sp.ID {
			out.Jig = j
			return out, nil
		}
	}
	return rigMorning{}, fmt.Errorf("%s, %s: no weight this morning, the brief says %s: %w", r.ID, sp.ID, m.Brief.Verdict, coldseam.ErrUnavailable)
}

// AddLog stores a log; at is read in the reach's zone.
func (a rigApp) AddLog(ctx context.Context, site string, l store.RigLog, at string) (bool, error) {
	r, err := a.reach(ctx, site)
	if err != nil {
		return false, err
	}
	if _, err := spotOf(r, l.Spot); err != nil {
		return false, err
	}
	loc, err := time.LoadLocation(r.Zone)
	if err != nil {
		return false, fmt.Errorf("reach %s: zone %q: %w", r.ID, r.Zone, coldseam.ErrInvalid)
	}
	now := a.now()
	if l.At, err = rigTime(at, now, loc); err != nil {
		return false, rigUsage(err)
	}
	if l.At.After(now) {
		return false, exitCode{2, fmt.Sprintf("--at %s is still to come; want a time that has been", at)}
	}
	l.Reach = r.ID
	_, added, err := a.db.AddRigLog(ctx, l)
	return added, err
}

// rigLogs turns stored logs into what the weight learns from, by spot. A log
// whose rig or flow is not known is left out: it says nothing.
func rigLogs(ls []store.RigLog) map[string][]jig.Log {
	out := map[string][]jig.Log{}
	for _, l := range ls {
		rig, err := jig.ParseRig(l.Body, l.Line, "", l.Presentation)
		if err != nil || l.FlowM3S == nil || l.WeightOz <= 0 {
			continue
		}
		out[l.Spot] = append(out[l.Spot], jig.Log{At: l.At, Oz: l.WeightOz, Rig: rig, Held: l.Held, FlowM3S: *l.FlowM3S, AngleDeg: l.AngleDeg})
	}
	return out
}
