// The data folder on this phone. Whatever holds it has the same three: `mount(FS, top)` lays it into Python's file
// system, `settle()` returns when all that was written so far is on the device, `flushes` counts how often it was.
import { openBlocks } from "./blocks.js";
import { openHandles } from "./handles.js";

const hasPrivateFiles = async () => {
  if (!globalThis.FileSystemFileHandle?.prototype.createSyncAccessHandle) return false;
  return navigator.storage.getDirectory().then(() => true, () => false); // a private window has none
};

export async function openFolder(name) {
  if (!(await hasPrivateFiles())) return openBlocks(name);
  return openHandles(name);
}
