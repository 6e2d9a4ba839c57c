package forecast

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/trust"
)

// stillRiver is the invented reach with a gauge that moves by the hour, stood
// for half a day once, and has not changed since 20:30 of the evening before.
func stillRiver() Inputs {
	f := river()
	for i := range f.Discharge {
		age := testNow.Sub(f.Discharge[i].At)
		if age > 8*time.Hour && (age < 100*time.Hour || age > 112*time.Hour) {
			f.Discharge[i].Value, f.Stage[i].Value = 76+float64(i%2), 1.91+.01*float64(i%2)
		}
	}
	return f
}

// rainOf is an hourly issue of rain that began a day and a half ago.
func rainOf(mm float64) []coldseam.Forecast {
	fc := coldseam.Forecast{
		Site:    "w:1",
		Param:   coldseam.Precip,
		Issued:  testNow.Add(-34 * time.Hour),
		KnownAt: testNow.Add(-33 * time.Hour),
	}
	for h := range 60 {
		fc.At, fc.Value = append(fc.At, fc.Issued.Add(time.Duration(h)*time.Hour)), append(fc.Value, mm/24)
	}
	return []coldseam.Forecast{fc}
}

func nearby(p coldseam.Parameter, from, to float64) trust.Near {
	n := trust.Near{Param: p}
	for h := 12; h >= 0; h-- {
		n.Obs = append(n.Obs, coldseam.Observation{At: testNow.Add(-time.Duration(h) * time.Hour), Value: from +
			(to-from)*float64(12-h)/12})
	}
	return n
}

func TestAGaugeThatStandsStillIsHeldAgainstItsWitnesses(t *testing.T) {
	t.Parallel()
	dry := rainOf(0)

	for _, r := range []struct {
		name string
		do   func(*Inputs)
		want string // reason that fires; "" = neither
	}{
		{"nothing is known", func(*Inputs) {}, "gauge_unchanged"},
		{"dry", func(f *Inputs) { f.RainIssues = dry }, ""},
		{"rain by the forecast of yesterday", func(f *Inputs) { f.RainIssues = rainOf(15) }, "discharge_untrusted"},
		{"rain that the newer issue takes back", func(f *Inputs) {
			f.RainIssues = append(rainOf(30), coldseam.Forecast{At: dry[0].At, Value: dry[0].Value,
				Param: coldseam.Precip})
		}, ""},
		{"rain measured, none foretold", func(f *Inputs) {
			f.RainIssues = dry
			f.Rain = []coldseam.Observation{{At: testNow.Add(-20 * time.Hour), Value: 7},
				{At: testNow.Add(-19 * time.Hour), Value: 4}}
		}, "discharge_untrusted"},
		{"rain measured the week before", func(f *Inputs) {
			f.RainIssues, f.Rain = dry, []coldseam.Observation{{At: testNow.Add(-50 * time.Hour), Value: 40}}
		}, ""},
		{"thaw", func(f *Inputs) { f.RainIssues, f.Days.AirC[len(f.Days.AirC)-6] = dry, -4 }, "discharge_untrusted"},
		{"frost that goes on", func(f *Inputs) {
			f.RainIssues = dry
			f.Days.AirC[len(f.Days.AirC)-6], f.Days.AirC[len(f.Days.AirC)-1] = -4, -1
		}, ""},
		{"thaw by today's forecast alone", func(f *Inputs) {
			f.RainIssues = dry
			f.Days.AirC[len(f.Days.AirC)-6], f.Days.AirC[len(f.Days.AirC)-1] = -4, math.NaN()
		}, "discharge_untrusted"},
		{"an upstream gauge rises", func(f *Inputs) {
			f.RainIssues, f.Near = dry, []trust.Near{nearby(coldseam.Discharge, 20, 31)}
		}, "discharge_untrusted"},
		{"an upstream gauge is as calm", func(f *Inputs) {
			f.Near = []trust.Near{nearby(coldseam.Stage, 1, 1.01)}
		}, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			f := stillRiver()
			f.Days.AirC = append([]float64(nil), f.Days.AirC...)
			r.do(&f)
			m := Make(f)
			for _, code := range []string{"gauge_unchanged", "discharge_untrusted"} {
				require.Equal(t, code == r.want, fired(m, code), "%s in %v", code, m.Decision.Fired)
			}

			switch b := m.Brief; r.want {
			case "gauge_unchanged":
				require.Contains(t, []coldseam.Verdict{coldseam.TossUp, coldseam.Stay}, b.Verdict)
				require.Equal(t, testNow.Add(-8*time.Hour).UTC(), b.Reasons[0].At)
			case "discharge_untrusted":
				require.Equal(t, coldseam.NoCall, b.Verdict)
				require.Equal(t, trust.StillInRain, b.Reasons[0].Names["doubt"])
			default:
				require.True(t, b.Verdict.ShowsOdds(), m.Decision.Fired)
			}
		})
	}
}
