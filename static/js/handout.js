// What is handed out: its link is copied or shared from here; where one is taken, the link of the address, or the one
// in a photograph of a square, is put into the field.
const byId = (id) => document.getElementById(id);
const link = byId("link");
const copy = byId("copy-link"), share = byId("share-link");
const photo = byId("square-photo");

if (copy && navigator.clipboard) {
  copy.hidden = false;
  copy.addEventListener("click", async () => {
    await navigator.clipboard.writeText(link.value).then(
      () => { byId("link-answer").textContent = "Copied."; },
      () => { link.select(); byId("link-answer").textContent = "This browser does not copy by itself. It is selected: copy it."; },
    );
  });
}

if (share && navigator.share) {
  share.hidden = false;
  share.addEventListener("click", () => navigator.share({ title: share.dataset.title, url: link.value }).catch((error) => {
    if (error.name !== "AbortError") byId("link-answer").textContent = "This phone did not take the link.";
  }));
}

// Opened by a link: what stands behind the # goes into the field, out of the address, and is looked at: that writes
// nothing. In an iPhone's browser it is to be carried over to the app first; a page kept on the phone has nobody to ask.
function fill() {
  if (location.hash.length < 2) return;
  link.value = location.href;
  history.replaceState(history.state, "", location.pathname + location.search);
  const elsewhere = byId("not-the-app") && navigator.standalone === false;
  if (elsewhere) byId("not-the-app").hidden = false;
  else if (!byId("offline-part")?.dataset.keptAt) link.form.requestSubmit();
}

async function readSquare(detector) {
  const said = byId("square-answer");
  try {
    const image = await createImageBitmap(photo.files[0], { imageOrientation: "from-image" });
    const [square] = await detector.detect(image);
    if (square) link.value = square.rawValue;
    said.textContent = square ? "Read. Look at it now." : "No square was found in it. Take the picture from nearer, with the whole square in it.";
  } catch {
    said.textContent = "This file is no picture that the phone can show. Choose another.";
  }
}

async function offerReader() {
  const kinds = await globalThis.BarcodeDetector?.getSupportedFormats().catch(() => []);
  if (!kinds?.includes("qr_code")) return;
  const detector = new BarcodeDetector({ formats: ["qr_code"] });
  byId("square-reader").hidden = false;
  byId("no-reader").hidden = true;
  photo.addEventListener("change", () => { if (photo.files.length) readSquare(detector); });
}

if (photo) {
  fill();
  addEventListener("hashchange", fill);
  offerReader();
}
