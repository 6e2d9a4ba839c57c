package ingest_test

import (
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/records"
	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/require"
)

// The shipped profiles name no unknown key, pass their own check, and every
// endpoint makes an address.
func TestShippedProfiles(t *testing.T) {
	t.Parallel()
	var c struct {
		Profile []ingest.Profile `toml:"profile"`
	}
	text, err := os.ReadFile("../deploy/profiles.toml")
	require.NoError(t, err)
	md, err := toml.Decode(string(text), &c)
	require.NoError(t, err)
	reference, _, ok := strings.Cut(string(text), "[[profile]]")
	require.True(t, ok)

	for f := range reflect.TypeFor[ingest.Profile]().Fields() {
		if key := f.Tag.Get("toml"); key != "-" {
			require.Contains(t, reference, key, "the reference names every key")
		}
	}

	require.Empty(t, md.Undecoded())
	require.Len(t, c.Profile, 13)
	names := map[string]bool{}
	for _, p := range c.Profile {
		require.NoError(t, p.Check(), p.Name)
		require.NoError(t, records.Check(p), p.Name)
		require.NotEmpty(t, p.Licence, p.Name)
		require.NotEmpty(t, p.Attribution, p.Name)
		require.False(t, names[p.Name])
		names[p.Name] = true
		require.LessOrEqual(t, int64(max(p.PageLimit, ingest.DefaultPageLimit))*450, int64(ingest.DefaultMaxBody),
			"a page fits the cap of the body")
		require.Greater(t, time.Duration(p.MaxAge), time.Duration(p.Poll), p.Name)
	}

	us := c.Profile[0]
	require.Equal(t, ingest.Span(365*24*time.Hour), us.Endpoints["history"].MaxWindow)
	require.Equal(t, "discharge", us.Parameters["00060"])
	require.Equal(t, coldseam.SiteID("USGS:USGS-01"), us.SiteID("USGS-01"))
}
