// The evening: its songs dragged, or moved by arrow keys, into order; any join opened.
import { byId, html, post, replacePart, tell, trying } from "./desk_net.js";
import { names } from "./desk_ends.js";
import { remember } from "./desk_options.js";

let dragged = null;
const songsOf = () => [...document.querySelectorAll("#set-list .set-song")];

export async function refreshEvening() {
  if (dragged) return;
  const text = await trying(() => html("evening", { set: names.set }));
  if (text !== null) replacePart(byId("evening"), text);
}

// The songs as the page was told of them, wherever they were dragged since.
function shownSet() {
  const titles = [];
  songsOf().forEach((node) => { titles[Number(node.dataset.place)] = node.dataset.title; });
  return { set: names.set, titles };
}

// Change the set file, show it, and plan the evening anew.
async function changeSet(path, values, words) {
  const done = await trying(() => post(path, { ...shownSet(), ...values }));
  await refreshEvening();
  if (done) { tell(words); await plan(true); }
}

async function keepOrder(focused = null) {
  const order = songsOf().map((node) => Number(node.dataset.place));
  if (order.every((place, n) => place === n)) return;
  await changeSet("evening/order", { order }, "The set file has this order now.");
  if (focused !== null) songsOf()[focused]?.querySelector(".grip").focus();
}

async function takeOut(node) {
  const at = Number(node.dataset.place), { title } = node.dataset;
  const order = songsOf().map((one) => Number(one.dataset.place)).filter((place) => place !== at);
  await changeSet("evening/order", { order }, `${title} is out of the set; its file stays.`);
  songsOf()[Math.min(at, order.length - 1)]?.querySelector(".take-out, .grip").focus();
}

function say({ value, dataset: { field, at } }) {
  const told = field === "segue" ? value === "true" : value === "" ? null : Number(value);
  const song = at === undefined ? null : Number(at);
  return changeSet("evening/say", { song, field, value: told }, "It is written in the set file.");
}

// Where a caution is mended: shown, and focused.
function goTo(target, at) {
  const song = songsOf()[at], form = song?.querySelector(".between");
  const row = [...document.querySelectorAll("#songs .song")].find((node) => node.dataset.song === song?.dataset.song);
  if (target === "between" && form) form.open = true;
  if (target === "file") byId("songs-part").open = true;
  const node = {
    order: song?.querySelector(".grip"), fewer: song?.querySelector(".take-out"), more: byId("add-song") || byId("drop-files"),
    between: form?.querySelector("select, input"), file: row,
  }[target];
  if (target === "more" && !byId("add-song")) byId("songs-part").open = true;
  if (target === "file" && row) row.tabIndex = -1;
  node?.focus();
  node?.scrollIntoView({ block: "center" });
}

const plan = (planOnly) => trying(() => post("evening/make", { set: names.set, plan_only: planOnly }));

function move(node, step) {
  const songs = songsOf(), from = songs.indexOf(node), to = from + step;
  if (to < 0 || to >= songs.length) return;
  if (step < 0) songs[to].before(node); else songs[to].after(node);
  keepOrder(to);
}

export function listenToEvening(openPair) {
  const part = byId("evening");
  part.addEventListener("change", (event) => {
    const { target } = event;
    if (target.dataset.field) say(target);
    else if (target.id === "add-song" && target.value) changeSet("evening/add", { song: target.value }, "It is at the end of the set.");
    else if (target.id === "set-name") {
      names.set = target.value;
      remember();
      refreshEvening();
    }
  });
  part.addEventListener("click", async (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    const { openOld, openNew, openRun, mend, at } = button.dataset;
    if (openOld) openPair({ old: openOld, new: openNew, run: openRun || "" });
    else if (mend) goTo(mend, Number(at));
    else if (button.matches(".take-out")) takeOut(button.closest(".set-song"));
    else if (button.id === "vote-evening") {
      const isOn = button.dataset.on === "true";
      button.disabled = true;
      if (!isOn) tell("The sounds for the phones are made ready …");
      await trying(() => (isOn ? post("vote/stop", {}) : post("evening/vote", { set: names.set, blind: byId("vote-blind").checked })));
      await refreshEvening();
    }
    else if (button.id === "plan-evening") plan(true);
    else if (button.id === "make-evening") plan(false);
    else if (button.id === "new-set") {
      const songs = [...document.querySelectorAll("#songs .song")].filter((node) => !node.querySelector(".weak-words")).map((node) => node.dataset.song);
      const made = await trying(() => post("evening/new", { title: "Set", songs }));
      if (!made) return;
      names.set = made.set;
      remember();
      await refreshEvening();
      tell(`${made.set} is written. Put it into order.`);
    }
  });
  part.addEventListener("keydown", (event) => {
    const grip = event.target.closest(".grip");
    if (!grip || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
    event.preventDefault();
    move(grip.closest(".set-song"), event.key === "ArrowUp" ? -1 : 1);
  });
  part.addEventListener("pointerdown", (event) => {
    const grip = event.target.closest(".grip");
    if (!grip) return;
    dragged = grip.closest(".set-song");
    dragged.classList.add("moving");
    grip.setPointerCapture(event.pointerId);
  });
  part.addEventListener("pointermove", (event) => {
    if (!dragged) return;
    const over = songsOf().find((node) => {
      const box = node.getBoundingClientRect();
      return node !== dragged && event.clientY > box.top && event.clientY < box.bottom;
    });
    if (!over) return;
    const box = over.getBoundingClientRect();
    if (event.clientY < box.top + box.height / 2) over.before(dragged); else over.after(dragged);
  });
  for (const kind of ["pointerup", "pointercancel"]) {
    part.addEventListener(kind, () => {
      if (!dragged) return;
      dragged.classList.remove("moving");
      dragged = null;
      keepOrder();
    });
  }
}
