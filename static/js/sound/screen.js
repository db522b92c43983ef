// A screen that listens to a motor that stands: shows its revs and fills the form. The hearing itself is in worker.js.
import { Ear, byId, say, typed, whole } from "./ear.js";
import { draw } from "./picture.js";
import { freeRpmBand, limitRpmBand, sideOfLimit } from "./known.js";

const LONGEST_S = 60, STEADY = 0.003;
const MESH_AGREES = 0.002, SIDES = { under: "under it", over: "over it", near: "too near to call" };
const place = byId("ear"), field = byId(place?.dataset.field);
let filled = "", certain = false;

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
  const hz = said.state === "heard" ? said.rpm / 60 : 0;
  const pairs = about.poles / 2, bands = [1, 6 * pairs].map((order) => [(order * about.lowRpm) / 60, (order * about.highRpm) / 60]);
  draw(byId("ear-picture"), said.picture, bands, hz ? said.orders.map((order) => order * hz) : []);
  if (said.state !== "heard") {
    if (!certain) say(WORDS[said.state](said, about));
    return;
  }
  const spread = Math.max(1, said.spread), steady = said.spread < STEADY * said.rpm;
  const figure = `${whole(said.rpm)} ± ${whole(spread)} rpm`;
  say(about.limit ? `${figure}, limit ${whole(about.limit)}: ${SIDES[sideOfLimit(said.rpm, spread, about.limit)]}. ${witness(said)}`
    : `${figure}, ${steady ? "steady" : "not steady"}. Kv ${whole(said.rpm / typed("volts"))}`, true);
  certain = true;
  if (field.value && field.value !== filled) return;  // what was typed stays
  filled = Math.round(said.rpm).toString();
  field.value = filled;
  byId("heard_spread_rpm").value = spread.toFixed(1);
}

if (place) {
  new Ear({
    worker: new URL("./worker.js", import.meta.url), known, show, longestS: LONGEST_S,
    begin: () => { certain = false; },
    certain: () => certain,
    nothing: "Nothing certain in a minute. Type it below, or listen again.",
  });
  field.addEventListener("input", () => {
    byId("heard_spread_rpm").value = "";
    filled = "";
  });
}
