package setup_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/admin"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/cmd/internal/setup"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
	"example.org/coldseam/store/backup"
	"example.org/coldseam/store/storetest"
)

// deployed is the shipped configuration as the guide says: copied, with a state
// directory, and nothing made by hand.
func deployed(t *testing.T) (path, state string) {
	t.Helper()
	b, err := os.ReadFile("../../../deploy/coldseam.toml")
	require.NoError(t, err)
	dir := t.TempDir()
	path, state = filepath.Join(dir, "etc", "coldseam.toml"), filepath.Join(dir, "state")
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.Mkdir(state, 0o700))
	text := strings.Replace(string(b), `state_dir = ""`, `state_dir = "`+state+`"`, 1)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	return path, state
}

// served is one start of the service, without its ports.
func served(t *testing.T, path, url string) (notify.Links, error) {
	t.Helper()
	cfg, err := config.Load(path)
	require.NoError(t, err)
	a, err := parts.Open(t.Context(), cfg, env.Options{DBURL: url, Migrate: true, Alone: true})
	if err != nil {
		return notify.Links{}, err
	}
	defer a.Close()
	require.NotNil(t, a.Mail.Compose.Signer, "mails are signed")
	return a.Mail.Links, nil
}

// The shipped file starts as it is: the keys are made once, and never again for a
// club with members.
func TestDeployedConfigurationStartsFromNothing(t *testing.T) {
	t.Parallel()
	path, state := deployed(t)
	url := storetest.URL(t)
	first, err := served(t, path, url)
	require.NoError(t, err)
	for _, f := range []string{"token.key", "dkim.key"} {
		st, err := os.Stat(filepath.Join(state, f))
		require.NoError(t, err)
		require.Equal(t, os.FileMode(0o600), st.Mode().Perm())
	}

	again, err := served(t, path, url)
	require.NoError(t, err)
	require.Equal(t, first.Tokens, again.Tokens)
	cfg, err := config.Load(path)
	require.NoError(t, err)
	require.Len(t, cfg.SecretFiles(), 3, "a backup holds both")

	require.NoError(t, os.Remove(filepath.Join(state, "token.key")))
	_, err = served(t, path, url)
	require.ErrorContains(t, err, "restore FILE --files-only")
	require.NoFileExists(t, filepath.Join(state, "token.key"), "another key would break every link")
}

// What init makes as root, the service's own user reads: keys in its directory,
// which the service manager hands to it.
func TestInitAsRootServesTheUnit(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := filepath.Join(dir, "etc", "coldseam.toml")
	state := filepath.Join(dir, "state")
	var out bytes.Buffer
	for range 2 {
		require.NoError(t, (&setup.Init{Club: "Alder Landing Club"}).Write(&env.Streams{Out: &out, Err: &out}, path,
			setup.Machine{Root: true, State: state}))
	}
	cfg, err := config.Load(path)
	require.NoError(t, err)
	require.Equal(t, filepath.Join(state, "token.key"), cfg.Mail.TokenKeyFile)
	require.Equal(t, filepath.Join(state, "dkim.key"), cfg.Mail.DKIMKeyFile)
	_, err = served(t, path, storetest.URL(t))
	require.NoError(t, err)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NotRegexp(t, `(?m)^(token|dkim)_key_file`, string(text))
}

// What the compose file sets, on top of the shipped file.
func TestComposeEnvironment(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../../docker-compose.yml")
	require.NoError(t, err)
	docker, err := os.ReadFile("../../../deploy/Dockerfile")
	require.NoError(t, err)
	env := map[string]string{}
	for _, l := range strings.Split(string(text)+string(docker), "\n") {
		l = strings.TrimPrefix(strings.TrimSpace(l), "ENV ")
		if i := strings.IndexAny(l, ":="); i > 0 && strings.HasPrefix(l, "COLDSEAM_") {
			env[l[:i]] = strings.TrimSpace(l[i+1:])
		}
	}

	path, _ := deployed(t)
	cfg, err := config.Load(path)
	require.NoError(t, err)
	cfg.FromMachine(func(k string) string { return env[k] })
	require.Equal(t, "0.0.0.0:8080", cfg.Listen, "not the container's own loopback")
	require.Equal(t, []string{"10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16"}, cfg.Proxies,
		"wherever the engine puts its network")
	require.NoError(t, notify.Relay{Addr: cfg.Mail.SMTP, TLS: cfg.Mail.TLS}.Check())
	require.Equal(t, "relay:25", cfg.Mail.SMTP)
	require.Error(t, notify.Relay{Addr: cfg.Mail.SMTP, TLS: cfg.Mail.TLS, User: "coldseam"}.Check(),
		"no password in the clear")
}

