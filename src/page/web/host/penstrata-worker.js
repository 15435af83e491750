// Keeps the page on the device, so that it opens without a network. Nothing else is ever asked for.
const CACHE = 'penstrata';
const FILES = ['penstrata.html', 'penstrata.webmanifest', 'penstrata.svg'];
addEventListener('install', (event) => event.waitUntil(caches.open(CACHE).then((c) => c.addAll(FILES)).then(() => skipWaiting())));
addEventListener('activate', (event) => event.waitUntil(clients.claim()));
addEventListener('fetch', (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== 'GET' || url.origin !== location.origin) return;
  // The newest page where there is a network, the kept one where there is none.
  event.respondWith(fetch(event.request).then((fresh) => {
    if (fresh.ok) { const copy = fresh.clone(); event.waitUntil(caches.open(CACHE).then((c) => c.put(event.request, copy))); }
    return fresh;
  }).catch(() => caches.match(event.request, { ignoreSearch: true })));
});
