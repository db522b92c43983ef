// Writes: put down first, then sent; kept until the server confirms; sent once however often they are sent.

const SEND_LIMIT_MS = 5000;
const SILENT_SEND_LIMIT_MS = 1500;
const MOST_TRIES = 5;
const LOCK = "pitapp-outbox";
const OWN_FIELDS = ["idempotency_key", "made_for", "outbox_label", "outbox_mends"];
const STRAIGHT_LIMIT_MS = 15000;
const STAYS = "What you typed is still here.";
const SILENT = "the server does not answer";
const FULL = "this phone is full";
const UNKEPT = "this phone cannot keep it";
const NOT_SAVED = {
  stranger: STRANGER,
  elsewhere: "another database answers than the one this page came from",
};

function ruleFor(path) {
  for (const { match, then, judged: mustBeJudged } of PITAPP.writes) {
    const found = path.match(new RegExp(match));
    if (found) return { then: then.replace(/\{(\w+)\}/g, (_, name) => found.groups[name]), mustBeJudged };
  }
  return { then: null };
}

// A server that has just been silent is given less time: what it may still do, it does once.
const sendLimit = () => (Date.now() < silentUntil ? SILENT_SEND_LIMIT_MS : SEND_LIMIT_MS);

function post(entry, token, more, limit) {
  return fetch(entry.url, {
    method: "POST",
    body: entry.body,
    headers: {
      "Content-Type": entry.type,
      "Idempotency-Key": entry.key,
      "X-CSRFToken": token,
      [DATABASE]: entry.database,
      "Pitapp-No-Redirect": "1",
      ...more,
    },
    redirect: "manual",
    cache: "no-store",
    credentials: "same-origin",
    signal: limit ? AbortSignal.timeout(limit) : undefined,
  });
}

// One try, and a second with a fresh token and the same key where only the token was refused.
async function send(entry, token, more, limit = sendLimit()) {
  const fresh = async () => {
    const server = await askServer(sendLimit());
    if (!server) throw new Error(STRANGER);
    return server.token;
  };
  const response = await post(entry, token || (await fresh()), more, limit);
  await noticeAnswer(response);
  return response.headers.has("X-Csrf-Refused") ? post(entry, await fresh(), more, limit) : response;
}

// Only an answer of the database that the entry was made for says anything of it. A redirect that cannot be
// looked into is a stranger's: pitapp gives a worker its own in a header.
function judged(response, { database }) {
  const from = response.headers.get(DATABASE);
  if (!from) return "stranger";
  if (database && from !== database) return "elsewhere";
  if (response.ok) return "confirmed";
  if (response.status === 401 || response.headers.has("X-Csrf-Refused")) return "later";
  if ([408, 425, 429].includes(response.status) || response.status >= 500) return "later";
  return "refused";
}

async function taken(request) {
  const fields = new URLSearchParams(await request.text());
  const url = new URL(request.url);
  const token = fields.get("csrf_token") ?? request.headers.get("X-CSRFToken") ?? "";
  const key = request.headers.get("Idempotency-Key") ?? fields.get("idempotency_key") ?? crypto.randomUUID();
  const label = fields.get("outbox_label") ?? url.pathname;
  const listens = fields.has("outbox_label");
  const mends = fields.get("outbox_mends");
  const database = request.headers.get(DATABASE) ?? fields.get("made_for") ?? (await databaseNow());
  for (const name of ["csrf_token", ...OWN_FIELDS]) fields.delete(name);
  url.searchParams.delete("outbox_mends");
  const { then, mustBeJudged } = ruleFor(url.pathname);
  return {
    token,
    mends,
    mustBeJudged,
    listens,
    entry: {
      key, label, database, url: url.href, body: fields.toString(), type: "application/x-www-form-urlencoded",
      then, madeAt: Date.now(), state: "trying", tries: 0,
    },
  };
}

// What an entry that was mended comes to: gone when its successor is safe, else kept as it was typed last.
async function mend(mended, entry, tried, hx) {
  if (tried?.outcome !== "refused") {
    await box.drop(mended.id);
    return tried;
  }
  const { answer } = tried;
  const html = withoutToken(await answer.clone().text());
  const noted = box.put({ ...mended, body: entry.body, status: answer.status, html, reasons: reasons(html) });
  const again = await noted.then(() => !hx, () => false);
  return again ? { answer: Response.redirect(mendPath(mended), 303) } : tried;
}

