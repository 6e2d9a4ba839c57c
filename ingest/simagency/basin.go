package simagency

import "math"

// basinParams are the constants of one basin and its reach.
type basinParams struct {
	ddfMM    float64 // melt per degC and day, mm
	quickH   float64 // residence times, hours
	slowH    float64
	channelH float64
	soilMM   float64 // capacity of the soil store
	shade    float64 // share of the sun kept off by banks and trees
	roughAir float64 // share of the wind that reaches the water
	springC  float64 // temperature of ground-water inflow
	travelH  float64 // hours in which inflow replaces the water of the reach
}

// basin is the state of one basin; step advances it by an hour. It is a value:
// a copy is a restart point.
type basin struct {
	snowMM, soilMM, quickMM, interMM, slowMM, channelMM float64
	frostC                                              float64 // slow air mean: frozen ground, inflow temperature
	waterC, bedC, iceM                                  float64
	q                                                   float64 // m3/s
}

func newBasin(p basinParams) basin {
	return basin{
		soilMM:    0.55 * p.soilMM,
		slowMM:    30,
		interMM:   3,
		quickMM:   0.5,
		channelMM: 0.2,
		snowMM:    25,
		bedC:      3,
		waterC:    0.2,
		iceM:      0.1,
	}
}

// Physical constants, SI.
const (
	heatCapacity  = 4.19e6  // J/m3/K of water
	stefan        = 5.67e-8 // W/m2/K4
	solarConstant = 1361.0  // W/m2
	iceFusion     = 3.06e8  // J/m3 of ice
	iceShown      = 0.03    // m: from here the observer writes "ice"
)

func (b *basin) step(r *River, w hourWx, yday int, solarH float64) {
	sun := sunSin(r.Lat, yday, solarH)
	sw := 0.0
	if sun > 0.01 {
		sw = solarConstant * sun * math.Pow(0.72, math.Min(1/sun, 12)) * 1.08 * (1 - 0.68*w.cloud*w.cloud)
	}
	b.frostC += (w.airC - b.frostC) / (24 * 6)
	b.runoff(r, w, sw)
	b.heat(r, w, sw)
}

// runoff: degree-hour snow, soil with growing runoff share, three linear
// reservoirs and a channel store, all in mm over the basin.
func (b *basin) runoff(r *River, w hourWx, sw float64) {
	p := r.basin
	in := w.precipMM
	if w.airC < 0.8 {
		b.snowMM += in
		in = 0
	}

	cover := math.Pow(clamp(b.snowMM/60, 0, 1), 0.6) // share of the basin under snow
	if melt := math.Min(b.snowMM, cover*(p.ddfMM/24*math.Max(w.airC, 0)+0.12*in)); melt > 0 {
		b.snowMM -= melt
		in += melt
	}

	wet := b.soilMM / p.soilMM
	share := wet * wet
	if b.frostC < 0 {
		share = math.Min(1, share+0.15)
	}
	excess := in * share
	b.soilMM += in - excess

	pet := sw * 3600 / 2.45e6 * 0.62 * clamp((w.airC+4)/30, 0, 1)
	et := pet * math.Min(1, wet/0.7)
	if b.snowMM > 2 {
		et = 0
	}
	perc := 0.035 * wet * wet * wet
	b.soilMM = math.Max(0, b.soilMM-et-perc)
	if over := b.soilMM - p.soilMM; over > 0 {
		b.soilMM -= over
		excess += over
	}

	b.quickMM += 0.45 * excess
	b.interMM += 0.35 * excess
	b.slowMM += 0.2*excess + perc
	qq, qi, qs := b.quickMM/p.quickH, b.interMM/(5*p.quickH), b.slowMM/p.slowH
	b.quickMM -= qq
	b.interMM -= qi
	b.slowMM -= qs
	b.channelMM += qq + qi + qs
	out := b.channelMM / p.channelH
	b.channelMM -= out
	b.q = out*r.AreaKM2/3.6 + 0.0008*r.AreaKM2
}

// heat: energy budget of the water column in W/m2. Under ice the sky acts on
// the cover, and the water keeps its bed and inflow terms.
func (b *basin) heat(r *River, w hourWx, sw float64) {
	p := r.basin
	depth := math.Max(r.DepthM(b.q), 0.15)
	bed := 8 * (b.bedC - b.waterC)
	b.bedC += (-bed*3600/(2.4e6*0.6) + 0.0009*(p.springC-b.bedC))
	tin := 0.5*p.springC + 0.5*clamp(0.6*b.frostC+0.4*w.airC, 0, 22)
	if b.snowMM > 3 {
		tin = 0.13*p.springC + 0.1*math.Max(w.airC, 0)
	}

	inflow := heatCapacity * depth * (tin - b.waterC) / (p.travelH * 3600) * 0.55
	sky := b.sky(w, sw*(1-p.shade), p.roughAir)
	if b.iceM > 0 {
		b.underIce(r, sky, bed+inflow)
		return
	}

	b.waterC += (sky + bed + inflow) * 3600 / (heatCapacity * depth)
	if b.waterC < 0 { // what would cool it further freezes
		b.iceM = -b.waterC * heatCapacity * depth / iceFusion
		b.waterC = 0
	}
}

// sky is the net flux through the surface: sun, long waves, evaporation and
// sensible heat.
func (b *basin) sky(w hourWx, sw, rough float64) float64 {
	albedo, surface := 0.07, b.waterC
	if b.iceM > iceShown {
		albedo, surface = 0.62, math.Min(0, 0.6*w.airC)
	}
	ta, ts := w.airC+273.15, surface+273.15
	emis := clamp((0.58+0.055*math.Sqrt(w.vapHPa))*(1+0.2*w.cloud*w.cloud), 0.6, 1)
	long := 0.97 * stefan * (emis*ta*ta*ta*ta - ts*ts*ts*ts)
	f := 2.4 + 1.9*w.windMS*rough // W/m2/hPa
	turbulent := -f * (satHPa(surface) - w.vapHPa + 0.62*(surface-w.airC))
	return sw*(1-albedo) + long + turbulent
}

func (b *basin) underIce(r *River, sky, below float64) {
	if sky < 0 { // heat must pass the ice: thick ice grows slowly
		sky *= 0.6 / (1 + 7*b.iceM)
	}
	// Warm water under the cover melts it; the water itself stays near zero.
	melt := sky + 0.6*below
	b.iceM -= melt * 3600 / iceFusion
	if b.q > 0 {
		b.iceM -= 7e-6 * math.Pow(b.q, 0.9) // moving water wears it off
	}
	if v := r.VelocityMS(b.q); v > 0.7 && b.iceM < 0.35 {
		b.iceM *= 1 - 0.05*(v-0.7) // the flood carries the rotten cover off
	}
	b.iceM = math.Min(b.iceM, 0.7)
	b.waterC = clamp(0.02+0.0002*below, 0, 0.15)
	if b.iceM <= 0 {
		b.iceM = 0
	}
}
