// A run may be sent long after it was noted: tell by the phone's clock when Save was pressed.
const form = document.querySelector("[data-run-form]");
if (form) {
  form.addEventListener("submit", () => {
    form.elements.noted_at.value = String(Math.floor(Date.now() / 1000));
  });
}
