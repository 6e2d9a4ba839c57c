package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestUnknownNamesAreAnsweredWithTheKnownOnes(t *testing.T) {
	t.Parallel()
	v := newTown(t, nil)
	ctx := t.Context()
	_, err := (&briefCmd{Site: "ng:nowhere"}).reaches(ctx, v.app)
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	require.ErrorContains(t, err, "ng:nowhere")
	require.ErrorContains(t, err, "; there are: ")
	sites, serr := v.db.Sites(ctx)
	require.NoError(t, serr)
	require.ErrorContains(t, err, string(sites[0].ID))
	_, err = (&briefCmd{Reach: "bend"}).reaches(ctx, v.app)
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	require.ErrorContains(t, err, "tamsen-bend")
	require.EqualError(t, err, `reach "bend": not found; there are: brandt-ledge, hallam-sandbar, tamsen-bend`)

	none := func() ([]string, error) { return nil, nil }
	require.ErrorContains(t, unknown(coldseam.ErrNotFound, none), "none yet: coldseam site add")
	many := make([]string, 20)
	err = unknown(coldseam.ErrNotFound, func() ([]string, error) { return many, nil })
	require.ErrorContains(t, err, "and 8 more")
	err = unknown(coldseam.ErrUnavailable, func() ([]string, error) { t.Fatal("not asked"); return nil, nil })
	require.Equal(t, coldseam.ErrUnavailable, err)
}
