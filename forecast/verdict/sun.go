package verdict

import (
	"math"
	"time"

	"example.org/coldseam"
)

// Sun holds the sun's hours of one civil day. Where the sun stays up or down
// all day, OK is false and Rise = Set.
type Sun struct {
	Rise, Set   time.Time // centre at -0.833 degrees
	Dawn, Dusk  time.Time // civil twilight, -6 degrees
	OK, CivilOK bool
	LengthH     float64
}

// SunOf computes the sun's hours by the low-precision almanac series (mean
// anomaly and equation of time to about a minute at 60 degrees and below).
// Times are in loc; lon is positive east.
func SunOf(day coldseam.Date, lat, lon float64, loc *time.Location) Sun {
	noon := time.Date(day.Year, day.Month, day.Day, 12, 0, 0, 0, time.UTC).Add(
		-time.Duration(lon / 15 * float64(time.Hour)))
	dec, eot := solar(noon)
	transit := noon.Add(-time.Duration(eot * float64(time.Minute)))
	if off := day.Sub(coldseam.DateOf(transit.In(loc))); off != 0 {
		transit = transit.AddDate(0, 0, off) // a clock on the other side of the date line
		dec, _ = solar(transit)
	}
	var s Sun
	h, ok := hourAngle(lat, dec, -0.833)
	s.OK, s.LengthH = ok, 2*h
	s.Rise, s.Set = around(transit, h, loc)
	c, ok := hourAngle(lat, dec, -6)
	s.CivilOK = ok
	s.Dawn, s.Dusk = around(transit, c, loc)
	return s
}

func around(t time.Time, hours float64, loc *time.Location) (time.Time, time.Time) {
	d := time.Duration(hours * float64(time.Hour))
	return t.Add(-d).In(loc).Truncate(time.Second), t.Add(d).In(loc).Truncate(time.Second)
}

// solar returns the declination in radians and the equation of time in minutes.
func solar(t time.Time) (dec, eot float64) {
	const rad = math.Pi / 180
	n := t.Sub(time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)).Hours() / 24
	g := rad * math.Mod(357.528+0.9856003*n, 360)
	q := math.Mod(280.460+0.9856474*n, 360)
	l := rad * (q + 1.915*math.Sin(g) + 0.020*math.Sin(2*g))
	e := rad * (23.439 - 4e-7*n)
	ra := math.Atan2(math.Cos(e)*math.Sin(l), math.Cos(l)) / rad
	diff := math.Mod(q-ra, 360)
	if diff > 180 {
		diff -= 360
	}
	if diff < -180 {
		diff += 360
	}
	return math.Asin(math.Sin(e) * math.Sin(l)), 4 * diff
}

// hourAngle is half of the time in hours for which the sun stands above alt
// degrees; ok is false where it never crosses it.
func hourAngle(lat, dec, alt float64) (float64, bool) {
	const rad = math.Pi / 180
	x := (math.Sin(alt*rad) - math.Sin(lat*rad)*math.Sin(dec)) / (math.Cos(lat*rad) * math.Cos(dec))
	if x <= -1 {
		return 12, false
	}
	if x >= 1 {
		return 0, false
	}
	return math.Acos(x) / rad / 15, true
}
