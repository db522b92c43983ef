// The page that stays open: it owns the worker in which Python runs, shows the app in a frame, and passes what
// the service worker asks for on to Python. One page at a time owns Python; another works through that one.
const BASE = new URL("./", location.href);
const ROOT = `${BASE.pathname}app`;
const byId = (id) => document.getElementById(id);
const SEEN = `${BASE.href}seen/board`;
const frame = byId("app");
const neighbours = new BroadcastChannel(`pitapp ${BASE.pathname}`);

let python = null;
const wanted = () => location.hash.slice(1) || "/";

function say(text, done) {
  if (text) byId("step").textContent = text;
  if (done !== undefined) byId("progress").value = done;
}

// What a browser calls it when it lets a site store nothing: a private window, or cookies and site data blocked.
const REFUSALS = ["SecurityError", "NotAllowedError", "InvalidStateError"];
const trouble = ({ name, message }) => REFUSALS.includes(name)
  ? `This browser lets pitapp keep nothing (${name}), so it does not start: what you save would be gone. Open it in a window that is not private, and allow this site to store data.`
  : `pitapp did not start: ${message}`;

function fail(text) {
  byId("trouble").textContent = text;
  for (const id of ["trouble", "again"]) byId(id).hidden = false;
  byId("again").onclick = again;
}

// A newer version that waits is taken: it may start where this one does not.
async function again() {
  const waiting = (await navigator.serviceWorker?.getRegistration())?.waiting;
  if (!waiting) return location.reload();
  waiting.addEventListener("statechange", () => { if (waiting.state === "activated") location.reload(); });
  waiting.postMessage({ ask: "update" });
}

// What was written is not on the device: nobody may go on with a page that believes it is.
function stop(reason) {
  python = null;
  frame.hidden = true;
  byId("start").hidden = false;
  fail(`Not saved: this phone's storage is full, or did not take it (${reason}). Make room on the phone, then try again. What was saved before is there.`);
}

// The Board as it stands, for the next start: without its scripts, and none may run in it.
async function keepSeen() {
  const page = frame.contentDocument.documentElement.cloneNode(true);
  for (const script of page.querySelectorAll("script")) script.remove();
  const headers = {
    "Content-Type": "text/html; charset=utf-8",
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; " +
      "frame-ancestors 'self'; sandbox allow-same-origin",
    "Seen-At": String(Date.now()),
  };
  const kept = await navigator.serviceWorker.ready.then(() => caches.keys());
  const name = kept.find((each) => each.startsWith(`${BASE.href} `));
  if (name) await (await caches.open(name)).put(SEEN, new Response(`<!doctype html>${page.outerHTML}`, { headers }));
}

// What was seen of the Board last stands there while Python starts, with its age; it takes no tap.
async function showSeen() {
  if (!navigator.serviceWorker.controller || wanted() !== "/") return;
  const seen = await caches.match(SEEN);
  const at = Number(seen?.headers.get("Seen-At"));
  if (!at || python) return;
  const parts = { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" };
  byId("age").textContent = `The Board as it was ${new Date(at).toLocaleString([], parts)}`;
  byId("seen").src = SEEN;
  for (const id of ["age", "seen"]) byId(id).hidden = false;
  document.body.classList.add("has-seen");
}

// Python starts at once; the app is shown when the service worker, too, is there to carry its requests.
async function begin() {
  const worker = new Worker("python.js", { type: "module" });
  const started = new Promise((resolve, reject) => {
    worker.onerror = (event) => reject(new Error(event.message || "the worker did not start"));
    worker.onmessage = ({ data }) => {
      if (data.step !== undefined) say(data.step, data.done);
      if (data.ready) resolve();
      if (data.failed) reject({ message: data.failed, name: data.name });
      if (data.unsaved) stop(data.unsaved);
    };
  });
  worker.postMessage({ root: ROOT, controlled: Boolean(navigator.serviceWorker.controller) });
  await Promise.all([started, navigator.serviceWorker.register("sw.js").then(() => navigator.serviceWorker.ready)]);
  python = worker;
  neighbours.postMessage("me");
  show(wanted());
}

function show(place) {
  frame.contentWindow.location.replace(ROOT + place);
  frame.addEventListener("load", () => {
    for (const id of ["start", "seen"]) byId(id).hidden = true;
    frame.hidden = false;
  }, { once: true });
}

frame.addEventListener("load", () => {
  const { pathname, search, hash } = frame.contentWindow.location;
  if (!pathname.startsWith(ROOT)) return;
  document.title = frame.contentDocument.title;
  history.replaceState({ shown: true }, "", `#${pathname.slice(ROOT.length)}${search}${hash}`);
  if (pathname === `${ROOT}/`) keepSeen();
});

// A new place in the address is gone to; on the way back through what was shown the frame goes by itself.
addEventListener("hashchange", () => { if (python && !history.state?.shown) show(wanted()); });

navigator.serviceWorker?.addEventListener("message", ({ data, ports: [port] }) => {
  if (!python) return port.postMessage(null);
  python.postMessage(data, data.body ? [port, data.body] : [port]);
});
navigator.serviceWorker?.startMessages();

// A newer version took over, at a tap: Python starts again in it. On a first visit there was none before.
if (navigator.serviceWorker?.controller) {
  navigator.serviceWorker.addEventListener("controllerchange", () => location.reload());
}

// Whoever owns Python says so to whoever comes later; that one's pages are answered through the owner.
neighbours.onmessage = ({ data }) => {
  if (data === "who" && python) neighbours.postMessage("me");
  if (data === "me" && !python) location.replace(ROOT + wanted());
};

if (!navigator.serviceWorker || !globalThis.DecompressionStream) {
  fail("This browser is too old to run pitapp by itself, or this is a private window.");
} else {
  showSeen();
  const start = () => begin().catch((error) => fail(trouble(error)));
  if (!navigator.locks) start();
  else {
    navigator.locks.request(`pitapp ${BASE.pathname}`, () => {
      start();
      return new Promise(() => {});
    });
    neighbours.postMessage("who");
  }
}