// "Saved on this phone": the next step of a run-through, or the page where the entry is shown waiting.
function savedAnswer({ then, html }, hx) {
  if (!hx) return Response.redirect(then, 303);
  if (html) return htmlResponse(html + notice("Saved on this phone"));
  return htmlResponse("", 200, { "HX-Redirect": then });
}

// What may not wait is not kept: the step again, with what was typed and what speaks against it.
async function refusedAnswer({ walk, html }, entry, hx) {
  await box.drop(entry.id);
  if (hx) return htmlResponse(html + notice(""));
  const page = walk && (await framed(walk, html));
  return page ? shown(page, new URL(entry.url).pathname) : sentence("Not started", UNKNOWN);
}

function notice(text) {
  const said = text && `<div class="undo-bar"><span>${escaped(text)}</span></div>`;
  return `<div id="notices" role="status" hx-swap-oob="true">${said}</div>`;
}

async function whole(response) {
  const headers = new Headers(response.headers);
  for (const name of ["Content-Encoding", "Content-Length"]) headers.delete(name);
  return new Response(await response.blob(), { status: response.status, headers });
}

// What the page gets: where pitapp leads on, the browser goes by itself, and for htmx it is fetched. What was
// done stays done, though nothing answers then.
async function landed(response, more, hx) {
  const place = response.headers.get("Pitapp-Location");
  if (!place) return response;
  if (!hx) return Response.redirect(place, 303);
  const next = await fetch(place, { headers: more, signal: AbortSignal.timeout(SLOW_PAGE_LIMIT_MS) }).catch(() => null);
  if (next?.headers.has(DATABASE)) return next;
  return htmlResponse("", 200, { "HX-Redirect": place.replace(/\/part(?=$|\?)/, "") || "/" });
}

async function write(event) {
  const hx = event.request.headers.get("HX-Request") === "true";
  const made = await taken(event.request);
  const { token, mends, mustBeJudged, entry } = made;
  const more = hx ? Object.fromEntries([...event.request.headers].filter(([name]) => name.startsWith("hx-"))) : {};
  if (entry.then === null) return straight(event, made, more, hx);
  try {
    await countOwnTaps(entry);
    entry.id = await box.add(entry);
  } catch (error) {
    return straight(event, made, more, hx, error.name === "QuotaExceededError" ? FULL : UNKEPT);
  }
  const queued = (await before(entry)).some(({ state }) => state === "waiting");
  let tried = queued ? null : await navigator.locks.request(LOCK, () => firstTry(entry, token, more));
  const mended = mends && (await box.find(mends));
  if (mended) tried = await mend(mended, entry, tried, hx);
  if (tried) {
    event.waitUntil(keepSoon());
    return landed(tried.answer, more, hx);
  }
  // It is put down by now: whatever goes wrong with the next step, it waits and is shown.
  const here = await takenHere(entry, mustBeJudged).catch(() => ({ then: entry.then }));
  if (here.refused) return refusedAnswer(here, entry, hx);
  event.waitUntil(settle(entry));
  return savedAnswer(here, hx);
}

// A tap on a copy that does not show the taps which wait here has seen them all the same.
async function countOwnTaps(entry) {
  const fields = new URLSearchParams(entry.body);
  const saw = Number(fields.get("saw") ?? NaN);
  const sawOf = ({ body }) => Number(new URLSearchParams(body).get("saw") ?? NaN);
  const own = (await box.unsent()).filter((other) =>
    other.url === entry.url && other.database === entry.database && sawOf(other) >= saw);
  if (!own.length) return;
  fields.set("saw", saw + own.length);
  entry.body = fields.toString();
}

// What is to be sent to the same database first.
const before = async ({ id, database }) =>
  (await box.unsent()).filter((other) => other.id < id && other.database === database);

