// A charge with no server: how much it moves and how long that takes at the least, whether it may start, and its
// countdown, from figures that the server gave.

const charges = (() => {
  const MINUTE_MS = 60000;

  /** The markup of a charge that may not start. @param {string} why @param {string} [pack] its pack's address */
  const refusal = (why, pack) => messages.screen("stop", "Do not start it", why, pack, "pack");

  const typedIn = ({ given }) => Object.assign({}, ...Object.values(given).map(({ fields }) => fields));

  function percentAt(points, volts) {
    let [low, lowV] = points[0];
    for (const [high, highV] of points) {
      if (volts <= highV) return high && low + ((volts - lowV) / (highV - lowV)) * (high - low);
      [low, lowV] = [high, highV];
    }
    return low;
  }

  /** In mAh, about: under nothing what goes out of the pack, NaN while the cells are not measured. @param {Walk} walk */
  function movedMah(walk) {
    const { points, target, rests, mah } = walk.run.start;
    const cells = Object.entries(typedIn(walk)).filter(([name]) => name.startsWith("cell_v-"));
    const volts = cells.map(([, text]) => runs.numberIn(text, [0, 100]));
    const mean = volts.reduce((sum, cell) => sum + cell, 0) / volts.length;
    return rests[0] <= mean && mean <= rests[1] ? 0 : ((target - percentAt(points, mean)) / 100) * mah;
  }

  /** The uuids of the charges that are over by what waits on this phone. @param {Entry[]} entries @returns {Set<string>} */
  const ended = (entries) =>
    new Set(entries.filter(({ url, state }) => state !== "refused" && url.endsWith("/end")).map(({ url }) => runs.uuidOf(url)));

  /** How far the cells that were typed rest from each other, in V. @param {Record<string, string>} fields */
  function cellsApart(fields) {
    const typed = Object.entries(fields).filter(([name]) => name.startsWith("cell_v-"));
    const volts = typed.map(([, text]) => runs.numberIn(text, [0, 100]));
    return Math.max(...volts) - Math.min(...volts);
  }

  // Why a pack is not charged as last time here: what waits on this phone about it is not known to what was kept.
  /** @param {RunThrough} run @param {string} [uuid] of the charge that is prepared */
  async function whyNotAgain({ start, database, values: { pack } }, uuid) {
    const all = (await outbox.all()).filter(outbox.madeFor(database));
    const over = ended(all);
    const own = (url) => url.includes("/steps/again") && !over.has(runs.uuidOf(url));
    const about = ({ url }) => runs.pathOf(url).startsWith(`${pack}/`) && !url.endsWith("/in-car");
    return all.some((entry) => about(entry) && !(uuid ? entry.url.includes(uuid) : own(entry.url))) ? start.again : "";
  }

  /** Where the page of a charge leads that is over by what waits on this phone, whoever began it; empty while it is not. */
  async function leadsTo(path) {
    const uuid = path.match(/^\/packs\/charges\/([\da-f-]{36})$/)?.[1];
    const database = await databases.current();
    if (!uuid || !ended((await outbox.unsent()).filter(outbox.madeFor(database))).has(uuid)) return "";
    const run = (await runs.ofDatabase(database)).find(({ start }) => start?.busy === uuid);
    return run?.values.pack ?? "/packs";
  }

  /** Why the charge may not start here, or nothing; in doubt it may not. @param {Walk} walk @returns {Promise<string>} */
  async function whyNot(walk) {
    const { run: { start, steps, good_for: goodFor, database, values: { pack } }, given, uuid } = walk;
    const open = runs.openStep(walk);
    if (open) return given[open.key] ? runs.objection(walk, open, given[open.key].fields).text : `${open.title}: not done yet.`;
    if (steps.some(({ key }) => given[key].at < Date.now() - goodFor)) return start.stale;
    const all = (await outbox.all()).filter(outbox.madeFor(database));
    if (all.some(({ url }) => runs.pathOf(url) === `${pack}/condition`)) return start.changed;
    const doubt = start.again && (await whyNotAgain(walk.run, uuid));
    if (doubt) return doubt;
    const over = ended(all);
    if (start.busy && !over.has(start.busy)) return start.taken;
    const others = all.filter(({ url, state }) =>
      state !== "refused" && url.endsWith("/start") && !url.includes(uuid) && !over.has(runs.uuidOf(url)));
    const mayBeOurs = (other) => all.every(({ url }) => !url.includes(`${other}/steps`) || url.includes(`${pack}/`));
    if (others.some(({ url }) => mayBeOurs(runs.uuidOf(url)))) return start.taken;
    return movedMah(walk) ? "" : start.there;
  }

  /** The last look, or the countdown of a charge that was started on this phone. @param {Walk} walk @param {URL} url */
  async function page(walk, url) {
    const { run, uuid, entries } = walk;
    const copy = entries.length ? null : await pages.lastCopy(url);
    if (copy) return copy;
    const last = (act) => entries.findLast((entry) => entry.url.endsWith(act));
    if (last("/end")) return Response.redirect(run.values.pack, 302);
    const next = runs.openStep(walk);
    const started = last("/start");
    if (next && !started) return Response.redirect(runs.addressOf(run, next, uuid), 302);
    const why = started ? "" : await whyNot(walk);
    if (why) return runs.framed(walk, refusal(why, run.values.pack));
    const typed = typedIn(walk);
    const at = started?.madeAt ?? Date.now();
    const mah = movedMah(walk);
    let due = at + Math.min(run.start.most, Math.abs(mah * 0.06) / runs.numberIn(typed.current_a, [0, 900])) * MINUTE_MS;
    for (const entry of entries) {
      if (entry.url.endsWith("/longer")) due = Math.max(due, entry.madeAt) + Number(runs.fieldsOf(entry).minutes) * MINUTE_MS;
    }
    return runs.framed(walk, messages.filled(started ? run.start.running : run.start.ready, {
      ...typed, ...run.values, uuid, due, until: messages.wallClock(due), started: messages.wallClock(at),
      way: mah < 0 ? "Discharging" : "Charging",
      minutes: Math.max(0, Math.round((due - Date.now()) / MINUTE_MS)),
    }));
  }

  return { refusal, leadsTo, cellsApart, whyNotAgain, movedMah, ended, whyNot, page };
})();
