// The two ends: their pictures, hearing from any bar, the two markers, and what is put right.
import { byId, colour, html, post, replacePart, tell, trying } from "./desk_net.js";
import { chord, place, play, playing, stop, watch } from "./desk_sound.js";

const ends = {}; // by edge: what the server told, and where cursor and marker are
const kept = {}; // by edge and song: the marker that was set
export const names = { old: "", new: "" };
const PHRASE_PX = 26; // nearer than this to a phrase start, a dragged marker snaps to it

const clock = (s) => `${Math.floor(Math.max(s, 0) / 60)}:${(Math.max(s, 0) % 60).toFixed(1).padStart(4, "0")}`;

function placesOf(end) {
  if (end.lines.length) return end.lines;
  const n = Math.max(Math.floor(end.to_s - end.from_s), 1); // without beats: a second each
  return Array.from({ length: n }, (_, i) => ({ s: end.from_s + i, name: "", place: `${(end.from_s + i).toFixed(2)}s`, phrase: false, lufs: null }));
}

const nearest = (lines, s) => lines.reduce((best, line, i) => (Math.abs(line.s - s) < Math.abs(lines[best].s - s) ? i : best), 0);

function wordsOf(end, line) {
  const bar = line.name ? `bar ${line.name}` : "";
  const phrase = line.phrase ? ", a phrase starts" : "";
  return `${[bar, clock(line.s)].filter(Boolean).join(", at ")}${phrase}`;
}

function openEnd(article) {
  const block = article.querySelector("script.values");
  if (!block) return;
  const end = JSON.parse(block.textContent);
  end.article = article;
  end.song = article.dataset.song;
  end.strip = article.querySelector(".strip");
  end.places = placesOf(end);
  end.peaks = new Int8Array(Uint8Array.from(atob(end.outline), (c) => c.charCodeAt(0)).buffer);
  const before = ends[end.edge];
  end.cursor = before && before.song === end.song ? before.cursor : end.edge === "end" ? Math.max(end.usual_s - 8, end.from_s) : end.from_s;
  end.cursor = end.places[nearest(end.places, end.cursor)].s;
  const set = kept[`${end.edge} ${end.song}`];
  end.isSet = set !== undefined;
  end.mark = end.isSet ? end.places[nearest(end.places, set)].s : end.usual_s;
  ends[end.edge] = end;
  draw(end);
  showPlaces(end);
}

const x = (end, s) => (s - end.from_s) / Math.max(end.to_s - end.from_s, 1e-6);

export function draw(end) {
  const canvas = end.strip.querySelector("canvas"), box = end.strip.getBoundingClientRect();
  if (!box.width) return;
  const ratio = window.devicePixelRatio || 1, width = Math.round(box.width * ratio), height = Math.round(box.height * ratio);
  canvas.width = width;
  canvas.height = height;
  const pen = canvas.getContext("2d"), foot = 26 * ratio, body = height - foot;
  const mine = end.edge === "end" ? "--out" : "--in";
  pen.fillStyle = colour("--lane");
  pen.fillRect(0, 0, width, body);
  // phrases, as bands that take turns
  let turn = 0;
  end.places.forEach((line, i) => {
    if (line.phrase) turn += 1;
    if (turn % 2 === 0) return;
    const from = x(end, line.s) * width, to = (i + 1 < end.places.length ? x(end, end.places[i + 1].s) : 1) * width;
    pen.fillStyle = colour(`${mine}-band`);
    pen.fillRect(from, 0, to - from + 1, body);
  });
  // how loud each bar is, as steps in a lane of their own below the sound
  const lane = 18 * ratio, wave = body - lane;
  pen.fillStyle = colour("--edge");
  end.places.forEach((line, i) => {
    if (line.lufs === null) return;
    const level = Math.min(Math.max((line.lufs + 36) / 28, 0.05), 1);
    const from = x(end, line.s) * width, to = (i + 1 < end.places.length ? x(end, end.places[i + 1].s) : 1) * width;
    pen.fillRect(from, body - level * (lane - 3 * ratio), Math.max(to - from - ratio, 1), level * (lane - 3 * ratio));
  });
  // the sound
  const n = end.peaks.length / 2, keep = end.edge === "end" ? (s) => s < end.mark : (s) => s >= end.mark;
  let top = 1;
  for (const value of end.peaks) top = Math.max(top, Math.abs(value));
  for (let px = 0; px < width; px += 1) {
    const from = Math.floor(px / width * n), to = Math.max(Math.floor((px + 1) / width * n), from + 1);
    let low = 0, high = 0;
    for (let i = from; i < to && i < n; i += 1) {
      low = Math.min(low, end.peaks[2 * i]);
      high = Math.max(high, end.peaks[2 * i + 1]);
    }
    const s = end.from_s + px / width * (end.to_s - end.from_s);
    pen.fillStyle = colour(keep(s) ? mine : "--named");
    const y0 = wave / 2 - high / top * wave * 0.47, y1 = wave / 2 - low / top * wave * 0.47;
    pen.fillRect(px, y0, 1, Math.max(y1 - y0, ratio));
  }
  // bar lines and their numbers
  pen.font = `${12 * ratio}px system-ui, sans-serif`;
  pen.textBaseline = "top";
  let free = -1;
  end.places.forEach((line) => {
    const at = x(end, line.s) * width;
    pen.fillStyle = colour(line.phrase ? "--soft" : "--rule");
    pen.fillRect(at, line.phrase ? 0 : wave - 8 * ratio, ratio, line.phrase ? body : 8 * ratio);
    const words = line.name;
    if (!words || at < free || (!line.phrase && end.lines.some((l) => l.phrase) && end.lines.length > 8)) return;
    const wide = pen.measureText(words).width;
    if (at + wide > width) return;
    pen.fillStyle = colour("--soft");
    pen.fillText(words, at, body + 4 * ratio);
    free = at + wide + 8 * ratio;
  });
}

