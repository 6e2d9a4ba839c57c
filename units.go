package coldseam

import (
	"math"
	"strconv"
)

// Exact conversion factors (international foot, avoirdupois ounce).
const (
	MetrePerFoot  = 0.3048
	CubicMPerCFS  = 0.028316846592
	KgPerOunce    = 0.028349523125
	MPSPerMPH     = 0.44704
	GravityMPS2   = 9.80665
	CubicFtPerM3S = 1 / CubicMPerCFS
)

// CFS converts m3/s to ft3/s.
func CFS(m3s float64) float64 { return m3s / CubicMPerCFS }

// Feet converts metres to international feet.
func Feet(m float64) float64 { return m / MetrePerFoot }

// F converts degrees Celsius to degrees Fahrenheit.
func F(c float64) float64 { return c*1.8 + 32 }

// C converts degrees Fahrenheit to degrees Celsius.
func C(f float64) float64 { return (f - 32) / 1.8 }

// Oz converts kilograms to avoirdupois ounces.
func Oz(kg float64) float64 { return kg / KgPerOunce }

// MPH converts m/s to miles per hour.
func MPH(ms float64) float64 { return ms / MPSPerMPH }

// TradeSizesOz are the jig head sizes of the trade, ascending.
var TradeSizesOz = [...]float64{1. / 16, 1. / 8, 3. / 16, 1. / 4, 3. / 8, 1. / 2, 5. / 8, 3. / 4, 1}

// OzName writes a trade size the way it is stamped on the card: "1/4", "1".
// A weight that is no multiple of 1/16 oz is written as a decimal.
func OzName(oz float64) string {
	n := oz * 16
	if r := math.Round(n); r >= 1 && math.Abs(n-r) < 1e-9 {
		num, den := int(r), 16
		for num%2 == 0 && den > 1 {
			num, den = num/2, den/2
		}
		switch {
		case den == 1:
			return strconv.Itoa(num)
		case num > den:
			return strconv.Itoa(num/den) + " " + strconv.Itoa(num%den) + "/" + strconv.Itoa(den)
		}
		return strconv.Itoa(num) + "/" + strconv.Itoa(den)
	}
	return strconv.FormatFloat(oz, 'g', 3, 64)
}
