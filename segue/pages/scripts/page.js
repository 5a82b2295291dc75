// Controls: buttons, keys, pointer, and what the screen says.

const linesOf = (way) => [...way.bars.map((bar) => bar.time_s), way.duration_s];
const nearest = (lines, t) => lines.reduce((a, b) => (Math.abs(b - t) < Math.abs(a - t) ? b : a));

function sameSpan(span, a, b) {
  const lines = linesOf(b);
  const from = nearest(lines.slice(0, -1), samePlace(span[0], a, b));
  return [from, nearest(lines.filter((t) => t > from), samePlace(span[1], a, b))];
}

// The bars that a stretch touches, whole.
function barsAround(way, t0, t1) {
  const lines = linesOf(way), last = lines.length - 1;
  const before = lines.findLastIndex((t) => t <= Math.min(t0, t1) + 1e-3);
  const from = Math.min(Math.max(before, 0), last - 1);
  const to = lines.findIndex((t, i) => i > from && t >= Math.max(t0, t1) - 1e-3);
  return [lines[from], lines[to < 0 ? last : to]];
}

function barAt(way, t) {
  return way.bars.findLast((bar) => bar.time_s <= t + 1e-3);
}

function say(words) { byId("status").textContent = words; }

function failed(index) {
  say(`The sound of ${index + 1} cannot be played here: play its WAV file, which lies beside this page.`);
}

async function choose(index) {
  wanted = index;
  const waiting = ready(index);
  if (state.playing && !ways[index].sounds) {
    say(`Unpacking ${index + 1}.`);
    try { await waiting; } catch { failed(index); return; }
    if (wanted !== index) return;
  } else waiting.catch(() => failed(index));
  const a = ways[state.now], b = ways[index];
  jump(index, (t) => samePlace(t, a, b), index === state.now || !state.loop ? state.loop : sameSpan(state.loop, a, b));
  say(nameOf(index));
  show();
}

// To a time of an option; a loop that does not hold it is let go.
async function goTo(index, seconds) {
  if (index !== state.now) await choose(index);
  if (index !== state.now) return;
  const held = state.loop && seconds >= state.loop[0] && seconds < state.loop[1];
  if (state.loop && !held) say("Loop off");
  jump(index, () => seconds, held ? state.loop : null);
  show();
}

async function loopOver(index, span) {
  if (index !== state.now) await choose(index);
  if (index !== state.now) return;
  jump(index, (t) => (t >= span[0] && t < span[1] ? t : span[0]), span);
  const [first, last] = [barAt(ways[index], span[0]), barAt(ways[index], span[1] - 0.01)];
  say(first === last ? `Loop over bar ${first.number}` : `Loop over bars ${first.number} to ${last.number}`);
  show();
}

function toggleLoop() {
  if (state.loop) {
    jump(state.now, (t) => t);
    say("Loop off");
    show();
    return;
  }
  const way = ways[state.now], lines = linesOf(way);
  if (lines.length < 2) return;
  const first = lines.indexOf(barsAround(way, here(), here())[0]);
  const last = Math.min(first + Number(byId("loop-bars").value), lines.length - 1);
  loopOver(state.now, [lines[first], lines[last]]);
}

function stretchLoop(step) {
  const lines = linesOf(ways[state.now]);
  const from = lines.indexOf(nearest(lines, state.loop[0])), to = lines.indexOf(nearest(lines, state.loop[1]));
  const end = Math.min(Math.max(to + step, from + 1), lines.length - 1);
  if (end !== to) loopOver(state.now, [lines[from], lines[end]]);
}

function stepBar(step) {
  const lines = linesOf(ways[state.now]), t = here();
  const back = t - (state.playing ? 0.5 : 0.01); // just after a line, 'back' means the bar before
  const to = step > 0 ? lines.find((line) => line > t + 0.01) : lines.findLast((line) => line < back);
  goTo(state.now, to ?? (step > 0 ? t : 0));
}

function lastFourBars() {
  const way = ways[state.now];
  const before = way.bars.filter((bar) => bar.time_s < way.entry_s - 0.01);
  goTo(state.now, before.length ? before[Math.max(before.length - 4, 0)].time_s : 0);
}

// Play beside an option: this one, from the same spot; once more pauses.
async function hear(index) {
  if (state.playing && index === state.now) { togglePlay(); return; }
  await choose(index);
  if (index === state.now && !state.playing) togglePlay();
}

async function hearFrom(index, seconds) {
  await goTo(index, seconds);
  if (index === state.now && !state.playing) togglePlay();
}

async function togglePlay() {
  if (state.playing) pause();
  else {
    if (!ways[state.now].sounds) say("Unpacking the sound.");
    try { await play(); } catch { failed(state.now); return; }
    say("");
    requestAnimationFrame(tick);
  }
  show();
}

// ---- screen ----------------------------------------------------------------------------
function write(id, words) {
  if (byId(id).textContent !== words) byId(id).textContent = words;
}

