"use strict";

// A bench's page without network: the page that stands in for it and the files of both
// are kept, nothing else; no page of somebody who is signed in ever is. The browser
// runs this only over https or on the server's own machine.

const KEPT = "lotward-bench";
const AWAY = [502, 503, 504]; // a front server's word for a server that is not there

// The bench's page says what stands in for it, and by which files; all come or none.
async function keep({ page, files }) {
  const urls = [page, ...files];
  const ask = { redirect: "error", cache: "no-cache" };
  const answers = await Promise.all(urls.map((url) => fetch(url, ask)));
  if (!answers.every((answer) => answer.ok)) {
    return;
  }
  const cache = await caches.open(KEPT);
  const named = urls.map((url) => new URL(url, self.location).href);
  for (const [at, url] of named.entries()) {
    await cache.put(url, answers[at]);
  }
  const others = (await cache.keys()).filter(({ url }) => !named.includes(url));
  await Promise.all(others.map((request) => cache.delete(request)));
}

async function standIn() {
  const page = await caches.match(new URL("offline/", self.registration.scope));
  return page || Response.error();
}

async function open(request) {
  try {
    const answer = await fetch(request);
    return AWAY.includes(answer.status) ? await standIn() : answer;
  } catch {
    return standIn();
  }
}

async function file(request) {
  try {
    return await fetch(request);
  } catch (error) {
    const found = await caches.match(request);
    if (!found) {
      throw error;
    }
    return found;
  }
}

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("message", (event) => event.waitUntil(keep(event.data)));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.mode === "navigate" && request.method === "GET") {
    event.respondWith(open(request));
  } else if (["script", "style", "image", "font"].includes(request.destination)) {
    event.respondWith(file(request));
  }
});