// A new machine gets keys and configuration back to where they stood: links of old
// mails go on working.
func TestRestoreBringsKeysBack(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	path, state := deployed(t)
	url := storetest.URL(t)
	before, err := served(t, path, url)
	require.NoError(t, err)
	cfg, err := config.Load(path)
	require.NoError(t, err)
	db, err := store.Open(ctx, url, store.Options{})
	require.NoError(t, err)
	defer db.Close()

	s, _, err := db.AddSubscriber(ctx, "one@club.example.org", "", coldseam.Preferences{Zone: "America/Chicago"})
	require.NoError(t, err)
	require.NoError(t, db.Confirm(ctx, s.ID))
	backup, err := backup.Make(ctx, db, backup.Options{Dir: t.TempDir(), Files: cfg.SecretFiles()})
	require.NoError(t, err)
	files := []string{path, filepath.Join(state, "token.key"), filepath.Join(state, "dkim.key")}
	kept := map[string]string{}
	for _, f := range files {
		b, err := os.ReadFile(f)
		require.NoError(t, err)
		kept[f] = string(b)
		require.NoError(t, os.Remove(f))
	}

	var out bytes.Buffer
	run := func(c admin.Restore) error {
		c.File = backup
		return c.Run(ctx, &env.Streams{Out: &out, Err: &out}, &env.Globals{Config: path})
	}
	same := func() {
		t.Helper()
		for f, want := range kept {
			b, err := os.ReadFile(f)
			require.NoError(t, err)
			require.Equal(t, want, string(b), f)
		}
	}

	back := storetest.EmptyURL(t)
	require.NoError(t, run(admin.Restore{Database: back}))
	same()
	after, err := served(t, path, back)
	require.NoError(t, err)
	require.Equal(t, before.Tokens, after.Tokens)

	// Where init has made another key, nothing is touched until somebody chooses.
	require.NoError(t, os.WriteFile(files[1], []byte("another key that is long enough to be one\n"), 0o600))
	other := storetest.EmptyURL(t)
	err = run(admin.Restore{Database: other})
	require.ErrorContains(t, err, "token.key")
	require.ErrorContains(t, err, "nothing was touched")
	require.NoError(t, run(admin.Restore{Database: other, Files: "backup"}))

	same()
	b, err := os.ReadFile(files[1] + ".before")
	require.NoError(t, err)
	require.Contains(t, string(b), "another key")
	require.NoError(t, os.Remove(files[2]))
	require.NoError(t, run(admin.Restore{Only: true}))
	same()
}

// The page of health says when work cannot be queued.
func TestHealthTellsThatWorkCannotBeQueued(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	require.NoError(t, v.App.Tick(t.Context(), v.Now()))
	require.NoError(t, v.Mail.Healthy(t.Context()))
	_, err := v.DB.Pool().Exec(t.Context(),
		`ALTER TABLE river.river_job ADD CONSTRAINT full_up CHECK (kind <> 'upkeep') NOT VALID`)
	require.NoError(t, err)
	_, err = v.DB.Pool().Exec(t.Context(), `DELETE FROM river.river_job`)
	require.NoError(t, err)
	require.Error(t, v.App.Tick(t.Context(), v.Now()))
	require.ErrorContains(t, v.Mail.Healthy(t.Context()), "enqueue")
}
