package flow

import (
	"math"

	"example.org/coldseam/forecast/ensemble"
)

const (
	nodeStep  = 7
	nodeCount = (366 + nodeStep - 1) / nodeStep
	doySD     = 30. // days [proposal]
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

// bins are the normal equations of one lead by fold and day of the year.
type bins [folds][367]*ensemble.Normal

// gather sums the rows at lead h, of which goal is what the columns explain; unless
// each fold is wanted by itself all rows lie in the first.
func gather(rows []row, f columns, goal func(*row, int) float64, h int, each bool) (b bins, p int) {
	var x []float64
	for k := range rows {
		r := &rows[k]
		y := goal(r, h)
		if math.IsNaN(y) {
			continue
		}
		x = f(x[:0], r, h)
		p = len(x)
		fold := 0
		if each {
			fold = r.fold
		}
		n := b[fold][r.doy]
		if n == nil {
			n = ensemble.NewNormal(p)
			b[fold][r.doy] = n
		}

		n.Add(x, y, 1)
	}

	return b, p
}

// near sums the days of each fold around a day of the year by the kernel; a fold
// without rows stays nil.
func (b *bins) near(at, p int, kernel []float64) (out [folds]*ensemble.Normal) {
	for fold := range b {
		for doy, x := range b[fold] {
			if x == nil {
				continue
			}
			if out[fold] == nil {
				out[fold] = ensemble.NewNormal(p)
			}
			if w := kernel[ensemble.DoyGap(doy, at)]; w > 0 {
				out[fold].AddScaled(x, w)
			}
		}
	}
	return out
}

// change is the usual goal: the change of z.
func change(r *row, h int) float64 { return r.goal[h] }

// fitLocal solves the nodes of every lead for all rows; with each also for the
// rows outside of each fold that has any.
func fitLocal(rows []row, f columns, goal func(*row, int) float64, each, local bool,
	solve func(*ensemble.Normal) []float64) (all *Local, without [folds]*Local) {
	kernel := make([]float64, 184)
	for g := range kernel {
		if kernel[g] = 1; local {
			if kernel[g] = math.Exp(-.5 * float64(g*g) / (doySD * doySD)); kernel[g] < 1e-4 {
				kernel[g] = 0
			}
		}
	}

	var held [folds]bool
	for k := range rows {
		held[rows[k].fold] = each
	}

	for h := 1; h <= leads; h++ {
		b, p := gather(rows, f, goal, h, each)
		set := func(to **Local, d int, n *ensemble.Normal) {
			if *to == nil {
				l := &Local{Cols: p, Nodes: 1}
				if local {
					l.Nodes = nodeCount
				}
				l.Coef = make(ensemble.Packed, leads*l.Nodes*l.Cols)
				*to = l
			}
			o := (*to).at(h, d)
			for k, v := range solve(n) {
				(*to).Coef[o+k] = float32(v)
			}
		}

		for d := range nodeCount {
			if d > 0 && !local {
				break
			}
			near := b.near(1+d*nodeStep, p, kernel)
			sum := func(skip int) *ensemble.Normal {
				n := ensemble.NewNormal(p)
				for fold, x := range near {
					if x != nil && fold != skip {
						n.AddScaled(x, 1)
					}
				}
				return n
			}

			set(&all, d, sum(-1))
			for fold := range held {
				if held[fold] {
					set(&without[fold], d, sum(fold))
				}
			}
		}
	}

	return all, without
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
