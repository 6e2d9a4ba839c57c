package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
)

func TestUnknownNamesAreAnsweredWithTheKnownOnes(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	ctx := t.Context()
	_, err := (&briefCmd{Site: "ng:nowhere"}).reaches(ctx, v.Parts)
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	require.ErrorContains(t, err, "ng:nowhere")
	require.ErrorContains(t, err, "; there are: ")
	sites, serr := v.DB.Sites(ctx)
	require.NoError(t, serr)
	require.ErrorContains(t, err, string(sites[0].ID))
	_, err = (&briefCmd{Reach: "bend"}).reaches(ctx, v.Parts)
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	require.ErrorContains(t, err, "tamsen-bend")
	require.EqualError(t, err, `reach "bend": not found; there are: brandt-ledge, hallam-sandbar, tamsen-bend`)
}
