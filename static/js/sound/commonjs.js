// The vendored FFT hands itself over as a CommonJS module does; a browser has no such thing.
globalThis.module = { exports: {} };
