// The picture of a candidate, drawn at the width it has, so that text is never scaled.
const SVG = "http://www.w3.org/2000/svg";
const LETTER = 6.6, BOLD_LETTER = 9.5; // widths allowed for a letter: 12 px, and bold 13 px
// Top and height of every lane, in CSS pixels; captions stand in the 16 px above a curve.
const LANES = {
  numbers: [0, 16], band: [18, 22], flags: [42, 34], wave: [80, 84], chords: [166, 34],
  key: [220, 56], tempo: [296, 44], level: [360, 44], weak: [406, 20],
};
const TOP = LANES.band[0], BOTTOM = run.is_blind ? 58 : 404;
const LEVEL_LUFS = [-45, -5];
const SECTIONS = [
  ["outgoing", ["end of A, the old song", "end of A", "A"]],
  ["interlude", ["interlude", "inter.", ""]],
  ["incoming", ["start of B, the new song", "start of B", "B"]],
];
const PEAK = Math.max(1, ...ways.flatMap((way) => (way.outline || []).map(Math.abs)));
const widthOf = (words) => words.length * LETTER;

function el(parent, name, attributes = {}, text = "") {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text) node.textContent = text;
  parent.appendChild(node);
  return node;
}

function rule(svg, look, x, top = TOP, bottom = BOTTOM) {
  return el(svg, "line", { class: look, x1: x, x2: x, y1: top, y2: bottom });
}

function draw(way, index) {
  const svg = byId(`lanes-${index}`), width = svg.clientWidth;
  if (!width || width === way.width) return;
  way.width = width;
  svg.replaceChildren();
  svg.setAttribute("viewBox", `0 0 ${width} ${svg.clientHeight}`);
  const x = (t) => (width * t) / way.duration_s;
  if (!run.is_blind) drawGrounds(svg, width);
  drawBars(svg, way, x);
  if (!run.is_blind) drawFindings(svg, way, x);
  el(svg, "rect", { class: "span", id: `loop-${index}`, y: TOP, height: BOTTOM - TOP, width: 0 });
  rule(svg, "place", 0).id = `place-${index}`;
}

function drawGrounds(svg, width) {
  for (const lane of [LANES.key, LANES.tempo, LANES.level]) {
    el(svg, "rect", { class: "lane", x: 0, y: lane[0], width, height: lane[1] });
  }
}

// What tells the candidates apart, and is hidden from blind listeners.
function drawFindings(svg, way, x) {
  drawSections(svg, way, x);
  drawWave(svg, way, x);
  drawCurves(svg, way, x);
  drawFlags(svg, way, x);
  drawWeak(svg, way, x);
  drawChords(svg, way, x);
  drawCaptions(svg, way);
}

function drawBars(svg, way, x) {
  const room = x(way.duration_s) / Math.max(way.bars.length, 1);
  const step = [1, 2, 4, 8, 16].find((n) => n * room >= 28) || 32;
  for (const { number, time_s } of way.bars) {
    const named = (number - 1) % step === 0;
    rule(svg, named ? "bar named" : "bar", x(time_s), named ? 12 : TOP);
    if (named) el(svg, "text", { x: x(time_s) + 2, y: 11 }, String(number));
  }
}

function sectionsOf(way) {
  const bounds = [0, way.exit_s, way.entry_s, way.duration_s];
  return SECTIONS.map(([name, words], i) => ({ name, words, from: bounds[i], to: bounds[i + 1] }));
}

function drawSections(svg, way, x) {
  const [top, height] = LANES.band;
  for (const { name, words, from, to } of sectionsOf(way)) {
    const width = x(to) - x(from);
    if (width <= 0) continue;
    el(svg, "rect", { class: `band ${name}`, x: x(from), y: top, width, height });
    const text = words.find((w) => widthOf(w) + 8 <= width) || "";
    if (text) el(svg, "text", { class: "on-band", x: x(from) + 5, y: top + 15.5 }, text);
  }
}

function drawWave(svg, way, x) {
  const [top, height] = LANES.wave, middle = top + height / 2;
  const n = way.outline.length / 2, column = way.duration_s / n;
  const at = (i, side) => `${x(i * column).toFixed(1)},${(middle - (way.outline[2 * i + side] * height) / (2 * PEAK)).toFixed(1)}`;
  for (const { name, from, to } of sectionsOf(way)) {
    const up = [], down = [];
    for (let i = Math.floor(from / column); i < Math.min(Math.ceil(to / column), n); i += 1) {
      up.push(at(i, 1));
      down.push(at(i, 0));
    }
    if (up.length) el(svg, "polygon", { class: `wave ${name}`, points: [...up, ...down.reverse()].join(" ") });
  }
}

// Words beside x: in the first row where they hit nothing, on the right of it or else the left.
function beside(rows, at, words, width, letter = LETTER) {
  const need = words.length * letter + 8;
  for (const [row, taken] of rows.entries()) {
    for (const [left, anchor, x] of [[at, "start", at + 4], [at - need, "end", at - 4]]) {
      const free = left >= 0 && left + need <= width && taken.every(([a, b]) => left >= b || left + need <= a);
      if (free) { taken.push([left, left + need]); return { row, x, "text-anchor": anchor }; }
    }
  }
  return null;
}

