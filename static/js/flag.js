// The clock that began at the flag: it runs on the log's form, and stops at the first figure of the can.
// A flag that waits in the outbox is known here by itself.

const SECOND = 1000;
const LONGEST_S = 3600;
const clock = document.querySelector("[data-flag-heat]");
const can = document.getElementById("can_c");

function waiting(heat) {
  const [id, at] = (localStorage.getItem("pitapp.flag") ?? "").split(" ");
  return id === heat ? Number(at) : 0;
}

if (clock && can) {
  const at = Number(clock.dataset.flagAt) || waiting(clock.dataset.flagHeat);
  const since = () => Math.round(Date.now() / SECOND - at);
  let stopped = can.value !== "";
  const show = () => {
    const seconds = since();
    clock.querySelector("b").textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
  };
  const tick = () => {
    if (stopped || since() > LONGEST_S) return;
    show();
    setTimeout(tick, SECOND - (Date.now() % SECOND));
  };
  if (at && since() >= 0 && since() <= LONGEST_S) {
    clock.hidden = false;
    tick();
    can.addEventListener("input", () => {
      if (stopped || !can.value.trim()) return;
      stopped = true;
      const other = document.querySelector('[name="read_after_s"][value="other"]');
      const field = document.getElementById("read_after_s");
      other.checked = true;
      field.value = since();
      field.dispatchEvent(new Event("input", { bubbles: true }));
    });
  }
}
