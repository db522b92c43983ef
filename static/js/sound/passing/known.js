// What a pass says beside its speed: several as one, whether it was on the limiter, the rollout.
const AIR_OFF_K = 3, KELVIN = 273.15, SPREADS = 2, LIMIT_OFF = 0.01;

/** What the air temperature leaves open of any speed, as a part of it. */
export const airShare = (airC) => AIR_OFF_K / (2 * (airC + KELVIN));

/**
 * Several passes as one speed: their mean, weighted by the spreads, and its spread; what they scatter counts, and
 * the air temperature, which is the same for all, at the end.
 * @param {{speed: number, spread: number}[]} passes
 * @param {number} airC
 * @returns {{speed: number, spread: number}|null}
 */
export function together(passes, airC) {
  if (!passes.length) return null;
  const weights = passes.map(({ spread }) => 1 / spread ** 2), all = weights.reduce((sum, each) => sum + each, 0);
  const speed = passes.reduce((sum, each, at) => sum + weights[at] * each.speed, 0) / all;
  const scatter = passes.reduce((sum, each, at) => sum + weights[at] * (each.speed - speed) ** 2, 0) / all;
  const own = Math.max(1 / all, passes.length > 1 ? scatter / (passes.length - 1) : 0);
  return { speed, spread: Math.hypot(Math.sqrt(own), speed * airShare(airC)) };
}

/** Whether revs are those of the limiter: within two spreads of it, and 1 % at least. */
export const onLimiter = (rpm, spreadRpm, limitRpm) => Math.abs(rpm - limitRpm) <= Math.max(SPREADS * spreadRpm, LIMIT_OFF * limitRpm);

/** The true rollout in mm a motor turn: way by turns. @param {number} speed m/s */
export const heardRollout = (speed, rpm) => (60000 * speed) / rpm;
