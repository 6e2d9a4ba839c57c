//go:build !race

package setup

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
)

// The last seasons are replayed with models that had not seen them.
func TestSiteAddReplaysTheLastSeasons(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := newEmptyTown(t)
	var out bytes.Buffer
	day := coldseam.Date{Year: 2025, Month: time.February, Day: 1}
	c := &siteAddCmd{Lat: 45.29, Lon: -92.66, RadiusKM: 40, Years: 3, Code: "NG-1001", Name: "bend", DryRun: true,
		seasons: [][2]coldseam.Date{{day, day.Add(1)}, {day.Add(2), day.Add(2)}}}
	require.NoError(t, c.add(ctx, &out, v.Parts))
	require.Contains(t, out.String(), "tamsen-bend, 2025-02-01 to 2025-02-02, each morning by what was known then")
	require.Contains(t, out.String(), "tamsen-bend, 2025-02-03 to 2025-02-03, each morning by what was known then")
	require.Contains(t, out.String(), "assumed: one deep hole")
	require.Equal(t, 2, strings.Count(out.String(), "this would have said GO on "))
}

// An import that adds to the record of a reach asks for its page anew, and not for
// that of other reaches.
func TestImportRenewsThePage(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	file := filepath.Join(t.TempDir(), "record.csv")
	require.NoError(t, os.WriteFile(file, []byte("date,flow_m3s\n2009-03-07,12.5\n2009-03-08,13.5\n"), 0o600))
	asked := func(dry bool) int {
		c := &Import{Files: []string{file}, Site: "northgauge:NG-1001", Zone: "America/Chicago", DryRun: dry}
		var out bytes.Buffer
		require.NoError(t, c.files(t.Context(), &out, &env.Globals{}, v.Parts), out.String())
		return v.Count(t, `SELECT count(*) FROM river.river_job WHERE kind = 'seasons' AND args ->> 'reach' = 'tamsen-bend'`)
	}
	require.Zero(t, asked(true))
	require.Equal(t, 1, asked(false))
	require.Equal(t, 1, asked(false), "nothing new")
	require.Equal(t, 1, v.Count(t, `SELECT count(*) FROM river.river_job WHERE kind = 'seasons'`))
}
