package verdict

import "math"

// WindChillF is the wind chill in degF for air in degF and wind in mph,
// defined for air up to 50 F and wind above 3 mph [from memory: the range];
// outside it the air temperature is returned.
//
//	35.74 + .6215 T - 35.75 V^.16 + .4275 T V^.16
//
// [source: copy of the NWS 2001 formula]
func WindChillF(airF, windMPH float64) float64 {
	if airF > 50 || windMPH <= 3 {
		return airF
	}
	v := math.Pow(windMPH, 0.16)
	return math.Min(airF, 35.74+0.6215*airF-35.75*v+0.4275*airF*v)
}
