package env

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestNamesInAnError(t *testing.T) {
	t.Parallel()
	none := func() ([]string, error) { return nil, nil }
	require.ErrorContains(t, unknown(coldseam.ErrNotFound, none), "none yet: coldseam site add")
	many := make([]string, 20)
	err := unknown(coldseam.ErrNotFound, func() ([]string, error) { return many, nil })
	require.ErrorContains(t, err, "and 8 more")
	err = unknown(coldseam.ErrUnavailable, func() ([]string, error) { t.Fatal("not asked"); return nil, nil })
	require.Equal(t, coldseam.ErrUnavailable, err)
}
