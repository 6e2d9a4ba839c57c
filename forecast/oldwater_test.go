package forecast

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestNoRunSouthOfTheEquator: the run clock counts from 1 January into the
// northern spring; a southern reach is told that it has none.
func TestNoRunSouthOfTheEquator(t *testing.T) {
	t.Parallel()
	f := river()
	f.Reach.Lat = -45
	b := Make(f).Brief
	require.False(t, b.Run.Active)
	require.Equal(t, "south", b.Run.Why)
}

// TestOldWaterIsNotTodays: a thermometer that fell silent weeks ago is told with
// its date, not as today's water.
func TestOldWaterIsNotTodays(t *testing.T) {
	t.Parallel()
	f := river()
	for i := range f.Water {
		f.Water[i].At = f.Water[i].At.AddDate(0, 0, -40)
	}
	b := Make(f).Brief
	require.False(t, b.Temp.NowOK)
	require.False(t, b.Temp.NowAt.IsZero())
	require.Equal(t, "life_jacket_unknown", b.Life.Code)
}
