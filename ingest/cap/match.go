package cap

import (
	"math"
	"sort"
	"strings"

	"example.org/coldseam"
)

// Resolve leaves what stands: an update or cancel removes the messages it
// refers to, and cancels themselves are removed. A message acts only on
// messages of its own status, so that a test never cancels the real thing. The
// result is sorted by begin, then identifier; alerts is not altered.
func Resolve(alerts []coldseam.Alert) []coldseam.Alert {
	gone := map[[3]string]bool{}
	for _, a := range alerts {
		if !strings.EqualFold(a.MsgType, "Update") && !strings.EqualFold(a.MsgType, "Cancel") {
			continue
		}
		for _, r := range a.References {
			if f := strings.Split(r, ","); len(f) == 3 && f[1] != a.Identifier {
				gone[key(f[0], f[1], a.Status)] = true
			}
		}
	}
	seen := map[[3]string]int{}
	var out []coldseam.Alert
	for _, a := range alerts {
		k := key(a.Sender, a.Identifier, a.Status)
		if gone[k] || strings.EqualFold(a.MsgType, "Cancel") {
			continue
		}
		if i, ok := seen[k]; ok { // the same message from two feeds
			if a.Sent.After(out[i].Sent) {
				out[i] = a
			}
			continue
		}
		seen[k] = len(out)
		out = append(out, a)
	}
	sort.SliceStable(out, func(i, j int) bool {
		if !out[i].From.Equal(out[j].From) {
			return out[i].From.Before(out[j].From)
		}
		return out[i].Identifier < out[j].Identifier
	})
	return out
}

func key(sender, identifier, status string) [3]string {
	return [3]string{strings.ToLower(strings.TrimSpace(sender)), strings.TrimSpace(identifier), strings.ToLower(status)}
}

// Match reports whether an alert is for a reach, and by what: its gauge code
// in the hydrologic event line, a zone of its list, a polygon or a circle
// around it; the first that hits. A zone of the list is "UGC=XXC011" or
// "XXC011". An alert without any usable area matches nothing.
func Match(a coldseam.Alert, r coldseam.Reach) (by string, ok bool) {
	for _, g := range a.GaugeCodes {
		if r.GaugeCode != "" && strings.EqualFold(g, r.GaugeCode) {
			return "gauge " + g, true
		}
	}
	for _, ar := range a.Areas {
		for _, g := range ar.Geocodes {
			_, value, _ := strings.Cut(g, "=")
			for _, z := range r.AlertZones {
				if strings.EqualFold(z, g) || strings.EqualFold(z, value) {
					return "zone " + g, true
				}
			}
		}
	}
	if r.Lat == 0 && r.Lon == 0 {
		return "", false // the reach has no position
	}
	for _, ar := range a.Areas {
		for _, p := range ar.Polygons {
			if inside(p, r.Lat, r.Lon) {
				return "polygon of " + ar.Desc, true
			}
		}
	}
	for _, ar := range a.Areas {
		for _, c := range ar.Circles {
			if distanceKM(c[0], c[1], r.Lat, r.Lon) <= c[2] {
				return "circle of " + ar.Desc, true
			}
		}
	}
	return "", false
}

// inside is the even-odd rule on latitude and longitude as plane coordinates:
// right for areas of a few hundred km that do not cross the date line. Points
// on an edge count as inside.
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
	return math.Abs(cross) < 1e-12 && lat >= math.Min(a[0], b[0]) && lat <= math.Max(a[0], b[0]) && lon >= math.Min(a[1], b[1]) && lon <= math.Max(a[1], b[1])
}

// earthRadiusKM is the mean radius R1 of the IUGG [from memory].
const earthRadiusKM = 6371.0088

// distanceKM is the great-circle distance by the haversine.
func distanceKM(lat1, lon1, lat2, lon2 float64) float64 {
	rad := math.Pi / 180
	s1, s2 := math.Sin((lat2-lat1)*rad/2), math.Sin((lon2-lon1)*rad/2)
	h := s1*s1 + math.Cos(lat1*rad)*math.Cos(lat2*rad)*s2*s2
	return 2 * earthRadiusKM * math.Asin(math.Min(1, math.Sqrt(h)))
}
