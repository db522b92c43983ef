/**
 * Revs of a motor that stands by: the comb of tones that fits what is heard, within what Kv, voltage and limit allow.
 *
 * A motor's tones lie at whole orders of its revs: 1 (imbalance), pole pairs and their multiples, 6 a pole pair
 * (commutation), pinion teeth (mesh). Peaks are taken as drawn from those orders or from clutter (a Poisson process),
 * and a comb is as likely as its peaks, less what it should have and has not. Combs outside the band are tried too:
 * where one of them fits better, the answer is "not sure". No page elements, no sound kept.
 */

import { aboveFloor, meanPower, peakBin, peaks } from "./spectrum.js";

const LOW_HZ = 60, HIGH_HZ = 18000, MOST_PEAKS = 40, LEAST_DB = 8, MOST_RIVALS = 20, MOST_ORDER = 60, MOST_MOTOR_ORDER = 12;
const STEP = 0.0005, APART = 0.012, FAR = 4;
const TUNE = { outside: 5, gain: 18, margin: 6, blur: 0.0012, alike: 6, second: 22 };

/** The orders where a motor is loud, with how often each is heard. */
export function orders(poles, pinion = null) {
  const pairs = poles / 2, often = new Map();
  const add = (order, share) => often.set(order, Math.max(share, often.get(order) ?? 0));
  [[1, 0.6], [2, 0.5], [3, 0.3]].forEach(([order, share]) => add(order, share));
  [[1, 0.7], [2, 0.6], [3, 0.5], [6, 0.8], [12, 0.7], [18, 0.4], [24, 0.3]].forEach(([order, share]) => add(order * pairs, share));
  if (pinion) [[pinion, 0.7], [2 * pinion, 0.4], [pinion - 1, 0.3], [pinion + 1, 0.3]].forEach(([order, share]) => add(order, share));
  return often;
}

// How likely a comb of so many revs a second is, as a logarithm beside "no motor at all".
function likelihood(list, hz, often, bin, clutter) {
  let sum = 0;
  const strongest = list[0].db;
  for (const [order, share] of often) if (order * hz < HIGH_HZ / 2) sum -= 0.6 * share;
  for (const peak of list) {
    const order = Math.round(peak.hz / hz);
    if (order < 1 || order > MOST_ORDER) continue;
    const off = peak.hz - order * hz;
    const width = Math.hypot(0.4 * bin, TUNE.blur * peak.hz);
    if (Math.abs(off) > 4 * width) continue;
    const share = often.get(order) ?? (order > 24 ? 0.02 : peak.db < strongest - 15 ? 0.25 : 0.04);
    sum += Math.log(1 + (share * Math.exp(-((off / width) ** 2) / 2)) / (2.507 * width * clutter));
  }
  return sum;
}

// Whether a peak lies at an order of so many revs a second.
function fits(peak, hz, bin) {
  const order = Math.round(peak.hz / hz);
  return order >= 1 && order <= MOST_ORDER && Math.abs(peak.hz - order * hz) < 2.5 * Math.hypot(0.4 * bin, TUNE.blur * peak.hz);
}

// Every comb from well below the band to well above, each with its likelihood, as local best ones, best first.
function combs(list, low, high, often, bin) {
  const span = list.reduce((most, peak) => Math.max(most, peak.hz), 0);
  const clutter = Math.max(5, list.length * 0.6) / Math.max(span, 4000);
  const from = Math.max(40, low / FAR), count = Math.floor(Math.log((high * FAR) / from) / STEP);
  const scores = Float64Array.from({ length: count }, (_, at) => {
    const hz = from * Math.exp(STEP * at);
    return likelihood(list, hz, often, bin, clutter);
  });
  const candidates = [];
  for (let at = 1; at < count - 1; at += 1) {
    if (scores[at] < scores[at - 1] || scores[at] <= scores[at + 1]) continue;
    const hz = from * Math.exp(STEP * at), inside = hz >= low && hz <= high;
    candidates.push({ hz, inside, score: scores[at] - (inside ? 0 : TUNE.outside) });
  }
  return candidates.sort((one, other) => other.score - one.score);
}

