/* {% load static %}
   Service worker that opens the entry pages of the bench offline: from the network if it answers, or else as last seen.
   It sends nothing; drafts.js stores what is typed and sends it. Logging in or out drops the stored pages. */
"use strict";
const PAGES = "bench-pages-1";
const PARTS = "bench-parts-1";
const MAX_ENTRIES = { [PAGES]: 20, [PARTS]: 100 };
const ENTRY = /^\/(jobs\/[^/]+\/clearances\/new\/[a-z_]+|clearances\/\d+\/edit)\/$/;
const LOG = ["{% url 'login' %}", "{% url 'logout' %}"];
const STATIC = "{% get_static_prefix %}";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function keep(name, url, answer) {
  if (!answer.ok || answer.redirected) return;
  const cache = await caches.open(name);
  await cache.put(url, answer);
  const held = await cache.keys();
  for (const old of held.slice(0, Math.max(0, held.length - MAX_ENTRIES[name]))) await cache.delete(old);
}

async function fromNetwork(name, request, url) {
  try {
    const answer = await fetch(request);
    await keep(name, url, answer.clone()).catch(() => { /* the storage is full: the page is shown all the same */ });
    return answer;
  } catch (error) {
    const stored = await (await caches.open(name)).match(url);
    if (stored) return stored;
    throw error;
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (LOG.includes(url.pathname)) event.waitUntil(caches.delete(PAGES));
  else if (request.method === "GET" && url.pathname.startsWith(STATIC)) event.respondWith(fromNetwork(PARTS, request, url.href));
  else if (request.mode === "navigate" && ENTRY.test(url.pathname)) {
    const page = url.origin + url.pathname;
    // What could not be sent is in the draft of the page: show the page again.
    event.respondWith(request.method === "GET" ? fromNetwork(PAGES, request, page)
      : fetch(request).catch(() => Response.redirect(page, 303)));
  }
});

/* The first visit loaded its page before this worker started: store it now. */
self.addEventListener("message", (event) => {
  const { page, parts } = event.data;
  const wanted = parts.filter((part) => new URL(part).pathname.startsWith(STATIC));
  event.waitUntil(Promise.allSettled([
    fetch(page).then((answer) => keep(PAGES, page, answer)),
    ...wanted.map((part) => fetch(part).then((answer) => keep(PARTS, part, answer))),
  ]));
});
