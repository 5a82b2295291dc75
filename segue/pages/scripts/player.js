// Sound that starts on the exact frame and goes without a click, for every page that plays.
const FADE_S = 0.015; // of a switch and of a loop's joint: short enough to hide, long enough not to click
const AHEAD_S = 0.03; // a start is scheduled, so that it falls on the exact frame
let audio = null;

// The audio clock, opened with the first press; `connect` lays what the sound goes through.
function openAudio(connect = () => {}, options = {}) {
  if (audio) return;
  if (navigator.audioSession) navigator.audioSession.type = "playback"; // heard although a phone is muted
  audio = new AudioContext({ latencyHint: "interactive", ...options });
  connect();
}

function gainNode(into, ...points) {
  const node = audio.createGain();
  points.forEach(([value, at], i) => (i ? node.gain.linearRampToValueAtTime(value, at) : node.gain.setValueAtTime(value, at)));
  node.connect(into);
  return node;
}

// A sound from some place of it on. Rise and fall are two nodes: a fall that comes during the rise
// needs no undoing of it.
function voice(buffer, { at, from, level = 1, into = audio.destination, span = {} }) {
  const source = audio.createBufferSource(), fall = gainNode(into);
  Object.assign(source, { buffer, ...span });
  source.connect(gainNode(fall, [0, at], [level, at + FADE_S]));
  source.start(at, Math.min(Math.max(from, 0), buffer.duration));
  return { source, fall };
}

function silence(voices, at) {
  for (const { source, fall } of voices) {
    fall.gain.setValueAtTime(1, at);
    fall.gain.linearRampToValueAtTime(0, at + FADE_S);
    source.onended = null;
    source.stop(at + FADE_S);
  }
}

// In place of what sounds, the voices that `begin` schedules for a moment to come. Where that moment
// has passed meanwhile, on a busy machine, they would start late: they are begun once more.
function switched(sounding, begin, ahead = AHEAD_S) {
  const at = audio.currentTime + ahead, voices = begin(at), isLate = audio.currentTime >= at;
  silence(isLate ? voices : sounding, isLate ? audio.currentTime : at);
  return isLate ? switched(sounding, begin, ahead * 2) : voices;
}

// The same place in another segue: before the bridge counted back from it, after it counted on, and
// inside by the share of the bridge.
function samePlace(t, a, b) {
  if (t <= a.exit_s) return Math.max(b.exit_s - (a.exit_s - t), 0);
  if (t >= a.entry_s) return Math.min(b.entry_s + (t - a.entry_s), b.duration_s);
  return b.exit_s + (t - a.exit_s) / (a.entry_s - a.exit_s) * (b.entry_s - b.exit_s);
}
