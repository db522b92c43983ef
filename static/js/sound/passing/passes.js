/**
 * Finds the passes of a car in a stream of sound, and the speed of each. No page elements, no sound kept.
 *
 * First a coarse search over all shapes and revs for every moment; where one stands out, its best starts are polished
 * on what was heard made blunt, then as it is; last comes a fit to the peaks of every order (`fit.js`) on the exact
 * geometry (`geometry.js`).
 */

import { Spectrum, aboveFloor, peakBin } from "../spectrum.js";
import { orders } from "../revs.js";
import { fitPass } from "./fit.js";
import { heardRatio, soundSpeed } from "./geometry.js";

export const SIZE = 4096, HOP = 1024;
const STEP = 0.0015, TOP_HZ = 16000, CLIP_DB = 25;
// The coarse search asks in steps thrice as wide, of combs that are blunt: its shapes lie some of these steps apart.
const WIDE = 3, BLUNT = 5, OFF_STEPS = 4;
const SPEEDS = [7, 8.2, 9.6, 11.2, 13, 15, 17.5, 20.5, 24, 28, 32.5], DISTANCES = [1.2, 2.8, 6], SLOWS = -2.5, GAINS = 4.5;
const MOST_REACH_S = 1.1, LEAST_REACH_S = 0.35, GEAR_OFF = 0.17, EVERY = 3, FEWEST_ROWS = 6, STARTS = 5, TRIED = 9, ALIKE = 0.01, ALIKE_S = 0.02, NEAR_S = 0.15, ABOUT_S = 0.3;
// No car comes round sooner: of two passes nearer to each other the weaker one is a bend, an echo or another car.
const APART_S = 3;
// The rounds of a fit: how far from the guess tones are looked for, so long before and after at most (what a slow car
// gains in speed looks like Doppler but for the ends), and how near the gear's rollout is to what is on record, by slip,
// tyre growth and wear.
const ROUNDS = [
  { wide: 0.015, most: 1.1, spread: 0.03 }, { wide: 0.01, most: 1.4, spread: 0.03 },
  { wide: 0.006, most: 1.8, spread: 0.035 }, { wide: 0.005, most: 1.8, spread: 0.04 },
];
// How near it is for one of several fits to be the likelier.
const GEAR_LIKELY = 0.05;
// Another fit of the same moment, this near in rank and time, that gives another speed makes both uncertain.
const RIVAL = 0.6, RIVAL_S = 0.6, DIFFERS = 0.04;
// Spectra are let go when they are this old; what stands out was fitted long before.
const KEPT_S = 8;
// What the heard rollout may be off the typed one: slip takes up to 4 %, wear and growth change a tyre by up to 3 %; a
// fit that would need more is of an echo or another car.
const GATE = { coarse: 1.1, loud: 1.4, share: 0.66, scatter: 0.45, scale: 0.55, lowGear: -0.07, highGear: 0.05, sd: 0.025, vagueSd: 0.03, sides: 0.15, nearest: 0.7, farthest: 8.5, slowest: 6, fastest: 36 };

// So long before and after the closest point its sound is looked at: a passage of some 8 m and the distance.
const reachOf = (speed, distance, most = MOST_REACH_S) => Math.min(most, Math.max(LEAST_REACH_S, (8 + 1.2 * distance) / speed));

// What a car may gain in speed, in m/s², so near each other that the pitch at the ends of the reach is nearly met.
function gainsOf(speed, distance) {
  const count = Math.ceil(((GAINS - SLOWS) * reachOf(speed, distance)) / (2 * OFF_STEPS * WIDE * STEP * speed));
  return Array.from({ length: count }, (_, at) => SLOWS + ((at + 0.5) * (GAINS - SLOWS)) / count);
}

// Whether two starts would lead to the same fit.
const alike = (one, other) => Math.abs(one.speed / other.speed - 1) < ALIKE && Math.abs(one.hz / other.hz - 1) < ALIKE && Math.abs(one.at - other.at) < ALIKE_S;

// Whether another fit of the same moment is nearly as good and gives quite another speed: then neither is certain. Two
// thirds of the revs at two thirds of the speed fit the gear as well.
const hasRival = (fits, one) => fits.some((other) => other.rank > RIVAL * one.rank
  && Math.abs(other.time - one.time) < RIVAL_S && Math.abs(Math.log(other.pass.speed / one.pass.speed)) > DIFFERS);

