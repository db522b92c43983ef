/**
 * What is heard of a car that passes, by exact geometry. No page elements.
 *
 * Sent at time s from x = v·s + a·s²/2 + j·s³/6 along a line at distance d, a tone is heard at s + r/c (retarded
 * time) as f(s) / (1 + r'/c); revs follow the speed through the gear: f(s) = f0·x'(s)/v.
 */

/** Speed of sound in m/s: 343.2 at 20 °C, by the root of the absolute temperature (ISO 9613-1). */
export const soundSpeed = (airC) => 343.2 * Math.sqrt((airC + 273.15) / 293.15);

/**
 * What is heard of a passing tone at a time, as a ratio to what it is beside the phone.
 * @param {{at: number, speed: number, distance: number, gain?: number, jerk?: number}} pass s, m/s, m, m/s², m/s³
 * @param {number} time s
 * @param {number} c m/s
 */
export function heardRatio({ at, speed, distance, gain = 0, jerk = 0 }, time, c) {
  let sent = time - at - distance / c, x = 0, r = distance, v = speed;
  for (let turn = 0; turn < 4; turn += 1) {
    x = sent * (speed + sent * (gain / 2 + (sent * jerk) / 6));
    v = speed + sent * (gain + (sent * jerk) / 2);
    r = Math.sqrt(x * x + distance * distance);
    sent -= (sent + at + r / c - time) / (1 + (x * v) / (r * c));
  }
  return v / speed / (1 + (x * v) / (r * c));
}
