package flow_test

import (
	"fmt"
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/flow"
)

// Six years of an invented river: a spring rise each year, and recession.
func ExampleFit() {
	d := coldseam.Days{First: coldseam.Date{Year: 2018, Month: 1, Day: 1}, Lat: 44}
	for i := range 6 * 365 {
		spring := math.Exp(-math.Pow(float64(i%365-100)/25, 2))
		d.FlowM3S = append(d.FlowM3S, 20+80*spring+3*math.Sin(float64(i)/5))
	}
	m, err := flow.Fit(d, flow.Options{Seed: 1})
	if err != nil {
		fmt.Println(err)
		return
	}

	day := coldseam.Date{Year: 2023, Month: 7, Day: 1}
	res, err := m.NewPredictor(d, nil).Forecast(ensemble.Request{View: d, Day: day, Members: 50, Seed: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	mean := 0.0
	for _, path := range res.Members {
		mean += path[2] / float64(len(res.Members))
	}
	fmt.Printf("%s, fitted to %.1f years: %.0f m3/s in three days\n", m.Tier, m.Years, mean)
	// Output:
	// medium, fitted to 6.0 years: 20 m3/s in three days
}