async function firstTry(entry, token, more) {
  if ((await before(entry)).length) return null;
  try {
    const response = await send(entry, token, more);
    const outcome = judged(response, entry);
    if (["confirmed", "refused"].includes(outcome)) {
      const answer = await whole(response);
      await box.drop(entry.id);
      return { outcome, answer };
    }
  } catch { /* no answer: it waits */ }
  return null;
}

async function settle(entry) {
  const held = await box.find(entry.key);
  if (held?.state === "trying") await box.note({ ...held, state: "waiting" });
  await tell({ changed: true });
  await replay();
}

// A write that is not for the outbox, or that finds no room there, with the reason: sent once, and said plainly
// when nothing answers or another than was meant.
async function straight(event, { entry, token, mends, listens }, more, hx, unkept = "") {
  const notSaved = (why) => staying(entry, `Not saved: ${unkept && `${unkept}, and `}${why}. ${STAYS}`, listens);
  try {
    const response = await send(entry, token, more, unkept ? STRAIGHT_LIMIT_MS : 0);
    const outcome = judged(response, entry);
    if (NOT_SAVED[outcome]) return notSaved(NOT_SAVED[outcome]);
    if (unkept && outcome === "later") return notSaved(whyLater(response, await response.clone().text()));
    const mended = outcome === "confirmed" && mends && (await box.find(mends));
    if (mended) await box.drop(mended.id);
    event.waitUntil(keepSoon());
    return landed(response, more, hx);
  } catch {
    return unkept ? notSaved(SILENT) : staying(entry, `This may not be saved: ${SILENT}. ${STAYS}`, listens);
  }
}

// The page stays as it is, with all that is typed there, and says so if it listens to the worker.
async function staying({ key }, text, listens) {
  if (!listens) return sentence("Not saved", text);
  await tell({ unsaved: text, key });
  return new Response(null, { status: 204 });
}

let replaying = null;

// Send what waits, in order, until the server does not answer; one round at a time.
function replay() {
  replaying ??= round().finally(() => { replaying = null; });
  return replaying;
}

function round() {
  return navigator.locks.request(LOCK, async () => {
    const waiting = await box.unsent();
    const server = waiting.length ? await askServer(sendLimit()).catch(() => null) : null;
    if (!server) return;
    let sent = 0;
    for (const entry of waiting) {
      if (!server.invented) entry.database ||= server.database;
      if (entry.database !== server.database) {
        await setApart(entry, server);
        continue;
      }
      const outcome = await again(entry, server.token).catch(() => "unreachable");
      if (outcome === "confirmed") sent += 1;
      else if (outcome !== "refused") break;
    }
    if (!sent) return;
    noteSent(sent);
    await tell({ changed: true });
    await keepAll(true);
  });
}

// Another database answers than the one that the entry was made for: it waits, with the reason.
async function setApart(entry, { database, origins }) {
  const holds = origins.includes(entry.database);
  if (entry.state === "waiting" && entry.elsewhere === database && entry.holds === holds) return;
  await box.note({ ...entry, state: "waiting", elsewhere: database, holds });
  await tell({ changed: true });
}

const whyLater = ({ status }, html) => (status === 401 ? "This phone must be paired again." : reasons(html)[0].text);

async function again(entry, token) {
  const waited = Math.max(0, Math.round((Date.now() - entry.madeAt) / 1000));
  const response = await send(entry, token, { "X-Waited-Seconds": String(waited) });
  const outcome = judged(response, entry);
  if (outcome === "confirmed") await box.drop(entry.id);
  if (!["refused", "later"].includes(outcome)) return outcome;
  const html = await response.text();
  const tries = entry.tries + 1;
  const why = reasons(html);
  const hopeless = response.status === 500 || response.headers.has("X-Csrf-Refused");
  const parked = outcome === "refused" || (hopeless && tries >= MOST_TRIES);
  const state = parked ? "refused" : "waiting";
  await box.note({
    ...entry, state, tries, elsewhere: undefined, status: response.status, reasons: why, html: withoutToken(html),
    why: whyLater(response, html),
  });
  await tell({ changed: true });
  return parked ? "refused" : outcome;
}

async function tell(message) {
  for (const client of await self.clients.matchAll({ includeUncontrolled: true })) client.postMessage(message);
}
