// The pictures of an option, drawn at the width they have, so that text is never scaled: a small one
// of its sound with the bridge marked, and a tall one with everything that was measured.
const SVG = "http://www.w3.org/2000/svg";
const LETTER = 6.6, BOLD_LETTER = 9.5; // widths allowed for a letter: 12 px, and bold 13 px
// Top and height of every lane, in CSS pixels; captions stand in the 16 px above a curve.
const LANES = {
  numbers: [0, 16], band: [18, 22], flags: [42, 34], wave: [80, 84], chords: [166, 34],
  key: [220, 56], tempo: [296, 44], level: [360, 44], weak: [406, 20],
};
const TOP = LANES.band[0], BOTTOM = 404;
const MINI = { top: 0, height: 34, foot: 44, weak: 5 }; // its wave, its words below, its hatched bars
const LEVEL_LUFS = [-45, -5];
const SECTIONS = [
  ["outgoing", ["old song", "old", ""]],
  ["interlude", ["bridge", ""]],
  ["incoming", ["new song", "new", ""]],
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
  drawMini(way, index);
  const svg = byId(`lanes-${index}`), width = svg ? svg.clientWidth : 0;
  if (!width || width === way.width) return;
  way.width = width;
  cleared(svg, width);
  const x = (t) => (width * t) / way.duration_s;
  drawGrounds(svg, width);
  drawBars(svg, way, x);
  drawFindings(svg, way, x);
  el(svg, "rect", { class: "span", id: `lanes-loop-${index}`, y: TOP, height: BOTTOM - TOP, width: 0 });
  rule(svg, "place", 0).id = `lanes-place-${index}`;
}

function cleared(svg, width) {
  svg.replaceChildren();
  svg.setAttribute("viewBox", `0 0 ${width} ${svg.clientHeight}`);
  const pattern = el(el(svg, "defs"), "pattern", { id: `${svg.id}-hatch`, width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  el(pattern, "line", { class: "hatch-line", x1: 0, x2: 0, y1: 0, y2: 5 });
}

// Where a phone looks first: the sound, the bridge as a block, the numbers of its first bar and of
// the new song's. A blind page has the bars alone: the length of the bridge gives an option away,
// and the plain cut most of all.
function drawMini(way, index) {
  const svg = byId(`mini-${index}`), width = svg.clientWidth, { top, height, foot, weak } = MINI;
  if (!width || width === way.miniWidth) return;
  way.miniWidth = width;
  cleared(svg, width);
  const x = (t) => (width * t) / way.duration_s;
  el(svg, "rect", { class: "lane", x: 0, y: top, width, height });
  if (!run.is_blind) el(svg, "rect", { class: "band interlude", x: x(way.exit_s), y: top, width: Math.max(x(way.entry_s) - x(way.exit_s), 2), height });
  if (run.is_blind) for (const { time_s } of way.bars) rule(svg, "bar", x(time_s), top, height);
  else drawWave(svg, way, x, top, height);
  for (const { from_s, to_s } of way.weak || []) el(svg, "rect", { class: "hatched", x: x(from_s), y: height - weak, width: Math.max(x(to_s) - x(from_s), 4), height: weak, fill: `url(#${svg.id}-hatch)` });
  const words = { outgoing: "old song", interlude: "bridge", incoming: "new song" };
  const rows = [[]];
  for (const { name, from, to } of run.is_blind ? [] : sectionsOf(way)) {
    const bar = way.bars.find((line) => line.time_s >= from - 1e-3);
    const said = name === "outgoing" || !bar ? words[name] : `${bar.number} ${words[name]}`;
    const at = x(from), need = widthOf(said) + 6, free = rows[0].every(([, end]) => at >= end);
    if (to <= from || !free || at + need > width + 6) continue;
    rows[0].push([at, at + need]);
    el(svg, "text", { x: at + 1, y: foot }, said);
  }
  el(svg, "rect", { class: "span", id: `mini-loop-${index}`, y: top, height, width: 0 });
  rule(svg, "place", 0, top, height).id = `mini-place-${index}`;
}

function drawGrounds(svg, width) {
  for (const lane of [LANES.key, LANES.tempo, LANES.level]) {
    el(svg, "rect", { class: "lane", x: 0, y: lane[0], width, height: lane[1] });
  }
}

// What tells the options apart; a page that hides names has none of it.
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

function drawWave(svg, way, x, top = LANES.wave[0], height = LANES.wave[1]) {
  const middle = top + height / 2;
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
  const flags = [["entry", way.entry_s, "new song"]];
  if (way.singer_s !== null) flags.push(["singer", way.singer_s, "first note"]);
  flags.push(["stops", way.old_stops_s, "old song stops"]);
  const rows = [[], []], [top] = LANES.flags;
  for (const [look, time_s, words] of flags) {
    const spot = beside(rows, x(time_s), words, way.width);
    rule(svg, `flag ${look}`, x(time_s), top, BOTTOM);
    if (spot) el(svg, "text", { class: `flag-name ${look}`, ...spot, y: top + 12 + 16 * spot.row }, words);
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
  const [top, height] = LANES.key, side = { class: "caption", x: way.width - 2, "text-anchor": "end" };
  el(svg, "text", { ...side, y: top + 11 }, "near");
  el(svg, "text", { ...side, y: top + height - 3 }, "far");
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

// A weak place is a hatched bar; its sentence stands in the list below.
function drawWeak(svg, way, x) {
  const [top, height] = LANES.weak;
  for (const { from_s, to_s } of way.weak) {
    const width = Math.max(x(to_s) - x(from_s), 6);
    el(svg, "rect", { class: "hatched", x: x(from_s), y: top, width, height: height - 6, fill: `url(#${svg.id}-hatch)` });
  }
}

function showPlace(index, seconds) {
  const way = ways[index];
  for (const [line, width] of [[byId(`lanes-place-${index}`), way.width], [byId(`mini-place-${index}`), way.miniWidth]]) {
    if (!line) continue;
    line.setAttribute("visibility", seconds === null ? "hidden" : "visible");
    if (seconds !== null) line.setAttribute("transform", `translate(${((width * seconds) / way.duration_s).toFixed(2)})`);
  }
}

function showSpan(index, span) {
  const way = ways[index], [from, to] = span || [0, 0];
  for (const [box, width] of [[byId(`lanes-loop-${index}`), way.width], [byId(`mini-loop-${index}`), way.miniWidth]]) {
    if (!box) continue;
    box.setAttribute("x", (width * from) / way.duration_s);
    box.setAttribute("width", (width * (to - from)) / way.duration_s);
  }
}
