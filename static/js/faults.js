// What a racer has to see is in sight: the first field at fault after a refused save, a text that is typed, a last button.

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

// A text of several lines is brought into view whole: by themselves browsers do so with the cursor's line alone.
// What the keyboard leads to is in sight whole, beside what sticks to an edge: not every browser sees to that.
document.addEventListener("focusin", ({ target }) => {
  if (target.localName === "textarea") target.scrollIntoView({ block: "nearest" });
  else if (target.tabIndex >= 0 && target.matches(":focus-visible")) requestAnimationFrame(() => uncover(target));
});

function uncover(target) {
  const box = target.getBoundingClientRect();
  const covered = [box.top + 4, box.bottom - 4].some((y) => {
    const top = document.elementFromPoint((box.left + box.right) / 2, y);
    return !top || (!target.contains(top) && !top.contains(target));
  });
  if (covered && box.height < window.innerHeight / 2) target.scrollIntoView({ block: "nearest", inline: "nearest" });
}

// A bar that comes while the end of the page is in sight stands under it, not over its last button.
function standUnder() {
  const notices = document.getElementById("notices");
  const root = document.documentElement;
  const below = root.scrollHeight - window.innerHeight - window.scrollY;
  if (notices?.querySelector(".undo-bar") && below < notices.offsetHeight + 32) window.scrollTo(0, root.scrollHeight);
}

new MutationObserver(standUnder).observe(document.body, { childList: true });
