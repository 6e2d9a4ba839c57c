package web

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
	"example.org/coldseam/notify/browsertest"
)

// probe is run in the page. It returns what a reader would stumble over:
// text under 4.5 to 1 against its ground, targets under 44 px outside running
// text, chart words that overlap, a page wider than the window.
const probe = `(() => {
  const bad = [];
  const lum = c => { const f = v => { v /= 255; return v <= .03928 ? v / 12.92 : Math.pow((v + .055) / 1.055, 2.4) }; return .2126 * f(c[0]) + .7152 * f(c[1]) + .0722 * f(c[2]) };
  const rgb = s => { const m = s.match(/[\d.]+/g).map(Number); return m.length > 3 && m[3] === 0 ? null : m };
  const ground = e => { for (; e; e = e.parentElement) { const c = rgb(getComputedStyle(e).backgroundColor); if (c) return c } return [255, 255, 255] };
  const seen = e => { const r = e.getBoundingClientRect(); return r.width > 0 && r.height > 0 && getComputedStyle(e).visibility !== 'hidden' };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let texts = 0, least = 99;
  for (let n; n = walk.nextNode();) {
    const e = n.parentElement;
    if (!n.data.trim() || !seen(e) || e.closest('title,desc,option,datalist')) continue;
    if (e.closest('.skip')) continue;
    texts++;
    const svg = e.closest('svg');
    const c = rgb(svg ? getComputedStyle(e).fill : getComputedStyle(e).color), g = ground(svg ? svg.parentElement : e);
    const a = lum(c), b = lum(g), r = (Math.max(a, b) + .05) / (Math.min(a, b) + .05);
    least = Math.min(least, r);
    if (r < 4.5) bad.push('contrast ' + r.toFixed(2) + ': ' + n.data.trim().slice(0, 40));
  }
  for (const e of document.querySelectorAll('input:not([type=radio]):not([type=checkbox]),select,textarea')) {
    const a = lum(rgb(getComputedStyle(e).color)), b = lum(ground(e)), r = (Math.max(a, b) + .05) / (Math.min(a, b) + .05);
    if (seen(e) && r < 4.5) bad.push('contrast of field ' + e.name);
  }
  for (const e of document.querySelectorAll('a,button,select,textarea,summary,input')) {
    if (!seen(e) || e.closest('.skip,footer')) continue;
    let t = e;
    if (e.matches('[type=radio],[type=checkbox]')) t = e.closest('label');
    if (e.matches('a') && [...e.parentElement.childNodes].some(n => n.nodeType === 3 && n.data.trim())) continue;
    const r = t.getBoundingClientRect();
    if (r.height < 43.9 || r.width < 43.9) bad.push('target ' + r.width.toFixed(0) + 'x' + r.height.toFixed(0) + ': ' + (e.textContent.trim() || e.name).slice(0, 30));
  }
  for (const s of document.querySelectorAll('svg.chart,svg.clock')) {
    const ts = [...s.querySelectorAll('text')].filter(seen).map(t => [t.getBoundingClientRect(), t.textContent]);
    for (let i = 0; i < ts.length; i++) for (let k = i + 1; k < ts.length; k++) {
      const [a, x] = ts[i], [b, y] = ts[k];
      if (a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 3 && b.top < a.bottom - 3) bad.push('words overlap: ' + x + ' / ' + y);
    }
    for (const [r, x] of ts) if (r.right > innerWidth + 1 || r.left < -1) bad.push('words leave the window: ' + x);
  }
  if (document.documentElement.scrollWidth !== innerWidth) bad.push('page is ' + document.documentElement.scrollWidth + ' wide in ' + innerWidth);
  if (document.styleSheets.length !== 1 || document.styleSheets[0].cssRules.length < 50) bad.push('style sheet is missing');
  return {Bad: bad, Texts: texts, Least: least};
})()`

type findings struct {
	Bad   []string
	Texts int
	Least float64
}

