// What was typed and is not saved yet, kept on this phone by the form's address, and offered when it is open again.
// A draft goes when its write is known to be saved, or waits in the outbox. Kept are what a racer typed and chose,
// never what is hidden, a file, or the form on which a device is paired.

const PREFIX = "pitapp-draft ";
const MOST_DRAFTS = 40, MOST_CHARACTERS = 20000, LONGEST_DAYS = 30, MOST_NAMED = 3, MOST_SHOWN = 40;
const DAY_MS = 86400000, EMPTIES_MS = 100;
const UNTYPED = new Set(["hidden", "file", "password", "submit", "button", "image", "reset"]);
const ABOUT = '[type="hidden"]:is([name$="_id"], [name="track"], [name="race_class"])';
const { database } = document.documentElement.dataset;
const QUERY = new URLSearchParams(location.search);
const ADDED = QUERY.getAll("added");
const bars = new Map();     // form → its offer
let own = new WeakMap();    // form → what was typed into it here, by name, and whether the server brought that
const unsafe = new Set();   // keys of writes that were sent and are neither saved nor kept to be sent
let goingOn = null;         // a draft that is being put back into a form which grows row by row

function stored(prefix = `${PREFIX}${database} `) {
  try {
    return Object.keys(localStorage).filter((key) => key.startsWith(prefix));
  } catch {
    return [];  // this browser keeps nothing
  }
}

function read(key) {
  try {
    const draft = JSON.parse(localStorage.getItem(key));
    return draft?.fields ? draft : null;
  } catch {
    return null;
  }
}

function drop(key) {
  try {
    localStorage.removeItem(key);
  } catch { /* nothing was kept */ }
}

function write(key, draft) {
  const text = JSON.stringify(draft);
  try {
    if (text.length <= MOST_CHARACTERS) localStorage.setItem(key, text);
    else drop(key);
  } catch {
    drop(key);  // a full phone keeps no draft, and not half of one
  }
}

const isTyped = ({ name, type }) => name && !UNTYPED.has(type);
const fieldsOf = (form) => [...form.elements].filter(isTyped);
const isKept = (form) =>
  form?.method === "post" && form.enctype === "application/x-www-form-urlencoded" && form.dataset.draft !== "none" && fieldsOf(form).length > 0;

// The form's address and the car, track or meeting that it is about; of several alike on a page, its number.
function addressOf(form) {
  const to = form.dataset.draft ?? form.getAttribute("action") ?? location.pathname;
  const about = [...form.querySelectorAll(ABOUT)].map(({ name, value }) => ` ${name}=${value}`);
  return to + about.join("") + (new URLSearchParams(location.search).get("outbox_mends") ?? "");
}

function keyOf(form) {
  const alike = [...document.forms].filter((other) => isKept(other) && addressOf(other) === addressOf(form));
  return `${PREFIX}${database} ${addressOf(form)} ${alike.indexOf(form)}`;
}

const isBox = ({ type }) => type === "radio" || type === "checkbox";

// What fields of one name hold: which boxes and options are chosen, what is typed, and in which unit.
function valueOf(form, name, { asOpened = false } = {}) {
  const value = { chosen: [], typed: [], unit: "" };
  for (const field of fieldsOf(form).filter((each) => each.name === name)) {
    if (isBox(field)) {
      if (asOpened ? field.defaultChecked : field.checked) value.chosen.push(field.value);
    } else if (field.options) value.chosen.push(...chosenOf([...field.options], asOpened));
    else value.typed.push(asOpened ? field.defaultValue : field.value);
    value.unit ||= unitOf(field);
  }
  return value;
}

function chosenOf(options, asOpened) {
  const chosen = options.filter((option) => (asOpened ? option.defaultSelected : option.selected));
  return (chosen.length ? chosen : options.slice(0, 1)).map(({ value }) => value);
}

const unitOf = (field) => field.dataset.unit ?? field.closest(".field-line")?.querySelector(".field-unit")?.textContent ?? "";

const same = (value, other) => JSON.stringify(value) === JSON.stringify(other);

const adds = (form) => ADDED.includes(form.dataset.adds);  // a new one for one of its lists of ticks
const hasField = (form, name) => fieldsOf(form).some((field) => field.name === name);

