//go:build !race

package main

import (
	"bytes"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/setup"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/store/localpg"
)

// What the US water service lets a caller without a key ask in an hour [from memory:
// deploy/profiles.toml says: not proven].
const gaugeRequests = 50

// eveningWeather stands for the shipped forecast profile: the loopback agency
// speaks CoverageJSON.
const eveningWeather = `[[profile]]
name = "us-grid-forecast"
provider = "NWS"
format = "coveragejson"
kind = "forecast"
base_url = "BASE"
path = "/edr/collections/metgrid/position"
query = { coords = "POINT({lon} {lat})", f = "CoverageJSON", datetime = "{since}/{until}", "parameter-name" = "air_temperature,wind_speed,wind_gust,precipitation_amount,thunder_probability" }
sites_per_request = 1
private_hosts = ["127.0.0.1"]
rate_per_hour = 600
[profile.parameters]
air_temperature = "air_temp"
wind_speed = "wind"
wind_gust = "gust"
precipitation_amount = "precip"
thunder_probability = "thunder_prob"
[profile.statistics]
precip = "sum PT1H"

`

// eveningSample is the shipped configuration with the loopback agency in place of
// the services.
func eveningSample(t *testing.T, base string) string {
	t.Helper()
	b, err := os.ReadFile("../../deploy/coldseam.toml")
	require.NoError(t, err)
	text := strings.Replace(string(b), `base_url = "https://api.waterdata.usgs.gov/ogcapi/v1"`,
		`base_url = "`+base+`/ogcapi/v1"`+"\n"+`private_hosts = ["127.0.0.1"]`, 1)
	weather := strings.Index(text, "[[profile]]\nname = \"us-grid-forecast\"")
	warnings := strings.Index(text, "# The US warnings:")
	require.True(t, weather > 0 && warnings > weather)
	text = text[:weather] + strings.Replace(eveningWeather, "BASE", base, 1) + text[warnings:]
	text = strings.Replace(text, `#base_url = "https://api.weather.gov"`,
		`#base_url = "`+base+`"`+"\n"+`#private_hosts = ["127.0.0.1"]`, 1)
	return strings.Replace(text, `"/alerts/active.atom"`, `"/alerts/index.atom"`, 1)
}

// filledIn is the file after the admin has been through it with an editor: the
// state of the warnings, zones, hazards, season rule and a sounded spot.
func filledIn(t *testing.T, text string) string {
	t.Helper()
	head, rest, ok := strings.Cut(text, "#[[profile]]\n#name = \"us-alerts\"")
	require.True(t, ok)
	block, rest, ok := strings.Cut(rest, "\n\n")
	require.True(t, ok)
	block = strings.ReplaceAll("#[[profile]]\n#name = \"us-alerts\""+block, "\n#", "\n")[1:]
	text = head + strings.Replace(block, `area = ""`, `area = "MN"`, 1) + "\n\n" + rest

	for _, x := range [][2]string{
		{`#alerts = ""  `, `alerts = "us-alerts"`},
		{"#alert_zones = []\nhazards_surveyed = false", "alert_zones = [\"UGC=XXC001\", \"UGC=XXZ001\"]\nhazards_surveyed = true"},
		{"#[[reach.rule]]", "[[reach.rule]]"},
		{"#kind = \"season\"", "kind = \"season\""},
		{"#species = \"walleye\"", "species = \"walleye\""},
		{"#closed = []", "closed = [\"03-01..04-10\"]"},
		{"#text = \"\"", "text = \"closed 1 March to 10 April\""},
		{"#link = \"\"", "link = \"https://rules.example.org/tamsen\""},
		{"#checked_on = \"\"", "checked_on = \"2026-04-01\""},
		{"#checked_by = \"\"", "checked_by = \"season keeper\""},
	} {
		at := strings.LastIndex(text, x[0]) // of the block that site add wrote
		require.Positive(t, at, x[0])
		text = text[:at] + x[1] + text[at+len(x[0]):]
	}
	return text
}

