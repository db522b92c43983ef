// Another track or class is shown as soon as it is chosen.
document.querySelector(".place")?.addEventListener("change", (event) => {
  event.currentTarget.requestSubmit();
});
