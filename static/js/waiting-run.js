// A kept form for a new run, as what waits on this phone has left the car: the gear that was fitted last, and no pack
// that has run since.

import { ask } from "./ask.js";

const { database } = document.documentElement.dataset;
const isKeptCopy = Boolean(document.getElementById("offline-part")?.dataset.keptAt);
const form = /** @type {HTMLFormElement | null} */ (document.querySelector(".run-form"));
const summary = form?.querySelector("p.quiet");
const SEPARATOR = " · ";

/** @param {(part: string) => string | null} change what becomes of each part; null leaves it out */
function changeSummary(change) {
  if (!summary) return;
  const parts = summary.textContent.split(SEPARATOR).map(change);
  summary.textContent = parts.filter((part) => part !== null).join(SEPARATOR);
}

// As if the page had come with it: it counts as nothing that the racer has typed.
function preset(field, value) {
  if (field) field.defaultValue = field.value = value;
}

function takeGear(fits) {
  const { car_id: car, pinion_teeth: pinion, spur_teeth: spur } = form.elements;
  const fit = fits.filter((each) => !each.car || each.car === car?.value).at(-1);
  if (!fit) return;
  preset(pinion, fit.pinion);
  preset(spur, fit.spur);
  changeSummary((part) => (/^\d+ \/ \d+$/.test(part) ? `${fit.pinion} / ${fit.spur}` : part));
}

// A pack that has run is not the one in the car, unless the charge plan has it again.
function leavePack(packs) {
  const chosen = /** @type {HTMLInputElement | null} */ (form.querySelector("[data-taken-as] [name=pack_id]:checked"));
  const reason = chosen?.closest("[data-taken-as]").getAttribute("data-taken-as");
  if (!chosen || !["in the car", "full"].includes(reason) || !packs.includes(chosen.value)) return;
  chosen.checked = chosen.defaultChecked = false;
  changeSummary((part) => (part.startsWith("pack ") ? null : part));
}

if (isKeptCopy && form) {
  const waiting = await ask({ ask: "run", database });
  if (waiting) {
    takeGear(waiting.fits);
    leavePack(waiting.packs);
  }
}
