// Run-throughs with no server: checklists, and the cautions before a charge. Every step was kept with what it
// asks: an answer is judged by that and leads to the next step that is open. The server judges again.

const runs = (() => {
  const UUID = /[\da-f]{8}(-[\da-f]{4}){3}-[\da-f]{12}/;
  const UNKNOWN = "The server has not answered, and this phone does not know this charge. Do not start it.";

  /** @param {string} path */
  const uuidOf = (path) => path.match(UUID)?.[0];

  /** The path and question of an address. @param {string} address */
  function pathOf(address) {
    const { pathname, search } = new URL(address, self.location.origin);
    return pathname + search;
  }

  /** @param {Entry} entry @returns {Record<string, string>} */
  const fieldsOf = (entry) => Object.fromEntries(new URLSearchParams(entry.body));

  /** The run-throughs that were kept of a database. @param {string} [database] @returns {Promise<RunThrough[]>} */
  async function ofDatabase(database) {
    const copy = await (await databases.pagesOf(database)).match(pages.RUNS);
    if (!copy) return [];
    return (await copy.json()).map((run) => ({ ...run, database }));
  }

  /** @param {RunThrough} run @param {Step} step @param {string} uuid */
  const addressOf = (run, step, uuid) => run.at.replace("{uuid}", uuid).replace("{step}", step.key);
  const stepAt = (run, path) => run.steps.find((step) => addressOf(run, step, uuidOf(path)) === path);
  const endOf = ({ run, uuid }) => run.then.replace("{uuid}", uuid);

  // The run-through that an address belongs to, with what was answered in it: to the server, then on this phone.
  // One that was begun on this phone goes on in its own database.
  /** @param {string} path @returns {Promise<Walk | null>} */
  async function walkAt(path) {
    const uuid = uuidOf(path);
    if (!uuid) return null;
    const unsent = await outbox.unsent();
    const entries = unsent.filter(({ url }) => url.includes(uuid));
    const database = entries.at(-1)?.database ?? (await databases.current());
    const paths = [path, ...entries.map(({ url }) => pathOf(url))];
    const run = (await ofDatabase(database)).find((each) => each.uuid === uuid || paths.some((other) => stepAt(each, other)));
    if (!run) return null;
    /** @type {Walk["given"]} */
    const given = {};
    const known = run.uuid === uuid ? run.settled : run.uuid ? [] : knownAtStart(run, entries, unsent);
    const walk = { run, uuid, entries, given, known };
    for (const key of known) given[key] = { at: run.since };
    if (run.uuid === uuid) {
      for (const [key, fields] of Object.entries(run.given)) given[key] = { fields, at: run.since };
    }
    for (const entry of entries) {
      const step = stepAt(run, pathOf(entry.url));
      if (!step) continue;
      const { key } = step;
      let fields = fieldsOf(entry);
      if ("stand" in fields) fields = { ...given[key]?.fields, stand: "", reason: fields.reason };
      if ("skip" in fields && isOutside(walk, step)) continue;
      if (fields.skip === "group") {
        const left = run.steps.filter((each) => each.group === step.group && !given[each.key]);
        for (const each of left) given[each.key] = { fields, at: entry.madeAt };
      }
      if (!("timer" in fields)) given[key] = { fields, at: entry.madeAt };
    }
    return walk;
  }

  // What a run-through that the server does not know yet need not ask: as it began here, else as the server has it;
  // everything is asked while a reset or a run waits to be sent, and once the next heat is due to be over.
  function knownAtStart(run, entries, unsent) {
    if (entries.length) return (fieldsOf(entries[0]).known ?? "").split(" ").filter(Boolean);
    if (Date.now() - run.since > (run.known_for ?? run.good_for)) return [];
    return unsent.some(({ url }) => url.includes("steps=reset") || pathOf(url) === "/runs/new") ? [] : run.settled;
  }

  // Whether what was read at a step is outside the class, with a reason or without: it is not skipped then.
  function isOutside(walk, step) {
    const { stand, ...fields } = walk.given[step.key]?.fields ?? { skip: "1" };
    return Boolean(objection(walk, step, { ...fields, sure: "" })?.reading);
  }

  // What a text can mean as a number, as the server reads it: usually one, none where it is no number, two where a
  // comma may part thousands or decimals and `sensible` (least, most) does not tell which.
  function readingsOf(text, sensible = null) {
    const seen = text.replace(/[\u00ad\u061c\u200b-\u200f\u2060-\u2064\u206a-\u206f\ufeff]/g, "");
    const spaced = seen.trim().replace(/−/g, "-").replace(/[\s'’]/g, " ");
    const parted = spaced.replace(/\d{1,3}( \d{3})+(?!\d)/g, (all) => all.replace(/ /g, ""));
    if (/\d +\d/.test(parted)) return [];
    const [, tidy, k] = parted.replace(/ /g, "").match(/^(.*?)(k?)$/i);
    const oneComma = tidy.match(/^([-+]?)([1-9]\d{0,2})[.,](\d{3})$/);
    const both = tidy.match(/^[-+]?\d{1,3}(?:([.,])\d{3})+(?!\1)[.,]\d+$/);
    let texts = [tidy.replaceAll(",", ".")];
    if (oneComma) texts = [`${oneComma[1]}${oneComma[2]}.${oneComma[3]}`, oneComma[1] + oneComma[2] + oneComma[3]];
    else if (/^[-+]?\d{1,3}([.,])\d{3}(\1\d{3})+$/.test(tidy)) texts = [tidy.replace(/[.,]/g, "")];
    else if (both) texts = [tidy.replaceAll(both[1], "").replace(",", ".")];
    if (!texts.every((each) => /^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i.test(each))) return [];
    const read = texts.map((each) => Number(each) * (k ? 1000 : 1));
    if (read.length === 1) return read;
    const within = sensible ? read.filter((each) => each >= sensible[0] && each <= sensible[1]) : read;
    if (!within.length || tidy.includes(".")) return (within.length ? within : read).slice(0, 1);
    return within;
  }

  /** The number that a text means, or NaN. @param {string} text @param {[number, number] | null} [sensible] */
  function numberIn(text, sensible = null) {
    const read = readingsOf(text, sensible);
    return read.length === 1 ? read[0] : NaN;
  }

  /**
   * What is wrong with the text in one field: a sentence, or "outside" where none was given for it; empty if it may stand.
   * @param {Limit} limit
   */
  function fault(limit, text = "") {
    if (limit.only) return text === limit.only ? "" : limit.over;
    const word = limit.words?.[text.trim().toLowerCase()];
    const read = word === undefined ? readingsOf(text, limit.sensible) : [word ?? NaN];
    if (read.length > 1) return `Is that ${read.join(" or ")}? Write it without the comma.`;
    const value = read[0] ?? NaN;
    const outside = (sentence = "outside") => sentence.replace("{shown}", text + limit.unit);
    if (!Number.isFinite(value)) {
      if (word === undefined && limit.number) return limit.number;
      return "least" in limit || "most" in limit ? outside(limit.over) : "";
    }
    const slack = 1e-9 * Math.max(1, Math.abs(value));
    if (value < limit.least - slack) return outside(limit.under);
    return value > limit.most + slack ? outside(limit.over) : "";
  }

  // The question about a reading outside its maker's range, or that another profile plans; empty where there is
  // none, it is known already, or it was said to be right.
  /** @param {Step} step @param {Record<string, string>} fields */
  function doubtAbout({ doubt, limits }, fields) {
    if (!doubt || ["sure", "take", "stand"].some((name) => name in fields)) return "";
    const read = fields.shown ?? "";
    const value = numberIn(read, limits.shown?.sensible);
    const slack = 1e-9 * Math.max(1, Math.abs(value));
    const isRead = (each) =>
      each.toLowerCase() === read.trim().toLowerCase() || Math.abs(Number(each || NaN) - value) <= slack;
    if (doubt.known.some(isRead)) return "";
    if (value < doubt.least - slack || value > doubt.most + slack) return doubt.text;
    return doubt.likes[Object.keys(doubt.likes).find(isRead)] ?? "";
  }

  /**
   * What speaks against an answer: a sentence, and whether the answer is put down all the same; null for nothing. What
   * is outside a class is put down, with its reading as `reading`; with a reason it stands.
   * @param {Walk} walk @param {Step} step @param {Record<string, string>} fields
   * @returns {{text?: string, reading?: string, saved?: boolean, doubted?: boolean} | null}
   */
  function objection(walk, step, fields) {
    if ("skip" in fields) return null;
    const question = doubtAbout(step, fields);
    if (question) return { text: question, doubted: true };
    const apart = step.apart && charges.cellsApart(fields) > step.apart.most + 1e-9;
    for (const [name, plain] of Object.entries(step.limits)) {
      if ((name === "expected") !== ("take" in fields)) continue;
      const limit = plain.discharging && charges.movedMah(walk) < 0 ? plain.discharging : plain;
      const text = fault(limit, fields[name]);
      if (!text) continue;
      if (text !== "outside") return { text, saved: "only" in limit };
      const unit = Number.isNaN(numberIn(fields[name], limit.sensible)) ? "" : limit.unit;
      const reading = "take" in fields ? step.expected : fields[name] + unit;
      if (!("stand" in fields)) return { reading, saved: true };
      const { words: least, text: why } = walk.run.reason;
      const words = fields.reason.split(/\s+/).filter((word) => word.match(/\p{L}/gu)?.length > 1);
      if (words.length < least) return { reading, text: why };
    }
    return apart ? { text: step.apart.text } : null;
  }

  /** Where it goes on: at this step while it is open, else at the next that is, else at one before. @param {Walk} walk @param {Step} [from] */
  function openStep(walk, from) {
    const { run: { steps }, given } = walk;
    const at = Math.max(0, steps.indexOf(from));
    return [...steps.slice(at), ...steps.slice(0, at)].find((step) => {
      const answer = given[step.key];
      return !answer || (answer.fields && objection(walk, step, answer.fields));
    });
  }

  /** Markup with what was chosen in it chosen again. @param {string} html @param {Record<string, string>} fields */
  const chosen = (html, fields) =>
    html.replace(/<input\b[^>]*\stype="(?:radio|checkbox)"[^>]*>/g, (tag) => {
      const [name, value] = ["name", "value"].map((each) => tag.match(`\\s${each}="([^"]*)"`)?.[1] ?? "");
      const bare = tag.replace(/\schecked(="[^"]*")?(?=[\s>])/, "");
      return name in fields && messages.escaped(fields[name]) === value ? bare.replace("<input", "<input checked") : bare;
    });

  /** A step's markup with what speaks against its answer; `typed` stands in its fields again, and its fold is open. */
  function fragment(walk, step, typed = null, refusal = "") {
    const { run, uuid, given } = walk;
    const fields = given[step.key]?.fields;
    const against = fields && objection(walk, step, fields);
    const before = run.steps[run.steps.indexOf(step) - 1];
    const values = {
      ...run.values, uuid, at: addressOf(run, step, uuid), back: before ? addressOf(run, before, uuid) : "",
      shown: against?.reading, known: walk.known.join(" "),
    };
    for (const [name, text] of Object.entries(typed ?? {})) values[`typed-${name}`] = text;
    const why = against?.text || refusal;
    const problem = why ? messages.bar("stop", why) : "";
    const html = against?.reading ? step.stopped : step.html;
    return messages.filled(typed ? chosen(html, typed) : html, values, {
      problem, open: typed ? " open" : "", sure: against?.doubted ? step.doubt.yes : "",
    });
  }

  /** Markup in the page of a run-through. @param {Walk} walk @param {string} html */
  const framed = ({ run }, html) => pages.framed(run.frame, run.title, html, run.database);

  /** The page of a run-through at an address, or null where none was kept. @param {URL} url */
  async function page(url) {
    const path = url.pathname + url.search;
    const listed = (await ofDatabase(await databases.current())).find(({ begin }) => begin === path);
    if (listed) {
      const doubt = listed.start?.again && (await charges.whyNotAgain(listed));
      const html = doubt && charges.refusal(doubt, listed.values.pack);
      if (html) return pages.framed(listed.frame, listed.title, html, listed.database);
      return Response.redirect(await resumeAddress(listed), 302);
    }
    const walk = await walkAt(path);
    const step = walk && stepAt(walk.run, path);
    if (step) return framed(walk, fragment(walk, step));
    if (walk) return walk.run.start && path === endOf(walk) ? charges.page(walk, url) : null;
    const over = await charges.leadsTo(url.pathname);
    return over ? Response.redirect(over, 302) : null;
  }

  // Where a run-through is taken up: where it was left half-way, here or at the server, else at its start.
  async function resumeAddress(run) {
    const since = Date.now() - run.good_for;
    const waiting = (await outbox.unsent()).filter(outbox.madeFor(run.database));
    const over = charges.ended(waiting);
    if (run.start?.busy && !over.has(run.start.busy)) return endOf({ run, uuid: run.start.busy });
    const last = waiting.findLast(({ url, madeAt }) =>
      madeAt > since && stepAt(run, pathOf(url)) && !over.has(uuidOf(url)));
    const open = last ? uuidOf(last.url) : run.since > since && run.uuid;
    const walk = await walkAt(addressOf(run, run.steps[0], open || crypto.randomUUID()));
    const next = openStep(walk);
    if (next) return addressOf(run, next, walk.uuid);
    return run.start ? endOf(walk) : addressOf(run, run.steps[0], crypto.randomUUID());
  }

  /**
   * Judge an unsent answer: the address and markup of the next step, or a refusal, because it may not wait.
   * @param {Entry} entry
   * @param {boolean} mustBeJudged whether it may wait only where everything before it was judged here
   * @returns {Promise<Judgement>}
   */
  async function judge(entry, mustBeJudged) {
    const path = pathOf(entry.url);
    const walk = await walkAt(path);
    const step = walk && stepAt(walk.run, path);
    if (step) {
      const fields = fieldsOf(entry);
      if ("skip" in fields && isOutside(walk, step)) {
        return { walk, html: fragment(walk, step, fields, walk.run.reason?.skipped), refused: true };
      }
      const timed = "timer" in fields;
      const against = timed ? null : objection(walk, step, walk.given[step.key].fields);
      if (against && !against.saved) return { walk, html: fragment(walk, step, fields), refused: true };
      const next = timed ? step : openStep(walk, step);
      return next ? { then: addressOf(walk.run, next, walk.uuid), html: fragment(walk, next) } : { then: endOf(walk) };
    }
    const why = mustBeJudged && (walk?.run.start ? await charges.whyNot(walk).catch(() => UNKNOWN) : UNKNOWN);
    return why ? { walk, html: charges.refusal(why, walk?.run.values.pack), refused: true } : { then: entry.then };
  }

  return { UNKNOWN, uuidOf, pathOf, fieldsOf, ofDatabase, addressOf, numberIn, fault, objection, openStep, framed, page, judge };
})();
