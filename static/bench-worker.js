// The bench without a network: shows the bench pages and what they need from the copies kept when they were last seen.
// Entries are no business of this worker; bench.js keeps them until they are booked.

const COPIES = "bench-1";
const PATIENCE_MS = 4000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

// bench.js names what must be there when the network is not.
self.addEventListener("message", (event) => {
  event.waitUntil(Promise.all((event.data?.keep ?? []).map((url) => fresh(new Request(url, { credentials: "same-origin" })).catch(() => {}))));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith("/static/")) event.respondWith(kept(request));
  else if (url.pathname === "/bench") event.respondWith(freshOrKept(request));
});

// What is named by its content never changes.
async function kept(request) {
  return (await caches.match(request)) ?? fresh(request);
}

async function fresh(request) {
  const response = await fetch(request);
  // A redirect leads elsewhere (sign-in) and an error is no page to show again.
  if (response.ok && !response.redirected) await (await caches.open(COPIES)).put(request, response.clone());
  return response;
}

async function freshOrKept(request) {
  const copy = await caches.match(request);
  if (!copy) return fresh(request);
  const late = new Promise((resolve) => setTimeout(() => resolve(copy), PATIENCE_MS));
  return Promise.race([fresh(request).catch(() => copy), late]);
}
