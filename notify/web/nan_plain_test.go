//go:build !race

package web

import (
	"math"
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/notify/chart"
)

// TestNoNumberIsPrintedThatIsNone: briefs whose every number is broken still
// make pages, calendars and pictures, and none of them shows it.
func TestNoNumberIsPrintedThatIsNone(t *testing.T) {
	t.Parallel()

	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1} {
		m := newMemory()
		bend(reflect.ValueOf(&m.briefs).Elem(), x)
		h := testHandler(t, m)
		all := paths()
		all["calendar"] = "/river/tamsen-bend/calendar.ics"

		for name, p := range all {
			w := get(h, p)
			require.Less(t, w.Code, 500, "%s with %g", name, x)
			for _, bad := range []string{"NaN", "+Inf", "-Inf", "∞", "%!", "e+"} {
				require.NotContains(t, w.Body.String(), bad, "%s with %g", name, x)
			}
		}

		for _, b := range m.briefs {
			_, err := chart.MailPNG(b, "us") // an error is fine, a panic is not
			_ = err
		}
	}
}
