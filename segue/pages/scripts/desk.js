// The desk: songs are picked and dropped, parts are filled anew as news come in.
import { byId, html, post, replacePart, sendFile, tell, trying } from "./desk_net.js";
import { marks, names, openEnds, refreshEnds } from "./desk_ends.js";
import { listenToEvening, refreshEvening } from "./desk_evening.js";
import { listenToOptions, openOptions, refreshOptions, refreshVersions, remember } from "./desk_options.js";
import { hearRough } from "./desk_shape.js";
import { setLevel, stop } from "./desk_sound.js";

Object.assign(names, JSON.parse(byId("names").textContent));

function find() {
  const wanted = byId("find").value.toLowerCase().trim();
  document.querySelectorAll("#songs .song").forEach((node) => { node.hidden = !node.dataset.find.includes(wanted); });
}

async function refreshSongs() {
  const text = await trying(() => html("songs", { old: names.old, new: names.new }));
  if (text === null) return;
  replacePart(byId("songs"), text);
  find();
  showPair();
}

function showPair() {
  const titleOf = (name) => [...document.querySelectorAll("#songs .song")].find((node) => node.dataset.song === name)?.querySelector("strong").textContent;
  const old = titleOf(names.old), fresh = titleOf(names.new);
  byId("pair-words").textContent = old && fresh ? `${old} into ${fresh}` : "";
  document.querySelectorAll("#songs [data-pick]").forEach((node) => {
    node.setAttribute("aria-pressed", String(node.closest(".song").dataset.song === names[node.dataset.pick]));
  });
  for (const id of ["make", "rough"]) byId(id).disabled = !(old && fresh);
}

async function openPair(picked) {
  Object.assign(names, picked);
  if (names.old && names.new) byId("songs-part").open = false;
  remember();
  showPair();
  [awaiting] = await Promise.all([refreshEnds(), refreshOptions()]);
  if (!(names.old && names.new)) return;
  // a segue that is made is to be listened to; another one is to be made from its two ends
  const isMade = Boolean(picked.run && byId("run-values")), part = byId(isMade ? "options" : "work");
  part.scrollIntoView({ block: "start" });
  if ("run" in picked && picked.old && picked.new) (isMade ? byId("play-way") : document.querySelector("#ends .cursor"))?.focus({ preventScroll: true });
}

byId("songs").addEventListener("click", (event) => {
  const button = event.target.closest("[data-pick]");
  if (!button) return;
  const which = button.dataset.pick, { song } = button.closest(".song").dataset;
  const other = which === "old" ? "new" : "old";
  const picked = { run: "", [which]: names[which] === song ? "" : song };
  if (picked[which] && names[other] === song) picked[other] = "";
  openPair(picked);
});
byId("find").addEventListener("input", find);

// ---- the bridge
function drawPlanks() {
  const n = Number(byId("bars").value) || 0, shown = n || 4, lines = [];
  const y = (t) => 46 - 26 * Math.sin(Math.PI * t);
  for (let i = 1; i < shown; i += 1) {
    const t = i / shown, px = 20 + 120 * t;
    lines.push(`<line x1="${px}" x2="${px}" y1="${y(t)}" y2="${y(t) + 9}"/>`);
  }
  byId("planks").innerHTML = `<line class="bank-old" x1="2" x2="20" y1="46" y2="46"/><line class="bank-new" x1="140" x2="158" y1="46" y2="46"/>`
    + `<path d="M20 46 Q80 -6 140 46"${n ? "" : ' stroke-dasharray="5 4"'}/>${lines.join("")}<text x="80" y="58">${n ? `${n} bar${n > 1 ? "s" : ""}` : ""}</text>`;
}
byId("bars").addEventListener("change", drawPlanks);
function timeSpeech() {
  const n = byId("speech").value.trim().split(/\s+/).filter(Boolean).length, pace = Number(byId("pace").value);
  if (!n || !byId("pace").checkValidity() || !pace) return;
  const seconds = Math.max(Math.round(n / pace * 60), 1);
  byId("talk").value = seconds;
  byId("speech-words").textContent = `${n} word${n === 1 ? "" : "s"}, about ${seconds} s`;
}
byId("speech").addEventListener("input", () => {
  if (!byId("speech").value.trim()) { byId("talk").value = ""; byId("speech-words").textContent = ""; }
  timeSpeech();
});
byId("pace").addEventListener("change", () => trying(async () => {
  await post("pace", { words_a_minute: Number(byId("pace").value) });
  timeSpeech();
  tell("Kept for the songs of this folder.");
}));
const wishes = () => ({
  old: names.old, new: names.new, ...marks(),
  bars: Number(byId("bars").value) || null,
  purpose: byId("purpose").value || null,
  talk_s: Number(byId("talk").value) || null,
});
byId("rough").addEventListener("click", () => trying(async () => {
  byId("rough").disabled = true;
  try { await hearRough(wishes()); } finally { byId("rough").disabled = false; }
}));
byId("make").addEventListener("click", () => trying(async () => {
  byId("make").disabled = true;
  try {
    const { run } = await post("make", wishes());
    names.run = run;
    remember();
    tell("They are being made.");
    await refreshOptions();
    byId("options").scrollIntoView({ block: "nearest" });
  } finally { byId("make").disabled = false; }
}));

