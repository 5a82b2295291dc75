"use strict";
// What the page is about, and in which order this listener meets it.
const byId = (id) => document.getElementById(id);
const run = JSON.parse(byId("run").textContent);
const listener = JSON.parse(byId("listener").textContent);

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

const seed = listener.seed ?? crypto.getRandomValues(new Uint32Array(1))[0];
const order = run.is_blind ? shuffledOrder(seed, run.ways.length) : [...run.ways.keys()];
const ways = order.map((n) => run.ways[n]);
const nameOf = (index) => [index + 1, ways[index].name].filter(Boolean).join(", ");
