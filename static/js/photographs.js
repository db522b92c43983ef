// A photograph is drawn anew on this phone: at most 200 kB, and nothing in it but the picture. It is then a field
// like any other, so that it can wait in the outbox.

const MOST_BYTES = 200000;  // as in pitapp/runs/photographs/models.py
const LONGEST_PX = 1600;
const QUALITIES = [0.85, 0.75, 0.65, 0.55];
const SMALLER = 0.8;

const blobOf = (canvas, quality) => new Promise((done) => { canvas.toBlob(done, "image/jpeg", quality); });

function draw(canvas, image, scale) {
  canvas.width = Math.max(1, Math.round(image.width * scale));
  canvas.height = Math.max(1, Math.round(image.height * scale));
  const drawing = canvas.getContext("2d");
  drawing.fillStyle = "white";
  drawing.fillRect(0, 0, canvas.width, canvas.height);
  drawing.drawImage(image, 0, 0, canvas.width, canvas.height);
}

async function small(canvas, file) {
  const image = await createImageBitmap(file, { imageOrientation: "from-image" });
  const longest = Math.max(image.width, image.height);
  for (let scale = Math.min(1, LONGEST_PX / longest); scale * longest >= 1; scale *= SMALLER) {
    draw(canvas, image, scale);
    for (const quality of QUALITIES) {
      const blob = await blobOf(canvas, quality);
      if (blob && blob.size <= MOST_BYTES) return blob;
    }
  }
  throw new Error("this browser makes no JPEG of it");
}

async function text(blob) {
  const bytes = new Uint8Array(await blob.arrayBuffer());
  let binary = "";
  for (let at = 0; at < bytes.length; at += 8192) binary += String.fromCharCode(...bytes.subarray(at, at + 8192));
  return btoa(binary).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
}

for (const place of document.querySelectorAll("[data-photograph]")) {
  const form = place.closest("form");
  const file = place.querySelector("input[type=file]");
  const canvas = place.querySelector("canvas");
  const answer = place.querySelector("[data-answer]");
  const buttons = form.querySelectorAll("button.main-action");
  form.enctype = "application/x-www-form-urlencoded";
  file.removeAttribute("name");
  const choose = async () => {
    const { photo } = form.elements;
    photo.value = "";
    canvas.hidden = true;
    if (!file.files.length) return;
    for (const button of buttons) button.disabled = true;
    answer.textContent = "Making it small …";
    try {
      const blob = await small(canvas, file.files[0]);
      photo.value = await text(blob);
      canvas.hidden = false;
      answer.textContent = `${canvas.width} × ${canvas.height}, ${Math.ceil(blob.size / 1000)} kB`;
    } catch {
      answer.textContent = "This file is no picture that the phone can show. Choose another.";
      file.value = "";
    }
    for (const button of buttons) button.disabled = false;
  };
  file.addEventListener("change", choose);
  if (file.files.length) choose();
}
