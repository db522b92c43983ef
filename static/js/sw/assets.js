// Static files: those of this version are fetched when the worker is installed, checked by their hashes, and served
// from the phone from then on; those of screens that few open when such a screen first asks for them.

const assets = (() => {
  const CACHE = `shell-${PITAPP.version}`;
  const TYPES = {
    css: "text/css; charset=utf-8",
    js: "text/javascript; charset=utf-8",
    svg: "image/svg+xml; charset=utf-8",
    webmanifest: "application/manifest+json",
  };

  const pathBelowStatic = (url) => url.slice("/static/".length).split("?")[0];

  async function digest(buffer) {
    const bytes = new Uint8Array(await crypto.subtle.digest("SHA-256", buffer));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  const contentOf = async (url, response) => {
    const buffer = response?.ok ? await response.arrayBuffer() : null;
    return buffer && (await digest(buffer)).startsWith(url.split("=")[1]) ? buffer : null;
  };

  // The content of a file of this version as this phone has it, or null: from an earlier version, or from the page that
  // was just loaded (a script that another one imports, and an icon, have no version in their addresses there).
  async function onThisPhone(url) {
    const copy = await contentOf(url, await caches.match(url));
    if (copy) return copy;
    for (const address of [url, url.split("?")[0]]) {
      const loaded = await fetch(address, { mode: "same-origin", cache: "only-if-cached" }).catch(() => null);
      const content = await contentOf(url, loaded);
      if (content) return content;
    }
    return null;
  }

  function keep(cache, url, buffer) {
    const type = TYPES[pathBelowStatic(url).split(".").at(-1)];
    return cache.put(url, new Response(buffer, { headers: { "Content-Type": type, "X-Content-Type-Options": "nosniff" } }));
  }

  // The files of seldom screens that an earlier version has on this phone: those screens are in use here.
  async function inUse() {
    const copies = await Promise.all(PITAPP.later.map((url) => caches.match(url, { ignoreSearch: true })));
    return PITAPP.later.filter((_, at) => copies[at]);
  }

  // Keep these files of this version: those that are not on this phone yet come in one answer.
  async function keepAll(urls) {
    const cache = await caches.open(CACHE);
    const missing = [];
    await Promise.all(urls.map(async (url) => {
      const content = await onThisPhone(url);
      if (content) await keep(cache, url, content);
      else missing.push(url);
    }));
    if (!missing.length) return;
    const names = missing.map(pathBelowStatic).join(",");
    const texts = await (await fetch(`/offline/files?names=${encodeURIComponent(names)}`, { cache: "no-store" })).json();
    await Promise.all(missing.map(async (url) => {
      const content = await contentOf(url, new Response(texts[pathBelowStatic(url)]));
      if (!content) throw new Error(`${url} is not of this version`);
      return keep(cache, url, content);
    }));
  }

  /** Keep every file of this version but those of screens that are not in use here. */
  const install = async () => keepAll([...PITAPP.files, ...await inUse()]);

  /** Drop the files of every other version, and pages that no worker of this version keeps. */
  async function dropOldVersions() {
    const names = await caches.keys();
    const old = names.filter((name) => name !== CACHE && !name.startsWith(databases.cacheOf("")));
    await Promise.all(old.map((name) => caches.delete(name)));
  }

  /** Whether the worker of a version has its files on this phone. @param {string} version */
  const isInstalled = (version) => caches.has(`shell-${version}`);

  async function copyOf(request) {
    const url = new URL(request.url);
    const cache = await caches.open(CACHE);
    const exact = await cache.match(request.url);
    if (exact) return exact;
    const unmarked = !url.search && databases.servedVersion() === PITAPP.version;
    return (unmarked && (await cache.match(url.pathname, { ignoreSearch: true }))) || null;
  }

  // A file of a seldom screen, all of which are kept from now on; null for any other.
  let coming = null;
  async function firstTime(request) {
    const { pathname } = new URL(request.url);
    const isLater = PITAPP.later.some((url) => url.split("?")[0] === pathname);
    if (!isLater || databases.servedVersion() !== PITAPP.version) return null;
    coming ??= keepAll(PITAPP.later).finally(() => { coming = null; });
    await coming;
    return copyOf(request);
  }

  // An icon that is not kept, while no server is there, is no fault: the browser asks for one when it likes.
  const nothing = ({ destination }) => destination === "image" ? new Response(null, { status: 204 }) : Response.error();

  /**
   * A static file from the phone, else from the server: also where the cache cannot be read.
   * @param {Request} request
   */
  const serve = async (request) =>
    (await copyOf(request).catch(() => null)) ?? (await firstTime(request).catch(() => null)) ?? fetch(request).catch(() => nothing(request));

  return { CACHE, install, dropOldVersions, isInstalled, serve };
})();
