//go:build !race

package ingest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestPlanLongLists(t *testing.T) {
	t.Parallel()
	var sites []string
	for i := range 1200 {
		sites = append(sites, fmt.Sprintf("NG-%08d", i))
	}
	p := Profile{BaseURL: "https://g.example", Query: map[string]string{"id": "{sites}"}}.WithDefaults()
	calls, err := p.plan(Request{Sites: sites}, t0)
	require.NoError(t, err)
	var got []string
	for _, c := range calls {
		require.LessOrEqual(t, len(c.url), DefaultMaxURLBytes)
		got = append(got, strings.Split(strings.TrimPrefix(c.url, "https://g.example?id="), "%2C")...)
	}

	require.Equal(t, sites, got)
	p.MaxURLBytes = 20
	_, err = p.plan(Request{Sites: sites[:1]}, t0)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "max_url_bytes")
}
