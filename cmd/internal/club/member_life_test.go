package club_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/mail"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/notify/browsertest"
	"example.org/coldseam/notify/web"
)

// inbox shows the newest mail of an address as a mail reader does, with its
// links led to where the pages are served.
type inbox struct {
	v    *clubtest.Harness
	t    *testing.T
	base string // of the pages
	srv  *httptest.Server
	html string
}

func (b *inbox) newest(to string) *mail.Message {
	b.t.Helper()
	ms := b.v.Messages(b.t)[to]
	require.NotEmpty(b.t, ms)
	m := ms[len(ms)-1]
	raw, err := io.ReadAll(m.Body)
	require.NoError(b.t, err)
	m.Body = bytes.NewReader(raw)
	b.html = strings.ReplaceAll(clubtest.HTMLPart(b.t, m.Header.Get, m.Body), b.v.Mail.Links.PublicURL, b.base)
	require.NotEmpty(b.t, b.html)
	return m
}

// TestAMembersLife is the whole path in a real browser, against Postgres and
// SMTP: sign-up, confirm mail, morning mail, a trip logged from its link,
// settings from its link, one-click unsubscribe from its header, silence, and the
// data handed out and erased.
func TestAMembersLife(t *testing.T) {
	v := clubtest.NewReady(t, nil)
	ctx := browsertest.Start(t, 10*time.Minute)
	h, err := web.New(web.Config{
		Store: v.App.Pages(),
		Links: v.Mail.Links,
		Club:  v.Config.Club.Name,
		Now:   v.Now,
		Log:   v.Log,
	})
	require.NoError(t, err)
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	b := &inbox{v: v, t: t, base: srv.URL}
	b.srv = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = io.WriteString(w, b.html)
	}))

	t.Cleanup(b.srv.Close)
	follow := func(steps ...chromedp.Action[chromedp.Void]) { // the last step leads to another page
		t.Helper()
		last := steps[len(steps)-1]
		steps[len(steps)-1] = chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
			_, err := chromedp.RunResponse(ctx, last)
			return err
		})
		require.NoError(t, chromedp.Do(ctx, steps...))
	}

	heading := func(want string) {
		t.Helper()
		got, err := chromedp.Run(ctx, chromedp.Text(chromedp.CSS("h1")))
		require.NoError(t, err)
		require.Equal(t, want, got)
	}

	button := func(words string) chromedp.Action[chromedp.Void] {
		return chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
			_, err := chromedp.Run(ctx,
				chromedp.Evaluate[bool](
					fmt.Sprintf(
						`(() => { [...document.querySelectorAll('a')].find(a => a.textContent.trim() === %q).click(); return true })()`, words)))
			return err
		})
	}
	const me = "new@home.example"
	state := func() string {
		var s string
		require.NoError(t, v.DB.Pool().QueryRow(t.Context(), `SELECT state FROM coldseam.subscriber WHERE email = $1`,
			me).Scan(&s))
		return s
	}

	reaches, err := v.DB.Reaches(t.Context())
	require.NoError(t, err)
	tick := chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error { // the Tamsen alone
		_, err := chromedp.Run(ctx,
			chromedp.Evaluate[int](
				`[...document.querySelectorAll('input[name=reach]')].map(e => e.checked = e.value === 'tamsen-bend').length`))
		return err
	})
	require.Greater(t, len(reaches), 1)
	follow(chromedp.Navigate(srv.URL+"/signup"), tick, chromedp.SendKeys(chromedp.CSS("#email"), me),
		chromedp.SetValue(chromedp.CSS("#send_at"), "04:45"), chromedp.Click(chromedp.CSS("main form button")))
	heading("Look in your mail")

	v.SendAll(t)
	require.NotEmpty(t, clubtest.Subject(t, b.newest(me)))
	follow(chromedp.Navigate(b.srv.URL), button("Confirm the morning mail"))
	heading("Start the morning mail")
	require.Equal(t, "pending", state(), "opening the link confirms nothing")
	follow(chromedp.Click(chromedp.CSS("main form button")))
	heading("You are on the list")
	require.Equal(t, "confirmed", state())
	v.SendAll(t)
	require.Contains(t, clubtest.Subject(t, b.newest(me)), "Your morning mail is set")

	v.Send(t, "04:46")
	morning := b.newest(me)
	require.Regexp(t, `^(GO|TOSS-UP) Tamsen Sat, good morning \d in 10`, clubtest.Subject(t, morning))
	morningHTML := b.html

	// The trip card: kept at home, read where no signal is.
	eval := func(expr string) string {
		t.Helper()
		s, err := chromedp.Run(ctx, chromedp.Evaluate[string](`Promise.resolve(`+expr+`).then(String)`,
			chromedp.EvalAwaitPromise))
		require.NoError(t, err, expr)
		return s
	}
	until := func(cond string) {
		t.Helper()
		require.Eventually(t, func() bool {
			ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`Promise.resolve(`+cond+`).then(Boolean)`,
				chromedp.EvalAwaitPromise))
			return err == nil && ok
		}, time.Minute, 100*time.Millisecond, cond)
	}
	require.NoError(t, chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
		_, err := cdp.Call(ctx, tg, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{
			Source: fmt.Sprintf(`Date.now = () => %d`, v.Now().Add(2*time.Minute).UnixMilli())}) // a phone a little fast
		return err
	})))
	follow(chromedp.Navigate(b.srv.URL), button("Trip card, offline"))
	until(`/^(GO|TOSS-UP)$/.test($('w').textContent) && !$('mine').hidden && !$('float').hidden`)
	until(`caches.open('card ' + location.pathname).then(c => c.keys()).then(k => k.length >= 5)`)
	sameAsTheSolver(t, eval)
	require.NoError(t, chromedp.Do(ctx, browsertest.Offline(true), chromedp.Navigate(srv.URL+"/river/tamsen-bend/card")))
	until(`!looking`)
	require.Regexp(t, `^(GO|TOSS-UP)$`, eval(`$('w').textContent`))
	require.Contains(t, eval(`$('signal').textContent`), "No signal: no stop after Sat 04:46 can reach this card.")
	eval(`document.querySelector('[data-say=stained]').click()`)
	until(`$('kept').textContent.includes('goes out with the next signal')`)
	require.Zero(t, v.Count(t, `SELECT count(*) FROM coldseam.bank_word`))
	eval(`(() => { $('float').open = true
		for (const n of ['place=bank', 'water=steady']) document.querySelector('input[name=' + n.replace('=', '][value=') + ']').click()
		$('length').value = 60; floats = [30, 31, 32]; timing(); $('give').click(); return '' })()`)
	require.NoError(t, chromedp.Do(ctx, browsertest.Offline(false)))
	eval(`look()`)
	until(`!sending && $('kept').children.length === 0`)
	require.Equal(t, 1, v.Count(t, `SELECT count(*) FROM coldseam.bank_word WHERE say = 'stained'`))
	require.Equal(t, 1, v.Count(t, `SELECT count(*) FROM coldseam.float_timing WHERE discharge_m3s > 0`))

	// At the launch: it is closed. The word stops the reach, and whoever was told
	// otherwise hears of it; nothing names the member.
	follow(chromedp.Navigate(b.srv.URL), button("Seen from the bank"))
	heading("From the bank")
	require.Equal(t, 1, v.Count(t, `SELECT count(*) FROM coldseam.bank_word`), "opening the page says nothing")
	follow(chromedp.Click(chromedp.CSS("button[value=launch]")))
	heading("Thank you")
	v.Work(t)
	v.SendAll(t)
	correction := b.newest(me)
	require.Regexp(t, `^STOP replaces (GO|TOSS-UP): Tamsen, launch closed`, clubtest.Subject(t, correction))
	require.Contains(t, b.html, "launch closed")
	told, err := v.DB.Brief(t.Context(), "tamsen-bend", clubtest.Saturday)
	require.NoError(t, err)
	require.Contains(t, string(told.Weighing), `"Timings"`, "the spot is weighed by the member's floats, for everyone")
	require.NotContains(t, b.html, "new@")
	follow(chromedp.Navigate(srv.URL + "/river/tamsen-bend/card"))
	until(`$('w').textContent === 'STOP'`)
	b.html = morningHTML

	v.Clock.Forward(clubtest.MorningAt(12, 30)) // back from the river
	follow(chromedp.Navigate(b.srv.URL), button("1 to 3"))
	heading("How did it go?")
	trips := func() int { return v.Count(t, `SELECT count(*) FROM coldseam.trip WHERE source = 'form'`) }
	require.Zero(t, trips(), "opening the link logs nothing")
	follow(chromedp.SendKeys(chromedp.CSS("#hours"), "20"), chromedp.SendKeys(chromedp.CSS("#fish"), "2"),
		chromedp.Click(chromedp.CSS("main form:not(.taps) button")))
	require.Contains(t, eval(`document.body.innerText`), "and it is 12:30 now", "hours to come are refused with a sentence")
	require.Zero(t, trips())
	follow(chromedp.Navigate(b.srv.URL), button("1 to 3"))
	follow(chromedp.SendKeys(chromedp.CSS("#hours"), "4"), chromedp.SendKeys(chromedp.CSS("#fish"), "2"),
		chromedp.SetValue(chromedp.CSS("#weight"), "1/4"), chromedp.SetValue(chromedp.CSS("#spot"), "seam"),
		chromedp.Click(chromedp.CSS("input[name=held][value=yes]")),
		chromedp.Click(chromedp.CSS("main form:not(.taps) button")))
	heading("Saved")
	require.Equal(t, 1, trips())
	require.Equal(t, 1, v.Count(t,
		`SELECT count(*) FROM coldseam.trip WHERE source = 'form' AND fish = 2 AND hours = 4 AND reach_id = 'tamsen-bend' AND day = $1`, clubtest.Saturday.UTC()))
	require.Equal(t, 1, v.Count(t,
		`SELECT count(*) FROM coldseam.rig_log l JOIN coldseam.trip t ON t.trip_id = l.trip_id WHERE t.source = 'form' AND l.held AND l.weight_oz = 0.25`), "the rig learns of it")

	// Corrected within the 72 hours: one trip, one calibration line, the new one.
	follow(chromedp.Navigate(b.srv.URL), button("1 to 3"))
	follow(chromedp.Click(chromedp.CSS("input[name=held][value=no]")),
		chromedp.Click(chromedp.CSS("main form:not(.taps) button")))
	heading("Saved")
	require.Equal(t, 1, trips())
	require.Equal(t, 1, v.Count(t,
		`SELECT count(*) FROM coldseam.rig_log l JOIN coldseam.trip t ON t.trip_id = l.trip_id WHERE t.source = 'form'`))
	require.Equal(t, 1, v.Count(t,
		`SELECT count(*) FROM coldseam.rig_log l JOIN coldseam.trip t ON t.trip_id = l.trip_id WHERE t.source = 'form' AND NOT l.held AND l.angler = t.angler AND l.angler <> '' AND t.fish = 2`))

	follow(chromedp.Navigate(b.srv.URL), button("Settings"))
	heading("Your settings")
	follow(chromedp.SetValue(chromedp.CSS("#line"), "nylon-0.26"), chromedp.SetValue(chromedp.CSS("#send_at"), "05:05"),
		chromedp.Click(chromedp.CSS("main form button")))
	heading("Your settings")
	require.Equal(t, 1, v.Count(t,
		`SELECT count(*) FROM coldseam.subscriber WHERE email = $1 AND prefs->>'line' = 'nylon-0.26' AND prefs->>'send_at' = '05:05'`, me))

	// The mail program's own button: the header's link, no cookie, no page.
	way, _, ok := strings.Cut(strings.TrimPrefix(morning.Header.Get("List-Unsubscribe"), "<"), ">")
	require.True(t, ok)
	require.Equal(t, "List-Unsubscribe=One-Click", morning.Header.Get("List-Unsubscribe-Post"))
	resp, err := http.Post(strings.Replace(way, v.Mail.Links.PublicURL, srv.URL, 1), "application/x-www-form-urlencoded",
		strings.NewReader("List-Unsubscribe=One-Click"))
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	require.Equal(t, http.StatusOK, resp.StatusCode)
	require.Equal(t, "unsubscribed", state())

	before := len(v.Messages(t)[me])
	v.Clock.Forward(clubtest.Saturday.Add(1).In(env.Zone("America/Chicago")).Add(6 * time.Hour))
	_, _, err = v.Mail.QueueMornings(t.Context(), v.Now())
	require.NoError(t, err)
	v.SendAll(t)
	require.Len(t, v.Messages(t)[me], before, "silence")

	// A reply reaches the keeper; one's own data can be had whole, and erased.
	require.Equal(t, "<"+v.Config.Club.AdminEmail+">", morning.Header.Get("Reply-To"))
	b.html = morningHTML
	follow(chromedp.Navigate(b.srv.URL), button("Settings"))
	resp, err = http.Get(eval(`document.querySelector('a[href$="/data.json"]').href`))
	require.NoError(t, err)
	data, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	require.True(t, json.Valid(data))
	for _, want := range []string{me, "tamsen-bend", "nylon-0.26"} {
		require.Contains(t, string(data), want)
	}
	follow(button("Erase my data"))
	heading("Erase my data")
	require.Equal(t, "unsubscribed", state(), "opening the page erases nothing")
	follow(chromedp.Click(chromedp.CSS("main form button")))
	heading("Erased")
	require.Zero(t, v.Count(t, `SELECT count(*) FROM coldseam.subscriber WHERE email = $1`, me))
	require.Equal(t, 1, trips(), "the trip stays in the totals, of nobody")
}

