// The data folder on this phone. Whatever holds it has the same three: `mount(FS, top)` lays it into Python's file
// system, `settle()` returns when all that was written so far is on the device, `flushes` counts how often it was;
// and before it is laid there, `isEmpty` says whether it holds no file yet.
import { openBlocks } from "./blocks.js";
import { openHandles } from "./handles.js";

const hasPrivateFiles = async () => {
  if (!globalThis.FileSystemFileHandle?.prototype.createSyncAccessHandle) return false;
  return navigator.storage.getDirectory().then(() => true, () => false); // a private window has none
};

// An empty database of this name says that the data are in private files: where those cannot be reached for once, an
// empty folder elsewhere would look like lost data.
const markOf = (name) => `${name} in private files`;

const mark = (name) => new Promise((done) => {
  const opening = indexedDB.open(markOf(name));
  opening.onsuccess = () => done(opening.result.close());
  opening.onerror = () => done();
});

const isThere = async (database) => (await indexedDB.databases?.() ?? []).some((each) => each.name === database);

export async function openFolder(name) {
  if (await hasPrivateFiles()) {
    const folder = await openHandles(name);
    if (folder.isEmpty && (await isThere(name))) {
      const before = await openBlocks(name); // from when the private files could not be reached
      if (!before.isEmpty) return before;
    }
    await mark(name);
    return folder;
  }
  if (await isThere(markOf(name))) {
    throw new Error("The browser does not open the files that your data are in. They are still there: close the browser, open it again, and come back.");
  }
  return openBlocks(name);
}