/** Finds the passes in a stream of samples. */
export class Passes {
  /**
   * @param {{rate: number, topRpm: number, poles: number, pinion?: number|null, rolloutMm: number, airC: number}} known
   */
  constructor(known) {
    this.known = known;
    this.c = soundSpeed(known.airC);
    this.binHz = known.rate / SIZE;
    this.hopS = HOP / known.rate;
    this.spectrum = new Spectrum(SIZE);
    this.orders = [...orders(known.poles, known.pinion)].filter(([order]) => order >= 1);
    this.from = (0.3 * known.topRpm) / 60;
    this.count = Math.ceil(Math.log((1.12 * known.topRpm) / 60 / this.from) / STEP);
    this.wideCount = Math.ceil(this.count / WIDE);
    this.sums = new Float32Array(this.wideCount);
    this.frames = [];
    this.rest = new Float32Array(0);
    this.tried = 0;
    this.coarse = [];
    this.shapes = SPEEDS.flatMap((speed) => DISTANCES.flatMap((distance) => gainsOf(speed, distance).map((gain) => this.shape(speed, distance, gain))));
  }

  // How far a shape's pitch lies from the middle's, in steps, at every third frame of its reach.
  shape(speed, distance, gain) {
    const reach = Math.round(reachOf(speed, distance) / this.hopS), offs = [], steps = [];
    for (let off = -reach; off <= reach; off += EVERY) {
      const ratio = heardRatio({ at: -distance / this.c, speed, distance, gain }, off * this.hopS, this.c);
      offs.push(off);
      steps.push(Math.round(Math.log(ratio) / STEP / WIDE));
    }
    const hz = (1000 * speed) / this.known.rolloutMm;
    const low = Math.max(0, Math.floor(Math.log((hz * (1 - GEAR_OFF)) / this.from) / STEP / WIDE));
    const high = Math.min(this.wideCount - 1, Math.ceil(Math.log((hz * (1 + GEAR_OFF)) / this.from) / STEP / WIDE));
    return { speed, distance, gain, offs, steps, low, high };
  }

  /** Takes samples; spectra are made of each stretch as it fills up. */
  push(samples) {
    const all = new Float32Array(this.rest.length + samples.length);
    all.set(this.rest);
    all.set(samples, this.rest.length);
    let from = 0;
    for (; from + SIZE <= all.length; from += HOP) {
      const power = this.spectrum.power(all, from), above = aboveFloor(power), comb = this.comb(above);
      this.frames.push({ power: Float32Array.from(power), above: Float32Array.from(above), comb, blunt: this.blunt(comb) });
    }
    this.rest = all.slice(from);
    for (let old = Math.floor(this.tried - KEPT_S / this.hopS); old >= 0 && this.frames[old]; old -= 1) this.frames[old] = null;
  }

  /** The spectrum heard last, as dB over the noise by bins of `binHz`. @returns {Float32Array|undefined} */
  get newest() {
    return this.frames.at(-1)?.above;
  }

  /** For how long has been listened, in s. */
  get seconds() {
    return this.frames.length * this.hopS;
  }

  // How well each comb of the band fits one spectrum, in dB over the floor, as a mean over its tones.
  comb(above) {
    const comb = new Float32Array(this.count);
    for (const [order, share] of this.orders) {
      let at = (order * this.from) / this.binHz;
      const factor = Math.exp(STEP), last = Math.min(above.length - 2, TOP_HZ / this.binHz);
      for (let step = 0; step < this.count && at < last; step += 1, at *= factor) {
        const bin = Math.floor(at), part = at - bin;
        const db = above[bin] * (1 - part) + above[bin + 1] * part;
        if (db > 3) comb[step] += share * Math.min(db, CLIP_DB);
      }
    }
    return comb;
  }

  // A comb with its peaks made wide, in wide steps.
  blunt(comb) {
    const blunt = new Float32Array(this.wideCount);
    for (let step = 0; step < this.wideCount; step += 1) {
      let sum = 0;
      for (let off = 1 - BLUNT; off < BLUNT; off += 1) sum += (1 - Math.abs(off) / BLUNT) * (comb[WIDE * step + off] || 0);
      blunt[step] = sum / BLUNT;
    }
    return blunt;
  }

  /** The best shape for every moment that has been heard whole and was not tried before. */
  search(ended = false) {
    const margin = Math.round(MOST_REACH_S / this.hopS);
    const until = this.frames.length - (ended ? 8 : margin);
    for (; this.tried < until; this.tried += EVERY) this.coarse.push(this.tryAt(this.tried));
  }

  // The best of each speed's shapes at a moment, the best first; a mean over frames keeps long and short ones alike.
  tryAt(middle) {
    const best = new Map(), { sums } = this;
    for (const shape of this.shapes) {
      const span = shape.high - shape.low + 1;
      let rows = 0;
      sums.fill(0, 0, Math.max(0, span));
      for (let row = 0; row < shape.offs.length; row += 1) {
        const comb = this.frames[middle + shape.offs[row]]?.blunt;
        if (!comb) continue;
        rows += 1;
        const start = shape.low + shape.steps[row], last = Math.min(span, this.wideCount - start);
        for (let base = Math.max(0, -start); base < last; base += 1) sums[base] += comb[start + base];
      }
      if (rows < FEWEST_ROWS) continue;
      let top = 0;
      for (let base = 1; base < span; base += 1) if (sums[base] > sums[top]) top = base;
      const score = sums[top] / Math.sqrt(rows);
      if (span > 0 && score > (best.get(shape.speed)?.score ?? 0)) best.set(shape.speed, { score, shape, base: shape.low + top });
    }
    const starts = [...best.values()].sort((one, other) => other.score - one.score);
    return { middle, score: starts[0]?.score ?? 0, starts };
  }

