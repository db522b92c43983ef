// Answers every request under the folder: the folder's own files from what was kept of this version, the app's
// addresses (app/…) by asking the shell in whose worker Python runs. LIST stands above, written by the build.
const BASE = new URL("./", location.href).href;
const CACHE = `${BASE} ${LIST.version}`;
const SEEN = `${BASE}seen/board`; // the Board as the shell showed it last
const [PAUSE, RELOADING, STARTING] = [250, 5_000, 60_000]; // ms
const CLOSED = "its page was closed before it answered. Open pitapp again and look whether this was saved.";

addEventListener("install", (event) => event.waitUntil(keep()));
addEventListener("activate", (event) => event.waitUntil(Promise.all([tidy(), clients.claim()])));
addEventListener("message", ({ data }) => { if (data.ask === "update") skipWaiting(); });
addEventListener("fetch", (event) => {
  const { request } = event;
  if (!request.url.startsWith(BASE)) return;
  const own = request.url.slice(BASE.length).split("#")[0]; // what stands behind the # is the page's own
  if (own.startsWith("app/static/") && own.includes("?v=")) event.respondWith(keptForGood(event, own.slice(3)));
  else if (own.startsWith("app/")) event.respondWith(fromPython(event, own.slice(3)));
  else event.respondWith(fromFolder(request));
});

// The pages around the app; and all parts of a newer version, whole and checked, before it may be used.
async function keep() {
  const cache = await caches.open(CACHE);
  await cache.addAll(LIST.small.map((name) => new Request(BASE + name, { cache: "no-cache" })));
  if (!registration.active) return; // a first visit: Python's worker keeps the parts as they come
  for (const part of Object.values(LIST.parts)) {
    const { integrity } = part, address = BASE + part.address;
    if (await cache.match(address)) continue;
    const answer = (await caches.match(address)) ?? (await fetch(address, { integrity }));
    if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
    await cache.put(address, answer);
  }
}

async function tidy() {
  const cache = await caches.open(CACHE);
  const seen = await caches.match(SEEN);
  if (seen) await cache.put(SEEN, seen);
  const old = (await caches.keys()).filter((name) => name.startsWith(`${BASE} `) && name !== CACHE);
  await Promise.all(old.map((name) => caches.delete(name)));
}

async function fromFolder(request) {
  const cache = await caches.open(CACHE);
  return (await cache.match(request, { ignoreSearch: request.mode === "navigate" })) ?? fetch(request);
}

// What bears the sum of its content in its address never changes.
async function keptForGood(event, target) {
  const cache = await caches.open(CACHE);
  const kept = await cache.match(event.request);
  if (kept) return kept;
  const answer = await fromPython(event, target);
  if (answer.ok) event.waitUntil(cache.put(event.request, answer.clone()));
  return answer;
}

async function fromPython(event, target) {
  const { request } = event;
  const body = ["GET", "HEAD"].includes(request.method) ? null : await request.arrayBuffer();
  const asked = { method: request.method, target, headers: [...request.headers], body };
  const answer = await answered(asked, request.mode === "navigate" && body === null);
  if (!answer) return request.mode === "navigate" ? Response.redirect(`${BASE}#${target}`, 303) : Response.error();
  if (answer.failed) return failure(answer.failed);
  const headers = new Headers(answer.headers);
  const place = headers.get("Location");
  if (place && answer.status >= 300 && answer.status < 400) return Response.redirect(new URL(place, BASE), answer.status);
  return new Response([204, 205, 304].includes(answer.status) ? null : answer.body, { status: answer.status, headers });
}

const isShell = (url) => [BASE, `${BASE}index.html`].includes(url.split(/[?#]/)[0]);

// Where Python is just starting (again), what a page asks for waits for it; a visit gets the shell at once.
async function answered(asked, atOnce) {
  for (let waited = 0; ; waited += PAUSE) {
    const all = await clients.matchAll({ type: "window", includeUncontrolled: true });
    const shells = all.filter(({ url }) => isShell(url));
    const answer = (await Promise.all(shells.map((shell) => ask(shell, asked)))).find(Boolean);
    if (answer || atOnce || waited > (shells.length ? STARTING : RELOADING)) return answer;
    await pause();
  }
}

// Only the shell that owns Python answers with something; one that is closed meanwhile does not answer at all.
function ask(shell, asked) {
  return new Promise((resolve) => {
    const { port1, port2 } = new MessageChannel();
    let waits = true;
    port1.onmessage = ({ data }) => { waits = false; resolve(data); };
    shell.postMessage(asked, [port2]);
    const watch = async () => {
      for (await pause(); waits; await pause()) {
        if (!(await clients.get(shell.id))) return resolve(asked.body && { failed: CLOSED });
      }
    };
    watch();
  });
}

const pause = () => new Promise((go) => setTimeout(go, PAUSE));
const failure = (text) => new Response(`pitapp stopped: ${text}`, { status: 500, headers: { "Content-Type": "text/plain" } });
