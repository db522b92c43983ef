// Every write gets its key, and what waits for a server is shown and sent again.

import { ask } from "./ask.js";

const AGAIN_MS = 2000;
const SAME_TAP_MS = 20000;
const MOST_SAID = 5;
const UNSAID = new Set(["csrf_token", "version", "uuid", "back", "pack", "expected", "origin", "seen", "saw", "answer", "from", "start",
  "photo", "car_id", "motor_id", "meeting_id"]);

const answers = (level, title, text) =>
  `<a class="verdict verdict-${level}" href="${location.pathname}"><span class="row-text"><b>${title}</b>` +
  `<small>${text}</small></span></a>`;
const NEW_VERSION =
  '<div id="new-version" class="verdict verdict-look"><span class="row-text"><b>A new version is ready</b>' +
  "<small>It waits until you use it.</small></span><button>Use it</button></div>";

const KEEP_IT =
  '<div id="keep-it" class="verdict verdict-look"><span class="row-text"><b>When this phone is full, the browser may ' +
  "drop what waits</b><small>It asks you whether it may keep it.</small></span><button>Keep it</button></div>";

const place = document.getElementById("offline-part");
const outbox = document.getElementById("outbox-list");
// Where the app runs in this browser there is no server to wait for: another worker is in charge of its pages.
const inBrowser = "inBrowser" in document.documentElement.dataset;
const workers = "serviceWorker" in navigator && !inBrowser ? navigator.serviceWorker : null;
// Whether a worker was in charge of this page before it asked for one: then a newer one is an update.
const controlled = Boolean(workers?.controller);
let keptAt = Number(place?.dataset.keptAt ?? 0);
const { database } = document.documentElement.dataset;
const mends = new URLSearchParams(location.search).get("outbox_mends");

let markup = place?.innerHTML ?? "";
let again = "";
let timer = 0;
let pressed = null;
let sent = {};
const given = new WeakMap(), typed = {};
let requests = 0;

// On plain http `crypto.randomUUID` is missing.
const uuid = () => "10000000-1000-4000-8000-100000000000".replace(/[018]/g, (digit) =>
  (digit ^ (crypto.getRandomValues(new Uint8Array(1))[0] & (15 >> (digit / 4)))).toString(16));

// A tap that bounced keeps its key.
function keyFor(form, content) {
  const before = given.get(form);
  if (before && before.content === content && Date.now() - before.at < SAME_TAP_MS) return before.key;
  const key = uuid();
  given.set(form, { key, content, at: Date.now() });
  return key;
}

function isChanged(field) {
  if (!field) return false;
  if (field.options) return [...field.options].some((option) => option.selected !== option.defaultSelected);
  if (field instanceof RadioNodeList) return [...field].some(isChanged);
  if (field.type === "radio" || field.type === "checkbox") return field.checked !== field.defaultChecked;
  return field.type !== "hidden" && field.value !== field.defaultValue;
}

function labelOf(form, data) {
  const heading = (form.querySelector("#step-title") ?? document.querySelector("h1"))?.textContent.trim();
  const action = pressed?.form === form ? pressed.textContent.trim() : "";
  const filled = [...data].filter(([name, value]) => value && typeof value === "string" && !UNSAID.has(name));
  const changed = filled.filter(([name]) => isChanged(form.elements[name]));
  const said = (changed.length ? changed : filled).slice(0, MOST_SAID).map(([name, value]) => {
    const field = form.elements[name];
    const label = field?.labels?.[0]?.firstChild?.textContent.trim() || name.replaceAll("_", " ");
    const chosen = field?.tagName === "SELECT" ? field.selectedOptions[0]?.textContent.trim() : value;
    return `${label} ${chosen}`;
  });
  said.unshift(...[...form.querySelectorAll("[data-said]")].map((field) => field.dataset.said));
  return [heading, action].filter(Boolean).join(": ") + (said.length ? ` (${said.join(", ")})` : "");
}

