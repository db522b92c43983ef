// Pages: the network first, with a short limit; then the last copy, marked with its age.

const PAGE_LIMIT_MS = 1500;
const SILENT_LIMIT_MS = 300;
const SILENT_FOR_MS = 20000;
const PING_LIMIT_MS = 600;
const SLOW_PAGE_LIMIT_MS = 60000;
const KEEP_AGAIN_MS = 60000;
const KEEP_SOON_MS = 2000;
const MOST_PAGES = 120;
const PLACE = '<div id="offline-part"></div>';

let keptPagesAt = 0;
let keeping = null;
let silentUntil = 0;

// Not `Response.json`: browsers that are some years old lack it.
const asJson = (value) => new Response(JSON.stringify(value), { headers: { "Content-Type": "application/json" } });

const withoutToken = (html) => html.replace(/(name="csrf_token" value=")[^"]*/g, "$1");

const withoutNotices = (html) =>
  html.replace(/<div id="notices"[\s\S]*?(?=<nav class="foot")/, '<div id="notices" role="status"></div>');

function htmlResponse(html, status = 200, headers = {}) {
  return new Response(html, {
    status,
    headers: { "Content-Type": "text/html; charset=utf-8", "Content-Security-Policy": PITAPP.policy, ...headers },
  });
}

async function keepPage(path, html, cacheName) {
  const cache = await caches.open(cacheName);
  await cache.put(path, htmlResponse(withoutToken(html), 200, { "Kept-At": String(Date.now()) }));
  const paths = await cache.keys();
  const oldest = paths.find(({ url }) => !url.endsWith("/offline/runs"));
  if (paths.length > MOST_PAGES) await cache.delete(oldest);
}

// Everything that must open with no server, in one request.
function keepAll(force = false) {
  if (!force && Date.now() - keptPagesAt < KEEP_AGAIN_MS) return keeping;
  keptPagesAt = Date.now();
  keeping = (async () => {
    if (!(await fetchAll())) keptPagesAt = 0;
  })().catch(() => { keptPagesAt = 0; });
  return keeping;
}

// Pages of a newer server are kept for the worker that waits to take over, never among those of this one.
async function fetchAll() {
  const response = await fetch("/offline/pages", { cache: "no-store", redirect: "manual" });
  const database = response.headers.get(DATABASE);
  if (!response.ok || !database) return false;
  const version = response.headers.get("Pitapp-Version");
  const own = version === PITAPP.version;
  if (!own && !(await caches.has(`shell-${version}`))) return false;
  const name = cacheOf(database, version);
  const bundle = await response.json();
  for (const [path, html] of Object.entries(bundle.pages)) await keepPage(path, html, name);
  const cache = await caches.open(name);
  await cache.put("/offline/runs", asJson(bundle.runs));
  if (own && !(await databaseNow())) await noteDatabase(database);
  return own;
}

// A worker is ready to take over when it can open its pages with no server.
async function installPages() {
  if (!(await fetchAll())) throw new Error("the server is of another version");
}

const after = (milliseconds) => new Promise((resolve) => { setTimeout(resolve, milliseconds); });

// After a write, when the hand has come to rest: what is kept is renewed.
async function keepSoon() {
  keptPagesAt = 0;
  await after(KEEP_SOON_MS);
  await keepAll();
}

async function fromNetwork(request, event) {
  const response = await fetch(request);
  if (response.type !== "opaqueredirect") await noticeAnswer(response);
  const url = new URL(request.url);
  const database = response.headers.get(DATABASE);
  const page = response.ok && (response.headers.get("Content-Type") ?? "").startsWith("text/html");
  if (page && database && servedVersion === PITAPP.version) {
    const copy = response.clone();
    event.waitUntil((async () => {
      await noteDatabase(database);
      await keepPage(url.pathname + url.search, withoutNotices(await copy.text()), cacheOf(database));
      if (url.pathname === "/") await keepAll();
    })().catch(() => {}));
  }
  return response;
}

async function lastCopy(url) {
  const cache = await pagesOf();
  const exact = await cache.match(url.pathname + url.search);
  if (exact) return exact;
  if (url.search && (await cache.match(url.pathname))) return Response.redirect(url.pathname, 302);
  return null;
}

// A gear that was fitted on this phone and is not sent yet is the gear of the run that is logged next of that car.
async function withWaitingGear(html, database) {
  const waiting = (await box.unsent()).filter(madeFor(database));
  const fit = waiting.findLast(({ url, body }) => {
    const car = new URLSearchParams(body).get("car_id");
    return new URL(url).pathname === "/gearing/fit" && (!car || new RegExp(`name="car_id"[^>]* value="${car}"`).test(html));
  });
  if (!fit) return html;
  const typed = new URLSearchParams(fit.body);
  const [pinion, spur] = ["pinion", "spur"].map((name) => Number(typed.get(name)));
  return put(put(html, "pinion_teeth", pinion), "spur_teeth", spur)
    .replace(/(<p class="quiet">[^<]*?)\d+ \/ \d+/, `$1${pinion} / ${spur}`);
}

// A pack whose run waits here is not the one in the car, unless the charge plan has it again.
async function withoutWaitingPack(html, database) {
  if (!html.includes('data-taken-as="in the car"') && !html.includes('data-taken-as="full"')) return html;
  const waiting = (await box.unsent()).filter(madeFor(database));
  const runs = waiting.filter((entry) => new URL(entry.url).pathname === "/runs/new");
  const used = new Set(runs.map((entry) => new URLSearchParams(entry.body).get("pack_id")));
  const preset = html.match(/name="pack_id" value="(\d+)" required checked/);
  if (!preset || !used.has(preset[1])) return html;
  return html.replace(preset[0], preset[0].replace(" checked", "")).replace(/ · pack [^·<]*(?= ·|<)/, "");
}

// The kept copy as it is shown: with its age and what waits here.
async function shown(copy, path) {
  if (copy.status !== 200) return copy;
  servedVersion = PITAPP.version;
  const keptAt = Number(copy.headers.get("Kept-At"));
  const database = await databaseNow();
  const said = await bars(path, keptAt, database);
  const place = `<div id="offline-part" data-kept-at="${keptAt}">${said}</div>`;
  let html = await copy.text();
  if (path === "/runs/new") html = await withoutWaitingPack(await withWaitingGear(html, database), database);
  return htmlResponse(html.replace(PLACE, () => place));
}

async function page(event) {
  const url = new URL(event.request.url);
  const mended = url.searchParams.get("outbox_mends");
  if (mended) {
    const entry = await box.find(mended);
    if (entry?.html) return htmlResponse(withoutToken(entry.html));
  }
  const network = fromNetwork(event.request, event);
  event.waitUntil(network.catch(() => {}));
  const silent = Date.now() < silentUntil;
  const within = (limit) => Promise.race([network, after(limit)]).catch(() => null);
  let first = await within(silent ? SILENT_LIMIT_MS : PAGE_LIMIT_MS);
  if (first === undefined && (await answersNow(silent ? SILENT_LIMIT_MS : PING_LIMIT_MS))) {
    first = await within(SLOW_PAGE_LIMIT_MS);
  }
  silentUntil = first === undefined ? Date.now() + SILENT_FOR_MS : 0;
  const answered = first && (await fromPitapp(first)) && first.status < 500;
  if (answered && first.status !== 404) return first;
  const copy = (await runThroughPage(url).catch(() => null)) ?? (answered ? null : await lastCopy(url));
  if (copy) return shown(copy, url.pathname);
  return first ?? sentence("Not kept on this phone", "The server does not answer, and this screen has not been opened here before.");
}
