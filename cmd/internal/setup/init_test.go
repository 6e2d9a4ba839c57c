package setup

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify"
)

func TestSampleIsTheDeployedOne(t *testing.T) {
	t.Parallel()
	b, err := os.ReadFile("../../../deploy/coldseam.toml")
	require.NoError(t, err)
	require.Equal(t, string(b), sampleTOML, "copy deploy/coldseam.toml to cmd/internal/setup/coldseam.toml")
	_, err = config.Parse("coldseam.toml", sampleTOML)
	require.NoError(t, err)
}

func TestInitWritesAndKeeps(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := filepath.Join(dir, "etc", "coldseam.toml")
	var out bytes.Buffer
	s := &env.Streams{Out: &out, Err: &out}
	m := Machine{host: "river.walleye-club.net", zone: "America/Menominee", home: "/home/keeper"}
	require.NoError(t, (&Init{Club: "Alder Landing Club"}).Write(s, path, m))

	c, err := config.Load(path)
	require.NoError(t, err)
	require.Equal(t, "Alder Landing Club", c.Club.Name)
	require.Equal(t, "America/Menominee", c.Club.Zone)
	require.Equal(t, "https://river.walleye-club.net", c.PublicURL)
	require.Equal(t, "bounce.river.walleye-club.net", c.Mail.BounceDomain)
	require.Equal(t, "Alder Landing Club <morning@river.walleye-club.net>", c.Mail.From)
	require.Equal(t, "/home/keeper/.local/state/coldseam", c.StateDir)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, strings.Count(sampleTOML, "\n"), strings.Count(string(text), "\n"), "every comment is kept")

	// The keys work and nobody else reads them.
	pem, err := os.ReadFile(c.Mail.DKIMKeyFile)
	require.NoError(t, err)
	signer, err := notify.NewSigner(c.Mail.DKIMDomain, c.Mail.DKIMSelector, pem)
	require.NoError(t, err)
	rec, err := signer.Record()
	require.NoError(t, err)
	require.Contains(t, rec, "v=DKIM1")

	for _, f := range []string{c.Mail.DKIMKeyFile, c.Mail.TokenKeyFile} {
		st, err := os.Stat(f)
		require.NoError(t, err)
		require.Equal(t, os.FileMode(0o600), st.Mode().Perm())
	}
	for _, want := range []string{"wrote  " + path, "check --config " + path + " --dns", "site add",
		"coldseam backup"} {
		require.Contains(t, out.String(), want)
	}

	// Again: nothing is overwritten.
	before := map[string]string{}
	for _, f := range []string{path, c.Mail.DKIMKeyFile, c.Mail.TokenKeyFile} {
		b, err := os.ReadFile(f)
		require.NoError(t, err)
		before[f] = string(b)
	}

	out.Reset()
	require.NoError(t, (&Init{Club: "Another Club"}).Write(s, path, m))
	require.Equal(t, 3, strings.Count(out.String(), "kept "))
	for f, b := range before {
		now, err := os.ReadFile(f)
		require.NoError(t, err)
		require.Equal(t, b, string(now), f)
	}
}

// A package puts the sample in place: init asks and fills it in as long as nobody
// has edited it, and asks nothing afterwards.
func TestInitFillsThePackagesFileInOnce(t *testing.T) {
	t.Parallel()
	path, state := filepath.Join(t.TempDir(), "coldseam.toml"), t.TempDir()
	require.NoError(t, os.WriteFile(path, []byte(sampleTOML), 0o644))
	for _, club := range []string{"Alder Landing Club", "Another Club"} {
		var out bytes.Buffer
		c := Init{Ask: NewAsker(strings.NewReader(club+"\nAmerica/Chicago\n\n"), &out)}
		require.NoError(t, c.Set(t.Context(), &env.Streams{Out: &out, Err: &out}, &env.Globals{Config: path},
			Machine{Root: true, State: state}))
		require.Equal(t, club == "Alder Landing Club", strings.Contains(out.String(), "The club's name"), out.String())
	}

	c, err := config.Load(path)
	require.NoError(t, err)
	require.Equal(t, "Alder Landing Club", c.Club.Name)
	require.Equal(t, "America/Chicago", c.Club.Zone)
}

