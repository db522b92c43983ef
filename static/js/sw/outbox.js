// The outbox: what was typed, kept in IndexedDB until the server has confirmed it.
// An entry is "trying", "waiting" or "refused", and names the database that it was made for. The store outlives
// every version of the app.

const outbox = (() => {
  const OPEN_LIMIT_MS = 5000;
  const HUNG_FOR_MS = 10000;
  const hung = new Error("The outbox does not open.");
  /** @type {Promise<IDBDatabase> | undefined} */
  let opening;
  let hungUntil = 0;

  // No version: whatever is there, also that of a newer app.
  function open(version) {
    return new Promise((resolve, reject) => {
      setTimeout(reject, OPEN_LIMIT_MS, hung);
      const request = indexedDB.open("pitapp", version);
      request.onupgradeneeded = () => {
        request.result.createObjectStore("outbox", { keyPath: "id", autoIncrement: true });
      };
      request.onsuccess = () => {
        request.result.onclose = () => { opening = undefined; };
        request.result.onversionchange = () => { request.result.close(); opening = undefined; };
        resolve(request.result);
      };
      request.onerror = () => reject(request.error);
    });
  }

  async function once(version, mode, work) {
    opening ??= open(version);
    const database = await opening;
    return new Promise((resolve, reject) => {
      const options = mode === "readwrite" ? { durability: "strict" } : {};
      const transaction = database.transaction("outbox", mode, /** @type {IDBTransactionOptions} */ (options));
      const request = work(transaction.objectStore("outbox"));
      transaction.oncomplete = () => resolve(request.result);
      transaction.onerror = transaction.onabort = () => reject(transaction.error);
    });
  }

  // What does not open, and a connection that was lost (iPhones lose them), is opened anew and tried once more.
  // Nobody waits for one that hangs more than once in a while.
  async function run(mode, work) {
    if (Date.now() < hungUntil) throw hung;
    try {
      return await once(1, mode, work);
    } catch {
      opening?.then((database) => database.close(), () => {});
      opening = undefined;
      return once(undefined, mode, work).catch((error) => {
        if (error === hung) hungUntil = Date.now() + HUNG_FOR_MS;
        throw error;
      });
    }
  }

  /** Every entry, oldest first. @returns {Promise<Entry[]>} */
  const all = () => run("readonly", (store) => store.getAll());

  /** The same, or none where the store cannot be read: pages are shown and writes go their way all the same. */
  const readable = () => all().catch(() => /** @type {Entry[]} */ ([]));

  /** @param {Entry} entry */
  const put = (entry) => run("readwrite", (store) => store.put(entry));

  /** Keep a new entry. @param {Entry} entry @returns {Promise<number>} its id */
  const add = (entry) => run("readwrite", (store) => store.add(entry));

  /** @param {number} id */
  const remove = (id) => run("readwrite", (store) => store.delete(id));

  /** @param {string} key @returns {Promise<Entry | undefined>} */
  const find = async (key) => (await readable()).find((entry) => entry.key === key);

  /** Entries that are still to be sent. @returns {Promise<Entry[]>} */
  const unsent = async () => (await readable()).filter((entry) => entry.state !== "refused");

  /** Keep what becomes of an entry, as far as there is room; it is sent again if it cannot be noted. @param {Entry} entry */
  const note = (entry) => put(entry).catch(() => put({ ...entry, html: "" })).catch(() => {});

  /** Forget one that is done with; sent again, it is done once. @param {number} id */
  const drop = (id) => remove(id).catch(() => {});

  /** Whether another database answered than the one that an entry was made for. @param {Entry} entry */
  const isAstray = ({ state, elsewhere }) => state !== "refused" && Boolean(elsewhere);

  /** Whether an entry belongs on the pages of this database; an old one says nothing of it. @param {string} database */
  const madeFor = (database) => (/** @type {Entry} */ entry) => !entry.database || entry.database === database;

  return { all, put, add, remove, find, unsent, note, drop, isAstray, madeFor };
})();
