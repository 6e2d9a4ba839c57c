package coldseam

import (
	"slices"
	"strings"
	"time"
)

// A value without a next one stands for its forecast's own step, or for bridge
// where that is shorter. A step is read off the spacing of the times: the
// smallest from there to the end, as forecasts grow coarser with the lead and
// never finer, where at least coarseRun spacings bear it out [proposal].
const (
	bridge    = 3 * time.Hour
	coarseRun = 4
)

// CoarseStep is the longest step that still says something of the wind, gusts
// and thunder of a morning [proposal].
const CoarseStep = 6 * time.Hour

// Spans returns what each value stands for, from and to. A hole stays a hole:
// no value is stretched over times that the forecast skips. The value of a
// period as long as the step stands for the period that ends at its time.
func (f Forecast) Spans() [][2]time.Time {
	if f.Span != nil {
		return f.Span
	}
	native := OwnSteps(f.gaps())
	period := f.period()
	out := make([][2]time.Time, len(f.At))

	for i, t := range f.At {
		if period > 0 && period >= native[i] {
			out[i] = [2]time.Time{t.Add(-period), t}
			continue
		}
		end := t.Add(max(native[i], bridge))
		if i+1 < len(f.At) && f.At[i+1].Before(end) {
			end = f.At[i+1]
		}
		out[i] = [2]time.Time{t, end}
	}

	return out
}

// gaps are the spacings of the times; the last time has that of the one before,
// a time alone an hour.
func (f Forecast) gaps() []time.Duration {
	out := make([]time.Duration, len(f.At))
	for i := range out {
		switch {
		case i+1 < len(f.At):
			out[i] = f.At[i+1].Sub(f.At[i])
		case i > 0:
			out[i] = out[i-1]
		default:
			out[i] = time.Hour
		}
	}
	return out
}

// OwnSteps are the steps of a forecast whose lengths may hide several of them,
// by a hole or a run of equal values: the smallest from each to the end.
func OwnSteps(lengths []time.Duration) []time.Duration {
	out := slices.Clone(lengths)
	for i := len(out) - 2; i >= 0; i-- {
		out[i] = min(out[i], out[i+1])
	}
	believed := max(len(out)-1-coarseRun, 0)
	for i := believed + 1; i < len(out); i++ {
		out[i] = out[believed]
	}
	return out
}

// period is the length of an aggregated value's period; 0 = an instant, or
// months.
func (f Forecast) period() time.Duration {
	switch f.Period {
	case "":
		return 0
	case "P1D":
		return 24 * time.Hour
	}
	clock, ok := strings.CutPrefix(f.Period, "PT")
	d, err := time.ParseDuration(strings.ToLower(clock))
	if !ok || err != nil {
		return 0
	}
	return d
}

// Bounds are the least and the greatest value that nature has; what lies
// outside is a fault of the feed. The records are those of the WMO archive of
// extremes [from memory]: air -69.6 (north of the equator) and 56.7 degC, gust 113 m/s, rain 1,825 mm
// in a day. Sustained wind stays below the strongest gust. Visibility ends where
// clean air scatters all light, 300 km [from memory]. The largest flow of any
// river is about 300,000 m3/s [from memory]; gauges that give heights above the
// sea lie below 6,000 m. The rest is [proposal].
func (p Parameter) Bounds() (lo, hi float64) {
	switch p {
	case Discharge:
		return -500_000, 500_000 // a tide runs both ways
	case Stage:
		return -500, 6000
	case WaterTemp:
		return -.5, 40
	case AirTemp:
		return -70, 60
	case Wind:
		return 0, 100
	case Gust:
		return 0, 120
	case WindFrom:
		return 0, 360
	case ThunderProb:
		return 0, 1
	case Precip:
		return 0, 2000
	case Visibility:
		return 0, 400_000
	case Velocity:
		return 0, 20
	case Turbidity:
		return 0, 100_000
	case FishCount:
		return -100_000, 10_000_000
	}

	return 0, 0
}

// Plausible reports whether v lies within p's bounds; NaN never does.
func (p Parameter) Plausible(v float64) bool {
	lo, hi := p.Bounds()
	return v >= lo && v <= hi
}
