package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/store/storetest"
)

// The whole command as an admin types it: twice, the second time refused; the
// file it leaves is one the program starts from.
func TestSiteAddWritesTheFile(t *testing.T) {
	t.Parallel()
	w, err := clubtest.World()
	require.NoError(t, err)
	ag, err := simagency.New(simagency.Options{Now: func() time.Time { return democlub.Start }, World: w})
	require.NoError(t, err)
	base, err := ag.Start()
	require.NoError(t, err)
	defer ag.Close()

	items := func(endpoint, collection, query string) string {
		return "[profile.endpoints." + endpoint + "]\npath = \"/ogcapi/v1/collections/" + collection +
			"/items\"\nquery = { f = \"json\", limit = \"{limit}\", " + query + " }\n"
	}
	const sites = `monitoring_location_id = "{sites}"`
	path := filepath.Join(t.TempDir(), "coldseam.toml")
	text := "# mine\ndatabase_url = '" + storetest.URL(t) + "'\nstate_dir = '" + t.TempDir() +
		"'\n[club]\nname = 'Alder Club'\nzone = 'America/Chicago'\n" +
		"[[profile]]\nname = \"ng\"\nprovider = \"northgauge\"\nformat = \"ogcapi_features\"\nbase_url = \"" + base +
		"\"\npaging = \"links_next\"\nprivate_hosts = [\"127.0.0.1\"]\n" +
		items("nearby", "monitoring-locations", `bbox = "{bbox}"`) + items("metadata", "time-series-metadata", sites) +
		items("latest", "latest-continuous", sites) + items("history", "continuous",
		sites+`, time = "{since}/{until}"`) +
		items("daily", "daily", sites+`, statistic_id = "00003", time = "{since_date}/{until_date}"`) +
		"max_window = \"1095d\"\n# the end"
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))

	add := []string{"site", "add", "--config", path, "--lat", "45.29", "--lon=-92.66", "--code", "NG-1001", "--river",
		"Tamsen \"Big\" River", "--years", "2", "--no-replay"}
	status, out, errs := command(t, add...)
	require.Zero(t, status, out+errs)
	require.Contains(t, out, `Added to `+path+`: gauge northgauge:NG-1001, reach "tamsen-big-river-reach"`)
	require.Contains(t, out, "Without it NO CALL")
	require.Contains(t, out, "4. weather: the id of a forecast point")
	require.Contains(t, out, "Then `coldseam fetch`")

	status, said, _ := command(t, "check", "--config", path, "--offline")
	require.Equal(t, 2, status)
	require.Contains(t, said, "in the file, not in the database yet")
	require.Contains(t, said, "coldseam fetch enters it")
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(string(b), text+"\n"), "what was there is there byte by byte")
	cfg, err := config.Load(path)
	require.NoError(t, err)
	require.Equal(t, `Tamsen "Big" River`, cfg.Reaches[0].River)
	require.NotNil(t, cfg.Reaches[0].MaxFlowCFS)

	status, _, errs = command(t, "site", "add", "--config", path, "--lat", "95", "--lon", "0")
	require.Equal(t, 2, status)
	require.Contains(t, errs, "latitude -90 to 90")
	status, far, errs := command(t, "site", "add", "--config", path, "--lat", "45.29", "--lon", "92.66")
	require.Zero(t, status, errs)
	require.Contains(t, far, "West is a negative --lon")
	require.NotContains(t, far, "Take one")

	status, _, errs = command(t, add...)
	require.Equal(t, 1, status)
	require.Contains(t, errs, "another --id")
	again, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(b), string(again))

	confirmLimits(t, path, "tamsen-big-river-reach")
	status, out, errs = command(t, "site", "list", "--config", path)
	require.Zero(t, status, errs)
	require.Regexp(t, `northgauge:NG-1001 +Tamsen at Alder Landing +.*discharge`, out)
	status, out, _ = command(t, "check", "--config", path, "--offline")
	require.Equal(t, 2, status)
	for _, want := range []string{"tamsen-big-river-reach hazards", "no season rule", "no spots",
		"no feed of official warnings", "no forecast point"} {
		require.Contains(t, out, want)
	}
}
