package verdict

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// anyGauge draws ten days of a river by the hour, with a flood in its last two
// days, faults and flags.
func anyGauge(t *rapid.T) Inputs {
	in := good(.8)
	in.Season = SeasonFlow{Years: 20, MedianM3S: 60, P75M3S: 80}
	peak := rapid.Float64Range(0, 2).Draw(t, "peak")
	since := rapid.Float64Range(1, 60).Draw(t, "hours since the rise began")
	rise, half := rapid.Float64Range(1, 20).Draw(t, "rise"), rapid.Float64Range(2, 40).Draw(t, "half")
	var flow, stage, water []coldseam.Observation

	for k := 240; k >= 0; k-- {
		at := in.Now.Add(-time.Duration(k)*time.Hour - 20*time.Minute)
		h := since - float64(k)
		q := 68 + 3*math.Sin(float64(k)/9)
		switch {
		case h > 0 && h < rise:
			q *= 1 + peak*h/rise
		case h > 0:
			q *= 1 + peak*math.Exp2(-(h-rise)/half)
		}

		put := func(to *[]coldseam.Observation, v float64) {
			*to = append(*to, coldseam.Observation{At: at, KnownAt: at, Value: v, Flag: coldseam.Provisional})
		}
		put(&flow, math.Round(10*q)/10)
		put(&stage, math.Round(100*math.Sqrt(q/15))/100)
		put(&water, math.Round(10*(6+math.Sin(float64(k)/4)))/10)
	}

	in.Gauge.Discharge, in.Gauge.Stage, in.Gauge.Water = flow, stage, water
	for range rapid.IntRange(0, 2).Draw(t, "faults") {
		f := rapid.SampledFrom([]float64{.03, .4, .8, 1.2, 3.28}).Draw(t, "by")
		for _, o := range someRows(t, &in, 40) {
			o.Value *= f
		}
	}

	for range rapid.IntRange(0, 3).Draw(t, "flags") {
		f := anyFlag(t)
		for _, o := range someRows(t, &in, 20) {
			o.Flag |= f
		}
	}

	return in
}

func anyFlag(t *rapid.T) coldseam.Flag {
	return coldseam.Flag(1) << rapid.IntRange(2, 15).Draw(t, "bit")
}

// someRows are readings in a row of one quantity, most of them of the last days.
func someRows(t *rapid.T, in *Inputs, most int) []*coldseam.Observation {
	obs := rapid.SampledFrom([][]coldseam.Observation{in.Gauge.Discharge, in.Gauge.Stage, in.Gauge.Water}).Draw(t, "of")
	back := rapid.OneOf(rapid.IntRange(1, 48), rapid.IntRange(1, len(obs))).Draw(t, "from the end")
	var out []*coldseam.Observation
	for i := len(obs) - back; i < min(len(obs)-back+rapid.IntRange(1, most).Draw(t, "long"), len(obs)); i++ {
		out = append(out, &obs[i])
	}
	return out
}

// TestFlagsNeverMakeAWord: whatever the agency or quality control adds to
// readings, STOP and NO CALL stay. What is closed for a doubt alone can open with
// the doubt: a reading that is flagged no longer speaks against the others.
// It ends in GO only on a river that has fallen by all readings, flagged or not. A
// stop for ice goes with the only reading that was so cold.
func TestFlagsNeverMakeAWord(t *testing.T) {
	t.Parallel()
	seen := map[coldseam.Verdict]int{}
	rapid.Check(t, func(t *rapid.T) {
		in := anyGauge(t)
		before := Decide(in)
		seen[before.Verdict]++
		if before.Verdict.ShowsOdds() {
			return
		}

		more := in
		more.Gauge.Discharge, more.Gauge.Stage, more.Gauge.Water = slices.Clone(in.Gauge.Discharge),
			slices.Clone(in.Gauge.Stage), slices.Clone(in.Gauge.Water)
		f := anyFlag(t)
		for _, o := range someRows(t, &more, 12) {
			o.Flag |= f
		}
		after := Decide(more)
		if onlyIce(before) && !slices.EqualFunc(in.Gauge.Water, more.Gauge.Water, sameFlag) {
			return // a thermometer that is not believed any more
		}
		if byDoubt(before) {
			require.False(t, after.Verdict == coldseam.Go && !fallen(more), "became GO by %v", f.Names())
			return
		}
		require.False(t, after.Verdict.ShowsOdds(), "%v (%v) became %v by %v", before.Verdict, before.Fired,
			after.Verdict, f.Names())
	})
	t.Log("drawn:", seen)
	require.Positive(t, seen[coldseam.Go], "every draw stops: the test is blind")
}

// byDoubt reports whether nothing closes the morning but that the gauge is not
// believed, or a stop that is kept for it.
func byDoubt(d Decision) bool {
	return onlyStop(d, "stop_kept") || d.Verdict == coldseam.NoCall && !slices.ContainsFunc(d.Fired, func(code string) bool {
		return code != "alone" && !strings.HasSuffix(code, "_untrusted")
	})
}

// onlyIce reports whether nothing stops but water that is cold enough for ice.
func onlyIce(d Decision) bool { return onlyStop(d, "ice_cold_water") }

func onlyStop(d Decision, code string) bool {
	return len(d.Stops) > 0 && !slices.ContainsFunc(d.Stops, func(r coldseam.Reason) bool { return r.Code != code })
}

func sameFlag(a, b coldseam.Observation) bool { return a.Flag == b.Flag }

// fallen reports whether the gauge gives no stop of its own by any reading, flagged
// or not.
func fallen(in Inputs) bool {
	in.Gauge.Discharge, in.Gauge.Stage = unflagged(in.Gauge.Discharge), unflagged(in.Gauge.Stage)
	return len(in.gaugeStops()) == 0
}

// TestLostReadingsNeverMakeAWord: a reading that never came lifts nothing, as
// long as it is not the only one that told of the danger. What is closed for
// a doubt alone opens without the reading that was doubted: before that reading
// came it was open.
func TestLostReadingsNeverMakeAWord(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		in := anyGauge(t)
		before := Decide(in)
		if before.Verdict.ShowsOdds() {
			return
		}
		more := in
		lose := rapid.SampledFrom([]*[]coldseam.Observation{&more.Gauge.Discharge, &more.Gauge.Stage,
			&more.Gauge.Water}).Draw(t, "of")
		i := len(*lose) - rapid.IntRange(1, 60).Draw(t, "which")
		*lose = slices.Delete(slices.Clone(*lose), i, i+1)

		rest := more
		rest.sane()
		if _, told := rest.stoppedBefore(rest.Gauge.Discharge, rest.Gauge.Stage); !told && len(rest.gaugeStops()) == 0 {
			return // it was the only one
		}
		after := Decide(more)
		if byDoubt(before) && fallen(more) {
			return // it was the one that was doubted
		}
		require.False(t, after.Verdict.ShowsOdds(), "%v (%v) became %v (%v) without reading %d", before.Verdict,
			before.Fired, after.Verdict, after.Fired, len(*lose)-i)
	})
}
