// The stepper screen works everything out by itself, so that it answers at once and with no server.
import { ask } from "./ask.js";
import {
  centreDistanceMm, finalDriveRatio, freeSpeedRpm, gearOptions, longerChange, moduleMmFromDiametralPitch,
  roadSpeedKmh, rolloutMm, shorterChange,
} from "./gearing.js";
import { showNear } from "./gearing-find.js";
import { roundedText } from "./numbers.js";

const LEAST_TEETH = 6, MOST_TEETH = 200, HOLD_MS = 450, REPEAT_MS = 110;
const THOUSANDS = ["kv", "rev_limit"];
const FIGURES = [
  "final-drive", "rollout-mm", "limit-speed-kmh", "free-speed-kmh", "free-speed-rpm",
  "centre-distance-mm", "tooth-sum",
];
const form = document.getElementById("gearing-form");
const known = JSON.parse(form.dataset.numbers);
const byId = (id) => document.getElementById(id);
const boxes = new Map();

function typed(name) {
  const field = form.elements[name];
  if (!field || field.value.trim() === "") return null;
  const text = field.value.replace(/[\s\u00a0\u202f'’]/g, "");
  const [, figures, thousands] = text.match(/^(.*?)(k?)$/i);
  const parted = THOUSANDS.includes(name) ? figures.replace(/^(\d{1,3})[.,](\d{3})$/, "$1$2") : figures;
  return figures === "" ? Number.NaN : Number(parted.replace(",", ".")) * (thousands ? 1000 : 1);
}

function options(internal) {
  if (!boxes.has(internal)) {
    boxes.set(internal, gearOptions(known.pinions, known.spurs, internal, known.limits));
  }
  return boxes.get(internal);
}

function show(id, value, text) {
  const place = byId(id);
  if (!place) return;
  place.value = value === null ? "" : String(value);
  place.textContent = value === null ? "–" : text;
}

function showSpeed(id, kmh) {
  byId(id)?.closest(".figure").toggleAttribute("hidden", kmh === null);
  show(id, kmh, kmh === null ? "" : roundedText(kmh * known.speed.of_one_kmh, 1));
}

function showNeighbour(id, option) {
  const button = byId(id);
  if (!button) return;
  button.disabled = !option;
  button.value = option ? `${option.pinion_teeth}-${option.spur_teeth}` : "";
  const name = id === "longer" ? "Longer" : "Shorter";
  button.children[0].textContent = option ? `${name}, FDR ${roundedText(option.final_drive_ratio, 2)}` : name;
  button.children[1].textContent = option ? `${option.pinion_teeth} / ${option.spur_teeth}` : "none in the box";
}

/** The button that logs the pair is not offered for the one that is fitted, unless that says something new. */
function showFit(pinion, spur) {
  const button = byId("fit");
  if (!button) return;
  const fitted = known.fitted?.[0] === pinion && known.fitted[1] === spur;
  button.disabled = fitted && !known.again;
  button.textContent = fitted ? known.again || "Fitted now" : "Fit this";
}

function showNote(name, teeth, owned) {
  const note = byId(`${name}-note`);
  const at = name === "pinion" ? 0 : 1;
  if (known.fitted && known.fitted[at] === teeth) note.textContent = "fitted now";
  else if (!owned.length) note.textContent = "";
  else note.textContent = owned.includes(teeth) ? "in the box" : "not owned";
}

function work() {
  const pinion = typed("pinion"), spur = typed("spur");
  const internal = typed("internal"), tyre = typed("tyre");
  const ratio = finalDriveRatio(spur, pinion, internal);
  const rollout = rolloutMm(tyre, ratio);
  const limit = typed("rev_limit"), kv = typed("kv"), volts = typed("volts");
  const free = kv === null || volts === null ? null : freeSpeedRpm(kv, volts);
  const dp = typed("pitch_dp"), module = dp === null ? typed("module") : moduleMmFromDiametralPitch(dp);
  const distance = module === null ? null : centreDistanceMm(spur, pinion, module);
  return { pinion, spur, internal, ratio, rollout, limit, free, distance };
}

function say(sentence) {
  byId("why-not").hidden = !sentence;
  byId("why-not").lastElementChild.textContent = sentence;
}

function refresh() {
  let result;
  try {
    result = work();
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    for (const id of FIGURES) show(id, null);
    say(error.message);
    return;
  }
  const { pinion, spur, internal, ratio, rollout, limit, free, distance } = result;
  show("final-drive", ratio, roundedText(ratio, 2));
  show("rollout-mm", rollout, roundedText(rollout, 1));
  showSpeed("limit-speed-kmh", limit === null ? null : roadSpeedKmh(limit, rollout));
  showSpeed("free-speed-kmh", free === null ? null : roadSpeedKmh(free, rollout));
  byId("speed-lacks")?.toggleAttribute("hidden", limit !== null || free !== null);
  show("centre-distance-mm", distance, distance === null ? "" : roundedText(distance, 2));
  show("tooth-sum", pinion + spur, String(pinion + spur));
  show("free-speed-rpm", free, free === null ? "" : free.toFixed(0).replace(/^(\d+)(\d{3})$/, (all, front, end) => front.length > 1 ? `${front}\u202f${end}` : all));
  byId("shared-tooth-period")?.closest("div").toggleAttribute("hidden", true);
  if (known.pinions.length && known.spurs.length) {
    showNeighbour("longer", longerChange(options(internal), spur, ratio));
    showNeighbour("shorter", shorterChange(options(internal), spur, ratio));
  }
  showFit(pinion, spur);
  showNear(
    form.elements.kind?.value, typed("value"), () => options(internal), known,
    Object.fromEntries(["tyre", "kv", "volts", "rev_limit"].map((name) => [name, typed(name)])),
  );
  showNote("pinion", pinion, known.pinions);
  showNote("spur", spur, known.spurs);
  const fits = gearOptions([pinion], [spur], internal, known.limits).length > 0;
  say(fits ? "" : "Outside this car's gear limits.");
  for (const [id, value] of [["fit-pinion", pinion], ["fit-spur", spur]]) {
    if (byId(id)) byId(id).value = value;
  }
  for (const name of ["pinion", "spur"]) byId(`${name}-error`)?.remove();
  remember();
}

let remembering = 0;
function remember() {
  clearTimeout(remembering);
  remembering = setTimeout(() => {
    const asked = new URLSearchParams(new FormData(form));
    history.replaceState(null, "", `${form.getAttribute("action")}?${asked}`);
  }, 400);
}

function nudge(button) {
  const [name, way] = button.value.split("-");
  const field = form.elements[name];
  const now = typed(name);
  const next = (Number.isFinite(now) ? Math.round(now) : 40) + (way === "more" ? 1 : -1);
  field.value = Math.min(MOST_TEETH, Math.max(LEAST_TEETH, next));
  refresh();
}

form.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (button?.name === "nudge") {
    event.preventDefault();
    nudge(button);
  } else if (button?.name === "pair") {
    event.preventDefault();
    [form.elements.pinion.value, form.elements.spur.value] = button.value.split("-");
    refresh();
  } else if (button?.id === "find" || button?.classList.contains("enter")) {
    event.preventDefault();
    document.activeElement?.blur();
  }
});
form.addEventListener("input", refresh);
byId("wanted-part")?.addEventListener("input", refresh);
for (const field of form.querySelectorAll(".stepper input")) {
  field.addEventListener("focus", () => field.select());
}

