package forecast

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/forecast/verdict"
)

// rigModel is what the weights of a brief rest on, apart from the rig: the river,
// its spots and each window. A brief keeps it, so that a member's own rig can be
// weighed whenever a mail is composed.
type rigModel struct {
	River   jig.SpotInput // without spot, rig and window
	Spots   []rigSpot
	Windows []rigWindow // as the brief's
}

type rigSpot struct {
	Spot    coldseam.Spot
	Logs    []jig.Log
	Timings []jig.Timing `json:",omitempty"`
	OverP95 bool
}

type rigWindow struct {
	FlowM3S, StageM []float64 // of the members
	WaterC          float64
	WaterOK         bool
}

// OwnJig is the weight for a member's own rig at every spot in one window of a
// brief, advised spots first. The error wraps ErrInvalid and says what is missing:
// a brief of an earlier version keeps nothing to weigh by.
func OwnJig(b coldseam.Brief, window int, own coldseam.Preferences) ([]coldseam.SpotJig, error) {
	var g rigModel
	if err := json.Unmarshal(b.Weighing, &g); err != nil {
		return nil, fmt.Errorf("weights of the brief: %w: %w", err, coldseam.ErrInvalid)
	}
	if window < 0 || window >= len(g.Windows) {
		return nil, fmt.Errorf("weights of the brief: window %d, want one of %d: %w", window, len(g.Windows),
			coldseam.ErrInvalid)
	}
	return g.weights(window, own, b.How)
}

// RigTable is what the trip card weighs a float timing by: the advised spots of
// the best window, with the club's box and limits. On rising water, and where
// nothing was weighed, it has no spot.
func RigTable(b coldseam.Brief) (jig.Table, error) {
	var g rigModel
	if len(b.Weighing) == 0 {
		return jig.Table{}, nil
	}
	if err := json.Unmarshal(b.Weighing, &g); err != nil {
		return jig.Table{}, fmt.Errorf("weights of the brief: %w: %w", err, coldseam.ErrInvalid)
	}
	if g.River.Rising || b.WindowI < 0 || b.WindowI >= len(g.Windows) {
		return jig.Table{}, nil
	}

	win := g.Windows[b.WindowI]
	in := jig.TableInput{BoxOz: g.River.BoxOz, Limits: g.River.Limits, WaterC: win.WaterC, WaterOK: win.WaterOK,
		NoBoat: g.River.HighFlow || g.River.Debris}
	for _, j := range b.Jig {
		if j.TieOz > 0 {
			in.Spots = append(in.Spots, jig.TableSpot{ID: j.SpotID, Name: j.Spot, DepthM: j.DepthM})
		}
	}
	return jig.NewTable(in), nil
}

// weights computes the weight for every spot of the reach in one window, advised
// spots first.
func (g *rigModel) weights(window int, own coldseam.Preferences, advice coldseam.Advice) ([]coldseam.SpotJig, error) {
	ins, err := g.inputs(window, own, advice)
	if err != nil {
		return nil, err
	}
	return jig.Reach(ins, advice.Where), nil
}

func (g *rigModel) inputs(window int, own coldseam.Preferences, advice coldseam.Advice) ([]jig.SpotInput, error) {
	win := g.Windows[window]
	body := own.Body
	if body == "" {
		body = advice.Body
	}
	rig, err := jig.ParseRig(body, own.Line, own.Metal, own.Presentation)
	if err != nil {
		return nil, err
	}

	var ins []jig.SpotInput
	for _, s := range g.Spots {
		in := g.River
		in.Spot, in.Logs, in.Timings, in.OverP95, in.Rig = s.Spot, s.Logs, s.Timings, s.OverP95, rig
		in.FlowMembers, in.StageMembers = win.FlowM3S, win.StageM
		in.WaterC, in.WaterOK = win.WaterC, win.WaterOK
		ins = append(ins, in)
	}
	return ins, nil
}

