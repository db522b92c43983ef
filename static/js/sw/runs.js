// Run-throughs with no server: checklists, and the cautions before a charge. Every step was kept with what it
// asks: an answer is judged by that and leads to the next step that is open. The server judges again.

const UUID = /[\da-f]{8}(-[\da-f]{4}){3}-[\da-f]{12}/;
const MINUTE_MS = 60000;
const UNKNOWN = "The server has not answered, and this phone does not know this charge. Do not start it.";

const uuidOf = (path) => path.match(UUID)?.[0];

function pathOf(address) {
  const { pathname, search } = new URL(address, self.location.origin);
  return pathname + search;
}

const fieldsOf = (entry) => Object.fromEntries(new URLSearchParams(entry.body));

const filled = (html, values) =>
  html.replace(/\{([\w-]+)\}/g, (whole, name) => (name in values ? escaped(values[name]) : whole));

async function keptRuns(database) {
  const kept = await (await pagesOf(database)).match("/offline/runs");
  if (!kept) return [];
  return (await kept.json()).map((run) => ({ ...run, database }));
}

const addressOf = (run, step, uuid) => run.at.replace("{uuid}", uuid).replace("{step}", step.key);
const stepOf = (run, path) => run.steps.find((step) => addressOf(run, step, uuidOf(path)) === path);
const endOf = ({ run, uuid }) => run.then.replace("{uuid}", uuid);

// The run-through that an address belongs to, with what was answered in it: to the server, then on this phone.
// One that was begun on this phone goes on in its own database.
async function walkAt(path) {
  const uuid = uuidOf(path);
  if (!uuid) return null;
  const entries = (await box.unsent()).filter(({ url }) => url.includes(uuid));
  const database = entries.at(-1)?.database ?? (await databaseNow());
  const paths = [path, ...entries.map(({ url }) => pathOf(url))];
  const run = (await keptRuns(database)).find((each) => each.uuid === uuid || paths.some((one) => stepOf(each, one)));
  if (!run) return null;
  const given = {};
  if (run.uuid === uuid) {
    for (const key of run.settled) given[key] = { at: run.since };
    for (const [key, fields] of Object.entries(run.given)) given[key] = { fields, at: run.since };
  }
  for (const entry of entries) {
    const step = stepOf(run, pathOf(entry.url));
    if (!step) continue;
    const { key } = step;
    let fields = fieldsOf(entry);
    if ("stand" in fields) fields = { ...given[key]?.fields, stand: "", reason: fields.reason };
    if (!("timer" in fields)) given[key] = { fields, at: entry.madeAt };
  }
  return { run, uuid, entries, given };
}

