//go:build !race

package notify

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// TestOneMailADay plays three years of minutes around every day in ten zones:
// each local date gets exactly one morning mail, also on the days on which the
// clock changes, and at the wanted local time where that time exists.
func TestOneMailADay(t *testing.T) {
	t.Parallel()
	first := coldseam.Date{Year: 2026, Month: time.January, Day: 1}

	for name, zone := range zones(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()

			for _, hhmm := range []string{"04:45", "02:30", "01:30", "00:15"} {
				have := map[coldseam.Date]bool{}
				for i := range 3 * 365 {
					d := first.Add(i)
					want, err := SendAt(d, hhmm, zone)
					require.NoError(t, err)
					sent := 0

					// every minute of the two hours around, and hourly over the day
					for _, now := range ticks(d, want, zone) {
						if got, ok := due(now, hhmm, zone, have); ok {
							require.Equal(t, d, got)
							have[got] = true
							sent++
							require.Less(t, now.Sub(want), time.Minute, "%s %s", d, hhmm)
						}
					}

					require.Equal(t, 1, sent, "%s %s in %s", d, hhmm, name)
					checkLocal(t, want, d, hhmm, zone)
				}
			}
		})
	}
}
