// Pages: the network first, with a short limit; then the last copy, marked with its age.

const pages = (() => {
  const PAGE_LIMIT_MS = 1500;
  const SILENT_LIMIT_MS = 300;
  const SILENT_FOR_MS = 20000;
  const SLOW_PAGE_LIMIT_MS = 60000;
  const KEEP_AGAIN_MS = 60000;
  const KEEP_SOON_MS = 2000;
  const MOST_PAGES = 120;
  const RUNS = "/offline/runs";
  const FRAMES = "/offline/frames";
  const PLACE = '<div id="offline-part"></div>';
  const [NOTICES, NOTICES_END] = ["<!--notices-->", "<!--/notices-->"];
  const NO_NOTICES = '<div id="notices" role="status"></div>';

  let keptAllAt = 0;
  let keeping = null;
  let silentUntil = 0;

  /** Whether the server was silent a moment ago. */
  const serverIsSilent = () => Date.now() < silentUntil;

  /** A value as a response; not `Response.json`, which browsers that are some years old lack. @param {unknown} value */
  const asJson = (value, headers = {}) =>
    new Response(JSON.stringify(value), { headers: { "Content-Type": "application/json", ...headers } });

  /** Markup as a response, under the policy of every page. @param {string} html */
  function htmlResponse(html, status = 200, headers = {}) {
    return new Response(html, {
      status,
      headers: { "Content-Type": "text/html; charset=utf-8", "Content-Security-Policy": PITAPP.policy, ...headers },
    });
  }

  /** The markup of a response without the token of its forms, which the response names. @param {Response} response */
  async function withoutToken(response) {
    const html = await response.text();
    const token = response.headers.get("Pitapp-Token");
    return token ? html.replaceAll(token, "") : html;
  }

  // What was said on the page once is not said on its copy.
  function withoutNotices(html) {
    const [before, rest = ""] = html.split(NOTICES);
    const after = rest.split(NOTICES_END)[1];
    return after === undefined ? html : before + NOTICES + NO_NOTICES + NOTICES_END + after;
  }

  async function keep(path, html, cacheName) {
    const cache = await caches.open(cacheName);
    await cache.put(path, htmlResponse(html, 200, { "Kept-At": String(Date.now()) }));
    const paths = await cache.keys();
    const oldest = paths.find(({ url }) => ![RUNS, FRAMES].includes(new URL(url).pathname));
    if (paths.length > MOST_PAGES) await cache.delete(oldest);
  }

  /** Fetch everything that must open with no server, in one request; at most once a minute if it is not forced. */
  function keepAll(force = false) {
    if (!force && Date.now() - keptAllAt < KEEP_AGAIN_MS) return keeping;
    keptAllAt = Date.now();
    keeping = (async () => {
      if (!(await fetchAll())) keptAllAt = 0;
    })().catch(() => { keptAllAt = 0; });
    return keeping;
  }

  // Pages of a newer server are kept for the worker that waits to take over, never among those of this one.
  async function fetchAll() {
    const response = await fetch("/offline/pages", { cache: "no-store", redirect: "manual" });
    const database = response.headers.get(databases.HEADER);
    if (!response.ok || !database) return false;
    const version = response.headers.get("Pitapp-Version");
    const own = version === PITAPP.version;
    if (!own && !(await assets.isInstalled(version))) return false;
    const name = databases.cacheOf(database, version);
    const bundle = await response.json();
    for (const [path, html] of Object.entries(bundle.pages)) await keep(path, html, name);
    const cache = await caches.open(name);
    await cache.put(FRAMES, asJson(bundle.frames ?? {}, { "Kept-At": String(Date.now()) }));
    await cache.put(RUNS, asJson(bundle.runs));
    if (own && !(await databases.current())) await databases.note(database);
    return own;
  }

  /** Keep all pages as the worker is installed: it is ready to take over when it can open them with no server. */
  async function install() {
    if (!(await fetchAll())) throw new Error("the server is of another version");
  }

  const after = (milliseconds) => new Promise((resolve) => { setTimeout(resolve, milliseconds); });

  /** After a write, when the hand has come to rest, fetch what is kept anew. */
  async function keepSoon() {
    keptAllAt = 0;
    await after(KEEP_SOON_MS);
    await keepAll();
  }

  async function fromNetwork(request, event) {
    const response = await fetch(request);
    if (response.type !== "opaqueredirect") await databases.noticeAnswer(response);
    const url = new URL(request.url);
    const database = response.headers.get(databases.HEADER);
    const isPage = response.ok && (response.headers.get("Content-Type") ?? "").startsWith("text/html");
    if (isPage && database && databases.servedVersion() === PITAPP.version) {
      const copy = response.clone();
      event.waitUntil((async () => {
        await databases.note(database);
        const html = withoutNotices(await withoutToken(copy));
        await keep(url.pathname + url.search, html, databases.cacheOf(database));
        if (url.pathname === "/") await keepAll();
      })().catch(() => {}));
    }
    return response;
  }

  /** The kept copy of an address, or a redirect to the one without its question; null where there is none. @param {URL} url */
  async function lastCopy(url) {
    const cache = await databases.pagesOf();
    const exact = await cache.match(url.pathname + url.search);
    if (exact) return exact;
    if (url.search && (await cache.match(url.pathname))) return Response.redirect(url.pathname, 302);
    return null;
  }

  /**
   * Markup in the frame of a room's pages, as a kept copy; null where no frame was kept.
   * @param {string} room "checks", "packs" or "offline"
   * @param {string} title
   * @param {string} part markup
   * @param {string} [database]
   */
  async function framed(room, title, part, database) {
    const frames = await (await databases.pagesOf(database)).match(FRAMES);
    if (!frames) return null;
    const headers = { "Kept-At": frames.headers.get("Kept-At") };
    const frame = (await frames.json())[room];
    return frame ? htmlResponse(messages.filled(frame, { title }, { part }), 200, headers) : null;
  }

  /** A page of one sentence, in the frame of the Outbox where that was kept. @param {string} title @param {string} text */
  async function sentence(title, text) {
    const html = messages.screen("look", title, text);
    const page = await framed("offline", title, html);
    return htmlResponse(page ? await page.text() : html, 503);
  }

  /** The kept copy as it is shown: with its age and what waits here. @param {Response} copy @param {string} path */
  async function shownCopy(copy, path) {
    if (copy.status !== 200) return copy;
    databases.noteKeptPage();
    const keptAt = Number(copy.headers.get("Kept-At"));
    const bars = await messages.bars(path, keptAt, await databases.current());
    const place = `<div id="offline-part" data-kept-at="${keptAt}">${bars}</div>`;
    return htmlResponse((await copy.text()).replace(PLACE, () => place));
  }

  /** Answer a navigation. @param {FetchEvent} event */
  async function navigate(event) {
    const url = new URL(event.request.url);
    const key = url.searchParams.get("outbox_mends");
    if (key) {
      const entry = await outbox.find(key);
      if (entry?.html) return htmlResponse(entry.html);
    }
    const network = fromNetwork(event.request, event);
    event.waitUntil(network.catch(() => {}));
    const silent = serverIsSilent();
    const within = (limit) => Promise.race([network, after(limit)]).catch(() => null);
    let first = await within(silent ? SILENT_LIMIT_MS : PAGE_LIMIT_MS);
    if (first === undefined && (await databases.answersWithin(silent ? SILENT_LIMIT_MS : databases.PING_LIMIT_MS))) {
      first = await within(SLOW_PAGE_LIMIT_MS);
    }
    silentUntil = first === undefined ? Date.now() + SILENT_FOR_MS : 0;
    const answered = first && (await databases.isPitapps(first)) && first.status < 500;
    if (answered && first.status !== 404) return first;
    const copy = (await runs.page(url).catch(() => null)) ?? (answered ? null : await lastCopy(url));
    if (copy) return shownCopy(copy, url.pathname);
    return first ?? sentence("Not kept on this phone", "The server does not answer, and this screen has not been opened here before.");
  }

  return {
    RUNS, SLOW_PAGE_LIMIT_MS, asJson, htmlResponse, withoutToken, install, keepAll, keepSoon, lastCopy, framed, sentence,
    shownCopy, navigate, serverIsSilent,
    areKept: async () => Boolean(await (await databases.pagesOf()).match("/")),
  };
})();
