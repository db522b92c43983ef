// A pass fitted to the tones that were heard: least squares on the exact geometry. No page elements.
import { heardRatio } from "./geometry.js";

const NAMES = ["at", "speed", "distance", "gain", "jerk", "hz"];
// What is likely before anything is heard, as mean and spread: distance by its logarithm; wide enough to yield.
const PRIOR = { gain: [1, 3], jerk: [0, 2] };

// Stretches of sound overlap fourfold, so that many tones count as one.
const OVERLAP = 4;
const STEPS = { at: 1e-4, speed: 1e-3, distance: 1e-3, gain: 1e-3, jerk: 1e-3, hz: 1e-3 };

// The logarithm of the pitch heard at each time, and how it goes with each figure of the pass.
function slopesAt(times, pass, c) {
  const moved = NAMES.map((name) => ({ ...pass, [name]: pass[name] + STEPS[name] }));
  const levelAt = (one, time) => Math.log(one.hz * heardRatio(one, time, c));
  return new Map(times.map((time) => {
    const level = levelAt(pass, time);
    return [time, { level, row: moved.map((one, i) => (levelAt(one, time) - level) / STEPS[NAMES[i]]) }];
  }));
}

/**
 * Fits a pass to heard tones by weighted least squares, far-off tones counting less and less (Tukey).
 * @param {{time: number, hz: number, width: number}[]} tones revs a second as heard, with their relative width
 * @param {object} start at, speed, distance, gain, jerk, hz
 * @param {number} c m/s
 * @returns {{pass: object, sd: object, share: number, scale: number}|null}
 */
export function fitPass(tones, start, c, gear = null) {
  if (tones.length < 12) return null;
  let pass = { at: start.at, speed: start.speed, distance: start.distance, gain: start.gain, jerk: start.jerk, hz: start.hz };
  let inverse = null, share = 0, scale = 1;
  const away = (one, tone) => Math.log(tone.hz / (one.hz * heardRatio(one, tone.time, c)));
  const times = [...new Set(tones.map(({ time }) => time))];
  for (let turn = 0; turn < 12; turn += 1) {
    const slopes = slopesAt(times, pass, c);
    const offs = tones.map((tone) => (Math.log(tone.hz) - slopes.get(tone.time).level) / tone.width);
    const sizes = offs.map(Math.abs).sort((one, other) => one - other);
    scale = Math.max(0.15, 1.4826 * sizes[sizes.length >> 1]);
    const matrix = NAMES.map(() => new Float64Array(NAMES.length)), right = new Float64Array(NAMES.length);
    let inside = 0;
    tones.forEach((tone, at) => {
      const u = offs[at] / scale / 4.7;
      if (Math.abs(u) >= 1) return;
      inside += 1;
      const weight = (1 - u * u) ** 2 / (tone.width * scale) ** 2 / OVERLAP;
      const { row } = slopes.get(tone.time), off = offs[at] * tone.width;
      for (let i = 0; i < row.length; i += 1) {
        right[i] += weight * row[i] * off;
        for (let j = 0; j < row.length; j += 1) matrix[i][j] += weight * row[i] * row[j];
      }
    });
    share = inside / tones.length;
    for (const [name, [mean, spread]] of Object.entries(PRIOR)) {
      const i = NAMES.indexOf(name);
      matrix[i][i] += 1 / spread ** 2;
      right[i] += (mean - pass[name]) / spread ** 2;
    }
    const d = NAMES.indexOf("distance");
    matrix[d][d] += 1 / pass.distance ** 2 / 0.8 ** 2;
    right[d] += (Math.log(2.5 / pass.distance) / pass.distance) / 0.8 ** 2;
    if (gear) {
      // What the gear says, loosely: log(1000·v / (hz·rollout)) is about nought.
      const off = Math.log((1000 * pass.speed) / pass.hz / gear.rolloutMm), row = { speed: 1 / pass.speed, hz: -1 / pass.hz };
      for (const name of ["speed", "hz"]) {
        const i = NAMES.indexOf(name);
        right[i] -= (row[name] * off) / gear.spread ** 2;
        for (const other of ["speed", "hz"]) matrix[i][NAMES.indexOf(other)] += (row[name] * row[other]) / gear.spread ** 2;
      }
    }
    inverse = inverted(matrix);
    if (!inverse) return null;
    const move = inverse.map((row) => row.reduce((sum, each, j) => sum + each * right[j], 0));
    const damp = Math.min(1, 0.25 / Math.max(Math.abs(move[1]) / pass.speed, Math.abs(move[2]) / pass.distance, 1e-9));
    const next = { ...pass };
    NAMES.forEach((name, i) => { next[name] += damp * move[i]; });
    next.distance = Math.max(0.2, next.distance);
    if (!(next.speed > 1 && next.speed < 60 && next.hz > 0)) return null;
    pass = next;
    if (damp === 1 && Math.abs(move[1]) < 1e-5 * pass.speed) break;
  }
  const sd = Object.fromEntries(NAMES.map((name, i) => [name, Math.sqrt(inverse[i][i])]));
  const inlier = (tone) => Math.abs(away(pass, tone)) < 4.7 * scale * tone.width;
  return { pass, sd, share, scale, count: tones.length, inlier };
}

// The inverse of a small symmetric matrix (Gauss–Jordan with the largest pivot), null where there is none.
function inverted(matrix) {
  const size = matrix.length, work = matrix.map((row, i) => [...row, ...row.map((_, j) => (i === j ? 1 : 0))]);
  for (let i = 0; i < size; i += 1) {
    let top = i;
    for (let row = i + 1; row < size; row += 1) if (Math.abs(work[row][i]) > Math.abs(work[top][i])) top = row;
    if (!(Math.abs(work[top][i]) > 1e-30)) return null;
    [work[i], work[top]] = [work[top], work[i]];
    const pivot = work[i][i];
    work[i] = work[i].map((each) => each / pivot);
    for (let row = 0; row < size; row += 1) {
      if (row === i) continue;
      const factor = work[row][i];
      work[row] = work[row].map((each, j) => each - factor * work[i][j]);
    }
  }
  return work.map((row) => row.slice(size));
}
