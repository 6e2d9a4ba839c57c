//go:build !race

package web

import (
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam/notify/brieftest"
)

// TestAnyForm posts nasty values in every field: the answer is a page, never a
// fault of ours, and what is stored is clean.
func TestAnyForm(t *testing.T) {
	t.Parallel()
	fields := map[string][]string{
		paths()["log"]: {"a", "fish", "hours", "anglers", "lines", "start", "spot", "weight", "held", "held_at",
			"because", "presentation", "body", "line", "angle", "first", "looked", "ripe", "spent", "released", "water",
			"water_at", "clarity", "night", "note"},
		paths()["prefs"]: {"reach", "send_at", "zone", "window_from", "window_to", "day", "cost", "presentation",
			"line", "body", "metal", "box", "species", "units", "flip", "outlook", "book"},
		"/signup": {"email", "reach", "send_at", "cost", "units"},
	}

	rapid.Check(t, func(t *rapid.T) {
		m := newMemory()
		cfg := testConfig(m)
		cfg.Limits.SignUpsPerHour = 1e6
		h, err := New(cfg)
		require.NoError(t, err)

		for path, names := range fields {
			v := url.Values{"a": {"none"}, "hours": {"3"}, "reach": {"tamsen-bend"}, "send_at": {"04:55"},
				"zone": {brieftest.Zone}, "day": {"6"}, "email": {"x@example.org"}}
			for range rapid.IntRange(1, 4).Draw(t, "bent") {
				v.Set(rapid.SampledFrom(names).Draw(t, "field"), nasty().Draw(t, "value"))
			}
			w := post(h, path, v)
			require.Contains(t, []int{200, 413, 422}, w.Code, "%s %q", path, v)
		}

		for _, tr := range m.trips {
			oneLine(t, tr.Note)
			require.True(t, tr.Hours > 0 && tr.Hours <= 24 || tr.WentNot)
			require.True(t, tr.Fish >= 0 && tr.Fish <= 500 && tr.Ripe+tr.Spent <= tr.LookedAt)
		}

		for _, s := range m.subs {
			oneLine(t, s.Email)
			for _, x := range []string{s.Prefs.Zone, s.Prefs.SendAt, s.Prefs.Line, s.Prefs.Body, s.Prefs.Units,
				s.Prefs.Species} {
				oneLine(t, x)
			}
		}
	})
}
