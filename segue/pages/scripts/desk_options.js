// What was made: hearing, switching at the same place in the music, choosing, and to the stage.
import { byId, colour, html, post, replacePart, sendFile, tell, trying } from "./desk_net.js";
import { names } from "./desk_ends.js";
import { formsKept, hearDraft, keepRecipe, labelOf, makeVersion, openShapes, putBack } from "./desk_shape.js";
import { place, play, playing, samePlace, stop, watch } from "./desk_sound.js";

let run = null, ways = [], current = 0, order = [], isBlind = false;
const url = (way, bus) => `run-sound?${new URLSearchParams({ run: run.run, key: `${bus}-${way.key}` })}`;
const isOn = () => playing()?.id === "way";

function sides() {
  return ["click", "cue"].map((bus) => [url(ways[current], bus), (Number(byId(`${bus}-level`).value) / 100) ** 2])
    .filter(([, level]) => level > 0);
}

function hear(index, from) {
  current = index;
  const way = ways[index];
  show();
  play(url(way, "music"), from, { id: "way", level: 10 ** (way.gain_db / 20), sides: sides() });
}

function change(index) {
  const a = ways[current], b = ways[index];
  if (isOn()) hear(index, (t) => samePlace(t ?? 0, a, b));
  else { current = index; show(); }
  tell(`Option ${numberOf(index)}${isBlind || !b.name ? "" : `, ${b.name}`}`);
}

// What an option is called: its label, or where it stands while names are hidden.
const numberOf = (index) => (isBlind ? order.indexOf(index) + 1 : byId(`way-${index}`).dataset.label);

const barAt = (way, t) => way.bars.findLast((bar) => bar.time_s <= t + 1e-3);

function show(t = null) {
  document.querySelectorAll("#options .option").forEach((node) => node.classList.toggle("current", Number(node.dataset.way) === current));
  document.querySelectorAll("#options .switch").forEach((node, n) => node.setAttribute("aria-pressed", String(order[n] === current)));
  if (byId("play-way")) byId("play-way").textContent = isOn() ? "Stop" : "Play";
  const words = byId("way-place"), way = ways[current];
  if (!words || !way) return;
  if (t === null) { words.textContent = ""; return; }
  const bar = barAt(way, t), part = { outgoing: "the old song", interlude: "the bridge", incoming: "the new song" };
  words.textContent = [bar ? `bar ${bar.number}` : "", isBlind || !bar ? "" : part[bar.section]].filter(Boolean).join(" · ");
}

function draw(way, t = null) {
  const canvas = document.querySelector(`#way-${way.key} canvas`), box = canvas?.getBoundingClientRect();
  if (!box?.width || !way.outline) return;
  const ratio = window.devicePixelRatio || 1, width = Math.round(box.width * ratio), height = Math.round(box.height * ratio);
  if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, { width, height });
  const pen = canvas.getContext("2d"), body = height - 18 * ratio, at = (s) => s / way.duration_s * width;
  pen.clearRect(0, 0, width, height);
  for (const [from, to, band] of [[0, way.exit_s, "--out-band"], [way.exit_s, way.entry_s, "--between-band"], [way.entry_s, way.duration_s, "--in-band"]]) {
    pen.fillStyle = colour(band);
    pen.fillRect(at(from), 0, at(to) - at(from), body);
  }
  const n = way.outline.length / 2;
  for (let px = 0; px < width; px += 1) {
    const i = Math.min(Math.floor(px / width * n), n - 1), s = px / width * way.duration_s;
    pen.fillStyle = colour(s < way.exit_s ? "--out" : s < way.entry_s ? "--between" : "--in");
    const low = way.outline[2 * i] / 127, high = way.outline[2 * i + 1] / 127;
    pen.fillRect(px, body * (0.5 - 0.48 * high), 1, Math.max(body * 0.48 * (high - low), ratio));
  }
  pen.fillStyle = colour("--soft");
  pen.font = `${12 * ratio}px system-ui, sans-serif`;
  pen.textBaseline = "top";
  let free = -1;
  for (const bar of way.bars) {
    pen.fillRect(at(bar.time_s), body - 6 * ratio, ratio, 6 * ratio);
    const wide = pen.measureText(bar.number).width;
    if (at(bar.time_s) < free || at(bar.time_s) + wide > width) continue;
    pen.fillText(bar.number, at(bar.time_s), body + 3 * ratio);
    free = at(bar.time_s) + Math.max(wide + 10 * ratio, 28 * ratio);
  }
  if (t !== null) { pen.fillStyle = colour("--ink"); pen.fillRect(at(t), 0, 2 * ratio, body); }
}

