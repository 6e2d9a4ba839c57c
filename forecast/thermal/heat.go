package thermal

import "math"

// Heat is the hybrid heat balance with the ice bucket. Kind is the number of
// its parameters: 8 with discharge, 5 without, 3 without season
// (Toffolon & Piccolroaz 2015, Environ. Res. Lett. 10:114011, eqs 7-9); the step
// is exact for constant forcing within the day, the bucket is ours [proposal].
//
// With q = Q/QRef, t_y the day of year/365, Ta the air in degC:
//
//	dT/dt = { a1 + a2 Ta - a3 T + q [a5 + a6 cos(2 pi (t_y - a7)) - a8 T] } / q^a4
//
// A published set was fitted with a Runge-Kutta step and must not be mixed
// with this one: RMSE rises by up to 0.05 degC.
type Heat struct {
	Kind int        `json:"kind"`
	A    [8]float64 `json:"a"` // a1..a8; per day, degC per day and so on
	W    float64    `json:"w"` // share of the same day's forcing, 1-w of the day before
	LnQ  float64    `json:"ln_qref"`

	// The bucket: degree-days of melt owed per degree of frost, their greatest
	// number, and the scale by which they hold the water down. JMax 0 = none.
	G    float64 `json:"g"`
	JMax float64 `json:"jmax"`
	S    float64 `json:"s"`

	RMSE   float64 `json:"rmse"`   // of the free run on the training days
	Runs   int     `json:"runs"`   // model runs the fit took
	Spread float64 `json:"spread"` // relative cost gap of the best and third best start
}

const (
	tyDays = 365 // t_y = day of year/365, as in the paper
	kMin   = 1e-6
	kMax   = 50
	tMax   = 60
)

// forcing drives a run: per day air in degC, ln(Q/QRef) (nil = none) and the
// cosine and sine of 2 pi t_y.
type forcing struct {
	air, lnq, cos, sin []float64
}

// season fills cos and sin of 2 pi doy/365.
func season(doy []int) (c, s []float64) {
	c, s = make([]float64, len(doy)), make([]float64, len(doy))
	for i, d := range doy {
		s[i], c[i] = math.Sincos(2 * math.Pi * float64(d) / tyDays)
	}
	return c, s
}

// coef is Heat unfolded for the inner loop.
type coef struct {
	Heat
	s2, c2   float64 // sin(2 pi a7), cos(2 pi a7)
	ac, as   float64 // a6 times them
	k0, e0   float64 // K and exp(-K) where discharge plays no part
	useQ     bool
	hasJ     bool
	invS     float64
	constant float64 // a1 (+ a5 where q = 1 throughout)
}

func (p Heat) coef(withQ bool) coef {
	c := coef{Heat: p}
	c.s2, c.c2 = math.Sincos(2 * math.Pi * p.A[6])
	c.ac, c.as = p.A[5]*c.c2, p.A[5]*c.s2
	c.useQ = withQ && p.Kind == 8
	c.constant = p.A[0]
	k := p.A[2]
	if p.Kind == 8 && !withQ { // discharge missing: its reference value stands in
		c.constant += p.A[4]
		k += p.A[7]
	}
	c.k0 = min(max(k, kMin), kMax)
	c.e0 = math.Exp(-c.k0)
	c.hasJ = p.JMax > .02
	if c.hasJ {
		c.invS = 1 / p.S
	}
	return c
}

// step advances one day. t and j are the state of the day before; ta and lnq
// are already weighted by w.
func (c *coef) step(t, j, ta, lnq, cos, sin float64) (float64, float64) {
	f := c.constant + c.A[1]*ta
	seas := c.ac*cos + c.as*sin
	k, e := c.k0, c.e0
	if c.useQ {
		q, d := fastExp2(lnq, -c.A[3]*lnq)
		f = (f + q*(c.A[4]+seas)) * d
		k = (c.A[2] + q*c.A[7]) * d
		if k < kMin {
			k = kMin
		} else if k > kMax {
			k = kMax
		}
		e = fastExp(-k)
	} else {
		f += seas
	}

	eq := f / k
	x := eq + (t-eq)*e // bounds by comparison: min and max cost a tenth of the day here
	if x <= 0 {
		x = 0
	} else if x > tMax {
		x = tMax
	}

	if !c.hasJ {
		return x, 0
	}
	if ta < 0 {
		if t < 1 {
			j -= c.G * ta
		}
	} else {
		j -= ta
	}

	j = min(max(j, 0), c.JMax)
	if j > 0 {
		x *= fastExp(-j * c.invS)
	}
	return x, j
}

// run simulates the whole forcing from t0 into dst and, when js is not nil,
// the bucket into js.
func (p Heat) run(dst, js []float64, f forcing, t0 float64) {
	c := p.coef(f.lnq != nil)
	t, j := t0, 0.0
	w, v := p.W, 1-p.W
	pa := f.air[0]
	pq := 0.0
	if c.useQ {
		pq = f.lnq[0]
	}

	for i := range dst {
		a := f.air[i]
		var q float64
		if c.useQ {
			q = w*f.lnq[i] + v*pq
			pq = f.lnq[i]
		}

		t, j = c.step(t, j, w*a+v*pa, q, f.cos[i], f.sin[i])
		pa = a
		dst[i] = t
		if js != nil {
			js[i] = j
		}
	}
}
