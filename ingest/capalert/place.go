package capalert

import (
	"math"
	"slices"
	"strings"
	"unicode"

	"example.org/coldseam"
)

// Position says whether an alert holds at a reach.
type Position int

// The positions. An alert is elsewhere only by a code or shape of its own.
const (
	Unknown   Position = iota // nothing in it tells
	Here                      // a code or shape of it covers the reach
	Elsewhere                 // every area of it lies elsewhere
)

// Distances of the checks on damaged shapes [proposal].
const (
	nearKM = 100.0  // an outline not closed may have lost a part that reaches so far
	farKM  = 1000.0 // a shape so far off is looked at with its coordinates exchanged
	// wideDeg is the greatest width of a believable outline: a damaged pair makes
	// an outline across half a continent.
	wideDeg = 45.0
)

// Place tells where an alert holds: here and by what, elsewhere, or not known
// and why: no area, a damaged or exchanged shape, codes of a kind that the reach
// has no code of.
func Place(a coldseam.Alert, r coldseam.Reach) (by string, p Position) {
	for _, g := range a.GaugeCodes {
		if r.GaugeCode != "" && strings.EqualFold(g, r.GaugeCode) {
			return "gauge " + g, Here
		}
	}

	for _, ar := range a.Areas {
		if z := zoneOf(ar, r); z != "" {
			return "zone " + z, Here
		}
	}

	why := ""
	for _, ar := range a.Areas {
		switch w, p := shapeOf(ar, r); {
		case p == Here:
			return w, Here
		case p == Unknown && !codedElsewhere(ar, r):
			why = w
		}
	}

	switch {
	case len(a.GaugeCodes) > 0 && r.GaugeCode != "": // of another gauge
		return "", Elsewhere
	case len(a.Areas) == 0:
		return "no_area", Unknown
	case why != "":
		return why, Unknown
	}

	return "", Elsewhere
}

// zoneOf is the code of the area that stands in the reach's list.
func zoneOf(ar coldseam.AlertArea, r coldseam.Reach) string {
	for _, g := range ar.Geocodes {
		kind, value, _ := strings.Cut(g, "=")
		for _, code := range codes(value) {
			for _, z := range r.AlertZones {
				zk, zv := zone(z)
				if plain(zv) == plain(code) && (zk == "" || strings.EqualFold(zk, kind)) {
					return kind + "=" + code
				}
			}
		}
	}
	return ""
}

// codes are the whole value and the codes in it: some codes have spaces, and
// some values list several codes.
func codes(value string) []string {
	out := []string{value}
	parts := strings.FieldsFunc(value, func(r rune) bool { return unicode.IsSpace(r) || r == ',' || r == ';' })
	if len(parts) > 1 {
		out = append(out, parts...)
	}
	return out
}

// zone splits an entry of a reach's list into kind, "" for none, and code.
func zone(z string) (kind, code string) {
	if k, v, ok := strings.Cut(z, "="); ok {
		return strings.TrimSpace(k), v
	}
	return "", z
}

// plain is a code without spaces, in capitals.
func plain(s string) string {
	return strings.ToUpper(strings.Join(strings.Fields(s), ""))
}

// codedElsewhere reports whether the codes of an area, none of which is the
// reach's, say that it lies elsewhere: the reach must have a code of the same
// kind and form for that.
func codedElsewhere(ar coldseam.AlertArea, r coldseam.Reach) bool {
	for _, g := range ar.Geocodes {
		kind, value, _ := strings.Cut(g, "=")
		parts := codes(value)[1:]
		foreign := func(c string) bool { return !known(kind, c, r) }
		if !foreign(value) || len(parts) > 0 && !slices.ContainsFunc(parts, foreign) {
			return true
		}
	}
	return false
}

// Unlisted is a code of an area, as it is written, of a kind of which the reach
// lists none: nobody can say whether such a warning is for it. "" where the area
// has a shape, or a code that tells.
func Unlisted(a coldseam.Alert, r coldseam.Reach) string {
	for _, ar := range a.Areas {
		if len(ar.Polygons)+len(ar.Circles) == 0 && len(ar.Geocodes) > 0 && zoneOf(ar, r) == "" &&
			!codedElsewhere(ar, r) {
			return ar.Geocodes[0]
		}
	}
	return ""
}

func known(kind, code string, r coldseam.Reach) bool {
	return slices.ContainsFunc(r.AlertZones, func(z string) bool {
		zk, zv := zone(z)
		return (zk == "" || strings.EqualFold(zk, kind)) && sameKind(kind, plain(zv), plain(code))
	})
}

// sameKind compares the forms of two codes. A US zone code names its state
// first, then C for counties or Z for forecast zones, which do not share
// borders [source: NWSI 10-1702, from memory].
func sameKind(kind, a, b string) bool {
	if form(a) != form(b) {
		return false
	}
	if form(a) != "AAA999" || kind != "" && !strings.EqualFold(kind, "UGC") {
		return true
	}
	return a[2] == b[2] || a[:2] != b[:2]
}

// form has A for a letter and 9 for a digit.
func form(code string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsLetter(r):
			return 'A'
		case unicode.IsDigit(r):
			return '9'
		}
		return r
	}, code)
}

