package flow

import (
	"math"

	"example.org/coldseam/forecast/ensemble"
)

const (
	analogDays = 30 // days of the year to either side [proposal]
	analogK    = 50
)

// analogs finds the training issues most like one.
type analogs struct {
	rows []row
	doy  [367][]int32
	sd   [3]float64 // of z, d1, d3
	c    []ensemble.Candidate
}

func newAnalogs(rows []row) *analogs {
	a := &analogs{rows: rows}
	var n float64
	var s, q [3]float64
	for k := range rows {
		r := &rows[k]
		a.doy[r.doy] = append(a.doy[r.doy], int32(k))
		n++
		for j, v := range [3]float64{r.z, r.d1, r.d3} {
			s[j], q[j] = s[j]+v, q[j]+v*v
		}
	}
	for j := range a.sd {
		a.sd[j] = math.Sqrt(max(q[j]/n-s[j]/n*s[j]/n, 1e-12))
	}
	return a
}

// nearest returns the k rows most like r, none of fold skip.
func (a *analogs) nearest(r *row, skip, k int) []ensemble.Candidate {
	a.c = a.c[:0]
	for g := -analogDays; g <= analogDays; g++ {
		for _, i := range a.doy[(r.doy+g-1+732)%366+1] {
			x := &a.rows[i]
			if x.fold == skip {
				continue
			}
			z, d1, d3 := (x.z-r.z)/a.sd[0], (x.d1-r.d1)/a.sd[1], (x.d3-r.d3)/a.sd[2]
			a.c = append(a.c, ensemble.Candidate{D: z*z + d1*d1 + d3*d3, K: i})
		}
	}
	return ensemble.Nearest(a.c, k)
}

// mean is the average change of z over h days of the analogs.
func (a *analogs) mean(c []ensemble.Candidate, h int) float64 {
	s := 0.0
	for _, x := range c {
		s += a.rows[x.K].goal[h]
	}
	return s / float64(max(len(c), 1))
}
