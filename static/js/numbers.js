/**
 * Guards for numbers at the door of every formula, and figures as text: the same sentences and the same
 * rounding as the server's.
 */

const DECIMAL = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i;
const NOT_FINITE = /^[+-]?(nan|inf|infinity)$/i;

/** A number with six significant digits and no needless zeros, for use in a sentence. */
function brief(value) {
  if (value === 0) return Object.is(value, -0) ? "-0" : "0";
  const [digits, exponent] = value.toExponential(5).split("e");
  const power = Number(exponent);
  if (power >= -4 && power < 6) {
    const text = value.toFixed(5 - power);
    return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
  }
  const mantissa = digits.replace(/\.?0+$/, "");
  return `${mantissa}e${power < 0 ? "-" : "+"}${String(Math.abs(power)).padStart(2, "0")}`;
}

/**
 * `value` as a finite number from `low` to `high`; text from a form field is read.
 * @param {number|string} value
 * @param {string} name what a racer calls it
 * @param {number} low
 * @param {number} high
 * @param {string} unit
 * @returns {number}
 * @throws {RangeError} a sentence that names the quantity, the limit and what was given
 */
export function number(value, name, low, high, unit = "") {
  let result = value;
  if (typeof value === "string") {
    const text = value.trim();
    if (DECIMAL.test(text)) result = Number(text);
    else if (NOT_FINITE.test(text)) result = NaN;
  }
  if (typeof result !== "number") throw new RangeError(`The ${name} must be a number.`);
  if (!Number.isFinite(result)) throw new RangeError(`The ${name} must be a finite number.`);
  const behind = unit && ` ${unit}`;
  if (result < low) {
    throw new RangeError(
      `The ${name} must be at least ${brief(low)}${behind} (${brief(result)} was given).`,
    );
  }
  if (result > high) {
    throw new RangeError(
      `The ${name} must be at most ${brief(high)}${behind} (${brief(result)} was given).`,
    );
  }
  return result;
}

/**
 * `value` as a whole number from `low` to `high`.
 * @param {number|string} value
 * @param {string} name what a racer calls it
 * @param {number} low
 * @param {number} high
 * @param {string} unit
 * @returns {number}
 * @throws {RangeError} a sentence that names the quantity, the limit and what was given
 */
export function whole(value, name, low, high, unit = "") {
  const result = number(value, name, low, high, unit);
  if (!Number.isInteger(result)) {
    throw new RangeError(`The ${name} must be a whole number (${brief(result)} was given).`);
  }
  return result;
}

/**
 * A number as text with so many decimals, for people to read; halves go away from zero.
 * @param {number} value up to 999 999 in size
 * @param {number} decimals 0–6
 * @returns {string}
 * @throws {RangeError}
 */
export function roundedText(value, decimals) {
  const figure = number(value, "figure", -999999, 999999);
  const text = figure.toFixed(whole(decimals, "number of decimals", 0, 6));
  return Number(text) === 0 ? text.replace("-", "") : text;
}
