package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/notify"
)

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

// words puts reasons into the units asked for; none is "".
func (r rigReport) words(why ...coldseam.Reason) string {
	units := ""
	if r.metric {
		units = "metric"
	}
	return notify.Plain(notify.WordsFor(units, "").Notes(why))
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
	if j.Withheld.Code != "" {
		line("JIG", "no weight: %s", r.words(j.Withheld))
	} else {
		line("JIG", "%s", rigTie(j))
	}

	if len(j.Holds) > 0 {
		line("HOLDS", "%s", rigHolds(j.Holds))
	}
	for _, x := range [][2]string{{"LINE", r.words(j.LineLies)}, {"COST", r.words(j.Costs...)},
		{"LEADER", r.words(j.Leader)}, {"BED", r.words(j.Dunes)}} {
		if x[1] != "" {
			line(x[0], "%s", x[1])
		}
	}

	if s := r.criticalWords(); s != "" {
		line("LETS GO", "%s", s)
	}
	for _, n := range j.Warnings {
		if n.Code != j.Withheld.Code {
			line("NOTE", "%s", r.words(n))
		}
	}
}

func (r rigReport) water() string {
	if r.metric {
		return fmt.Sprintf("%.1f m, %.2f m/s on top, %.0f C", r.st.DepthM, r.st.SurfaceMS, r.tempC)
	}
	return fmt.Sprintf("%.3g ft, %.2g ft/s on top, %.0fF", coldseam.Feet(r.st.DepthM), coldseam.Feet(r.st.SurfaceMS),
		coldseam.F(r.tempC))
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
	return fmt.Sprintf("%s: line %.0f deg off vertical, bow %.0f %%, down in %.0f s", s, math.Abs(r.shape.AngleDeg),
		r.shape.BowPct, r.shape.SinkS)
}

func rigTie(j coldseam.SpotJig) string {
	s := fmt.Sprintf("tie %s oz (%s), pack %s", coldseam.OzName(j.TieOz), notify.Plain(notify.Odds(j.TieHolds)),
		coldseam.OzName(j.PackOz))
	if j.NextOz > 0 {
		s += ", lose bottom: " + coldseam.OzName(j.NextOz)
	}
	return s
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
