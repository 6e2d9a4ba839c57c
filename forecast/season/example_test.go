package season_test

import (
	"fmt"
	"math"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/season"
	"example.org/coldseam/forecast/verdict"
)

// One morning of an invented river by what was known then; Run does this for
// each morning of a season.
func ExampleMorning() {
	d := coldseam.Days{First: coldseam.Date{Year: 2020, Month: 1, Day: 1}, Lat: 44}
	for i := range 4 * 365 {
		year := -math.Cos(2 * math.Pi * float64(i%365-20) / 365)
		spring := math.Exp(-math.Pow(float64(i%365-95)/20, 2))
		d.WaterC = append(d.WaterC, max(0, 9+10*year+math.Sin(float64(i)/2.7)))
		d.FlowM3S = append(d.FlowM3S, 20+60*spring+2*math.Sin(float64(i)/5))
	}
	species, err := run.FindSpecies(run.DefaultSpecies(), "walleye")
	if err != nil {
		fmt.Println(err)
		return
	}

	_, m, err := season.Morning(&season.Record{
		Reach:   season.BareReach("alder", 44, -91),
		Bare:    true,
		Alone:   true,
		Days:    d,
		SendAt:  4*time.Hour + 45*time.Minute,
		Loc:     season.SolarZone(-91),
		Species: species,
		Air:     season.AirClimatology,
		Table:   verdict.DefaultTable(),
		Members: 50,
	}, coldseam.Date{Year: 2023, Month: 4, Day: 10})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(m.Brief.Day, m.Brief.Verdict)
	// Output:
	// 2023-04-10 TOSS-UP
}
