// Shaping an option: its layers, chords, bars and the way of its tempo; drafts, versions, recipes.
import { post, postForSound, tell } from "./desk_net.js";
import { hold, place, play, playing, samePlace } from "./desk_sound.js";

const formOf = (label) => document.querySelector(`[data-change="${label}"]`);
export const labelOf = (node) => node.closest("[data-change]").dataset.change;

// What the form of an option says is to be changed.
function changesOf(run, label) {
  const form = formOf(label), part = (name) => form.querySelector(`[data-part="${name}"]`);
  const chords = part("chords"), layers = [...form.querySelectorAll(".layer")];
  const isKept = (row) => row.querySelector('[data-part="on"]').checked;
  const levels = layers.filter(isKept)
    .map((row) => [row.dataset.layer, Number(row.querySelector('[data-part="level"]').value)]).filter(([, by]) => by);
  const way = form.querySelector(".tempo-way"), isMoved = way && "moved" in way.dataset;
  const bars = Number(part("bars").value) || null, { n, held, steady } = way ? tempoOf(way) : {};
  return {
    run, option: label, bars: bars || (isMoved ? n : null), pad: part("pad").value || null,
    held: isMoved ? held : null, ramp: isMoved ? n - held - steady : null,
    chords: chords && chords.value.trim() !== chords.dataset.before ? chords.value.trim() : null,
    without: layers.filter((row) => !isKept(row)).map((row) => row.dataset.layer), levels,
  };
}

// ---- drafts: soon, roughly, at the same place in the music; nothing is kept of them
let nDrafts = 0, latest = null;

async function playDraft(made, label, where) {
  nDrafts += 1;
  const name = `draft ${nDrafts}`, span = { ...made, duration_s: Infinity };
  const before = playing()?.id === "draft" && latest ? { t: place(), ...latest } : where;
  hold(name, made.bytes);
  latest = { exit_s: made.exit_s, entry_s: made.entry_s };
  await play(name, before ? Math.min(samePlace(before.t, before, span), made.entry_s + 1) : 0, { id: "draft", label });
}

export async function hearDraft(run, label, where, solo = null) {
  tell("The draft is being made …");
  const made = await postForSound("draft", { ...changesOf(run, label), solo });
  await playDraft(made, solo ? `${solo} of ${label}, alone` : `Draft of ${label}`, where);
  tell(solo ? `${solo} alone, as loud as it is among the others.` : "A draft: the bridge and a few seconds around it.");
}

// What the first option may be like, before anything is made.
export async function hearRough(wishes) {
  tell("A rough one is being made …");
  const made = await postForSound("rough", wishes);
  await playDraft(made, `${made.name}, rough`, null);
  tell(`${made.name}, roughly: the bridge and a few seconds around it.`);
}

export async function makeVersion(run, label) {
  tell("The version is being made …");
  return (await post("change", changesOf(run, label))).label;
}

export async function keepRecipe(run, label) {
  const field = formOf(label).querySelector('[data-part="recipe"]');
  if (!field.value.trim()) { field.focus(); throw new Error("Give the recipe a name."); }
  const { name } = await post("recipe", { ...changesOf(run, label), name: field.value.trim() });
  tell(`'${name}' is among your own recipes.`);
}

// ---- the tempo's way: two handles, by mouse, touch and keys
function tempoOf(way) {
  const { bars, held, steady } = way.dataset, n = Number(bars);
  return { n, held: Number(held), steady: Number(steady), from: Number(way.dataset.old), to: Number(way.dataset.new) };
}

const counted = (n) => `${n} bar${n === 1 ? "" : "s"}`;

function drawWay(way) {
  const { n, held, steady, from, to } = tempoOf(way), high = Math.max(from, to), low = Math.min(from, to);
  const y = (bpm) => 82 - (bpm - low) / (high - low) * 64, x = (bar) => bar / n * 100, until = n - steady;
  const lines = Array.from({ length: n + 1 }, (_, i) => `<line x1="${x(i)}" x2="${x(i)}" y1="0" y2="100"/>`).join("");
  way.querySelector("svg").innerHTML = `${lines}<path d="M0 ${y(from)}H${x(held)}L${x(until)} ${y(to)}H100"/>`;
  for (const [handle, bar, bpm, words] of [
    ["held", held, from, held ? `after ${counted(held)} at ${from.toFixed(0)} BPM` : "at once"],
    ["steady", until, to, steady ? `${counted(steady)} before it enters` : "as it enters"],
  ]) {
    const node = way.querySelector(`[data-handle="${handle}"]`);
    Object.assign(node.style, { left: `${x(bar)}%`, top: `${y(bpm)}%` });
    node.setAttribute("aria-valuemax", String(handle === "held" ? n - 1 : n));
    node.setAttribute("aria-valuenow", String(bar));
    node.setAttribute("aria-valuetext", words);
  }
  const parts = [held ? `${from.toFixed(0)} BPM for ${counted(held)}` : "", `${from.toFixed(0)} to ${to.toFixed(0)} over ${n - held - steady}`,
    steady ? `${to.toFixed(0)} for ${counted(steady)}` : ""];
  way.querySelector(".tempo-words").textContent = `Tempo: ${parts.filter(Boolean).join(", then ")}.`;
}

