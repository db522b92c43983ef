const worker = new Worker("writer.js", { type: "module" });
worker.onerror = (event) => { document.getElementById("said").textContent = `failed: ${event.message}`; };
worker.onmessage = ({ data }) => { document.getElementById("said").textContent = data; };
