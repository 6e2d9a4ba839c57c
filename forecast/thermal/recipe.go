package thermal

// recipe is one column of the stacking table
// (docs/decisions/0010-stacked-ensembles.md): sources, priors, ridges, features and dressing for a length of
// record and an air mode.
type recipe struct {
	kinds    []heatKind
	prior    []float64 // c0 of the sources: heat balances, markov, dp, ar
	spring   []float64 // c0 of nodes in February-May, nil = prior
	nu       float64   // ridge on sources, share of their mean variance
	nuSpring float64
	nue      float64 // ridge on features, share of their own variance
	overH    bool    // ridges divided by h/3
	features int     // 6 with given air, else 4
	nodesT   bool    // state kernel
	k        int     // neighbours of the dressing
	spread   float64
	// unseen is the factor on the calibrated spread. In the training years the
	// stack has seen the entries it is judged by and covers too much where few
	// years taught it; under ice half of the year needs no spread at all
	// [measured on the public series by hindcast: 80 % intervals of left-out years].
	unseen float64
}

var (
	longKinds  = []heatKind{{8, true}}
	shortKinds = []heatKind{{8, true}, {3, true}, {8, false}, {3, false}}
)

// recipeOf picks the column.
func recipeOf(long, air bool) recipe {
	switch {
	case long:
		unseen := .95
		if air {
			unseen = 1.02
		}
		return recipe{kinds: longKinds, prior: []float64{.5, .2, .15, .15}, nu: .03, nuSpring: .03, nue: .1,
			features: 6, nodesT: true, k: 80, spread: 1.1, unseen: unseen}
	case air:
		return recipe{kinds: shortKinds, prior: []float64{.3, .2, 0, 0, .2, .15, .15}, nu: .03, nuSpring: .03, nue: .3,
			features: 6, k: 100, spread: 1.2, unseen: 1.05}
	}
	return recipe{
		kinds:    shortKinds,
		prior:    []float64{.15, 0, 0, 0, .1, .6, .15},
		spring:   []float64{0, 0, 0, 0, 0, 1, 0},
		nu:       .3,
		nuSpring: 10,
		nue:      1,
		overH:    true,
		features: 4,
		k:        100,
		spread:   1.2,
		unseen:   .95,
	}
}

// withoutAir drops the heat balances, for a river without an air record: their
// prior goes to the others in proportion.
func (r recipe) withoutAir() recipe {
	n := len(r.kinds)
	cut := func(p []float64) []float64 {
		if p == nil {
			return nil
		}
		s := 0.0
		for _, v := range p[n:] {
			s += v
		}
		out := append([]float64(nil), p[n:]...)
		for i := range out {
			out[i] /= s
		}
		return out
	}
	r.kinds, r.prior, r.spring = nil, cut(r.prior), cut(r.spring)
	r.features = 4
	return r
}
