// A charge with no server: how much it moves and how long that takes at the least, whether it may start, and its
// countdown, from figures that the server gave.

const stop = (text, pack) => told("stop", "Do not start it", text, pack, "pack");

const typedIn = ({ given }) => Object.assign({}, ...Object.values(given).map(({ fields }) => fields));

function percentAt(points, volts) {
  let [low, lowV] = points[0];
  for (const [high, highV] of points) {
    if (volts <= highV) return high && low + ((volts - lowV) / (highV - lowV)) * (high - low);
    [low, lowV] = [high, highV];
  }
  return low;
}

// In mAh, about: under nothing what goes out of the pack, not a number while the cells are not measured.
function moved(walk) {
  const { points, target, rests, mah } = walk.run.start;
  const volts = Object.entries(typedIn(walk)).filter(([name]) => name.startsWith("cell_v-")).map(([, text]) => numberIn(text, [0, 100]));
  const mean = volts.reduce((sum, cell) => sum + cell, 0) / volts.length;
  return rests[0] <= mean && mean <= rests[1] ? 0 : ((target - percentAt(points, mean)) / 100) * mah;
}

// The charges that are over by what waits here.
const ended = (entries) => new Set(entries.filter(({ url, state }) => state !== "refused" && url.endsWith("/end")).map(({ url }) => uuidOf(url)));

// Why the charge may not start here; in doubt it may not.
async function whyNot(walk) {
  const { run: { start, steps, good_for: goodFor, database, values: { pack } }, given, uuid } = walk;
  const open = openStep(walk);
  if (open) return given[open.key] ? against(walk, open, given[open.key].fields).text : `${open.title}: not done yet.`;
  if (steps.some(({ key }) => given[key].at < Date.now() - goodFor)) return start.stale;
  const all = (await box.all()).filter(madeFor(database));
  if (all.some(({ url }) => pathOf(url) === `${pack}/condition`)) return start.changed;
  const over = ended(all);
  if (start.busy && !over.has(start.busy)) return start.taken;
  const others = all.filter(({ url, state }) => state !== "refused" && url.endsWith("/start") && !url.includes(uuid) && !over.has(uuidOf(url)));
  const mayBeOurs = (other) => all.every(({ url }) => !url.includes(`${other}/steps`) || url.includes(`${pack}/`));
  if (others.some(({ url }) => mayBeOurs(uuidOf(url)))) return start.taken;
  return moved(walk) ? "" : start.there;
}

// The last look, or the countdown of a charge that was started on this phone.
async function chargePage(walk, url) {
  const { run, uuid, entries } = walk;
  const seen = entries.length ? null : await lastCopy(url);
  if (seen) return seen;
  const last = (act) => entries.findLast((entry) => entry.url.endsWith(act));
  if (last("/end")) return Response.redirect(run.values.pack, 302);
  const next = openStep(walk);
  const started = last("/start");
  if (next && !started) return Response.redirect(addressOf(run, next, uuid), 302);
  const why = started ? "" : await whyNot(walk);
  if (why) return framed(walk, stop(why, run.values.pack));
  const typed = typedIn(walk);
  const at = started?.madeAt ?? Date.now();
  const mah = moved(walk);
  let due = at + Math.min(run.start.most, Math.abs(mah * 0.06) / numberIn(typed.current_a, [0, 900])) * MINUTE_MS;
  for (const entry of entries) {
    if (entry.url.endsWith("/longer")) due = Math.max(due, entry.madeAt) + Number(fieldsOf(entry).minutes) * MINUTE_MS;
  }
  return framed(walk, filled(started ? run.start.running : run.start.ready, {
    ...typed, ...run.values, uuid, due, until: wallClock(due), started: wallClock(at), way: mah < 0 ? "Discharging" : "Charging",
    minutes: Math.max(0, Math.round((due - Date.now()) / MINUTE_MS)),
  }));
}