document.addEventListener("submit", (event) => {
  pressed = event.submitter;
}, true);

document.addEventListener("formdata", (event) => {
  const form = event.target;
  if (form.method !== "post" || form.enctype !== "application/x-www-form-urlencoded") return;
  const data = event.formData;
  const content = `${pressed?.name}=${pressed?.value}&${new URLSearchParams(data)}`;
  const label = workers?.controller ? labelOf(form, data) : "";
  sent = { form, key: data.get("idempotency_key") || keyFor(form, content) };
  data.set("idempotency_key", sent.key);
  if (database) data.set("made_for", database);
  if (label) data.set("outbox_label", label);
  if (mends) data.set("outbox_mends", mends);
});

document.addEventListener("htmx:config:request", (event) => {
  const { ctx } = event.detail, { request } = ctx;
  ctx.number = requests += 1;
  for (const { id } of request.form?.elements ?? []) if (typed[id]) typed[id].sentIn ??= ctx.number;
  if (database) request.headers["Pitapp-Database"] = database;
  const key = request.body?.get?.("idempotency_key");
  if (!key) return;
  request.headers["Idempotency-Key"] = key;
  request.body.delete("idempotency_key");
  request.body.delete("made_for");
});

// What was typed stays when an answer brings its field anew, until that answer is one to what was typed: an
// older one may still come while the next is on its way.
document.addEventListener("input", ({ target }) => { typed[target.id] = { old: target }; });
document.addEventListener("htmx:after:swap", ({ detail }) => {
  for (const [id, { old, sentIn }] of Object.entries(typed)) {
    if (sentIn <= detail.ctx?.number) {
      delete typed[id];
      continue;
    }
    const field = document.getElementById(id);
    if (!field || field.form?.action !== old.form?.action) continue;
    field.value = old.value;
    field.checked = old.checked;
    typed[id].old = field;
  }
});

// Some phones' keypads for numbers have no minus.
document.addEventListener("click", ({ target }) => {
  const key = target.closest("[data-sign]");
  const field = key && document.getElementById(key.dataset.sign);
  if (!field) return;
  field.value = /^\s*[-−]/.test(field.value) ? field.value.replace(/[-−]/, "") : `-${field.value}`;
  field.dispatchEvent(new Event("input", { bubbles: true }));
  field.focus();
});

function setBars(html) {
  if (!place || html === markup) return;
  place.innerHTML = html;
  markup = html;
}

async function refresh() {
  const bars = await ask({ ask: "bars", path: location.pathname, keptAt, database });
  if (bars !== null) setBars(again + bars);
  if (outbox) outbox.innerHTML = (await ask({ ask: "list" })) ?? outbox.innerHTML;
}

async function look() {
  clearTimeout(timer);
  await refresh();
  let waiting = await ask({ ask: "waiting" });
  if (waiting) {
    askToKeep();
    waiting = await ask({ ask: "replay" });
  }
  const from = keptAt && !waiting && (await ask({ ask: "alive" }));
  if (from) {
    again = from === database
      ? answers("good", "The server answers again", "Open this page anew")
      : answers("look", "Another database answers", "This page is of the one before. Open the other");
    keptAt = 0;
  }
  await refresh();
  clearTimeout(timer);
  if (waiting || keptAt) timer = setTimeout(look, AGAIN_MS);
}

// So that a full phone does not throw away what was not sent. One browser asks its owner first: there it is asked
// for at a tap, once, with a sentence.
const asksOwner = CSS.supports("-moz-appearance", "none");
let mayAsk = true;

async function askToKeep() {
  const { storage } = navigator;
  if (!storage?.persist || !mayAsk) return;
  mayAsk = false;
  if (!asksOwner) return void storage.persist();
  if (localStorage.getItem("asked-to-keep") || (await storage.persisted())) return;
  place?.insertAdjacentHTML("afterend", KEEP_IT);
  document.querySelector("#keep-it button")?.addEventListener("click", () => {
    localStorage.setItem("asked-to-keep", "yes");
    document.getElementById("keep-it").remove();
    storage.persist();
  });
}

