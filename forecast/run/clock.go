package run

import (
	"math"
	"math/rand/v2"

	"example.org/coldseam"
)

// ClockDay is one day of the run clock. All shares are 0-1 of the run: means
// over the draws, so that they add up; with noise off there is one draw.
type ClockDay struct {
	Date         coldseam.Date
	R            float64 // ripeness, C d
	Arrivals     float64
	Arrived      float64
	Holding      float64
	Gravel       float64
	DroppingBack float64
	Spawned      float64
	Through      float64 // left the holes, spawned or not
	Spent        float64
	Index        float64 // fishable index without the resident share
	Stage        string  // most probable
	PWave        float64
	Water        float64 // degC as used
	Exits        float64
}

// ClockOptions of a run clock by hand. The zero value is noise on, 500 draws.
type ClockOptions struct {
	Year    int // in which the season begins; 0 = that of the last day
	NoNoise bool
	Delta   float64 // shift of ln theta; noise off only
	Draws   int
	Seed    uint64
	ModelC  []float64 // fills gaps of the water temperature
	FlowPct func(coldseam.Date, float64) float64
}

// Clock runs a species over one season of daily values, from 1 January (south of
// the equator 1 July) of the year to the last day of days or of the season. It
// ends before a day from which the water temperature is not known: see spring.
// ErrUnavailable: the season cannot begin.
func Clock(sp Species, days coldseam.Days, o ClockOptions) ([]ClockDay, error) {
	last := days.First.Add(days.Len())
	if o.Year == 0 {
		o.Year = seasonStart(last.Add(-1), days.Lat).Year
	}
	if end := yearStart(o.Year+1, days.Lat).Add(-1); end.Before(last) {
		last = end // the last day is left out so that one season never reaches into the next
	}

	if first := yearStart(o.Year, days.Lat); !first.Before(last) {
		return nil, nil
	}
	s, err := spring(days, o.ModelC, last, sp.Tb)
	if err != nil {
		return nil, err
	}

	dr := sp.drives(days.Lat, s.first, s.t, s.q, o.FlowPct, 0)
	if o.NoNoise {
		p := sp.defaults()
		p.delta = o.Delta
		return sp.quiet(p, dr, s), nil
	}

	if o.Draws == 0 {
		o.Draws = 500
	}
	return sp.noisy(dr, s, o), nil
}

func (s *Species) quiet(p draw, dr []drive, w season) []ClockDay {
	out := make([]ClockDay, len(dr))
	var st state
	for i := range dr {
		s.step(&p, &st, &dr[i], 0, 0)
		t := st.totals(s)
		out[i] = ClockDay{
			Date:         w.first.Add(i),
			R:            st.r,
			Arrivals:     st.arrivals,
			Arrived:      t.arrived,
			Holding:      t.h,
			Gravel:       t.s,
			DroppingBack: t.b,
			Spawned:      t.spawned,
			Through:      t.through,
			Spent:        t.spent(),
			Index:        t.index(),
			Stage:        Stages[t.stage()],
			Water:        w.t[i],
			Exits:        st.exits,
		}
		if st.wave {
			out[i].PWave = 1
		}
	}
	return out
}

func (s *Species) noisy(dr []drive, w season, o ClockOptions) []ClockDay {
	out := make([]ClockDay, len(dr))
	stages := make([][len(Stages)]float64, len(dr))
	f := 1 / float64(o.Draws)

	for j := range o.Draws {
		rng := stream(o.Seed, j)
		p := s.sample(rng, Prior{SD: s.DeltaSD})
		var st state

		for i := range dr {
			s.step(&p, &st, &dr[i], s.Sigma, rng.NormFloat64())
			t := st.totals(s)
			c := &out[i]
			c.R += f * st.r
			c.Arrivals += f * st.arrivals
			c.Arrived += f * t.arrived
			c.Holding += f * t.h
			c.Gravel += f * t.s
			c.DroppingBack += f * t.b

			c.Spawned += f * t.spawned
			c.Through += f * t.through
			c.Spent += f * t.spent()
			c.Index += f * t.index()
			c.Exits += f * st.exits
			stages[i][t.stage()] += f
			if st.wave {
				c.PWave += f
			}
		}
	}

	for i := range out {
		out[i].Date, out[i].Water = w.first.Add(i), w.t[i]
		k, _ := top(stages[i][:])
		out[i].Stage = Stages[k]
	}

	return out
}

// Prior is what is known of the river's shift delta of the clock before the
// season: see Carry.
type Prior struct {
	Mean, SD float64
}

// sample draws the parameters of one trajectory.
func (s *Species) sample(rng *rand.Rand, d Prior) draw {
	p := s.defaults()
	p.delta = d.Mean + d.SD*rng.NormFloat64()
	p.tMove += s.TMoveSD * rng.NormFloat64()
	p.h0 *= math.Exp(s.H0LnSD * rng.NormFloat64())
	p.bT += s.BWarmSD * rng.NormFloat64()
	p.bQ += s.BFlowSD * rng.NormFloat64()
	p.du = math.Max(0, p.du+s.DuSD*rng.NormFloat64())
	p.lurge += s.LurgeSD * rng.NormFloat64()
	return p
}

// stream is the random stream of draw j: the same seed and draw give the same
// numbers in any order of work.
func stream(seed uint64, j int) *rand.Rand {
	return rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15*uint64(j+1)))
}

// top returns the greatest entry of p; the earlier one wins a tie.
func top(p []float64) (int, float64) {
	k := 0
	for i := range p {
		if p[i] > p[k] {
			k = i
		}
	}
	return k, p[k]
}