function showSlider(node, end, s, words) {
  node.style.left = `${x(end, s) * 100}%`;
  const index = nearest(end.places, s);
  node.setAttribute("aria-valuemax", String(end.places.length - 1));
  node.setAttribute("aria-valuenow", String(index));
  node.setAttribute("aria-valuetext", words);
}

function markWords(end) {
  const line = end.places[nearest(end.places, end.mark)];
  const isOn = Math.abs(line.s - end.mark) < 0.05;
  return isOn ? wordsOf(end, line) : clock(end.mark);
}

function showPlaces(end) {
  const cursor = end.strip.querySelector(".cursor"), marker = end.strip.querySelector(".marker");
  showSlider(cursor, end, end.cursor, wordsOf(end, end.places[nearest(end.places, end.cursor)]));
  showSlider(marker, end, end.mark, markWords(end));
  const verb = end.edge === "end" ? "Leaves" : "Enters", usual = end.article.querySelector('[data-do="usual"]');
  if (!end.isSet && usual === document.activeElement) marker.focus(); // what is pressed goes away
  usual.hidden = !end.isSet;
  byId(`place-${end.edge}`).textContent = `${verb} at ${markWords(end)}${end.isSet ? "" : " (as Segue would)"}`;
}

function setMark(end, s, isSet = true) {
  end.mark = s;
  end.isSet = isSet;
  if (isSet) kept[`${end.edge} ${end.song}`] = s;
  else delete kept[`${end.edge} ${end.song}`];
  draw(end);
  showPlaces(end);
}

function setCursor(end, s) {
  end.cursor = s;
  showPlaces(end);
}

const isClicking = (end) => end.article.querySelector('[data-do="click"]').getAttribute("aria-pressed") === "true";

function hear(end, s, beats = null, downs = []) {
  const clicks = beats || (isClicking(end) ? end.beats : null);
  play(`sound/${end.sound}`, s - end.from_s, {
    id: `end ${end.edge}`,
    clicks: clicks && clicks.map((t) => t - end.from_s),
    downs: clicks && new Set((beats ? downs : end.downbeats).map((t) => t - end.from_s)),
    label: end.title,
  });
}

// Beats at a tempo that runs through the first heard beat.
function beatsAt(end, bpm) {
  const anchor = end.downbeats[0] ?? end.beats[0] ?? end.from_s, beats = [];
  const step = 60 / bpm, first = Math.ceil((end.from_s - anchor) / step);
  for (let i = first; anchor + i * step < end.to_s; i += 1) beats.push(anchor + i * step);
  return beats;
}

// The heard beats, counted from another one or in other bars.
function onesOf(end, one, metre) {
  const first = end.beats.reduce((best, t, i) => (Math.abs(t - one) < Math.abs(end.beats[best] - one) ? i : best), 0);
  return end.beats.filter((_, i) => (i - first) % metre === 0);
}

async function say(end, field, value) {
  const done = await trying(() => post("say", { song: end.song, edge: end.edge, field, value }));
  if (done) tell(value === null ? "Taken back. Listening again." : "Kept. Listening again with what you said.");
}

