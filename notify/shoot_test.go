package notify

import (
	"encoding/base64"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
	"example.org/coldseam/notify/browsertest"
	"example.org/coldseam/notify/chart"
)

// sampleCharts draws the pictures of the invented rivers for the briefs of the
// tests, once.
func sampleCharts(t testing.TB) map[coldseam.ReachID][]byte {
	t.Helper()
	require.NotEmpty(t, drawn())
	return maps.Clone(drawn())
}

var drawn = sync.OnceValue(func() map[coldseam.ReachID][]byte {
	out := map[coldseam.ReachID][]byte{}
	for _, b := range brieftest.All() {
		if b.Verdict == coldseam.NoCall {
			continue
		}
		raw, err := chart.MailPNG(b, "us")
		if err != nil {
			return nil
		}
		switch b.Verdict {
		case coldseam.Go:
			out["tamsen-bend"] = raw
		case coldseam.Stop:
			out["brandt-lower"] = raw
		default:
			out["hallam-sandbar"] = raw
		}
	}
	return out
})

// shown is the HTML part as a reader shows it: cid pictures put in place.
func shown(t testing.TB, l coldseam.OutboxMessage, charts map[coldseam.ReachID][]byte) string {
	t.Helper()
	ct, err := ParseContent(l.Payload)
	require.NoError(t, err)
	v := composer().view(l, ct, charts, fullBlocks)
	_, html, err := renderParts(v)
	require.NoError(t, err)
	for _, b := range v.Blocks {
		if b.CID != "" {
			html = strings.ReplaceAll(html, "cid:"+b.CID, "data:image/png;base64,"+base64.StdEncoding.EncodeToString(
				charts[b.Brief.Reach]))
		}
	}
	return html
}

func serveMails(t testing.TB, charts map[coldseam.ReachID][]byte) *httptest.Server {
	t.Helper()
	all := map[string]string{}
	for name, l := range cases() {
		all["/"+name] = shown(t, l, charts)
	}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = w.Write([]byte(all[r.URL.Path]))
	}))
	t.Cleanup(srv.Close)
	return srv
}

// TestShoot writes pictures of all mails for looking at when COLDSEAM_KEEP
// names a folder.
func TestShoot(t *testing.T) {
	dir := os.Getenv("COLDSEAM_KEEP")
	if dir == "" {
		t.Skip("COLDSEAM_KEEP names no folder for pictures")
	}
	ctx := browsertest.Start(t, 5*time.Minute)
	srv := serveMails(t, sampleCharts(t))
	for name := range cases() {
		for _, scheme := range []string{"light", "dark"} {
			require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 800, "screen", scheme),
				chromedp.Navigate(srv.URL+"/"+name)), name)
			png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			require.NoError(t, err, name)
			require.NoError(t, os.WriteFile(filepath.Join(dir, "letter-"+name+"-"+scheme+".png"), png, 0o644))
		}
	}
}

// TestPictures makes the pictures of the README when COLDSEAM_PICTURES names their
// folder: the mail as a phone shows it.
func TestPictures(t *testing.T) {
	dir := os.Getenv("COLDSEAM_PICTURES")
	if dir == "" {
		t.Skip("COLDSEAM_PICTURES names no folder")
	}
	ctx := browsertest.Start(t, 5*time.Minute)
	srv := serveMails(t, sampleCharts(t))
	require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 760, "screen", "light"),
		chromedp.Navigate(srv.URL+"/go_day")))
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "mail.png"), png, 0o644))
}
