'use strict'
// The trip card. It keeps what the morning said and shows it for as long as it is
// sure of the time: without that there is no call. Nothing here decides anything.
const $ = id => document.getElementById(id)
const page = $('word').dataset
const clockSlack = 5 * 60e3 // ms that this phone's clock may differ from the club's [proposal]
const backSlack = 60e3 // ms that it may seem to go back

const read = (key, none) => { try { return JSON.parse(localStorage.getItem(key)) ?? none } catch { return none } }
const write = (key, v) => { try { localStorage.setItem(key, JSON.stringify(v)); return true } catch { return false } }

let card = read('card ' + page.url, null) // {data, got}
let seen = read('seen', 0) // the latest time this phone has shown
let live = false // the last look reached the club
let rising = read('rising ' + page.url, 0)

// state tells whether the kept word may be shown at a time of the phone's clock.
function state(card, now, seen) {
  if (!card || !card.data) return 'none'
  const d = card.data
  if (![now, seen, card.got, d.Sent, d.Issued, d.Until].every(Number.isFinite)) return 'clock'
  if (Math.abs(card.got - d.Sent) > clockSlack || now < seen - backSlack || now < card.got - backSlack) return 'clock'
  if (now < d.Issued) return 'clock'
  return now >= d.Until ? 'over' : 'good'
}

function clock(ms) {
  return new Intl.DateTimeFormat('en-GB', {weekday: 'short', hour: '2-digit', minute: '2-digit', timeZone: page.zone})
    .format(ms).replace(',', '')
}

function age(ms) {
  const min = Math.max(Math.round(ms / 60e3), 0)
  return min < 90 ? min + ' min old' : Math.round(min / 60) + ' h old'
}

function rows(id, list) {
  $(id).replaceChildren(...list)
}

function element(tag, text) {
  const e = document.createElement(tag)
  e.textContent = text
  return e
}

// show never leaves half a card: what cannot be shown is no call.
function show() {
  try { draw() } catch (e) {
    $('word').className = 'v nocall'
    $('w').textContent = 'NO CALL'
    $('head').textContent = 'What was kept cannot be read. This is not a go.'
    $('live').hidden = true
  }
}

function draw() {
  const now = Date.now(), d = card && card.data, saw = read('danger ' + page.url, null)
  let s = state(card, now, seen)
  // Until a word that was made after it, and never while the club has not heard it.
  const unsent = read('kept', []).some(e => !e.refused && /^say=(ice|wood|launch)&/.test(e.body))
  if (s === 'good' && d.Word !== 'STOP' && (unsent || saw && saw.at + clockSlack > d.Issued)) s = 'danger'
  const good = s === 'good'
  if (now > seen) write('seen', seen = now)
  $('word').className = 'v ' + (good ? d.Class : 'nocall')
  $('w').textContent = good ? d.Word : 'NO CALL'
  $('age').textContent = good ? d.For + ', ' + age(now - d.Issued) : ''
  $('head').textContent = good ? d.Head : {
    danger: 'You saw it' + (saw ? ': ' + saw.what : '') + '. There is no call here until the club\'s word comes back.',
    none: 'Nothing of today is kept on this phone.',
    clock: 'The clock of this phone is not the river\'s, or was set back: no word, weight or mark can be trusted to it.',
    over: d && 'The word of ' + clock(d.Issued) + ' was good until ' + clock(d.Until) + '.' +
      (d.Word === 'STOP' ? ' It was STOP, and nothing has lifted it.' : ''),
  }[s] + ' This is not a go.'

  $('signal').textContent = !d ? '' : live ? 'Last look ' + clock(d.Sent) + '. A later stop shows here at the next look.'
    : 'No signal: no stop after ' + clock(d.Sent) + ' can reach this card.'
  $('live').hidden = !good
  if (good) fill(d, now)
  else for (const id of ['facts', 'weights', 'leave', 'result']) $(id).replaceChildren()
  $('mine').hidden = !token()
  $('nobody').hidden = !!token()
  showKept()
}

function fill(d, now) {
  rows('facts', (d.Facts || []).flatMap(([label, text]) => [element('dt', label), element('dd', text)]))
  const left = rising && now < rising
  const weights = left ? [] : d.Weights || []
  rows('weights', weights.map(w => {
    const tr = document.createElement('tr'), th = element('th', w.Spot)
    th.scope = 'row'
    tr.append(th, element('td', w.Depth), element('td', w.Tie), element('td', w.Pack))
    return tr
  }))
  $('noweight').textContent = left ? 'You said the water is rising.' : d.NoWeight
  $('leave').textContent = d.Leave ? d.Leave + '. ' + page.leave : ''
  const table = d.Table
  $('float').hidden = !table || !table.Spots || left || !weights.length
  if ($('float').hidden) return
  const made = JSON.stringify([table.Spots, table.Ways, table.Bodies, table.Lines])
  if (made === lists) return
  lists = made // a new table may have other spots, in another order
  floats = []
  since = 0
  $('result').replaceChildren()
  const fillIn = (id, list) => rows(id, list.map(([value, text]) => new Option(text, value)))
  fillIn('spot', table.Spots.map((s, i) => [i, s.Name]))
  fillIn('way', table.Ways.map((w, i) => [i, page[w] || w]))
  fillIn('body', table.Bodies.map((b, i) => [i, b]))
  fillIn('line', table.Lines.map((l, i) => [i, l]))
  $('line').value = Math.max(table.Lines.indexOf('braid-0.14'), 0)
}

