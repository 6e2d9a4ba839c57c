//go:build !race

package setup

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
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
