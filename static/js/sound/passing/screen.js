// The screen that hears a car pass: a list of passes, each with its spread, and from those that stay in it the speed
// that fills the form. The hearing itself is in worker.js.
import { Ear, byId, say, typed, whole } from "../ear.js";
import { draw } from "../picture.js";
import { heardRollout, onLimiter, together } from "./known.js";

const LONGEST_S = 300, ROLLOUT_MM = [2, 2000], AIR_C = [-30, 60], FASTEST_M_S = 36;
const place = byId("ear"), speedField = byId("top_speed_kmh"), spreadField = byId("top_speed_spread_kmh");
let heard = [], leftOut = 0, filled = "", about = null;
const dropped = new Set();

const inUnit = (metresPerSecond) => metresPerSecond * Number(place.dataset.perMS);
const speedText = (metresPerSecond, decimals = 1) => inUnit(metresPerSecond).toFixed(decimals);

// The air in °C, from the racer's own unit.
function airC() {
  const value = typed("air_c");
  return place.dataset.air === "°F" ? ((value - 32) * 5) / 9 : value;
}

// What is known before: the gear's rollout, the most revs, the air.
function known() {
  const rolloutMm = typed("rollout_mm"), limitRpm = typed("limit_rpm") || null, air = airC();
  if (!(rolloutMm >= ROLLOUT_MM[0] && rolloutMm <= ROLLOUT_MM[1])) throw new Error("First the rollout: it says which revs go with which speed.");
  if (!(air >= AIR_C[0] && air <= AIR_C[1])) throw new Error("First the air temperature: 10 °C more are 1.7 % more speed.");
  const free = Number(place.dataset.free) || (60000 * FASTEST_M_S) / rolloutMm;
  return {
    rolloutMm, airC: air, limitRpm, topRpm: limitRpm ? Math.min(limitRpm, free) : free, poles: typed("poles"),
    pinion: Number(place.dataset.pinion) || null, tyreMm: Number(place.dataset.tyre) || null,
  };
}

// One pass: "52.3 ± 0.6 km/h, 24 310 rpm, on the limiter", to be left out at a tap.
function row(pass) {
  const item = document.createElement("li"), text = document.createElement("span"), drop = document.createElement("button");
  const limiter = about.limitRpm && onLimiter(pass.rpm, pass.rpmSpread, about.limitRpm);
  const words = about.limitRpm ? (limiter ? ", on the limiter" : ", under the limiter") : "";
  const rollout = heardRollout(pass.speed, pass.rpm).toFixed(1);
  text.className = "row-text";
  text.append(Object.assign(document.createElement("b"), { textContent: `${speedText(pass.speed)} ± ${speedText(pass.spread)} ${place.dataset.unit}` }));
  text.append(Object.assign(document.createElement("small"), { textContent: `${whole(pass.rpm)} rpm${words}, rollout ${rollout} mm` }));
  drop.type = "button";
  drop.textContent = dropped.has(pass.time) ? "Take in" : "Leave out";
  drop.setAttribute("aria-label", `${drop.textContent}: ${speedText(pass.speed)} ${place.dataset.unit}`);
  drop.addEventListener("click", () => {
    if (!dropped.delete(pass.time)) dropped.add(pass.time);
    list();
  });
  item.className = dropped.has(pass.time) ? "row-plain pass-out" : "row-plain";
  item.append(text, drop);
  return item;
}

// The rollout that was heard beside that of gear and tyre, and how large the tyre would be.
function rolloutWords(passes) {
  const rollouts = passes.map(({ speed, rpm }) => heardRollout(speed, rpm)).sort((one, other) => one - other);
  const middle = rollouts[rollouts.length >> 1], tyre = about.tyreMm && (about.tyreMm * middle) / about.rolloutMm;
  const percent = 100 * (middle / about.rolloutMm - 1), sign = percent < 0 ? "−" : "+";
  return `Rollout heard ${middle.toFixed(1)} mm, by gear and tyre ${about.rolloutMm.toFixed(1)} mm (${sign}${Math.abs(percent).toFixed(1)} %)`
    + `${tyre ? `: as a tyre of ${tyre.toFixed(1)} mm` : ""}. Growth and slip are in it.`;
}

// Shows the passes, says the speed and fills the form.
function list() {
  byId("passes").replaceChildren(...heard.map(row));
  const counted = heard.filter(({ time }) => !dropped.has(time)), all = together(counted, about.airC);
  byId("passes-rollout").textContent = counted.length ? rolloutWords(counted) : "";
  byId("passes-left").textContent = leftOut
    ? `${leftOut} sound${leftOut === 1 ? "" : "s"} that no single pass fits (another car, an echo, wind): left out.` : "";
  if (!all) {
    say(heard.length ? "Every pass is left out." : "Listening … no pass yet.");
    if (filled && speedField.value === filled) speedField.value = spreadField.value = filled = "";
    return;
  }
  const passes = counted.length === 1 ? "one pass" : `${counted.length} passes`;
  say(`${speedText(all.speed)} ± ${speedText(all.spread)} ${place.dataset.unit}, ${passes}`, true);
  if (speedField.value && speedField.value !== filled) return;  // what was typed stays
  filled = speedText(all.speed, 2);
  speedField.value = filled;
  spreadField.value = speedText(all.spread, 2);
}

function show(said, before) {
  about = before;
  const orders = [1, 3 * about.poles], fastest = (1.12 * about.topRpm) / 60;
  draw(byId("ear-picture"), said.picture, orders.map((order) => [0.3 * order * fastest, order * fastest]), []);
  const changed = heard.length !== said.passes.length || leftOut !== said.leftOut
    || said.passes.some(({ time, speed }, at) => time !== heard[at].time || speed !== heard[at].speed);
  [heard, leftOut] = [said.passes, said.leftOut];
  if (changed || !heard.length) list();
}

if (place) {
  new Ear({
    worker: new URL("./worker.js", import.meta.url), known, show, longestS: LONGEST_S,
    begin: () => {
      [heard, leftOut] = [[], 0];
      dropped.clear();
      byId("passes").replaceChildren();
    },
    certain: () => heard.length > 0,
    nothing: "No pass in five minutes. Nearer to the straight, or type it below.",
  });
  speedField.addEventListener("input", () => {
    if (filled) spreadField.value = "";
    filled = "";
  });
}
