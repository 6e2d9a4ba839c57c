package setup

import (
	"fmt"
	"math"
	"strings"

	"example.org/coldseam/ingest"
)

// withBox fills {bbox} of the nearby endpoint: west, south, east, north.
func withBox(p ingest.Profile, box string) ingest.Profile {
	e := p.Endpoints["nearby"]
	q := map[string]string{}
	for k, v := range e.Query {
		q[k] = strings.ReplaceAll(v, "{bbox}", box)
	}
	e.Query = q
	ends := map[string]ingest.Endpoint{}
	for k, v := range p.Endpoints {
		ends[k] = v
	}
	ends["nearby"] = e
	p.Endpoints = ends
	p.Places = nil // they would be sent as the wanted sites
	return p
}

func boxText(lat, lon, km float64) string {
	dLat := km / kmPerDegree
	dLon := dLat / max(math.Cos(lat*math.Pi/180), .05)
	return fmt.Sprintf("%.4f,%.4f,%.4f,%.4f", lon-dLon, lat-dLat, lon+dLon, lat+dLat)
}

// kmPerDegree of latitude, by the mean radius of 6,371 km.
const kmPerDegree = math.Pi * 6371 / 180

// distanceKM is the great-circle distance (haversine).
func distanceKM(lat1, lon1, lat2, lon2 float64) float64 {
	rad := math.Pi / 180
	s1, s2 := math.Sin((lat2-lat1)*rad/2), math.Sin((lon2-lon1)*rad/2)
	return 2 * 6371 * math.Asin(math.Sqrt(min(s1*s1+math.Cos(lat1*rad)*math.Cos(lat2*rad)*s2*s2, 1)))
}
