import { openFolder } from "../pit/files.js";
import { startPython } from "../pit/runtime.js";

// As in a browser that has no private file system.
if (new URL(location.href).searchParams.get("store") === "blocks" && globalThis.FileSystemFileHandle) {
  delete FileSystemFileHandle.prototype.createSyncAccessHandle;
}

const { python } = await startPython(() => {});
const folder = await openFolder(new URL(location.href).searchParams.get("folder") ?? "storage");
folder.mount(python.FS, "/data");
const full = () => { throw new DOMException("full", "QuotaExceededError"); };
const stores = [[globalThis.FileSystemSyncAccessHandle, "write"], [IDBObjectStore, "put"]];

addEventListener("message", async ({ data: { code, refuse } }) => {
  const before = stores.map(([type, name]) => type?.prototype[name]);
  if (refuse) for (const [type, name] of stores) if (type) type.prototype[name] = full;
  let answer;
  try {
    const result = python.runPython(code);
    await folder.settle();
    answer = { result: ["string", "number"].includes(typeof result) ? result : null, flushes: folder.flushes };
  } catch (error) {
    answer = { failed: String(error), flushes: folder.flushes };
  }
  stores.forEach(([type, name], at) => { if (type) type.prototype[name] = before[at]; });
  postMessage(answer);
});
postMessage({ opened: true });
