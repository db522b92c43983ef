// Static files: every one of this version is fetched when the worker is installed, checked by its hash,
// and served from the phone from then on.

const SHELL = `shell-${PITAPP.version}`;
const PAGES = `pages-${PITAPP.version}`;

// The version of the server that the last page came from: its unmarked scripts must be of that version too.
let servedVersion = PITAPP.version;

async function digest(buffer) {
  const bytes = new Uint8Array(await crypto.subtle.digest("SHA-256", buffer));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

async function keepFile(cache, { url, hash }) {
  const kept = await caches.match(url);
  if (kept) return cache.put(url, kept);
  const response = await fetch(url);
  const buffer = await response.clone().arrayBuffer();
  if (!response.ok || !(await digest(buffer)).startsWith(hash)) {
    throw new Error(`${url} is not of this version`);
  }
  return cache.put(url, response);
}

async function installShell() {
  const cache = await caches.open(SHELL);
  await Promise.all(PITAPP.files.map((file) => keepFile(cache, file)));
}

async function dropOldVersions() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name !== SHELL && name !== PAGES).map((name) => caches.delete(name)));
}

async function staticFile(request) {
  const url = new URL(request.url);
  const cache = await caches.open(SHELL);
  const exact = await cache.match(request.url);
  if (exact) return exact;
  if (!url.search && servedVersion === PITAPP.version) {
    const own = await cache.match(url.pathname, { ignoreSearch: true });
    if (own) return own;
  }
  return fetch(request);
}
