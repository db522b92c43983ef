// Countdowns to a moment that the server keeps, by the server's time: asked for, then carried on by the steady
// clock. With no server, or for a charge started on this phone, the phone's wall clock is used, and said to be.
import { beep, newSound, screenLock } from "./alarm.js";
import { ask as askWorker } from "./ask.js";

const LOOK_AGAIN_MS = 30000, TICK_MS = 500, BEEP_MS = 2000, ANSWER_MS = 4000, ODD_MS = 3000, RESUME_MS = 1000;
let dues = [...document.querySelectorAll("[data-due]")];
const holder = document.querySelector("[data-server-now]");
const byId = (id) => document.getElementById(id);
const ownClock = holder?.dataset.serverNow === "";
let anchor = { now: Number(holder?.dataset.serverNow) || Date.now(), at: performance.now(), ofServer: false };
let wall = { now: Date.now(), at: performance.now() };
let confirmed = false, asking = false, sound = null, hushed = false, alarm = 0;

// The phone slept, or its clock was moved.
function ahead() {
  return Math.max(0, Date.now() - wall.now - (performance.now() - wall.at));
}

// Unconfirmed, the later of what the clocks say counts, so that no alarm comes late.
function serverNow() {
  const carried = anchor.now + performance.now() - anchor.at;
  if (confirmed) return carried;
  return anchor.ofServer ? carried + ahead() : Math.max(carried, Date.now());
}

async function ask() {
  if (asking || ownClock) return;
  asking = true;
  const again = Math.random().toString(36).slice(2);
  const began = performance.now();
  try {
    const answer = await fetch(`${holder.dataset.asks}?again=${again}`, {
      cache: "no-store", signal: AbortSignal.timeout(ANSWER_MS),
    });
    const said = await answer.json();
    if (said.again !== again) throw new Error("an old copy");
    const ended = performance.now();
    anchor = { now: said.now_ms + (ended - began) / 2, at: ended, ofServer: true };
    wall = { now: Date.now(), at: ended };
    confirmed = true;
  } catch {
    confirmed = false;
  }
  asking = false;
  show();
}

function text(ms) {
  const seconds = Math.max(0, Math.ceil(ms / 1000));
  const hours = Math.floor(seconds / 3600), minutes = Math.floor(seconds / 60) % 60;
  const two = (number) => String(number).padStart(2, "0");
  return hours ? `${hours}:${two(minutes)}:${two(seconds % 60)}` : `${minutes}:${two(seconds % 60)}`;
}

function show() {
  if (confirmed && ahead() > ODD_MS) {
    confirmed = false;
    ask();
  }
  const now = serverNow();
  let over = false;
  for (const due of dues) {
    const left = Number(due.dataset.due) - now;
    over ||= left <= 0;
    const reading = left > 0 ? text(left) : due.dataset.clock ? "0:00" : "look";
    if (due.textContent !== reading) due.textContent = reading;
  }
  const source = byId("clock-source");
  if (source) {
    source.hidden = confirmed || asking;
    source.textContent = "No answer from the server: counted by this phone's clock.";
  }
  const up = byId("time-is-up");
  if (!up || asking) return;
  if (up.hidden === over) up.hidden = !over;
  if (over && !hushed && !alarm) startAlarm();
  if (!over) { hushed = false; stopAlarm(); }
}

// A charge that was ended with no server counts no more, on a page that was open or kept before either.
async function dropEnded(leave = false) {
  const over = (await askWorker({ ask: "ended" })) ?? [];
  if (leave && over.some((uuid) => location.pathname.endsWith(uuid))) return location.replace("/packs");
  const isOver = (due) => over.some((uuid) => due.closest("a")?.href.endsWith(uuid));
  for (const due of dues.filter(isOver)) due.textContent = "off";
  dues = dues.filter((due) => !isOver(due));
}

function startAlarm() {
  beep(sound);
  alarm = setInterval(() => beep(sound), BEEP_MS);
  byId("hush").hidden = false;
}

function stopAlarm() {
  clearInterval(alarm);
  alarm = 0;
  if (byId("hush")) byId("hush").hidden = true;
}

const NO_SOUND = "No sound yet: tap again, and look whether the phone is muted.";

// What the speaker does now: a call or another app may have taken it away, and then it must be asked for again.
function tellSound() {
  const on = sound?.state === "running";
  const button = byId("sound");
  button.setAttribute("aria-pressed", String(on));
  button.textContent = on ? "Sound is on: try it" : sound ? "Sound is off: turn on" : button.textContent;
  const note = byId("sound-note");
  if (on && note.textContent === NO_SOUND) note.textContent = "Sound is on now: tap to hear it.";
}

// Not awaited: some browsers leave it open until the speaker is free.
function resume() {
  if (sound && sound.state !== "running") sound.resume().then(tellSound, tellSound);
}

async function turnOn() {
  if (!sound) {
    sound = newSound();
    sound.addEventListener("statechange", tellSound);
  }
  const note = byId("sound-note");
  note.hidden = false;
  note.textContent = "One moment …";
  resume();
  const awake = Boolean(await screenLock());
  const given = Date.now() + RESUME_MS;
  while (sound.state !== "running" && Date.now() < given) await new Promise((done) => { setTimeout(done, 50); });
  tellSound();
  if (sound.state !== "running") {
    note.textContent = NO_SOUND;
    return;
  }
  beep(sound);
  note.textContent = awake
    ? "Heard it? The screen stays on while this page is open."
    : "Heard it? Keep the screen on and this page open: locked, this phone may stay silent.";
}

if (byId("sound")) {
  byId("sound").hidden = false;
  byId("sound").addEventListener("click", turnOn);
  document.addEventListener("click", resume);
  byId("hush").addEventListener("click", () => { hushed = true; stopAlarm(); });
}
const back = () => {
  if (document.visibilityState !== "visible") return;
  if (sound) screenLock();
  resume();
  confirmed = false;
  dropEnded(true);
  show();
  ask();
};
document.addEventListener("visibilitychange", back);
addEventListener("pageshow", (event) => { if (event.persisted) back(); });
addEventListener("online", back);
if (dues.length) {
  dropEnded(true);
  navigator.serviceWorker?.addEventListener("message", () => dropEnded());
  setInterval(show, TICK_MS);
  setInterval(ask, LOOK_AGAIN_MS);
  ask();
}
