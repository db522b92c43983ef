// Hears passes in what the microphone gives, beside the page so that this never waits. Of the sound only the spectra
// of the last seconds are kept, and none of it leaves this file.
import { columnsOf } from "../columns.js";
import { Passes } from "./passes.js";

const EVERY_S = 0.5;
let passes = null, binHz = 1, nextS = 0;

// What the page shows of a pass: when, m/s, revs a minute, each with its spread.
const summaryOf = ({ time, pass, sd }) => ({ time, speed: pass.speed, spread: sd.speed, rpm: 60 * pass.hz, rpmSpread: 60 * sd.hz, distance: pass.distance });

function hear(samples) {
  passes.push(samples);
  if (passes.seconds < nextS || !passes.newest) return;
  nextS = passes.seconds + EVERY_S;
  passes.search();
  const { passes: list, leftOut } = passes.results();
  postMessage({ passes: list.map(summaryOf), leftOut, seconds: passes.seconds, picture: columnsOf(passes.newest, binHz) });
}

addEventListener("message", ({ data }) => {
  if (data instanceof Float32Array) {
    if (passes) hear(data);
  } else {
    passes = new Passes(data);
    binHz = passes.binHz;
    nextS = 0;
  }
});