function setHandle(way, handle, bar) {
  const { n, held, steady } = tempoOf(way);
  const to = handle === "held" ? Math.min(Math.max(bar, 0), n - steady - 1) : Math.min(Math.max(bar, held + 1), n);
  const before = handle === "held" ? held : n - steady;
  if (to === before) return;
  if (handle === "held") way.dataset.held = to; else way.dataset.steady = n - to;
  way.dataset.moved = "";
  drawWay(way);
}

function listenToWay(way) {
  for (const node of way.querySelectorAll(".tempo-handle")) {
    const { handle } = node.dataset;
    let held = false;
    node.addEventListener("pointerdown", (event) => { held = true; node.setPointerCapture(event.pointerId); });
    node.addEventListener("pointermove", (event) => {
      if (!held) return;
      const box = way.querySelector(".tempo-field").getBoundingClientRect();
      setHandle(way, handle, Math.round((event.clientX - box.left) / box.width * tempoOf(way).n));
    });
    for (const kind of ["pointerup", "pointercancel"]) node.addEventListener(kind, () => { held = false; });
    node.addEventListener("keydown", (event) => {
      const now = Number(node.getAttribute("aria-valuenow")), { n } = tempoOf(way);
      const steps = { ArrowLeft: now - 1, ArrowDown: now - 1, ArrowRight: now + 1, ArrowUp: now + 1, Home: 0, End: n };
      if (!(event.key in steps)) return;
      event.preventDefault();
      setHandle(way, handle, steps[event.key]);
    });
  }
}

// Another number of bars: what is held and steady stays as long as there is room for it.
function resize(way, n) {
  const { held, steady } = tempoOf(way);
  Object.assign(way.dataset, { bars: n, held: Math.min(held, Math.max(n - 2, 0)) });
  way.dataset.steady = Math.min(steady, Math.max(n - Number(way.dataset.held) - 1, 0));
  drawWay(way);
}

// What is being shaped, kept while the page is filled anew.
const partsOf = (form) => [...form.querySelectorAll("[data-part]")];

export function formsKept() {
  return [...document.querySelectorAll("[data-change]")].map((form) => ({
    label: form.dataset.change, parts: partsOf(form).map(({ value, checked }) => ({ value, checked })),
    way: { ...form.querySelector(".tempo-way")?.dataset },
  }));
}

export function putBack(forms) {
  for (const { label, parts, way } of forms) {
    const form = formOf(label), now = form ? partsOf(form) : [];
    if (!form || now.length !== parts.length) continue;
    now.forEach((node, n) => { node.value = parts[n].value; if (node.type === "checkbox") node.checked = parts[n].checked; });
    Object.assign(form.querySelector(".tempo-way")?.dataset || {}, way);
    form.querySelectorAll('[data-part="level"]').forEach(showLevel);
  }
}

function showLevel(node) {
  const by = Number(node.value), words = by ? `${by > 0 ? "+" : "−"}${Math.abs(by)} dB` : "0 dB";
  node.nextElementSibling.textContent = words;
  node.setAttribute("aria-valuetext", by ? words : "as it is");
}

export function openShapes() {
  for (const form of document.querySelectorAll("[data-change]")) {
    const way = form.querySelector(".tempo-way"), own = way && Number(way.dataset.bars);
    if (way) { drawWay(way); listenToWay(way); }
    form.addEventListener("input", (event) => {
      const { part } = event.target.dataset;
      if (part === "level") showLevel(event.target);
      if (part === "chord") {
        form.querySelector('[data-part="chords"]').value = [...form.querySelectorAll('[data-part="chord"]')].map((node) => node.value).join(" ");
      }
      if (part === "bars" && way) resize(way, Number(event.target.value) || own);
    });
  }
}
