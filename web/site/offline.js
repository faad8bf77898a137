// Keeps the page's own files for use without a network. Everything is fetched from here and nowhere else.
const state = "@state@";
const files = ["@files@"];
const shelf = `walewise-${state}`;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(shelf)
    .then((cache) => cache.addAll(files.map((file) => new Request(file, { cache: "reload" }))))
    .then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter((n) => n.startsWith("walewise-") && n !== shelf).map((n) => caches.delete(n))))
    .then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  event.respondWith(caches.open(shelf)
    .then((cache) => cache.match(event.request, { ignoreSearch: true }))
    .then((kept) => kept ?? fetch(event.request)));
});
