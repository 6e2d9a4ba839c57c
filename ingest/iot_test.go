package ingest_test

import (
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/ingest"
)

// A SensorThings walk follows the next page and the rest of each datastream's
// observations; the fragment that carries the datastream stays here.
func TestBothKindsOfNextLink(t *testing.T) {
	t.Parallel()
	obs := func(hour int) string {
		return fmt.Sprintf(`{"phenomenonTime":"2026-03-20T%02d:00:00Z","result":%d.5}`, hour, hour)
	}
	stream := func(id string, rest string, hour int) string {
		return fmt.Sprintf(`{"@iot.id":%q,"name":"water temperature","unitOfMeasurement":{"symbol":"degC","definition":""},"Thing":{"@iot.id":"T%s"},"Observations":[%s]%s}`, id, id, obs(hour), rest)
	}

	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		var body string
		switch r.URL.RawQuery {
		case "": // first page: two datastreams, one of which goes on
			body = fmt.Sprintf(`{"@iot.nextLink":"http://%s/items?page=2","value":[%s,%s]}`, r.Host,
				stream("a", fmt.Sprintf(`,"Observations@iot.nextLink":"http://%s/items?rest=a"`, r.Host), 1),
				stream("b", "", 1))
		case "page=2":
			body = fmt.Sprintf(`{"value":[%s]}`, stream("c", "", 1))
		case "rest=a":
			body = fmt.Sprintf(`{"value":[%s],"@iot.nextLink":"http://%s/items?rest=a2"}`, obs(2), r.Host)
		case "rest=a2":
			body = fmt.Sprintf(`{"value":[%s]}`, obs(3))
		default:
			w.WriteHeader(http.StatusNotFound)
		}

		_, _ = w.Write([]byte(body))
	})

	b.p.Paging, b.p.Query = ingest.PagingIOT, nil
	b.p.Format = ingest.FormatSensorThings
	res, err := b.fetch(t, ingest.Request{Sites: []string{"x"}})
	require.NoError(t, err)
	require.Equal(t, 5, res.Rows)
	counts := map[string]int{}
	for k, rows := range b.sink.obs {
		counts[string(k.Site)+" "+k.SeriesRef] = len(rows)
	}
	require.Equal(t, map[string]int{"tamsen:Ta a": 3, "tamsen:Tb b": 1, "tamsen:Tc c": 1}, counts)
}
