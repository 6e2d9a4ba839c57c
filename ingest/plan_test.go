package ingest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

func TestPlanAddresses(t *testing.T) {
	t.Parallel()
	a := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	b := time.Date(2026, 3, 20, 12, 30, 0, 0, time.FixedZone("", -6*3600))

	for _, c := range []struct {
		name string
		p    Profile
		req  Request
		want []string
	}{
		{"comma list, codes of the wanted parameters, limit always sent",
			Profile{Path: "/items", Query: map[string]string{"id": "{sites}", "param": "{parameters}",
				"limit": "{limit}", "f": "json"}, Parameters: map[string]string{"00060": "discharge",
				"00065": "stage"}},
			Request{Sites: []string{"A-1", "A-2"}, Params: []coldseam.Parameter{coldseam.Stage}},
			[]string{"https://g.example/items?f=json&id=A-1%2CA-2&limit=10000&param=00065"}},
		{"window in UTC", Profile{Query: map[string]string{"time": "{since}/{until}"}}, Request{Since: a, Until: b},
			[]string{"https://g.example?time=2026-03-01T00%3A00%3A00Z%2F2026-03-20T18%3A30%3A00Z"}},
		{"no window, no key", Profile{Query: map[string]string{"time": "{since}/{until}", "x": "1"}}, Request{},
			[]string{"https://g.example?x=1"}},
		{"open start", Profile{Query: map[string]string{"time": "{since}/{until}"}}, Request{Until: b},
			[]string{"https://g.example?time=..%2F2026-03-20T18%3A30%3A00Z"}},
		{"plus signs and spaces are encoded",
			Profile{Query: map[string]string{"observedProperty": "Water Course Discharge",
				"temporalFilter": "om:phenomenonTime,2019-05-01T12:00:00+12:00"}}, Request{},
			[]string{"https://g.example?observedProperty=Water%20Course%20Discharge&temporalFilter=om%3AphenomenonTime%2C2019-05-01T12%3A00%3A00%2B12%3A00"}},
		{"one call a place, longitude first, four decimals",
			Profile{Query: map[string]string{"coords": "POINT({lon} {lat})"},
				Places: map[string]Place{"bend": {Lat: 45.20004, Lon: -93.1}, "ford": {Lat: 44, Lon: -92}}}, Request{},
			[]string{"https://g.example?coords=POINT%28-93.1000%2045.2000%29",
				"https://g.example?coords=POINT%28-92.0000%2044.0000%29"}},
		{"grid in the path", Profile{Path: "/gridpoints/{grid}", Places: map[string]Place{"bend": {Grid: "TST/10,20"}}},
			Request{Sites: []string{"bend"}},
			[]string{"https://g.example/gridpoints/TST/10,20"}},
		{"one station a request", Profile{Query: map[string]string{"STATION_NUMBER": "{sites}"}, SitesPerRequest: 1},
			Request{Sites: []string{"05XX001", "05XX002"}},
			[]string{"https://g.example?STATION_NUMBER=05XX001", "https://g.example?STATION_NUMBER=05XX002"}},
		{"a site that would break the path", Profile{Path: "/things/{site}/x"}, Request{Sites: []string{"a b?c#d"}},
			[]string{"https://g.example/things/a%20b%3Fc%23d/x"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.p.BaseURL = "https://g.example"
			calls, err := c.p.WithDefaults().plan(c.req, b)
			require.NoError(t, err)
			var got []string
			for _, x := range calls {
				got = append(got, x.url)
			}
			require.Equal(t, c.want, got)
		})
	}
}

func TestPlanBodyIsEscaped(t *testing.T) {
	t.Parallel()
	p := Profile{BaseURL: "https://g.example", Method: "POST", Body: "<site>{site}</site><t>{since}</t>"}.WithDefaults()
	calls, err := p.plan(Request{Sites: []string{"a<&>b"}, Since: t0, Until: t0.Add(time.Hour)}, t0)
	require.NoError(t, err)
	require.Equal(t, "<site>a&lt;&amp;&gt;b</site><t>2026-03-01T00:00:00Z</t>", calls[0].body)
	require.NotEqual(t, calls[0].url, calls[0].log)
}

// The name under which a moving window is kept does not move with it.
func TestPlanLogNameIsStable(t *testing.T) {
	t.Parallel()
	p := Profile{BaseURL: "https://g.example", Query: map[string]string{"id": "{sites}",
		"time": "{since}/{until}"}}.WithDefaults()
	var names []string
	for i := range 3 {
		calls, err := p.plan(Request{Sites: []string{"A"}, Since: t0.Add(time.Duration(i) * time.Hour)},
			t0.Add(48*time.Hour))
		require.NoError(t, err)
		names = append(names, calls[0].log)
	}
	require.Equal(t, []string{"https://g.example?id=A&window", "https://g.example?id=A&window",
		"https://g.example?id=A&window"}, names)
}

// Windows cover the span without a hole, none longer than allowed.
func TestWindows(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		since := t0.Add(time.Duration(rapid.IntRange(0, 1e6).Draw(t, "since")) * time.Minute)
		until := since.Add(time.Duration(rapid.IntRange(0, 1e6).Draw(t, "span")) * time.Minute)
		longest := time.Duration(rapid.IntRange(0, 1e5).Draw(t, "longest")) * time.Hour
		ws := windows(since, until, longest, until)
		require.Equal(t, since, ws[0][0])
		require.Equal(t, until, ws[len(ws)-1][1])
		for i, w := range ws {
			if longest > 0 {
				require.LessOrEqual(t, w[1].Sub(w[0]), longest)
			}
			if i > 0 {
				require.Equal(t, ws[i-1][1], w[0])
			}
		}
	})
}

func TestNextURL(t *testing.T) {
	t.Parallel()
	const page = "https://g.example/a/items?x=1"

	for _, c := range []struct {
		name, paging, next, want, err string
	}{
		{"absolute", PagingLinks, "https://g.example/a/items?offset=2", "https://g.example/a/items?offset=2", ""},
		{"relative", PagingLinks, "?offset=2", "https://g.example/a/items?offset=2", ""},
		{"plain http of the same host", PagingLinks, "http://g.example/a/items?offset=2",
			"https://g.example/a/items?offset=2", ""},
		{"another host", PagingLinks, "https://evil.example/a", "", "another host"},
		{"another port", PagingLinks, "https://g.example:8443/a", "", "another host"},
		{"script", PagingLinks, "javascript:alert(1)", "", "another host"},
		{"token", PagingBody, "eyJ+/=", "https://g.example/a/items?next_token=eyJ%2B%2F%3D&x=1", ""},
		{"address in the body", PagingBody, "https://g.example/b", "https://g.example/b", ""},
		{"user in the host", PagingLinks, "https://g.example@evil.example/a", "", "another host"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := Profile{Paging: c.paging}.nextURL(page, c.next)
			if c.err != "" {
				require.ErrorIs(t, err, coldseam.ErrRejected)
				require.ErrorContains(t, err, c.err)
				return
			}
			require.NoError(t, err)
			require.Equal(t, c.want, got)
		})
	}
}
