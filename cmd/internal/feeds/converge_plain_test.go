//go:build !race

package feeds_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/detect"
	"example.org/coldseam/store/storetest"
)

// Any order of new, repeated, late, revised and back-filled documents leaves
// the same table in a real database, quality flags of the first rows included.
func TestAnyOrderOfDocumentsSameTable(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	now := time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)
	site, steps := 0, 0

	rapid.Check(t, func(rt *rapid.T) {
		site++
		m := &shelfMachine{
			ctx:  t.Context(),
			p:    ingest.Profile{Name: "tamsen"}.WithDefaults(),
			site: fmt.Sprintf("TM-%d", site),
			now:  now,
			lim:  ingest.SiteLimits{Step: shelfStep},
		}
		m.f = &ingest.Fetcher{
			Now:    func() time.Time { return now.Add(env.Day) },
			Parse:  detect.Parse,
			Sink:   db,
			Recent: db.Neighbours,
			Limits: func(coldseam.SiteID) ingest.SiteLimits { return m.lim },
		}
		require.NoError(rt, db.PutSite(t.Context(), coldseam.Site{
			ID:       coldseam.SiteID("tamsen:" + m.site),
			Provider: "tamsen",
			Code:     m.site,
			Zone:     "UTC",
		}))

		stored := func(k coldseam.SeriesKey) []coldseam.Observation {
			obs, err := db.Neighbours(t.Context(), k, now.AddDate(-1, 0, 0), now)
			require.NoError(rt, err)
			return obs
		}
		rt.Repeat(map[string]func(*rapid.T){
			"fresh": m.fresh, "again": m.again,
			"": func(t *rapid.T) { m.check(t, stored) },
		})
		steps += m.n
	})

	t.Logf("%d documents delivered to %d gauges", steps, site)
}
