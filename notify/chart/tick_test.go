package chart

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestTicks: whatever the range, three or four values, but for ranges so small
// that numbers run out of digits.
func TestTicks(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(0, 5e4).Draw(t, "lo")
		fr := frame{lo: lo, hi: lo + rapid.Float64Range(.5, 5e4).Draw(t, "span"), h: 170}
		got := ticks(fr)
		require.GreaterOrEqual(t, len(got), 2)
		require.LessOrEqual(t, len(got), 5)
		for i := 1; i < len(got); i++ {
			require.Less(t, got[i].Y, got[i-1].Y)
			require.NotEqual(t, got[i].Label, got[i-1].Label)
		}
	})
}
