package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"text/tabwriter"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/notify/chart"
)

// draw writes the chart of size against flow.
func (c *rigShowCmd) draw(r rigReport) error {
	if len(r.j.CriticalM3S) == 0 {
		if c.Site != "" {
			return env.Fail(1, "no chart: "+r.words(r.j.Withheld))
		}
		return env.Fail(2, "a chart needs the flow at the gauge; want --flow-cfs or --flow-m3s, or --site and --spot")
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
	png, err := chart.Rig{
		Title:    title,
		Units:    units,
		Critical: r.j.CriticalM3S,
		Members:  r.members,
		NowM3S:   r.now,
		Note:     note,
	}.PNG()
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
	g := rigTable{Units: "ft, ft/s", Depth: []float64{4, 6, 8, 10, 12, 15, 20, 25},
		Surface: []float64{.5, 1, 1.5, 2, 2.5, 3, 4, 5}}
	unit := coldseam.MetrePerFoot
	if c.metric() {
		g = rigTable{Units: "m, m/s", Depth: []float64{1, 2, 3, 4, 5, 6, 8}, Surface: []float64{.15, .3, .45, .6, .75,
			.9, 1.2, 1.5}}
		unit = 1
	}

	for _, d := range g.Depth {
		var row []*float64
		for _, v := range g.Surface {
			var cell *float64
			if kg, ok := jig.Lightest(rig, jig.Station{DepthM: d * unit, SurfaceMS: v * unit,
				Water: jig.WaterAt(t)}); ok {
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
	fmt.Fprintf(w, "smallest size that holds, oz: %s on %s, %s; depth down, surface current across (%s)\n",
		rig.Body.Name, rig.Line.Name, rig.Pres.Name, g.Units)
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