const versionOf = (form) => form.querySelector('[type="hidden"][name="version"]')?.value;

function save(form) {
  const key = keyOf(form);
  const { names, brought } = own.get(form);
  const before = Object.entries(read(key)?.fields ?? {});
  const fields = Object.fromEntries(before.filter(([name]) => bars.has(form) || !hasField(form, name)));
  const waits = Object.keys(fields).length > 0;
  for (const name of names) fields[name] = valueOf(form, name);
  const untouched = [...names].every((name) => same(fields[name], valueOf(form, name, { asOpened: true })));
  if (untouched && !brought && !waits) drop(key);
  else write(key, { at: Date.now(), version: versionOf(form), fields });
}

function note({ target }) {
  const { form } = target;
  if (!isKept(form) || !isTyped(target)) return;
  if (!own.has(form)) own.set(form, { names: new Set(), brought: false });
  own.get(form).names.add(target.name);
  save(form);
}

// A number that was typed in another unit than the form asks for now is left to the racer.
function putBack(form, draft) {
  const { fields } = draft;
  for (const [name, { chosen, typed, unit }] of Object.entries(fields)) {
    if (own.get(form)?.names.has(name)) continue;  // typed again since
    if (ADDED.includes(name)) continue;  // what was gone for
    const left = [...typed];
    for (const field of fieldsOf(form).filter((each) => each.name === name)) {
      if (isBox(field)) field.checked = chosen.includes(field.value) || (adds(form) && field.value === QUERY.get(form.dataset.adds));
      else if (field.options) choose([...field.options], chosen);
      else if (unit && unitOf(field) !== unit) continue;
      else field.value = left.shift() ?? field.value;
      field.closest("details")?.setAttribute("open", "");
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
  }
  const more = form.querySelector('button[name="more"]');
  goingOn = more && Object.keys(fields).some((name) => !hasField(form, name)) ? draft : null;
  if (goingOn) more.click();
}

// What is not to be chosen any more leaves the choice as it is.
function choose(options, chosen) {
  if (!options.some(({ value }) => chosen.includes(value))) return;
  for (const option of options) option.selected = chosen.includes(option.value);
}

// After another row came: the rest of what is being put back.
function goOn() {
  const form = [...document.forms].find((each) => isKept(each) && goingOn?.key === keyOf(each));
  if (form) putBack(form, goingOn);
}

function moment(at) {
  const day = new Date(at);
  const clock = day.toTimeString().slice(0, 5);
  if (new Date().toDateString() === day.toDateString()) return clock;
  return `${day.toLocaleDateString("en-GB", { day: "numeric", month: "short" })} ${clock}`;
}

const wordsOf = (node) => node?.textContent.trim().replace(/\s+/g, " ") ?? "";

const shortened = (text) => (text.length > MOST_SHOWN ? `${text.slice(0, MOST_SHOWN).trim()}…` : text);

function named(form, { fields }) {
  const said = Object.entries(fields).slice(0, MOST_NAMED).map(([name, { chosen, typed, unit }]) => {
    const all = fieldsOf(form).filter((each) => each.name === name);
    const [first] = all;
    const label = first && wordsOf(isBox(first) ? first.closest("fieldset")?.querySelector("legend") : first.labels?.[0]?.firstChild);
    const boxes = all.filter((field) => isBox(field) && chosen.includes(field.value)).map((field) => wordsOf(field.labels?.[0]));
    const options = all.flatMap((field) => [...(field.options ?? [])]).filter(({ value }) => chosen.includes(value)).map(wordsOf);
    const texts = [...boxes, ...options, ...typed.filter(Boolean).map((text) => `${text} ${unit}`.trim())];
    return `${label || name.replaceAll("_", " ")} ${shortened(texts.join(", ")) || "empty"}`;
  });
  const more = Object.keys(fields).length - said.length;
  return said.join("; ") + (more > 0 ? ` and ${more} more` : "");
}

function button(text, act) {
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: text });
  button.addEventListener("click", act);
  return button;
}

