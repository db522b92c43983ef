// A refused save is seen: the first field at fault is scrolled to and has the cursor.

const AT_FAULT = "main [aria-invalid], main .field-wrong :is(input, select, textarea):not([type=hidden])";

function show() {
  const refused = document.querySelector("main .refused");
  if (!refused || refused.dataset.seen) return;
  refused.dataset.seen = "yes";
  const field = document.querySelector(AT_FAULT);
  for (let fold = field?.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  field?.focus({ preventScroll: true });
  (field?.closest(".field") ?? field ?? refused).scrollIntoView({ block: "center" });
}

document.addEventListener("htmx:after:swap", show);
window.addEventListener("pageshow", show);
