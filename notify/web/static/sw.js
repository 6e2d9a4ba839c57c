'use strict'
// The trip card's pages come from the network where there is one, else as they
// were kept. What the morning says (card.json) is the card's own matter: it must
// know whether it is fresh.
self.addEventListener('install', () => self.skipWaiting())
self.addEventListener('activate', e => e.waitUntil(self.clients.claim()))
self.addEventListener('fetch', e => {
  if (e.request.method === 'GET' && !new URL(e.request.url).pathname.endsWith('/card.json')) {
    e.respondWith(fresh(e.request))
  }
})

const patience = 4000 // ms that a weak signal may take while a kept page lies ready

async function fresh(request) {
  const kept = await caches.match(request)
  if (!kept) return fetch(request)
  const answer = fetch(request).then(r => r.ok ? r : kept, () => kept)
  return Promise.race([answer, new Promise(done => setTimeout(() => done(kept), patience))])
}
