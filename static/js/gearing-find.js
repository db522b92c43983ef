// The field for a wanted ratio, rollout or top speed: the pairs of the box that come nearest, as it is typed.
import { finalDriveRatio, nearestOptions, ratioTexts, roadSpeedKmh, rolloutMm, targetRatio, topSpeedRpm } from "./gearing.js";
import { roundedText } from "./numbers.js";

const byId = (id) => document.getElementById(id);
const list = byId("near");

function row(option, text, step, known, numbers) {
  const item = byId("near-row").content.cloneNode(true);
  const { pinion_teeth: pinion, spur_teeth: spur, final_drive_ratio: ratio } = option;
  item.querySelector("b").textContent = `${pinion} / ${spur}`;
  const figure = item.querySelector("data");
  figure.value = String(ratio);
  figure.textContent = text;
  const revs = topSpeedRpm(numbers);
  const speed = revs === null ? null : roadSpeedKmh(revs, rolloutMm(numbers.tyre, ratio));
  const behind = speed === null ? "" : `, ${roundedText(speed * known.speed.of_one_kmh, 1)} ${known.speed.symbol}`;
  const percent = roundedText(step, 1).replace("-", "−");
  figure.nextElementSibling.textContent = `${Number(roundedText(step, 1)) > 0 ? "+" : ""}${percent} %${behind}`;
  if (known.fitted?.[0] === pinion && known.fitted[1] === spur) item.querySelector("form").remove();
  else {
    item.querySelector(".mark").remove();
    item.querySelector("[name=pinion]").value = pinion;
    item.querySelector("[name=spur]").value = spur;
    item.querySelector("button").setAttribute("aria-label", `Fit ${pinion} / ${spur}`);
  }
  return item;
}

function near(kind, value, options, known, numbers) {
  if (Number.isNaN(value)) throw new RangeError("Write a number here, such as 2.79.");
  const metric = kind === "speed" ? value / known.speed.of_one_kmh : value;
  return nearestOptions(options(), targetRatio(kind, metric, numbers), known.nearest);
}

/**
 * Show what comes near to the wanted figure, or what is wrong with it.
 * @param {string} kind ratio, rollout or speed
 * @param {number|null} value what was typed, in the racer's unit; null for nothing
 * @param {() => import("./gearing.js").GearOption[]} options the pairs of the box that fit
 * @param {Record<string, any>} known the page's numbers
 * @param {Record<string, number|null>} numbers tyre, kv, volts and rev_limit
 */
export function showNear(kind, value, options, known, numbers) {
  if (!list) return;
  let nearest = [], fault = "";
  if (value !== null) {
    try {
      nearest = near(kind, value, options, known, numbers);
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      fault = error.message;
    }
  }
  const texts = ratioTexts(nearest.map(({ option }) => option.final_drive_ratio));
  list.replaceChildren(
    ...nearest.map(({ option, step_percent: step }, at) => row(option, texts[at], step, known, numbers)),
  );
  list.hidden = !nearest.length;
  byId("value-error").hidden = !fault;
  byId("value-error").lastElementChild.textContent = fault;
  byId("value").toggleAttribute("aria-invalid", Boolean(fault));
  byId("value").placeholder = JSON.parse(byId("kind").dataset.examples)[kind];
  byId("near-none").hidden = value === null || Boolean(fault) || nearest.length > 0 || !known.spurs.length || !known.pinions.length;
}
