// Hears what the microphone gives, beside the page so that this never waits: revs of a motor that stands by. Nothing
// of the sound is kept beyond the few seconds that are looked at, and none of it leaves this file.
import { columnsOf } from "./columns.js";
import { Spectrum } from "./spectrum.js";
import { hearRevs } from "./revs.js";

const STRETCH_S = 0.25, HEARD_S = 4;
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
  postMessage({ ...said, seconds: (made * hop) / known.rate, picture: columnsOf(frames.at(-1).above, known.binHz) });
}

addEventListener("message", ({ data }) => {
  if (data instanceof Float32Array) {
    if (known) hear(data);
  } else {
    start(data);
  }
});