function beforeEntry() {
  const way = ways[current], before = way.bars.filter((bar) => bar.time_s < way.entry_s - 0.01);
  hear(current, before.length ? before[Math.max(before.length - 4, 0)].time_s : 0);
}

function setBlind(on) {
  isBlind = on;
  byId("options").classList.toggle("blind", on);
  order = ways.map((_, i) => i);
  if (on) order.sort(() => Math.random() - 0.5);
  const list = document.querySelector("#options .options");
  order.forEach((way) => {
    const node = byId(`way-${way}`), head = byId(`way-name-${way}`), hearing = node.querySelector(".row [data-hear]");
    head.firstChild.textContent = String(numberOf(way));
    hearing.textContent = `Hear option ${numberOf(way)}`;
    list.append(node);
  });
  document.querySelectorAll("#options .switch").forEach((node, n) => { node.dataset.way = order[n]; node.textContent = numberOf(order[n]); });
  show();
}

async function carry(button, work) {
  button.disabled = true;
  await trying(work);
  if (button.isConnected) button.disabled = false;
}

function pressed(event) {
  const button = event.target.closest("button");
  if (!button) return;
  const { hear: index, from, choose, draft, run: other, way, shape, rough, solo, keep } = button.dataset;
  if (draft) play(draft, Number(from), { id: "draft", label: button.dataset.name });
  else if (other) openRun(other);
  else if (button.id === "play-way") { if (isOn()) stop(); else hear(current, Math.max(ways[current].exit_s - 8, 0)); }
  else if (button.id === "before-entry") beforeEntry();
  else if (button.id === "before-exit") hear(current, Math.max(ways[current].exit_s - 6, 0));
  else if (index) hear(Number(index), from === undefined ? Math.max(ways[Number(index)].exit_s - 8, 0) : Number(from));
  else if (button.classList.contains("switch")) change(Number(way));
  else if (choose) carry(button, async () => {
    await post("choose", { run: run.run, rank: Number(choose), why: byId("why").value });
    tell(`Option ${choose} is chosen. It is written in the run folder.`);
    await refreshOptions();
  });
  else if (button.id === "pack") carry(button, async () => {
    tell("Packing …");
    const { file } = await post("pack", { run: run.run });
    const link = document.createElement("a");
    link.href = `packs/${file}`;
    link.download = "";
    link.click();
    tell("The pack is there: every file starts on bar 1. Click and cue are for ears only: start in-ears low.");
  });
  else if (button.id === "vote") carry(button, async () => {
    if (button.dataset.on === "true") await post("vote/stop", {});
    else await post("vote", { run: run.run, blind: byId("blind").checked });
    await refreshOptions();
  });
  else if (shape) carry(button, async () => showVersion(await makeVersion(run.run, shape)));
  else if (rough) carry(button, () => hearDraft(run.run, rough, whereNow(rough)));
  else if (solo) carry(button, () => hearDraft(run.run, labelOf(button), whereNow(labelOf(button)), solo));
  else if (keep) carry(button, () => keepRecipe(run.run, keep));
  else if (button.id === "undo" || button.id === "redo") carry(button, async () => {
    const { label } = await post(button.id, { run: run.run });
    stop();
    await refreshOptions();
    tell(button.id === "undo" ? `${label} is taken back.` : `${label} is there again.`);
  });
}

// How far the versions are that are being made.
export async function refreshVersions() {
  if (!run || !byId("versions")) return;
  const text = await trying(() => html("versions", { run: run.run }));
  if (text !== null && byId("versions")) byId("versions").innerHTML = text;
}

