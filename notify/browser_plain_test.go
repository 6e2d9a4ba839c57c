//go:build !race

package notify

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"
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
