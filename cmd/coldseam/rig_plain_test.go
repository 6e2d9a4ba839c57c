//go:build !race

package main

import (
	"bytes"
	"image/png"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/store"
)

func TestRigChart(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "rig.png")
	_, err := runRig(t, &fakeRig{}, "--site", "tamsen", "--spot", "main-seam", "--chart", file)
	require.NoError(t, err)
	b, err := os.ReadFile(file)
	require.NoError(t, err)
	img, err := png.Decode(bytes.NewReader(b))
	require.NoError(t, err)
	require.Greater(t, img.Bounds().Dx(), 400)
}

// The real path: logs go into the database and come back as a surer weight.
func TestRigOnStoredRivers(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	v.Clock.Forward(democlub.Start.Add(5 * time.Minute)) // past the making of the ready town
	r := rigApp{v.Parts}
	slim := coldseam.Preferences{Body: "slim", Line: "braid-0.14", Metal: "lead", Presentation: "quartering"}
	before, err := r.Morning(t.Context(), "tamsen-bend", "seam", slim, nil)
	require.NoError(t, err)
	require.Empty(t, before.Jig.Withheld)
	require.Positive(t, before.Jig.TieOz)
	require.NotEmpty(t, before.Members)
	require.False(t, before.Jig.Calibrated)
	require.Equal(t, clubtest.Saturday, before.Day)

	log := store.RigLog{
		Spot:         "seam",
		Body:         "slim",
		Line:         "braid-0.14",
		Presentation: "quartering",
		WeightOz:     before.Jig.TieOz,
		Held:         true,
	}
	for i, at := range []string{"2026-04-14 07:30", "2026-04-15 07:30", "2026-04-16 07:30", "2026-04-17 07:30"} {
		if i == 3 {
			log.WeightOz, log.Held = before.Jig.TieOz/2, false
		}
		added, err := r.AddLog(t.Context(), "tamsen-bend", log, at)
		require.NoError(t, err)
		require.True(t, added)
	}

	added, err := r.AddLog(t.Context(), "tamsen-bend", log, "2026-04-17 07:30")
	require.NoError(t, err)
	require.False(t, added, "the same log again changes nothing")
	after, err := r.Morning(t.Context(), "tamsen-bend", "seam", slim, nil)
	require.NoError(t, err)
	require.True(t, after.Jig.Calibrated)
	require.Equal(t, 4, after.Jig.Logs)
	require.Less(t, after.Jig.ModelLnSD, before.Jig.ModelLnSD)

	_, err = r.AddLog(t.Context(), "tamsen-bend", log, "2026-04-19 07:30")
	require.ErrorContains(t, err, "still to come")
	_, err = r.Morning(t.Context(), "tamsen-bend", "attic", slim, nil)
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	require.ErrorContains(t, err, "seam, hole, dunes")
	_, err = r.Morning(t.Context(), "nile", "seam", slim, nil)
	require.ErrorContains(t, err, "tamsen-bend")
}