// TestSignUpFloodOnTheDatabase: however many ask, an hour brings no more than
// 100 confirm mails and an address no second one that day.
func TestSignUpFloodOnTheDatabase(t *testing.T) {
	t.Parallel()
	n := 400
	if os.Getenv("COLDSEAM_SOAK") != "" {
		n = 10_000
	}
	v := clubtest.New(t, nil)
	p := v.App.Pages()
	for i := range n {
		v.Clock.Forward(v.Now().Add(time.Millisecond))
		require.NoError(t, p.SignUp(t.Context(), fmt.Sprintf("victim%d@home.example", i%(n/2)), coldseam.Preferences{},
			v.Now()))
	}

	v.SendAll(t)
	require.Equal(t, 100, v.Sink.Count())
	for to, ms := range v.Messages(t) {
		require.Len(t, ms, 1, to)
	}
	v.Clock.Forward(v.Now().Add(2 * time.Hour))
	require.NoError(t, p.SignUp(t.Context(), "later@home.example", coldseam.Preferences{}, v.Now()))
	require.NoError(t, p.SignUp(t.Context(), "victim0@home.example", coldseam.Preferences{}, v.Now()))
	v.SendAll(t)
	require.Len(t, v.Messages(t)["later@home.example"], 1, "the next hour is open again")
	require.Len(t, v.Messages(t)["victim0@home.example"], 1, "one a day")
}

