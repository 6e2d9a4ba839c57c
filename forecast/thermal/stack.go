package thermal

import (
	"math"

	"example.org/coldseam/forecast/ensemble"
)

const (
	nodeStep  = 7 // days between season nodes
	nodeCount = (366 + nodeStep - 1) / nodeStep
	doySD     = 30. // days, season kernel
	stateSD   = .6  // of G, state kernel
	maxCols   = 13
)

// stateNodes are the node temperatures, degC [proposal].
var stateNodes = [5]float64{0, 1, 3, 8, 15}

// warp is G(x) = ln(x + 0.4): near freezing a tenth of a degree counts, in
// summer it does not.
func warp(x float64) float64 { return math.Log(x + .4) }

// row is one out-of-fold issue: what a stacked regression learns from.
type row struct {
	i    int32   // index in its record
	g    int32   // donor
	w    float64 // weight
	doy  int
	t    float64                     // T(t)
	dt   float64                     // T(t)-T(t-1)
	x    [leads + 1][maxCols]float64 // columns by lead, relative to T(t)
	y    [leads + 1]float64          // T(t+h)-T(t)
	mu   [leads + 1]float64          // stacked centre, degC
	r    [leads + 1]float64          // observed minus mu
	warp [4]float64                  // of mu1, mu5, mu10, T(t)
}

// columns fills the regression columns of one issue: sources minus T(t), then
// the features. e is the residual of the first heat balance.
func columns(x *[leads + 1][maxCols]float64, s [][leads + 1]float64, feat int, t, dt, e, a3, a7 float64,
	air []float64) {
	n := len(s)
	sum := 0.0
	for h := 1; h <= leads; h++ {
		for m := range s {
			x[h][m] = s[m][h] - t
		}
		x[h][n], x[h][n+1], x[h][n+2], x[h][n+3] = dt, e, a3, a7-a3
		if feat > 4 {
			sum += air[h]
			x[h][n+4], x[h][n+5] = sum/float64(h)-t, air[h]-t
		}
	}
}

// Stack is the fitted local regression of one air mode: Coef[h-1][D][T0] are
// the coefficients of the columns, interpolated between nodes.
type Stack struct {
	Sources  int             `json:"sources"`
	Features int             `json:"features"`
	States   []float64       `json:"states"`
	Coef     ensemble.Packed `json:"coef"` // [lead][day node][state node][column]
}

// at is the offset of the coefficients of one node.
func (s *Stack) at(h, d, st int) int {
	return (((h-1)*nodeCount+d)*len(s.States) + st) * (s.Sources + s.Features)
}

// fitStack solves every node of every lead. Rows are first summed by day of
// the year (and state node), so that a node costs a sum over the year and not
// over all rows.
func fitStack(rows []row, rc recipe) *Stack {
	s := &Stack{Sources: rc.sources(), Features: rc.features, States: []float64{0}}
	if rc.nodesT {
		s.States = stateNodes[:]
	}
	if rc.share > 0 {
		rc.taught = learnt()
	}
	p := s.Sources + s.Features
	s.Coef = make(ensemble.Packed, leads*nodeCount*len(s.States)*p)
	ker := doyKernel()
	kt := stateKernels(rows, s.States)

	for h := 1; h <= leads; h++ {
		for st := range s.States {
			day := make([]*ensemble.Normal, 367)
			for k := range rows {
				w := kt[st][k]
				if w < 1e-5 {
					continue
				}
				r := &rows[k]
				if day[r.doy] == nil {
					day[r.doy] = ensemble.NewNormal(p)
				}
				day[r.doy].Add(r.x[h][:p], r.y[h], w)
			}

			for d := range nodeCount {
				n := ensemble.NewNormal(p)
				at := 1 + d*nodeStep
				for doy, b := range day {
					if b == nil {
						continue
					}
					if w := ker[ensemble.DoyGap(doy, at)]; w > 0 {
						n.AddScaled(b, w)
					}
				}

				o := s.at(h, d, st)
				for k, v := range solveNode(n, rc, h, at, st) {
					s.Coef[o+k] = float32(v)
				}
			}
		}
	}

	return s
}

func doyKernel() []float64 {
	k := make([]float64, 184)
	for g := range k {
		if k[g] = math.Exp(-.5 * float64(g*g) / (doySD * doySD)); k[g] < 1e-4 {
			k[g] = 0
		}
	}
	return k
}

func stateKernels(rows []row, states []float64) [][]float64 {
	kt := make([][]float64, len(states))
	for st, t0 := range states {
		kt[st] = make([]float64, len(rows))
		for k := range rows {
			kt[st][k] = rows[k].w
			if len(states) > 1 {
				z := (warp(rows[k].t) - warp(t0)) / stateSD
				kt[st][k] = rows[k].w * math.Exp(-.5*z*z)
			}
		}
	}
	return kt
}

