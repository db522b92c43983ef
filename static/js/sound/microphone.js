// Opens the microphone at a tap, as it is (no echo cancelling, noise suppression or gain control), and hands its
// sound to a listener. Why it cannot be opened is a sentence for the racer.

const TYPE_IT = "Type it below.";
const WHY_NOT = {
  NotAllowedError: `Microphone refused. Allow it for this address in the browser's settings, or type it below.`,
  SecurityError: `Microphone refused. Allow it for this address in the browser's settings, or type it below.`,
  NotFoundError: `There is no microphone here. ${TYPE_IT}`,
  NotReadableError: `Another app holds the microphone. Close that, or type it below.`,
};

/** Why there is no microphone on this page, or "". */
export function whyNone() {
  if (!globalThis.isSecureContext) return `This address is plain http: browsers give no microphone there, only on https and localhost. ${TYPE_IT}`;
  if (!navigator.mediaDevices?.getUserMedia || !globalThis.AudioWorkletNode) return `This browser gives no microphone. ${TYPE_IT}`;
  return "";
}

/**
 * @param {(samples: Float32Array) => void} take stretches of sound
 * @param {() => void} ended the microphone went away
 * @returns {Promise<{rate: number, close: () => void}>}
 * @throws {Error} with a sentence
 */
export async function openMicrophone(take, ended) {
  let stream = null, context = null;
  try {
    const plain = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
    stream = await navigator.mediaDevices.getUserMedia({ audio: { ...plain, channelCount: 1 }, video: false });
    context = new AudioContext();
    await context.audioWorklet.addModule(new URL("./taker.js", import.meta.url));
    const taker = new AudioWorkletNode(context, "taker", { numberOfOutputs: 0 });
    taker.port.onmessage = ({ data }) => take(data);
    context.createMediaStreamSource(stream).connect(taker);
    await context.resume();
  } catch (error) {
    stream?.getTracks().forEach((track) => track.stop());
    context?.close();
    throw new Error(WHY_NOT[error.name] ?? `The microphone does not work here. ${TYPE_IT}`);
  }
  stream.getTracks().forEach((track) => track.addEventListener("ended", ended));
  const close = () => {
    stream.getTracks().forEach((track) => track.stop());
    if (context.state !== "closed") context.close();
  };
  return { rate: context.sampleRate, close };
}