// addRigWindow adds a window to what is weighed and returns the club's weights.
func (w *work) addRigWindow(c verdict.Candidate, stages []float64, advice coldseam.Advice) []coldseam.SpotJig {
	if w.rig.Windows == nil {
		w.rig.River = w.riverInput()
		for _, s := range w.f.Reach.Spots {
			w.rig.Spots = append(w.rig.Spots,
				rigSpot{Spot: s, Logs: w.f.RigLogs[s.ID], Timings: w.f.Timings[s.ID], OverP95: w.overP95Since(s.Sounded)})
		}
	}

	win := rigWindow{FlowM3S: c.FlowM3S, StageM: stages}
	if len(c.WaterC) > 0 {
		win.WaterC, win.WaterOK = coldseam.Quantile(c.WaterC, .5), true
	}
	w.rig.Windows = append(w.rig.Windows, win)

	spots, err := w.rig.weights(len(w.rig.Windows)-1, w.f.Prefs, advice)
	if err != nil {
		w.out.Problems = append(w.out.Problems, err)
	}
	return spots
}

// keepRigModel puts into the brief what other rigs are weighed by. What cannot be
// written, such as a number that is none, is left out: those rigs have no weight.
func (w *work) keepRigModel(b *coldseam.Brief) {
	raw, err := json.Marshal(w.rig)
	if err != nil {
		w.out.Problems = append(w.out.Problems, fmt.Errorf("weights of other rigs: %w: %w", err, coldseam.ErrInvalid))
		return
	}
	b.Weighing = raw
}

// measure ranks what the admin could measure next, by how much it would narrow
// the weight in window k.
func (w *work) measure(k int) []coldseam.Reason {
	own := w.f.Prefs
	own.Body = ""
	ins, err := w.rig.inputs(k, own, w.advices[k])
	if err != nil {
		return nil
	}
	var out []coldseam.Reason
	for _, n := range jig.Measure(ins) {
		out = append(out, n.Reason)
	}
	return out
}

// riverInput is what all spots and windows share.
func (w *work) riverInput() jig.SpotInput {
	f := w.f
	in := jig.SpotInput{
		BoxOz:    f.BoxOz,
		Geometry: w.geo,
		Curve:    w.curve,
		Limits:   f.Limits,
		Debris:   w.debris(),
	}
	last, ok := coldseam.Series{Obs: f.Discharge}.Last()
	in.Stale = !ok || f.Now.Sub(last.At) > hoursOf(f.Table.GaugeAgeH)
	if ok {
		in.FlowM3S = last.Value
		if w.enoughYears() {
			in.HighFlow = w.climate.Pct(last.Value) > 0.90
		}
	}

	if st, ok := (coldseam.Series{Obs: f.Stage}).Last(); ok {
		in.StageM = &st.Value
	}
	in.BedFlowM3S = meanOf(f.Discharge, f.Now.Add(-72*time.Hour))
	in.Rising = w.rising()
	in.Ice = w.frozen != ice.Open
	return in
}

// debrisRise is the rise of the daily mean over a day that washes the banks; with
// flow above three days in four for the date wood and leaves are on the move
// [proposal].
const debrisRise = .5

// debris reports whether ice or wood must be taken to be running: ice at the
// gauge or in a warning, or a steep rise to high water.
func (w *work) debris() bool {
	f := w.f
	if w.frozen == ice.Ice || w.frozen == ice.Breakup {
		return true
	}
	for _, a := range f.Alerts {
		if verdict.ClassifyAlert(a, f.AlertRules) == verdict.AlertIce {
			return true
		}
	}
	o, ok := (coldseam.Series{Obs: f.Discharge}).Last()
	return ok && w.enoughYears() && w.climate.Pct(o.Value) > .75 && max(w.rise24h(), w.rise6h()) > debrisRise
}

// rising reports whether the gauge rose by more than 3 % in the last 6 h.
func (w *work) rising() bool { return w.rise6h() > 0.03 }

// rise6h is the observed change of the last 6 h as a fraction, 0 when unknown.
func (w *work) rise6h() float64 { return w.riseOver(6 * time.Hour) }

// riseDay is the change over the last day; for a gauge of daily means, between its
// last two means.
func (w *work) riseDay() float64 {
	if w.f.Site.DailyOnly {
		return w.rise24h()
	}
	return w.riseOver(24 * time.Hour)
}

func (w *work) riseOver(span time.Duration) float64 {
	obs := w.f.Discharge
	last, ok := coldseam.Series{Obs: obs}.Last()
	if !ok {
		return 0
	}
	want := last.At.Add(-span)
	for i := len(obs) - 1; i >= 0; i-- {
		if o := obs[i]; o.Flag.Usable() && !o.At.After(want) && o.Value > 0 {
			if want.Sub(o.At) > 2*time.Hour {
				return 0
			}
			return last.Value/o.Value - 1
		}
	}
	return 0
}

