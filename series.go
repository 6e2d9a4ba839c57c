package coldseam

import (
	"fmt"
	"math"
	"sort"
	"time"
)

// Parameter is a measured quantity; its values are always in the SI unit that
// Unit returns.
type Parameter string

// The parameters coldseam knows.
const (
	Discharge   Parameter = "discharge"    // m3_s
	Stage       Parameter = "stage"        // m above the gauge's own zero
	WaterTemp   Parameter = "water_temp"   // degC
	Turbidity   Parameter = "turbidity"    // FNU
	Velocity    Parameter = "velocity"     // m_s, mean of the section
	AirTemp     Parameter = "air_temp"     // degC
	Precip      Parameter = "precip"       // mm in the period
	Wind        Parameter = "wind"         // m_s, sustained
	Gust        Parameter = "gust"         // m_s
	WindFrom    Parameter = "wind_from"    // deg from north, clockwise: where the wind comes from
	ThunderProb Parameter = "thunder_prob" // 1
	Visibility  Parameter = "visibility"   // m, horizontal
	FishCount   Parameter = "fish_count"   // fish that passed a counter in the period, net of those that went back
)

// Unit returns the SI unit of p's stored values, "" for an unknown parameter.
func (p Parameter) Unit() string {
	switch p {
	case Discharge:
		return "m3_s"
	case Stage, Visibility:
		return "m"
	case WaterTemp, AirTemp:
		return "degC"
	case Turbidity:
		return "FNU"
	case Velocity, Wind, Gust:
		return "m_s"
	case Precip:
		return "mm"
	case WindFrom:
		return "deg"
	case ThunderProb:
		return "1"
	case FishCount:
		return "fish"
	}

	return ""
}

// Statistic says what a value stands for over its period. Two statistics are
// never mixed in one series.
type Statistic string

// The statistics.
const (
	Instant Statistic = "instant"
	Mean    Statistic = "mean"
	Min     Statistic = "min"
	Max     Statistic = "max"
	Sum     Statistic = "sum"
)

// Flag is a bit set: what the agency says of a value (low byte) and what our
// quality control found (high byte).
type Flag uint16

// Agency flags.
const (
	Provisional Flag = 1 << iota
	Approved
	Estimated
	Ice       // an ice qualifier, also on a row without a value
	Equipment // equipment or backwater qualifier
	Missing   // the row was sent without a value
	Suspect   // an unknown or warning qualifier: usable with care
	Bad       // the agency itself calls the value bad
)

// Flags of our own quality control. They never delete or alter a value.
const (
	QCRange    Flag = 1 << (8 + iota) // outside the physical or site range
	QCSpike                           // does not fit its neighbours
	QCRate                            // changes too fast
	QCFlat                            // identical for too long
	QCGap                             // first value after a gap
	QCSentinel                        // an undeclared sentinel such as 9999
	QCFail                            // the QC verdict is fail (4): forecasts leave the value out
	QCUnit                            // looks like a change of unit
)

// AgencyFlags and QCFlags are the two halves of the bit set.
const (
	AgencyFlags Flag = 0x00ff
	QCFlags     Flag = 0xff00
)

var flagNames = []struct {
	f Flag
	n string
}{
	{Provisional, "provisional"}, {Approved, "approved"}, {Estimated, "estimated"}, {Ice, "ice"},
	{Equipment, "equipment"}, {Missing, "missing"}, {Suspect, "suspect"}, {Bad, "bad"},
	{QCRange, "range"}, {QCSpike, "spike"}, {QCRate, "rate"}, {QCFlat, "flat"}, {QCGap, "gap"},
	{QCSentinel, "sentinel"}, {QCFail, "fail"}, {QCUnit, "unit"},
}

// Names lists the flags that are set, in a fixed order.
func (f Flag) Names() []string {
	var out []string
	for _, x := range flagNames {
		if f&x.f != 0 {
			out = append(out, x.n)
		}
	}
	return out
}