// ---- files
async function take(files) {
  const came = [];
  for (const file of files) {
    tell(`${file.name} comes in …`);
    const done = await trying(() => sendFile("songs", {}, file));
    if (!done) continue;
    const { name } = await done.json();
    came.push(name);
    tell(`${name} is in the folder.`);
  }
  await Promise.all([refreshSongs(), refreshEnds(), refreshEvening()]);
  // two songs for an empty desk are the old and the new one
  if (!names.old && !names.new && came.length === 2) openPair({ run: "", old: came[0], new: came[1] });
}
byId("drop-files").addEventListener("change", (event) => { take([...event.target.files]); event.target.value = ""; });
const isFiles = (event) => [...(event.dataTransfer?.types || [])].includes("Files");
let inside = 0;
document.addEventListener("dragenter", (event) => { if (isFiles(event)) { inside += 1; byId("drop-here").hidden = false; } });
document.addEventListener("dragleave", (event) => { if (isFiles(event) && --inside <= 0) byId("drop-here").hidden = true; });
document.addEventListener("dragover", (event) => { if (isFiles(event)) event.preventDefault(); });
document.addEventListener("drop", (event) => {
  if (!isFiles(event)) return;
  event.preventDefault();
  inside = 0;
  byId("drop-here").hidden = true;
  take([...event.dataTransfer.files]);
});

// ---- what plays
byId("stop").addEventListener("click", stop);
byId("level").addEventListener("input", setLevel);
document.addEventListener("keydown", (event) => { if (event.key === "Escape") stop(); });

// ---- news
let known = null, busy = false, again = null;
async function onNews(versions) {
  if (busy) { again = versions; return; }
  busy = true;
  const isNew = (topic) => known && known[topic] !== versions[topic];
  const work = [];
  if (isNew("songs") || isNew("ends")) {
    work.push(refreshSongs());
    const isFirst = !byId("new-set"); // until there are songs, there is nothing else
    if (isFirst) work.push(refreshEvening());
    const isDue = isFirst || isNew("ends") || document.querySelector('#ends [aria-busy="true"]') || awaiting;
    if (isDue) work.push(refreshEnds().then((isBusy) => { awaiting = isBusy; }));
  }
  if (isNew("versions")) work.push(refreshVersions());
  if (isNew("choice") && byId("run-values")) work.push(refreshOptions({ keepsForms: true }));
  if (isNew("making")) {
    if (byId("making-words") || !byId("run-values")) work.push(refreshOptions());
    if (byId("evening-words") || names.set) work.push(refreshEvening());
  } else if (isNew("evening")) work.push(refreshEvening());
  known = versions;
  await Promise.all(work);
  busy = false;
  if (again) { const next = again; again = null; onNews(next); }
}
let awaiting = false; // an end was put right and is being heard again
const news = new EventSource("events");
news.addEventListener("changed", (event) => onNews(JSON.parse(event.data)));

listenToOptions();
listenToEvening(openPair);
openEnds();
openOptions();
drawPlanks();
showPair();
