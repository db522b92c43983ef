// Writes: put down first, then sent; kept until the server confirms; sent once however often they are sent.

const SEND_LIMIT_MS = 5000;
const SILENT_SEND_LIMIT_MS = 1500;
const MOST_TRIES = 5;
const LOCK = "pitapp-outbox";
const OWN_FIELDS = ["idempotency_key", "outbox_label", "outbox_mends"];

function ruleFor(path) {
  for (const { match, then, judged: mustBeJudged } of PITAPP.writes) {
    const found = path.match(new RegExp(match));
    if (found) return { then: then.replace(/\{(\w+)\}/g, (_, name) => found.groups[name]), mustBeJudged };
  }
  return { then: null };
}

// A server that has just been silent is given less time: what it may still do, it does once.
const sendLimit = () => (Date.now() < silentUntil ? SILENT_SEND_LIMIT_MS : SEND_LIMIT_MS);

async function freshToken() {
  const response = await fetch("/token", { cache: "no-store", signal: AbortSignal.timeout(sendLimit()) });
  await noticeAnswer(response);
  return response.ok ? response.text() : "";
}

function post(entry, token, redirect, more = {}) {
  const signal = entry.then === null ? undefined : AbortSignal.timeout(sendLimit());
  return fetch(entry.url, {
    method: "POST",
    body: entry.body,
    headers: { "Content-Type": entry.type, "Idempotency-Key": entry.key, "X-CSRFToken": token, ...more },
    redirect,
    cache: "no-store",
    credentials: "same-origin",
    signal,
  });
}

// One try, and a second with a fresh token and the same key where only the token was refused.
async function send(entry, token, redirect, more) {
  const response = await post(entry, token || (await freshToken()), redirect, more);
  await noticeAnswer(response);
  if (!response.headers.has("X-Csrf-Refused")) return response;
  return post(entry, await freshToken(), redirect, more);
}

function judged(response) {
  if (response.type === "opaqueredirect" || response.ok) return "confirmed";
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
  const mends = fields.get("outbox_mends");
  for (const name of ["csrf_token", ...OWN_FIELDS]) fields.delete(name);
  url.searchParams.delete("outbox_mends");
  const { then, mustBeJudged } = ruleFor(url.pathname);
  return {
    token,
    mends,
    mustBeJudged,
    entry: {
      key, label, url: url.href, body: fields.toString(), type: "application/x-www-form-urlencoded",
      then, madeAt: Date.now(), state: "trying", tries: 0,
    },
  };
}

// What an entry that was mended comes to: gone when its successor is safe, else kept as it was typed last.
async function mend(mended, entry, answer, hx) {
  if (!answer || judged(answer) === "confirmed") {
    await box.remove(mended.id);
    return answer;
  }
  const html = withoutToken(await answer.clone().text());
  await box.put({ ...mended, body: entry.body, status: answer.status, html, reasons: reasons(html) });
  return hx ? answer : Response.redirect(mendPath(mended), 303);
}

// "Saved on this phone": the next step of a run-through, or the page where the entry is shown waiting.
function savedAnswer({ then, html }, hx) {
  if (!hx) return Response.redirect(then, 303);
  if (html) return htmlResponse(html + notice("Saved on this phone"));
  return htmlResponse("", 200, { "HX-Redirect": then });
}

// What may not wait is not kept: the step again, with what was typed and what speaks against it.
async function refusedAnswer({ walk, html }, entry, hx) {
  await box.remove(entry.id);
  if (hx) return htmlResponse(html + notice(""));
  const page = walk && (await framed(walk, html));
  return page ? shown(page, new URL(entry.url).pathname) : sentence("Not started", UNKNOWN);
}

function notice(text) {
  const said = text && `<div class="undo-bar"><span>${escaped(text)}</span></div>`;
  return `<div id="notices" role="status" hx-swap-oob="true">${said}</div>`;
}

async function whole(response) {
  if (response.type === "opaqueredirect") return response;
  const headers = new Headers(response.headers);
  for (const name of ["Content-Encoding", "Content-Length"]) headers.delete(name);
  return new Response(await response.blob(), { status: response.status, headers });
}

