package thermal

import "math"

// slopes runs the model and, beside it, the derivative of each day's
// temperature by every free parameter (the order of pack: active parameters, w,
// then the logs of g, JMax and s). At the days of the fit it fills the columns
// of jac, one column of n values per parameter. The derivatives follow the
// exact step
//
//	T = E + (T0 - E) exp(-K), E = F/K:
//	dT = (dF - E dK)/K (1 - exp(-K)) + exp(-K) (dT0 - (T0 - E) dK)
//
// and are 0 where the temperature is held at a bound. At the bucket's
// switches, where no derivative exists, the branch taken counts.
func (p Heat) slopes(g *target, bucket bool, sim, jac []float64, stride int) {
	c := p.coef(g.f.lnq != nil)
	if bucket { // its derivatives are wanted even where it is all but empty
		c.hasJ, c.invS = true, 1/p.S
	}
	cols := active[p.Kind]
	np := len(cols)

	var d dayslope
	f := g.f
	n := len(g.days)
	t, j := g.t0, 0.0
	pa, pq := f.air[0], 0.0
	if c.useQ {
		pq = f.lnq[0]
	}
	next := 0

	for i := range sim {
		a, lq, dlq := f.air[i], 0.0, 0.0
		if c.useQ {
			lq, dlq = p.W*f.lnq[i]+(1-p.W)*pq, f.lnq[i]-pq
			pq = f.lnq[i]
		}
		t, j = d.step(&c, t, j, p.W*a+(1-p.W)*pa, a-pa, lq, dlq, f.cos[i], f.sin[i])
		pa = a
		sim[i] = t

		if next < n && int(g.days[next]) == i {
			for k, col := range cols {
				jac[k*stride+next] = d.s[col]
			}
			if bucket {
				for k := range 3 {
					jac[(np+k)*stride+next] = d.s[9+k]
				}
			}
			next++
		}
	}
}

// dayslope carries the derivatives from day to day: of T by a1..a8, w and the
// logs of g, JMax, s; and of J by w and the three logs.
type dayslope struct {
	s  [12]float64
	dj [4]float64
}

// step is coef.step with its derivatives.
func (d *dayslope) step(c *coef, t, j, ta, dta, lnq, dlq, cos, sin float64) (float64, float64) {
	wave := cos*c.c2 + sin*c.s2 // cos(2 pi (t_y - a7))
	quad := sin*c.c2 - cos*c.s2 // sin(2 pi (t_y - a7))
	q, r := 1.0, 1.0            // q* and q*^-a4
	if c.useQ {
		q, r = fastExp(lnq), fastExp(-c.A[3]*lnq)
	}
	f := (c.A[0] + c.A[1]*ta + q*(c.A[4]+c.A[5]*wave)) * r
	kRaw := (c.A[2] + q*c.A[7]) * r
	k := min(max(kRaw, kMin), kMax)

	e := c.e0
	if c.useQ {
		e = fastExp(-k)
	}
	eq := f / k
	var df, dk [9]float64
	df[0], df[1] = r, ta*r
	df[4], df[5] = q*r, q*wave*r
	df[6] = q * r * c.A[5] * 2 * math.Pi * quad
	if k == kRaw {
		dk[2], dk[7] = r, q*r
	}
	df[8] = c.A[1] * r * dta

	if c.useQ {
		df[3] = -lnq * f
		df[8] += (q*(c.A[4]+c.A[5]*wave)*r - c.A[3]*f) * dlq
		if k == kRaw {
			dk[3] = -lnq * k
			dk[8] = (q*c.A[7]*r - c.A[3]*k) * dlq
		}
	}

	x := eq + (t-eq)*e
	held := x <= 0 || x >= tMax
	u, v := (1-e)/k, e*(t-eq)
	for m := range 9 {
		if d.s[m] = (df[m]-eq*dk[m])*u + e*d.s[m] - v*dk[m]; held {
			d.s[m] = 0
		}
	}

	x = min(max(x, 0), tMax)
	if !c.hasJ {
		return x, 0
	}
	for m := 9; m < 12; m++ {
		if d.s[m] *= e; held {
			d.s[m] = 0
		}
	}

	j = d.bucket(c, &x, t, j, ta, dta)
	return x, j
}

// bucket advances J and its derivatives and holds x down.
func (d *dayslope) bucket(c *coef, x *float64, t, j, ta, dta float64) float64 {
	if ta < 0 {
		if t < 1 {
			j -= c.G * ta
			d.dj[0] -= c.G * dta
			d.dj[1] -= c.G * ta // by ln g
		}
	} else {
		j -= ta
		d.dj[0] -= dta
	}

	switch {
	case j <= 0:
		j, d.dj = 0, [4]float64{}
	case j >= c.JMax:
		j, d.dj = c.JMax, [4]float64{2: c.JMax} // by ln JMax
	}

	if j > 0 {
		h := fastExp(-j * c.invS)
		d.s[8] = h * (d.s[8] - *x*c.invS*d.dj[0])
		for m := range 8 {
			d.s[m] *= h
		}
		d.s[9] = h * (d.s[9] - *x*c.invS*d.dj[1])
		d.s[10] = h * (d.s[10] - *x*c.invS*d.dj[2])
		d.s[11] = h * (d.s[11] - *x*c.invS*(d.dj[3]-j)) // by ln s
		*x *= h
	}

	return j
}