// Revs a second in one spectrum, near a first guess: weighted least squares over the peaks of the comb.
export function refined(power, above, hz, list, bin) {
  const tones = [];
  for (const order of list) {
    const centre = (order * hz) / bin, reach = Math.max(2, 0.006 * centre);
    let top = -1;
    for (let at = Math.max(2, Math.floor(centre - reach)); at <= Math.min(power.length - 3, centre + reach); at += 1) {
      if (top < 0 || power[at] > power[top]) top = at;
    }
    if (top < 0 || above[top] < LEAST_DB || power[top] < power[top - 1] || power[top] < power[top + 1]) continue;
    tones.push({ order, hz: peakBin(power, top) * bin, weight: 10 ** (Math.min(above[top], 30) / 20) });
  }
  if (!tones.length) return null;
  const middle = tones.map((tone) => ({ ratio: tone.hz / tone.order, weight: tone.weight * tone.order }))
    .sort((one, other) => one.ratio - other.ratio);
  let half = middle.reduce((sum, each) => sum + each.weight, 0) / 2;
  const centre = middle.find((each) => (half -= each.weight) <= 0).ratio;
  let over = 0, under = 0;
  for (const tone of tones) {
    if (Math.abs(tone.hz / tone.order / centre - 1) > Math.max(0.002, (0.5 * bin) / tone.hz)) continue;
    over += tone.weight * tone.order * tone.hz;
    under += tone.weight * tone.order ** 2;
  }
  return under ? over / under : null;
}

/**
 * What a stretch of spectra says of the motor's revs.
 * @param {{power: Float64Array, above: Float64Array}[]} frames spectra, in time order
 * @param {{binHz: number, lowRpm: number, highRpm: number, poles: number, pinion?: number|null}} known
 * @returns {{state: string, rpm?: number, spread?: number, orders?: number[], gain?: number, margin?: number}}
 *   state: "heard", "quiet" (nothing stands out), "outside" (another comb fits better), "two" (two motors), "unsure"
 */
export function hearRevs(frames, { binHz, lowRpm, highRpm, poles, pinion = null }) {
  const power = meanPower(frames.map((frame) => frame.power)), above = aboveFloor(power);
  const list = peaks(power, above, binHz, { least: LEAST_DB, lowHz: LOW_HZ, highHz: HIGH_HZ, most: MOST_PEAKS });
  if (list.length < 2) return { state: "quiet" };
  const often = orders(poles, pinion);
  const candidates = combs(list, lowRpm / 60, highRpm / 60, often, binHz);
  const best = candidates.find((each) => each.inside);
  if (!best) return { state: "unsure" };
  const used = list.filter((peak) => fits(peak, best.hz, binHz)).map((peak) => [Math.round(peak.hz / best.hz), peak]);
  if (used.length < 2) return { state: "unsure" };
  // A comb that has most of the same tones is another reading of this motor; one that has not is another motor.
  const same = ({ hz }) => used.filter(([, peak]) => fits(peak, hz, binHz)).length > 0.5 * used.length;
  const rival = candidates.filter((each) => Math.abs(Math.log(each.hz / best.hz)) > APART).slice(0, MOST_RIVALS).find(same);
  const margin = best.score - (rival?.score ?? 0), gain = best.score;
  const heardOrders = [...new Set(used.map(([order]) => order))].sort((one, other) => one - other);
  const each = frames.map((frame) => refined(frame.power, frame.above, best.hz, heardOrders, binHz)).filter((hz) => hz !== null);
  const sum = { rpm: 60 * best.hz, gain, margin, orders: heardOrders, rival: rival && 60 * rival.hz };
  if (margin < 0 && rival && !rival.inside) return { state: "outside", ...sum };
  if (gain < TUNE.gain || margin < TUNE.margin || heardOrders.length < 2 || each.length < frames.length / 3) return { state: "unsure", ...sum };
  const left = list.filter((peak) => !used.some(([, one]) => one === peak));
  const second = left.length > 2 && left[0].db > used[0][1].db - TUNE.alike
    && combs(left, lowRpm / 60, highRpm / 60, often, binHz).find((one) => one.inside && Math.abs(Math.log(one.hz / best.hz)) > APART);
  if (second && second.score > TUNE.second) return { state: "two", ...sum, rival: 60 * second.hz };
  const sorted = each.slice().sort((one, other) => one - other), mid = sorted[sorted.length >> 1];
  const near = each.filter((hz) => Math.abs(hz / mid - 1) < 0.006);
  const mean = near.reduce((total, hz) => total + hz, 0) / near.length;
  const sd = Math.sqrt(near.reduce((total, hz) => total + (hz - mean) ** 2, 0) / Math.max(1, near.length - 1));
  const mesh = pinion && pinion > MOST_MOTOR_ORDER ? refined(power, above, mean, [pinion], binHz) : null;
  return { state: "heard", ...sum, rpm: 60 * mean, spread: 60 * sd, meshRpm: mesh && 60 * mesh };
}
