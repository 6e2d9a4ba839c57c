package ingest

import (
	"fmt"
	"math"
	"sort"
	"strconv"
)

// FarKM is the distance above which the position in a document is worth a
// note: axis orders get mixed up, also in published examples [proposal].
const FarKM = 1.0

// DistanceKM is the great-circle distance of two points in degrees on a sphere
// of 6371 km.
func DistanceKM(lat1, lon1, lat2, lon2 float64) float64 {
	const rad = math.Pi / 180
	a := math.Pow(math.Sin((lat2-lat1)*rad/2), 2) +
		math.Cos(lat1*rad)*math.Cos(lat2*rad)*math.Pow(math.Sin((lon2-lon1)*rad/2), 2)
	return 2 * 6371 * math.Asin(math.Min(1, math.Sqrt(a)))
}

// PlaceAt names the configured place a document's position belongs to: the one
// that was asked for, else the nearest within maxKM, else the position itself.
// note is set when the position lies far from the place.
func (p Profile) PlaceAt(lat, lon, maxKM float64) (code, note string) {
	if p.RequestSite != "" {
		if pl, ok := p.Places[p.RequestSite]; ok {
			if d := DistanceKM(lat, lon, pl.Lat, pl.Lon); d > FarKM {
				note = fmt.Sprintf("%s: the document lies %.1f km from the configured place", p.RequestSite, d)
			}
		}
		return p.RequestSite, note
	}

	codes := make([]string, 0, len(p.Places))
	for c := range p.Places {
		codes = append(codes, c)
	}
	sort.Strings(codes)
	best := maxKM
	for _, c := range codes {
		if d := DistanceKM(lat, lon, p.Places[c].Lat, p.Places[c].Lon); d <= best {
			best, code = d, c
		}
	}

	if code == "" {
		for _, c := range codes {
			if DistanceKM(lon, lat, p.Places[c].Lat, p.Places[c].Lon) <= maxKM {
				return c, c + ": latitude and longitude of the document are swapped"
			}
		}
		return strconv.FormatFloat(lat, 'f', 4, 64) + "," + strconv.FormatFloat(lon, 'f', 4, 64), ""
	}

	if best > FarKM {
		note = fmt.Sprintf("%s: the document lies %.1f km from the configured place", code, best)
	}
	return code, note
}
