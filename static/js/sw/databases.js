// Which database answers, and whose pages are kept. Every answer of pitapp's names its database: one that names
// none comes from another program at the server's address, and counts as none. Each database's pages are apart.

const databases = (() => {
  const HEADER = "Pitapp-Database";
  const MOST_DATABASES = 3;
  const ORDER = "/offline/databases";
  const PING_LIMIT_MS = 600;

  // Whether another program answered last.
  let stranger = false;
  // The version of the server that the last page came from: its unmarked scripts must be of that version too.
  let version = PITAPP.version;

  /** The name of the cache with a database's pages. @param {string} database */
  const cacheOf = (database, ofVersion = PITAPP.version) => `pages-${ofVersion}-${database}`;

  /** The databases whose pages are kept, the one that was seen last first. @returns {Promise<string[]>} */
  async function all() {
    const order = await (await caches.open(assets.CACHE)).match(ORDER);
    return order ? order.json() : [];
  }

  /** The database whose pages are shown with no server; empty where none is known. @returns {Promise<string>} */
  const current = async () => (await all())[0] ?? "";

  /** The kept pages of a database, or of the current one. @param {string} [database] */
  const pagesOf = async (database) => caches.open(cacheOf(database ?? (await current())));

  /** Make a database the current one; the pages of those not seen for longest are dropped. @param {string} database */
  async function note(database) {
    const before = await all();
    if (before[0] === database) return;
    const order = [database, ...before.filter((other) => other !== database)].slice(0, MOST_DATABASES);
    await (await caches.open(assets.CACHE)).put(ORDER, pages.asJson(order));
    const stay = order.map((each) => cacheOf(each));
    const dropped = (await caches.keys()).filter((name) => name.startsWith(cacheOf("")) && !stay.includes(name));
    await Promise.all(dropped.map((name) => caches.delete(name)));
  }

  /** Take in what an answer's headers say of the server; a phone that is unpaired drops its pages. @param {Response} response */
  async function noticeAnswer({ headers, status }) {
    const database = headers.get(HEADER);
    stranger = !database;
    if (stranger) return;
    version = headers.get("Pitapp-Version") ?? version;
    if (status !== 401 || !headers.has("Pitapp-Unpaired")) return;
    await caches.delete(cacheOf(database));
    await writes.tellPages({ unpaired: database });
  }

  /**
   * What pitapp says of itself: its token, which database it is, of which others it holds a copy; null where
   * something else answers.
   * @param {number} limit in ms
   * @returns {Promise<{token: string, database: string, origins: string[], invented: boolean} | null>}
   */
  async function askServer(limit) {
    const response = await fetch("/token", { cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(limit) });
    await noticeAnswer(response);
    const { headers, ok } = response;
    if (!headers.has(HEADER)) return null;
    return {
      token: ok ? await response.text() : "",
      database: headers.get(HEADER),
      origins: (headers.get("Pitapp-Origins") ?? "").split(" "),
      invented: headers.has("Pitapp-Invented"),
    };
  }

  /** Whether the server answers at all: then a page that takes long is worth waiting for. @param {number} limit in ms */
  const answersWithin = (limit) => askServer(limit).then(Boolean, () => false);

  /** Whether an answer is pitapp's. A redirect cannot be looked into: then it is asked who answers. @param {Response} response */
  const isPitapps = async (response) =>
    response.type === "opaqueredirect" ? answersWithin(PING_LIMIT_MS) : response.headers.has(HEADER);

  /** A kept page is shown: its scripts are of the worker's own version. */
  const noteKeptPage = () => { version = PITAPP.version; };

  return {
    HEADER, PING_LIMIT_MS, cacheOf, current, pagesOf, note, noticeAnswer, askServer, answersWithin, isPitapps, noteKeptPage,
    strangerAnswers: () => stranger,
    servedVersion: () => version,
  };
})();
