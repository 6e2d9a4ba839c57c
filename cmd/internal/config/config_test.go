package config

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/simagency"
)

func TestDemoConfigIsWhole(t *testing.T) {
	t.Parallel()
	c, err := Parse("demo.toml", democlub.TOML, simagency.Profiles("http://127.0.0.1:1")...)
	require.NoError(t, err)
	require.Len(t, c.Reaches, 3)
	r, err := c.Reaches[0].Build(c)
	require.NoError(t, err)
	require.InDelta(t, 6500*coldseam.CubicMPerCFS, *r.MaxFlowM3S, 1e-9)
	require.InDelta(t, 14*coldseam.MetrePerFoot, *r.Spots[0].DepthRefM, 1e-9)
	require.Equal(t, coldseam.DayRange{
		FromMonth: time.February,
		FromDay:   15,
		ToMonth:   time.March,
		ToDay:     31,
	}, r.Rules[0].Closed[0])
	require.Equal(t, coldseam.SiteID("metgrid:NG-1001"), r.WeatherSite)
	require.Equal(t, simagency.ProfileAlerts, r.AlertFeed)
}

// The example that ships must be one that loads.
func TestSampleConfigLoads(t *testing.T) {
	t.Parallel()
	c, err := Load(filepath.Join("..", "..", "..", "deploy", "coldseam.toml"))
	require.NoError(t, err)
	require.Equal(t, "us-water", c.Profiles[0].Name)
	require.NotEmpty(t, c.Backup.Dir)
}

func TestConfigErrorsNameTheLine(t *testing.T) {
	t.Parallel()
	const head = "public_url = \"https://x.example.org\"\n[club]\nname = \"Club\"\n"

	for _, tc := range []struct{ name, text, want string }{
		{"unknown top key", "colour = 1\n" + head, `c.toml:1: unknown key "colour"; want one of database_url, `},
		{"unknown key in a table", head + "zone = \"UTC\"\nmotto = \"x\"\n",
			`c.toml:5: unknown key "club.motto"; want one of name, admin_email, contact, zone, `},
		{"unknown key in a list", head + "[[site]]\nid = \"a\"\n\n[[site]]\nid = \"b\"\ndepth = 3\n",
			`c.toml:9: unknown key "site.depth"; want one of id, profile, code, `},
		{"broken syntax", head + "zone = \n", `c.toml:4: `},
		{"no name", "[club]\nzone = \"UTC\"\n",
			`c.toml:1: club.name is empty; want the name that stands on mail and pages: invalid`},
		{"zone", head + "zone = \"Mars/Olympus\"\n",
			`c.toml:4: club.zone is "Mars/Olympus"; want an IANA zone such as America/Chicago: invalid`},
		{"send time", head + "send_at = \"4:45 am\"\n",
			`c.toml:4: club.send_at is "4:45 am"; want a 24-hour time such as 04:45: invalid`},
		{"cost", head + "[odds]\ncost = 0.9\n", `c.toml:5: odds.cost is 0.9; want 0.2 to 0.7: invalid`},
		{"a key that went", head + "[[reach]]\nid = \"a\"\nice_switch = true\n",
			`c.toml:6: "reach.ice_switch" is no key any more: take the line out and say ` +
				"`coldseam reach ice closed"},
		{"a limit that went", head + "[thresholds]\nice_age_h = 12\n",
			`threshold ice_age_h is none any more: take the line out`},
		{"unknown policy", head + "[mail]\nunknown = \"maybe\"\n",
			`c.toml:5: mail.unknown is "maybe"; want one of resend, hold: invalid`},
		{"site without profile", head + "[[site]]\nid = \"a:1\"\nprofile = \"a\"\ncode = \"1\"\nzone = \"UTC\"\n",
			`c.toml:6: site.profile is "a"; want the name of a [[profile]]: invalid`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			_, err := Parse("c.toml", tc.text)
			require.Error(t, err)
			require.Contains(t, err.Error(), tc.want)
		})
	}
}

func TestReachRefusesTwoUnitSystemsAndBadDates(t *testing.T) {
	t.Parallel()
	v := 3.0

	for _, tc := range []struct {
		name string
		edit func(*Reach)
		want string
	}{
		{"both units", func(r *Reach) {
			r.MaxFlowCFS, r.MaxFlowM3S = &v, &v
		}, "max_flow is given in both unit systems"},
		{"sounding date", func(r *Reach) {
			r.Spots = []Spot{{ID: "s", Sounded: "3 May"}}
		}, `s sounded: date "3 May": want YYYY-MM-DD`},
		{"closed span", func(r *Reach) {
			r.Rules = []Rule{{Closed: []string{"March"}}}
		}, `closed "March"; want MM-DD..MM-DD`},
		{"zone", func(r *Reach) { r.Zone = "nowhere" }, `zone is "nowhere"`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			r := Reach{ID: "r", Zone: "UTC"}
			tc.edit(&r)
			_, err := r.Build(Config{})
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.Contains(t, err.Error(), tc.want)
		})
	}
}

// Whatever a brief rests on is credited: gauges, those upstream, thermometers,
// weather and warnings; one agency's two profiles once, and two agencies whose
// profiles say nothing apart.
func TestAttributionsNameEveryService(t *testing.T) {
	t.Parallel()
	p := func(name, provider, text string) ingest.Profile {
		return ingest.Profile{Name: name, Provider: provider, Attribution: text, Licence: "open"}
	}
	c := Config{
		Profiles: []ingest.Profile{p("g", "GA", "Gauges: GA."), p("g-daily", "GA", "Gauges: GA."),
			p("up", "UP", "Upstream: UP."), p("temp", "T", ""), p("air", "A", ""),
			p("met", "M", "Weather: M."), p("cap", "W", "Warnings: W."), p("other", "O", "Nobody uses it.")},
		Sites: []Site{{ID: "g:1", Provider: "g"}, {ID: "g:2", Provider: "g-daily"}, {ID: "up:1", Provider: "up"},
			{ID: "t:1", Provider: "temp"},
			{ID: "a:1", Provider: "air"}, {ID: "m:1", Provider: "met"}, {ID: "o:1", Provider: "other"}},
	}
	r := coldseam.Reach{
		Site:          "g:1",
		TempSite:      "t:1",
		AirSite:       "a:1",
		WeatherSite:   "m:1",
		AlertFeed:     "cap",
		UpstreamSites: []coldseam.SiteID{"g:2", "up:1"},
	}
	var got []string
	for _, x := range c.Attributions(r) {
		got = append(got, x.Provider+" "+x.Text)
		require.Equal(t, "open", x.Licence)
	}
	require.Equal(t, []string{"GA Gauges: GA.", "UP Upstream: UP.", "T ", "A ", "M Weather: M.", "W Warnings: W."}, got)
}
