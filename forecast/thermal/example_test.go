package thermal_test

import (
	"fmt"
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/thermal"
)

// Four years of an invented river whose water follows the air of the season.
func ExampleFit() {
	d := coldseam.Days{First: coldseam.Date{Year: 2020, Month: 1, Day: 1}, Lat: 44}
	for i := range 4 * 365 {
		season := -math.Cos(2 * math.Pi * float64(i%365-20) / 365)
		d.AirC = append(d.AirC, 7+14*season+3*math.Sin(float64(i)/2.7))
		d.WaterC = append(d.WaterC, max(0, 9+10*season+math.Sin(float64(i)/2.7)))
	}
	m, err := thermal.Fit(d, thermal.Options{Seed: 1})
	if err != nil {
		fmt.Println(err)
		return
	}

	day := coldseam.Date{Year: 2023, Month: 4, Day: 1}
	res, err := m.NewPredictor(d).Forecast(ensemble.Request{View: d, Day: day, Members: 50, Seed: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	mean := 0.0
	for _, path := range res.Members {
		mean += path[2] / float64(len(res.Members))
	}
	fmt.Printf("%s, fitted to %.1f years: %.0f degC in three days\n", m.Tier, m.Years, mean)
	// Output:
	// medium, fitted to 4.0 years: 6 degC in three days
}
