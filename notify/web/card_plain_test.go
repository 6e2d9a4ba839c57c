//go:build !race

package web

import (
	"context"
	"encoding/json"
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

	"github.com/chromedp/cdproto/cdp"
	cdpage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
	"example.org/coldseam/notify/browsertest"
)

// phone is a Chromium with a clock of its own, on a network that can be cut.
type phone struct {
	t   *testing.T
	ctx context.Context
	url string
	cut atomic.Bool // the server hangs up
	srv *httptest.Server
}

// newPhone opens the card of a reach at a time of the phone's clock.
func newPhone(t *testing.T, h http.Handler, reach string, now time.Time) *phone {
	p := &phone{t: t, ctx: browsertest.Start(t, 3*time.Minute)}
	p.srv = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if p.cut.Load() {
			panic(http.ErrAbortHandler)
		}
		h.ServeHTTP(w, r)
	}))
	t.Cleanup(p.srv.Close)
	p.url = p.srv.URL + "/river/" + reach + "/card"
	shift := fmt.Sprintf(`(() => { const real = Date.now; const base = %d - real();
		Date.now = () => real() + base + Number(sessionStorage.getItem('shift') || 0) })()`, now.UnixMilli())
	require.NoError(t, chromedp.Do(p.ctx, browsertest.Device(360, 780, "", "light"),
		chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
			_, err := cdp.Call(ctx, tg, cdpage.AddScriptToEvaluateOnNewDocument,
				cdpage.AddScriptToEvaluateOnNewDocumentParams{Source: shift})
			return err
		})))
	return p
}

func (p *phone) open(fragment string) {
	p.t.Helper()
	require.NoError(p.t, chromedp.Do(p.ctx, chromedp.Navigate(p.url+fragment)))
	p.until(`navigator.serviceWorker.ready.then(r => !!r.active)`)
}

// signal cuts the network off, or gives it back: for the page by the browser, for
// its worker by the server.
func (p *phone) signal(on bool) {
	p.t.Helper()
	p.cut.Store(!on)
	require.NoError(p.t, chromedp.Do(p.ctx, browsertest.Offline(!on)))
}

// clock moves the phone's clock on from where it started.
func (p *phone) clock(by time.Duration) {
	p.t.Helper()
	p.js(fmt.Sprintf(`(sessionStorage.setItem('shift', %d), show(), '')`, by.Milliseconds()))
}

func (p *phone) js(expr string) string {
	p.t.Helper()
	out, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](`Promise.resolve(`+expr+`).then(String)`,
		chromedp.EvalAwaitPromise))
	require.NoError(p.t, err, expr)
	return out
}

// until waits for a condition in the page.
func (p *phone) until(cond string) {
	p.t.Helper()
	require.Eventually(p.t, func() bool {
		out, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](`Promise.resolve(`+cond+`).then(Boolean)`,
			chromedp.EvalAwaitPromise))
		return err == nil && out
	}, 40*time.Second, 100*time.Millisecond, cond)
}

// reload loads the card again as a tap on its icon would.
func (p *phone) reload() {
	p.t.Helper()
	require.NoError(p.t, chromedp.Do(p.ctx, chromedp.Navigate("about:blank")))
	require.NoError(p.t, chromedp.Do(p.ctx, chromedp.Navigate(p.url)))
	p.until(`typeof show === 'function' && !looking`)
}

func (p *phone) word() string { return p.js(`$('w').textContent`) }

// nothing checks that word, weights and mark are gone.
func (p *phone) nothing(why string) {
	p.t.Helper()
	require.Equal(p.t, "NO CALL", p.word(), why)
	seen := p.js(`document.body.innerText.replaceAll("\u00a0", " ")`)
	for _, gone := range []string{"GO\n", " oz", "second step", "in 10"} {
		require.NotContains(p.t, strings.ReplaceAll(seen, "not a go", ""), gone, why)
	}
	require.Contains(p.t, seen, "This is not a go.")
	require.Contains(p.t, seen, "low-head dam at Quarry Road", "hazards stay")
}

// shoot keeps a picture where COLDSEAM_KEEP names a folder.
func (p *phone) shoot(name string) {
	dir := os.Getenv("COLDSEAM_KEEP")
	if dir == "" {
		return
	}
	for _, scheme := range []string{"dark", "light"} {
		require.NoError(p.t, chromedp.Do(p.ctx, browsertest.Media("", scheme)))
		png, err := chromedp.Run(p.ctx, chromedp.FullScreenshot(100))
		require.NoError(p.t, err)
		require.NoError(p.t, os.WriteFile(filepath.Join(dir, name+"-"+scheme+".png"), png, 0o644))
	}
}