function nudge(end, way, by) {
  const lines = end.downbeats.length ? end.downbeats : end.beats;
  if (!lines.length) { tell("No beats were heard: give the tempo first."); return; }
  const middle = end.mark, near = lines.reduce((a, b) => (Math.abs(b - middle) < Math.abs(a - middle) ? b : a));
  const to = near + way * (by === "beat" ? 60 / end.tempo_bpm : Number(by) / 1000);
  say(end, "first_downbeat_s", Math.max(Math.round(to * 10000) / 10000, 0));
}

const taps = [];
function tap(end) {
  const t = performance.now() / 1000;
  if (taps.length && t - taps[taps.length - 1] > 2.5) taps.length = 0;
  taps.push(t);
  const field = end.article.querySelector('[data-say="tempo_bpm"]');
  if (taps.length < 4) { tell(`Go on tapping: ${taps.length}`); return; }
  const n = taps.length, mean = (n - 1) / 2; // least squares: a late tap moves it least
  const middle = taps.reduce((a, b) => a + b) / n;
  const step = taps.reduce((a, v, i) => a + (i - mean) * (v - middle), 0) / taps.reduce((a, _, i) => a + (i - mean) ** 2, 0);
  field.value = (60 / step).toFixed(1);
  clearTimeout(tap.later);
  tap.later = setTimeout(() => { taps.length = 0; say(end, "tempo_bpm", Number(field.value)); }, 1800);
  tell(`${field.value} BPM`);
}

function keyOnSlider(end, event, isMarker) {
  const index = nearest(end.places, isMarker ? end.mark : end.cursor), { length } = end.places;
  const phrases = end.places.map((line, i) => (line.phrase ? i : -1)).filter((i) => i >= 0);
  const steps = {
    ArrowLeft: index - 1, ArrowDown: index - 1, ArrowRight: index + 1, ArrowUp: index + 1,
    PageDown: phrases.findLast((i) => i < index) ?? Math.max(index - 4, 0),
    PageUp: phrases.find((i) => i > index) ?? index + 4, Home: 0, End: length - 1,
  };
  if (event.key === "Enter" || event.key === " ") {
    event.preventDefault();
    if (playing()?.id === `end ${end.edge}`) stop(); else hear(end, isMarker ? end.mark : end.cursor);
    return;
  }
  if (!(event.key in steps)) return;
  event.preventDefault();
  const to = end.places[Math.min(Math.max(steps[event.key], 0), length - 1)].s;
  if (isMarker) setMark(end, to); else setCursor(end, to);
}

function listenToEnd(article) {
  const end = () => ends[article.dataset.edge];
  const strip = article.querySelector(".strip");
  if (!strip) return;
  const marker = strip.querySelector(".marker"), canvas = strip.querySelector("canvas");
  const secondsAt = (event) => {
    const box = strip.getBoundingClientRect();
    const share = Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1);
    return end().from_s + share * (end().to_s - end().from_s);
  };
  canvas.addEventListener("click", (event) => {
    const s = secondsAt(event), bar = end().places.findLast((line) => line.s <= s + 1e-3) ?? end().places[0];
    setCursor(end(), bar.s);
    hear(end(), bar.s);
  });
  let held = false;
  marker.addEventListener("pointerdown", (event) => { held = true; marker.setPointerCapture(event.pointerId); });
  marker.addEventListener("pointermove", (event) => {
    if (!held) return;
    const s = secondsAt(event), box = strip.getBoundingClientRect(), e = end();
    const phrases = e.places.filter((line) => line.phrase && Math.abs(x(e, line.s) - x(e, s)) * box.width < PHRASE_PX);
    const lines = phrases.length ? phrases : e.places;
    const to = lines[nearest(lines, s)].s;
    if (to !== e.mark) setMark(e, to);
  });
  for (const kind of ["pointerup", "pointercancel"]) marker.addEventListener(kind, () => { held = false; });
  marker.addEventListener("keydown", (event) => keyOnSlider(end(), event, true));
  strip.querySelector(".cursor").addEventListener("keydown", (event) => keyOnSlider(end(), event, false));
  article.addEventListener("click", (event) => pressed(end(), event.target.closest("button")));
  article.addEventListener("change", (event) => {
    const { say: field } = event.target.dataset;
    if (!field) return;
    const isNumber = field === "tempo_bpm" || field === "metre";
    const value = isNumber ? Number(event.target.value) : event.target.value || null;
    if (field === "first_note" && value) chord([noteOf(value)]);
    say(end(), field, value);
  });
}

