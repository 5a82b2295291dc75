// The ballot: opened by having heard everything; sent to the server, or given as text.
const RETRY_MS = [500, 1000, 2000, 4000, 8000];
let given = listener.vote || null;

const picked = (name) => { const radio = document.querySelector(`input[name="${name}"]:checked`); return radio ? Number(radio.value) : null; };
const tell = (words) => { byId("vote-state").textContent = words; };
const indexOf = (key) => ways.findIndex((way) => way.key === key);

// Under which number this listener heard what the result names; on a blind page told after the vote.
function place(rank) {
  if (!run.is_blind || !listener.ranks) return "";
  const index = ways.findIndex((way) => listener.ranks[way.key] === rank);
  return index < 0 ? "" : ` (your ${index + 1})`;
}

function showHeard() {
  const left = ways.flatMap((way, i) => (isHeard(way) ? [] : [i + 1]));
  for (const [i, way] of ways.entries()) byId(`heard-${i}`).textContent = isHeard(way) ? "heard" : "";
  if (given || (listener.is_served && listener.is_closed)) { byId("to-hear").textContent = ""; byId("send").disabled = true; return; }
  byId("to-hear").textContent = left.length
    ? `Before you vote, listen to each across the change. Still to hear: ${left.join(", ")}.`
    : "You have heard them all.";
  byId("send").disabled = left.length > 0;
}

// The button says what it does.
function showPicked() {
  const choice = picked("choice");
  byId("send").textContent = choice === null ? "Vote" : `Vote for ${ways[choice].label || choice + 1}`;
}

function showGiven() {
  byId("my-vote").hidden = false;
  byId("my-vote").textContent = `You voted for ${nameOf(indexOf(given.choice))}: ${SURE[given.confidence]}${given.words ? `, \u201c${given.words}\u201d` : ""}.`;
}

const voteOf = () => ({
  choice: ways[picked("choice")].key,
  confidence: picked("confidence"),
  words: byId("words").value.trim(),
  heard: ways.filter(isHeard).map((way) => way.key).sort((a, b) => a - b),
});

function voteText(vote) {
  const way = ways[indexOf(vote.choice)];
  const heard = run.is_blind ? ` (heard as ${picked("choice") + 1} of ${ways.length})` : "";
  return [
    `Vote on ${run.songs[0]} into ${run.songs[1]}`,
    run.is_blind ? `for the one marked ${way.mark}${heard}` : `for option ${way.label}, ${way.name}`, SURE[vote.confidence],
    vote.words && `in my words: ${vote.words}`, byId("voter").value.trim() && `from ${byId("voter").value.trim()}`,
  ].filter(Boolean).join("\n");
}

async function copyVote() {
  byId("vote-text").select();
  try { await navigator.clipboard.writeText(byId("vote-text").value); } catch { document.execCommand("copy"); }
  tell("Copied. Send it to whoever runs the vote.");
}

const later = (ms) => new Promise((done) => { setTimeout(done, ms); });

// The same vote may arrive twice and counts once: ask again until there is an answer.
async function sent(vote) {
  for (let n = 0; ; n += 1) {
    try {
      const answer = await post(`${listener.base}/vote`, vote);
      if (answer.status < 500 && answer.status !== 429) return answer;
    } catch { /* no network just now */ }
    tell("No answer yet. Your vote is kept here and sent again; leave the page open.");
    await later(RETRY_MS[Math.min(n, RETRY_MS.length - 1)]);
  }
}

// The next segue of the evening that waits for this listener.
function showFollowing() {
  if (!listener.following) return;
  const link = byId("following").querySelector("a");
  link.href = listener.following.href;
  link.textContent = listener.following.title ? `Next: ${listener.following.title}` : "That was the last one: see all segues of the evening";
  byId("following").hidden = false;
}

function lockForm() {
  byId("vote").hidden = true;
  showFollowing();
  if (given) showGiven();
  showHeard();
}

async function castVote(event) {
  event.preventDefault();
  if (given || byId("send").disabled) return;
  const vote = voteOf();
  if (!listener.is_served) {
    byId("vote-text").value = voteText(vote);
    byId("vote-copy").hidden = false;
    byId("vote-text").focus();
    tell("This page has no network. Copy the text and send it to whoever runs the vote.");
    return;
  }
  byId("send").disabled = true;
  keep({ sending: vote });
  tell("Sending.");
  const answer = await sent(vote);
  keep({ sending: null });
  if (answer.ok || answer.vote) { given = answer.vote; listener.ranks = answer.ranks || listener.ranks; }
  tell(answer.ok ? "Your vote is kept." : answer.problem);
  if (given) lockForm(); else showHeard();
}

function takeCount({ n_votes: n }) {
  if (!given) byId("vote-state").textContent = `${votesWords(n)} so far; the result shows once you have voted.`;
}

function takeResult(result) {
  showResults(byId("results"), result, place);
  if (!result.is_closed || listener.is_closed) return;
  listener.is_closed = true;
  tell("The vote is closed.");
  lockForm();
}

// What was typed before the page was left is there again.
function recall() {
  const choice = indexOf(kept.choice);
  if (choice >= 0) document.querySelector(`input[name="choice"][value="${choice}"]`).checked = true;
  if (kept.confidence) document.querySelector(`input[name="confidence"][value="${kept.confidence}"]`).checked = true;
  byId("words").value = kept.words || "";
  byId("voter").value = kept.voter || "";
  showPicked();
}

function noteTyped() {
  const choice = picked("choice");
  keep({ choice: choice === null ? null : ways[choice].key, confidence: picked("confidence"), words: byId("words").value, voter: byId("voter").value });
  showPicked();
}

function openBallot() {
  byId("vote").addEventListener("submit", castVote);
  byId("vote").addEventListener("input", noteTyped);
  byId("copy").addEventListener("click", copyVote);
  byId("name-field").hidden = listener.is_served;
  recall();
  if (given) { tell("Your vote is kept."); lockForm(); }
  showHeard();
  if (!listener.is_served) return;
  byId("back").hidden = !listener.base;
  follow({ onResult: takeResult, onCount: takeCount });
  if (kept.sending && !given) byId("vote").requestSubmit(); // it was on its way when the page was left
}
