// What the worker says on pages: how old a copy is, what waits, what was refused and why.

const messages = (() => {
  const SENT_SHOWN_MS = 20000;
  const MOST_LINES = 3;
  const STRANGER = "another program answers at the server's address";
  const SIGNS = {
    look: '<path d="M12 3 2.5 20h19zM12 9.5v5M12 17.3v.2"/>',
    stop: '<path d="M4 4h16v16H4zM8.5 8.5l7 7M15.5 8.5l-7 7"/>',
    good: '<circle cx="12" cy="12" r="9"/><path d="m7.5 12.5 3 3 6-7"/>',
  };

  /** Text as markup. @param {unknown} text */
  const escaped = (text) =>
    String(text).replace(/[&<>"']/g, (character) => `&#${character.charCodeAt(0)};`);

  /**
   * A kept fragment with its names in braces replaced: `values` as text, `markup` as it is. A `typed-` name without a
   * value is an empty field; other names without one stay.
   * @param {string} html @param {Record<string, unknown>} values @param {Record<string, string>} [markup]
   */
  const filled = (html, values, markup = {}) =>
    html.replace(/\{([\w-]+)\}/g, (name, key) => {
      if (key in markup) return markup[key];
      if (key in values) return escaped(values[key]);
      return key.startsWith("typed-") ? "" : name;
    });

  const entries = (count) => (count === 1 ? "1 entry" : `${count} entries`);

  const room = (path) => path.split("/")[1];

  function sign(level) {
    return (
      '<svg class="icon" viewBox="0 0 24 24" aria-hidden="true" fill="none" stroke="currentColor" ' +
      `stroke-width="2" stroke-linecap="round" stroke-linejoin="round">${SIGNS[level]}</svg>`
    );
  }

  /**
   * A judgement with its sign; a link where there is an address.
   * @param {"good" | "look" | "stop"} level @param {string} title @param {string} [detail] markup
   */
  function bar(level, title, detail = "", href = "") {
    const inside =
      `${sign(level)}<span class="row-text"><b>${escaped(title)}</b>` +
      `${detail ? `<small>${detail}</small>` : ""}</span>`;
    return href
      ? `<a class="verdict verdict-${level}" href="${escaped(href)}">${inside}</a>`
      : `<p class="verdict verdict-${level}">${inside}</p>`;
  }

  /** The part of a page that says one thing and leads on. @param {"good" | "look" | "stop"} level */
  const screen = (level, title, text, href = "/", place = "Board") =>
    `<div class="stack-wide">${bar(level, title, escaped(text))}<p><a class="button" href="${href}">To the ${place}</a></p></div>`;

  function age(since, now = Date.now()) {
    const minutes = Math.max(0, Math.floor((now - since) / 60000));
    if (minutes < 1) return "less than a minute old";
    if (minutes < 60) return `${minutes} min old`;
    const hours = Math.floor(minutes / 60);
    return hours < 48 ? `${hours} h ${minutes % 60} min old` : `${Math.floor(hours / 24)} days old`;
  }

  /** The time of day on this phone, as 09:05. @param {number} moment in ms */
  const wallClock = (moment) => new Date(moment).toTimeString().slice(0, 5);

  // What was sent a moment ago, so that the page that is open then says so.
  let sent = { count: 0, at: 0 };

  const sentRecently = () => (Date.now() - sent.at < SENT_SHOWN_MS ? sent.count : 0);

  /** Count entries as just sent. @param {number} count */
  function noteSent(count) {
    sent = { count: sentRecently() + count, at: Date.now() };
  }

  /**
   * The bars at the top of a page: the copy's age, and the entries that belong there; one bar in a run-through.
   * @param {string} path @param {number} keptAt in ms, 0 for a page that the server has just given @param {string} database
   */
  async function bars(path, keptAt, database) {
    const read = await outbox.all().catch(() => null);
    const all = read ?? [];
    const waiting = all.filter((entry) => entry.state !== "refused");
    const refused = all.filter((entry) => entry.state === "refused");
    const uuid = runs.uuidOf(path);
    const own = waiting.filter(outbox.madeFor(database));
    const astray = waiting.filter(outbox.isAstray);
    const onTheirWay = waiting.length - astray.length;
    const ofThisPage = own.filter(({ url, then }) => path !== "/" && (uuid ? url.includes(uuid) : room(then) === room(path)));
    const inRunThrough = uuid && ofThisPage.length;
    const elsewhere = path !== "/outbox";
    const html = [];
    if (!read && elsewhere) html.push(bar("stop", "The outbox cannot be read", "What waits in it stays. What you save is sent at once, or not at all.", "/outbox"));
    if (sentRecently()) html.push(bar("good", `Sent: ${entries(sentRecently())}`, "On the server now"));
    if (keptAt && !inRunThrough) {
      const why = databases.strangerAnswers() ? STRANGER : "no answer from the server";
      html.push(bar("look", `Kept copy, ${age(keptAt)}`, `From ${wallClock(keptAt)}; ${why}`));
    }
    if (refused.length && elsewhere) {
      html.push(bar("stop", `Refused: ${entries(refused.length)}`, "Mend or drop", "/outbox"));
    }
    if (astray.length && elsewhere) {
      html.push(bar("look", `Not sent: ${entries(astray.length)}`, "Made for another database", "/outbox"));
    }
    if (onTheirWay && path === "/") {
      html.push(bar("look", `Waiting on this phone: ${entries(onTheirWay)}`, "Sent when the server answers", "/outbox"));
    }
    if (ofThisPage.length && elsewhere) {
      const line = (text) => `<span class="waiting-line">${text}</span>`;
      const most = inRunThrough ? 1 : MOST_LINES;
      const lines = ofThisPage.slice(-most).map((entry) => line(`${wallClock(entry.madeAt)} ${escaped(entry.label)}`));
      if (ofThisPage.length > most) lines.unshift(line(`${entries(ofThisPage.length - most)} before`));
      html.push(bar("look", "Saved on this phone, not sent yet", lines.join(""), "/outbox"));
    }
    return html.join("");
  }

  /** Where a refused entry is mended: its own page, as the server refused it. @param {Entry} entry */
  const mendPath = (entry) => `${new URL(entry.url).pathname}?outbox_mends=${entry.key}`;

  function refusedCard(entry) {
    const { reasons, version, form } = writes.refusalOf(entry);
    const typed = new URLSearchParams(entry.body);
    // Another version than was sent is somebody's change meanwhile.
    const changed = entry.status === 409 && typed.has("version") && ![null, typed.get("version")].includes(version);
    const lines = reasons.map(({ name, field, text }) => {
      const own = changed && field && typed.has(field) ? `Yours: ${typed.get(field) || "empty"}. ` : "";
      return `<p class="error"><span>${escaped((name ? `${name}: ` : "") + own + text)}</span></p>`;
    });
    const again = changed ? ["mine", "Keep mine"] : ["again", "Send again"];
    const drop = changed ? "Keep the other" : "Drop";
    const mend = form ? `<a class="button" href="${escaped(mendPath(entry))}">Mend</a>` : "";
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
    const whyNotYet = databases.strangerAnswers() ? `Not sent: ${STRANGER}.` : entry.why ?? "Waits for the server.";
    const why = entry.elsewhere ? whyAstray(entry) : whyNotYet;
    const button = (act, text) => `<button data-outbox="${act}" data-key="${entry.key}">${text}</button>`;
    return (
      `<li class="stack waiting-entry"><h2>${escaped(entry.label)}</h2>` +
      `<p class="quiet">Made at ${wallClock(entry.madeAt)}, ${age(entry.madeAt)}. ${escaped(why)}</p><div class="line">` +
      `${entry.elsewhere ? button("here", "Send it here") + button("file", "Save as a file") : ""}${button("drop", "Drop")}</div></li>`
    );
  }

  /** The content of the Outbox screen, as markup. */
  async function outboxList() {
    const all = await outbox.all().catch(() => null);
    if (!all) return "<p>What waits on this phone cannot be read now; it is still there. Close pitapp, open it again, or start the phone anew.</p>";
    if (!all.length) return "<p>Nothing waits. Everything that was saved on this phone is on the server.</p>";
    const refused = all.filter((entry) => entry.state === "refused");
    const unsent = all.filter((entry) => entry.state !== "refused");
    const astray = unsent.filter(outbox.isAstray);
    const waiting = unsent.filter((entry) => !outbox.isAstray(entry));
    const list = (cards) => `<ul class="rows">${cards.join("")}</ul>`;
    return (
      (refused.length ? bar("stop", `Refused: ${entries(refused.length)}`, "Nothing is lost. Mend, send again or drop.") + list(refused.map(refusedCard)) : "") +
      (astray.length ? bar("look", `Not sent: ${entries(astray.length)}`, "Sent when their own database answers, or here if you say so.") + list(astray.map(waitingCard)) : "") +
      (waiting.length ? bar("look", `Waiting: ${entries(waiting.length)}`, "Sent in this order when the server answers.") + list(waiting.map(waitingCard)) : "")
    );
  }

  /** The notice at the foot of a page, to be put there by htmx. @param {string} text empty for none */
  function notice(text) {
    const inside = text && `<div class="undo-bar"><span>${escaped(text)}</span></div>`;
    return `<div id="notices" role="status" hx-swap-oob="true">${inside}</div>`;
  }

  return { STRANGER, escaped, filled, bar, screen, wallClock, noteSent, bars, mendPath, outboxList, notice };
})();
