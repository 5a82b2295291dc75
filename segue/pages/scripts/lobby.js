// How far the votes of the evening are. Nobody's votes are told here, only how many there are.
const words = ({ n_votes: n, is_closed: isClosed }) => (isClosed ? " · closed" : n ? ` · ${n} vote${n === 1 ? "" : "s"} so far` : "");

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
