// Pages that were open once can be read again without a network; what they say may be old, and they say so.
"use strict";
const SHELF = "cakewright-1", MOST = 200;
const ALWAYS = ["/static/style.css", "/static/theme.js", "/static/offline.js", "/static/photo.js", "/static/vendor/htmx/htmx.min.js", "/static/cake.svg"];

addEventListener("install", (event) => event.waitUntil(caches.open(SHELF).then((shelf) => shelf.addAll(ALWAYS)).then(() => skipWaiting())));
addEventListener("activate", (event) => event.waitUntil(
  caches.keys().then((names) => Promise.all(names.filter((n) => n !== SHELF).map((n) => caches.delete(n)))).then(() => clients.claim())));

addEventListener("fetch", (event) => {
  const ask = event.request, url = new URL(ask.url);
  if (ask.method !== "GET" || url.origin !== location.origin || url.pathname.endsWith("/events")) return;
  if (ask.mode !== "navigate" && !url.pathname.startsWith("/static/") && !url.pathname.startsWith("/photos/") && !url.pathname.endsWith(".png")) return;
  event.respondWith(newest(ask));
});

async function newest(ask) {
  const shelf = await caches.open(SHELF);
  try {
    const answer = await fetch(ask);
    if (answer.ok && answer.type === "basic") {
      await shelf.put(ask, answer.clone());
      const known = await shelf.keys();
      for (const old of known.slice(0, Math.max(0, known.length - MOST))) if (!ALWAYS.includes(new URL(old.url).pathname)) await shelf.delete(old);
    }
    return answer;
  } catch (gone) {
    const kept = await shelf.match(ask);
    if (kept) return kept;
    throw gone;
  }
}
