// Keeps one page, its data and its files for times without connection, and nothing else. What the server says goes
// first; where it says that this person may not read the series any more, everything kept is thrown away.
"use strict";

const POCKET = {{ told|safe }};
const PATIENCE = 6000; // milliseconds: a line that is slower than this is no line to somebody with a wet brush
const REFUSED = [401, 403, 404, 410];

self.addEventListener("install", (event) => event.waitUntil((async () => {
  const cache = await caches.open(POCKET.cache);
  for (const path of [POCKET.page, POCKET.data, ...POCKET.files]) {
    const answer = await fetch(path, { cache: "reload", redirect: "error" });
    if (!answer.ok) throw new Error(`${path} answered ${answer.status}`);
    await cache.put(path, answer);
  }
  await self.skipWaiting();
})()));

// An older issue's codes, and an edition's, are kept beside the latest, each under its own address; what else was asked
// for is no part of it.
function dataPath(url) {
  const said = ["issue", "edition"].map((name) => [name, url.searchParams.get(name)]).filter(([, value]) => value);
  return said.length ? `${POCKET.data}?${new URLSearchParams(said)}` : POCKET.data;
}

self.addEventListener("activate", (event) => event.waitUntil((async () => {
  const wanted = new Set([POCKET.page, POCKET.data, ...POCKET.files]);
  const cache = await caches.open(POCKET.cache);
  for (const request of await cache.keys()) {
    if (!wanted.has(new URL(request.url).pathname)) await cache.delete(request);
  }
  await self.clients.claim();
})()));

async function forget() {
  await caches.delete(POCKET.cache);
  await self.registration.unregister();
}

async function kept(path) {
  const cache = await caches.open(POCKET.cache);
  const found = await cache.match(path);
  if (!found) return undefined;
  const headers = new Headers(found.headers);
  headers.set("X-Kept", "1");
  return new Response(found.body, { status: found.status, headers });
}

function isRefusal(answer) {
  return answer.type === "opaqueredirect" || answer.redirected || REFUSED.includes(answer.status);
}

async function asked(request, path) {
  const answer = await fetch(request);
  const noEdition = answer.status === 404 && path.includes("edition="); // the page asks again without it
  if (isRefusal(answer) && !noEdition) await forget();
  else if (answer.ok) await (await caches.open(POCKET.cache)).put(path, answer.clone());
  return answer;
}

async function freshFirst(request, path) {
  const asking = asked(request, path).catch(() => null);
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE, null));
  const answer = await Promise.race([asking, late]);
  if (answer && (answer.ok || isRefusal(answer))) return answer;
  return (await kept(path)) || (await asking) || Response.error();
}

// The look-up itself is never kept: where it cannot be fetched in time, the pocket's page stands in for it.
async function elsePocket(request) {
  const asking = fetch(request).catch(() => null);
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE, null));
  const answer = await Promise.race([asking, late]);
  if (answer) {
    if (isRefusal(answer)) await forget();
    return answer;
  }
  return (await kept(POCKET.page)) || (await asking) || Response.error();
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname === POCKET.page) {
    event.respondWith(freshFirst(event.request, url.pathname));
  } else if (url.pathname === POCKET.data) {
    event.respondWith(freshFirst(event.request, dataPath(url)));
  } else if (url.pathname === POCKET.lookup && event.request.mode === "navigate") {
    event.respondWith(elsePocket(event.request));
  } else if (POCKET.files.includes(url.pathname)) {
    event.respondWith(freshFirst(event.request, url.pathname));
  }
});
