// Hears what the microphone gives, beside the page so that this never waits: revs of a motor that stands by. Nothing
// of the sound is kept beyond the few seconds that are looked at, and none of it leaves this file.
import { Spectrum } from "./spectrum.js";
import { hearRevs } from "./revs.js";

const STRETCH_S = 0.25, HEARD_S = 4, COLUMNS = 160, LOW_HZ = 60, HIGH_HZ = 16000;
let known = null, spectrum = null, rest = new Float32Array(0), frames = [], made = 0;

function start(message) {
  known = message;
  const size = 2 ** Math.ceil(Math.log2(STRETCH_S * known.rate));
  spectrum = new Spectrum(size);
  known.binHz = known.rate / size;
  [rest, frames, made] = [new Float32Array(0), [], 0];
}

function joined(samples) {
  const all = new Float32Array(rest.length + samples.length);
  all.set(rest);
  all.set(samples, rest.length);
  return all;
}

// The spectrum in columns of equal pitch, each with its strongest bin, in dB over the noise.
function picture({ above }) {
  const columns = new Float32Array(COLUMNS);
  for (let column = 0; column < COLUMNS; column += 1) {
    const [from, to] = [column, column + 1].map((edge) => (LOW_HZ * (HIGH_HZ / LOW_HZ) ** (edge / COLUMNS)) / known.binHz);
    for (let bin = Math.floor(from); bin <= to; bin += 1) columns[column] = Math.max(columns[column], above[bin] ?? 0);
  }
  return columns;
}

function hear(samples) {
  const hop = spectrum.size / 2, all = joined(samples);
  let from = 0;
  for (; from + spectrum.size <= all.length; from += hop) {
    frames.push(spectrum.frame(all, from));
    made += 1;
  }
  rest = all.slice(from);
  if (!from) return;
  const most = Math.round((HEARD_S * known.rate) / hop);
  frames = frames.slice(-most);
  const said = frames.length > 4 ? hearRevs(frames, known) : { state: "listening" };
  postMessage({ ...said, seconds: (made * hop) / known.rate, picture: picture(frames.at(-1)) });
}

addEventListener("message", ({ data }) => {
  if (data instanceof Float32Array) {
    if (known) hear(data);
  } else {
    start(data);
  }
});