// cardTown is the sample board with what an admin adds for the card.
func cardTown() *memory {
	m := newMemory()
	for i := range m.reaches {
		m.reaches[i].LeaveMark = "Water on the second step of the landing"
		m.reaches[i].Siren = "three blasts at the dam: leave the bed at once"
		m.reaches[i].Emergency = []coldseam.EmergencyPoint{{What: "landing at the county road", Lat: 45.01, Lon: -92.02}}
	}
	return m
}

// The card in a pocket: it reads without signal, says since when nothing can
// reach it, and has no word when its time is over or its clock is wrong.
func TestCardWithoutSignal(t *testing.T) {
	m := cardTown()
	p := newPhone(t, testHandler(t, m), "tamsen-bend", clock())
	p.open("")
	p.until(`$('w').textContent === 'GO'`)
	require.Contains(t, p.js(`$('signal').textContent`), "Last look Sat 05:10")
	body := p.js(`document.body.innerText.replaceAll("\u00a0", " ")`)
	for _, want := range []string{"20 min old", "Rising: leave", "1/4 oz", "Water on the second step of the landing",
		"Leaving earlier is always right; below this mark is not clearance.", "three blasts", "45.01000, -92.02000",
		"US Coast Guard", "Daylight on Saturday"} {
		require.Contains(t, body, want)
	}
	f, err := chromedp.Run(p.ctx, chromedp.Evaluate[findings](probe))
	require.NoError(t, err)
	require.Empty(t, f.Bad)
	p.shoot("card-go")
	p.until(`caches.open('card ' + location.pathname).then(c => c.keys()).then(k => k.length >= 5)`)

	p.signal(false)
	p.reload()
	require.Equal(t, "GO", p.word())
	require.Equal(t, "No signal: no stop after Sat 05:10 can reach this card.", p.js(`$('signal').textContent`))
	p.clock(3 * time.Hour)
	require.Contains(t, p.js(`$('age').textContent`), "3 h old")
	p.shoot("card-offline")

	p.clock(2 * time.Hour)
	p.nothing("the clock was set back an hour")
	p.reload()
	p.nothing("and stays so after a restart")
	p.shoot("card-clock")
	p.clock(12 * time.Hour)
	p.nothing("its time is over")
	p.shoot("card-over")
	for name, ms := range map[string]string{"before the issue": "1.7e12", "unknown": "NaN"} {
		require.Equal(t, "clock", p.js(`state(card, `+ms+`, 0)`), name)
	}

	// A stop meanwhile: it shows at the next look and not before.
	p.js(`(sessionStorage.removeItem('shift'), localStorage.removeItem('seen'), '')`)
	m.mu.Lock()
	for i, b := range m.briefs {
		if b.Reach == "tamsen-bend" {
			stop := brieftest.Stop()
			stop.Reach = b.Reach
			m.briefs[i] = stop
		}
	}
	m.mu.Unlock()
	p.reload()
	require.Equal(t, "GO", p.word(), "nothing has reached it")
	p.signal(true)
	p.js(`look()`)
	require.Equal(t, "STOP", p.word())
	require.NotContains(t, p.js(`document.body.innerText.replaceAll("\u00a0", " ")`), "1/4 oz")
	p.shoot("card-stop")
	p.signal(false)
	p.clock(14 * time.Hour)
	require.Equal(t, "NO CALL", p.word())
	require.Contains(t, p.js(`$('head').textContent`), "It was STOP, and nothing has lifted it.")
}

// A full card, all of it open: nothing cut at 360 px or on paper, nothing that
// axe-core or our own walk finds, light and dark.
func TestFullCardFits(t *testing.T) {
	m := cardTown()
	m.table = floatTable
	p := newPhone(t, testHandler(t, m), "tamsen-bend", clock())
	_, token, _ := strings.Cut(testLinks().Card(7, "tamsen-bend", brieftest.Day, clock()), "#")
	p.open("#" + token)
	p.until(`$('w').textContent === 'GO' && !$('float').hidden && !$('mine').hidden`)
	p.js(`($('float').open = true, '')`)
	for _, scheme := range []string{"light", "dark"} {
		require.NoError(t, chromedp.Do(p.ctx, browsertest.Device(360, 780, "", scheme)))
		t.Run("axe "+scheme, func(t *testing.T) { require.Empty(t, browsertest.Axe(t)(p.ctx)) }) // skips by itself
		f, err := chromedp.Run(p.ctx, chromedp.Evaluate[findings](probe))
		require.NoError(t, err)
		require.Empty(t, f.Bad, scheme)
	}
	for _, medium := range []string{"screen", "print"} { // paper last: it is printed as it stands
		width := map[string]int64{"screen": 360, "print": 703}[medium]
		require.NoError(t, chromedp.Do(p.ctx, browsertest.Device(width, 780, medium, "light")))
		bad, err := chromedp.Run(p.ctx, chromedp.Evaluate[[]string](browsertest.CutOff))
		require.NoError(t, err)
		require.Empty(t, bad, medium)
	}
	p.shoot("card-open")
	pdf, err := chromedp.Run(p.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4), chromedp.PDFPreferCSSPageSize()))
	require.NoError(t, err)
	require.LessOrEqual(t, len(regexp.MustCompile(`/Type ?/Page[^s]`).FindAll(pdf, -1)), 2)
}

