// Reads the angle of the board from the phone that lies on it, where the browser allows it.
const SILENT_MS = 2500, SMOOTH = 0.2;
const byId = (id) => document.getElementById(id);
const radians = (degrees) => (degrees * Math.PI) / 180;
let level = [0, 0, 1], up = null, angle = null;

// Which way is up, in the phone's own axes, from its front-to-back and left-to-right angles.
function upward(beta, gamma) {
  const b = radians(beta), g = radians(gamma);
  return [-Math.cos(b) * Math.sin(g), Math.sin(b), Math.cos(b) * Math.cos(g)];
}

function between(a, b) {
  const dot = a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  return (Math.acos(Math.min(1, Math.max(-1, dot))) * 180) / Math.PI;
}

function read(event) {
  if (event.beta === null || event.gamma === null) return;
  up = upward(event.beta, event.gamma);
  const now = between(level, up);
  angle = angle === null ? now : angle + SMOOTH * (now - angle);
  const figure = byId("tilt-now");
  figure.value = String(angle);
  figure.textContent = `${angle.toFixed(1)}°`;
}

function quiet() {
  if (!up) byId("sensor-note").textContent = "This browser gives no angle. Type it below.";
}

async function start() {
  byId("sensor-start").hidden = true;
  byId("sensor").hidden = false;
  try {
    const allowed = await DeviceOrientationEvent.requestPermission?.();
    if (allowed && allowed !== "granted") return quiet();
  } catch {
    return quiet();
  }
  addEventListener("deviceorientation", read);
  setTimeout(quiet, SILENT_MS);
}

if ("DeviceOrientationEvent" in globalThis && byId("sensor-start")) {
  byId("sensor-start").hidden = false;
  byId("sensor-start").addEventListener("click", start);
  byId("sensor-zero").addEventListener("click", () => {
    if (!up) return;
    level = up;
    angle = null;
    byId("tilt-now").textContent = "0.0°";
  });
  byId("sensor-take").addEventListener("click", () => {
    if (angle === null) return;
    byId("angle_deg").value = angle.toFixed(1);
    byId("angle_deg").dispatchEvent(new Event("input", { bubbles: true }));
    byId("read_by").value = "sensor";
  });
  byId("angle_deg").addEventListener("input", () => { byId("read_by").value = "typed"; });
}

// On the parked car's screen the + and − count at once, as if typed; the sums follow when the thumb rests.
const STEPS = { slope_deg: [0.5, 45], drag_brake_percent: [5, 100] }, REST_MS = 350;
let resting = 0;
document.addEventListener("click", (event) => {
  const button = event.target.closest?.("button[name=nudge]");
  if (!button) return;
  const [, name, way] = /^(.*)-(less|more)$/.exec(button.value) ?? [];
  const field = byId(name), [step, most] = STEPS[name] ?? [];
  const typed = Number(field?.value.replace(",", ".") || "x");
  if (!step || Number.isNaN(typed)) return;
  event.preventDefault();
  field.value = String(Math.min(most, Math.max(0, typed + (way === "more" ? step : -step))));
  field.dispatchEvent(new Event("input", { bubbles: true }));
  clearTimeout(resting);
  resting = setTimeout(() => byId(name).form.requestSubmit(), REST_MS);
});
