package feeds

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/ingest"
	"example.org/coldseam/store"
)

// Records of series are told from their rows by the address: a replay reads
// them first.
func TestReplayKnowsTheRecordsOfSeries(t *testing.T) {
	t.Parallel()
	a := &Feeds{Fetcher: &ingest.Fetcher{Profiles: []ingest.Profile{
		{Name: "us", Endpoints: map[string]ingest.Endpoint{"metadata": {Path: "/collections/series/items"},
			"latest": {Path: "/collections/latest/items"}}}, {Name: "plain"}}}}
	for url, want := range map[string]bool{"https://us.example/collections/series/items?site=1": true,
		"https://us.example/collections/latest/items?site=1": false} {
		require.Equal(t, want, a.ranks(store.FetchRecord{Profile: "us", URL: url}), url)
		require.False(t, a.ranks(store.FetchRecord{Profile: "plain", URL: url}))
		require.False(t, a.ranks(store.FetchRecord{Profile: "gone", URL: url}))
	}
}
