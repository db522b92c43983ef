// A screen that listens: opens the microphone at a tap, shows level, spectrum and what is heard, and fills the form.
// The hearing itself is in worker.js. Typing goes on working whatever happens here.
import { openMicrophone, whyNone } from "./microphone.js";
import { draw } from "./picture.js";
import { freeRpmBand, limitRpmBand, sideOfLimit } from "./known.js";

const byId = (id) => document.getElementById(id);
const LONGEST_S = 60, SILENT_S = 3, SILENT_DB = -100, STEADY = 0.003;
const MESH_AGREES = 0.002, SIDES = { under: "under it", over: "over it", near: "too near to call" };
const place = byId("ear"), field = byId(place?.dataset.field);
let microphone = null, worker = null, awake = null, opening = false, began = 0, loudAt = 0, filled = "";

const whole = (value) => Math.round(value).toString().replace(/\B(?=(\d{3})+$)/g, "\u202f");
const typed = (id) => Number(byId(id)?.value.replace(/\s/g, "").replace(",", ".") || "x");

function say(text, figure = false) {
  const line = byId("ear-says");
  line.dataset.says = figure ? "figure" : "words";
  if (line.textContent !== text) line.textContent = text;
}

// What is known before: the band of revs, by Kv and voltage or by the limit.
function known() {
  if (place.dataset.ear === "limit") {
    const limit = typed("limit_rpm");
    if (!(limit >= 500 && limit <= 200000)) throw new Error("First the rev limit: it says where the tone must be.");
    const pinion = Number(place.dataset.pinion) || null;
    const [lowRpm, highRpm] = limitRpmBand(limit);
    return { limit, lowRpm, highRpm, poles: typed("poles"), pinion };
  }
  const volts = typed("volts");
  if (!(volts > 0.1 && volts <= 60)) throw new Error("First the voltage: it says where the tone must be.");
  const [lowRpm, highRpm] = freeRpmBand(Number(place.dataset.kv), volts);
  return { lowRpm, highRpm, poles: typed("poles") };
}

function stop(text) {
  microphone?.close();
  worker?.terminate();
  awake?.release();
  [microphone, worker, awake] = [null, null, null];
  byId("ear-start").textContent = "Listen again";
  if (text) say(text);
}

async function start() {
  if (opening) return;
  if (microphone) {
    stop(filled ? "" : "Stopped. Type it below, or listen again.");
    return;
  }
  const why = whyNone();
  let about = null;
  try {
    if (why) throw new Error(why);
    about = known();
    opening = true;
    say("Allow the microphone when the browser asks.");
    microphone = await openMicrophone(take, () => stop("The microphone was taken away. Type it below, or listen again."));
  } catch (error) {
    say(error.message);
    return;
  } finally {
    opening = false;
  }
  worker = new Worker(new URL("./worker.js", import.meta.url), { type: "module" });
  worker.onmessage = ({ data }) => show(data, about);
  worker.onerror = () => stop("Listening does not work in this browser. Type it below.");
  worker.postMessage({ ...about, kind: place.dataset.ear, rate: microphone.rate });
  [began, loudAt, filled] = [performance.now(), performance.now(), ""];
  byId("ear-start").textContent = "Stop";
  byId("ear-live").hidden = false;
  byId("ear-start").scrollIntoView();
  say("Listening …");
  try {
    awake = await navigator.wakeLock?.request("screen");
  } catch { /* the phone says no: its own time-out stays */ }
}

function take(samples) {
  if (!worker) return;
  const db = 10 * Math.log10(samples.reduce((sum, each) => sum + each * each, 0) / samples.length + 1e-12);
  byId("ear-level").value = db;
  const now = performance.now();
  if (db > SILENT_DB) loudAt = now;
  if (now - loudAt > 1000 * SILENT_S) {
    stop("Nothing comes from the microphone: is it covered or switched off? Type it below, or listen again.");
  } else if (now - began > 1000 * LONGEST_S) {
    stop(filled ? "" : "Nothing certain in a minute. Type it below, or listen again.");
  } else {
    worker.postMessage(samples, [samples.buffer]);
  }
}

const WORDS = {
  listening: () => "Listening …",
  quiet: () => "Too quiet: nothing stands out. Nearer, 10 to 30 cm.",
  two: () => "Two motors sound alike. Let one run alone.",
  unsure: () => "Not sure yet. Nearer, or away from other noise.",
  outside: (said, { lowRpm, highRpm, limit }) => limit
    ? `Not sure: this sounds like ${whole(said.rival)} rpm, and that is nowhere near ${whole(limit)}. Full throttle?`
    : `Not sure: this sounds like ${whole(said.rival)} rpm, and Kv and voltage allow ${whole(lowRpm)} to ${whole(highRpm)}. Are both right?`,
};

// The gear mesh's own tone, where it is heard.
function witness({ rpm, meshRpm }) {
  if (!meshRpm) return "";
  return Math.abs(meshRpm / rpm - 1) < MESH_AGREES ? "Gear mesh agrees." : `Gear mesh says ${whole(meshRpm)}.`;
}

function show(said, about) {
  if (!microphone) return;
  const hz = said.state === "heard" ? said.rpm / 60 : 0;
  const pairs = about.poles / 2, bands = [1, 6 * pairs].map((order) => [(order * about.lowRpm) / 60, (order * about.highRpm) / 60]);
  draw(byId("ear-picture"), said.picture, bands, hz ? said.orders.map((order) => order * hz) : []);
  if (said.state !== "heard") {
    if (!filled) say(WORDS[said.state](said, about));
    return;
  }
  const spread = Math.max(1, said.spread), steady = said.spread < STEADY * said.rpm;
  const figure = `${whole(said.rpm)} ± ${whole(spread)} rpm`;
  say(about.limit ? `${figure}, limit ${whole(about.limit)}: ${SIDES[sideOfLimit(said.rpm, spread, about.limit)]}. ${witness(said)}`
    : `${figure}, ${steady ? "steady" : "not steady"}. Kv ${whole(said.rpm / typed("volts"))}`, true);
  if (field.value && field.value !== filled) return;  // what was typed stays
  filled = Math.round(said.rpm).toString();
  field.value = filled;
  byId("heard_spread_rpm").value = spread.toFixed(1);
}

if (place) {
  place.hidden = false;
  byId("ear-start").addEventListener("click", start);
  field.addEventListener("input", () => {
    byId("heard_spread_rpm").value = "";
    filled = "";
  });
  field.form.addEventListener("submit", () => { if (microphone) stop(""); });
  addEventListener("pagehide", () => stop(""));
  const why = whyNone();
  if (why) say(why);
}