  /**
   * The passes so far, and how many moments that stand out were left out because no pass fits them.
   * @param {boolean} ended whether nothing more comes
   */
  results(ended = false) {
    const scores = this.coarse.map(({ score }) => score).sort((one, other) => one - other);
    const usual = scores[scores.length >> 2] ?? 0, near = NEAR_S / this.hopS, ready = ended ? Infinity : this.tried - ABOUT_S / this.hopS;
    // What is said stays so: all that could be its rival has been looked at.
    const settled = ended ? Infinity : this.timeOf(ready) - RIVAL_S;
    const high = this.coarse.filter(({ score, middle }) => score > GATE.coarse * usual && middle < ready);
    const tops = high.filter((one) => !this.coarse.some((other) => other.score > one.score && Math.abs(other.middle - one.middle) < near));
    for (const top of tops) if (!top.fits && this.frames[top.middle]) top.fits = this.fitsOf(top);
    const fits = tops.flatMap((top) => top.fits ?? []).sort((one, other) => other.rank - one.rank);
    const heard = fits.filter(({ state }) => state === "heard");
    const best = heard.filter((one, at) => heard.slice(0, at).every((other) => Math.abs(other.time - one.time) > APART_S));
    const certain = best.filter((one) => !hasRival(fits, one)), passes = certain.filter(({ time }) => time < settled);
    const unfit = tops.filter(({ score, fits: own }) => own && !own.some((fit) => certain.includes(fit)) && score > GATE.loud * usual);
    const loud = unfit.map(({ middle }) => this.timeOf(middle)).filter((time) => time < settled);
    const apart = loud.filter((time, at) => [...passes.map((pass) => pass.time), ...loud.slice(0, at)].every((other) => Math.abs(time - other) > APART_S));
    return { passes: passes.sort((one, other) => one.time - other.time), leftOut: apart.length };
  }

  // How well the combs of the frames fit a pass, per frame: what the coarse search asks, at any point.
  along(pass, blunt = false) {
    const name = blunt ? "blunt" : "comb", width = blunt ? STEP * WIDE : STEP;
    const near = pass.at + pass.distance / this.c, reach = reachOf(pass.speed, pass.distance);
    const first = Math.max(0, Math.ceil(((near - reach) * this.known.rate - SIZE / 2) / HOP));
    const last = Math.min(this.frames.length - 1, Math.floor(((near + reach) * this.known.rate - SIZE / 2) / HOP));
    let sum = 0;
    for (let frame = first; frame <= last; frame += 1) {
      const step = Math.log((pass.hz * heardRatio(pass, this.timeOf(frame), this.c)) / this.from) / width, low = Math.floor(step);
      const comb = this.frames[frame]?.[name] ?? [];
      sum += (comb[low] || 0) * (low + 1 - step) + (comb[low + 1] || 0) * (step - low);
    }
    return last > first ? sum / Math.sqrt(last - first + 1) : 0;
  }

  // A pattern search from a start: each figure a step up or down while that fits better, then half the step. On blunt
  // combs the steps are larger: their tops are wide enough to be met from a shape of the coarse search.
  polished(start, blunt, halvings) {
    const width = blunt ? 1 : 0.25;
    const steps = { at: 0.04 * width, speed: 0.08 * width * start.speed, distance: 0.3 * width * start.distance, gain: 0.04 * width * start.speed, hz: 0.006 * width * start.hz };
    let best = start, score = this.along(start, blunt);
    for (let halving = 0; halving < halvings; halving += 1) {
      for (let better = true, turn = 0; better && turn < 6; turn += 1) {
        better = false;
        for (const name of Object.keys(steps)) {
          for (const way of [1, -1]) {
            const next = { ...best, [name]: best[name] + way * steps[name] };
            if (next.distance < 0.5 || next.distance > 9 || Math.abs(1000 * next.speed / next.hz / this.known.rolloutMm - 1) > GEAR_OFF) continue;
            const value = this.along(next, blunt);
            if (value > score) [best, score, better] = [next, value, true];
          }
        }
      }
      for (const name of Object.keys(steps)) steps[name] /= 2;
    }
    return best;
  }

