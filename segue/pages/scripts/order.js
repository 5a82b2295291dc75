// What the page is about, and in which order this listener meets it.
const run = JSON.parse(byId("run").textContent);
const listener = JSON.parse(byId("listener").textContent);

// What was heard and typed outlives a reload, and a phone that throws the page out. It is kept on
// this device only, for this run and this listener.
const KEPT = `segue ${run.id} ${listener.id || ""}`;
const kept = (() => { try { return JSON.parse(localStorage.getItem(KEPT)) || {}; } catch { return {}; } })();

function keep(values) {
  Object.assign(kept, values);
  try { localStorage.setItem(KEPT, JSON.stringify(kept)); } catch { /* a private window: nothing is kept */ }
}

// The order is kept with the vote as a seed, from which it can be told again. The rule is the quick
// generator modulo 2**32 of Press, Teukolsky, Vetterling and Flannery, "Numerical Recipes in C", 2nd
// ed., 1992, section 7.1 (from memory); its high bits decide, for its low bits repeat.
function shuffledOrder(seed, n) {
  const order = [...Array(n).keys()];
  let state = seed;
  for (let last = n - 1; last > 0; last -= 1) {
    state = (Math.imul(1664525, state) + 1013904223) >>> 0;
    const other = Math.floor((state / 2 ** 32) * (last + 1));
    [order[last], order[other]] = [order[other], order[last]];
  }
  return order;
}

// A server sends a blind page in the listener's own order; a file is shuffled here, once.
const waysGiven = listener.ways || run.ways;
const isShuffledHere = run.is_blind && !listener.is_served;
const seed = isShuffledHere ? kept.seed ?? crypto.getRandomValues(new Uint32Array(1))[0] : 0;
if (isShuffledHere) keep({ seed });
const order = isShuffledHere ? shuffledOrder(seed, waysGiven.length) : [...waysGiven.keys()];
const ways = order.map((n) => waysGiven[n]);
const nameOf = (index) => [ways[index].label || index + 1, ways[index].name].filter(Boolean).join(", ");
