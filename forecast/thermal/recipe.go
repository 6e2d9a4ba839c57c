package thermal

// recipe is one column of the stacking table
// (docs/decisions/0010-stacked-ensembles.md): sources, priors, ridges, features and dressing for a length of
// record and an air mode.
type recipe struct {
	kinds []heatKind

	learnt string  // the record of prior.csv that gives c0 of all columns
	mode   int     // air mode
	rows   float64 // that a learnt c0 counts as
	share  float64 // of the learnt c0; the rest is the one by hand
	taught prior   // set by the fit
	south  bool    // the year of prior.csv, and of spring, begins in July

	prior    []float64 // c0 of the sources by hand: heat balances, markov, dp, ar
	spring   []float64 // c0 of nodes in February-May, nil = prior
	nu       float64   // ridge on sources, share of their mean variance
	nuSpring float64
	nue      float64 // ridge on features, share of their own variance
	overH    bool    // these ridges times h/3
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

// The records of prior.csv.
const (
	longRecord  = "long"
	shortRecord = "short"
)

// Weight of the learnt coefficients in rows, and of those of features over those
// of sources [measured on the public series by hindcast with the river left out
// of prior.csv: 15, 60 and 250 rows tried].
const (
	longRows     = 15
	shortRows    = 60
	featureRidge = 3
)

// Without air, records up to handYears follow the weights set by hand alone, and
// learnt ones take over until longYears [measured on the same: learnt ones gain
// on four years and lose on two].
const handYears = 2

// recipeOf picks the column for so many years of record.
func recipeOf(years float64, mode int) recipe {
	long, features := years >= longYears, 4+2*mode
	switch {
	case long:
		unseen := .95
		if mode == withAir {
			unseen = 1.02
		}
		return recipe{kinds: longKinds, learnt: longRecord, mode: mode, rows: longRows, share: 1,
			prior: []float64{.5, .2, .15, .15}, nu: .03, nuSpring: .03, nue: .1,
			features: features, nodesT: true, k: 80, spread: 1.1, unseen: unseen}
	case mode == withAir:
		return recipe{kinds: shortKinds, learnt: shortRecord, mode: mode, rows: shortRows, share: 1,
			features: features, nodesT: true, k: 100, spread: 1.2, unseen: 1.05}
	}

	share := max((years-handYears)/(longYears-handYears), 0)
	return recipe{
		kinds:    shortKinds,
		learnt:   shortRecord,
		rows:     shortRows,
		share:    share,
		prior:    []float64{.15, 0, 0, 0, .1, .6, .15},
		spring:   []float64{0, 0, 0, 0, 0, 1, 0},
		nu:       .3,
		nuSpring: 10,
		nue:      1,
		overH:    true,
		features: features,
		nodesT:   share > 0,
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
	r.features, r.share, r.nodesT = 4, 0, n == len(longKinds)
	return r
}

// sources is the number of sources: heat balances, markov, dp and ar.
func (r recipe) sources() int { return len(r.kinds) + 3 }