function nowWords(way, t) {
  const bar = barAt(way, t), chord = (way.chords || []).find((c) => t >= c.start_s && t < c.end_s);
  const bpm = way.tempo && (way.tempo.findLast((point) => point[0] <= t) || way.tempo[0]);
  const section = run.is_blind ? {} : { outgoing: "old song", interlude: "bridge", incoming: "new song" };
  return [
    bar ? `bar ${bar.number}` : "start", bar ? section[bar.section] : section.outgoing,
    chord ? chord.symbol : "", bpm ? `${bpm[1].toFixed(0)} BPM` : "", `${t.toFixed(1)} s`,
  ].filter(Boolean).join(" \u00b7 ");
}

function show() {
  const late = audio && state.playing ? audio.outputLatency || 0 : 0; // what is heard, not what is sent
  const way = ways[state.now], t = Math.max(here() - late, state.loop ? state.loop[0] : 0);
  notePlace(state.now, state.playing ? t : null);
  write("play", state.playing ? "Pause" : "Play");
  write("now", nowWords(way, t));
  byId("loop").setAttribute("aria-pressed", String(Boolean(state.loop)));
  for (const i of ways.keys()) {
    const on = i === state.now;
    byId(`way-${i}`).classList.toggle("current", on);
    byId(`choose-${i}`).setAttribute("aria-pressed", String(on));
    const sounds = on && state.playing;
    write(`hear-${i}`, sounds ? "\u275a\u275a" : "\u25b6");
    byId(`hear-${i}`).setAttribute("aria-label", `${sounds ? "Pause" : "Play"} option ${nameOf(i)}`);
    showPlace(i, on ? t : null);
    if (!dragging) showSpan(i, on ? state.loop : null);
  }
}

function tick() {
  if (!state.playing) { show(); return; }
  show();
  requestAnimationFrame(tick);
}

function drawAll() {
  ways.forEach(draw);
  show();
}

// ---- hands -----------------------------------------------------------------------------
let dragging = null;
const DRAG_PX = 8;

function listenToPicture(svg, index) {
  const way = ways[index];
  const timeAt = (event) => {
    const box = svg.getBoundingClientRect();
    return Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1) * way.duration_s;
  };
  svg.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    dragging = { x: event.clientX, from: timeAt(event), span: null };
    svg.setPointerCapture(event.pointerId);
  });
  svg.addEventListener("pointermove", (event) => {
    if (!dragging || (!dragging.span && Math.abs(event.clientX - dragging.x) < DRAG_PX)) return;
    dragging.span = barsAround(way, dragging.from, timeAt(event));
    showSpan(index, dragging.span);
  });
  svg.addEventListener("pointercancel", () => { dragging = null; show(); });
  svg.addEventListener("pointerup", (event) => {
    if (!dragging) return;
    const { span, from } = dragging;
    dragging = null;
    if (span) loopOver(index, span);
    else if (event.shiftKey && index === state.now) loopOver(index, barsAround(way, here(), from));
    else goTo(index, from);
  });
}

function keyPressed(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || !byId("keys").checked) return;
  const { tagName, type } = event.target, arrow = event.key.startsWith("Arrow");
  if (/^(SELECT|TEXTAREA)$/.test(tagName) || type === "text") return; // keys for writing and choosing
  if (arrow && (type === "range" || type === "radio")) return;
  if (event.key === " " && /^(BUTTON|SUMMARY|INPUT)$/.test(tagName)) return;
  const number = Number(event.key), step = event.key === "ArrowRight" ? 1 : -1;
  if (event.key === " ") togglePlay();
  else if (number >= 1 && number <= ways.length) choose(number - 1);
  else if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
    if (!event.shiftKey) stepBar(step);
    else if (state.loop) stretchLoop(step);
  } else if (event.key === "e") lastFourBars();
  else if (event.key === "l") toggleLoop();
  else return;
  event.preventDefault();
}

function listen() {
  const presses = { play: togglePlay, entry: lastFourBars, start: () => goTo(state.now, 0), loop: toggleLoop };
  for (const i of ways.keys()) {
    presses[`choose-${i}`] = () => choose(i);
    presses[`hear-${i}`] = () => hear(i);
    for (const svg of [byId(`mini-${i}`), byId(`lanes-${i}`)]) if (svg) listenToPicture(svg, i);
  }
  for (const [id, action] of Object.entries(presses)) byId(id).addEventListener("click", action);
  for (const button of document.querySelectorAll(".goto")) {
    button.addEventListener("click", () => hearFrom(Number(button.dataset.way), Number(button.dataset.from)));
  }
  for (const fold of document.querySelectorAll(".fold")) {
    fold.addEventListener("toggle", () => draw(ways[fold.dataset.way], fold.dataset.way));
  }
  document.addEventListener("click", (event) => {
    // After a press by hand, space shall play and pause, not press the button again.
    const button = event.target.closest("button");
    if (button && event.detail) button.blur();
  });
  for (const bus of ["click", "cue"]) {
    byId(bus).addEventListener("input", () => {
      if (faders) faders[bus].gain.setTargetAtTime(faderGain(bus), audio.currentTime, 0.02);
    });
  }
  document.addEventListener("keydown", keyPressed);
  addEventListener("resize", drawAll);
}
