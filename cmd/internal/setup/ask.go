package setup

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/parts"
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

// memorySink takes what an agency answers to a person who looks around. Nothing of it
// is stored, and nothing that was stored before makes an answer shorter.
type memorySink struct {
	ingest.Result
	series []coldseam.Series
}

// UpsertSeries keeps the series in memory.
func (s *memorySink) UpsertSeries(_ context.Context, _ int64, list []coldseam.Series) (added, revised int, err error) {
	s.series = append(s.series, list...)
	return len(list), 0, nil
}

// SaveRaw keeps nothing.
func (*memorySink) SaveRaw(context.Context, coldseam.RawFetch) (int64, error) { return 1, nil }

// SaveForecasts keeps nothing.
func (*memorySink) SaveForecasts(context.Context, []coldseam.Forecast) error { return nil }

// SaveAlerts keeps nothing.
func (*memorySink) SaveAlerts(context.Context, []coldseam.Alert) error { return nil }

// SaveFloodLevels keeps nothing.
func (*memorySink) SaveFloodLevels(context.Context, []coldseam.FloodLevel) error { return nil }

// SaveGaugings keeps nothing.
func (*memorySink) SaveGaugings(context.Context, []coldseam.Gauging) error { return nil }

// NextFetch knows of no earlier answer.
func (*memorySink) NextFetch(context.Context, string, string) (etag, lastMod string, notBefore time.Time, err error) {
	return "", "", time.Time{}, nil
}

// ask asks a service and stores nothing. The requests count against the hour's
// budget that all servers of the club share.
func ask(ctx context.Context, a *parts.Parts, p ingest.Profile, req ingest.Request) (*memorySink, error) {
	out, own := &memorySink{}, a.Feeds.Fetcher
	f := &ingest.Fetcher{Now: own.Now, Log: own.Log, Parse: own.Parse, Sink: out, Agent: own.Agent, Budget: own.Budget,
		RetryWait: own.RetryWait, SpendAtOnce: own.SpendAtOnce, Waiting: own.Waiting}
	defer f.Close()
	var err error
	out.Result, err = f.Fetch(ctx, p, req)
	return out, err
}

// kmPerDegree of latitude, by the mean radius of 6,371 km.
const kmPerDegree = math.Pi * 6371 / 180

// distanceKM is the great-circle distance (haversine).
func distanceKM(lat1, lon1, lat2, lon2 float64) float64 {
	rad := math.Pi / 180
	s1, s2 := math.Sin((lat2-lat1)*rad/2), math.Sin((lon2-lon1)*rad/2)
	return 2 * 6371 * math.Asin(math.Sqrt(min(s1*s1+math.Cos(lat1*rad)*math.Cos(lat2*rad)*s2*s2, 1)))
}