// weigh reads the table of the solver: what is tied and packed in a current.
function weigh(t, spot, way, body, line, ms) {
  const row = t.Rows[((spot * t.Ways.length + way) * t.Bodies.length + body) * t.Lines.length + line]
  const upTo = i => {
    let n = 0
    for (const c of row.slice(3 * i, 3 * i + 3)) n = 91 * n + c.charCodeAt(0) - 35 - (c > '\\' ? 1 : 0)
    return n * 2.5e-6
  }
  const k = t.Oz.length, tie = t.Oz.findIndex((_, i) => ms <= upTo(i))
  if (tie < 0) return null
  let pack = t.Oz.findIndex((_, i) => ms <= upTo(k + i))
  const short = pack < 0
  if (short) pack = k - 1
  return {tie: t.Names[tie], pack: t.Names[Math.max(tie, pack)], short}
}

// speed of three floats over a length; NaN where they differ too much to be one
// current, or cannot be times.
const floatSpread = 1.5 // [proposal]
function speed(lengthM, seconds) {
  const low = Math.min(...seconds), high = Math.max(...seconds)
  if (!(lengthM >= 3 && lengthM <= 100) || seconds.length !== 3 || !(low >= 2 && high <= 600)) return NaN
  return high > floatSpread * low ? NaN : 3 * lengthM / (seconds[0] + seconds[1] + seconds[2])
}

// The floats: from the bank or moored, never wading, never on rising water.
let floats = [], since = 0, lists = ''
const place = () => (document.querySelector('input[name=place]:checked') || {}).value
const water = () => (document.querySelector('input[name=water]:checked') || {}).value
const perMetre = page.metric ? 1 : 1 / .3048

function timing() {
  if (water() === 'rising') {
    const until = card && card.data.Until
    rising = until || 0
    write('rising ' + page.url, rising)
    show()
  }
  const lengthM = Number($('length').value) / perMetre
  const why = place() === 'wading' ? 'Never wade to time a leaf. Come out first.'
    : !place() || !water() ? 'First say where you stand and what the water does.'
    : !(lengthM >= 3 && lengthM <= 100) ? 'First the length from A to B.' : ''
  $('tap').disabled = !!why
  $('tap').textContent = since ? 'At B' : 'Leaf ' + (floats.length % 3 + 1) + ' drops at A'
  $('ask').textContent = why
  if (why) { floats = []; since = 0; $('result').replaceChildren(); return }
  if (place() === 'bank') $('way').value = 0
  $('way').disabled = place() === 'bank'
  if (floats.length < 3) return

  const ms = speed(lengthM, floats)
  if (!(ms > 0)) {
    rows('result', [element('p', 'These three differ too much, or were too quick to time. Drop three again.')])
    return
  }
  const t = card.data.Table, w = weigh(t, +$('spot').value, +$('way').value, +$('body').value, +$('line').value, ms)
  const said = (ms * perMetre).toFixed(2) + (page.metric ? ' m/s' : ' ft/s') + ' at the surface. '
  rows('result', [element('p', said + (!w ? 'No usual weight holds here.' : 'Tie ' + w.tie + ' oz, pack ' + w.pack +
    ' oz here now.' + (w.short ? ' A heavier one may be needed.' : '')))])
}

function tap() {
  if (state(card, Date.now(), seen) !== 'good') return show()
  const t = performance.now()
  if (floats.length >= 3) floats = []
  if (since) { floats.push((t - since) / 1000); since = 0 } else since = t
  timing()
}

// The log: kept here under a key of its own, sent once there is signal. The club
// takes a key once, so a lost answer loses and doubles nothing.
function token() {
  const t = read('token ' + page.url, ''), day = card && card.data.Day
  try {
    return day && atob(t.replaceAll('-', '+').replaceAll('_', '/')).includes(day + ' ') ? t : ''
  } catch { return '' }
}

