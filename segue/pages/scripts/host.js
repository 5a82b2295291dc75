// The page of the one who runs the vote. The token stands behind the address only until it is used.
const token = location.hash.slice(1);
const tell = (words) => { byId("problem").textContent = words; };

function choiceOf() {
  const radio = document.querySelector('input[name="rank"]:checked');
  return radio ? Number(radio.value) : null;
}

// The most voted one is offered; a tie offers none, and what was picked by hand stays.
function offer(result) {
  const rows = result.tally.filter((row) => row.rank !== HARD_CUT), most = Math.max(...rows.map((row) => row.n_votes));
  const first = rows.filter((row) => row.n_votes === most && most > 0), before = byId("choices").dataset.byHand ? choiceOf() : null;
  byId("choices").replaceChildren();
  for (const row of rows) {
    const label = part(byId("choices"), "label", "", { class: "pick" });
    const radio = part(label, "input", "", { type: "radio", name: "rank", value: row.rank, required: "" });
    radio.checked = before === row.rank || (before === null && first.length === 1 && first[0] === row);
    part(label, "span", `${row.label} ${row.name}`);
  }
}

function takeResult(result) {
  byId("count").textContent = `${votesWords(result.n_votes)} so far.`;
  const focused = byId("choices").contains(document.activeElement);
  showResults(byId("results"), result);
  byId("close").hidden = result.is_closed;
  if (result.is_closed) {
    byId("count").textContent = `Closed with ${votesWords(result.n_votes)}.`;
    tell("The choice is written into the run. Control-C in the terminal ends the server.");
    document.querySelector("details").open = true;
  } else if (!focused) offer(result);
}

async function start() {
  if (token) {
    const answer = await post("/host", { token });
    if (!answer.ok) { tell(answer.problem); return; }
    history.replaceState(null, "", "/host");
  }
  const events = follow({ onResult: takeResult, onCount: () => { events.close(); tell("Open the address that the terminal shows."); } });
}

byId("choices").addEventListener("change", () => { byId("choices").dataset.byHand = "yes"; });
byId("close").addEventListener("submit", async (event) => {
  event.preventDefault();
  const answer = await post("/close", { rank: choiceOf(), why: byId("why").value });
  if (!answer.ok) tell(answer.problem);
});
start();
