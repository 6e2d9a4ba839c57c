package simagency

import (
	"math"
	"math/rand/v2"
)

// dayWx is the weather of one civil day; hours are derived from it.
type dayWx struct {
	meanC   float64
	rangeC  float64 // diel range
	cloud   float64 // 0-1
	rainMM  float64 // precipitation of the day, liquid or not
	rainAt  float64 // hour it begins
	rainLen float64 // hours it lasts
	windMS  float64 // mean of the day
	thunder float64 // probability in the worst hour, 0-1
}

// hourWx is the weather of one hour.
type hourWx struct {
	airC, cloud, vapHPa, windMS, gustMS, precipMM, thunder float64
}

// spell is a regime of weather that lasts for days.
type spell struct {
	dC, wet, cloud float64
	mean           float64 // days
}

// spells are invented but of the usual size of mid-continental spells.
var spells = [...]spell{
	{dC: 0, wet: 0.24, cloud: 0.45, mean: 5},
	{dC: -6.5, wet: 0.16, cloud: 0.35, mean: 5},
	{dC: 5.0, wet: 0.18, cloud: 0.35, mean: 4},
	{dC: 0.8, wet: 0.66, cloud: 0.8, mean: 3},
}

// climate draws day after day for one river. Spells are shared by the region
// as they come from a generator of their own.
type climate struct {
	own, region *rand.Rand
	kind        int
	left        int
	ar          float64
	year        float64
	yearOf      int
}

func newClimate(own, region *rand.Rand) *climate { return &climate{own: own, region: region} }

// next draws the weather of the day with number yday (1-366) of year y.
func (c *climate) next(y, yday int) dayWx {
	if c.left == 0 {
		c.kind = (c.kind + 1 + c.region.IntN(len(spells)-1)) % len(spells)
		c.left = 1 + int(c.region.ExpFloat64()*spells[c.kind].mean)
		c.left = min(c.left, 12)
	}

	c.left--
	if c.yearOf != y {
		c.yearOf, c.year = y, 0.9*c.region.NormFloat64()
	}
	c.ar = 0.6*c.ar + 1.7*c.own.NormFloat64()
	s := spells[c.kind]
	winter := math.Cos(2 * math.Pi * (float64(yday) - 19) / 365.25) // 1 in mid-January
	d := dayWx{meanC: 6.4 - 16.4*winter + s.dC*(0.75+0.35*winter) + c.ar + c.year}
	d.windMS = 2.9 * math.Exp(0.42*c.own.NormFloat64())
	d.cloud = clamp(s.cloud+0.25*c.own.NormFloat64(), 0, 1)
	c.rain(&d, s, winter)
	d.rangeC = math.Max(2, (4+9*(1-d.cloud))*(1-0.22*winter)*(0.8+0.4*c.own.Float64()))
	return d
}

func (c *climate) rain(d *dayWx, s spell, winter float64) {
	u, amount, big, at, dur := c.own.Float64(), c.own.ExpFloat64(), c.own.Float64(), c.own.Float64(), c.own.Float64()
	if u >= s.wet {
		return
	}
	d.rainMM = amount * (5.4 - 3.4*winter)
	if big < 0.04 {
		d.rainMM *= 3.5
	}
	d.rainAt, d.rainLen = 18*at, 3+9*dur
	d.cloud = math.Max(d.cloud, 0.75+0.25*dur)
	if winter < 0.35 && d.meanC > 7 {
		d.thunder = clamp(0.15+0.05*d.rainMM, 0, 0.9)
	}
}

// hour is the weather of local solar hour h (0-23) between yesterday, today
// and tomorrow, so that the mean does not jump at midnight.
func hour(prev, day, next dayWx, h int) hourWx {
	mid := float64(h) + 0.5
	mean := day.meanC
	if mid < 12 {
		mean += (prev.meanC - day.meanC) * (12 - mid) / 24
	} else {
		mean += (next.meanC - day.meanC) * (mid - 12) / 24
	}

	w := hourWx{
		airC:  mean + 0.5*day.rangeC*math.Cos(2*math.Pi*(mid-15.3)/24),
		cloud: day.cloud,
	}
	breeze := 0.62 + 0.85*math.Max(0, math.Sin(math.Pi*(mid-7.5)/12.5))
	w.windMS = day.windMS * breeze
	w.gustMS = 1.45*w.windMS + 0.6
	w.vapHPa = satHPa(mean-0.42*day.rangeC) * (0.9 + 0.1*day.cloud)
	w.vapHPa = math.Min(w.vapHPa, satHPa(w.airC))

	if day.rainMM > 0 && mid >= day.rainAt && mid < day.rainAt+day.rainLen {
		w.precipMM = day.rainMM / day.rainLen
		w.thunder = day.thunder
	}

	return w
}

// satHPa is the vapour pressure of saturation over water in hPa, Magnus form
// with 6.112, 17.62 and 243.12 degC [from memory: WMO guide].
func satHPa(c float64) float64 { return 6.112 * math.Exp(17.62*c/(243.12+c)) }

// sunSin is the sine of the sun's elevation at latitude lat (degrees), day of
// year and local solar hour; 0 at night. Declination by the usual cosine.
func sunSin(lat float64, yday int, solarH float64) float64 {
	decl := -23.44 * math.Pi / 180 * math.Cos(2*math.Pi*(float64(yday)+10)/365.25)
	phi := lat * math.Pi / 180
	s := math.Sin(phi)*math.Sin(decl) + math.Cos(phi)*math.Cos(decl)*math.Cos(math.Pi*(solarH-12)/12)
	return math.Max(s, 0)
}

func clamp(x, lo, hi float64) float64 { return math.Min(math.Max(x, lo), hi) }