// shapeOf places an area by its polygons and circles: where it is here, the
// words of it, where it is not known, why.
func shapeOf(ar coldseam.AlertArea, r coldseam.Reach) (string, Position) {
	switch {
	case len(ar.Polygons)+len(ar.Circles) == 0 && ar.Damaged:
		return "damaged_shape", Unknown
	case len(ar.Polygons)+len(ar.Circles) == 0 && len(ar.Geocodes) > 0:
		return "foreign_code", Unknown
	case len(ar.Polygons)+len(ar.Circles) == 0:
		return "no_area", Unknown
	case r.Lat == 0 && r.Lon == 0:
		return "no_position", Unknown
	}

	why := ""
	if ar.Damaged {
		why = "damaged_shape"
	}

	for _, p := range ar.Polygons {
		ring := unrolled(p, r.Lon)
		if inside(ring, r.Lat, r.Lon) {
			return "polygon of " + ar.Desc, Here
		}
		if w := doubt(ring, r.Lat, r.Lon); w != "" {
			why = w
		}
	}

	for _, c := range ar.Circles {
		d := distanceKM(c[0], c[1], r.Lat, r.Lon)
		if d <= c[2] {
			return "circle of " + ar.Desc, Here
		}
		if d > farKM && distanceKM(c[1], c[0], r.Lat, r.Lon) <= math.Max(c[2], nearKM) {
			why = "exchanged_shape"
		}
	}

	if why != "" {
		return why, Unknown
	}
	return "", Elsewhere
}

// doubt is why an outline that does not hold the reach may be damaged: "" for a
// sound one.
func doubt(ring [][2]float64, lat, lon float64) string {
	lo, hi := ring[0], ring[0]
	nearest, exchanged := math.Inf(1), make([][2]float64, len(ring))
	for i, p := range ring {
		for k := range p {
			lo[k], hi[k] = math.Min(lo[k], p[k]), math.Max(hi[k], p[k])
		}
		nearest = math.Min(nearest, distanceKM(p[0], p[1], lat, lon))
		exchanged[i] = [2]float64{p[1], p[0]}
	}

	inBox := lat >= lo[0] && lat <= hi[0] && lon >= lo[1] && lon <= hi[1]
	switch {
	case nearest > farKM && (inside(exchanged, lat, lon) || closest(exchanged, lat, lon) <= nearKM):
		return "exchanged_shape"
	case inBox && hi[0]-lo[0] > wideDeg, inBox && crossesItself(ring):
		return "damaged_shape"
	case ring[0] != ring[len(ring)-1] && nearest <= nearKM:
		return "damaged_shape"
	}

	return ""
}

func closest(ring [][2]float64, lat, lon float64) float64 {
	d := math.Inf(1)
	for _, p := range ring {
		d = math.Min(d, distanceKM(p[0], p[1], lat, lon))
	}
	return d
}

// maxCrossing is the number of points up to which a ring is tested for edges
// that cross; one with more is rarely written by hand [proposal].
const maxCrossing = 2000

// crossesItself reports whether two edges of a ring cross in their middles.
func crossesItself(ring [][2]float64) bool {
	side := func(a, b, c [2]float64) float64 { return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0]) }
	n := len(ring)
	for i := 0; i < n && n <= maxCrossing; i++ {
		a, b := ring[i], ring[(i+1)%n]
		for j := i + 2; j < n; j++ {
			c, d := ring[j], ring[(j+1)%n]
			if side(a, b, c)*side(a, b, d) < 0 && side(c, d, a)*side(c, d, b) < 0 {
				return true
			}
		}
	}
	return false
}

// unrolled is a ring with longitudes that run on over the date line, beside
// the reach's own.
func unrolled(ring [][2]float64, lon float64) [][2]float64 {
	out := slices.Clone(ring)
	on := 0.0
	for i := 1; i < len(out); i++ {
		// an edge of 360 goes round the world
		if d := ring[i][1] - ring[i-1][1]; math.Abs(d) > 180 && math.Abs(d) < 360 {
			on -= math.Copysign(360, d)
		}
		out[i][1] += on
	}

	lo, hi := out[0][1], out[0][1]
	for _, p := range out {
		lo, hi = math.Min(lo, p[1]), math.Max(hi, p[1])
	}
	if turn := 360 * math.Round((lon-(lo+hi)/2)/360); turn != 0 {
		for i := range out {
			out[i][1] += turn
		}
	}

	return out
}

// inside is the even-odd rule on latitude and longitude as plane coordinates:
// right for areas of a few hundred km. Points on an edge count as inside.
func inside(p [][2]float64, lat, lon float64) bool {
	in := false
	for i, j := 0, len(p)-1; i < len(p); j, i = i, i+1 {
		a, b := p[i], p[j]
		if onEdge(a, b, lat, lon) {
			return true
		}
		if (a[0] > lat) != (b[0] > lat) && lon < (b[1]-a[1])*(lat-a[0])/(b[0]-a[0])+a[1] {
			in = !in
		}
	}
	return in
}

func onEdge(a, b [2]float64, lat, lon float64) bool {
	cross := (b[0]-a[0])*(lon-a[1]) - (b[1]-a[1])*(lat-a[0])
	return math.Abs(cross) < 1e-12 && lat >= math.Min(a[0], b[0]) && lat <= math.Max(a[0], b[0]) &&
		lon >= math.Min(a[1], b[1]) && lon <= math.Max(a[1], b[1])
}
