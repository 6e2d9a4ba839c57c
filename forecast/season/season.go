// Package season replays past mornings of a reach: each through the decision of
// the service, on what was known at the hour of the mail, with models fitted
// each week on the past alone. It holds no decision of its own.
//
// Where it stops being true: a record that was revised since is not what was
// known then, and stops whose inputs nobody kept are not judged. Every cell
// names them.
package season

import (
	"fmt"
	"math"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/flow"
	"example.org/coldseam/forecast/thermal"
	"example.org/coldseam/forecast/verdict"
)

// Source gives what was known of a reach when the mail of a morning was made.
type Source interface {
	// Morning is cut at the hour of the mail. Models in it are not used.
	// notReplayed names the inputs of stops that could not fire.
	Morning(day coldseam.Date) (f forecast.Inputs, notReplayed []string, err error)
	// Assumed are codes of what stands for inputs that are not on record.
	Assumed() []string
}

// Options of a run.
type Options struct {
	From, To coldseam.Date
	// Progress is called after each morning; an error ends the run and is returned.
	Progress func(done, total int) error
	// Resume goes on where another run of the same mornings ended; Keep is given
	// that place when Progress ends this one.
	Resume *State
	Keep   func(State)

	first coldseam.Date // morning that is made; zero = as warmUpFrom has it
}

// State is how far a run came.
type State struct {
	Next      coldseam.Date // the morning that comes next
	Prev      *coldseam.Brief
	Cells     []coldseam.ReplayCell
	LimitM3S  *float64
	Forecasts []coldseam.ForecastScore // sums so far
	Events    []coldseam.EventScore
}

// NoGauge is the code of a record that never had a discharge.
const NoGauge = "no_gauge"

// fitDays is how long models stand, as in the service.
const fitDays = 7

// warmUpFrom is the day on which a replay begins for mornings from d on. What a
// morning keeps of those before it starts anew there, so that any part of a
// season gives the same cells.
func warmUpFrom(d coldseam.Date) coldseam.Date {
	switch {
	case d.Month >= time.August:
		return coldseam.Date{Year: d.Year, Month: time.August, Day: 1}
	case d.Month >= time.February:
		return coldseam.Date{Year: d.Year, Month: time.February, Day: 1}
	}
	return coldseam.Date{Year: d.Year - 1, Month: time.August, Day: 1}
}

// Run replays the mornings from From to To, after those since the last
// beginning of February or August.
func Run(src Source, o Options) (coldseam.Replay, error) {
	if o.To.Before(o.From) {
		return coldseam.Replay{}, fmt.Errorf("season from %s to %s: want the first day first: %w", o.From, o.To,
			coldseam.ErrInvalid)
	}
	out := coldseam.Replay{From: o.From, To: o.To, Assumed: append([]string{}, src.Assumed()...)}
	r := replayer{src: src, noChart: true}
	judged := newScores(src)
	first := o.first
	if first.IsZero() {
		first = warmUpFrom(o.From)
	}
	total, begin := o.To.Sub(first)+1, 0
	if s := o.Resume; s != nil && !s.Next.Before(first) && !o.To.Before(s.Next) {
		begin, r.prev = s.Next.Sub(first), s.Prev
		out.Cells, out.LimitM3S = s.Cells, s.LimitM3S
		judged.resume(*s)
	}

	for n := begin; n < total; n++ {
		day := first.Add(n)
		if day == warmUpFrom(day) {
			r.prev = nil
		}
		before := r.prev
		f, m, c, err := r.morning(day)
		if err != nil {
			return coldseam.Replay{}, err
		}

		r.prev = &m.Brief
		if o.Progress != nil {
			if err := o.Progress(n+1, total); err != nil {
				if o.Keep != nil {
					o.Keep(judged.keep(State{Next: day, Prev: before, Cells: out.Cells, LimitM3S: out.LimitM3S}))
				}
				return coldseam.Replay{}, err
			}
		}

		if day.Before(o.From) {
			continue
		}
		cellOf(m, &c)
		judged.add(f, m)
		if len(f.Discharge) == 0 && !slices.ContainsFunc(f.Days.FlowM3S, func(q float64) bool { return !math.IsNaN(q) }) {
			c.Missing = append([]string{NoGauge}, c.Missing...)
		}
		out.Cells = append(out.Cells, c)
		out.Reach, out.LimitM3S = f.Reach.ID, f.Reach.MaxFlowM3S
	}

	out.Sum()
	judged.into(&out)
	return out, nil
}

