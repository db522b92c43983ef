// The gear table opens at the gear that is fitted.

const cell = document.getElementById("fitted");
const box = cell?.closest(".gear-scroll");
if (box) {
  const at = cell.getBoundingClientRect(), around = box.getBoundingClientRect();
  box.scrollBy(
    at.left - around.left - (around.width - at.width) / 2,
    at.top - around.top - (around.height - at.height) / 2,
  );
}
