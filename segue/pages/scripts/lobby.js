// How far the votes of the evening are. Nobody's votes are told here, only how many there are.
const words = ({ n_votes: n, is_closed: isClosed }) => (isClosed ? " · closed" : n ? ` · ${n} vote${n === 1 ? "" : "s"} so far` : "");

// What was heard so far is known to this device alone.
for (const mine of document.querySelectorAll(".mine")) {
  try {
    const left = Object.values(JSON.parse(localStorage.getItem(mine.dataset.kept)).toHear);
    const heard = left.filter((cells) => !cells.length).length;
    if (heard) mine.textContent = heard < Number(mine.dataset.n) ? `${heard} of ${mine.dataset.n} heard` : "All heard: vote";
  } catch { /* nothing heard yet, or a private window */ }
}

new EventSource("/progress").addEventListener("progress", (event) => {
  for (const vote of JSON.parse(event.data).votes) {
    const place = document.querySelector(`.all[data-base="${vote.base}"]`);
    place.textContent = words(vote);
    const mine = place.previousElementSibling;
    if (vote.is_closed && !place.closest(".done")) mine.textContent = "Look at the result";
  }
});

// A phone may show the list as it was left, before the vote that was cast since.
addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
