package ingest

import (
	"math"

	"example.org/coldseam"
)

// sourceUnits are the conversions a service may have used for a parameter.
func sourceUnits(p coldseam.Parameter) []Conversion {
	var out []Conversion
	for _, u := range map[coldseam.Parameter][]string{
		coldseam.Discharge: {"m3/s", "ft3/s", "l/s"}, coldseam.Stage: {"m", "ft", "cm", "mm", "in"},
		coldseam.WaterTemp: {"degC", "degF", "K"}, coldseam.AirTemp: {"degC", "degF", "K"},
		coldseam.Turbidity: {"FNU"}, coldseam.FishCount: {"fish"}, coldseam.Velocity: {"m/s", "ft/s"},
		coldseam.Wind: {"m/s", "km/h", "mph", "kn"}, coldseam.Gust: {"m/s", "km/h", "mph", "kn"},
		coldseam.Precip: {"mm", "in"},
	}[p] {
		if c, err := UnitFor(p, u); err == nil {
			out = append(out, c)
		}
	}
	return out
}

// unit looks for a step by the ratio of two units between two days. It is
// tested where one step has about that ratio, and confirmed by the medians of
// the day before and the day after.
func (c *checker) unit() {
	related := unitRelations(c.s.Param)
	if related == nil || c.daily {
		return
	}
	for k := 1; k < len(c.use); k++ {
		if !near(related, c.v(k-1), c.v(k), .1) {
			continue
		}
		before := c.window(k, -1)
		after := c.window(k, 1)
		if len(before) < 3 || len(after) < 3 || !near(related, c.medianOf(before), c.medianOf(after), unitTolerance) {
			continue
		}
		for _, j := range after {
			c.suspect(j, coldseam.QCUnit)
		}
	}
}

// unitRelations are what a value becomes when the source changes its unit.
func unitRelations(p coldseam.Parameter) []func(float64) float64 {
	scale := func(f float64) func(float64) float64 { return func(x float64) float64 { return x * f } }
	switch p {
	case coldseam.Stage:
		return []func(float64) float64{scale(feetPerMetre), scale(coldseam.MetrePerFoot)}
	case coldseam.Discharge:
		return []func(float64) float64{scale(cubicFeetPerCub), scale(coldseam.CubicMPerCFS)}
	case coldseam.WaterTemp, coldseam.AirTemp:
		return []func(float64) float64{coldseam.F, coldseam.C}
	}
	return nil
}

func near(related []func(float64) float64, was, is, tol float64) bool {
	for _, f := range related {
		if want := f(was); math.Abs(want-is) <= tol*math.Abs(want) && math.Abs(is-was) > tol*math.Abs(was) {
			return true
		}
	}
	return false
}