  // The best start of each speed about a moment: a slow car's shape and a fast one's stand out at times of their own.
  startsAbout(moment) {
    const best = new Map(), about = ABOUT_S / this.hopS;
    for (const { middle, starts } of this.coarse) {
      if (Math.abs(middle - moment) > about) continue;
      for (const start of starts) if (start.score > (best.get(start.shape.speed)?.score ?? 0)) best.set(start.shape.speed, { ...start, middle });
    }
    return [...best.values()].sort((one, other) => other.score - one.score).slice(0, TRIED);
  }

  // The fits about a moment that what is heard there bears out, more or less.
  fitsOf({ middle: moment }) {
    const near = this.startsAbout(moment).map(({ shape, base, middle }) => this.polished({
      at: this.timeOf(middle) - shape.distance / this.c, speed: shape.speed, distance: shape.distance, gain: shape.gain,
      jerk: 0, hz: this.from * Math.exp(STEP * WIDE * base),
    }, true, 3)).map((pass) => this.polished(pass, false, 5));
    const scored = near.map((pass) => ({ pass, score: this.along(pass) })).sort((one, other) => other.score - one.score);
    const apart = scored.filter(({ pass }, at) => scored.slice(0, at).every((other) => !alike(pass, other.pass)));
    const fits = apart.slice(0, STARTS).map(({ pass }) => this.fit(pass));
    return fits.filter(({ state }) => state !== "poor");
  }

  timeOf(frame) {
    return (frame * HOP + SIZE / 2) / this.known.rate;
  }

  // Peaks near where a guess has them: time, order and heard revs a second.
  tones(guess) {
    const reach = reachOf(guess.speed, guess.distance, guess.most), list = [], near = guess.at + guess.distance / this.c;
    const first = Math.max(0, Math.ceil(((near - reach) * this.known.rate - SIZE / 2) / HOP));
    const last = Math.min(this.frames.length - 1, Math.floor(((near + reach) * this.known.rate - SIZE / 2) / HOP));
    for (let frame = first; frame <= last; frame += 1) {
      if (!this.frames[frame]) continue;
      const { power, above } = this.frames[frame], time = this.timeOf(frame);
      const half = SIZE / 4 / this.known.rate;
      const ratio = heardRatio(guess, time, this.c);
      const slope = Math.abs(heardRatio(guess, time + half, this.c) - heardRatio(guess, time - half, this.c));
      for (const [order, often] of this.orders) {
        const centre = (order * guess.hz * ratio) / this.binHz;
        const wide = Math.max(1.5, (guess.wide ?? 0.012) * centre);
        if (centre + wide > Math.min(power.length - 3, TOP_HZ / this.binHz)) continue;
        let top = -1;
        for (let at = Math.max(2, Math.ceil(centre - wide)); at <= centre + wide; at += 1) if (top < 0 || power[at] > power[top]) top = at;
        if (top < 0 || above[top] < 9 || power[top] < power[top - 1] || power[top] < power[top + 1]) continue;
        const hz = (peakBin(power, top) * this.binHz) / order;
        const width = Math.hypot((0.25 * this.binHz) / (order * hz) / 10 ** ((Math.min(above[top], 30) - 9) / 40), 0.0006, 0.15 * slope);
        list.push({ time, order, hz, width, strength: often * Math.min(above[top], CLIP_DB) });
      }
    }
    return list;
  }

  fit(start) {
    let guess = start, said = null, tones = [];
    for (const { wide, most, spread } of ROUNDS) {
      tones = this.tones({ ...guess, wide, most });
      said = fitPass(tones, guess, this.c, { rolloutMm: this.known.rolloutMm, spread });
      if (!said) return { state: "poor" };
      guess = said.pass;
    }
    const { speed, hz, distance, at } = said.pass;
    const gear = (1000 * speed) / hz / this.known.rolloutMm - 1;
    const time = at + distance / this.c, before = tones.filter((tone) => tone.time < time).length / tones.length;
    const strength = tones.reduce((sum, tone) => sum + (said.inlier(tone) ? tone.strength : 0), 0);
    // A wrong octave, or an echo taken for the car, scatters about its fit more than the car's own tones do; the
    // nearer they lie to it, the fewer of all that was heard about it need be the car's.
    const fits = said.share > GATE.share + GATE.scatter * said.scale && said.scale < GATE.scale && said.sd.speed < GATE.vagueSd * speed;
    const near = distance > GATE.nearest && distance < GATE.farthest;
    const likely = near && gear > GATE.lowGear && gear < GATE.highGear && speed > GATE.slowest && speed < GATE.fastest;
    const good = fits && likely && before > GATE.sides && before < 1 - GATE.sides;
    const state = good ? (said.sd.speed < GATE.sd * speed ? "heard" : "vague") : "poor";
    return { state, ...said, time, gear, rank: (strength * Math.exp(-((gear / GEAR_LIKELY) ** 2) / 2)) / (0.005 + said.sd.speed / speed) };
  }
}
