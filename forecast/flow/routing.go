package flow

import (
	"fmt"
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// Muskingum holds the coefficients of O2 = C0 I2 + C1 I1 + C2 O1 over one
// substep, and how many substeps make the caller's step.
type Muskingum struct {
	C0, C1, C2 float64
	Steps      int
}

// NewMuskingum takes the storage time K (the travel time), the weight X (0-0.5)
// and the step dt, times in one unit. A dt below 2KX would make C0 negative and
// give outflow that first dips: that is refused with ErrInvalid, as nothing can
// be split finer. A dt above 2K(1-X) makes C2 negative and is split.
func NewMuskingum(k, x, dt float64) (Muskingum, error) {
	if !(k > 0 && x >= 0 && x <= .5 && dt > 0) {
		return Muskingum{}, fmt.Errorf("muskingum K %g, X %g, dt %g: want K > 0, 0 <= X <= 0.5, dt > 0: %w", k, x, dt,
			coldseam.ErrInvalid)
	}
	n := int(math.Max(1, math.Ceil(dt/(2*k*(1-x))-1e-9)))
	s := dt / float64(n)
	if s < 2*k*x*(1-1e-9) {
		return Muskingum{}, fmt.Errorf("muskingum K %g, X %g, dt %g: a step of %g is below 2KX = %g: %w", k, x, dt, s,
			2*k*x, coldseam.ErrInvalid)
	}
	d := 2*(1-x) + s/k
	return Muskingum{C0: (s/k - 2*x) / d, C1: (s/k + 2*x) / d, C2: (2*(1-x) - s/k) / d, Steps: n}, nil
}

// Route routes an inflow hydrograph; the first outflow is the first inflow.
// Within a split step the inflow is linear.
func (m Muskingum) Route(in []float64) []float64 {
	out := make([]float64, len(in))
	if len(in) == 0 {
		return out
	}
	o := in[0]
	out[0] = o
	for i := 1; i < len(in); i++ {
		a := in[i-1]
		for s := 1; s <= m.Steps; s++ {
			b := in[i-1] + (in[i]-in[i-1])*float64(s)/float64(m.Steps)
			o = m.C0*b + m.C1*a + m.C2*o
			a = b
		}
		out[i] = o
	}
	return out
}

// Travel is the lag in days (0..maxLag) at which the daily changes of ln Q of
// an upstream gauge correlate best with the gauge's own, and that correlation.
// Daily means resolve no lag below a day: two gauges less than about a day
// apart show lag 0, as those of the Severn do.
func Travel(down, up coldseam.Days, maxLag int) (lag int, r float64) {
	yd, _ := logs(down, down.Len())
	yu, _ := logs(up, up.Len())
	off := down.First.Sub(up.First)
	for l := 0; l <= maxLag; l++ {
		a, b := make([]float64, 0, len(yd)), make([]float64, 0, len(yd))
		for i := 1; i < len(yd); i++ {
			j := i + off - l
			a = append(a, yd[i]-yd[i-1])
			b = append(b, coldseam.At(yu, j)-coldseam.At(yu, j-1))
		}
		if c := ensemble.Correlation(a, b); c > r {
			lag, r = l, c
		}
	}
	return lag, r
}

const (
	routeStepH = .5   // hours of a step on the way from gauge to reach
	routeX     = .2   // Muskingum weight of a natural channel, 0.1-0.3 [common practice]
	routeLeast = 2e-3 // of the water: what comes later is dropped
	routeLongH = 48.  // beyond it a gauge says nothing of the hours: one shift
)

// routing is the response of a reach travelH below its gauge to one step of flow
// there, by steps of routeStepH: Muskingum with K the travel time, the way cut
// into as many equal parts as 2KX <= dt asks for. nil where no water flows that
// way or the way is too short or too long to route.
func routing(travelH float64) []float64 {
	if !(travelH >= routeStepH/4 && travelH <= routeLongH) {
		return nil
	}
	parts := int(math.Ceil(2*travelH*routeX/routeStepH - 1e-9))
	m, err := NewMuskingum(travelH/float64(max(parts, 1)), routeX, routeStepH)
	if err != nil {
		return nil
	}

	pulse := make([]float64, int(4*travelH/routeStepH)+24)
	pulse[1] = 1 // Route starts in balance: the first outflow is the first inflow
	for range max(parts, 1) {
		pulse = m.Route(pulse)
	}
	out, left := pulse[1:], 1.
	for k, w := range out {
		if left -= w; left < routeLeast {
			out = out[:k+1]
			break
		}
	}

	sum := 0.0
	for _, w := range out {
		sum += w
	}
	for k := range out {
		out[k] /= sum
	}
	return out
}