// Usable reports whether a forecast may use the value: not missing, not bad,
// not failed by quality control.
func (f Flag) Usable() bool { return f&(Missing|Bad|QCFail) == 0 }

// Confirmation is the admin's word that the readings of a span are right
// whatever their flags say. It is kept beside them: no flag and no value is
// altered.
type Confirmation struct {
	Site     SiteID
	Param    Parameter
	From, To time.Time // both ends included
	At       time.Time // when it was said
	Who, Why string
}

// Covers reports whether c speaks of a reading of p: one that was there as it
// is when c was said. A value that came or changed later nobody has looked at.
func (c Confirmation) Covers(p Parameter, o Observation) bool {
	return c.Param == p && !o.At.Before(c.From) && !o.At.After(c.To) && !o.KnownAt.After(c.At)
}

// Observation is one value of a series with the time it is valid for and the
// time it became known here. A row that the agency sent without a value has
// the Missing flag and Value 0; its qualifiers still count.
type Observation struct {
	At         time.Time // UTC; for a period, its end
	KnownAt    time.Time // when our fetch that brought it ended
	Value      float64   // SI unit of the series' parameter
	Flag       Flag
	Qualifiers []string // raw agency codes, all of them, sorted
}

// SeriesKey identifies a series the way the agency does. Period is an ISO 8601
// duration, empty for instantaneous values.
type SeriesKey struct {
	Site      SiteID
	Param     Parameter
	Stat      Statistic
	Period    string
	Provider  string // the profile's name
	SeriesRef string // the agency's own series id; never a feature id
}

func (k SeriesKey) String() string {
	return fmt.Sprintf("%s/%s/%s%s", k.Site, k.Param, k.Stat, k.Period)
}

// Series is a run of observations of one key: times strictly increasing, UTC,
// every value finite. NewSeries checks it.
type Series struct {
	SeriesKey
	Obs []Observation
}

// NewSeries sorts obs by time, keeps the last of equal times and returns the
// number of dropped duplicates. It refuses unknown parameters, zero times and
// values that are not finite. obs is not altered.
func NewSeries(k SeriesKey, obs []Observation) (Series, int, error) {
	out := make([]Observation, len(obs))
	copy(out, obs)
	return SeriesOf(k, out)
}

// SeriesOf is NewSeries that takes obs over instead of copying it.
func SeriesOf(k SeriesKey, out []Observation) (Series, int, error) {
	if k.Param.Unit() == "" {
		return Series{}, 0, fmt.Errorf("series %s: parameter %q: %w", k, k.Param, ErrInvalid)
	}
	for i := range out {
		if out[i].At.IsZero() {
			return Series{}, 0, fmt.Errorf("series %s: row %d has no time: %w", k, i, ErrInvalid)
		}
		if math.IsNaN(out[i].Value) || math.IsInf(out[i].Value, 0) {
			return Series{}, 0, fmt.Errorf("series %s: value at %s is not finite: %w", k,
				out[i].At.Format(time.RFC3339), ErrInvalid)
		}
	}

	if !inOrder(out) {
		sort.SliceStable(out, func(i, j int) bool { return out[i].At.Before(out[j].At) })
	}
	w := 0
	for i := range out {
		out[i].At = out[i].At.UTC()
		switch {
		case w > 0 && out[w-1].At.Equal(out[i].At):
			out[w-1] = out[i]
			continue
		case w < i:
			out[w] = out[i]
		}
		w++
	}

	return Series{SeriesKey: k, Obs: out[:w]}, len(out) - w, nil
}

// inOrder spares the sort where a document is in order already, as most are.
func inOrder(obs []Observation) bool {
	for i := 1; i < len(obs); i++ {
		if obs[i].At.Before(obs[i-1].At) {
			return false
		}
	}
	return true
}

// Last returns the newest observation that forecasts may use.
func (s Series) Last() (Observation, bool) {
	for i := len(s.Obs) - 1; i >= 0; i-- {
		if s.Obs[i].Flag.Usable() {
			return s.Obs[i], true
		}
	}
	return Observation{}, false
}