function drawChords(svg, way, x) {
  const rows = [[], []], [top] = LANES.chords;
  for (const { start_s, symbol } of way.chords) {
    const spot = beside(rows, x(start_s), symbol, way.width, BOLD_LETTER);
    rule(svg, "chord-tick", x(start_s), top, top + (spot && spot.row ? 32 : 16));
    if (spot) el(svg, "text", { class: "chord", ...spot, y: top + 13 + 16 * spot.row }, symbol);
  }
}

function drawFlags(svg, way, x) {
  const flags = [["stops", way.old_stops_s, "A stops"], ["entry", way.entry_s, "B's bar one"]];
  if (way.singer_s !== null) flags.push(["singer", way.singer_s, "first note"]);
  const rows = [[], []], [top] = LANES.flags;
  for (const [look, time_s, words] of flags) {
    const spot = beside(rows, x(time_s), words, way.width) || { row: 1, x: 0 };
    rule(svg, `flag ${look}`, x(time_s), top, BOTTOM);
    el(svg, "text", { class: `flag-name ${look}`, ...spot, y: top + 12 + 16 * spot.row }, words);
  }
}

function curve(svg, points, x, y, look) {
  if (!points.length) return;
  el(svg, "polyline", { class: `line ${look}`, points: points.map(([t, v]) => `${x(t).toFixed(1)},${y(v).toFixed(1)}`).join(" ") });
}

const scale = ([top, height], low, high) => (value) =>
  top + 2 + (height - 4) * (1 - Math.min(Math.max((value - low) / (high - low || 1), 0), 1));

function drawCurves(svg, way, x) {
  const near = scale(LANES.key, 0, 1), level = scale(LANES.level, ...LEVEL_LUFS);
  curve(svg, way.key_from, x, (v) => near(1 - v), "from");
  curve(svg, way.key_to, x, (v) => near(1 - v), "to");
  const bpm = way.tempo.map((point) => point[1]);
  const tempo = scale(LANES.tempo, Math.min(...bpm) * 0.95, Math.max(...bpm) * 1.05);
  curve(svg, way.tempo, x, tempo, "ink");
  for (const [t, v] of way.tempo_heard) el(svg, "circle", { class: "heard", cx: x(t).toFixed(1), cy: tempo(v).toFixed(1), r: 2 });
  curve(svg, way.loudness, x, level, "ink");
}

// Drawn last, so that no line runs through the words.
function drawCaptions(svg, way) {
  const [first, last] = [way.tempo[0], way.tempo.at(-1)].map((point) => point[1].toFixed(0));
  caption(svg, LANES.key, [["", "Near to"], ["from", way.keys[0]], ["to", way.keys[1]]]);
  caption(svg, LANES.tempo, [["", first === last ? `Tempo, ${first} BPM` : `Tempo, from ${first} to ${last} BPM`]]);
  caption(svg, LANES.level, [["", `Loudness, ${LEVEL_LUFS.join(" to ").replaceAll("-", "\u2212")} LUFS`]]);
}

function caption(svg, [top], parts) {
  let x = 0;
  for (const [look, words] of parts) {
    if (look) {
      el(svg, "line", { class: `line ${look}`, x1: x, x2: x + 26, y1: top - 8, y2: top - 8 });
      x += 30;
    }
    el(svg, "text", { class: "caption", x, y: top - 4 }, words);
    x += widthOf(words) + 10;
  }
}

function drawWeak(svg, way, x) {
  const [top, height] = LANES.weak, need = 25;
  let free = 0;
  const last = way.weak.length - 1;
  for (const [i, { time_s, number }] of way.weak.entries()) {
    const left = Math.min(Math.max(x(time_s) - 5, free), way.width - need * (last - i + 1));
    free = left + need;
    rule(svg, "weak-tick", x(time_s), LANES.wave[0], BOTTOM);
    el(svg, "line", { class: "weak-tick", x1: x(time_s), x2: left + 5, y1: BOTTOM, y2: top + 5 });
    el(svg, "text", { class: "weak-name", x: left, y: top + height - 4 }, `▲${number}`);
  }
}

function showPlace(index, seconds) {
  const way = ways[index], line = byId(`place-${index}`);
  if (!line) return;
  line.setAttribute("visibility", seconds === null ? "hidden" : "visible");
  if (seconds !== null) line.setAttribute("transform", `translate(${((way.width * seconds) / way.duration_s).toFixed(2)})`);
}

function showSpan(index, span) {
  const way = ways[index], box = byId(`loop-${index}`);
  if (!box) return;
  const [from, to] = span || [0, 0];
  box.setAttribute("x", (way.width * from) / way.duration_s);
  box.setAttribute("width", (way.width * (to - from)) / way.duration_s);
}