function keep(what, path, fields) {
  const key = crypto.getRandomValues(new Uint32Array(4)).join('-')
  const body = new URLSearchParams({...fields, key, at: Date.now()}).toString()
  if (!write('kept', [...read('kept', []), {key, what, path: path + token(), body, at: Date.now()}])) {
    $('kept').textContent = 'This phone keeps nothing: the entry is not saved.'
    return
  }
  showKept()
  send()
}

function showKept(note) {
  rows('kept', read('kept', []).map(e => element('li', e.what + ', ' + clock(e.at) + (e.refused
    ? ': not taken. ' + e.refused : ': kept, goes out with the next signal'))))
}

let sending = false
async function send() {
  if (sending) return
  sending = true
  try {
    // What was seen from the bank goes first, and no entry holds another up.
    const bankFirst = (a, b) => b.path.startsWith('/bank/') - a.path.startsWith('/bank/')
    for (const e of read('kept', []).filter(e => !e.refused).sort(bankFirst)) {
      const r = await fetch(e.path, {method: 'POST', body: e.body, signal: AbortSignal.timeout(20e3),
        headers: {'Content-Type': 'application/x-www-form-urlencoded'}})
      if (!r.ok && (r.status >= 500 || r.status === 429 || r.status === 408)) continue
      const refused = r.ok ? '' : reason(await r.text())
      const rest = read('kept', []).filter(x => x.key !== e.key)
      write('kept', refused ? [...rest, {...e, refused}] : rest)
    }
  } catch { } // no signal: the next look tries again
  sending = false
  showKept()
}

// reason is what the page of a refusal says.
function reason(html) {
  const doc = new DOMParser().parseFromString(html, 'text/html'), e = doc.querySelector('.wrong li') || doc.querySelector('main p')
  return (e ? e.textContent : 'Open the link in the mail.').slice(0, 200)
}

// keepPages keeps what the card is made of, as it is served now.
async function keepPages() {
  try {
    const cache = await caches.open('card ' + location.pathname)
    const files = [location.href.split('#')[0], ...[...document.querySelectorAll('link[href],script[src]')]
      .map(e => e.href || e.src)]
    for (const f of files) {
      const r = await fetch(f)
      if (r.ok) await cache.put(f, r)
    }
    for (const old of await cache.keys()) if (!files.includes(old.url)) await cache.delete(old)
  } catch { } // the next look tries again
}

let looking = false
async function look() {
  if (looking) return
  looking = true
  try {
    const r = await fetch(page.url, {cache: 'no-store', signal: AbortSignal.timeout(15e3)})
    const data = r.ok ? await r.json() : null
    live = !!data && Number.isFinite(data.Sent)
    if (live && !(card && card.data.Sent > data.Sent)) {
      card = {data, got: Date.now()}
      write('card ' + page.url, card)
      if (Math.abs(card.got - data.Sent) <= clockSlack) write('seen', seen = card.got)
    }
  } catch { live = false }
  looking = false
  show()
  if (!live) return
  send()
  keepPages()
}

if (location.hash.length > 20) {
  write('token ' + page.url, location.hash.slice(1))
  history.replaceState(null, '', location.pathname + location.search)
}
if ('serviceWorker' in navigator) {
  navigator.serviceWorker.register(page.worker, {scope: location.pathname}).catch(() => {})
}

$('tap').addEventListener('click', tap)
for (const e of document.querySelectorAll('#float input, #float select')) e.addEventListener('input', timing)
$('paces').addEventListener('input', () => {
  $('length').value = ($('paces').value * $('pace').value).toFixed(1)
  write('pace', $('pace').value)
  timing()
})
$('pace').value = read('pace', page.metric ? .75 : 2.5)
$('give').addEventListener('click', () => {
  const t = card.data.Table
  if (!(speed(Number($('length').value) / perMetre, floats) > 0)) return
  keep('Float timing', '/float/', {spot: t.Spots[+$('spot').value].ID, length: Number($('length').value) / perMetre,
    s1: floats[0], s2: floats[1], s3: floats[2], wind: $('wind').value, place: place(), water: water()})
  floats = []
  timing()
})
$('mine').addEventListener('click', e => {
  const say = e.target.dataset.say
  if (!say) return
  if ('danger' in e.target.dataset) write('danger ' + page.url, {what: e.target.textContent, at: Date.now()})
  keep(e.target.textContent, '/bank/', {say})
  show()
})
$('trip').addEventListener('submit', e => {
  e.preventDefault()
  const f = Object.fromEntries(new FormData(e.target))
  f.a = +f.fish === 0 ? 'none' : +f.fish < 4 ? '1-3' : '4'
  keep('Trip, ' + f.fish + ' fish', '/log/', f)
})
addEventListener('online', look)
document.addEventListener('visibilitychange', () => document.hidden || look())
setInterval(show, 10e3)
setInterval(look, 60e3)
show()
timing()
look()
