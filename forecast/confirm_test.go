package forecast

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/verdict"
)

// flagged sets flags on the readings since a time.
func flagged(obs []coldseam.Observation, since time.Time, flag coldseam.Flag) {
	for i := range obs {
		if !obs[i].At.Before(since) {
			obs[i].Flag |= flag
		}
	}
}

// said is the admin's word on all readings of a quantity.
func said(p coldseam.Parameter) []coldseam.Confirmation {
	return []coldseam.Confirmation{{
		Param: p,
		From:  testNow.AddDate(0, 0, -60),
		To:    testNow,
		At:    testNow,
		Who:   "club admin",
		Why:   "stood beside it",
	}}
}

// Days of a thermometer that is flagged do not open a reach after the ice; the
// admin's word on its readings makes them count, for opening as for closing.
func TestConfirmedWaterCountsForIce(t *testing.T) {
	t.Parallel()
	warm := testNow.AddDate(0, 0, -4)
	river := func() Inputs {
		f := river()
		f.Table = verdict.DefaultTable()
		f.Days.WaterDoubt = make([]bool, f.Days.Len())
		for i := f.Days.Len() - 60; i < f.Days.Len(); i++ {
			f.Days.WaterC[i] = .2
			if d := f.Days.Day(i); coldseam.DateOf(warm.In(testLoc)).Before(d) {
				f.Days.WaterC[i], f.Days.WaterDoubt[i] = 3, true
			}
		}
		for i := range f.Water {
			f.Water[i].Value = 3
		}
		flagged(f.Water, warm, coldseam.QCFlat)
		return f
	}
	f := river()
	s, _ := f.Ice()
	require.Equal(t, ice.Ice, s.State)

	f = river()
	f.Confirmed = said(coldseam.WaterTemp)
	s, _ = f.Ice()
	require.Equal(t, ice.Open, s.State)

	f = river()
	f.Confirmed = said(coldseam.WaterTemp)
	f.Confirmed[0].From = testNow.AddDate(0, 0, -1)
	s, _ = f.Ice()
	require.Equal(t, ice.Ice, s.State, "of the days before nobody has said a word")

	f = river()
	f.Water[len(f.Water)-1].Value = .1
	f.Water[len(f.Water)-1].Flag |= coldseam.QCFail
	f.Confirmed = said(coldseam.WaterTemp)
	s, _ = f.Ice()
	require.Equal(t, ice.Ice, s.State, "a cold reading closes")
}

// The curve under an agency's stage is made of readings that count.
func TestConfirmedStageCountsForLimits(t *testing.T) {
	t.Parallel()
	f := river()
	f.Reach.ActionStage = ptr(2.2)
	for i := range f.Stage {
		f.Discharge[i].Value = 60 + float64(i%100)
		f.Stage[i].Value = 1.5 + float64(i%100)/100
	}

	by := func(f Inputs) (out []string) {
		for _, c := range FlowCandidates(&f) {
			out = append(out, c.Source)
		}
		return out
	}
	want := by(f)
	flagged(f.Stage, time.Time{}, coldseam.QCFail|coldseam.QCRate)
	require.NotEqual(t, want, by(f))
	f.Confirmed = said(coldseam.Stage)
	require.Equal(t, want, by(f))
}

// Readings that the admin stands for are trusted, no more: a stop of the last
// day is lifted by several of them running, as by any others.
func TestConfirmedReadingLiftsNoStop(t *testing.T) {
	t.Parallel()
	f := river()
	for i := range f.Discharge {
		if age := testNow.Sub(f.Discharge[i].At); age >= time.Hour && age < 6*time.Hour {
			f.Discharge[i].Value, f.Stage[i].Value = 260, 3.4
		}
	}
	flagged(f.Discharge, testNow, coldseam.QCRate)
	flagged(f.Stage, testNow, coldseam.QCRate)
	f.Confirmed = slices.Concat(said(coldseam.Discharge), said(coldseam.Stage))
	b := Make(f).Brief
	require.Equal(t, coldseam.Stop, b.Verdict)
	require.Contains(t, []string{"stop_kept", "rise_kept_stage"}, b.Stops[0].Code)
	for _, in := range b.Inputs {
		require.Zero(t, in.Doubt, in.Key)
	}
}

// What no river has is not made true by a word.
func TestImpossibleReadingStaysOutThoughConfirmed(t *testing.T) {
	t.Parallel()
	f := river()
	f.Discharge[len(f.Discharge)-1].Value = -12
	f.Confirmed = said(coldseam.Discharge)
	b := Make(f).Brief
	require.NotContains(t, []coldseam.Verdict{coldseam.Go, coldseam.TossUp, coldseam.Stay}, b.Verdict)
}
