// Which strategy answers what.

self.addEventListener("install", (event) => { event.waitUntil(installShell().then(installPages)); });

self.addEventListener("activate", (event) => {
  event.waitUntil(dropOldVersions().then(() => self.clients.claim()));
});

async function part(request) {
  const response = await fetch(request).catch(() => null);
  return response?.headers.has(DATABASE) ? response : new Response(null, { status: 204 });
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST") {
    const form = (request.headers.get("Content-Type") ?? "").startsWith("application/x-www-form-urlencoded");
    if (form) event.respondWith(write(event));
  } else if (request.method !== "GET") {
    return;
  } else if (request.mode === "navigate") {
    event.respondWith(page(event));
  } else if (url.pathname.startsWith("/static/")) {
    event.respondWith(staticFile(request));
  } else if (request.headers.get("HX-Request") === "true") {
    event.respondWith(part(request));
  }
});

const ASKED = {
  bars: ({ path, keptAt, database }) => bars(path, keptAt, database),
  list: () => outboxList(),
  waiting: async () => (await box.unsent()).length,
  replay: async () => { await replay(); return (await box.unsent()).filter((entry) => !isAstray(entry)).length; },
  alive: async () => { const server = await askServer(sendLimit()); return server?.token && server.database; },
  kept: async () => Boolean(await (await pagesOf()).match("/")),
  decide: async (message) => { await decide(message); return true; },
  state: async ({ key }) => (await box.find(key))?.state,
  file: ({ key }) => asFile(key),
  update: () => self.skipWaiting(),
};

self.addEventListener("message", (event) => {
  const work = ASKED[event.data?.ask];
  if (!work) return;
  event.waitUntil(Promise.resolve(work(event.data)).then(
    (answer) => event.ports[0]?.postMessage({ answer: answer ?? null }),
    () => event.ports[0]?.postMessage({ answer: null }),
  ));
});
