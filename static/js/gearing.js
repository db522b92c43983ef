/**
 * The gear train for a phone with no server: the same results and the same sentences as pitapp.gearing
 * (and free_speed_rpm of pitapp.motor), checked by the same vectors. No page elements here.
 *
 * Data (options, limits, gears) has the field names of the server's JSON. Impossible input throws a
 * RangeError with a sentence for the racer. Numbers may be given as text, as a form field holds them.
 *
 * @typedef {{teeth: number, module_mm: number}} Gear
 * @typedef {{pinion_teeth: number, spur_teeth: number, final_drive_ratio: number,
 *            module_mm: number|null, tooth_sum: number}} GearOption
 * @typedef {{least_tooth_sum?: number|null, most_tooth_sum?: number|null,
 *            least_centre_distance_mm?: number|null, most_centre_distance_mm?: number|null,
 *            module_mm?: number|null, smallest_pinion?: number|null, largest_pinion?: number|null,
 *            smallest_spur?: number|null, largest_spur?: number|null}} FitLimits
 */

import { number, roundedText, whole } from "./numbers.js";

const LEAST_TEETH = 6;
const MOST_TEETH = 200;
const SAME_PITCH = 0.003;
const ROUNDING = 1e-9;
const LEAST_CHANGE = 0.005;
const MOST_PINION_CHANGE = 0.06;
const LONGER = -1, SHORTER = 1;

const spurOf = (teeth) => whole(teeth, "spur", LEAST_TEETH, MOST_TEETH, "teeth");
const pinionOf = (teeth) => whole(teeth, "pinion", LEAST_TEETH, MOST_TEETH, "teeth");
const moduleOf = (moduleMm) => number(moduleMm, "module", 0.05, 10, "mm");
const tyreOf = (diameterMm) => number(diameterMm, "tyre diameter", 10, 400, "mm");
const rolloutOf = (distanceMm) => number(distanceMm, "rollout", 0.5, 2600, "mm");
const ratioOf = (ratio) => number(ratio, "final drive ratio", 0.5, 60);

/**
 * Motor revolutions per wheel revolution: spur / pinion × internal ratio.
 * @param {number} spurTeeth 6–200
 * @param {number} pinionTeeth 6–200
 * @param {number} internalRatio 0.2–20
 * @returns {number}
 * @throws {RangeError}
 */
export function finalDriveRatio(spurTeeth, pinionTeeth, internalRatio = 1) {
  const spur = spurOf(spurTeeth);
  const pinion = pinionOf(pinionTeeth);
  return (spur / pinion) * number(internalRatio, "internal ratio", 0.2, 20);
}

/**
 * How far the car rolls in one motor revolution, in mm: π × tyre diameter / FDR.
 * @param {number} tyreDiameterMm 10–400 mm
 * @param {number} finalDriveRatio 0.5–60
 * @returns {number}
 * @throws {RangeError}
 */
export function rolloutMm(tyreDiameterMm, finalDriveRatio) {
  return (Math.PI * tyreOf(tyreDiameterMm)) / ratioOf(finalDriveRatio);
}

/**
 * The final drive ratio that gives a wanted rollout: π × tyre diameter / rollout.
 * @param {number} tyreDiameterMm 10–400 mm
 * @param {number} rolloutMm 0.5–2600 mm
 * @returns {number}
 * @throws {RangeError} also when no car has such a ratio (below 0.5 or above 60)
 */
export function ratioForRollout(tyreDiameterMm, rolloutMm) {
  return ratioOf((Math.PI * tyreOf(tyreDiameterMm)) / rolloutOf(rolloutMm));
}

/**
 * Road speed in km/h: rpm × rollout × 60 / 10⁶ (no slip, no tyre growth).
 * @param {number} motorRpm 0–300 000 rpm
 * @param {number} rolloutMm 0.5–2600 mm
 * @returns {number}
 * @throws {RangeError}
 */
export function roadSpeedKmh(motorRpm, rolloutMm) {
  const rpm = number(motorRpm, "motor speed", 0, 300000, "rpm");
  return (rpm * rolloutOf(rolloutMm) * 60) / 1e6;
}