// What the machine does not say is asked for in the next steps.
func TestInitOnABareMachine(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	path, state := filepath.Join(t.TempDir(), "coldseam.toml"), t.TempDir()
	require.NoError(t, (&Init{Club: `The "Seam" <Club>`}).Write(&env.Streams{Out: &out, Err: &out}, path,
		Machine{host: "box", Root: true, State: state}))
	c, err := config.Load(path)
	require.NoError(t, err)
	require.Equal(t, `The "Seam" <Club>`, c.Club.Name)
	require.Equal(t, state, c.StateDir)
	require.Equal(t, "/var/lib/coldseam", Machine{Root: true}.stateDir())
	require.Contains(t, out.String(), "no full name")
	require.Contains(t, out.String(), "no time zone")
	err = (&Init{Club: "x", Zone: "Mars/Olympus"}).Write(&env.Streams{Out: &out, Err: &out},
		filepath.Join(t.TempDir(), "c.toml"), Machine{})
	require.ErrorContains(t, err, "Mars/Olympus")
}

// The service's user reads the keys that root makes for it, in a directory that
// root makes as well.
func TestInitByRootForAService(t *testing.T) {
	t.Parallel()
	if os.Getuid() != 0 {
		t.Skip("needs root: another's directory")
	}
	const service = 12345
	top := t.TempDir()
	require.NoError(t, os.Chown(top, service, service))
	state := filepath.Join(top, "club", "state")
	var out bytes.Buffer
	require.NoError(t, (&Init{Club: "Alder"}).Write(&env.Streams{Out: &out, Err: &out},
		filepath.Join(t.TempDir(), "coldseam.toml"), Machine{Root: true, State: state}))
	for _, path := range []string{filepath.Dir(state), state, filepath.Join(state, "token.key"), filepath.Join(state, "dkim.key")} {
		st, err := os.Stat(path)
		require.NoError(t, err)
		require.EqualValues(t, service, st.Sys().(*syscall.Stat_t).Uid, path)
	}
}

// Two numbers are a place, however they are parted; other numbers are refused, and
// are no river's name.
func TestPlaceIsTwoNumbers(t *testing.T) {
	t.Parallel()
	for _, s := range []string{"45.3 -92.7", "45.3,-92.7", " 45.3 ,\t-92.7 "} {
		lat, lon, ok := place(s)
		require.True(t, ok, s)
		require.Equal(t, [2]float64{45.3, -92.7}, [2]float64{lat, lon}, s)
	}
	for _, s := range []string{"45,3 -92,7", "45.3", "45.3 -92.7 5", "91 -92.7", "NaN -92.7", "45.3N 92.7W", "45.3;-92.7"} {
		_, _, ok := place(s)
		require.False(t, ok, s)

		var out bytes.Buffer
		c := Init{Club: "Alder", Zone: "UTC", Ask: NewAsker(strings.NewReader(s+"\nlater\n"), &out)}
		c.questions(Machine{})
		if s != "NaN -92.7" { // might be a name; it is no place in any case
			require.Contains(t, out.String(), `"`+s+`" is no place; want two numbers`)
			require.Empty(t, c.first.River, s)
		}
		require.Zero(t, c.first.Lat, s)
	}
}

func TestMachineZone(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	zone := filepath.Join(dir, "zoneinfo", "America", "Chicago")
	require.NoError(t, os.MkdirAll(filepath.Dir(zone), 0o755))
	require.NoError(t, os.WriteFile(zone, nil, 0o600))
	link := filepath.Join(dir, "localtime")
	require.NoError(t, os.Symlink(zone, link))
	require.Equal(t, "America/Chicago", machineZone(link, ""))
	require.Equal(t, "America/Menominee", machineZone(link, ":America/Menominee"))
	require.Equal(t, "America/Chicago", machineZone(link, "/etc/whatever"))
	require.Empty(t, machineZone(filepath.Join(dir, "none"), "Nowhere/Town"))
}

func TestSpacesAreNoName(t *testing.T) {
	t.Parallel()
	for _, club := range []string{"", " ", "\u2007 \t", " \u200b "} {
		require.Equal(t, fillSample(sampleTOML, sampleValues{}), fillSample(sampleTOML, sampleValues{club: club}))
	}
}

// Whatever the club is called, the file can be read and says so.
func TestAnyClubName(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		club := rapid.String().Draw(t, "club")
		c, err := config.Parse("c.toml", fillSample(sampleTOML, sampleValues{club: club, domain: "river.club.net",
			token: "/etc/a \\ b/\"k\".key"}))
		require.NoError(t, err)
		if want := plainText(club); want != "" {
			require.Equal(t, want, c.Club.Name)
		}
		require.Equal(t, "/etc/a \\ b/\"k\".key", c.Mail.TokenKeyFile)
		require.Equal(t, "river.club.net", c.FromDomain(), "%s", c.Mail.From)
	})
}