// A version was made: it is heard at the same place.
async function showVersion(made) {
  const before = ways[current], was = isOn() ? place() : null;
  await refreshOptions();
  const index = ways.findIndex((way) => byId(`way-${way.key}`).dataset.label === made);
  tell(`${made} is there.`);
  if (index < 0) return;
  byId(`way-${ways[index].key}`).scrollIntoView({ block: "nearest" });
  hear(index, samePlace(was ?? Math.max(before.exit_s - 4, 0), before, ways[index]));
}

// Where the music is, and in what: for a draft that is to go on from there.
function whereNow(label) {
  const way = ways.find((one) => byId(`way-${one.key}`).dataset.label === label);
  return isOn() ? { t: samePlace(place() ?? 0, ways[current], way), ...way } : null;
}

async function review(input) {
  const [file] = input.files;
  if (!file) return;
  byId("take-told").textContent = "Listening to the take …";
  const answer = await trying(() => sendFile("take", { run: run.run }, file));
  if (byId("take-told")) byId("take-told").innerHTML = answer ? await answer.text() : "";
  input.value = "";
}

export function openRun(name) {
  names.run = name;
  remember();
  refreshOptions();
}

export function remember() {
  const said = Object.entries(names).filter(([, value]) => value);
  history.replaceState(null, "", `?${new URLSearchParams(said)}`);
}

export function openOptions() {
  const block = byId("run-values");
  const before = run?.run;
  run = block ? JSON.parse(block.textContent) : null;
  ways = run ? run.values.ways : [];
  if (!run || before !== run.run) { current = 0; isBlind = false; }
  current = Math.min(current, Math.max(ways.length - 1, 0));
  order = ways.map((_, i) => i);
  byId("options").classList.toggle("blind", isBlind);
  if (byId("blind")) { byId("blind").checked = isBlind; if (isBlind) setBlind(true); }
  for (const way of ways) {
    draw(way);
    document.querySelector(`#way-${way.key} canvas`)?.addEventListener("click", (event) => {
      const box = event.target.getBoundingClientRect();
      hear(way.key, (event.clientX - box.left) / box.width * way.duration_s);
    });
  }
  openShapes();
  refreshVersions();
  show();
}

let drafts = 0, wasMaking = false, wasRough = false;
export async function refreshOptions({ keepsForms = false } = {}) {
  const text = await trying(() => html("options", { old: names.old, new: names.new, run: names.run }));
  if (text === null) return;
  const why = byId("why")?.value, forms = keepsForms ? formsKept() : null;
  replacePart(byId("options"), text);
  if (forms) putBack(forms);
  if (why && byId("why")) byId("why").value = why;
  const making = byId("making-words");
  if (making) {
    const n = Number(making.dataset.drafts);
    const isRough = "isRough" in making.dataset;
    if (n > drafts) tell(`Option ${n} can be heard.`);
    else if (isRough && !wasRough) tell("A rough one can be heard; the full sound follows.");
    drafts = n;
    wasRough = isRough;
    wasMaking = true;
    names.run = making.dataset.run;
    remember();
  } else if (wasMaking && byId("run-values")) {
    wasMaking = false;
    wasRough = false;
    drafts = 0;
    tell("The segues are made.");
  }
  openOptions();
}

export function listenToOptions() {
  const part = byId("options");
  part.addEventListener("click", pressed);
  part.addEventListener("change", (event) => {
    if (event.target.id === "blind") setBlind(event.target.checked);
    if (event.target.id === "take-file") review(event.target);
    if (/^(click|cue)-level$/.test(event.target.id) && isOn()) hear(current, (t) => t);
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName)) return;
    const number = Number(event.key);
    if (number >= 1 && number <= ways.length) change(order[number - 1]);
  });
}

watch((now, t) => {
  if (now?.id === "way") {
    show(t);
    draw(ways[current], t);
    const name = isBlind ? `option ${numberOf(current)}` : `${numberOf(current)}, ${ways[current].name}`;
    byId("playing").textContent = `${name} · ${byId("way-place").textContent}`;
  } else if (now?.id === "draft") byId("playing").textContent = `${now.label} · ${t.toFixed(1)} s`;
  else if (!now) { show(); ways.forEach((way) => draw(way)); }
});
new ResizeObserver(() => ways.forEach((way) => draw(way))).observe(document.body);