// A phone whose clock is hours off at the look has no word, with signal or not.
func TestCardOnAWrongClock(t *testing.T) {
	for _, off := range []time.Duration{-3 * time.Hour, 3 * time.Hour, -7 * time.Minute} {
		p := newPhone(t, testHandler(t, cardTown()), "tamsen-bend", clock().Add(off))
		p.open("")
		p.until(`card && card.data`)
		p.nothing(off.String())
	}
}

// All that a phone keeps of a card is small, and only the card has a script.
func TestCardIsSmall(t *testing.T) {
	t.Parallel()
	m := cardTown()
	m.table = json.RawMessage(`"` + strings.Repeat("x", 15_000) + `"`)
	h := testHandler(t, m)
	at := "/river/tamsen-bend/"
	sum := 0
	for _, path := range []string{at + "card", at + "card.json", at + "card.webmanifest", at + "sw.js",
		readAsset("look.css").path, readAsset("static/card.js").path, readAsset("static/icon.svg").path} {
		r := get(h, path)
		require.Equal(t, http.StatusOK, r.Code, path)
		sum += r.Body.Len()
	}
	require.LessOrEqual(t, sum, 75_000)
	t.Logf("card: %d bytes", sum)

	csp := get(h, at+"card").Header().Get("Content-Security-Policy")
	require.Contains(t, csp, "script-src 'self'")
	require.NotContains(t, csp, "unsafe")
	require.NotContains(t, get(h, at[:len(at)-1]).Header().Get("Content-Security-Policy"), "script-src")
	require.Equal(t, http.StatusNotFound, get(h, "/river/nowhere/sw.js").Code)
}

// A regulated reach has no mark, a rising river no weight, and no word but those
// with odds has either.
func TestCardHoldsBack(t *testing.T) {
	t.Parallel()
	m := cardTown()
	for i := range m.briefs {
		b := &m.briefs[i]
		if b.Reach == "tamsen-bend" {
			b.Flow.Trend = "rising"
		}
	}
	h := testHandler(t, m)
	for reach, want := range map[string]string{"tamsen-bend": "rising", "brandt-lower": "STOP", "quern-weir": "NO CALL"} {
		body := get(h, "/river/"+reach+"/card.json").Body.String()
		require.Contains(t, body, want)
		require.Contains(t, body, `"Weights":null`, reach)
	}
	require.Contains(t, get(h, "/river/tamsen-bend/card.json").Body.String(), "second step")
	for _, none := range []string{"brandt-lower", "quern-weir", "orlow-dam"} {
		require.NotContains(t, get(h, "/river/"+none+"/card.json").Body.String(), "second step", none)
	}
}

// What is said where no signal is goes out once when there is: an answer that was
// lost doubles nothing.
func TestCardKeepsTheLog(t *testing.T) {
	m := cardTown()
	var lose atomic.Int64
	h := testHandler(t, m)
	p := newPhone(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost && lose.Add(-1) >= 0 {
			h.ServeHTTP(httptest.NewRecorder(), r) // taken, and the answer never comes
			panic(http.ErrAbortHandler)
		}
		h.ServeHTTP(w, r)
	}), "tamsen-bend", clock())
	link := testLinks().Card(7, "tamsen-bend", brieftest.Day, clock())
	_, token, _ := strings.Cut(link, "#")
	p.open("#" + token)
	p.until(`$('w').textContent === 'GO' && !$('mine').hidden`)
	require.Empty(t, p.js(`location.hash`), "the signed link does not stay in the address")
	p.until(`caches.open('card ' + location.pathname).then(c => c.keys()).then(k => k.length >= 5)`)

	p.signal(false)
	p.reload()
	p.js(`document.querySelector('[data-say=wood]').click()`)
	p.until(`$('kept').textContent.includes('goes out with the next signal')`)
	require.Empty(t, m.bank)
	require.Equal(t, "NO CALL", p.word(), "a danger closes at once, on the phone that said it too")
	require.Contains(t, p.js(`$('head').textContent`), "You saw it: Wood running.")
	require.Equal(t, "0", p.js(`$('weights').children.length`))
	p.shoot("card-kept")
	p.js(`(() => { card.data.Issued = Date.now() + 1; show(); return '' })()`)
	require.Equal(t, "NO CALL", p.word(), "a later word that does not know the danger lifts nothing")
	p.js(`(() => { card.data.Issued -= 60000; show(); return '' })()`)

	lose.Store(1)
	p.signal(true)
	p.js(`look()`)
	p.until(`!sending`)
	p.js(`look()`)
	p.until(`!sending && $('kept').children.length === 0`)
	require.Len(t, m.bank, 1, "sent twice, taken once")
	require.Equal(t, "wood", m.bank[0].Say)

	log := func(hours string) {
		p.js(`(() => { const f = $('trip'); f.fish.value = 2; f.hours.value = ` + hours + `; f.requestSubmit(); return '' })()`)
	}
	log("3")
	p.until(`!sending && $('kept').children.length === 0`)
	require.Len(t, m.trips, 1)
	log("20")
	p.until(`!sending && $('kept').textContent.includes('not taken')`)
	require.Contains(t, p.js(`$('kept').textContent`), "Log the trip when you are back.")
}

