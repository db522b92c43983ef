// Takes what the microphone gives and hands it on in stretches of some 40 ms; it changes and keeps nothing.
const LENGTH = 2048;

registerProcessor("taker", class extends AudioWorkletProcessor {
  constructor() {
    super();
    this.stretch = new Float32Array(LENGTH);
    this.filled = 0;
  }

  process([input]) {
    const heard = input[0];
    if (!heard) return true;
    for (const sample of heard) {
      this.stretch[this.filled] = sample;
      this.filled += 1;
      if (this.filled < LENGTH) continue;
      this.port.postMessage(this.stretch, [this.stretch.buffer]);
      this.stretch = new Float32Array(LENGTH);
      this.filled = 0;
    }
    return true;
  }
});