// solveNode is c = c0 + (A + Lambda)^-1 (b - A c0) with A, b averaged by the
// kernel weights.
func solveNode(n *ensemble.Normal, rc recipe, h, doy, state int) []float64 {
	p, m := n.P, rc.sources()
	c0, nu, nue := rc.start(n, h, doy, state)

	if n.W <= 1e-9 {
		return c0
	}
	diag := 0.0
	for i := range m {
		diag += n.A[i*p+i] / n.W / float64(m)
	}

	ridge := make([]float64, p)
	sol := &ensemble.Normal{P: p, A: make([]float64, p*p), B: make([]float64, p)}
	for i := range p {
		ridge[i] = 1e-6 + nu*diag
		if i >= m {
			ridge[i] = 1e-6 + nue*n.A[i*p+i]/n.W
		}
		sol.B[i] = n.B[i] / n.W
		for j := range p {
			a := n.A[max(i, j)*p+min(i, j)] / n.W
			sol.A[i*p+j] = a
			sol.B[i] -= a * c0[j]
		}
	}

	d, ok := sol.Solve(ridge)
	if !ok {
		return c0
	}
	for i := range c0 {
		c0[i] += d[i]
	}
	return c0
}

// start are the coefficients that a node starts from and the ridges towards them,
// on sources and on features: of prior.csv and by hand in the recipe's shares.
func (rc recipe) start(n *ensemble.Normal, h, doy, state int) (c0 []float64, nu, nue float64) {
	if rc.south {
		doy = (doy+366/2-1)%366 + 1
	}
	c0, nu, nue = make([]float64, n.P), rc.nu, rc.nue
	copy(c0, rc.prior)
	if doy >= 32 && doy <= 151 { // February to May
		nu = rc.nuSpring
		if rc.spring != nil {
			copy(c0, rc.spring)
		}
	}
	if rc.overH {
		nu, nue = nu*float64(h)/3, nue*float64(h)/3
	}
	if rc.share == 0 {
		return c0, nu, nue
	}

	ridge := rc.rows / max(n.W, 1)
	for i, v := range rc.taught.at(priorKey{record: rc.learnt, mode: rc.mode, state: state}, h, doy) {
		c0[i] += rc.share * (v - c0[i])
	}
	if rc.share == 1 {
		return c0, ridge, featureRidge * ridge
	}
	return c0, math.Pow(nu, 1-rc.share) * math.Pow(ridge, rc.share),
		math.Pow(nue, 1-rc.share) * math.Pow(featureRidge*ridge, rc.share)
}

// centre is mu(t,h) for all leads, floored at 0 degC.
func (s *Stack) centre(mu *[leads + 1]float64, x *[leads + 1][maxCols]float64, doy int, t float64) {
	s.change(mu, x, doy, t)
	for h := 1; h <= leads; h++ {
		mu[h] = max(0, t+mu[h])
	}
}

// change is the regression's change from T(t): coefficients interpolated in the
// day of year (around the year) and in the state.
func (s *Stack) change(mu *[leads + 1]float64, x *[leads + 1][maxCols]float64, doy int, t float64) {
	p := s.Sources + s.Features
	d := float64(doy-1) / nodeStep
	d0 := int(d)
	fd := d - float64(d0)
	if d0 >= nodeCount-1 {
		d0 = nodeCount - 1
		fd = (float64(doy-1) - float64(d0*nodeStep)) / float64(366-d0*nodeStep)
	}

	d1 := (d0 + 1) % nodeCount
	s0, s1, fs := 0, 0, 0.0
	if len(s.States) > 1 {
		s1 = 1
		for s1 < len(s.States)-1 && t > s.States[s1] {
			s1++
		}
		s0 = s1 - 1
		a, b := warp(s.States[s0]), warp(s.States[s1])
		fs = min(max((warp(t)-a)/(b-a), 0), 1)
	}

	for h := 1; h <= leads; h++ {
		c00, c01 := s.Coef[s.at(h, d0, s0):], s.Coef[s.at(h, d0, s1):]
		c10, c11 := s.Coef[s.at(h, d1, s0):], s.Coef[s.at(h, d1, s1):]
		v := 0.0
		for k := range p {
			c := (1-fd)*((1-fs)*float64(c00[k])+fs*float64(c01[k])) + fd*((1-fs)*float64(c10[k])+fs*float64(c11[k]))
			v += c * x[h][k]
		}
		mu[h] = v
	}
}

// weights are the coefficients of the sources at lead 5 for a day of the year
// and a state.
func (s *Stack) weights(doy int, t float64) []float64 {
	out := make([]float64, s.Sources)
	var x [leads + 1][maxCols]float64
	var mu [leads + 1]float64
	for m := range out {
		x[5] = [maxCols]float64{}
		x[5][m] = 1
		s.change(&mu, &x, doy, t)
		out[m] = mu[5]
	}
	return out
}
