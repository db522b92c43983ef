// Writes: put down first, then sent; kept until the server confirms; done once however often they are sent: the
// server knows their keys (pitapp/db/idempotency.py).

const writes = (() => {
  const SEND_LIMIT_MS = 5000;
  const SILENT_SEND_LIMIT_MS = 1500;
  const UNQUEUED_LIMIT_MS = 15000;
  const MOST_TRIES = 5;
  const LOCK = "pitapp-outbox";
  const REFUSAL = "Pitapp-Refusal";
  const OWN_FIELDS = ["csrf_token", "idempotency_key", "made_for", "outbox_label", "outbox_mends"];
  const STAYS = "What you typed is still here.";
  const SILENT = "the server does not answer";
  const FULL = "this phone is full";
  const UNKEPT = "this phone cannot keep it";
  const NOT_SAVED = {
    stranger: messages.STRANGER,
    elsewhere: "another database answers than the one this page came from",
  };
  /** @type {Refusal} */
  const NO_REASON = { reasons: [{ field: "", name: "", text: "The server refused it." }], version: null, saw: null, form: false };

  // Where an entry is shown while it waits (null: this write is not queued), and whether it must be judged first.
  function ruleFor(path) {
    for (const { match, then, judged: mustBeJudged } of PITAPP.writes) {
      const matched = path.match(new RegExp(match));
      if (matched) return { then: then.replace(/\{(\w+)\}/g, (_, name) => matched.groups[name]), mustBeJudged };
    }
    return { then: null };
  }

  /** How long the server is given, in ms: less if it has just been silent. What it may still do, it does once. */
  const sendLimit = () => (pages.serverIsSilent() ? SILENT_SEND_LIMIT_MS : SEND_LIMIT_MS);

  function post(entry, token, more, limit) {
    return fetch(entry.url, {
      method: "POST",
      body: entry.body,
      headers: {
        "Content-Type": entry.type,
        "Idempotency-Key": entry.key,
        "X-CSRFToken": token,
        [databases.HEADER]: entry.database,
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
      const server = await databases.askServer(sendLimit());
      if (!server) throw new Error(messages.STRANGER);
      return server.token;
    };
    const response = await post(entry, token || (await fresh()), more, limit);
    await databases.noticeAnswer(response);
    return response.headers.has("X-Csrf-Refused") ? post(entry, await fresh(), more, limit) : response;
  }

  // Only an answer of the database that the entry was made for says anything of it. A redirect that cannot be
  // looked into is a stranger's: pitapp gives a worker its own in a header.
  function outcomeOf(response, { database }) {
    const from = response.headers.get(databases.HEADER);
    if (!from) return "stranger";
    if (database && from !== database) return "elsewhere";
    if (response.ok) return "confirmed";
    if (response.status === 401 || response.headers.has("X-Csrf-Refused")) return "later";
    if ([408, 425, 429].includes(response.status) || response.status >= 500) return "later";
    return "refused";
  }

  // Why the server refused: it says so as JSON beside its page.
  /** @param {Response} response @returns {Refusal} */
  function refusalIn(response) {
    const refusal = JSON.parse(response.headers.get(REFUSAL) ?? "null") ?? NO_REASON;
    return refusal.reasons.length ? refusal : { ...refusal, reasons: NO_REASON.reasons };
  }

  /** Why an entry was refused; one that an older version noted has its reasons alone. @param {Entry} entry @returns {Refusal} */
  const refusalOf = (entry) =>
    entry.refusal ?? { ...NO_REASON, reasons: entry.reasons ?? NO_REASON.reasons, form: Boolean(entry.html) };

  const whyLater = (response) =>
    (response.status === 401 ? "This phone must be paired again." : refusalIn(response).reasons[0].text);

  // A request as an entry, and what else came with its form.
  async function read(request) {
    const fields = new URLSearchParams(await request.text());
    const url = new URL(request.url);
    const token = fields.get("csrf_token") ?? request.headers.get("X-CSRFToken") ?? "";
    const key = request.headers.get("Idempotency-Key") ?? fields.get("idempotency_key") ?? crypto.randomUUID();
    const label = fields.get("outbox_label") ?? url.pathname;
    const listens = fields.has("outbox_label");
    const mends = fields.get("outbox_mends");
    const database = request.headers.get(databases.HEADER) ?? fields.get("made_for") ?? (await databases.current());
    for (const name of OWN_FIELDS) fields.delete(name);
    url.searchParams.delete("outbox_mends");
    const { then, mustBeJudged } = ruleFor(url.pathname);
    /** @type {Entry} */
    const entry = {
      key, label, database, url: url.href, body: fields.toString(), type: "application/x-www-form-urlencoded",
      then, madeAt: Date.now(), state: "trying", tries: 0,
    };
    return { token, mends, mustBeJudged, listens, entry };
  }

  // What an entry that was mended comes to: gone when its successor is safe, else kept as it was typed last.
  async function mend(mended, entry, attempt, hx) {
    if (attempt?.outcome !== "refused") {
      await outbox.drop(mended.id);
      return attempt;
    }
    const { answer } = attempt;
    const html = await pages.withoutToken(answer.clone());
    const noted = outbox.put({ ...mended, body: entry.body, status: answer.status, html, refusal: refusalIn(answer) });
    const again = await noted.then(() => !hx, () => false);
    return again ? { answer: Response.redirect(messages.mendPath(mended), 303) } : attempt;
  }

  // "Saved on this phone": the next step of a run-through, or the page where the entry is shown waiting.
  /** @param {Judgement} judgement @param {boolean} hx */
  function savedAnswer({ then, html }, hx) {
    if (!hx) return Response.redirect(then, 303);
    if (html) return pages.htmlResponse(html + messages.notice("Saved on this phone"));
    return pages.htmlResponse("", 200, { "HX-Redirect": then });
  }

  // What may not wait is not kept: the step again, with what was typed and what speaks against it.
  /** @param {Judgement} judgement @param {Entry} entry @param {boolean} hx */
  async function refusedAnswer({ walk, html }, entry, hx) {
    await outbox.drop(entry.id);
    if (hx) return pages.htmlResponse(html + messages.notice(""));
    const page = walk && (await runs.framed(walk, html));
    return page ? pages.shownCopy(page, new URL(entry.url).pathname) : pages.sentence("Not started", runs.UNKNOWN);
  }

  async function withWholeBody(response) {
    const headers = new Headers(response.headers);
    for (const name of ["Content-Encoding", "Content-Length"]) headers.delete(name);
    return new Response(await response.blob(), { status: response.status, headers });
  }

  // What the page gets: where pitapp leads on, the browser goes by itself, and for htmx it is fetched. What was
  // done stays done, though nothing answers then.
  async function leadOn(response, more, hx) {
    const place = response.headers.get("Pitapp-Location");
    if (!place) return response;
    if (!hx) return Response.redirect(place, 303);
    const signal = AbortSignal.timeout(pages.SLOW_PAGE_LIMIT_MS);
    const next = await fetch(place, { headers: more, signal }).catch(() => null);
    if (next?.headers.has(databases.HEADER)) return next;
    return pages.htmlResponse("", 200, { "HX-Redirect": place.replace(/\/part(?=$|\?)/, "") || "/" });
  }

  /** Answer a form: from the server, or with the entry kept in the outbox. @param {FetchEvent} event */
  async function handle(event) {
    const hx = event.request.headers.get("HX-Request") === "true";
    const typed = await read(event.request);
    const { token, mends, mustBeJudged, entry } = typed;
    const more = hx ? Object.fromEntries([...event.request.headers].filter(([name]) => name.startsWith("hx-"))) : {};
    if (entry.then === null) return sendUnqueued(event, typed, more, hx);
    try {
      await countOwnTaps(entry);
      entry.id = await outbox.add(entry);
    } catch (error) {
      return sendUnqueued(event, typed, more, hx, error.name === "QuotaExceededError" ? FULL : UNKEPT);
    }
    const queued = (await before(entry)).some(({ state }) => state === "waiting");
    let attempt = queued ? null : await navigator.locks.request(LOCK, () => firstAttempt(entry, token, more));
    const mended = mends && (await outbox.find(mends));
    if (mended) attempt = await mend(mended, entry, attempt, hx);
    if (attempt) {
      event.waitUntil(pages.keepSoon());
      return leadOn(attempt.answer, more, hx);
    }
    // It is put down by now: whatever goes wrong with the next step, it waits and is shown.
    const judgement = await runs.judge(entry, mustBeJudged).catch(() => /** @type {Judgement} */ ({ then: entry.then }));
    if (judgement.refused) return refusedAnswer(judgement, entry, hx);
    event.waitUntil(settle(entry));
    return savedAnswer(judgement, hx);
  }

  // A tap on a copy that does not show the taps which wait on this phone has seen them all the same.
  async function countOwnTaps(entry) {
    const fields = new URLSearchParams(entry.body);
    const saw = Number(fields.get("saw") ?? NaN);
    const sawOf = ({ body }) => Number(new URLSearchParams(body).get("saw") ?? NaN);
    const own = (await outbox.unsent()).filter((other) =>
      other.url === entry.url && other.database === entry.database && sawOf(other) >= saw);
    if (!own.length) return;
    fields.set("saw", String(saw + own.length));
    entry.body = fields.toString();
  }

  // What is to be sent to the same database first.
  /** @param {Entry} entry */
  const before = async ({ id, database }) =>
    (await outbox.unsent()).filter((other) => other.id < id && other.database === database);

  async function firstAttempt(entry, token, more) {
    if ((await before(entry)).length) return null;
    try {
      const response = await send(entry, token, more);
      const outcome = outcomeOf(response, entry);
      if (["confirmed", "refused"].includes(outcome)) {
        const answer = await withWholeBody(response);
        await outbox.drop(entry.id);
        return { outcome, answer };
      }
    } catch { /* no answer: it waits */ }
    return null;
  }

  async function settle(entry) {
    const stored = await outbox.find(entry.key);
    if (stored?.state === "trying") await outbox.note({ ...stored, state: "waiting" });
    await tellPages({ changed: true });
    await replay();
  }

  // A write that is not for the outbox, or that finds no room there, with the reason: sent once, and said plainly
  // when nothing answers or another than was meant.
  async function sendUnqueued(event, { entry, token, mends, listens }, more, hx, unkept = "") {
    const notSaved = (why) => stay(entry, `Not saved: ${unkept && `${unkept}, and `}${why}. ${STAYS}`, listens);
    try {
      const response = await send(entry, token, more, unkept ? UNQUEUED_LIMIT_MS : 0);
      const outcome = outcomeOf(response, entry);
      if (NOT_SAVED[outcome]) return notSaved(NOT_SAVED[outcome]);
      if (unkept && outcome === "later") return notSaved(whyLater(response));
      const mended = outcome === "confirmed" && mends && (await outbox.find(mends));
      if (mended) await outbox.drop(mended.id);
      event.waitUntil(pages.keepSoon());
      return leadOn(response, more, hx);
    } catch {
      return unkept ? notSaved(SILENT) : stay(entry, `This may not be saved: ${SILENT}. ${STAYS}`, listens);
    }
  }

  // The page stays as it is, with all that is typed there, and says so if it listens to the worker.
  async function stay({ key }, text, listens) {
    if (!listens) return pages.sentence("Not saved", text);
    await tellPages({ unsaved: text, key });
    return new Response(null, { status: 204 });
  }

  let replaying = null;

  /** Send what waits, in order, until the server does not answer; one round at a time. */
  function replay() {
    replaying ??= round().finally(() => { replaying = null; });
    return replaying;
  }

  function round() {
    return navigator.locks.request(LOCK, async () => {
      const waiting = await outbox.unsent();
      const server = waiting.length ? await databases.askServer(sendLimit()).catch(() => null) : null;
      if (!server) return;
      let sent = 0;
      for (const entry of waiting) {
        if (!server.invented) entry.database ||= server.database;
        if (entry.database !== server.database) {
          await setApart(entry, server);
          continue;
        }
        const outcome = await sendAgain(entry, server.token).catch(() => "unreachable");
        if (outcome === "confirmed") sent += 1;
        else if (outcome !== "refused") break;
      }
      if (!sent) return;
      messages.noteSent(sent);
      await tellPages({ changed: true });
      await pages.keepAll(true);
    });
  }

  // Another database answers than the one that the entry was made for: it waits, with the reason.
  async function setApart(entry, { database, origins }) {
    const holds = origins.includes(entry.database);
    if (entry.state === "waiting" && entry.elsewhere === database && entry.holds === holds) return;
    await outbox.note({ ...entry, state: "waiting", elsewhere: database, holds });
    await tellPages({ changed: true });
  }

  async function sendAgain(entry, token) {
    const waited = Math.max(0, Math.round((Date.now() - entry.madeAt) / 1000));
    const response = await send(entry, token, { "X-Waited-Seconds": String(waited) });
    const outcome = outcomeOf(response, entry);
    if (outcome === "confirmed") await outbox.drop(entry.id);
    if (!["refused", "later"].includes(outcome)) return outcome;
    const html = await pages.withoutToken(response);
    const tries = entry.tries + 1;
    const hopeless = response.status === 500 || response.headers.has("X-Csrf-Refused");
    const parked = outcome === "refused" || (hopeless && tries >= MOST_TRIES);
    await outbox.note({
      ...entry, state: parked ? "refused" : "waiting", tries, elsewhere: undefined, status: response.status, html,
      refusal: refusalIn(response), why: whyLater(response),
    });
    await tellPages({ changed: true });
    return parked ? "refused" : outcome;
  }

  /** Tell every open page. @param {Record<string, unknown>} message */
  async function tellPages(message) {
    for (const client of await self.clients.matchAll({ includeUncontrolled: true })) client.postMessage(message);
  }

  /**
   * What waits of a database, as far as a kept form for a new run must know it: the gears that were fitted, oldest
   * first, with their car (empty for the one in use), and the packs that have run.
   * @param {string} database
   */
  async function waitingForRun(database) {
    const waiting = (await outbox.unsent()).filter(outbox.madeFor(database));
    const fieldsAt = (path) => waiting.filter(({ url }) => new URL(url).pathname === path).map(runs.fieldsOf);
    return {
      fits: fieldsAt("/gearing/fit").map(({ car_id: car, pinion, spur }) => ({ car: car ?? "", pinion, spur })),
      packs: fieldsAt("/runs/new").map(({ pack_id: pack }) => pack),
    };
  }

  return { sendLimit, handle, replay, refusalOf, tellPages, waitingForRun };
})();
