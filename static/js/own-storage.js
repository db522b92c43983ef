// Where the app runs in this browser: whether the browser may drop its data when the phone is full. Asked at a tap.
const state = document.getElementById("own-storage");
const button = document.getElementById("keep-storage");
const { storage } = navigator;

async function show(unless) {
  const granted = await storage.persisted();
  state.textContent = state.dataset[granted ? "granted" : unless];
  button.hidden = granted;
}

if (storage?.persist) {
  button.addEventListener("click", async () => {
    await storage.persist();
    await show("refused");
  });
  show("open");
} else {
  state.textContent = state.dataset.missing;
}
