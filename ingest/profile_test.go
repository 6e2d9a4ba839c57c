package ingest

import (
	"testing"
	"time"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
)

func TestProfileCheck(t *testing.T) {
	t.Parallel()
	good := func() Profile {
		return Profile{
			Name:       "ng",
			BaseURL:    "https://g.example",
			Endpoints:  map[string]Endpoint{"daily": {Path: "/d", Statistic: "mean"}},
			Parameters: map[string]string{"00060": "discharge"},
			Units:      map[string]string{"stage": "ft"},
			Zone:       "America/Chicago",
			Qualifiers: map[string]string{"B": "ice"},
			Approval:   map[string]string{"P": "provisional"},
			Statistics: map[string]string{"precip": "sum PT1H"},
			KeyHeader:  "X-Api-Key",
			KeyFile:    "/etc/key",
		}
	}
	require.NoError(t, good().Check())

	for _, c := range []struct {
		name string
		bend func(*Profile)
		want string
	}{
		{"no name", func(p *Profile) { p.Name = "" }, "name"},
		{"no address", func(p *Profile) { p.BaseURL = "g.example" }, "base_url"},
		{"file address", func(p *Profile) { p.BaseURL = "file:///etc/passwd" }, "base_url"},
		{"key over http", func(p *Profile) { p.BaseURL = "http://g.example" }, "https where a key is sent"},
		{"key header alone", func(p *Profile) { p.KeyFile = "" }, "key_header"},
		{"format", func(p *Profile) { p.Format = "csv" }, "format = csv"},
		{"kind", func(p *Profile) { p.Kind = "guess" }, "kind"},
		{"paging", func(p *Profile) { p.Paging = "pages" }, "paging"},
		{"method", func(p *Profile) { p.Method = "PUT" }, "method"},
		{"no limit", func(p *Profile) {
			p.Format, p.Query = FormatFeatures, map[string]string{"f": "json"}
		}, "10 rows without one"},
		{"parameter", func(p *Profile) { p.Parameters["x"] = "flow" }, "parameters.x = flow"},
		{"unit", func(p *Profile) { p.Units["discharge"] = "ft" }, "units.discharge"},
		{"qualifier", func(p *Profile) { p.Qualifiers["x"] = "drop" }, "qualifiers.x = drop"},
		{"approval", func(p *Profile) { p.Approval["x"] = "maybe" }, "approval.x"},
		{"zone", func(p *Profile) { p.Zone = "CST6" }, "zone = CST6"},
		{"zone of the machine", func(p *Profile) { p.Zones = map[string]string{"a": "Local"} }, "zones.a"},
		{"statistics", func(p *Profile) { p.Statistics["precip"] = "sum 1h" }, "statistics.precip"},
		{"endpoint", func(p *Profile) { p.Endpoints["daily"] = Endpoint{Statistic: "median"} }, "endpoint daily"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p := good()
			c.bend(&p)
			err := p.Check()
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.ErrorContains(t, err, c.want)
		})
	}
}

func TestProfileAt(t *testing.T) {
	t.Parallel()
	p := Profile{
		Name:      "ng",
		Path:      "/latest",
		Query:     map[string]string{"a": "1"},
		MaxWindow: Span(time.Hour),
		Endpoints: map[string]Endpoint{"history": {Path: "/h", Query: map[string]string{"b": "2"},
			MaxWindow: Span(24 * time.Hour)}, "same": {}},
	}
	h, err := p.At("history")
	require.NoError(t, err)
	require.Equal(t, "/h", h.Path)
	require.Equal(t, map[string]string{"b": "2"}, h.Query)
	require.Equal(t, Span(24*time.Hour), h.MaxWindow)
	s, err := p.At("same")
	require.NoError(t, err)
	require.Equal(t, "/latest", s.Path)
	_, err = p.At("nowhere")
	require.ErrorIs(t, err, coldseam.ErrNotFound)
}

func TestSpan(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]time.Duration{"90s": 90 * time.Second, "15m": 15 * time.Minute,
		"1095d": 1095 * 24 * time.Hour, "1d12h": 36 * time.Hour, "0s": 0} {
		var s Span
		require.NoError(t, s.UnmarshalText([]byte(in)), in)
		require.Equal(t, want, time.Duration(s))
	}
	for _, in := range []string{"", "3", "-1h", "1y", "d", "1.5d", "99999d"} {
		var s Span
		require.ErrorIs(t, s.UnmarshalText([]byte(in)), coldseam.ErrInvalid, in)
	}
	b, err := Span(90 * time.Second).MarshalText()
	require.NoError(t, err)
	require.Equal(t, "1m30s", string(b))
}

func TestSiteID(t *testing.T) {
	t.Parallel()
	require.Equal(t, coldseam.SiteID("ng:NG-1"), Profile{Name: "ng"}.SiteID("NG-1"))
	require.Equal(t, coldseam.SiteID("agency:NG-1"), Profile{Name: "ng", Provider: "agency"}.SiteID("NG-1"))
	require.Equal(t, coldseam.SiteID("file:NG-1"), Profile{}.SiteID("NG-1"))
	a := Profile{Name: "ng", Licence: "CC BY 4.0", Attribution: "Northgauge", Link: "https://g.example"}.AttributionOf()
	require.Equal(t, coldseam.Attribution{
		Provider: "ng",
		Name:     "ng",
		Licence:  "CC BY 4.0",
		Text:     "Northgauge",
		Link:     "https://g.example",
	}, a)
}

func TestWithSites(t *testing.T) {
	t.Parallel()
	p := Profile{Name: "met", Zones: map[string]string{"a": "UTC"}, Places: map[string]Place{"a": {Lat: 1, Lon: 2}}}
	got := p.WithSites([]coldseam.Site{
		{Provider: "met", Code: "a", Zone: "America/Chicago", Lat: 45, Lon: -93},
		{Provider: "met", Code: "b", Zone: "America/Chicago", Lat: 45, Lon: -93},
		{Provider: "other", Code: "c", Zone: "America/Chicago", Lat: 45, Lon: -93},
	})
	require.Equal(t, map[string]string{"a": "UTC", "b": "America/Chicago"}, got.Zones, "the profile's own word stands")
	require.Equal(t, map[string]Place{"a": {Lat: 1, Lon: 2}, "b": {Lat: 45, Lon: -93, Zone: "America/Chicago"}},
		got.Places)
	require.Len(t, p.Zones, 1, "the profile itself is not changed")
}
