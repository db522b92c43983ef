// `run(code)` runs Python over the data folder and lets it settle; it returns the result and the flushes so far.
const worker = new Worker(`worker.js${location.search}`, { type: "module" });
const waiting = [];
const said = document.getElementById("said");
worker.onerror = (event) => { said.textContent = `failed: ${event.message}`; };
worker.onmessage = ({ data }) => {
  if (data.opened) said.textContent = "opened";
  else waiting.shift()(data);
};
globalThis.run = (code, refuse = false) => new Promise((resolve) => {
  waiting.push(resolve);
  worker.postMessage({ code, refuse });
});
