package web

import (
	"context"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// browser starts one Chromium for the whole binary; a test without it skips
// and says so, but not in CI.
func browser(t *testing.T) context.Context {
	t.Helper()
	path := os.Getenv("CHROMIUM")
	if path == "" {
		for _, n := range []string{"chromium", "chromium-browser"} {
			if p, err := exec.LookPath(n); err == nil {
				path = p
				break
			}
		}
	}
	if path == "" {
		if os.Getenv("CI") != "" {
			t.Fatal("no chromium in PATH, and CI is set")
		}
		t.Skip("no chromium in PATH: browser test skipped")
	}
	// No timeout on the first call: it would end the whole browser.
	ctx, cancel := chromedp.NewContext(context.Background(), chromedp.WithAllocatorOptions(chromedp.ExecPath(path), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		chromedp.Flag("disable-background-networking", true)))
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Do(ctx))
	bounded, stop := context.WithTimeout(ctx, 85*time.Second)
	t.Cleanup(stop)
	return bounded
}

// device sets width, height and colour scheme: a headless window has a least
// width of its own, so the metrics are set, not the window.
func device(w, h int64, scheme string) chromedp.Action[chromedp.Void] {
	opts := []chromedp.EmulateViewportOption{}
	if w < 600 {
		opts = append(opts, chromedp.EmulateMobile, chromedp.EmulateTouch)
	}
	return chromedp.Steps(chromedp.EmulateViewport(w, h, opts...), chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		return err
	}))
}

// TestShoot writes pictures of all pages for looking at when COLDSEAM_KEEP
// names a folder.
func TestShoot(t *testing.T) {
	dir := os.Getenv("COLDSEAM_KEEP")
	if dir == "" {
		t.Skip("COLDSEAM_KEEP names no folder for pictures")
	}
	ctx := browser(t)
	srv := httptest.NewServer(testHandler(t, newMemory()))
	defer srv.Close()
	for name, p := range paths() {
		for _, d := range []struct {
			w      int64
			scheme string
		}{{360, "light"}, {360, "dark"}, {1280, "light"}} {
			require.NoError(t, chromedp.Do(ctx, device(d.w, 800, d.scheme), chromedp.Navigate(srv.URL+p)), name)
			png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			require.NoError(t, err, name)
			file := name + "-" + map[int64]string{360: "360", 1280: "1280"}[d.w] + "-" + d.scheme + ".png"
			require.NoError(t, os.WriteFile(filepath.Join(dir, file), png, 0o644))
		}
	}
}
