package ensemble

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestClimateShare(t *testing.T) {
	t.Parallel()
	s := ClimateShare(4)
	n := 0
	for i := range 100 {
		if s.Keep(i, 10, 3) < 1 {
			n++
			require.Less(t, s.Keep(i, 10, 3), s.Keep(i, 1, 3))
		}
		require.InDelta(t, 1, s.Keep(i, 10, 1), 0, "one year is no climatology")
	}
	require.Equal(t, 25, n)
	require.Equal(t, []float64{.75, .25}, s.Weights(3))
	require.Equal(t, []float64{1, 0}, s.Weights(1))
}
