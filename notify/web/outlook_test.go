package web

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/brieftest"
)

func TestWindowsApart(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	b.Windows = nil
	for i := range 8 {
		s := brieftest.Issued.Add(time.Duration(90+i*90) * time.Minute)
		b.Windows = append(b.Windows, coldseam.Window{
			Start:  s,
			End:    s.Add(210 * time.Minute),
			Odds:   .5 + .01*float64(i),
			OddsOK: true,
		})
	}

	b.WindowI = 2
	require.Equal(t, []int{2, 7}, apart(b)[:2])
	b.Windows[7].Stops = []coldseam.Reason{{Code: "thunder", Text: "thunder 4 in 10 chance"}}
	require.Equal(t, []int{2, 6}, apart(b), "a stopped window gives way to a free one")
	for i, k := range apart(b) {
		for _, l := range apart(b)[i+1:] {
			require.False(t, b.Windows[l].Start.Before(b.Windows[k].End))
		}
	}

	b.Windows = b.Windows[:1]
	b.WindowI = 0
	require.Nil(t, windowsOf(b, notify.WordsFor("us", brieftest.Zone)), "one window is no choice")
}

func TestStoppedWindowShowsItsStop(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	b.Windows[1].Stops = []coldseam.Reason{{Code: "wind", Text: "wind 27 mph; the limit is 25"}}
	rows := windowsOf(b, notify.WordsFor("us", brieftest.Zone)).Rows
	require.Equal(t, "STOP", rows[1].Odds)
	require.Equal(t, "wind 27 mph; the limit is 25", rows[1].Note)
	require.Equal(t, "none", rows[1].Tie, "no tactics beside a stop")
}

func TestShifts(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	d := brieftest.Day
	b.Crossings = []coldseam.Crossing{
		{
			EdgeC:    coldseam.C(37),
			Up:       true,
			Within3:  1,
			Within7:  1,
			Within10: 1,
			Horizon:  10,
			Dates:    [3]coldseam.Date{d.Add(-3), d.Add(-3), d.Add(-3)},
			AtEdge:   d.Add(-3),
		},
		{
			EdgeC:   coldseam.C(40),
			Up:      false,
			Within3: .2,
			Not:     .3,
			Horizon: 10,
			Dates:   [3]coldseam.Date{d.Add(1), d.Add(4), d.Add(8)},
			LowConf: true,
		},
		{EdgeC: coldseam.C(45), Up: true, Not: .9, Horizon: 10},
		{EdgeC: coldseam.C(50), Up: true, Confirmed: true},
	}
	got := shiftsOf(b, notify.WordsFor("us", brieftest.Zone))
	require.Equal(t, "since Wed 7 Apr", got[0].When)
	require.Empty(t, got[0].Since)
	require.Equal(t, "down past 40\u00a0°F", got[1].What)
	require.Equal(t, "Sun 11 Apr to Sun 18 Apr", got[1].When)
	require.True(t, got[1].LowConf)
	require.Equal(t, "not within 10 days", got[2].When)
	require.True(t, got[3].Done)
}