async function write(event) {
  const hx = event.request.headers.get("HX-Request") === "true";
  const { token, mends, mustBeJudged, entry } = await taken(event.request);
  const more = hx ? Object.fromEntries([...event.request.headers].filter(([name]) => name.startsWith("hx-"))) : {};
  const redirect = hx ? "follow" : "manual";
  if (entry.then === null) return unlisted(event, entry, token, redirect, more, hx);
  entry.id = await box.add(entry);
  const queued = (await box.unsent()).some((other) => other.id < entry.id && other.state === "waiting");
  let answer = queued ? null : await navigator.locks.request(LOCK, () => firstTry(entry, token, redirect, more));
  const mended = mends && (await box.find(mends));
  if (mended) answer = await mend(mended, entry, answer, hx);
  if (answer) {
    event.waitUntil(keepSoon());
    return answer;
  }
  const here = await takenHere(entry, mustBeJudged);
  if (here.refused) return refusedAnswer(here, entry, hx);
  event.waitUntil(settle(entry));
  return savedAnswer(here, hx);
}

async function firstTry(entry, token, redirect, more) {
  const before = (await box.unsent()).filter((other) => other.id < entry.id);
  if (before.length) return null;
  try {
    const response = await whole(await send(entry, token, redirect, more));
    if (judged(response) !== "later") {
      await box.remove(entry.id);
      return response;
    }
  } catch { /* no answer: it waits */ }
  return null;
}

async function settle(entry) {
  const held = await box.find(entry.key);
  if (held?.state === "trying") await box.put({ ...held, state: "waiting" });
  await tell({ changed: true });
  await replay();
}

// A write that is not for the outbox: sent once, and said plainly when nothing answers.
async function unlisted(event, entry, token, redirect, more, hx) {
  try {
    const response = await send(entry, token, redirect, more);
    event.waitUntil(keepSoon());
    return response;
  } catch {
    const text = "The server does not answer, so this may not be saved. Go back: what you typed is still there.";
    if (hx) return htmlResponse(notice(text), 200, { "HX-Reswap": "none" });
    return sentence("Not saved", text);
  }
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
    const token = waiting.length ? await freshToken().catch(() => null) : null;
    if (token === null) return;
    let sent = 0;
    for (const entry of waiting) {
      const outcome = await again(entry, token).catch(() => "unreachable");
      if (outcome === "confirmed") sent += 1;
      else if (outcome !== "refused") break;
    }
    if (!sent) return;
    noteSent(sent);
    await tell({ changed: true });
    await keepAll(true);
  });
}

async function again(entry, token) {
  const waited = Math.max(0, Math.round((Date.now() - entry.madeAt) / 1000));
  const response = await send(entry, token, "manual", { "X-Waited-Seconds": String(waited) });
  const outcome = judged(response);
  if (outcome === "confirmed") {
    await box.remove(entry.id);
    return outcome;
  }
  const html = await response.text();
  const tries = entry.tries + 1;
  const why = reasons(html);
  const hopeless = response.status === 500 || response.headers.has("X-Csrf-Refused");
  const parked = outcome === "refused" || (hopeless && tries >= MOST_TRIES);
  const state = parked ? "refused" : "waiting";
  await box.put({
    ...entry, state, tries, status: response.status, reasons: why, html: withoutToken(html),
    why: response.status === 401 ? "This phone must be paired again." : why[0].text,
  });
  await tell({ changed: true });
  return parked ? "refused" : outcome;
}

async function tell(message) {
  for (const client of await self.clients.matchAll({ includeUncontrolled: true })) client.postMessage(message);
}

// What the racer does with an entry on the Outbox screen.
async function decide({ act, key }) {
  const entry = await box.find(key);
  if (!entry) return;
  if (act === "drop") await box.remove(entry.id);
  else {
    const body = new URLSearchParams(entry.body);
    const current = act === "mine" && entry.html.match(/<input[^>]*name="version"[^>]*>/)?.[0].match(/value="(\d+)"/);
    if (current) body.set("version", current[1]);
    await box.put({ ...entry, body: body.toString(), state: "waiting", tries: 0, why: undefined });
    await replay();
  }
  await tell({ changed: true });
}
