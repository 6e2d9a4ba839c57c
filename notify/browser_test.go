package notify

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"example.org/coldseam/notify/browsertest"
)

// probe measures in the browser: contrast of every text against its ground,
// width, tap targets.
const probe = `(() => {
  const bad = [];
  const rgb = s => { const m = s.match(/[\d.]+/g).map(Number); return m.length < 4 || m[3] > 0 ? m : null; };
  const lum = c => { const f = v => { v /= 255; return v <= .03928 ? v / 12.92 : Math.pow((v + .055) / 1.055, 2.4); };
    return .2126 * f(c[0]) + .7152 * f(c[1]) + .0722 * f(c[2]); };
  const ground = e => { for (; e; e = e.parentElement) { const c = rgb(getComputedStyle(e).backgroundColor); if (c) return lum(c); } return 1; };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let least = 99;
  for (let n; n = walk.nextNode();) {
    const e = n.parentElement;
    if (!n.data.trim() || !e.getClientRects().length) continue;
    const a = lum(rgb(getComputedStyle(e).color)), b = ground(e), r = (Math.max(a, b) + .05) / (Math.min(a, b) + .05);
    least = Math.min(least, r);
    if (r < 4.5) bad.push('contrast ' + r.toFixed(2) + ': ' + n.data.trim().slice(0, 40));
  }
  for (const e of document.querySelectorAll('a.e')) {
    const r = e.getBoundingClientRect();
    if (r.height < 43.9) bad.push('target ' + r.height + ': ' + e.textContent);
  }
  if (document.documentElement.scrollWidth > innerWidth) bad.push('width ' + document.documentElement.scrollWidth + ' of ' + innerWidth);
  return {Least: least, Bad: bad};
})()`

type findings struct {
	Least float64
	Bad   []string
}

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
