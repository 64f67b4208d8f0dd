// Keeps the shell for when there is no network. It never keeps what a rig said: a number from here would look live.
const KEPT = 'lyewatch-BUILD_ID'
const FILES = ['/shell', '/a/BUILD_ID/trend.js', '/icon.svg', '/manifest.webmanifest']

self.addEventListener('install', (event) => {
  event.addRoutes?.({ condition: { urlPattern: { pathname: '/live' } }, source: 'network' }) // past this worker, where a browser can
  event.waitUntil(caches.open(KEPT).then((c) => c.addAll(FILES)).then(() => self.skipWaiting()))
})
self.addEventListener('activate', (event) => {
  event.waitUntil(
    caches.keys()
      .then((keys) => Promise.all(keys.filter((k) => k !== KEPT).map((k) => caches.delete(k))))
      .then(() => self.clients.claim()),
  )
})
self.addEventListener('fetch', (event) => {
  const { pathname, origin } = new URL(event.request.url)
  if (event.request.method !== 'GET' || origin !== location.origin) return
  if (event.request.mode === 'navigate') {
    if (pathname === '/' || pathname.startsWith('/rig/')) event.respondWith(caches.match('/shell').then((kept) => kept || fetch(event.request)))
  } else if (FILES.includes(pathname)) {
    event.respondWith(caches.match(pathname).then((kept) => kept || fetch(event.request)))
  }
})
