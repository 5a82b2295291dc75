// One thing plays at a time: a sound from some place on, with a click or a chord beside it.
// `place()` is where it is, in seconds of that sound.
import { byId, tell } from "./desk_net.js";

const FADE_S = 0.015, AHEAD_S = 0.03, LOOK_S = 0.35;
const sounds = new Map();
let audio = null, out = null, now = null, ticking = 0;
const watchers = new Set();

export const watch = (watcher) => watchers.add(watcher);
export const playing = () => now;

function openAudio() {
  if (audio) return;
  if (navigator.audioSession) navigator.audioSession.type = "playback"; // heard although a phone is muted
  audio = new AudioContext({ latencyHint: "interactive" });
  out = audio.createGain();
  out.connect(audio.destination);
  setLevel();
}

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

export function place() {
  if (!now) return null;
  return now.from + Math.max(audio.currentTime - now.at, 0);
}

function voice(buffer, level, at, from) {
  const source = audio.createBufferSource(), gain = audio.createGain();
  source.buffer = buffer;
  gain.gain.setValueAtTime(0, at);
  gain.gain.linearRampToValueAtTime(level, at + FADE_S);
  source.connect(gain).connect(out);
  source.start(at, Math.min(Math.max(from, 0), buffer.duration));
  return { source, gain };
}

function hush(voices, at) {
  for (const { source, gain } of voices) {
    gain.gain.cancelScheduledValues(at);
    gain.gain.setTargetAtTime(0, at, FADE_S / 3);
    source.onended = null;
    source.stop(at + FADE_S * 3);
  }
}

// Play `url` from a place. `more` may have: label (words), id (what is playing), level, clicks
// (times in the sound) with downs (those that are first in a bar), sides ([url, level] pairs), until.
export async function play(url, from, more = {}) {
  openAudio();
  const wanted = Symbol("wanted");
  play.wanted = wanted;
  let buffers;
  try {
    buffers = await Promise.all([audio.resume(), loaded(url), ...(more.sides || []).map(([side]) => loaded(side))]);
  } catch (error) { tell(error.message); return; }
  if (play.wanted !== wanted) return;
  const at = audio.currentTime + AHEAD_S;
  const start = typeof from === "function" ? from() : from;
  if (now) hush(now.voices, at);
  const voices = [voice(buffers[1], more.level ?? 1, at, start)];
  (more.sides || []).forEach(([, level], n) => voices.push(voice(buffers[n + 2], level, at, start)));
  now = { url, from: start, at, voices, duration: buffers[1].duration, nextClick: 0, ...more };
  now.nextClick = (now.clicks || []).findIndex((t) => t >= start - 0.005);
  voices[0].source.onended = stop;
  byId("stop").disabled = false;
  cancelAnimationFrame(ticking);
  tick();
}

export function stop() {
  play.wanted = null;
  if (!now) return;
  hush(now.voices, audio.currentTime);
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
  openAudio();
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