// Holding a stepper's button goes on counting.
for (const button of form.querySelectorAll("button[name=nudge]")) {
  let timer = 0;
  const stop = () => clearTimeout(timer);
  const again = () => {
    nudge(button);
    timer = setTimeout(again, REPEAT_MS);
  };
  button.addEventListener("pointerdown", () => {
    timer = setTimeout(again, HOLD_MS);
  });
  for (const event of ["pointerup", "pointerleave", "pointercancel"]) button.addEventListener(event, stop);
  button.addEventListener("contextmenu", (event) => event.preventDefault());
}

// What was typed before this script was there, or put back by the browser.
if ([...form.elements].some((field) => "defaultValue" in field && field.value !== field.defaultValue)) refresh();

// On a kept page the gear in the car is the one that was fitted last and still waits on this phone.
if (byId("offline-part")?.dataset.keptAt) {
  const waiting = await ask({ ask: "run", database: document.documentElement.dataset.database });
  const car = byId("fit-form")?.elements.car_id?.value;
  const fit = waiting?.fits.filter((each) => !each.car || each.car === car).at(-1);
  if (fit) {
    known.fitted = [Number(fit.pinion), Number(fit.spur)];
    known.again = "";
    if (!location.search) [form.elements.pinion.value, form.elements.spur.value] = known.fitted;
    refresh();
  }
}