/**
 * Motor speed in rpm at a road speed: km/h × 10⁶ / (60 × rollout).
 * @param {number} roadSpeedKmh 0–1000 km/h
 * @param {number} rolloutMm 0.5–2600 mm
 * @returns {number}
 * @throws {RangeError}
 */
export function motorRpmAt(roadSpeedKmh, rolloutMm) {
  const speed = number(roadSpeedKmh, "road speed", 0, 1000, "km/h");
  return (speed * 1e6) / (60 * rolloutOf(rolloutMm));
}

/**
 * Motor speed with nothing to drive and no losses, in rpm: Kv × V.
 * @param {number} kvRpmPerV 50–20 000 rpm/V
 * @param {number} volts 0–60 V
 * @returns {number}
 * @throws {RangeError}
 */
export function freeSpeedRpm(kvRpmPerV, volts) {
  return number(kvRpmPerV, "Kv", 50, 20000, "rpm/V") * number(volts, "voltage", 0, 60, "V");
}

/**
 * Module in mm from teeth per inch of pitch diameter: 25.4 / DP.
 * @param {number} diametralPitch 4–400 per inch
 * @returns {number}
 * @throws {RangeError}
 */
export function moduleMmFromDiametralPitch(diametralPitch) {
  return 25.4 / number(diametralPitch, "diametral pitch", 4, 400, "teeth per inch");
}

/**
 * Distance between the two shafts in mm: module × (spur + pinion) / 2.
 * @param {number} spurTeeth 6–200
 * @param {number} pinionTeeth 6–200
 * @param {number} moduleMm 0.05–10 mm
 * @returns {number}
 * @throws {RangeError}
 */
export function centreDistanceMm(spurTeeth, pinionTeeth, moduleMm) {
  const spur = spurOf(spurTeeth);
  const pinion = pinionOf(pinionTeeth);
  return (moduleOf(moduleMm) * (spur + pinion)) / 2;
}

/**
 * Every pair that fits, longest gear (lowest final drive ratio) first. A plain number is a gear of the
 * limits' pitch; gears of differing pitch never pair.
 * @param {Iterable<number|Gear>} pinions
 * @param {Iterable<number|Gear>} spurs
 * @param {number} internalRatio 0.2–20
 * @param {FitLimits} limits
 * @returns {GearOption[]}
 * @throws {RangeError}
 */
export function gearOptions(pinions, spurs, internalRatio = 1, limits = {}) {
  const fits = checkedLimits(limits ?? {});
  const pinionGears = distinct(pinions, pinionOf, fits);
  const spurGears = distinct(spurs, spurOf, fits);
  const internal = number(internalRatio, "internal ratio", 0.2, 20);
  const options = [];
  for (const pinion of pinionGears) {
    for (const spur of spurGears) {
      if (!samePitch(pinion.module_mm, spur.module_mm)) continue;
      if (fits.module_mm !== null && !samePitch(pinion.module_mm, fits.module_mm)) continue;
      if (!within(pinion.teeth, spur.teeth, fits)) continue;
      options.push({
        pinion_teeth: pinion.teeth,
        spur_teeth: spur.teeth,
        final_drive_ratio: finalDriveRatio(spur.teeth, pinion.teeth, internal),
        module_mm: pinion.module_mm,
        tooth_sum: pinion.teeth + spur.teeth,
      });
    }
  }
  return options.sort(byRatio);
}

/**
 * The options nearest to a ratio, nearest first, with the signed step in %: minus is longer.
 * @param {GearOption[]} options
 * @param {number} targetRatio 0.5–60
 * @param {number} count 1–1000
 * @returns {{option: GearOption, step_percent: number}[]}
 * @throws {RangeError}
 */
export function nearestOptions(options, targetRatio, count = 3) {
  const target = number(targetRatio, "wanted final drive ratio", 0.5, 60);
  const wanted = whole(count, "number of gears to show", 1, 1000);
  const away = (option) => Math.abs(option.final_drive_ratio - target);
  return [...options]
    .sort((one, other) => away(one) - away(other) || byRatio(one, other))
    .slice(0, wanted)
    .map((option) => ({
      option,
      step_percent: (100 * (option.final_drive_ratio - target)) / target,
    }));
}

