// Rings on the Board before a heat, by the phone's own clock: sound and vibration, and the screen stays on.
// All of it is off until it is asked for on this phone; a page that is closed cannot ring.
// When it rings: `due`. The alarm of a charge is charge-timer.js, the figures that count down countdown.js.
import { beep, newSound, screenLock } from "./alarm.js";

const STORED = "pitapp-ring", LOOK_MS = 1000, AGAIN_MS = 3000, RINGS_FOR_MS = 60000, LATE_MS = 60000;
const panel = document.getElementById("ring"), call = document.getElementById("ring-call");
const turn = document.getElementById("ring-on"), note = document.getElementById("ring-note");
const calls = [...panel.querySelectorAll("[data-call]")];
let sound = null, lock = null, on = false, ringing = null, until = 0;
const rung = new Set();

const minutesOf = (box) => panel.querySelector(`[data-minutes="${box.dataset.call}"]`);

function readChoice() {
  let chosen = {};
  try {
    chosen = JSON.parse(localStorage.getItem(STORED)) ?? {};
  } catch { /* this browser keeps nothing */ }
  for (const box of calls) {
    const { ticked = box.checked, minutes = minutesOf(box).value } = chosen[box.dataset.call] ?? {};
    box.checked = ticked;
    minutesOf(box).value = minutes;
  }
}

function keepChoice() {
  const chosen = calls.map((box) => [box.dataset.call, { ticked: box.checked, minutes: minutesOf(box).value }]);
  try {
    localStorage.setItem(STORED, JSON.stringify(Object.fromEntries(chosen)));
  } catch { /* asked for again next time */ }
}

const coming = () => JSON.parse(document.querySelector("[data-coming]")?.dataset.coming ?? "[]");

// Each call that is due now: its own words with the entry's name, and a key so that it rings once.
function due(now) {
  const dueCalls = [];
  for (const box of calls.filter(({ checked }) => checked)) {
    const before = Number(minutesOf(box).value.replace(",", "."));
    if (!Number.isFinite(before)) continue;
    for (const entry of coming().filter(({ log }) => Boolean(log) === (box.dataset.call !== "marshal"))) {
      const at = (entry.starts - before * 60) * 1000;
      if (now >= at && now < at + LATE_MS) dueCalls.push({ key: `${box.dataset.call} ${entry.starts}`, text: `${box.dataset.say}: ${entry.title} at ${entry.clock}` });
    }
  }
  return dueCalls.filter(({ key }) => !rung.has(key));
}

function look() {
  if (!on) return;
  const now = Date.now();
  for (const { key, text } of due(now)) {
    rung.add(key);
    call.querySelector("b").textContent = text;
    call.hidden = false;
    until = now + RINGS_FOR_MS;
    beep(sound);
    ringing ??= setInterval(again, AGAIN_MS);
  }
}

function again() {
  if (Date.now() < until) beep(sound);
  else quiet();
}

function quiet() {
  clearInterval(ringing);
  ringing = null;
}

async function keepAwake() {
  if (on && document.visibilityState === "visible") lock = await screenLock();
  if (on) tell();
}

function tell() {
  turn.setAttribute("aria-pressed", String(on));
  turn.textContent = on ? "Ringing is on: turn off" : "Turn ringing on";
  if (!on) note.textContent = "";
  else if (sound?.state !== "running") note.textContent = "No sound yet: tap off and on, and look whether the phone is muted.";
  else note.textContent = lock ? "The screen stays on while the Board is open." : "Keep the screen on and the Board open.";
}

function start() {
  on = !on;
  if (on) {
    sound ??= newSound();
    sound.resume().then(() => { beep(sound); tell(); }, tell);
    keepAwake();
    look();
  } else {
    lock?.release();
    lock = null;
    quiet();
    call.hidden = true;
    sound?.suspend();
  }
  tell();
}

readChoice();
panel.hidden = false;
panel.addEventListener("change", keepChoice);
turn.addEventListener("click", start);
document.getElementById("ring-hush").addEventListener("click", () => { call.hidden = true; quiet(); });
document.addEventListener("visibilitychange", keepAwake);
setInterval(look, LOOK_MS);
