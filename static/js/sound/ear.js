// What every screen that listens shares: opens the microphone at a tap, shows the level, keeps the screen awake, and
// hands the sound to a worker that hears. It ends at a tap, in silence, and after a time. Typing goes on all the while.
import { openMicrophone, whyNone } from "./microphone.js";

export const byId = (id) => document.getElementById(id);
const SILENT_S = 3, SILENT_DB = -100;

/** A figure without decimals, thousands set apart. */
export const whole = (value) => Math.round(value).toString().replace(/\B(?=(\d{3})+$)/g, "\u202f");

/** What is typed in a field as a number, or NaN. */
export const typed = (id) => Number(byId(id)?.value.replace(/\s/g, "").replace(",", ".") || "x");

/** Says a sentence, or with `figure` a large one. */
export function say(text, figure = false) {
  const line = byId("ear-says");
  line.dataset.says = figure ? "figure" : "words";
  if (line.textContent !== text) line.textContent = text;
}

export class Ear {
  /**
   * @param {object} screen
   * @param {string} screen.worker the address of the worker that hears
   * @param {() => object} screen.known what is known before; throws an error with a sentence
   * @param {(said: object, known: object) => void} screen.show shows what the worker says
   * @param {() => boolean} screen.certain whether something certain was heard
   * @param {() => void} screen.begin listening begins
   * @param {number} screen.longestS it ends by itself after so many seconds
   * @param {string} screen.nothing the sentence where nothing certain was heard until then
   */
  constructor(screen) {
    this.screen = screen;
    this.microphone = null;
    this.worker = null;
    this.awake = null;
    this.opening = false;
    byId("ear").hidden = false;
    byId("ear-start").addEventListener("click", () => this.start());
    byId("ear").closest("form").addEventListener("submit", () => { if (this.microphone) this.stop(""); });
    addEventListener("pagehide", () => this.stop(""));
    const why = whyNone();
    if (why) say(why);
  }

  /** Ends listening, with a sentence if there is one to say. */
  stop(text) {
    if (!this.microphone && !this.worker && !text) return;
    this.microphone?.close();
    this.worker?.terminate();
    this.awake?.release();
    [this.microphone, this.worker, this.awake] = [null, null, null];
    byId("ear-start").textContent = "Listen again";
    if (text) say(text);
  }

  async start() {
    if (this.opening) return;
    if (this.microphone) {
      this.stop(this.screen.certain() ? "" : "Stopped. Type it below, or listen again.");
      return;
    }
    let known = null;
    try {
      const why = whyNone();
      if (why) throw new Error(why);
      known = this.screen.known();
      this.opening = true;
      say("Allow the microphone when the browser asks.");
      this.microphone = await openMicrophone((samples) => this.take(samples),
        () => this.stop("The microphone was taken away. Type it below, or listen again."));
    } catch (error) {
      say(error.message);
      return;
    } finally {
      this.opening = false;
    }
    this.worker = new Worker(this.screen.worker, { type: "module" });
    this.worker.onmessage = ({ data }) => { if (this.microphone) this.screen.show(data, known); };
    this.worker.onerror = () => this.stop("Listening does not work in this browser. Type it below.");
    this.worker.postMessage({ ...known, rate: this.microphone.rate });
    this.began = this.loudAt = performance.now();
    this.screen.begin();
    byId("ear-start").textContent = "Stop";
    byId("ear-live").hidden = false;
    byId("ear-start").scrollIntoView();
    say("Listening …");
    try {
      this.awake = await navigator.wakeLock?.request("screen");
    } catch { /* the phone says no: its own time-out stays */ }
  }

  take(samples) {
    if (!this.worker) return;
    const db = 10 * Math.log10(samples.reduce((sum, each) => sum + each * each, 0) / samples.length + 1e-12);
    byId("ear-level").value = db;
    const now = performance.now();
    if (db > SILENT_DB) this.loudAt = now;
    if (now - this.loudAt > 1000 * SILENT_S) {
      this.stop("Nothing comes from the microphone: is it covered or switched off? Type it below, or listen again.");
    } else if (now - this.began > 1000 * this.screen.longestS) {
      this.stop(this.screen.certain() ? "" : this.screen.nothing);
    } else {
      this.worker.postMessage(samples, [samples.buffer]);
    }
  }
}
