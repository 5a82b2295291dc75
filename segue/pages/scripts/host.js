// The page of the one who runs the vote. The token stands behind the address only until it is used.
const token = location.hash.slice(1);
const tell = (words) => { byId("problem").textContent = words; };
const sections = [...document.querySelectorAll(".voted")];
const inside = (section, name) => section.querySelector(name);

function choiceOf(section) {
  const radio = inside(section, ".choices input:checked");
  return radio ? Number(radio.value) : null;
}

// The most voted one is offered; a tie offers none, and what was picked by hand stays.
function offer(section, result) {
  const rows = result.tally.filter((row) => row.rank !== HARD_CUT), most = Math.max(...rows.map((row) => row.n_votes));
  const first = rows.filter((row) => row.n_votes === most && most > 0);
  const box = inside(section, ".choices"), before = box.dataset.byHand ? choiceOf(section) : null;
  box.replaceChildren();
  for (const row of rows) {
    const label = part(box, "label", "", { class: "pick" });
    const radio = part(label, "input", "", { type: "radio", name: `rank${section.dataset.base}`, value: row.rank, required: "" });
    radio.checked = before === row.rank || (before === null && first.length === 1 && first[0] === row);
    part(label, "span", `${row.label} ${row.name}`);
  }
}

function takeResult(result) {
  const section = sections.find((one) => one.dataset.base === result.base), count = inside(section, ".count");
  const focused = inside(section, ".choices").contains(document.activeElement);
  showResults(inside(section, ".results"), result);
  inside(section, ".choosing").hidden = result.is_closed;
  if (result.is_closed) {
    const row = result.tally.find(({ rank }) => rank === result.choice);
    count.textContent = `Closed with ${votesWords(result.n_votes)}. Chosen: ${row ? `${row.label}, ${row.name}` : ""}.`;
    section.classList.add("closed");
    if (sections.length === 1) inside(section, "details").open = true;
  } else {
    count.textContent = `${votesWords(result.n_votes)} so far.`;
    if (!focused) offer(section, result);
  }
  if (sections.every((one) => one.classList.contains("closed"))) tell("Every choice is written. End the vote where you opened it.");
}

async function start() {
  if (token) {
    const answer = await post("/host", { token });
    if (!answer.ok) { tell(answer.problem); return; }
    history.replaceState(null, "", "/host");
  }
  const events = new EventSource("/host/events");
  events.addEventListener("result", (event) => takeResult(JSON.parse(event.data)));
  events.addEventListener("joined", (event) => {
    const { n } = JSON.parse(event.data);
    byId("joined").textContent = n === 1 ? "1 has joined." : `${n} have joined.`;
  });
  events.addEventListener("error", () => { if (events.readyState === EventSource.CLOSED) tell("Open the whole address, as it was shown to you."); });
}

for (const section of sections) {
  inside(section, ".choices").addEventListener("change", (event) => { event.currentTarget.dataset.byHand = "yes"; });
  inside(section, "form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const answer = await post(`${section.dataset.base}/close`, { rank: choiceOf(section), why: inside(section, ".why").value });
    if (!answer.ok) tell(answer.problem);
  });
}
start();
