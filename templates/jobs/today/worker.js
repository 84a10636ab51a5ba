/* {% load static %}
   The site's service worker: what was opened stays readable without a network. Pages come from the network if it
   answers, or else as last seen: Today, the pages of jobs with their opened parts, and the entry pages of the bench.
   It sends nothing: drafts.js stores what is typed and sends it, offline.js says how old a stored page is.
   Logging in or out, or a page of another account, drops the stored pages. */
"use strict";
const PAGES = "pages-2";
const PARTS = "parts-2";
const MAX_ENTRIES = { [PAGES]: 80, [PARTS]: 150 };
const TODAY = "{% url 'today' %}";
const JOB = /^\/jobs\/(?!book\/)[^/]+\/$/;
const OF_JOB = /^\/jobs\/(?!book\/)[^/]+\//;
const ENTRY = /^\/(jobs\/[^/]+\/clearances\/new\/[a-z_]+|clearances\/\d+\/edit)\/$/;
const LOG = ["{% url 'login' %}", "{% url 'logout' %}"];
const STATIC = "{% get_static_prefix %}";
const ACCOUNT = /<meta name="account" content="(\d+)"/;
const OWNER = "account"; // the entry that says whose pages are stored
const NOT_STORED = "There is no connection to the shop’s server, and this page was not opened in this browser before.";
const LOGGED_OUT = "There is no connection to the shop’s server. The pages stored in this browser are deleted. You are not logged out yet: log out again when you are back online.";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(Promise.all([
  self.clients.claim(),
  caches.keys().then((names) => Promise.all(names.filter((name) => !(name in MAX_ENTRIES)).map((name) => caches.delete(name)))),
])));

const isStored = (path) => path === TODAY || JOB.test(path) || ENTRY.test(path);
const isPart = (request, url) => request.headers.has("HX-Request") && OF_JOB.test(url.pathname);
// A part is no page, though it may have the address of one.
const partKey = (url) => `${url.href}${url.search ? "&" : "?"}part`;

async function trim(name) {
  const cache = await caches.open(name);
  const held = (await cache.keys()).filter((request) => !request.url.endsWith(`/${OWNER}`));
  for (const old of held.slice(0, Math.max(0, held.length - MAX_ENTRIES[name]))) await cache.delete(old);
}

async function keepFile(url, answer) {
  if (!answer.ok || answer.redirected) return;
  await (await caches.open(PARTS)).put(url, answer);
  await trim(PARTS);
}

// One change of the stored pages at a time: two that drop the pages of another account would drop each other's.
let lastChange = Promise.resolve();
function changePages(change) {
  const done = lastChange.then(change);
  lastChange = done.catch(() => {});
  return done;
}
const dropPages = () => changePages(() => caches.delete(PAGES));
const keepPage = (key, answer) => changePages(() => storePage(key, answer));

/* Stored with the time; the pages of another account are dropped first. */
async function storePage(key, answer) {
  if (!answer.ok || answer.redirected) return;
  const text = await answer.text();
  const account = ACCOUNT.exec(text)?.[1];
  const cache = await caches.open(PAGES);
  const owner = await (await cache.match(OWNER))?.text();
  if (account && account !== owner) {
    for (const old of await cache.keys()) await cache.delete(old);
    await cache.put(OWNER, new Response(account));
  }
  const headers = new Headers(answer.headers);
  headers.set("X-Stored-At", new Date().toISOString());
  await cache.delete(key); // the latest last: the oldest are trimmed
  await cache.put(key, new Response(text, { status: answer.status, headers }));
  await trim(PAGES);
}

async function storedPage(key) {
  const cache = await caches.open(PAGES);
  const page = (await cache.match(key)) || (await cache.match(key, { ignoreSearch: true }));
  if (!page) return null;
  const text = (await page.text()).replace("<head>", `<head><meta name="stored-at" content="${page.headers.get("X-Stored-At")}">`);
  return new Response(text, { status: page.status, headers: page.headers });
}

function note(text) {
  const page = `<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>You are offline</title><link rel="stylesheet" href="{% static 'css/theme.css' %}"><link rel="stylesheet" href="{% static 'css/app.css' %}"></head><body><main class="page page-narrow"><div><h1>You are offline</h1><p class="page-note">${text}</p><p><a href="${TODAY}">Today</a></p></div></main></body></html>`;
  return new Response(page, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
}

async function fromNetwork(event, keep, stored) {
  try {
    const answer = await fetch(event.request);
    // The storage may be full: the page is shown anyway.
    event.waitUntil(keep(answer.clone()).catch(() => {}));
    return answer;
  } catch (error) {
    const found = await stored();
    if (found) return found;
    throw error;
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  const isRead = request.method === "GET", isPage = request.mode === "navigate";
  url.hash = "";
  if (LOG.includes(url.pathname)) {
    event.waitUntil(dropPages());
    if (isPage) event.respondWith(fetch(request).catch(() => note(isRead ? NOT_STORED : LOGGED_OUT)));
  } else if (isRead && url.pathname.startsWith(STATIC)) {
    event.respondWith(fromNetwork(event, (answer) => keepFile(url.href, answer), async () => (await caches.open(PARTS)).match(url.href)));
  } else if (isRead && isPage && isStored(url.pathname)) {
    event.respondWith(fromNetwork(event, (answer) => keepPage(url.href, answer), () => storedPage(url.href)).catch(() => note(NOT_STORED)));
  } else if (isRead && isPage) {
    event.respondWith(fetch(request).catch(() => note(NOT_STORED)));
  } else if (isPage && ENTRY.test(url.pathname)) {
    // What could not be sent is in the draft of the page: show the page again.
    event.respondWith(fetch(request).catch(() => Response.redirect(url.origin + url.pathname, 303)));
  } else if (isRead && isPart(request, url)) {
    event.respondWith(fromNetwork(event, (answer) => keepPage(partKey(url), answer), () => storedPage(partKey(url))));
  }
});

async function keepMissing(name, address, keep, isOlder = false) {
  if (isOlder || !(await (await caches.open(name)).match(address))) await keep(address, await fetch(address));
}

/* A page may have been loaded, whole or in part, before this worker was in charge of it: store what is missing. */
self.addEventListener("message", (event) => {
  const { page, parts, isOlder } = event.data;
  const wanted = parts.filter((part) => new URL(part).pathname.startsWith(STATIC));
  const pages = isStored(new URL(page).pathname) ? [page] : [];
  event.waitUntil(Promise.allSettled([
    self.clients.claim(),
    ...pages.map((address) => keepMissing(PAGES, address, keepPage, isOlder)),
    ...wanted.map((part) => keepMissing(PARTS, part, keepFile)),
  ]));
});
