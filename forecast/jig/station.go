package jig

import "math"

// Limits of a station; Clamp holds it to them and says so.
const (
	MinDepthM    = 0.5
	MaxDepthM    = 15.0
	MaxSurfaceMS = 3.0
)

// DefaultProfile is the exponent of the vertical speed profile: 1/7 over a
// smooth bed, 1/4 over rough and shallow [assumed].
const DefaultProfile = 1. / 6

// Station is the water column over a spot.
type Station struct {
	DepthM    float64
	SurfaceMS float64
	Profile   float64 // p of u = us (z/H)^p; 0 = DefaultProfile
	RoughM    float64 // Nikuradse roughness; > 0 uses the log law instead of p
	Water     Water
}

// Clamp holds the station to 0.5-15 m and 0-3 m/s, the range the drag laws and
// the rules were made for, and reports whether it had to.
func (st Station) Clamp() (Station, bool) {
	c := st
	c.DepthM = min(max(st.DepthM, MinDepthM), MaxDepthM)
	c.SurfaceMS = min(max(st.SurfaceMS, 0), MaxSurfaceMS)
	return c, c != st
}

// finite reports whether every number of the station is finite.
func (st Station) finite() bool {
	s := st.DepthM + st.SurfaceMS + st.Profile + st.RoughM + st.Water.RhoKGM3 + st.Water.NuM2S
	return !math.IsNaN(s) && !math.IsInf(s, 0)
}

func (st Station) p() float64 {
	if st.Profile > 0 {
		return st.Profile
	}
	return DefaultProfile
}

// shape is the local speed at height z over the surface speed.
func (st Station) shape(z float64) float64 {
	if st.RoughM <= 0 {
		return math.Pow(z/st.DepthM, st.p())
	}
	z0 := st.RoughM / 30
	if z <= z0 {
		return 0
	}
	return math.Log(z/z0) / math.Log(st.DepthM/z0)
}

// MeanMS is the depth-averaged speed.
func (st Station) MeanMS() float64 {
	if st.RoughM <= 0 {
		return st.SurfaceMS / (1 + st.p())
	}
	z0 := st.RoughM / 30
	r := st.DepthM / z0
	return st.SurfaceMS * (1 - (1-1/r)/math.Log(r))
}
