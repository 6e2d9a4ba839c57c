package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/jig"
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

	store func(context.Context, *env.Globals) (rigStore, func(), error) `kong:"-"`
}

// Run prints physics and advice. A wrong flag is exit status 2; a weight that
// is withheld is not an error.
func (c *rigShowCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	rig, err := jig.ParseRig(c.Body, c.Line, c.Metal, c.Presentation)
	if err != nil {
		return rigUsage(err)
	}

	if c.Table {
		return c.table(s.Out, rig)
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
		enc := json.NewEncoder(s.Out)
		enc.SetIndent("", "  ")
		return enc.Encode(r.json())
	}
	r.print(s.Out)
	return nil
}

// rigUsage is exit status 2 with all that is wrong in one line.
func rigUsage(err error) env.ExitCode {
	s := strings.ReplaceAll(err.Error(), ": "+coldseam.ErrInvalid.Error(), "")
	return env.Fail(2, strings.ReplaceAll(s, "\n", "; "))
}

// byHand answers for the depth and current of the flags.
func (c *rigShowCmd) byHand(rig jig.Rig) (rigReport, error) {
	st, t, waterOK, err := c.column()
	box, lim, err2 := c.sizes()
	flow, haveFlow, err3 := rigPick("flow", c.FlowCFS, c.FlowM3S, "--flow-cfs", "--flow-m3s", coldseam.CubicMPerCFS, 1,
		true)
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

	in := jig.SpotInput{
		Rig:     rig,
		BoxOz:   box,
		Limits:  lim,
		FlowM3S: flow,
		WaterC:  t,
		WaterOK: waterOK,
		Here:    true,
		Spot: coldseam.Spot{DepthRefM: &st.DepthM, FlowRef: &flow, FloatMS: &st.SurfaceMS, FloatFlow: &flow,
			Bed: c.Bed, Snags: c.Snags, Kind: coldseam.SpotMain},
	}
	r := rigReport{rig: rig, j: jig.Advise(in), st: st, metric: c.metric(), tempC: t, box: box}
	if haveFlow {
		r.now = flow
	} else {
		r.j.CriticalM3S = nil
	}

	r.physics()
	return r, nil
}

// fromStore answers for a stored spot.
func (c *rigShowCmd) fromStore(ctx context.Context, g *env.Globals, rig jig.Rig) (rigReport, error) {
	if c.Site == "" || c.Spot == "" {
		return rigReport{}, env.Fail(2, "want both --site and --spot")
	}
	if c.DepthFt != nil || c.DepthM != nil || c.SurfaceFPS != nil || c.SurfaceMS != nil {
		return rigReport{}, env.Fail(2, "depth and current come from the spot; want either them or --site and --spot")
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

	m, err := db.Morning(ctx, c.Site, c.Spot, coldseam.Preferences{
		Body:         c.Body,
		Line:         c.Line,
		Metal:        c.Metal,
		Presentation: c.Presentation,
	}, box)
	if err != nil {
		return rigReport{}, err
	}

	t := 3.0
	if m.WaterOK {
		t = m.WaterC
	}
	r := rigReport{
		rig:     rig,
		j:       m.Jig,
		title:   m.Title,
		day:     m.Day,
		metric:  c.Units == "metric",
		tempC:   t,
		members: m.Members,
		now:     m.NowM3S,
		box:     box,
		st:      jig.Station{DepthM: m.Jig.DepthM, SurfaceMS: m.Jig.SurfaceMS, Water: jig.WaterAt(t)},
	}
	r.physics()
	return r, nil
}
