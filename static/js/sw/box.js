// The outbox: what was typed, kept in IndexedDB until the server has confirmed it.
// An entry is "trying", "waiting" or "refused", and names the database that it was made for. The store outlives
// every version of the app.

const box = (() => {
  let opened;

  function open() {
    opened ??= new Promise((resolve, reject) => {
      const asked = indexedDB.open("pitapp", 1);
      asked.onupgradeneeded = () => {
        asked.result.createObjectStore("outbox", { keyPath: "id", autoIncrement: true });
      };
      asked.onsuccess = () => {
        asked.result.onclose = () => { opened = undefined; };
        asked.result.onversionchange = () => { asked.result.close(); opened = undefined; };
        resolve(asked.result);
      };
      asked.onerror = () => { opened = undefined; reject(asked.error); };
    });
    return opened;
  }

  async function run(mode, work) {
    const database = await open();
    return new Promise((resolve, reject) => {
      const options = mode === "readwrite" ? { durability: "strict" } : {};
      const transaction = database.transaction("outbox", mode, options);
      const asked = work(transaction.objectStore("outbox"));
      transaction.oncomplete = () => resolve(asked.result);
      transaction.onerror = transaction.onabort = () => reject(transaction.error);
    });
  }

  const all = () => run("readonly", (store) => store.getAll());

  return {
    all,
    add: (entry) => run("readwrite", (store) => store.add(entry)),
    put: (entry) => run("readwrite", (store) => store.put(entry)),
    remove: (id) => run("readwrite", (store) => store.delete(id)),
    find: async (key) => (await all()).find((entry) => entry.key === key),
    unsent: async () => (await all()).filter((entry) => entry.state !== "refused"),
  };
})();

// Whether another database answered than the one that an entry was made for.
const isAstray = ({ state, elsewhere }) => state !== "refused" && Boolean(elsewhere);

// Whether an entry belongs on the pages of this database; an old one says nothing of it.
const madeFor = (database) => (entry) => !entry.database || entry.database === database;