// printed checks paper: black on white although the screen is dark, few pages,
// caution included.
func printed(ctx context.Context, t *testing.T, base string) {
	require.NoError(t, chromedp.Do(ctx, browsertest.Device(1280, 800, "", "dark")))
	for page, most := range map[string]int{"go": 2, "stop": 2, "season": 1, "board": 1, "card": 2} {
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(base+withCards()[page])))
		pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4),
			chromedp.PDFPreferCSSPageSize()))
		require.NoError(t, err)
		if dir := os.Getenv("COLDSEAM_KEEP"); dir != "" {
			require.NoError(t, os.WriteFile(filepath.Join(dir, page+".pdf"), pdf, 0o644))
		}
		n := len(regexp.MustCompile(`/Type ?/Page[^s]`).FindAll(pdf, -1))
		require.Positive(t, n)
		require.LessOrEqual(t, n, most, page)
		require.NoError(t, chromedp.Do(ctx, browsertest.Media("print", "dark")))
		got, err := chromedp.Run(ctx,
			chromedp.Evaluate[string](
				`[getComputedStyle(document.body).backgroundColor, getComputedStyle(document.body).color, document.querySelector('footer.caution').getBoundingClientRect().height > 20].join(' ')`))
		require.NoError(t, err)
		require.Equal(t, "rgb(255, 255, 255) rgb(0, 0, 0) true", got, page)
		require.NoError(t, chromedp.Do(ctx, browsertest.Media("", "dark")))
	}
}

// hostile serves pages full of scripts; none of them runs and nothing is
// fetched from elsewhere.
func hostile(ctx context.Context, t *testing.T) {
	var foreign atomic.Int64
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { foreign.Add(1) }))
	defer other.Close()
	all := ""
	for _, s := range corpus() {
		all += strings.ReplaceAll(strings.ReplaceAll(s, "alert(", "window.pwned=("), "https://evil.example",
			other.URL) + " "
	}
	all += `<script>window.pwned=3</script><img src=` + other.URL + `/x onerror=window.pwned=4>`
	srv := httptest.NewServer(testHandler(t, poisoned(all)))
	defer srv.Close()

	require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 800, "", "light")))
	for name, p := range paths() {
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(srv.URL+p)))
		got, err := chromedp.Run(ctx,
			chromedp.Evaluate[string](
				`String(window.pwned) + document.querySelectorAll('script,img,form[action^=http]').length`))
		require.NoError(t, err)
		require.Equal(t, "undefined0", got, name)
	}

	// The policy itself, should a text ever slip through.
	blocked, err := chromedp.Run(ctx,
		chromedp.Evaluate[string](
			`(() => { const s = document.createElement('script'); s.textContent = 'window.pwned=5'; document.body.append(s); const i = new Image(); i.src = '`+other.URL+`/y'; document.body.setAttribute('onclick', 'window.pwned=6'); document.body.click(); return String(window.pwned) })()`))
	require.NoError(t, err)
	require.Equal(t, "undefined", blocked)
	require.Zero(t, foreign.Load(), "nothing was fetched from elsewhere")
}