// overP95Since reports whether a day above the record's 95th percentile came
// after the sounding: a sand bed has moved since.
func (w *work) overP95Since(d coldseam.Date) bool {
	if d.IsZero() {
		return true
	}
	var all []float64
	for _, q := range w.f.Days.FlowM3S {
		if !math.IsNaN(q) {
			all = append(all, q)
		}
	}
	p95 := coldseam.Quantile(all, .95)
	for i := max(w.f.Days.Index(d), 0); i < len(w.f.Days.FlowM3S); i++ {
		if w.f.Days.FlowM3S[i] > p95 {
			return true
		}
	}
	return false
}

func meanOf(obs []coldseam.Observation, from time.Time) float64 {
	sum, n := 0.0, 0.0
	for _, o := range obs {
		if o.Flag.Usable() && !o.At.Before(from) {
			sum, n = sum+o.Value, n+1
		}
	}
	if n == 0 {
		return 0
	}
	return sum / n
}

// advise picks the way to fish in one window. Without a water forecast there
// is none.
func (w *work) advise(c verdict.Candidate) coldseam.Advice {
	f := w.f
	if len(c.WaterC) == 0 || f.Species.Advice == "none" {
		return coldseam.Advice{}
	}
	in := verdict.AdviceInputs{
		Table:     f.Advice,
		Bands:     f.Bands,
		WaterC:    coldseam.Quantile(c.WaterC, .5),
		FlowPct:   math.NaN(),
		WaterFall: w.waterFall(),
		RisePct:   w.rise24h() * 100,
		WaveP:     w.out.Run.State.PWave,
		Reach:     f.Reach,
		Day:       f.Day,
		Held:      f.heldPlace(),
		Said:      f.Clarity,
		HatchTo:   w.out.Run.State.HatchTo,
	}

	if w.out.Run.State.Active {
		in.Stage = w.out.Run.State.Stage
	}
	if o, ok := (coldseam.Series{Obs: f.Discharge}).Last(); ok && w.enoughYears() {
		in.FlowPct = w.climate.Pct(o.Value)
	}
	in.Turbidity = w.freshTurbidity()

	for _, s := range f.Reach.Spots {
		if s.DepthRefM != nil && *s.DepthRefM > in.DepthM {
			in.DepthM = *s.DepthRefM
		}
	}

	return verdict.Advise(in)
}

// heldPlace is the place that the mornings before this one were told. A second
// brief of a morning goes by the mornings before, not by the first.
func (f *Inputs) heldPlace() coldseam.PlaceMemory {
	switch p := f.Prev; {
	case p != nil && p.Day == f.Day:
		return p.PlaceBefore
	case p != nil && p.Day == f.Day.Add(-1):
		return p.Place
	}
	return coldseam.PlaceMemory{}
}

func (w *work) enoughYears() bool { return float64(w.climate.Years) >= w.f.Table.MinYears }

// waterFall is how far the daily mean fell over the last two days, degC.
func (w *work) waterFall() float64 {
	i := w.f.Days.Index(w.f.lastDay())
	d := coldseam.At(w.f.Days.WaterC, i-2) - coldseam.At(w.f.Days.WaterC, i)
	if math.IsNaN(d) {
		return 0
	}
	return d
}

// rise24h is the change of the daily mean flow over the last day, a fraction.
func (w *work) rise24h() float64 {
	i := w.f.Days.Index(w.f.lastDay())
	r := coldseam.At(w.f.Days.FlowM3S, i)/coldseam.At(w.f.Days.FlowM3S, i-1) - 1
	if math.IsNaN(r) || math.IsInf(r, 0) {
		return 0
	}
	return r
}

// freshTurbidity is the newest turbidity of the gauge, nil when it is too old.
func (w *work) freshTurbidity() *float64 {
	o, ok := (coldseam.Series{Obs: w.f.Turbidity}).Last()
	if !ok || w.f.Now.Sub(o.At) >= hoursOf(w.f.Table.GaugeAgeH) {
		return nil
	}
	return &o.Value
}