// The offer stands before the form and keeps its height when it is answered: nothing moves under the finger.
function showOffer(form, draft) {
  const bar = Object.assign(document.createElement("div"), { className: "draft no-print" });
  const text = document.createElement("p");
  const state = draft.sent ? "not known to be saved" : "not saved";
  const changed = draft.version !== versionOf(form) ? " The record was changed since." : "";
  text.textContent = `Typed at ${moment(draft.at)}, ${state}: ${named(form, draft)}.${changed}`;
  text.setAttribute("role", "status");
  const answered = (words, ...gone) => {
    bar.classList.add("answered");
    text.textContent = words;
    for (const each of gone) each.disabled = true;
    bars.delete(form);
  };
  const takes = button("Put back", () => {
    answered("Put back. Not saved yet.", takes, throws);
    putBack(form, draft);
  });
  const throws = button("Discard", () => {
    answered("Discarded.", throws);
    own.has(form) ? save(form) : drop(keyOf(form));
  });
  bar.append(text, takes, throws);
  const shut = [...document.querySelectorAll("details:not([open])")].find((each) => each.contains(form));
  (shut ?? form).before(bar);
  bar.style.minHeight = `${bar.getBoundingClientRect().height}px`;
  bars.set(form, { bar, draft });
}

function withdraw(form) {
  bars.get(form)?.bar.remove();
  bars.delete(form);
}

function look(form) {
  const key = keyOf(form);
  const draft = read(key);
  const there = draft && Object.entries(draft.fields).every(([name, texts]) => same(texts, valueOf(form, name)));
  if (there) own.set(form, { names: new Set(Object.keys(draft.fields)), brought: true });
  const pending = draft?.sent && !unsafe.has(draft.sent);
  if (!draft || there || pending) withdraw(form);
  else if (!bars.has(form) && !own.has(form) && goingOn?.key !== key) {
    if (adds(form) || ADDED.some((name) => hasField(form, name))) putBack(form, draft);  // back with what was added for this form
    else showOffer(form, { ...draft, key });
  }
}

function ask(message) {
  const worker = navigator.serviceWorker?.controller;
  if (!worker) return Promise.resolve(null);
  return new Promise((resolve) => {
    const channel = new MessageChannel();
    channel.port1.onmessage = ({ data }) => resolve(data.answer);
    worker.postMessage(message, [channel.port2]);
  });
}

// Drafts whose write was saved go, and those whose write waits in the outbox; the others are offered.
async function settle() {
  const sent = stored().filter((key) => read(key)?.sent);
  for (const key of sent) if (document.cookie.includes(read(key).sent)) drop(key);
  lookAtAll();
  for (const key of sent) {
    const write = read(key)?.sent;
    if (!write) continue;
    const state = await ask({ ask: "state", key: write });
    if (state === "trying") continue;  // the worker says when it waits
    if (state) drop(key);
    else unsafe.add(write);
    lookAtAll();
  }
}

function lookAtAll() {
  for (const form of bars.keys()) if (!form.isConnected) withdraw(form);
  for (const form of document.forms) if (isKept(form)) look(form);
}

function prune() {
  const at = (key) => read(key)?.at ?? 0;
  const newest = stored(PREFIX).sort((one, other) => at(other) - at(one));
  for (const [place, key] of newest.entries()) {
    if (place >= MOST_DRAFTS || at(key) < Date.now() - LONGEST_DAYS * DAY_MS) drop(key);
  }
}

document.addEventListener("input", note);
document.addEventListener("change", note);
document.addEventListener("formdata", ({ target, formData }) => {
  const key = isKept(target) && keyOf(target);
  const draft = key && read(key);
  if (draft) write(key, { ...draft, sent: formData.get("idempotency_key") });
});
document.addEventListener("htmx:after:swap", () => { goOn(); settle(); });
// By then the browser has filled the forms that it fills again; a page that WebKit held whole it empties a moment later.
window.addEventListener("pageshow", ({ persisted }) => {
  if (!persisted) return settle();
  setTimeout(() => { own = new WeakMap(); settle(); }, EMPTIES_MS);
});
navigator.serviceWorker?.addEventListener("message", ({ data }) => {
  if (data.unpaired === database) for (const key of stored()) drop(key);
  settle();
});
prune();
