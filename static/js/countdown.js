// Counts down by the phone's own clock: no server is asked, so it goes on with no signal.
const SECOND = 1000;
const AWAY_LONG = 30 * SECOND;

const two = (number) => String(number).padStart(2, "0");

export function countdownText(seconds) {
  const length = Math.abs(seconds);
  const hours = Math.floor(length / 3600);
  const minutes = Math.floor((length % 3600) / 60);
  let text = `${minutes}:${two(length % 60)}`;
  if (hours >= 48) text = `${Math.floor(hours / 24)} days`;
  else if (hours > 0) text = `${hours} h ${two(minutes)} min`;
  return seconds < 0 ? `${text} ago` : text;
}

export function secondsUntil(element, now) {
  return Math.ceil(Number(element.dataset.startsAt) - now / SECOND);
}

function refresh() {
  for (const element of document.querySelectorAll("[data-refresh]")) {
    element.dispatchEvent(new CustomEvent("due"));
  }
}

// With no server the timetable goes on by itself: to the entry that is next now, and to its log.
function goOn(place, now) {
  const coming = JSON.parse(place.dataset.coming);
  const next = coming.find((entry) => entry.over > now / SECOND) ?? coming.at(-1);
  const clock = place.querySelector("[data-starts-at]");
  if (!next || clock.dataset.startsAt === String(next.starts)) return;
  clock.dataset.startsAt = next.starts;
  clock.setAttribute("aria-label", next.title);
  place.href = next.href;
  place.querySelector("[data-title]").textContent = next.title;
  const time = place.querySelector("time");
  time.textContent = next.clock;
  time.dateTime = new Date(next.starts * SECOND).toISOString();
  const raced = coming.findLast((entry) => entry.log && entry.over <= now / SECOND);
  const button = document.querySelector(".main-action");
  if (!raced || !button) return;
  const flag = document.querySelector("form[data-flag]");
  if (flag && raced.flag) {
    flag.action = raced.flag;
    flag.hidden = false;
  }
  button.textContent = raced.log.label;
  button.href = raced.log.href;
}

let shownAt = Date.now();

function tick() {
  const now = Date.now();
  let due = false;
  for (const element of document.querySelectorAll("[data-starts-at]")) {
    const left = secondsUntil(element, now);
    const text = countdownText(left);
    if (element.textContent !== text) element.textContent = text;
    due ||= left <= 0 && secondsUntil(element, shownAt) > 0;
  }
  if (due) refresh();
  for (const place of document.querySelectorAll("[data-coming]")) goOn(place, now);
  shownAt = now;
  setTimeout(tick, SECOND - (now % SECOND));
}

// A flag with no server: the log that it leads to reads the moment from here.
document.addEventListener("submit", ({ target }) => {
  const heat = target.closest("[data-flag]") && target.action.match(/heats\/(\d+)\/flag/)?.[1];
  if (heat) localStorage.setItem("pitapp.flag", `${heat} ${Math.round(Date.now() / SECOND)}`);
});

let hiddenAt = 0;
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "hidden") hiddenAt = Date.now();
  else if (hiddenAt && Date.now() - hiddenAt > AWAY_LONG) refresh();
});

tick();
