/**
 * Spectra: power of a stretch of sound, the noise floor under it, and the peaks that stand out. No page elements.
 *
 * Power is scaled as a one-sided "spectrum" (a sine of amplitude A has A²/2 at its peak), which
 * scipy.signal.periodogram(window="hann", detrend=False, scaling="spectrum") gives too.
 */

import "./commonjs.js";
import "../../vendor/fft.js@4.0.4/fft.js";

const FFT = globalThis.module.exports;
const BAND_BINS = 24, BANDS_PER_OCTAVE = 6;

/** The transform of one size with its window, made once. */
export class Spectrum {
  /** @param {number} size samples, a power of two */
  constructor(size) {
    this.size = size;
    this.fft = new FFT(size);
    this.window = Float64Array.from({ length: size }, (_, n) => 0.5 - 0.5 * Math.cos((2 * Math.PI * n) / size));
    this.scale = 2 / this.window.reduce((sum, each) => sum + each, 0) ** 2;
    this.input = new Array(size).fill(0);
    this.output = this.fft.createComplexArray();
  }

  /**
   * @param {Float32Array} samples
   * @param {number} from the first sample of the stretch
   * @returns {Float64Array} power by bin, from 0 to half the rate
   */
  power(samples, from = 0) {
    for (let n = 0; n < this.size; n += 1) this.input[n] = samples[from + n] * this.window[n];
    this.fft.realTransform(this.output, this.input);
    const half = this.size / 2, power = new Float64Array(half + 1);
    for (let bin = 0; bin <= half; bin += 1) {
      power[bin] = this.scale * (this.output[2 * bin] ** 2 + this.output[2 * bin + 1] ** 2);
    }
    power[0] /= 2;
    power[half] /= 2;
    return power;
  }

  /** The power of a stretch with how far it stands over the noise, as `aboveFloor` has it. */
  frame(samples, from = 0) {
    const power = this.power(samples, from);
    return { power, above: aboveFloor(power) };
  }
}

/** The mean of spectra, bin by bin. */
export function meanPower(powers) {
  const mean = new Float64Array(powers[0].length);
  for (const power of powers) for (let bin = 0; bin < mean.length; bin += 1) mean[bin] += power[bin] / powers.length;
  return mean;
}

/**
 * How far each bin stands over the noise around it, in dB: medians of bands a sixth of an octave wide (24 bins at
 * least), joined by straight lines.
 * @param {Float64Array} power
 * @returns {Float64Array}
 */
export function aboveFloor(power) {
  const most = power.length - 1, centres = [], floors = [];
  for (let low = 1; low < most;) {
    const high = Math.min(most, Math.max(low + BAND_BINS, Math.ceil(low * 2 ** (1 / BANDS_PER_OCTAVE))));
    const band = power.slice(low, high + 1).sort();
    centres.push((low + high) / 2);
    floors.push(10 * Math.log10(band[band.length >> 1] + 1e-20));
    low = high;
  }
  const above = new Float64Array(power.length);
  for (let bin = 1, at = 0; bin <= most; bin += 1) {
    while (at < centres.length - 2 && bin > centres[at + 1]) at += 1;
    const next = Math.min(at + 1, centres.length - 1), width = centres[next] - centres[at] || 1;
    const share = Math.min(1, Math.max(0, (bin - centres[at]) / width));
    above[bin] = 10 * Math.log10(power[bin] + 1e-20) - floors[at] - share * (floors[next] - floors[at]);
  }
  return above;
}

/**
 * The top of a peak between bins: a parabola through the logarithms of three.
 * @param {Float64Array} power
 * @param {number} bin a local maximum
 * @returns {number} in bins
 */
export function peakBin(power, bin) {
  const [left, top, right] = [-1, 0, 1].map((off) => Math.log(power[bin + off] + 1e-20));
  const bend = left - 2 * top + right;
  return bin + (bend < 0 ? Math.min(0.5, Math.max(-0.5, (left - right) / (2 * bend))) : 0);
}

/**
 * Peaks that stand out of the noise, the strongest first.
 * @returns {{hz: number, db: number}[]}
 */
export function peaks(power, above, binHz, { least, lowHz, highHz, most }) {
  const list = [];
  const last = Math.min(power.length - 2, Math.floor(highHz / binHz));
  for (let bin = Math.max(2, Math.ceil(lowHz / binHz)); bin <= last; bin += 1) {
    if (above[bin] < least || power[bin] < power[bin - 1] || power[bin] < power[bin + 1]) continue;
    if (power[bin] < power[bin - 2] || power[bin] < power[bin + 2]) continue;
    list.push({ hz: peakBin(power, bin) * binHz, db: above[bin] });
  }
  return list.sort((one, other) => other.db - one.db).slice(0, most);
}