/**
 * The option with the next lower final drive ratio than the fitted one, or null.
 * @param {GearOption[]} options
 * @param {number} ratio 0.01–1000
 * @returns {GearOption|null}
 * @throws {RangeError}
 */
export function nextLonger(options, ratio) {
  return beyond(options, ratio, LONGER, ROUNDING)[0] ?? null;
}

/**
 * The option with the next higher final drive ratio than the fitted one, or null.
 * @param {GearOption[]} options
 * @param {number} ratio 0.01–1000
 * @returns {GearOption|null}
 * @throws {RangeError}
 */
export function nextShorter(options, ratio) {
  return beyond(options, ratio, SHORTER, ROUNDING)[0] ?? null;
}

/**
 * The next longer gear that is worth changing to, or null: no step under 0.5 %; one with the fitted spur
 * comes first if its step is 6 % at most.
 * @param {GearOption[]} options
 * @param {number} spurTeeth 6–200
 * @param {number} ratio 0.01–1000
 * @returns {GearOption|null}
 * @throws {RangeError}
 */
export function longerChange(options, spurTeeth, ratio) {
  return change(options, spurTeeth, ratio, LONGER);
}

/**
 * The next shorter gear that is worth changing to, or null, with the rules of `longerChange`.
 * @param {GearOption[]} options
 * @param {number} spurTeeth 6–200
 * @param {number} ratio 0.01–1000
 * @returns {GearOption|null}
 * @throws {RangeError}
 */
export function shorterChange(options, spurTeeth, ratio) {
  return change(options, spurTeeth, ratio, SHORTER);
}

/**
 * The motor speed that sets the top speed: the rev limit, or the free speed if that is lower; null if neither is known.
 * @param {{kv?: number|null, volts?: number|null, rev_limit?: number|null}} numbers
 * @returns {number|null}
 * @throws {RangeError}
 */
export function topSpeedRpm({ kv, volts, rev_limit: limit }) {
  const free = (kv ?? null) === null || (volts ?? null) === null ? null : freeSpeedRpm(kv, volts);
  const known = [limit ?? null, free].filter((each) => each !== null);
  return known.length ? Math.min(...known) : null;
}

/**
 * The final drive ratio that gives a ratio, a rollout in mm or a top speed in km/h.
 * @param {string} kind ratio, rollout or speed
 * @param {number} value
 * @param {{tyre: number, kv?: number|null, volts?: number|null, rev_limit?: number|null}} numbers
 * @returns {number}
 * @throws {RangeError}
 */
export function targetRatio(kind, value, { tyre, kv, volts, rev_limit: limit }) {
  let ratio = value;
  if (kind === "rollout") ratio = (Math.PI * tyre) / number(value, "rollout", 1, 2000, "mm");
  if (kind === "speed") {
    const speed = number(value, "top speed", 1, 1000, "km/h");
    const revs = topSpeedRpm({ kv, volts, rev_limit: limit });
    if (revs === null) {
      throw new RangeError("Give the car a motor and a pack voltage, or a rev limit, to go by speed.");
    }
    ratio = (Math.PI * tyre * revs * 60) / 1e6 / speed;
  }
  return ratioOf(ratio);
}

/**
 * Final drive ratios as they are read in one list: two decimals; three where two would read the same.
 * @param {number[]} ratios 0–1000 each
 * @returns {string[]}
 * @throws {RangeError}
 */
export function ratioTexts(ratios) {
  for (const ratio of ratios) number(ratio, "final drive ratio", 0, 1000);
  const texts = [2, 3].map((decimals) => ratios.map((ratio) => roundedText(ratio, decimals)));
  return texts[0].map((text, at) => {
    const alike = texts[1].filter((_, other) => texts[0][other] === text);
    return new Set(alike).size > 1 ? texts[1][at] : text;
  });
}

function change(options, spurTeeth, ratio, way) {
  const spur = spurOf(spurTeeth);
  const worthIt = beyond(options, ratio, way, LEAST_CHANGE - ROUNDING);
  const pinionAlone = worthIt.find((option) => option.spur_teeth === spur);
  const step = pinionAlone ? Math.abs(pinionAlone.final_drive_ratio / ratio - 1) : Infinity;
  return step <= MOST_PINION_CHANGE + ROUNDING ? pinionAlone : worthIt[0] ?? null;
}

