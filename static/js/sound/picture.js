// A plain picture of the spectrum: pitch to the right, loudness up, the expected places shaded, what was heard marked.
const LOW_HZ = 60, HIGH_HZ = 16000, MOST_DB = 45;
const share = (hz) => Math.log(hz / LOW_HZ) / Math.log(HIGH_HZ / LOW_HZ);

/**
 * @param {HTMLCanvasElement} canvas
 * @param {Float32Array} columns dB over the noise
 * @param {[number, number][]} expected bands, in Hz
 * @param {number[]} heard tones, in Hz
 */
export function draw(canvas, columns, expected, heard) {
  const pen = canvas.getContext("2d"), { width, height } = canvas, style = getComputedStyle(canvas);
  const colour = (name) => style.getPropertyValue(name).trim() || style.color;
  pen.clearRect(0, 0, width, height);
  pen.fillStyle = colour("--line");
  for (const [low, high] of expected) pen.fillRect(share(low) * width, 0, Math.max(2, (share(high) - share(low)) * width), height);
  pen.fillStyle = colour("--accent");
  columns.forEach((db, column) => {
    const tall = Math.min(1, Math.max(0.01, db / MOST_DB)) * (height - 14);
    pen.fillRect((column * width) / columns.length, height - tall, width / columns.length - 0.5, tall);
  });
  pen.fillStyle = colour("--stop");
  for (const hz of heard) {
    const x = share(hz) * width;
    pen.beginPath();
    pen.moveTo(x, 12);
    pen.lineTo(x - 5, 2);
    pen.lineTo(x + 5, 2);
    pen.fill();
  }
}
