// Answers for the crew's pages without reception: the newest copy that was kept while there was some. What is sent never passes here.
"use strict";

const PAGES = "crew-pages";
const FILES = "crew-files";
const PATIENCE_S = 8; // on weak reception a kept page beats one that does not come
const DAYS = 14; // a home's page is kept no longer

self.addEventListener("install", (event) => event.waitUntil(self.skipWaiting()));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

const keep = async (cache, request, answer) => {
  // A sign-in page, a refusal or a fault must never stand for the form.
  if (answer.ok && !answer.redirected && answer.type === "basic") await (await caches.open(cache)).put(request, answer.clone());
  return answer;
};

const tidy = async () => {
  const pages = await caches.open(PAGES);
  for (const request of await pages.keys()) {
    const answer = await pages.match(request);
    if (Date.now() - new Date(answer.headers.get("Date")).getTime() > DAYS * 86400000) await pages.delete(request);
  }
};

self.addEventListener("message", (event) => {
  const work = async () => {
    await tidy();
    for (const [cache, urls] of [
      [PAGES, event.data.pages],
      [FILES, event.data.files],
    ]) {
      for (const url of urls) await keep(cache, url, await fetch(url, { credentials: "same-origin" }));
    }
    event.source.postMessage("kept");
  };
  event.waitUntil(work().catch(() => {})); // no reception: what is kept already stays
});

const answered = async (cache, request) => {
  const coming = fetch(request).then((answer) => keep(cache, request, answer));
  const late = new Promise((_, failed) => setTimeout(() => failed(new Error("late")), PATIENCE_S * 1000));
  try {
    return await Promise.race([coming, late]);
  } catch {
    coming.catch(() => {});
    return (await (await caches.open(cache)).match(request)) || coming; // without a copy there is nothing better than to wait
  }
};

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate" && url.pathname.startsWith("/crew/")) event.respondWith(answered(PAGES, request));
  else if (url.pathname.startsWith("/static/")) event.respondWith(answered(FILES, request));
});