// Morning replays one morning alone, with the models of its week: what a cell of
// Run is made of.
func Morning(src Source, day coldseam.Date) (forecast.Inputs, forecast.Morning, error) {
	r := replayer{src: src}
	f, m, _, err := r.morning(day)
	return f, m, err
}

// replayer makes mornings one after the other and keeps the models of the week.
type replayer struct {
	src    Source
	prev   *coldseam.Brief // of the morning before; nil = none
	fitted coldseam.Date
	flow   *flow.Model
	temp   *thermal.Model

	noChart bool // cells hold none
}

// fitDay is the morning on which the models of a day were fitted. It does not
// depend on where a replay begins, so that any part of a season gives the same
// cells.
func fitDay(d coldseam.Date) coldseam.Date { return d.Add(-int(d.UTC().Unix() / 86400 % fitDays)) }

// morning makes one morning with the models of its week, which are fitted to
// what was known on their own morning.
func (r *replayer) morning(day coldseam.Date) (
	f forecast.Inputs, m forecast.Morning, c coldseam.ReplayCell, err error) {
	fit := fitDay(day)
	if r.fitted != fit && day != fit {
		if f, m, c, err = r.morning(fit); err != nil {
			return f, m, c, err
		}
	}

	c.Day = day
	f, c.NotReplayed, err = r.src.Morning(day)
	if err != nil {
		return f, m, c, fmt.Errorf("morning of %s: %w", day, err)
	}

	f.NoChart = r.noChart
	f.FlowModel, f.TempModel = r.flow, r.temp
	if r.fitted != fit {
		f.FlowModel, f.TempModel = nil, nil
	}
	f.Prev, f.Before = r.prev, r.prev
	m = forecast.Make(f)
	r.fitted, r.flow, r.temp = fit, m.FlowModel, m.TempModel
	return f, m, c, nil
}

// cellOf fills in what a morning came to.
func cellOf(m forecast.Morning, c *coldseam.ReplayCell) {
	b := m.Brief
	c.Word, c.Stops = b.Verdict, codes(b.Stops, "")
	c.Caps, c.Missing = codes(b.Reasons, verdict.KindCap), codes(b.Reasons, verdict.KindMissing)
	c.NotReplayed = append([]string{}, c.NotReplayed...)
	if odds, word, ok := m.OddsAlone(); ok {
		c.Odds, c.OddsWord = &odds, word
	}

	if b.Run.Active {
		c.Stage, c.PWave = b.Run.Stage, &b.Run.PWave
	}
	if b.Temp.NowOK {
		c.WaterC = &b.Temp.Now
	}
	if b.Flow.NowOK {
		c.FlowM3S = &b.Flow.Now
	}

	if !m.Decision.ShowLines {
		return
	}
	if len(b.How.Where) > 0 {
		c.Place = b.How.Where[0]
	}
	if i := coldseam.Headline(b.Jig); i >= 0 && b.Jig[i].TieOz > 0 {
		c.TieOz, c.PackOz = &b.Jig[i].TieOz, &b.Jig[i].PackOz
	}
}

// codes are the codes of the reasons of a kind, each once; "" = of every kind.
func codes(rs []coldseam.Reason, kind string) []string {
	out := []string{}
	for _, r := range rs {
		if (kind == "" || r.Kind == kind) && !slices.Contains(out, r.Code) {
			out = append(out, r.Code)
		}
	}
	return out
}
