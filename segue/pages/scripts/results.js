// The result as it comes in. Words of others are only ever text.
const HARD_CUT = 0; // rank of the anchor
const SURE = ["", "a guess", "fairly sure", "certain"];

function part(parent, name, words = "", attributes = {}) {
  const node = document.createElement(name);
  if (words) node.textContent = words;
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  parent.appendChild(node);
  return node;
}

const votesWords = (n) => (n === 1 ? "1 vote" : `${n} votes`);

// `place(rank)` says under which number this listener heard an option, if under any.
function showResults(box, result, place = () => "") {
  box.replaceChildren();
  box.hidden = false;
  part(box, "h3", result.is_closed ? "The result" : "The result so far");
  part(box, "p", votesWords(result.n_votes));
  const table = part(box, "table", "", { class: "tally" });
  for (const row of result.tally) {
    const line = part(table, "tr");
    const anchor = row.rank === HARD_CUT ? "; the plain cut, put in as a check" : "";
    part(line, "th", row.name + anchor + place(row.rank), { scope: "row" });
    const cell = part(line, "td");
    part(cell, "meter", "", { min: 0, max: Math.max(result.n_votes, 1), value: row.n_votes, "aria-hidden": "true" });
    part(cell, "span", ` ${votesWords(row.n_votes)}`);
    if (result.choice === row.rank) part(cell, "strong", " \u2013 chosen");
  }
  if (result.words.length) part(box, "h3", "In their own words");
  const list = part(box, "ul");
  for (const said of result.words) {
    const item = part(list, "li");
    part(item, "strong", said.listener || "somebody");
    part(item, "span", ` for ${said.name}, ${SURE[said.confidence]}: ${said.words}`);
  }
}

// Where a page's own answers are: an evening has several votes behind one address.
const listenerBase = () => (typeof listener === "undefined" ? "" : listener.base || "");

// Live for as long as the page is open; the browser connects again by itself.
function follow({ onResult, onCount }) {
  const events = new EventSource(`${listenerBase()}/events`);
  events.addEventListener("result", (event) => onResult(JSON.parse(event.data)));
  events.addEventListener("count", (event) => onCount(JSON.parse(event.data)));
  return events;
}
