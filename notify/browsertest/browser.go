// Package browsertest starts the Chromium in which tests look at mails and
// pages. No program imports it.
package browsertest

import (
	"context"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// Start starts one Chromium that ends with the test, or after limit. Without a
// browser the test skips and says so, but not in CI. club.example is this
// machine.
func Start(t *testing.T, limit time.Duration) context.Context {
	t.Helper()
	path := os.Getenv("CHROMIUM")
	for _, n := range []string{"chromium", "chromium-browser"} {
		if p, err := exec.LookPath(n); path == "" && err == nil {
			path = p
		}
	}

	if path == "" {
		if os.Getenv("CI") != "" {
			t.Fatal("no chromium in PATH, and CI is set")
		}
		t.Skip("no chromium in PATH: browser test skipped")
	}

	ctx, cancel := chromedp.NewContext(context.Background(), chromedp.WithAllocatorOptions(chromedp.ExecPath(path),
		chromedp.Headless, chromedp.NoSandbox,
		chromedp.DisableGPU, chromedp.NoFirstRun, chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("host-resolver-rules", "MAP club.example 127.0.0.1")))
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Do(ctx)) // no timeout on the first call: it would end the whole browser
	bounded, stop := context.WithTimeout(ctx, limit)
	t.Cleanup(stop)
	return bounded
}

// Device sets width, height, medium ("" = screen) and colour scheme: a headless
// window has a least width of its own, so the metrics are set, not the window.
func Device(w, h int64, medium, scheme string) chromedp.Action[chromedp.Void] {
	opts := []chromedp.EmulateViewportOption{}
	if w < 600 {
		opts = append(opts, chromedp.EmulateMobile, chromedp.EmulateTouch)
	}
	return chromedp.Steps(chromedp.EmulateViewport(w, h, opts...), Media(medium, scheme))
}

// Media sets the medium ("" = screen) and the colour scheme.
func Media(medium, scheme string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: medium,
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		return err
	})
}

// Offline cuts the page and its service worker off from every network, or ends
// that.
func Offline(off bool) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		p := network.EmulateNetworkConditionsByRuleParams{EmulateOfflineServiceWorker: &off,
			MatchedNetworkConditions: []*network.Conditions{}}
		if off {
			p.MatchedNetworkConditions = append(p.MatchedNetworkConditions, &network.Conditions{Offline: true,
				DownloadThroughput: -1, UploadThroughput: -1})
		}
		_, err := cdp.Call(ctx, t, network.EmulateNetworkConditionsByRule, p)
		return err
	})
}

// CutOff is run in a page and lists what a reader cannot see: a page wider than its
// medium, words outside it, on paper a table that runs out, on a screen one that
// scrolls without an edge to tell of it or without the keyboard.
const CutOff = `(() => {
  const bad = [], wide = document.documentElement.clientWidth, paper = matchMedia('print').matches;
  if (document.documentElement.scrollWidth > wide) bad.push('page ' + document.documentElement.scrollWidth + ' in ' + wide);
  for (const e of document.querySelectorAll('main *, footer *')) {
    const r = e.getBoundingClientRect();
    if (!r.width || e.children.length || e.closest('svg') || !paper && e.closest('.scroll')) continue;
    if (r.right > wide + 1 || r.left < -1) bad.push('cut: ' + e.textContent.trim().slice(0, 30) + ' ' + r.right.toFixed(0) + ' in ' + wide);
  }
  for (const e of document.querySelectorAll('.scroll')) {
    if (paper || e.scrollWidth <= e.clientWidth) continue;
    if (getComputedStyle(e).backgroundImage === 'none') bad.push('no edge: ' + e.getAttribute('aria-label'));
    if (e.tabIndex !== 0 || !e.getAttribute('aria-label')) bad.push('not for the keyboard: ' + e.textContent.trim().slice(0, 30));
  }
  for (const r of document.styleSheets[0].cssRules) if (/transition|animation/.test(r.cssText)) bad.push('moves: ' + r.cssText.slice(0, 40));
  return bad;
})()`
