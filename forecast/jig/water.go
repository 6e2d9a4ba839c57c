package jig

import "math"

// Water holds the two properties of water that forces depend on.
type Water struct {
	RhoKGM3 float64 // density
	NuM2S   float64 // kinematic viscosity
}

// The range in which both formulas are used. Outside it the nearest end is
// taken: rivers below freezing are ice, above 40 C they are not fished.
const (
	minWaterC = 0.0
	maxWaterC = 40.0
)

// WaterAt returns the properties of fresh water at tempC, held to 0-40 C.
func WaterAt(tempC float64) Water {
	t := min(max(tempC, minWaterC), maxWaterC)
	rho := densityKGM3(t)
	return Water{RhoKGM3: rho, NuM2S: viscosityPaS(t) / rho}
}

// viscosityPaS is the dynamic viscosity of water at 0.1 MPa, t in C
// [source: Patek et al. 2009, J. Phys. Chem. Ref. Data 38, as restated in code
// that cites it].
func viscosityPaS(t float64) float64 {
	r := (t + 273.15) / 300
	return 1e-6 * (280.68*math.Pow(r, -1.9) + 511.45*math.Pow(r, -7.7) +
		61.131*math.Pow(r, -19.6) + 0.45903*math.Pow(r, -40))
}

// densityKGM3 is the density of air-free water, t in C [from memory: Tanaka et
// al. 2001]. Checked against 999.1 kg/m3 at 15 C.
func densityKGM3(t float64) float64 {
	d := t - 3.983035
	return 999.97495 * (1 - d*d*(t+301.797)/(522528.9*(t+69.34881)))
}
