// What the worker says on pages: how old a copy is, what waits, what was refused and why.

const SENT_SHOWN_MS = 20000;
const MOST_LINES = 3;
const STRANGER = "another program answers at the server's address";

const escaped = (text) =>
  String(text).replace(/[&<>"']/g, (sign) => `&#${sign.charCodeAt(0)};`);

// The text in a field of a form.
const put = (html, name, text) =>
  html.replace(
    new RegExp(`(<input[^>]* name="${name}"[^>]* value="|<textarea[^>]* name="${name}"[^>]*>)[^"<]*`),
    (_, before) => before + escaped(text),
  );

const entries = (count) => (count === 1 ? "1 entry" : `${count} entries`);

const room = (path) => path.split("/")[1];

const SIGNS = {
  look: '<path d="M12 3 2.5 20h19zM12 9.5v5M12 17.3v.2"/>',
  stop: '<path d="M4 4h16v16H4zM8.5 8.5l7 7M15.5 8.5l-7 7"/>',
  good: '<circle cx="12" cy="12" r="9"/><path d="m7.5 12.5 3 3 6-7"/>',
};

function sign(level) {
  return (
    '<svg class="icon" viewBox="0 0 24 24" aria-hidden="true" fill="none" stroke="currentColor" ' +
    `stroke-width="2" stroke-linecap="round" stroke-linejoin="round">${SIGNS[level]}</svg>`
  );
}

function bar(level, title, detail, href = "") {
  const inside =
    `${sign(level)}<span class="row-text"><b>${escaped(title)}</b>` +
    `${detail ? `<small>${detail}</small>` : ""}</span>`;
  return href
    ? `<a class="verdict verdict-${level}" href="${escaped(href)}">${inside}</a>`
    : `<p class="verdict verdict-${level}">${inside}</p>`;
}

const told = (level, title, text, href = "/", place = "Board") =>
  `<div class="stack-wide">${bar(level, title, escaped(text))}<p><a class="button" href="${href}">To the ${place}</a></p></div>`;

function age(since, now = Date.now()) {
  const minutes = Math.max(0, Math.floor((now - since) / 60000));
  if (minutes < 1) return "less than a minute old";
  if (minutes < 60) return `${minutes} min old`;
  const hours = Math.floor(minutes / 60);
  return hours < 48 ? `${hours} h ${minutes % 60} min old` : `${Math.floor(hours / 24)} days old`;
}

const wallClock = (moment) => new Date(moment).toTimeString().slice(0, 5);

// What was sent a moment ago, so that the page that is open then says so.
let lately = { count: 0, at: 0 };

const sentLately = () => (Date.now() - lately.at < SENT_SHOWN_MS ? lately.count : 0);

function noteSent(count) {
  lately = { count: sentLately() + count, at: Date.now() };
}

// The bars at the top of a page: the copy's age, and the entries that belong there; one bar in a run-through.
async function bars(path, keptAt, database) {
  const read = await box.all().catch(() => null);
  const found = read ?? [];
  const waiting = found.filter((entry) => entry.state !== "refused");
  const refused = found.filter((entry) => entry.state === "refused");
  const uuid = uuidOf(path);
  const own = waiting.filter(madeFor(database));
  const astray = waiting.filter(isAstray);
  const going = waiting.length - astray.length;
  const here = own.filter(({ url, then }) => path !== "/" && (uuid ? url.includes(uuid) : room(then) === room(path)));
  const said = [];
  const walked = uuid && here.length;
  if (!read && path !== "/outbox") said.push(bar("stop", "The outbox cannot be read", "What waits in it stays. What you save is sent at once, or not at all.", "/outbox"));
  if (sentLately()) said.push(bar("good", `Sent: ${entries(sentLately())}`, "On the server now"));
  if (keptAt && !walked) {
    said.push(bar("look", `Kept copy, ${age(keptAt)}`, `From ${wallClock(keptAt)}; ${stranger ? STRANGER : "no answer from the server"}`));
  }
  if (refused.length && path !== "/outbox") {
    said.push(bar("stop", `Refused: ${entries(refused.length)}`, "Mend or drop", "/outbox"));
  }
  if (astray.length && path !== "/outbox") {
    said.push(bar("look", `Not sent: ${entries(astray.length)}`, "Made for another database", "/outbox"));
  }
  if (going && path === "/") {
    said.push(bar("look", `Waiting on this phone: ${entries(going)}`, "Sent when the server answers", "/outbox"));
  }
  if (here.length && path !== "/outbox") {
    const line = (text) => `<span class="waiting-line">${text}</span>`;
    const most = walked ? 1 : MOST_LINES;
    const lines = here.slice(-most).map((entry) => line(`${wallClock(entry.madeAt)} ${escaped(entry.label)}`));
    if (here.length > most) lines.unshift(line(`${entries(here.length - most)} before`));
    said.push(bar("look", "Saved on this phone, not sent yet", lines.join(""), "/outbox"));
  }
  return said.join("");
}

// What the server said against an entry: the errors at its fields, or the sentence of its page.
function reasons(html) {
  const found = [];
  for (const [, id, text] of html.matchAll(/<p class="error"(?: id="([\w-]+)-error")?[^>]*>(?:<svg[\s\S]*?<\/svg>)?<span>([^<]*)/g)) {
    found.push({ name: labelOf(html, id), field: id, text });
  }
  if (found.length) return found;
  for (const [, title, text] of html.matchAll(/<b>([^<]*)<\/b>(?:<small>([^<]*)<\/small>)?<\/span>\s*<\/p>/g)) {
    found.push({ name: "", text: text ? `${title}: ${text}` : title });
  }
  return found.length ? found : [{ name: "", text: "The server refused it." }];
}

function labelOf(html, id) {
  if (!id) return "";
  const found = html.match(new RegExp(`<label for="${id}"[^>]*>([^<]*)`));
  return found ? found[1].trim() : "";
}

const mendPath = (entry) => `${new URL(entry.url).pathname}?outbox_mends=${entry.key}`;

// The version that a form would send: another than was sent is somebody's change meanwhile.
const versionIn = (html) => html.match(/<input[^>]*name="version"[^>]*value="(\d+)"/)?.[1] ?? null;

function refusedCard(entry) {
  const typed = new URLSearchParams(entry.body);
  const changed = entry.status === 409 && typed.has("version") && ![null, typed.get("version")].includes(versionIn(entry.html));
  const lines = entry.reasons.map(({ name, field, text }) => {
    const mine = changed && field && typed.has(field) ? `Yours: ${escaped(typed.get(field) || "empty")}. ` : "";
    return `<p class="error"><span>${name ? `${name}: ` : ""}${mine}${text}</span></p>`;
  });
  const again = changed ? ["mine", "Keep mine"] : ["again", "Send again"];
  const drop = changed ? "Keep the other" : "Drop";
  const mend = /<form[^>]*method="post"/i.test(entry.html.split("<main")[1] ?? "")
    ? `<a class="button" href="${escaped(mendPath(entry))}">Mend</a>`
    : "";
  return (
    `<li class="stack waiting-entry"><h2>${escaped(entry.label)}</h2>${lines.join("")}<div class="line">${mend}` +
    `<button data-outbox="${again[0]}" data-key="${entry.key}">${again[1]}</button>` +
    `<button data-outbox="drop" data-key="${entry.key}">${drop}</button></div></li>`
  );
}

// Why an entry is not sent to the database that answers.
function whyAstray({ database, holds }) {
  if (!database) return "Made before this phone noted for which database.";
  return `The database that answers ${holds ? "holds a copy of" : "is not"} the one this was made for.`;
}

function waitingCard(entry) {
  const why = entry.elsewhere ? whyAstray(entry) : stranger ? `Not sent: ${STRANGER}.` : entry.why ?? "Waits for the server.";
  const button = (act, text) => `<button data-outbox="${act}" data-key="${entry.key}">${text}</button>`;
  return (
    `<li class="stack waiting-entry"><h2>${escaped(entry.label)}</h2>` +
    `<p class="quiet">Made at ${wallClock(entry.madeAt)}, ${age(entry.madeAt)}. ${escaped(why)}</p><div class="line">` +
    `${entry.elsewhere ? button("here", "Send it here") + button("file", "Save as a file") : ""}${button("drop", "Drop")}</div></li>`
  );
}

// The content of the Outbox screen.
async function outboxList() {
  const found = await box.all().catch(() => null);
  if (!found) return "<p>What waits on this phone cannot be read now; it is still there. Close pitapp, open it again, or start the phone anew.</p>";
  if (!found.length) return "<p>Nothing waits. Everything that was saved on this phone is on the server.</p>";
  const refused = found.filter((entry) => entry.state === "refused");
  const unsent = found.filter((entry) => entry.state !== "refused");
  const astray = unsent.filter(isAstray);
  const waiting = unsent.filter((entry) => !isAstray(entry));
  const list = (cards) => `<ul class="rows">${cards.join("")}</ul>`;
  return (
    (refused.length ? bar("stop", `Refused: ${entries(refused.length)}`, "Nothing is lost. Mend, send again or drop.") + list(refused.map(refusedCard)) : "") +
    (astray.length ? bar("look", `Not sent: ${entries(astray.length)}`, "Sent when their own database answers, or here if you say so.") + list(astray.map(waitingCard)) : "") +
    (waiting.length ? bar("look", `Waiting: ${entries(waiting.length)}`, "Sent in this order when the server answers.") + list(waiting.map(waitingCard)) : "")
  );
}

// A page of one sentence, in the frame of the Outbox where that was kept.
async function sentence(title, text) {
  const html = told("look", title, text);
  const page = await framed({ run: { frame: "/outbox", part: "offline-page-part", title } }, html);
  return htmlResponse(page ? await page.text() : html, 503);
}
