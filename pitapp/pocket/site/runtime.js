// Brings Python up: fetches the parts once, keeps them, unpacks them. `LIST` names each with its bytes and its sum.
import { LIST } from "./list.js";
import { loadPyodide } from "./runtime/pyodide.mjs";

const HERE = new URL("./", import.meta.url);
const TYPES = { wasm: "application/wasm", mjs: "text/javascript", zip: "application/zip" };
const whole = Object.values(LIST.parts).reduce((sum, { bytes }) => sum + bytes, 0);
const megabytes = (bytes) => (bytes / 1e6).toFixed(1);
const fetchPart = self.fetch.bind(self);
const ANSWERED_MS = 3000;
const UNPACKED = new URL(LIST.parts["python.wasm"].address.replace(".gz", ""), HERE);
const openCache = () => caches.open(`${HERE.href} ${LIST.version}`);
let came = 0;

async function part(name, tell) {
  const { bytes, integrity } = LIST.parts[name], address = new URL(LIST.parts[name].address, HERE);
  const cache = await openCache();
  let answer = await cache.match(address);
  if (!answer) {
    answer = await fetchPart(address, { integrity });
    if (!answer.ok) throw new Error(`${name} could not be fetched (${answer.status})`);
    const packed = await answer.arrayBuffer();
    came += bytes;
    tell(`Fetching pitapp: ${megabytes(came)} of ${megabytes(whole)} MB`, came / whole / 2);
    answer = new Response(packed);
    await cache.put(address, answer.clone());
  }
  const unpacked = answer.body.pipeThrough(new DecompressionStream("gzip"));
  return new Response(unpacked, { headers: { "Content-Type": TYPES[name.split(".")[1]] } });
}

// The runtime's code lies unpacked as well, and comes by way of the service worker where one stands in the way: so a
// browser that keeps what it made of such code keeps that too, and later starts have it ready.
async function code(tell, controlled) {
  const kept = await (await openCache()).match(UNPACKED);
  if (kept && !controlled) return kept;
  if (!kept) return part("python.wasm", tell);
  // No more than the answer's head has to be there by then: a slow phone takes longer over all of it.
  const late = new Promise((done) => { setTimeout(done, ANSWERED_MS); });
  return Promise.race([fetchPart(UNPACKED), late]).then((answer) => (isCode(answer) ? answer : kept), () => kept);
}

const isCode = (answer) => answer?.ok && answer.headers.get("Content-Type") === TYPES.wasm;

/** Lays the runtime's code beside the other parts, unpacked, when all of those are kept: what has no room is left out. */
export async function keepCode() {
  const cache = await openCache();
  if (!(await cache.match(UNPACKED))) await cache.put(UNPACKED, await part("python.wasm", () => {}));
}

// Returns Python with nothing but its own library, and a promise of the app's packages as a zip. `controlled` says
// whether a service worker answers what is fetched here.
export async function startPython(tell, controlled = false) {
  const wasm = code(tell, controlled);
  const [loader, standard, packages] = ["python.mjs", "standard.zip", "packages.zip"].map((name) => part(name, tell));
  for (const each of [wasm, standard, packages]) each.catch(() => {}); // of several that fail the first is told
  // The runtime asks for these two by address; there is nothing else that it may fetch.
  self.fetch = async (address) => (String(address).endsWith(".wasm") ? wasm : standard);
  const module = URL.createObjectURL(await (await loader).blob());
  const { default: createPyodideModule } = await import(module);
  URL.revokeObjectURL(module);
  const python = await loadPyodide({
    indexURL: new URL("runtime/", HERE).href,
    createPyodideModule,
    lockFileContents: { info: LIST.info, packages: {} },
  });
  return { python, packages: packages.then((answer) => answer.arrayBuffer()) };
}