var floatTable = json.RawMessage(`{"Spots":[{"ID":"main-seam","Name":"main seam","DepthM":5.5}],"Ways":["quartering","anchored",` +
	`"vertical"],"Bodies":["slim"],"Lines":["braid-0.14"],"Oz":[0.25,0.375],"Names":["1/4","3/8"],` +
	`"Rows":["J3MT3M?3MT3M","J3MT3M?3MT3M","J3MT3M?3MT3M"]}`)

// The river weighs the jig: from dry feet, on steady water, while the word stands.
func TestCardWeighsAFloat(t *testing.T) {
	m := cardTown()
	m.table = floatTable
	p := newPhone(t, testHandler(t, m), "tamsen-bend", clock())
	_, token, _ := strings.Cut(testLinks().Card(7, "tamsen-bend", brieftest.Day, clock()), "#")
	p.open("#" + token)
	p.until(`$('w').textContent === 'GO' && !$('float').hidden`)
	p.js(`($('float').open = true, '')`)
	choose := func(name, value string) {
		p.js(fmt.Sprintf(`document.querySelector('input[name=%s][value=%s]').click()`, name, value))
	}
	tap := func() { p.js(`$('tap').click()`) }
	require.Equal(t, "true", p.js(`$('tap').disabled`), "nothing is said yet")
	choose("place", "wading")
	choose("water", "steady")
	require.Equal(t, "true", p.js(`$('tap').disabled`))
	require.Contains(t, p.js(`$('ask').textContent`), "Never wade to time a leaf.")

	choose("place", "bank")
	require.Contains(t, p.js(`$('ask').textContent`), "First the length")
	p.js(`($('paces').value = 20, $('paces').dispatchEvent(new Event('input')), '')`)
	require.Equal(t, "50.0", p.js(`$('length').value`))
	require.Equal(t, "true", p.js(`$('way').disabled`), "no anchor on the bank")
	p.js(`(window.at = 1000, performance.now = () => window.at, '')`)
	for _, s := range []int{26, 25, 27} {
		tap()
		p.js(fmt.Sprintf(`(window.at += %d, '')`, s*1000))
		tap()
	}
	said := p.js(`$('result').textContent`)
	require.Contains(t, said, "1.92 ft/s at the surface.")
	require.Contains(t, said, "Tie 1/4 oz, pack 3/8 oz here now.")
	p.shoot("card-float")
	p.js(`$('give').click()`)
	p.until(`!sending && $('kept').children.length === 0`)
	require.Len(t, m.timings, 1)
	require.InDelta(t, 50*.3048/26, m.timings[0].SurfaceMS(), 1e-6)
	require.Equal(t, "main-seam", m.timings[0].Spot)

	for _, s := range []int{26, 14, 27} { // one caught an eddy
		tap()
		p.js(fmt.Sprintf(`(window.at += %d, '')`, s*1000))
		tap()
	}
	require.Contains(t, p.js(`$('result').textContent`), "differ too much")
	p.js(`$('give').click()`)
	require.Len(t, m.timings, 1)

	choose("water", "rising")
	require.Equal(t, "true", p.js(`$('float').hidden`))
	require.Contains(t, p.js(`$('noweight').textContent`), "You said the water is rising.")
	require.Zero(t, p.js(`$('weights').children.length`)[0]-'0')
	require.Contains(t, p.js(`document.body.innerText`), "Rising: leave")
	p.reload()
	require.Equal(t, "true", p.js(`$('float').hidden`), "and it stays so")
}
