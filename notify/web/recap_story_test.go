package web

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/chart"
)

func TestStory(t *testing.T) {
	t.Parallel()
	d := coldseam.Date{Year: 2027, Month: 3, Day: 1}
	r := Recap{Trips: 12, RodHours: 60, Fish: 40}
	for i := range 60 {
		day := chart.SeasonDay{Day: d.Add(i), WaterC: float64(i) / 6}
		if i == 35 {
			day.WaterC = 1 // back below: the first crossing was not for good
		}
		if i >= 40 && i < 44 {
			day.Trips, day.Fish = 2, 5
		}
		if i%10 == 0 && i < 40 {
			day.Trips, day.Fish = 1, 5
		}
		r.Days = append(r.Days, day)
	}

	require.Equal(t, []string{"12 trips and 60 rod-hours for 40 fish; half of them came in 4 days, 10 April to 13 April.",
		"The water went up past 37\u00a0°F on 6 April, 40\u00a0°F on 6 April, 45\u00a0°F on 14 April, and stayed."},
		r.story("us"))
	require.Contains(t, r.story("metric")[1], "4.4\u00a0°C")
	for i, j := 0, len(r.Days)-1; i < j; i, j = i+1, j-1 {
		r.Days[i].WaterC, r.Days[j].WaterC = r.Days[j].WaterC, r.Days[i].WaterC
	}
	require.Contains(t, r.story("us")[1], "down past")
	require.Equal(t, []string{"as it was"}, Recap{Story: []string{"as it was"}}.story("us"))
	require.Empty(t, Recap{}.story("us"))
}
