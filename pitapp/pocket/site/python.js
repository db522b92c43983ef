// The worker in which Python runs: it starts the app over the data on this phone and answers what the shell passes
// on, one request after the other. An answer goes out when all that was written for it is on the device.
import { unpack } from "./archive.js";
import { openFolder } from "./files.js";
import { keepCode, startPython } from "./runtime.js";

const DATA = "/data";
const PACKAGES = "/packages";

const IDLE_MS = 5000;

let bridge = null, folder = null, turn = Promise.resolve(), idle = 0;
const tell = (step, done) => postMessage({ step, done });

async function start({ root, controlled }) {
  tell("Starting Python", 0);
  const opening = openFolder(`pitapp ${root}`);
  opening.catch(() => {}); // told below
  const { python, packages } = await startPython(tell, controlled);
  tell("Opening your data", 0.7);
  folder = await opening;
  folder.mount(python.FS, DATA);
  unpack(python.FS, await packages, PACKAGES);
  tell("Starting pitapp", 0.8);
  const { timeZone } = Intl.DateTimeFormat().resolvedOptions();
  python.runPython(`import sys; sys.path.insert(0, ${JSON.stringify(PACKAGES)})`);
  bridge = python.pyimport("pitapp.pocket.bridge").start(DATA, root, timeZone, new URL("./", import.meta.url).href);
  await folder.settle();
  tell("", 1);
}

function started() {
  postMessage({ ready: true });
  keepCode().catch(() => {}); // the device has no room, or it is a private window: it is unpacked each time
}

async function answer({ method, target, headers, body }) {
  const made = bridge.answer(method, target, JSON.stringify(headers), new Uint8Array(body ?? 0));
  const [status, pairs, content] = made.toJs();
  made.destroy();
  try {
    await folder.settle();
  } catch (error) {
    postMessage({ unsaved: error?.name ?? String(error) });
    throw error;
  }
  return { status, headers: pairs, body: content };
}

// Nobody waits: the copy of the day is made. What the device has no room for must not stand in the way of the next write.
async function rest() {
  try {
    bridge.rest();
    await folder.settle();
  } catch (error) {
    console.warn(`No copy of the day: ${sentence(error)}`);
    bridge.give_up();
  }
}

// Of Python's errors, which come with the way to them, the sentence at the end.
const sentence = (error) => String(error?.message ?? error).trim().split("\n").pop().replace(/^(?:\w+\.)+\w+: /, "");

addEventListener("message", ({ data, ports: [port] }) => {
  if (data.root !== undefined) {
    start(data).then(started, (error) => postMessage({ failed: sentence(error), name: error?.name }));
    return;
  }
  clearTimeout(idle);
  turn = turn.then(async () => {
    port.postMessage(await answer(data).catch((error) => ({ failed: sentence(error) })));
  });
  idle = setTimeout(() => { turn = turn.then(rest); }, IDLE_MS);
});
