"use strict";
// One page, no network: the run is in the JSON block, the sound in it as base64.
const run = JSON.parse(document.getElementById("run").textContent);
const ways = run.ways;
const WIDTH = 1000, LANES = { wave: [18, 96], key: [120, 56], tempo: [182, 40], level: [228, 44] };
const HEIGHT = 278, FADE_S = 0.015, SVG = "http://www.w3.org/2000/svg";
const byId = (id) => document.getElementById(id);
const bars = (way) => way.bars;

const state = { now: 0, place: 0, startedAt: 0, playing: false, loop: null };
let audio = null, nodes = null, faders = null;

function el(parent, name, attributes = {}, text = "") {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text) node.textContent = text;
  parent.appendChild(node);
  return node;
}

// ---- drawing ---------------------------------------------------------------------------
function draw(way, index) {
  const svg = byId(`lanes-${index}`);
  const x = (t) => (WIDTH * t) / way.duration_s;
  drawWave(svg, way, x);
  for (const bar of bars(way)) {
    el(svg, "line", { class: "bar", x1: x(bar.time_s), x2: x(bar.time_s), y1: 14, y2: HEIGHT - 6 });
    el(svg, "text", { x: x(bar.time_s) + 3, y: 11 }, String(bar.number));
  }
  for (const chord of way.chords) {
    el(svg, "text", { class: "chord", x: x(chord.start_s) + 4, y: LANES.key[0] + 12 }, chord.symbol);
  }
  curve(svg, way.curves.key_from, x, LANES.key, 0, 1, "line from");
  curve(svg, way.curves.key_to, x, LANES.key, 0, 1, "line to");
  const bpm = way.curves.tempo.map((p) => p[1]);
  curve(svg, way.curves.tempo, x, LANES.tempo, Math.min(...bpm) * 0.95, Math.max(...bpm) * 1.05, "line ink");
  curve(svg, way.curves.loudness, x, LANES.level, -45, -5, "line ink");
  const first = bpm[0].toFixed(0), last = bpm[bpm.length - 1].toFixed(0);
  el(svg, "text", { x: 4, y: LANES.tempo[0] + 8 }, `tempo ${first} to ${last} BPM`);
  el(svg, "text", { x: 4, y: LANES.level[0] + 8 }, "loudness, -45 to -5 LUFS");
  el(svg, "text", { x: 4, y: LANES.key[0] + 52 }, "distance: old key dashed, new key solid");
  vertical(svg, x(way.exit_s), "exit");
  vertical(svg, x(way.entry_s), "entry");
  if (way.singer_s !== null) vertical(svg, x(way.singer_s), "singer");
  el(svg, "rect", { class: "loop", id: `loop-${index}`, x: 0, y: 14, width: 0, height: HEIGHT - 20 });
  el(svg, "line", { class: "place", id: `place-${index}`, x1: 0, x2: 0, y1: 14, y2: HEIGHT - 6 });
  svg.addEventListener("pointerdown", (event) => {
    const box = svg.getBoundingClientRect();
    choose(index, ((event.clientX - box.left) / box.width) * way.duration_s);
  });
}

function drawWave(svg, way, x) {
  const [top, height] = LANES.wave, middle = top + height / 2;
  const n = way.outline.length / 2, column = way.duration_s / n;
  for (const [section, from, to] of [["outgoing", 0, way.exit_s], ["interlude", way.exit_s, way.entry_s],
    ["incoming", way.entry_s, way.duration_s]]) {
    const up = [], down = [];
    for (let i = Math.floor(from / column); i < Math.min(Math.ceil(to / column), n); i += 1) {
      up.push(`${x(i * column).toFixed(1)},${(middle - (way.outline[2 * i + 1] * height) / 254).toFixed(1)}`);
      down.unshift(`${x(i * column).toFixed(1)},${(middle - (way.outline[2 * i] * height) / 254).toFixed(1)}`);
    }
    if (up.length) el(svg, "polygon", { class: section, points: [...up, ...down].join(" ") });
  }
}

function curve(svg, points, x, [top, height], low, high, look) {
  if (!points.length) return;
  const y = (v) => top + height * (1 - Math.min(Math.max((v - low) / (high - low || 1), 0), 1));
  el(svg, "polyline", { class: look, points: points.map((p) => `${x(p[0]).toFixed(1)},${y(p[1]).toFixed(1)}`).join(" ") });
}

function vertical(svg, at, look) {
  el(svg, "line", { class: look, x1: at, x2: at, y1: 14, y2: HEIGHT - 6 });
}

// ---- sound -----------------------------------------------------------------------------
function bytes(base64) {
  const raw = atob(base64), out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i += 1) out[i] = raw.charCodeAt(i);
  return out.buffer;
}

async function open() {
  if (audio) return;
  audio = new AudioContext({ latencyHint: "interactive", sampleRate: run.rate_hz });
  faders = { music: audio.createGain(), click: audio.createGain(), cue: audio.createGain() };
  for (const [bus, fader] of Object.entries(faders)) {
    fader.gain.value = bus === "music" ? 1 : Number(byId(bus).value) / 100;
    fader.connect(audio.destination);
  }
  say("Unpacking the sound.");
  await Promise.all(ways.map(async (way) => {
    way.buffers = {};
    for (const bus of ["music", "click", "cue"]) {
      way.buffers[bus] = await audio.decodeAudioData(bytes(way.audio[bus]));
      way.audio[bus] = "";
    }
  }));
  say("");
}

function here() {
  if (!state.playing) return state.place;
  const t = state.place + (audio.currentTime - state.startedAt);
  return Math.min(t, ways[state.now].duration_s);
}

