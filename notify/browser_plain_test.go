//go:build !race

package notify

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/coldseam/notify/browsertest"
)

// TestInChromium: every kind at phone and desktop width, light and dark.
func TestInChromium(t *testing.T) {
	t.Parallel()
	ctx := browsertest.Start(t, 5*time.Minute)
	srv := serveMails(t, sampleCharts(t))
	least := 99.
	for name := range cases() {
		for _, d := range []struct {
			w      int64
			scheme string
		}{{320, "light"}, {360, "dark"}, {768, "dark"}, {1280, "light"}} {
			require.NoError(t, chromedp.Do(ctx, browsertest.Device(d.w, 800, "screen", d.scheme),
				chromedp.Navigate(srv.URL+"/"+name)), name)
			f, err := chromedp.Run(ctx, chromedp.Evaluate[findings](probe))
			require.NoError(t, err, name)
			require.Empty(t, f.Bad, "%s at %d %s", name, d.w, d.scheme)
			least = min(least, f.Least)
			if d.w != 360 || name == "four_rivers" { // whose board stands on top
				continue
			}
			px, err := chromedp.Run(ctx, chromedp.Evaluate[[]float64](`['Stops', 'Care', 'Jig'].map(l => Math.max(0,
			  ...[...document.querySelectorAll('th')].filter(e => e.textContent === l).map(e => e.getBoundingClientRect().bottom)))
			  .concat(document.documentElement.scrollHeight)`))
			require.NoError(t, err, name)
			require.LessOrEqual(t, max(px[0], px[1], px[2]), 640., "%s: stops, care and weight without scrolling", name)
			most := 2200.
			if name == "toss_up" { // a caution or two more, and why
				most = 2400
			}
			require.LessOrEqual(t, px[3], most, "%s: height of the mail", name)
			t.Logf("%s: weight ends at %.0f of %.0f px", name, px[2], px[3])
		}
	}
	t.Logf("lowest text contrast %.2f", least)

	// Paper: black on white although the screen is dark, the frames differ.
	for name, want := range map[string]string{"go_day": "solid", "stop": "double", "no_call": "dashed"} {
		require.NoError(t, chromedp.Do(ctx, browsertest.Device(720, 800, "print", "dark"),
			chromedp.Navigate(srv.URL+"/"+name)))
		got, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(() => {
		  const bg = getComputedStyle(document.body).backgroundColor;
		  const ink = [...document.querySelectorAll('h1,p,td.i,th')].filter(e => e.textContent.trim() && e.getClientRects().length)
		    .map(e => getComputedStyle(e).color).filter(c => c !== 'rgb(0, 0, 0)').length;
		  const box = document.querySelector('td.go,table.sl,td.e');
		  return bg + ' ' + ink + ' ' + getComputedStyle(box).borderTopStyle;
		})()`))
		require.NoError(t, err)
		require.Equal(t, "rgb(255, 255, 255) 0 "+want, got, name)
	}
}

// TestAxe: axe-core finds nothing in any kind of mail, light and dark.
func TestAxe(t *testing.T) {
	t.Parallel()
	axe := browsertest.Axe(t)
	ctx := browsertest.Start(t, 5*time.Minute)
	srv := serveMails(t, sampleCharts(t))
	for name := range cases() {
		for _, scheme := range []string{"light", "dark"} {
			require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 800, "screen", scheme), chromedp.Navigate(srv.URL+"/"+name)))
			assert.Empty(t, axe(ctx), "%s, %s", name, scheme)
		}
	}
}