/** The options longer or shorter than a ratio by more than a share of it, nearest first. */
function beyond(options, ratio, way, share) {
  const fitted = number(ratio, "fitted final drive ratio", 0.01, 1000);
  return options
    .filter((option) => way * (option.final_drive_ratio - fitted) > share * fitted)
    .sort((one, other) => way * (one.final_drive_ratio - other.final_drive_ratio) || byRatio(one, other));
}

function byRatio(one, other) {
  return (
    one.final_drive_ratio - other.final_drive_ratio ||
    one.tooth_sum - other.tooth_sum ||
    one.pinion_teeth - other.pinion_teeth
  );
}

function distinct(gears, teethOf, limits) {
  const wheels = new Map();
  for (const gear of gears) {
    const known = typeof gear === "object" && gear !== null;
    const moduleMm = known ? moduleOf(gear.module_mm) : limits.module_mm;
    const teeth = teethOf(known ? gear.teeth : gear);
    wheels.set(`${teeth} ${moduleMm}`, { teeth, module_mm: moduleMm });
  }
  return [...wheels.values()];
}

function samePitch(moduleMm, other) {
  if (moduleMm === null || other === null) return moduleMm === other;
  return Math.abs(moduleMm - other) <= SAME_PITCH * other;
}

function between(value, least, most) {
  return (least === null || value >= least - ROUNDING) && (most === null || value <= most + ROUNDING);
}

function within(pinion, spur, limits) {
  return (
    between(pinion, limits.smallest_pinion, limits.largest_pinion) &&
    between(spur, limits.smallest_spur, limits.largest_spur) &&
    between(pinion + spur, limits.least_tooth_sum, limits.most_tooth_sum) &&
    (limits.module_mm === null ||
      between(
        centreDistanceMm(spur, pinion, limits.module_mm),
        limits.least_centre_distance_mm,
        limits.most_centre_distance_mm,
      ))
  );
}

function checkedLimits(limits) {
  const maybe = (value, check) => (value === null || value === undefined ? null : check(value));
  const teeth = (name, low, high) => (value) => whole(value, name, low, high, "teeth");
  const distance = (name) => (value) => number(value, name, 0, 2000, "mm");
  const sums = [2 * LEAST_TEETH, 2 * MOST_TEETH];
  const gear = [LEAST_TEETH, MOST_TEETH];
  const checked = {
    least_tooth_sum: maybe(limits.least_tooth_sum, teeth("least tooth sum", ...sums)),
    most_tooth_sum: maybe(limits.most_tooth_sum, teeth("most tooth sum", ...sums)),
    least_centre_distance_mm: maybe(
      limits.least_centre_distance_mm,
      distance("least centre distance"),
    ),
    most_centre_distance_mm: maybe(
      limits.most_centre_distance_mm,
      distance("most centre distance"),
    ),
    module_mm: maybe(limits.module_mm, moduleOf),
    smallest_pinion: maybe(limits.smallest_pinion, teeth("smallest pinion", ...gear)),
    largest_pinion: maybe(limits.largest_pinion, teeth("largest pinion", ...gear)),
    smallest_spur: maybe(limits.smallest_spur, teeth("smallest spur", ...gear)),
    largest_spur: maybe(limits.largest_spur, teeth("largest spur", ...gear)),
  };
  for (const [name, least, most] of [
    ["tooth sum", checked.least_tooth_sum, checked.most_tooth_sum],
    ["centre distance", checked.least_centre_distance_mm, checked.most_centre_distance_mm],
    ["pinion", checked.smallest_pinion, checked.largest_pinion],
    ["spur", checked.smallest_spur, checked.largest_spur],
  ]) {
    if (least !== null && most !== null && least > most) {
      throw new RangeError(`The lower limit of the ${name} is above its upper limit.`);
    }
  }
  const wantsDistance =
    checked.least_centre_distance_mm !== null || checked.most_centre_distance_mm !== null;
  if (wantsDistance && checked.module_mm === null) {
    throw new RangeError("Limits on the centre distance need the module of the gears.");
  }
  return checked;
}
