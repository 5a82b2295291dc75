// What is asked of the server, and what the page says aloud. Addresses count from the page's own,
// which holds the token.
export const byId = (id) => document.getElementById(id);
export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
let toldTimer = 0;

export function tell(words) {
  byId("told").textContent = words;
  clearTimeout(toldTimer);
  toldTimer = setTimeout(() => { byId("told").textContent = ""; }, 8000);
}

async function problemOf(answer) {
  try { return (await answer.json()).problem; } catch { return ""; }
}

async function answered(asked) {
  let answer;
  try { answer = await asked; } catch { throw new Error("The desk does not answer: is it still running?"); }
  if (!answer.ok) throw new Error((await problemOf(answer)) || `That did not work (${answer.status}).`);
  return answer;
}

// A part of the page as it is now; null where it was asked for again meanwhile: the later answer
// counts, whichever comes first.
const latest = {};
export async function html(path, values = {}) {
  const query = new URLSearchParams(values).toString();
  const mine = answered(fetch(`${path}?${query}`)).then((answer) => answer.text());
  latest[path] = mine;
  const text = await mine;
  if (latest[path] === mine) return text;
  await latest[path].catch(() => {});
  await new Promise((done) => { setTimeout(done); }); // whoever asked later has shown it by now
  return null;
}

const posted = (path, values) => answered(fetch(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(values) }));
export const post = async (path, values) => (await posted(path, values)).json();

// What comes back is sound: its address, and what its headers say.
export async function postForSound(path, values) {
  const answer = await posted(path, values);
  const told = (name) => answer.headers.get(`x-${name}`) || "";
  return { bytes: await answer.arrayBuffer(), exit_s: Number(told("exit-s")), entry_s: Number(told("entry-s")), name: decodeURIComponent(told("name")) };
}

export async function sendFile(path, values, file) {
  const query = new URLSearchParams({ ...values, name: file.name }).toString();
  const headers = { "content-type": "application/octet-stream" };
  return answered(fetch(`${path}?${query}`, { method: "POST", headers, body: file }));
}

// Do something that may fail; a failure is one sentence on the page.
export async function trying(work) {
  try { return await work(); } catch (error) { tell(error.message); return null; }
}

// A part of the page filled anew: what was focused, open or scrolled to stays so.
export function replacePart(part, text) {
  const active = document.activeElement;
  const focus = part.contains(active) ? pathTo(part, active) : null;
  const typed = focus && /^(INPUT|TEXTAREA)$/.test(active.tagName) && active.type !== "file" ? active.value : null;
  const open = [...part.querySelectorAll("details")].map((node) => node.open);
  const scrolls = [...part.querySelectorAll("ul")].map((node) => node.scrollTop);
  part.innerHTML = text;
  part.querySelectorAll("details").forEach((node, n) => { if (open[n]) node.open = true; });
  part.querySelectorAll("ul").forEach((node, n) => { if (scrolls[n]) node.scrollTop = scrolls[n]; });
  const again = focus && part.querySelector(focus);
  if (!again) return;
  if (typed !== null) again.value = typed; // what was being typed goes on
  again.focus({ preventScroll: true });
}

function pathTo(part, node) {
  if (node.id) return `#${CSS.escape(node.id)}`;
  const { field, at } = node.dataset;
  if (field && at) return `[data-field="${field}"][data-at="${at}"]`;
  for (const name of ["aria-label", "data-do", "data-say", "data-way", "data-choose", "data-run"]) {
    const value = node.getAttribute(name), end = node.closest(".end");
    if (value) return `${end ? `#${end.id} ` : ""}[${name}="${CSS.escape(value)}"]`;
  }
  return null;
}