// wholePath is a member's year in one go: sign-up, confirm, settings, trip log,
// one-click unsubscribe.
func wholePath(ctx context.Context, t *testing.T, host string) {
	m := newMemory()
	srv := httptest.NewServer(logHandler(t, m))
	defer srv.Close()
	base := strings.Replace(srv.URL, "127.0.0.1", host, 1)
	heading := func(want string) {
		t.Helper()
		got, err := chromedp.Run(ctx, chromedp.Text(chromedp.CSS("h1")))
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	at := func(u string) string { return base + strings.TrimPrefix(u, publicURL) }
	press := func(steps ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		steps = append(steps, chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
			_, err := chromedp.RunResponse(ctx, chromedp.Click(chromedp.CSS("main form:not(.taps) button")))
			return err
		}))
		require.NoError(t, chromedp.Do(ctx, steps...))
	}
	require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 800, "", "light"), chromedp.Navigate(base+"/signup")))
	press(chromedp.SendKeys(chromedp.CSS("#email"), "new@example.org"),
		chromedp.Click(chromedp.CSS("input[name=reach][value=orlow-dam]")),
		chromedp.Click(chromedp.CSS("input[name=cost][value='0.2']")))
	heading("Look in your mail")
	var id int64
	for _, s := range m.subs {
		if s.Email == "new@example.org" {
			id = s.ID
			require.Equal(t, "pending", s.State)
			require.Equal(t, []coldseam.ReachID{"tamsen-bend", "orlow-dam"}, s.Prefs.Reaches)
			require.InDelta(t, .2, s.Prefs.Cost, 1e-12)
		}
	}
	require.NotZero(t, id)

	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(at(testLinks().Confirm(id, clock())))))
	require.Equal(t, "pending", m.subs[id].State)
	press()
	heading("You are on the list")
	require.Equal(t, "confirmed", m.subs[id].State)

	require.NoError(t, chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
		_, err := chromedp.RunResponse(ctx, chromedp.Click(chromedp.CSS("ul.go-on a")))
		return err
	})))
	heading("Your settings")
	press(chromedp.SetValue(chromedp.CSS("#line"), "nylon-0.26"), chromedp.SetValue(chromedp.CSS("#send_at"), "05:05"),
		chromedp.Click(chromedp.CSS("input[name=box][value='1/4']")))
	require.Equal(t, "nylon-0.26", m.subs[id].Prefs.Line)
	require.Equal(t, "05:05", m.subs[id].Prefs.SendAt)
	require.Equal(t, []float64{.25}, m.subs[id].Prefs.BoxOz)

	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(at(testLinks().Log(id, "tamsen-bend", brieftest.Day, clock()))+
		"?a=1-3")))
	press(chromedp.SendKeys(chromedp.CSS("#hours"), "4"), chromedp.SendKeys(chromedp.CSS("#fish"), "2"),
		chromedp.SetValue(chromedp.CSS("#weight"), "1/4"), chromedp.Click(chromedp.CSS("input[name=held][value=yes]")))
	heading("Saved")
	trip := m.trips[tripKey(id, "tamsen-bend", brieftest.Day)]
	require.Equal(t, 2, trip.Fish)
	require.True(t, *trip.Held)
	require.Equal(t, "nylon-0.26", trip.Line, "preset from the settings, though the details were closed")

	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(at(testLinks().Log(id, "tamsen-bend", brieftest.Day, clock()))+
		"?a=4"), chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
		_, err := chromedp.RunResponse(ctx, chromedp.Click(chromedp.CSS("button[value='6,3']")))
		return err
	})))
	heading("Saved")
	trip = m.trips[tripKey(id, "tamsen-bend", brieftest.Day)]
	require.Equal(t, 6, trip.Fish)
	require.InDelta(t, 3, trip.Hours, 0)
	require.True(t, *trip.Held, "one tap keeps what was noted before")

	resp, err := http.Post(srv.URL+strings.TrimPrefix(testLinks().Unsubscribe(id), publicURL),
		"application/x-www-form-urlencoded", strings.NewReader("List-Unsubscribe=One-Click"))
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	require.Equal(t, 200, resp.StatusCode)
	require.Equal(t, "unsubscribed", m.subs[id].State)
}

// shoot writes pictures of all pages for looking at when COLDSEAM_KEEP names a
// folder.
func shoot(ctx context.Context, t *testing.T, base string) {
	dir := os.Getenv("COLDSEAM_KEEP")
	if dir == "" {
		return
	}
	for name, p := range withCards() {
		for _, d := range []struct {
			w      int64
			scheme string
		}{{360, "light"}, {360, "dark"}, {1280, "light"}} {
			require.NoError(t, chromedp.Do(ctx, browsertest.Device(d.w, 800, "", d.scheme), chromedp.Navigate(base+p)),
				name)
			png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			require.NoError(t, err, name)
			require.NoError(t, os.WriteFile(filepath.Join(dir, fmt.Sprintf("%s-%d-%s.png", name, d.w, d.scheme)), png,
				0o644))
		}
	}
}

// TestPictures makes the README's picture of a river's page when COLDSEAM_PICTURES
// names its folder.
func TestPictures(t *testing.T) {
	dir := os.Getenv("COLDSEAM_PICTURES")
	if dir == "" {
		t.Skip("COLDSEAM_PICTURES names no folder")
	}
	ctx := browsertest.Start(t, 5*time.Minute)
	srv := httptest.NewServer(testHandler(t, newMemory()))
	defer srv.Close()
	require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 760, "screen", "light"),
		chromedp.Navigate(srv.URL+paths()["go"])))
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "river.png"), png, 0o644))
}