function offerUpdate(worker) {
  if (!(controlled || inBrowser) || worker.state !== "installed" || document.getElementById("new-version")) return;
  worker.addEventListener("statechange", () => document.getElementById("new-version")?.remove());
  place?.insertAdjacentHTML("beforebegin", NEW_VERSION);
  document.querySelector("#new-version button")?.addEventListener("click", () => {
    // In a frame the page around it goes on in the new version, with everything in it.
    navigator.serviceWorker.addEventListener("controllerchange", () => top === window && location.reload(), { once: true });
    worker.postMessage({ ask: "update" });
  });
}

async function register() {
  const registration = await workers.register("/sw.js").catch(() => null);
  if (!registration) return tell("failed");
  if (registration.waiting) offerUpdate(registration.waiting);
  if (!registration.installing && !registration.waiting && !registration.active) tell("failed");
  watchOver(registration.installing);
  registration.addEventListener("updatefound", () => watchOver(registration.installing));
  tellKept();
  // A page that was on its way while the worker took over has none: it asks for it.
  const { active } = await workers.ready;
  if (!workers.controller) active.postMessage({ ask: "claim" });
}

// The worker of the folder that the app was opened from is registered by the page around it.
async function watchFolder() {
  const registration = await navigator.serviceWorker?.getRegistration();
  if (registration?.waiting) offerUpdate(registration.waiting);
  watchOver(registration?.installing);
  registration?.addEventListener("updatefound", () => watchOver(registration.installing));
}

function watchOver(coming) {
  coming?.addEventListener("statechange", () => {
    if (coming.state === "installed") offerUpdate(coming);
    if (coming.state === "redundant" && !workers?.controller) tell("failed");
    if (coming.state === "activated") tellKept();
  });
}

const state = document.getElementById("offline-state");
const tell = (what) => { if (state) state.textContent = state.dataset[what]; };
const tellKept = async () => { if (state && (await ask({ ask: "kept" }))) tell("works"); };

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button[data-outbox]");
  if (!button) return;
  const { outbox: act, key } = button.dataset;
  if (act === "file") return save(await ask({ ask: "file", key }), `pitapp-entry-${key.slice(0, 8)}.json`);
  button.disabled = true;
  if (!(await ask({ ask: "decide", act, key }))) say("Not done: this phone has no room for it.");
  await look();
});

function save(text, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
  link.download = name;
  link.click();
}

// A write that was neither sent nor kept: its form is still here, and sends the same write when it is sent again.
function sayUnsaved({ unsaved, key }) {
  if (sent.key !== key) return;
  const mine = given.get(sent.form);
  if (mine) mine.at = Infinity;
  say(unsaved);
}

function say(text) {
  const said = document.createElement("div");
  said.className = "undo-bar";
  said.append(Object.assign(document.createElement("span"), { textContent: text }));
  document.getElementById("notices")?.replaceChildren(said);
}

// The browser's own offer to install stays quiet.
window.addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault();
  const button = document.getElementById("install");
  if (!button) return;
  button.hidden = false;
  button.addEventListener("click", () => event.prompt(), { once: true });
});

const apple = document.getElementById("install-apple");
if (apple) apple.hidden = navigator.standalone !== false;
tell(workers ? "coming" : "missing");
if (inBrowser) watchFolder();

if (workers) {
  workers.addEventListener("controllerchange", tellKept);
  workers.addEventListener("message", ({ data }) => { if (data.unsaved) sayUnsaved(data); else refresh(); });
  workers.startMessages();
  window.addEventListener("pageshow", look);
  window.addEventListener("online", look);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
  document.addEventListener("htmx:after:swap", refresh);
  if (document.readyState === "complete") register();
  else window.addEventListener("load", register);
}
