// Which strategy answers what.

self.addEventListener("install", (event) => { event.waitUntil(assets.install().then(pages.install)); });

self.addEventListener("activate", (event) => {
  event.waitUntil(assets.dropOldVersions().then(() => self.clients.claim()));
});

const worker = (() => {
  // A part of a page, for htmx: nothing changes where no pitapp answers.
  async function part(request) {
    const response = await fetch(request).catch(() => null);
    return response?.headers.has(databases.HEADER) ? response : new Response(null, { status: 204 });
  }

  /** Answer a request of a page, or leave it to the browser. @param {FetchEvent} event */
  function answer(event) {
    const { request } = event;
    const url = new URL(request.url);
    if (url.origin !== self.location.origin) return;
    if (request.method === "POST") {
      const form = (request.headers.get("Content-Type") ?? "").startsWith("application/x-www-form-urlencoded");
      if (form) event.respondWith(writes.handle(event));
    } else if (request.method !== "GET") {
      return;
    } else if (request.mode === "navigate") {
      event.respondWith(pages.navigate(event));
    } else if (url.pathname.startsWith("/static/")) {
      event.respondWith(assets.serve(request));
    } else if (request.headers.get("HX-Request") === "true") {
      event.respondWith(part(request));
    }
  }

  // What a page may ask for, by the name of the question.
  const QUESTIONS = {
    bars: ({ path, keptAt, database }) => messages.bars(path, keptAt, database),
    list: () => messages.outboxList(),
    waiting: async () => (await outbox.unsent()).length,
    replay: async () => {
      await writes.replay();
      return (await outbox.unsent()).filter((entry) => !outbox.isAstray(entry)).length;
    },
    run: ({ database }) => writes.waitingForRun(database),
    alive: async () => {
      const server = await databases.askServer(writes.sendLimit());
      return server?.token && server.database;
    },
    kept: () => pages.areKept(),
    ended: async () => [...charges.ended(await outbox.unsent())],
    decide: async (message) => { await decisions.take(message); return true; },
    state: async ({ key }) => (await outbox.find(key))?.state,
    file: ({ key }) => decisions.asFile(key),
    update: () => self.skipWaiting(),
    claim: () => self.clients.claim(),
  };

  /** Answer a page's question on its own port; null where there is no answer. @param {ExtendableMessageEvent} event */
  function reply(event) {
    const work = QUESTIONS[event.data?.ask];
    if (!work) return;
    event.waitUntil(Promise.resolve(work(event.data)).then(
      (value) => event.ports[0]?.postMessage({ answer: value ?? null }),
      () => event.ports[0]?.postMessage({ answer: null }),
    ));
  }

  return { answer, reply };
})();

self.addEventListener("fetch", worker.answer);
self.addEventListener("message", worker.reply);
