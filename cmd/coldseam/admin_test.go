package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/cmd/internal/setup"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/store"
	"example.org/coldseam/store/backup"
	"example.org/coldseam/store/localpg"
	"example.org/coldseam/store/storetest"
)

// command executes one command line and returns status and output.
func command(t *testing.T, args ...string) (int, string, string) {
	t.Helper()
	var out, errs bytes.Buffer
	status := execute(t.Context(), args, &out, &errs)
	return status, out.String(), errs.String()
}

// The admin's first evening by hand, from the command line alone, on a
// database of the club's own.
func TestAdminOnTheCommandLine(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := filepath.Join(dir, "coldseam.toml")
	var said bytes.Buffer
	first := setup.Init{Club: "Alder Club", Domain: "river.alder.net", Zone: "America/Chicago"}
	require.NoError(t, first.Write(&env.Streams{Out: &said, Err: &said}, path, setup.Machine{State: dir}))
	require.Contains(t, said.String(), "site add")
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	text = append([]byte("database_url = '"+storetest.URL(t)+"'\n"), text...)
	require.NoError(t, os.WriteFile(path, text, 0o600))

	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"migrate"}, "nothing to do"},
		{[]string{"subscriber", "add", "bow@alder.net", "--name", "bow", "--confirmed"}, "member 1: confirmed"},
		{[]string{"subscriber", "list"}, "1 members: 1 confirmed"},
		{[]string{"subscriber", "show", "1"}, "bow@alder.net"},
		{[]string{"subscriber", "suppress", "bow@alder.net", "--reason", "asked by phone"}, "gets no mail"},
		{[]string{"subscriber", "unsuppress", "1"}, "gets mail again"},
		{[]string{"subscriber", "export", "--all"}, "bow@alder.net,bow,confirmed"},
		{[]string{"site", "list"}, "gauge"},
		{[]string{"backup", "--dir", filepath.Join(dir, "b")}, "verified"},
		{[]string{"handover", "--out", filepath.Join(dir, "h.tar.gz")}, "12 files"},
		{[]string{"check", "--dns", "--offline"}, "coldseam._domainkey.river.alder.net. IN TXT \"v=DKIM1"},
		{[]string{"subscriber", "forget", "1", "--yes"}, "erased"},
	} {
		status, out, errs := command(t, append(c.args, "--config", path)...)
		require.Zero(t, status, "%v: %s%s", c.args, out, errs)
		require.Contains(t, out, c.want, "%v", c.args)
		require.NotContains(t, errs, "@", "%v", c.args)
	}

	for _, c := range []struct {
		args   []string
		status int
		want   string
	}{
		{[]string{"fetch"}, 2, "coldseam site add"},
		{[]string{"subscriber", "show", "nobody@alder.net"}, 1, "no member with this address"},
		{[]string{"subscriber", "show", "77"}, 1, "not found"},
		{[]string{"subscriber", "export"}, 2, "want a member, or --all"},
		{[]string{"check", "--live"}, 1, "does not answer"},
		{[]string{"restore", filepath.Join(dir, "h.tar.gz")}, 1, "h.tar.gz"},
	} {
		status, out, errs := command(t, append(c.args, "--config", path)...)
		require.Equal(t, c.status, status, "%v: %s%s", c.args, out, errs)
		require.Contains(t, errs, c.want, "%v", c.args)
		require.NotContains(t, errs, "nobody@")
	}
}

// While the service runs the private Postgres, a command joins it; when the
// service is down, it starts one for itself. A restore on a new machine needs
// no configuration.
func TestCommandsBesideTheService(t *testing.T) {
	t.Parallel()
	if _, err := localpg.Find(); err != nil {
		t.Skipf("no private Postgres here: %v", err)
	}
	ctx := t.Context()
	dir, err := os.MkdirTemp("", "cs")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	require.NoError(t, os.Chmod(dir, 0o755))

	path := filepath.Join(dir, "coldseam.toml")
	require.NoError(t, os.WriteFile(path,
		[]byte("state_dir = '"+dir+"'\n[club]\nname = 'Alder Club'\nzone = 'America/Chicago'\n"), 0o600))
	cfg, err := config.Load(path)
	require.NoError(t, err)
	service, err := parts.Open(ctx, cfg, env.Options{Migrate: true, Alone: true, FastPG: true})
	require.NoError(t, err)
	closed := false
	defer func() {
		if !closed {
			service.Close()
		}
	}()

	// A second service on the directory is refused; commands are not.
	_, err = parts.Open(ctx, cfg, env.Options{Migrate: true, Alone: true})
	require.ErrorContains(t, err, "in use by another process")
	status, out, errs := command(t, "subscriber", "add", "bow@alder.net", "--confirmed", "--config", path)
	require.Zero(t, status, errs)
	require.Contains(t, out, "member 1")

	subs, err := service.Env.DB.Subscribers(ctx, store.SubConfirmed)
	require.NoError(t, err)
	require.Len(t, subs, 1, "the service sees it at once")
	status, out, errs = command(t, "backup", "--config", path)
	require.Zero(t, status, errs)
	require.Contains(t, out, "verified")
	require.NoError(t, service.Env.DB.Ping(ctx), "the service goes on")
	service.Close()
	closed = true

	kept, err := backup.List(cfg.Backup.Dir)
	require.NoError(t, err)
	require.Len(t, kept, 1)
	status, out, errs = command(t, "restore", kept[0].Path, "--drill", "--config", filepath.Join(dir, "none.toml"))
	require.Zero(t, status, errs)
	require.Contains(t, out, "drill passed")
	require.NoDirExists(t, filepath.Join(dir, "new"))

	fresh := filepath.Join(dir, "fresh")
	status, out, errs = command(t, "restore", kept[0].Path, "--state-dir", fresh, "--files-to",
		filepath.Join(dir, "new"),
		"--config", filepath.Join(dir, "none.toml"))
	require.Zero(t, status, errs)
	require.Contains(t, out, "SENDING IS HELD")
	require.FileExists(t, filepath.Join(dir, "new", "coldseam.toml"))
	dsn, ok := localpg.Running(filepath.Join(fresh, "database"))
	require.False(t, ok, "nothing is left running: %s", dsn)
}

// A gridded service is asked for the position of the sites that the
// configuration names.
func TestProfilesKnowTheirSites(t *testing.T) {
	t.Parallel()
	cfg, err := config.Parse("demo.toml", democlub.TOML, simagency.Profiles("http://127.0.0.1:1")...)
	require.NoError(t, err)
	cfg.Sites = append(cfg.Sites, config.Site{
		ID:       "metgrid:mill",
		Provider: "metgrid",
		Code:     "mill",
		Zone:     "America/Menominee",
		Lat:      45.1,
		Lon:      -87.6,
	})
	for _, p := range cfg.Placed() {
		if p.Name == simagency.ProfileWeather {
			require.Equal(t, 45.1, p.Places["mill"].Lat)
			require.Equal(t, "America/Menominee", p.Zones["mill"])
		}
	}
}
