// What is known before anything is heard: the same sums as pitapp.sound, checked by the same vectors.
const BELOW = 0.8, ABOVE = 1.17, ABOUT_LIMIT = 0.06, SPREADS = 2;

/** Where free revs can lie, in rpm: Kv up to 10 % and volts up to 5 % off. */
export const freeRpmBand = (kvRpmPerV, volts) => [BELOW * kvRpmPerV * volts, ABOVE * kvRpmPerV * volts];

/** Where revs are looked for about a limit, in rpm. */
export const limitRpmBand = (limitRpm) => [limitRpm * (1 - ABOUT_LIMIT), limitRpm * (1 + ABOUT_LIMIT)];

/** "under" or "over" a limit only beyond two spreads, else "near". */
export function sideOfLimit(rpm, spreadRpm, limitRpm) {
  if (Math.abs(rpm - limitRpm) <= SPREADS * spreadRpm) return "near";
  return rpm < limitRpm ? "under" : "over";
}
