package notify

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
