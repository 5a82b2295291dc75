// One thing plays at a time: a sound from some place on, with a click or a chord beside it.
// `place()` is where it is, in seconds of that sound.
// The server sends `player.js` before it.
import { byId, tell } from "./desk_net.js";

export { samePlace };

const LOOK_S = 0.35; // clicks are scheduled so far ahead
const sounds = new Map();
let out = null, now = null, ticking = 0;
const watchers = new Set();

export const watch = (watcher) => watchers.add(watcher);
export const playing = () => now;

const open = () => openAudio(() => {
  out = gainNode(audio.destination);
  setLevel();
});

export function setLevel() {
  if (out) out.gain.setTargetAtTime((Number(byId("level").value) / 100) ** 2, audio.currentTime, 0.02);
}

// Decoded once; the least recently used go when there are many.
export function loaded(url) {
  if (!sounds.has(url)) {
    const coming = fetch(url).then((answer) => {
      if (!answer.ok) throw new Error("The sound did not come.");
      return answer.arrayBuffer();
    }).then((bytes) => new OfflineAudioContext(1, 1, 48000).decodeAudioData(bytes));
    coming.catch(() => sounds.delete(url));
    sounds.set(url, coming);
    if (sounds.size > 14) sounds.delete(sounds.keys().next().value);
  } else {
    const known = sounds.get(url);
    sounds.delete(url);
    sounds.set(url, known);
  }
  return sounds.get(url);
}

// Sound that was sent in answer to something, under a name of its own.
export function hold(name, bytes) {
  sounds.set(name, new OfflineAudioContext(1, 1, 48000).decodeAudioData(bytes));
}

export function place(at = audio?.currentTime) {
  return now ? now.from + Math.max(at - now.at, 0) : null;
}

// Play `url` from a place, or from what a function makes of the present one. `more` may have: label (words), id (what is playing), level, clicks
// (times in the sound) with downs (those that are first in a bar), sides ([url, level] pairs), until.
export async function play(url, from, more = {}) {
  open();
  const wanted = Symbol("wanted");
  play.wanted = wanted;
  let buffers;
  try {
    buffers = await Promise.all([audio.resume(), loaded(url), ...(more.sides || []).map(([side]) => loaded(side))]);
  } catch (error) { tell(error.message); return; }
  if (play.wanted !== wanted) return;
  let start;
  const voices = switched(now ? now.voices : [], (at) => {
    start = { at, from: typeof from === "function" ? from(place(at)) : from };
    const sides = (more.sides || []).map(([, level], n) => [buffers[n + 2], level]);
    return [[buffers[1], more.level], ...sides].map(([buffer, level]) => voice(buffer, { ...start, level, into: out }));
  });
  now = { url, ...start, voices, duration: buffers[1].duration, ...more };
  now.nextClick = (now.clicks || []).findIndex((t) => t >= now.from - 0.005);
  voices[0].source.onended = stop;
  byId("stop").disabled = false;
  cancelAnimationFrame(ticking);
  tick();
}

export function stop() {
  play.wanted = null;
  if (!now) return;
  silence(now.voices, audio.currentTime);
  now = null;
  byId("stop").disabled = true;
  byId("playing").textContent = "Nothing is playing.";
  for (const watcher of watchers) watcher(null, null);
}

function tick() {
  if (!now) return;
  const t = place();
  if (now.until && t >= now.until) { stop(); return; }
  while (now.clicks && now.nextClick >= 0 && now.nextClick < now.clicks.length && now.clicks[now.nextClick] < t + LOOK_S) {
    const when = now.at + now.clicks[now.nextClick] - now.from;
    if (when > audio.currentTime) blip(when, now.downs?.has(now.clicks[now.nextClick]));
    now.nextClick += 1;
  }
  for (const watcher of watchers) watcher(now, t);
  ticking = requestAnimationFrame(tick);
}

function blip(at, isDown) {
  const tone = audio.createOscillator(), gain = audio.createGain();
  tone.frequency.value = isDown ? 1760 : 1175;
  gain.gain.setValueAtTime(0.0001, at);
  gain.gain.exponentialRampToValueAtTime(0.35, at + 0.002);
  gain.gain.exponentialRampToValueAtTime(0.0001, at + 0.05);
  tone.connect(gain).connect(out);
  tone.start(at);
  tone.stop(at + 0.06);
}

// Notes of a chord, or one note, for a moment.
export async function chord(notes) {
  open();
  await audio.resume();
  const at = audio.currentTime + AHEAD_S;
  for (const note of notes) {
    const tone = audio.createOscillator(), gain = audio.createGain();
    tone.type = "triangle";
    tone.frequency.value = 440 * 2 ** ((note - 69) / 12);
    gain.gain.setValueAtTime(0.0001, at);
    gain.gain.exponentialRampToValueAtTime(0.5 / notes.length, at + 0.03);
    gain.gain.setTargetAtTime(0.0001, at + 1.2, 0.25);
    tone.connect(gain).connect(out);
    tone.start(at);
    tone.stop(at + 2.5);
  }
}