// sameAsTheSolver times 200 random floats on the card that is open, with its own
// script and the table that was shipped with it, and asks the solver for each.
func sameAsTheSolver(t *testing.T, eval func(string) string) {
	t.Helper()
	raw := eval(`JSON.stringify(card.data.Table)`)
	require.LessOrEqual(t, len(raw), 15_000)
	var tab jig.Table
	require.NoError(t, json.Unmarshal([]byte(raw), &tab))
	require.NotEmpty(t, tab.Spots)

	type trial struct {
		Spot, Way, Body, Line int
		Length                float64
		Seconds               [3]float64
	}
	rng := rand.New(rand.NewPCG(200, 21))
	var trials []trial
	for range 200 {
		x := trial{rng.IntN(len(tab.Spots)), rng.IntN(len(tab.Ways)), rng.IntN(len(tab.Bodies)), rng.IntN(len(tab.Lines)),
			10 + 30*rng.Float64(), [3]float64{}}
		for i := range x.Seconds {
			x.Seconds[i] = x.Length / (.15 + 1.05*float64(len(trials))/200) * (.9 + .2*rng.Float64())
		}
		trials = append(trials, x)
	}

	ask, err := json.Marshal(trials)
	require.NoError(t, err)
	var said []*struct{ Tie, Pack string }
	require.NoError(t, json.Unmarshal([]byte(eval(`JSON.stringify(`+string(ask)+`.map(x => {
		const w = weigh(card.data.Table, x.Spot, x.Way, x.Body, x.Line, speed(x.Length, x.Seconds))
		return w && {Tie: w.tie, Pack: w.pack} }))`)), &said))
	none := 0
	for i, x := range trials {
		rig, err := jig.ParseRig(tab.Bodies[x.Body], tab.Lines[x.Line], "", tab.Ways[x.Way])
		require.NoError(t, err)
		us, flow := coldseam.FloatTiming{LengthM: x.Length, Seconds: x.Seconds}.SurfaceMS(), 1.
		j := jig.Advise(jig.SpotInput{Here: true, Rig: rig, BoxOz: tab.Oz, FlowM3S: flow, WaterC: tab.WaterC, WaterOK: true,
			Spot: coldseam.Spot{DepthRefM: &tab.Spots[x.Spot].DepthM, FlowRef: &flow, FloatMS: &us, FloatFlow: &flow,
				Kind: coldseam.SpotMain}})
		if said[i] == nil {
			none++
			require.Zero(t, j.TieOz, "%+v", x)
			continue
		}
		require.Equal(t, [2]string{coldseam.OzName(j.TieOz), coldseam.OzName(j.PackOz)}, [2]string{said[i].Tie, said[i].Pack},
			"%+v at %.4f m/s", x, us)
	}
	t.Logf("200 timings, table of %d bytes, no weight in %d", len(raw), none)
	require.Less(t, none, 150)
}
