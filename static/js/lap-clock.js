// The lap clock: each tap is kept on this phone before anything else happens, so that a reload loses none.
const KEY = "pitapp-lap-clock", BEFORE = "pitapp-lap-clock-before", SHORTEST_MS = 1000;
const NONE = { taps: [], stopped: false, text: null };
const byId = (id) => document.getElementById(id);
let count = read(KEY) ?? NONE, awake = null;

function read(key) {
  try {
    const count = JSON.parse(localStorage.getItem(key) ?? "null");
    return Array.isArray(count?.taps) && count.taps.every(Number.isFinite) ? count : null;
  } catch {
    return null;
  }
}

function keep(changes) {
  count = { ...count, ...changes };
  try {
    localStorage.setItem(KEY, JSON.stringify(count));
    byId("clock-unkept").hidden = true;
  } catch {
    byId("clock-unkept").hidden = false;
  }
  show();
}

const laps = () => count.taps.slice(1).map((tap, at) => (tap - count.taps[at]) / 1000);
const running = () => count.taps.length > 0 && !count.stopped;

// Seconds, from a minute on with the minutes before them.
function timeText(seconds, digits) {
  const whole = Math.round(seconds * 10 ** digits) / 10 ** digits;
  if (whole < 60) return whole.toFixed(digits);
  const minutes = Math.floor(whole / 60), rest = (whole - 60 * minutes).toFixed(digits);
  return `${minutes}:${rest.padStart(3 + digits, "0")}`;
}

function showNow() {
  if (!running()) return;
  const since = (performance.timeOrigin + performance.now() - count.taps.at(-1)) / 1000;
  byId("clock-now").textContent = timeText(Math.max(0, since), 1);
}

function show() {
  showNow();
  const times = laps(), last = times.at(-1);
  byId("clock").dataset.state = running() ? "running" : count.stopped ? "stopped" : "ready";
  byId("clock-tap").textContent = running() ? "Lap" : "Start";
  byId("clock-count").value = String(times.length);
  byId("clock-count").textContent = `${times.length} ${times.length === 1 ? "lap" : "laps"}`;
  byId("clock-last").value = last ?? "–";
  byId("clock-last").textContent = last === undefined ? "–" : timeText(last, 2);
  byId("clock-back").disabled = !times.length;
  byId("clock-bring").hidden = running() || !read(BEFORE);
  byId("clock-go-on").hidden = byId("clock-new").hidden = !count.stopped;
  byId("clock-save").hidden = running();
  if (count.stopped) byId("times").value = count.text ?? times.map((lap) => lap.toFixed(3)).join("\n");
  byId("clock-note").textContent = count.stopped
    ? "Look the laps through, then save them to their run. They stay on this phone until the next count."
    : "Tap when the car crosses the line, then once a lap. Each tap is kept on this phone.";
}

// The moment of the tap itself, not of its being handled.
function tap(event) {
  if (count.stopped) return;
  const at = performance.timeOrigin + event.timeStamp;
  if (count.taps.length && at - count.taps.at(-1) < SHORTEST_MS) return;
  keep({ taps: [...count.taps, at] });
  navigator.vibrate?.(30);
  stayAwake();
}

async function stayAwake() {
  if (!running() || awake || document.hidden) return;
  try {
    awake = await navigator.wakeLock?.request("screen");
    awake?.addEventListener("release", () => { awake = null; });
  } catch { /* the phone says no: its own time-out stays */ }
}

const button = byId("clock-tap");
button.addEventListener("pointerdown", (event) => { if (event.button === 0) tap(event); });
button.addEventListener("keydown", (event) => {
  if (!event.repeat && [" ", "Enter"].includes(event.key)) tap(event);
});
button.addEventListener("click", (event) => { if (event.detail === 0) tap(event); });
byId("clock-back").addEventListener("click", () => keep({ taps: count.taps.slice(0, -1) }));
byId("clock-stop").addEventListener("click", () => {
  keep({ stopped: true });
  awake?.release();
  byId("clock-save").querySelector("h2").focus();
});
byId("clock-go-on").addEventListener("click", () => keep({ stopped: false, text: null }));
byId("clock-new").addEventListener("click", () => {
  try {
    localStorage.setItem(BEFORE, JSON.stringify(count));
  } catch { /* without room the count before is not kept */ }
  byId("times").value = "";
  keep(NONE);
});
byId("clock-bring").addEventListener("click", () => {
  const before = read(BEFORE), now = count;
  if (!before) return;
  try {
    if (now.taps.length) localStorage.setItem(BEFORE, JSON.stringify(now));
    else localStorage.removeItem(BEFORE);
  } catch { /* as above */ }
  keep({ ...before, stopped: true });
});
byId("times").addEventListener("input", () => { if (count.stopped) keep({ text: byId("times").value }); });
document.addEventListener("visibilitychange", stayAwake);
setInterval(showNow, 100);
byId("clock").hidden = false;
show();
stayAwake();