function noteOf(name) {
  const [, letter, sign, octave] = /^([A-G])(#|b)?(-?\d)$/.exec(name) || [];
  if (!letter) return 60;
  return { C: 0, D: 2, E: 4, F: 5, G: 7, A: 9, B: 11 }[letter] + (sign === "#" ? 1 : sign === "b" ? -1 : 0) + 12 * (Number(octave) + 1);
}

function pressed(end, button) {
  if (!button || !end) return;
  const { do: what, field, value, nudge: by, way, chord: notes, bpm, one, metre, hearFrom } = button.dataset;
  if (field) say(end, field, JSON.parse(value));
  else if (by) nudge(end, Number(way), by);
  else if (notes) chord(notes.split(",").map(Number));
  else if (bpm) hear(end, end.cursor, beatsAt(end, Number(bpm)));
  else if (metre) hear(end, Math.max(Number(one) - 2 * metre * 60 / end.tempo_bpm, end.from_s), end.beats, onesOf(end, Number(one), Number(metre)));
  else if (hearFrom) hear(end, Number(hearFrom));
  else if (what === "hear") {
    const bars = 4 * end.metre * 60 / end.tempo_bpm;
    hear(end, end.edge === "end" ? Math.max(end.mark - bars, end.from_s) : end.mark);
  } else if (what === "usual") setMark(end, end.usual_s, false);
  else if (what === "tap") tap(end);
  else if (what === "half" || what === "double") {
    say(end, "tempo_bpm", Math.round(end.tempo_bpm * (what === "half" ? 0.5 : 2) * 1000) / 1000);
  } else if (what === "click") {
    const on = button.getAttribute("aria-pressed") !== "true";
    button.setAttribute("aria-pressed", String(on));
    if (on || playing()?.id === `end ${end.edge}`) hear(end, playing()?.id === `end ${end.edge}` ? place() + end.from_s : end.cursor);
  } else if (what === "forget") {
    const given = [...end.article.querySelectorAll("[data-given]")].map((node) => node.dataset.given);
    trying(async () => {
      for (const name of given) await post("say", { song: end.song, edge: end.edge, field: name, value: null });
      tell("Taken back. Listening again.");
    });
  }
}

export function openEnds(before = {}) {
  delete ends.end;
  delete ends.start;
  for (const article of document.querySelectorAll("#ends .end")) {
    const { edge } = article.dataset;
    listenToEnd(article);
    if (before[edge]) ends[edge] = before[edge];
    openEnd(article);
    if (!article.querySelector("script.values")) delete ends[edge];
  }
  byId("crossing").classList.toggle("empty", !document.querySelector("#ends .end"));
}

export async function refreshEnds() {
  const before = { ...ends }, clicking = Object.keys(ends).filter((edge) => ends[edge] && isClicking(ends[edge]));
  const text = await trying(() => html("ends", names));
  if (text === null) return true;
  const isBusy = text.includes('aria-busy="true"'), shown = [...document.querySelectorAll("#ends .end")];
  const isSame = shown.every((article) => article.dataset.song === (article.dataset.edge === "end" ? names.old : names.new))
    && shown.length === Boolean(names.old) + Boolean(names.new);
  if (isBusy && isSame && shown.length) return true; // what is heard again stays as it was meanwhile
  replacePart(byId("ends"), text);
  openEnds(before);
  for (const edge of clicking) document.querySelector(`#ends [data-edge="${edge}"] [data-do="click"]`)?.setAttribute("aria-pressed", "true");
  return isBusy;
}

// What the bridge is to be made from; null where Segue decides.
export function marks() {
  const told = (end) => (end?.isSet ? end.places[nearest(end.places, end.mark)].place : null);
  return { leave: told(ends.end), enter: told(ends.start) };
}

watch((now, t) => {
  for (const end of Object.values(ends)) {
    if (!end || now?.id !== `end ${end.edge}`) continue;
    const s = end.from_s + t, line = end.places.findLast((l) => l.s <= s + 1e-3);
    end.strip.querySelector(".cursor").style.left = `${Math.min(x(end, s), 1) * 100}%`;
    byId("playing").textContent = `${end.title}${line?.name ? ` · bar ${line.name}` : ""} · ${clock(s)}`;
  }
  if (!now) for (const end of Object.values(ends)) if (end) showPlaces(end);
});

new ResizeObserver(() => { for (const end of Object.values(ends)) if (end) draw(end); }).observe(document.body);
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
  for (const end of Object.values(ends)) if (end) draw(end);
});
