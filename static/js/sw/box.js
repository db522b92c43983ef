// The outbox: what was typed, kept in IndexedDB until the server has confirmed it.
// An entry is "trying", "waiting" or "refused", and names the database that it was made for. The store outlives
// every version of the app.

const OPEN_LIMIT_MS = 5000;
const HUNG_FOR_MS = 10000;

const box = (() => {
  let opened;
  let hungUntil = 0;
  const hung = new Error("The outbox does not open.");

  // No version: whatever is there, also that of a newer app.
  function open(version) {
    return new Promise((resolve, reject) => {
      setTimeout(reject, OPEN_LIMIT_MS, hung);
      const asked = indexedDB.open("pitapp", version);
      asked.onupgradeneeded = () => {
        asked.result.createObjectStore("outbox", { keyPath: "id", autoIncrement: true });
      };
      asked.onsuccess = () => {
        asked.result.onclose = () => { opened = undefined; };
        asked.result.onversionchange = () => { asked.result.close(); opened = undefined; };
        resolve(asked.result);
      };
      asked.onerror = () => reject(asked.error);
    });
  }

  async function once(version, mode, work) {
    opened ??= open(version);
    const database = await opened;
    return new Promise((resolve, reject) => {
      const options = mode === "readwrite" ? { durability: "strict" } : {};
      const transaction = database.transaction("outbox", mode, options);
      const asked = work(transaction.objectStore("outbox"));
      transaction.oncomplete = () => resolve(asked.result);
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
      opened?.then((database) => database.close(), () => {});
      opened = undefined;
      return once(undefined, mode, work).catch((error) => {
        if (error === hung) hungUntil = Date.now() + HUNG_FOR_MS;
        throw error;
      });
    }
  }

  const all = () => run("readonly", (store) => store.getAll());
  // Where it cannot be read, pages are shown and writes go their way all the same.
  const known = () => all().catch(() => []);
  const put = (entry) => run("readwrite", (store) => store.put(entry));

  return {
    all,
    put,
    add: (entry) => run("readwrite", (store) => store.add(entry)),
    remove: (id) => run("readwrite", (store) => store.delete(id)),
    find: async (key) => (await known()).find((entry) => entry.key === key),
    unsent: async () => (await known()).filter((entry) => entry.state !== "refused"),
    // What becomes of an entry, as far as there is room to note it; it is sent again if it cannot be noted.
    note: (entry) => put(entry).catch(() => put({ ...entry, html: "" })).catch(() => {}),
    // One that is done with; sent again, it is done once.
    drop: (id) => run("readwrite", (store) => store.delete(id)).catch(() => {}),
  };
})();

// Whether another database answered than the one that an entry was made for.
const isAstray = ({ state, elsewhere }) => state !== "refused" && Boolean(elsewhere);

// Whether an entry belongs on the pages of this database; an old one says nothing of it.
const madeFor = (database) => (entry) => !entry.database || entry.database === database;
