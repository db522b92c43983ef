// Run-throughs and the card: a wait counted down, the reader's place kept, the card printed.
function countDown() {
  for (const place of document.querySelectorAll("[data-wait-until]")) {
    const left = Math.ceil(Number(place.dataset.waitUntil) - Date.now() / 1000);
    const clock = `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}`;
    place.textContent = left > 0 ? `${clock} left` : "over";
  }
}

function offerNudges() {
  for (const button of document.querySelectorAll(".nudge")) button.hidden = false;
}

document.addEventListener("click", (event) => {
  const button = event.target.closest(".nudge");
  if (!button) return;
  const field = document.getElementById("shown");
  const from = Number((field.value || field.dataset.from || "0").replace(",", "."));
  const step = Number(button.dataset.nudge);
  if (!Number.isFinite(from)) return;
  field.value = String(Number((from + step).toFixed(6)));
  field.dispatchEvent(new Event("input", { bubbles: true }));
});

document.addEventListener("htmx:after:swap", () => {
  offerNudges();
  document.getElementById("step-title")?.focus({ preventScroll: true });
  window.scrollTo(0, 0);
  countDown();
});

const print = document.getElementById("print");
if (print) {
  print.hidden = false;
  print.addEventListener("click", () => window.print());
}

offerNudges();
countDown();
setInterval(countDown, 1000);