function stopSound() {
  if (!nodes) return;
  const at = audio.currentTime;
  for (const { source, gain } of nodes) {
    gain.gain.cancelScheduledValues(at);
    gain.gain.setValueAtTime(gain.gain.value, at);
    gain.gain.linearRampToValueAtTime(0, at + FADE_S);
    source.onended = null;
    source.stop(at + FADE_S);
  }
  nodes = null;
}

function startSound() {
  const way = ways[state.now], at = audio.currentTime;
  nodes = ["music", "click", "cue"].map((bus) => {
    const source = audio.createBufferSource(), gain = audio.createGain();
    source.buffer = way.buffers[bus];
    gain.gain.setValueAtTime(0, at);
    gain.gain.linearRampToValueAtTime(1, at + FADE_S);
    source.connect(gain).connect(faders[bus]);
    source.start(at, state.place);
    return { source, gain };
  });
  nodes[0].source.onended = () => { if (state.playing) pause(); };
  state.startedAt = at;
}

async function play() {
  await open();
  await audio.resume();
  if (here() >= ways[state.now].duration_s - 0.05) state.place = 0;
  state.playing = true;
  startSound();
  show();
  requestAnimationFrame(tick);
}

function pause() {
  state.place = here();
  state.playing = false;
  stopSound();
  show();
}

function seek(seconds) {
  state.place = Math.min(Math.max(seconds, 0), ways[state.now].duration_s);
  if (state.playing) { stopSound(); startSound(); }
  show();
}

// The same place in another way across: from the exit backwards, from the entry onwards,
// and in between by the share of the interlude.
function samePlace(t, a, b) {
  if (t <= a.exit_s) return Math.max(b.exit_s - (a.exit_s - t), 0);
  if (t >= a.entry_s) return Math.min(b.entry_s + (t - a.entry_s), b.duration_s);
  const share = (t - a.exit_s) / (a.entry_s - a.exit_s);
  return b.exit_s + share * (b.entry_s - b.exit_s);
}

function choose(index, seconds = null) {
  const t = seconds === null ? samePlace(here(), ways[state.now], ways[index]) : seconds;
  if (index !== state.now) setLoop(null);
  state.now = index;
  seek(t);
}

function lastFourBars() {
  const way = ways[state.now];
  const before = bars(way).filter((bar) => bar.time_s < way.entry_s - 0.01);
  seek(before.length ? before[Math.max(before.length - 4, 0)].time_s : 0);
}

function setLoop(loop) {
  state.loop = loop;
  for (const [i, way] of ways.entries()) {
    const box = byId(`loop-${i}`), on = loop && i === state.now;
    box.setAttribute("x", on ? (WIDTH * loop[0]) / way.duration_s : 0);
    box.setAttribute("width", on ? (WIDTH * (loop[1] - loop[0])) / way.duration_s : 0);
  }
  byId("loop").setAttribute("aria-pressed", loop ? "true" : "false");
}

function toggleLoop() {
  if (state.loop) { setLoop(null); return; }
  const way = ways[state.now], lines = bars(way).map((bar) => bar.time_s);
  const n = Number(byId("loop-bars").value);
  let first = 0;
  for (const [i, t] of lines.entries()) if (t <= here() + 0.01) first = i;
  setLoop([lines[first], first + n < lines.length ? lines[first + n] : way.duration_s]);
}

// ---- screen ----------------------------------------------------------------------------
function say(words) { byId("status").textContent = words; }

function barAt(way, t) {
  let number = 0;
  for (const bar of bars(way)) if (bar.time_s <= t + 1e-3) number = bar.number;
  return number;
}

function show() {
  const way = ways[state.now], t = here();
  byId("play").textContent = state.playing ? "Pause" : "Play";
  byId("clock").textContent = `bar ${barAt(way, t)}, ${t.toFixed(1)} s`;
  for (const [i, other] of ways.entries()) {
    const on = i === state.now, at = (WIDTH * (on ? t : 0)) / other.duration_s;
    byId(`way-${i}`).classList.toggle("playing", on);
    byId(`choose-${i}`).setAttribute("aria-pressed", String(on));
    byId(`place-${i}`).setAttribute("x1", at);
    byId(`place-${i}`).setAttribute("x2", at);
    byId(`place-${i}`).setAttribute("visibility", on ? "visible" : "hidden");
  }
}

function tick() {
  if (!state.playing) return;
  if (state.loop && here() >= state.loop[1]) seek(state.loop[0]);
  show();
  requestAnimationFrame(tick);
}

function keyPressed(event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (/^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName)) return;
  const onButton = event.target.tagName === "BUTTON" || event.target.tagName === "SUMMARY";
  const number = Number(event.key);
  if (event.key === " " && !onButton) { event.preventDefault(); state.playing ? pause() : play(); }
  else if (number >= 1 && number <= ways.length) choose(number - 1);
  else if (event.key === "ArrowLeft") seek(here() - 2);
  else if (event.key === "ArrowRight") seek(here() + 2);
  else if (event.key === "e") lastFourBars();
  else if (event.key === "l") toggleLoop();
}

for (const [i, way] of ways.entries()) {
  draw(way, i);
  byId(`choose-${i}`).addEventListener("click", () => choose(i));
}
byId("play").addEventListener("click", () => (state.playing ? pause() : play()));
byId("entry").addEventListener("click", lastFourBars);
byId("start").addEventListener("click", () => seek(0));
byId("loop").addEventListener("click", toggleLoop);
for (const bus of ["click", "cue"]) {
  byId(bus).addEventListener("input", () => {
    if (faders) faders[bus].gain.setTargetAtTime(Number(byId(bus).value) / 100, audio.currentTime, 0.02);
  });
}
document.addEventListener("keydown", keyPressed);
show();
window.segue = { state, here, choose, play, pause, seek, toggleLoop };