// What a text can mean as a number, as the server reads it: usually one, none where it is no number, two where a
// comma may part thousands or decimals and `sensible` (least, most) does not tell which.
function readingsOf(text, sensible = null) {
  const spaced = text.trim().replace(/−/g, "-").replace(/[\s'’]/g, " ");
  const parted = spaced.replace(/\d{1,3}( \d{3})+(?!\d)/g, (all) => all.replace(/ /g, ""));
  if (/\d +\d/.test(parted)) return [];
  const [, tidy, k] = parted.replace(/ /g, "").match(/^(.*?)(k?)$/i);
  const one = tidy.match(/^([-+]?)([1-9]\d{0,2})[.,](\d{3})$/);
  const both = tidy.match(/^[-+]?\d{1,3}(?:([.,])\d{3})+(?!\1)[.,]\d+$/);
  let texts = [tidy.replaceAll(",", ".")];
  if (one) texts = [`${one[1]}${one[2]}.${one[3]}`, one[1] + one[2] + one[3]];
  else if (/^[-+]?\d{1,3}([.,])\d{3}(\1\d{3})+$/.test(tidy)) texts = [tidy.replace(/[.,]/g, "")];
  else if (both) texts = [tidy.replaceAll(both[1], "").replace(",", ".")];
  if (!texts.every((each) => /^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i.test(each))) return [];
  const read = texts.map((each) => Number(each) * (k ? 1000 : 1));
  if (read.length === 1) return read;
  const within = sensible ? read.filter((each) => each >= sensible[0] && each <= sensible[1]) : read;
  if (!within.length || tidy.includes(".")) return (within.length ? within : read).slice(0, 1);
  return within;
}

function numberIn(text, sensible = null) {
  const read = readingsOf(text, sensible);
  return read.length === 1 ? read[0] : NaN;
}

// What is wrong with the text in one field: a sentence, or "outside" where none was given for it.
function wrong(limit, text = "") {
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

// What speaks against an answer: a sentence, and whether the answer is put down all the same. What is outside a
// class is, and shown so; with a reason it stands.
function against(walk, step, fields) {
  if ("skip" in fields) return null;
  for (const [name, asked] of Object.entries(step.limits)) {
    if ((name === "expected") !== ("take" in fields)) continue;
    const limit = asked.discharging && moved(walk) < 0 ? asked.discharging : asked;
    const text = wrong(limit, fields[name]);
    if (!text) continue;
    if (text !== "outside") return { text, saved: "only" in limit };
    const shown = "take" in fields ? step.expected : fields[name] + (isNaN(numberIn(fields[name], limit.sensible)) ? "" : limit.unit);
    if (!("stand" in fields)) return { shown, saved: true };
    const { words, text: why } = walk.run.reason;
    const said = fields.reason.split(/\s+/).filter((word) => word.match(/\p{L}/gu)?.length > 1);
    if (said.length < words) return { shown, text: why };
  }
  return null;
}

// Where it goes on: at this step while it is open, else at the next that is, else at one before.
function openStep(walk, from) {
  const { run: { steps }, given } = walk;
  const at = Math.max(0, steps.indexOf(from));
  return [...steps.slice(at), ...steps.slice(0, at)].find((step) => {
    const held = given[step.key];
    return !held || (held.fields && against(walk, step, held.fields));
  });
}

function stepFragment(walk, step) {
  const { run, uuid, given } = walk;
  const fields = given[step.key]?.fields;
  const found = fields && against(walk, step, fields);
  const before = run.steps[run.steps.indexOf(step) - 1];
  const html = filled(found?.shown ? step.stopped : step.html, {
    ...run.values, uuid, at: addressOf(run, step, uuid), back: before ? addressOf(run, before, uuid) : "", shown: found?.shown,
  });
  return found?.text ? html.replace(">", () => `>${bar("stop", found.text)}`) : html;
}

// The fragment in its page, as a kept copy.
async function framed({ run }, html) {
  const frame = await (await pagesOf(run.database)).match(run.frame);
  if (!frame) return null;
  const page = (await frame.text())
    .replace(/(<title>|<h1>)[^<·]*/g, (_, tag) => `${tag}${escaped(run.title)} `)
    .replace(new RegExp(`<div id="${run.part}"[\\s\\S]*?</main>`), () => `${html}</main>`);
  return htmlResponse(page, 200, { "Kept-At": frame.headers.get("Kept-At") });
}

async function runThroughPage(url) {
  const path = url.pathname + url.search;
  const listed = (await keptRuns(await databaseNow())).find(({ begin }) => begin === path);
  if (listed) return Response.redirect(await takenUp(listed), 302);
  const walk = await walkAt(path);
  const step = walk && stepOf(walk.run, path);
  if (step) return framed(walk, stepFragment(walk, step));
  return walk?.run.start && path === endOf(walk) ? chargePage(walk, url) : null;
}

// Where a run-through is taken up: where it was left half-way, here or at the server, else at its start.
async function takenUp(run) {
  const since = Date.now() - run.good_for;
  const waiting = (await box.unsent()).filter(madeFor(run.database));
  const over = ended(waiting);
  if (run.start?.busy && !over.has(run.start.busy)) return endOf({ run, uuid: run.start.busy });
  const last = waiting.findLast(({ url, madeAt }) => madeAt > since && stepOf(run, pathOf(url)) && !over.has(uuidOf(url)));
  const begun = last ? uuidOf(last.url) : run.since > since && run.uuid;
  const walk = await walkAt(addressOf(run, run.steps[0], begun || crypto.randomUUID()));
  const next = openStep(walk);
  if (next) return addressOf(run, next, walk.uuid);
  return run.start ? endOf(walk) : addressOf(run, run.steps[0], crypto.randomUUID());
}

// What becomes of an answer that no server took: where it leads, or what is shown again because it may not wait.
async function takenHere(entry, mustBeJudged) {
  const path = pathOf(entry.url);
  const walk = await walkAt(path);
  const step = walk && stepOf(walk.run, path);
  if (step) {
    const fields = fieldsOf(entry);
    const timed = "timer" in fields;
    const found = timed ? null : against(walk, step, walk.given[step.key].fields);
    if (found && !found.saved) {
      let html = stepFragment(walk, step);
      for (const [name, text] of Object.entries(fields)) html = put(html, name, text);
      return { walk, html: html.replace("<details>", "<details open>"), refused: true };
    }
    const next = timed ? step : openStep(walk, step);
    return next ? { then: addressOf(walk.run, next, walk.uuid), html: stepFragment(walk, next) } : { then: endOf(walk) };
  }
  const why = mustBeJudged && (walk?.run.start ? await whyNot(walk).catch(() => UNKNOWN) : UNKNOWN);
  return why ? { walk, html: stop(why, walk?.run.values.pack), refused: true } : { then: entry.then };
}
