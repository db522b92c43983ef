// What an alarm does on a phone: three tones, a vibration, and a screen that stays on.

const TONES = [[0, 880], [0.3, 1320], [0.6, 880]];
const LOUD = 0.4, QUIET = 0.001, LASTS_S = 0.25;
const VIBRATION_MS = [400, 200, 400];

// `sound` is an AudioContext, or null; one that does not run is silent.
export function beep(sound) {
  if (navigator.userActivation?.hasBeenActive) navigator.vibrate?.(VIBRATION_MS);
  if (!sound || sound.state !== "running") return;
  for (const [after, pitch] of TONES) {
    const tone = sound.createOscillator(), loudness = sound.createGain();
    tone.frequency.value = pitch;
    loudness.gain.setValueAtTime(LOUD, sound.currentTime + after);
    loudness.gain.exponentialRampToValueAtTime(QUIET, sound.currentTime + after + LASTS_S);
    tone.connect(loudness).connect(sound.destination);
    tone.start(sound.currentTime + after);
    tone.stop(sound.currentTime + after + LASTS_S);
  }
}

// The lock that keeps the screen on, or null where the phone gives none.
export async function screenLock() {
  try {
    return (await navigator.wakeLock?.request("screen")) ?? null;
  } catch {
    return null;
  }
}

// A sound that a phone's silent switch does not mute.
export function newSound() {
  if (navigator.audioSession) navigator.audioSession.type = "playback";
  return new AudioContext();
}
