package flow

import (
	"math"

	"example.org/coldseam/forecast/ensemble"
)

const (
	nodeStep  = 7
	nodeCount = (366 + nodeStep - 1) / nodeStep
	doySD     = 30. // days [source: better forecast, sections 4 and 7]
)

// columns appends the regression columns of a source at lead h to x.
type columns func(x []float64, r *row, h int) []float64

func colsBase(x []float64, r *row, _ int) []float64 { return append(x, r.base[:]...) }

func colsUp(n int) columns {
	return func(x []float64, r *row, h int) []float64 {
		return append(append(append(x, r.base[:]...), r.upZ[h][:n]...), r.up[:n]...)
	}
}

func colsAir(x []float64, r *row, h int) []float64 {
	return append(append(x, r.base[:]...), r.pdd[h], r.air3)
}

func colsAR(x []float64, r *row, _ int) []float64 { return append(x, r.ar[:]...) }

// Local is a regression per lead whose coefficients vary with the day of the
// year: Coef[lead][node][column]. Global ones have one node.
type Local struct {
	Cols  int             `json:"cols"`
	Nodes int             `json:"nodes"`
	Coef  ensemble.Packed `json:"coef"`
}

func (l *Local) at(h, d int) int { return ((h-1)*l.Nodes + d) * l.Cols }

// bins are the normal equations of one source per fold and day of the year.
type bins struct {
	p    int
	rows [][367]*ensemble.Normal // by fold
}

// gather sums the rows at lead h, of which goal is what the columns explain.
func gather(rows []row, f columns, goal func(*row, int) float64, h, folds int) *bins {
	b := &bins{rows: make([][367]*ensemble.Normal, folds)}
	var x []float64
	for k := range rows {
		r := &rows[k]
		y := goal(r, h)
		if math.IsNaN(y) {
			continue
		}
		x = f(x[:0], r, h)
		b.p = len(x)
		n := b.rows[r.fold][r.doy]
		if n == nil {
			n = ensemble.NewNormal(len(x))
			b.rows[r.fold][r.doy] = n
		}

		n.Add(x, y, 1)
	}

	return b
}

// without sums all folds but one by day of the year; skip < 0 sums all.
func (b *bins) without(skip int) *[367]*ensemble.Normal {
	var out [367]*ensemble.Normal
	for f := range b.rows {
		if f == skip {
			continue
		}
		for d, n := range b.rows[f] {
			if n == nil {
				continue
			}
			if out[d] == nil {
				out[d] = ensemble.NewNormal(b.p)
			}
			out[d].AddScaled(n, 1)
		}
	}
	return &out
}

// change is the usual goal: the change of z.
func change(r *row, h int) float64 { return r.goal[h] }

// fitLocal solves the nodes of every lead, for the training rows of each fold
// and, last, for all of them.
func fitLocal(rows []row, f columns, goal func(*row, int) float64, folds int, local bool,
	solve func(*ensemble.Normal) []float64) []*Local {
	out := make([]*Local, folds+1)
	ker := make([]float64, 184)
	for g := range ker {
		if ker[g] = 1; local {
			if ker[g] = math.Exp(-.5 * float64(g*g) / (doySD * doySD)); ker[g] < 1e-4 {
				ker[g] = 0
			}
		}
	}

	for h := 1; h <= leads; h++ {
		b := gather(rows, f, goal, h, folds)

		for fold := range out {
			l := out[fold]
			if l == nil {
				l = &Local{Cols: b.p, Nodes: 1}
				if local {
					l.Nodes = nodeCount
				}
				l.Coef = make(ensemble.Packed, leads*l.Nodes*l.Cols)
				out[fold] = l
			}

			skip := fold
			if fold == folds {
				skip = -1
			}
			days := b.without(skip)

			for d := range l.Nodes {
				n := ensemble.NewNormal(b.p)
				for doy, x := range days {
					if x == nil {
						continue
					}
					if w := ker[ensemble.DoyGap(doy, 1+d*nodeStep)]; w > 0 {
						n.AddScaled(x, w)
					}
				}

				o := l.at(h, d)
				for k, v := range solve(n) {
					l.Coef[o+k] = float32(v)
				}
			}
		}
	}

	return out
}

// freeIntercept solves with a ridge that is a share of each column's own
// variance; the first column is the intercept and goes free.
func freeIntercept(ridge float64) func(*ensemble.Normal) []float64 {
	return func(n *ensemble.Normal) []float64 { return solveRidge(n, ridge) }
}

func solveRidge(n *ensemble.Normal, ridge float64) []float64 {
	r := make([]float64, n.P)
	for i := range r {
		r[i] = 1e-9*(n.W+1) + ridge*n.A[i*n.P+i]
	}
	if n.P > 0 {
		r[0] = 1e-9 * (n.W + 1)
	}
	x, ok := n.Solve(r)
	if !ok {
		return make([]float64, n.P)
	}
	return x
}

// value is the regression at lead h on a day of the year.
func (l *Local) value(x []float64, h, doy int) float64 {
	if l.Nodes == 1 {
		return dot32(l.Coef[l.at(h, 0):], x)
	}
	d0 := (doy - 1) / nodeStep
	f := float64(doy-1)/nodeStep - float64(d0)
	if d0 >= nodeCount-1 {
		d0 = nodeCount - 1
		f = float64(doy-1-d0*nodeStep) / float64(366-d0*nodeStep)
	}
	d1 := (d0 + 1) % nodeCount
	return (1-f)*dot32(l.Coef[l.at(h, d0):], x) + f*dot32(l.Coef[l.at(h, d1):], x)
}

func dot32(c ensemble.Packed, x []float64) float64 {
	s := 0.0
	for i, v := range x {
		s += float64(c[i]) * v
	}
	return s
}
