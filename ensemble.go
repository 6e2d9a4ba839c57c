package coldseam

import (
	"math"
	"sort"
	"time"
)

// Ensemble is a forecast as whole paths: Members[i][h] belongs to Valid[h],
// and member i of flow, temperature and crossing dates of one issue share one
// historical trace day, Trace[i].
type Ensemble struct {
	Site    SiteID
	Param   Parameter
	Issued  time.Time
	Valid   []time.Time // end of each step, or the middle of the fishing window
	Members [][]float64
	Trace   []Date
	Weights []float64 // of the sources, in the order the source documents; may be nil
	Source  string    // model and tier that made it, such as "flow/log-ar+nn" or "dressed-persistence"
	Flags   []string  // ice, low_confidence, regulated, ...
}

// Step returns the members at step h.
func (e Ensemble) Step(h int) []float64 {
	out := make([]float64, len(e.Members))
	for i := range e.Members {
		out[i] = e.Members[i][h]
	}
	return out
}

// Quantile is the p-quantile (0-1) of the members at step h, linear between
// order statistics (Hyndman & Fan 1996, type 7). NaN for no members.
func (e Ensemble) Quantile(h int, p float64) float64 { return Quantile(e.Step(h), p) }

// Exceed is the share of members above v at step h.
func (e Ensemble) Exceed(h int, v float64) float64 {
	n := 0
	for i := range e.Members {
		if e.Members[i][h] > v {
			n++
		}
	}
	return float64(n) / float64(max(len(e.Members), 1))
}

// Quantile is the p-quantile of x, type 7. It does not alter x. NaN for an
// empty x.
func Quantile(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	f := min(max(p, 0), 1) * float64(len(s)-1)
	i := int(f)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	return s[i] + (f-float64(i))*(s[i+1]-s[i])
}
