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

async function keepOrder(focused = null) {
  const songs = songsOf(), places = songs.map((node) => Number(node.dataset.place));
  if (places.every((place, n) => place === n)) return;
  const titles = [];
  songs.forEach((node) => { titles[Number(node.dataset.place)] = node.dataset.title; });
  const done = await trying(() => post("evening/order", { set: names.set, titles, order: places }));
  await refreshEvening();
  if (focused !== null) songsOf()[focused]?.querySelector(".grip").focus();
  if (done) { tell("The set file has this order now."); await plan(true); }
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
    if (event.target.id !== "set-name") return;
    names.set = event.target.value;
    remember();
    refreshEvening();
  });
  part.addEventListener("click", async (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    const { openOld, openNew, openRun } = button.dataset;
    if (openOld) openPair({ old: openOld, new: openNew, run: openRun || "" });
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
