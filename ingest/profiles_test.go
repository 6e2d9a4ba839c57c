package ingest_test

import (
	"testing"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
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
	md, err := toml.DecodeFile("../deploy/profiles.toml", &c)
	require.NoError(t, err)
	require.Empty(t, md.Undecoded())
	require.Len(t, c.Profile, 7)
	names := map[string]bool{}
	for _, p := range c.Profile {
		require.NoError(t, p.Check(), p.Name)
		require.NotEmpty(t, p.Licence, p.Name)
		require.NotEmpty(t, p.Attribution, p.Name)
		require.False(t, names[p.Name])
		names[p.Name] = true
		require.LessOrEqual(t, int64(max(p.PageLimit, ingest.DefaultPageLimit))*450, int64(ingest.DefaultMaxBody), "a page fits the cap of the body")
		require.Greater(t, time.Duration(p.MaxAge), time.Duration(p.Poll), p.Name)
	}
	us := c.Profile[0]
	require.Equal(t, ingest.Span(365*24*time.Hour), us.Endpoints["history"].MaxWindow)
	require.Equal(t, "discharge", us.Parameters["00060"])
	require.Equal(t, coldseam.SiteID("USGS:USGS-01"), us.SiteID("USGS-01"))
}