// From an empty machine to the first brief with a word: eight commands with the
// package's installation, and no request that the service would refuse.
func TestFirstEveningIsShort(t *testing.T) {
	t.Parallel()
	if _, err := localpg.Find(); err != nil {
		t.Skipf("no private Postgres here: %v", err)
	}
	w, err := clubtest.World()
	require.NoError(t, err)
	clock := democlub.NewClock(democlub.Start.Add(-9 * time.Hour)) // half past seven in the evening before
	ag, err := simagency.New(simagency.Options{Now: clock.Now, World: w})
	require.NoError(t, err)
	defer ag.Close()
	var gauges, others, refused atomic.Int32
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasPrefix(r.URL.Path, "/ogcapi/") {
			others.Add(1)
		} else if gauges.Add(1) > gaugeRequests {
			refused.Add(1)
			w.Header().Set("Retry-After", "3600")
			w.WriteHeader(http.StatusTooManyRequests)
			return
		}
		ag.Handler().ServeHTTP(w, r)
	}))
	defer srv.Close()

	dir, err := os.MkdirTemp("", "cs")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	require.NoError(t, os.Chmod(dir, 0o755))
	path := filepath.Join(dir, "coldseam.toml")
	commands, started := 1, time.Now() // apt install ./coldseam.deb

	var said bytes.Buffer
	commands++ // coldseam init, which asks
	answers := strings.NewReader("Alder Landing Club\nAmerica/Chikago\nAmerica/Chicago\nTamsen\n45.29 -92.66\n\n")
	start := setup.Init{Ask: setup.NewAsker(answers, &said)}
	require.NoError(t, start.Set(t.Context(), &env.Streams{Out: &said, Err: &said},
		&env.Globals{Config: path, Now: clock.Now}, setup.Machine{State: dir, Sample: eveningSample(t, srv.URL),
			Seasons: [][2]coldseam.Date{{{Year: 2025, Month: time.April, Day: 12}, {Year: 2025, Month: time.April, Day: 18}}}}),
		said.String())
	require.Contains(t, said.String(), `"America/Chikago" is no zone`)
	require.Contains(t, said.String(), "Gauge, by its code [NG-1001]")
	require.Contains(t, said.String(), "The last spring and autumn again")
	require.Contains(t, said.String(), `reach "tamsen-reach"`)

	commands++ // an editor
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, []byte(filledIn(t, string(text))), 0o600))
	cfg, err := config.Load(path)
	require.NoError(t, err)
	require.Equal(t, "Alder Landing Club", cfg.Club.Name)

	run := func(status int, args ...string) string {
		commands++
		var out, errs bytes.Buffer
		got := executeAt(t.Context(), clock.Now, append(args, "--config", path), &out, &errs)
		require.Equal(t, status, got, "%v: %s%s", args, out.String(), errs.String())
		return out.String()
	}
	run(0, "reach", "limit", "confirm", "tamsen-reach", "--craft", "boat", "--why", "above it the ramp is under water")
	run(0, "fetch")
	run(0, "subscriber", "add", "bow@alder.net", "--confirmed")
	checked := run(2, "check", "--offline") // no relay, no backup
	require.Regexp(t, `\ntomorrow 04:45: 1 mail, \d rivers? can be GO(, 1 cannot: Tamsen: [^\n]+)?\n$`, checked)
	shown := run(0, "preview", "--dir", dir)
	t.Log(shown)

	require.NotContains(t, shown, "NO CALL")
	require.Contains(t, shown, "04:45  bow@alder.net")
	require.Contains(t, shown, "nothing was sent")
	page, err := os.ReadFile(filepath.Join(dir, "preview.html"))
	require.NoError(t, err)
	require.Contains(t, string(page), "data:image/png;base64,")
	require.NotContains(t, string(page), "cid:")
	require.LessOrEqual(t, commands, 8)
	require.Zero(t, refused.Load())
	t.Logf("%d commands; %d requests for gauges of %d an hour, %d others; %s of waiting; %s", commands, gauges.Load(),
		gaugeRequests, others.Load(), time.Since(started).Round(time.Second), lastLine(checked))
}

func lastLine(s string) string {
	lines := strings.Split(strings.TrimSpace(s), "\n")
	return lines[len(lines)-1]
}
