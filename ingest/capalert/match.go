package capalert

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"time"

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

	newest := map[[3]string]time.Time{}
	for _, a := range alerts {
		if k := key(a.Sender, a.Identifier, a.Status); a.Sent.After(newest[k]) &&
			!strings.EqualFold(a.MsgType, "Cancel") {
			newest[k] = a.Sent
		}
	}

	said := map[string]bool{}
	var out []coldseam.Alert
	for _, a := range alerts {
		k := key(a.Sender, a.Identifier, a.Status)
		if gone[k] || strings.EqualFold(a.MsgType, "Cancel") || a.Sent.Before(newest[k]) {
			continue
		}
		// The same message again says nothing new; two of one name that say
		// different things both stand.
		if w := words(a); !said[w] {
			said[w] = true
			out = append(out, a)
		}
	}

	sort.SliceStable(out, func(i, j int) bool {
		if !out[i].From.Equal(out[j].From) {
			return out[i].From.Before(out[j].From)
		}
		return out[i].Identifier < out[j].Identifier
	})
	return out
}

// words is all that a message says, wherever and whenever it was read.
func words(a coldseam.Alert) string {
	a.Document, a.KnownAt = "", time.Time{}
	return fmt.Sprintf("%+v", a)
}

func key(sender, identifier, status string) [3]string {
	return [3]string{strings.ToLower(strings.TrimSpace(sender)), strings.TrimSpace(identifier), strings.ToLower(status)}
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
