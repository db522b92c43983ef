// Static files: every one of this version is fetched when the worker is installed, checked by its hash,
// and served from the phone from then on.

const SHELL = `shell-${PITAPP.version}`;

// The version of the server that the last page came from: its unmarked scripts must be of that version too.
let servedVersion = PITAPP.version;

async function digest(buffer) {
  const bytes = new Uint8Array(await crypto.subtle.digest("SHA-256", buffer));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

const TYPES = {
  css: "text/css; charset=utf-8",
  js: "text/javascript; charset=utf-8",
  svg: "image/svg+xml; charset=utf-8",
  webmanifest: "application/manifest+json",
};

const nameOf = (url) => url.slice("/static/".length).split("?")[0];

// The file as this phone has it: from an earlier version, or from the page that was just loaded.
async function atHand(url) {
  const kept = await caches.match(url);
  return kept ?? fetch(url, { mode: "same-origin", cache: "only-if-cached" }).catch(() => null);
}

async function keepFile(cache, url, response) {
  const buffer = await response.arrayBuffer();
  if (!(await digest(buffer)).startsWith(url.split("=")[1])) throw new Error(`${url} is not of this version`);
  const type = TYPES[nameOf(url).split(".").at(-1)];
  return cache.put(url, new Response(buffer, { headers: { "Content-Type": type, "X-Content-Type-Options": "nosniff" } }));
}

async function installShell() {
  const cache = await caches.open(SHELL);
  const missing = [];
  await Promise.all(PITAPP.files.map(async (url) => {
    const response = await atHand(url);
    if (response?.ok) await keepFile(cache, url, response);
    else missing.push(url);
  }));
  if (!missing.length) return;
  const names = missing.map(nameOf).join(",");
  const texts = await (await fetch(`/offline/files?names=${encodeURIComponent(names)}`, { cache: "no-store" })).json();
  await Promise.all(missing.map((url) => keepFile(cache, url, new Response(texts[nameOf(url)]))));
}

async function dropOldVersions() {
  const names = await caches.keys();
  const old = names.filter((name) => name !== SHELL && !name.startsWith(cacheOf("")));
  await Promise.all(old.map((name) => caches.delete(name)));
}

// From the phone, else from the server: also where what is kept cannot be read.
const staticFile = async (request) =>
  (await keptFile(request).catch(() => null)) ?? fetch(request).catch(() => Response.error());

async function keptFile(request) {
  const url = new URL(request.url);
  const cache = await caches.open(SHELL);
  const exact = await cache.match(request.url);
  if (exact) return exact;
  if (!url.search && servedVersion === PITAPP.version) {
    const own = await cache.match(url.pathname, { ignoreSearch: true });
    if (own) return own;
  }
  return null;
}
