package thermal

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// Reading is a member's boat or thermometer reading, degC, beside the gauge's
// temperature at the same time (NaN = the gauge has none).
type Reading struct {
	At     time.Time
	Reader string // a key, never a name or an address
	Value  float64
	Gauge  float64
}

// Offset is the difference reach minus gauge learnt from readings, and each
// reader's own.
type Offset struct {
	Mean    float64            `json:"mean"` // degC
	SD      float64            `json:"sd"`   // of Mean
	N       int                `json:"n"`
	Readers map[string]float64 `json:"readers,omitempty"`
}

// Errors of readings [source: the forecast's outline: sd 0.5 degC, an offset
// per reader; the other two proposal].
const (
	readingSD = .5 // of one reading
	readerSD  = .3 // between readers
	reachSD   = 1. // between reach and gauge
)

// ReadingSD is the error of one member's reading, degC.
const ReadingSD = readingSD

// FitOffset estimates the offset of the reach and of each reader by ridge
// regression: the posterior mean under normal errors with the sds above. With
// a single reader what is his and what is the reach's cannot be told apart, and
// SD says so. No reading gives offset 0 with sd 1.
func FitOffset(rs []Reading) Offset {
	o := Offset{Readers: map[string]float64{}}
	var names []string
	for _, r := range rs {
		if finite(r.Value) && finite(r.Gauge) {
			o.N++
			if !slices.Contains(names, r.Reader) {
				names = append(names, r.Reader)
			}
		}
	}

	slices.Sort(names)
	p := 1 + len(names)
	n := ensemble.NewNormal(p)
	row := make([]float64, p)
	for _, r := range rs {
		if !finite(r.Value) || !finite(r.Gauge) {
			continue
		}
		clear(row)
		row[0], row[1+slices.Index(names, r.Reader)] = 1, 1
		n.Add(row, r.Value-r.Gauge, 1/(readingSD*readingSD))
	}

	ridge := make([]float64, p)
	ridge[0] = 1 / (reachSD * reachSD)
	for k := 1; k < p; k++ {
		ridge[k] = 1 / (readerSD * readerSD)
	}
	x, ok := n.Solve(ridge)
	if !ok {
		return Offset{SD: reachSD}
	}

	o.Mean = x[0]
	for k, name := range names {
		o.Readers[name] = x[1+k]
	}
	e := &ensemble.Normal{P: p, A: n.A, B: make([]float64, p)}
	e.B[0] = 1
	v, _ := e.Solve(ridge)
	o.SD = math.Sqrt(v[0])
	return o
}

// Reach turns the members of a gauge's forecast into those of a reach, member by
// member. The zero value changes nothing.
type Reach struct {
	Slope float64   // 0 = 1
	Add   []float64 // degC by member
	Fade  bool      // frozen water stays frozen: what is added fades below 1 degC
}

// At is member i's temperature at the reach where the gauge has v degC.
func (r Reach) At(i int, v float64) float64 {
	if len(r.Add) == 0 {
		return v
	}
	d := r.Add[i%len(r.Add)]
	if r.Fade {
		d *= min(max(v, 0), 1)
	}
	if r.Slope != 0 {
		v *= r.Slope
	}
	return clampC(v + d)
}

// Result is a forecast moved to the reach; r's own members stay as they are.
func (r Reach) Result(x ensemble.Result) ensemble.Result {
	if len(r.Add) == 0 {
		return x
	}
	out := make([][]float64, len(x.Members))
	for i, p := range x.Members {
		out[i] = make([]float64, len(p))
		for h, v := range p {
			out[i][h] = r.At(i, v)
		}
	}
	x.Members = out
	x.Flags = slices.Clone(x.Flags)
	if !r.Fade && !x.Has(ensemble.FlagLowConfidence) {
		x.Flags = append(x.Flags, ensemble.FlagLowConfidence)
	}
	return x
}

// Middle is the relation without its error: the same for every member.
func (r Reach) Middle() Reach {
	if len(r.Add) == 0 {
		return r
	}
	return Reach{Slope: r.Slope, Add: []float64{coldseam.Quantile(r.Add, .5)}, Fade: r.Fade}
}

// Days is the observed record moved to the reach by the middle of the relation.
func (r Reach) Days(d coldseam.Days) coldseam.Days {
	if len(r.Add) == 0 || d.WaterC == nil {
		return d
	}
	mid := r.Middle()
	water := make([]float64, len(d.WaterC))
	for i, v := range d.WaterC {
		water[i] = v
		if !math.IsNaN(v) {
			water[i] = mid.At(0, v)
		}
	}
	d.WaterC = water
	return d
}

// Draw makes the offset of each of n members: the mean and, member by member,
// its uncertainty. A member keeps one draw for its whole path.
func (o Offset) Draw(n int, rng *rand.Rand) Reach {
	return Reach{Add: draws(o.Mean, o.SD, n, rng), Fade: true}
}

// Draw makes the relation of each of n members: one draw of its error each.
func (f Neighbour) Draw(n int, rng *rand.Rand) Reach {
	return Reach{Slope: f.B, Add: draws(f.A, f.SD, n, rng)}
}

// draws are n normal numbers in random order whose quantiles are those of the
// distribution: a hundred plain draws would move the middle of a forecast by a
// tenth of the spread.
func draws(mean, sd float64, n int, rng *rand.Rand) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = mean + sd*math.Sqrt2*math.Erfinv(2*(float64(i)+.5)/float64(n)-1)
	}
	rng.Shuffle(n, func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

// Neighbour is the fitted relation of a river without a thermometer to a
// neighbour gauge with one: own = A + B neighbour, residual sd SD.
type Neighbour struct {
	A  float64 `json:"a"`
	B  float64 `json:"b"`
	SD float64 `json:"sd"`
	N  int     `json:"n"`
}

const (
	neighbourMin = 10 // pairs from which the slope is fitted; below only the offset is
	neighbourSD  = 1.5
)

// FitNeighbour fits the relation on pairs of daily means or of readings, degC.
// The slope stays within 0.5-1.5 and is drawn to 1 by ten pairs' worth; without
// any pair the neighbour is taken as it is, with a wide sd, and ErrUnavailable
// tells the caller to say so.
func FitNeighbour(own, neighbour []float64) (Neighbour, error) {
	var n, sx, sy float64
	for i := range own {
		if x, y := neighbour[i], own[i]; finite(x) && finite(y) {
			n, sx, sy = n+1, sx+x, sy+y
		}
	}

	if n == 0 {
		return Neighbour{B: 1, SD: neighbourSD}, fmt.Errorf("fit neighbour gauge: no common reading: %w",
			coldseam.ErrUnavailable)
	}
	mx, my := sx/n, sy/n
	var xx, xy float64
	for i := range own {
		if x, y := neighbour[i]-mx, own[i]-my; finite(x) && finite(y) {
			xx, xy = xx+x*x, xy+x*y
		}
	}

	f := Neighbour{B: 1, N: int(n)}
	if n >= neighbourMin {
		prior := neighbourMin * 4. // ten pairs 2 degC from their mean
		f.B = min(max((xy+prior)/(xx+prior), .5), 1.5)
	}

	f.A = my - f.B*mx
	ss := neighbourSD * neighbourSD // one pair's worth of prior
	for i := range own {
		if e := own[i] - f.A - f.B*neighbour[i]; finite(e) {
			ss += e * e
		}
	}
	f.SD = math.Sqrt(ss / n)
	return f, nil
}
