const PAINT_WAIT_MS = 600;

// The first option's sound is unpacked as soon as the page is painted, the others after it.
async function unpackAll() {
  for (const i of ways.keys()) {
    try { await ready(i); } catch { failed(i); }
    if (i === 0) performance.mark("playable");
  }
}

// Decoding keeps every core busy: wait until the picture is on the screen, or will not come.
function painted() {
  const seen = new Promise((done) => {
    try { new PerformanceObserver(done).observe({ type: "paint", buffered: true }); } catch { done(); }
  });
  return Promise.race([seen, new Promise((done) => { setTimeout(done, PAINT_WAIT_MS); })]);
}

// On a page that hides names one place is offered, and the same for all: where the old song is left.
function addPlaces() {
  for (const [i, way] of ways.entries()) {
    const begun = way.bars.filter((bar) => bar.time_s <= way.exit_s + 1e-3), bar = begun.at(-1);
    const from = begun.at(-2) ? begun.at(-2).time_s : 0;
    const button = part(byId(`places-${i}`), "button", "", { type: "button", class: "goto place", "data-way": i, "data-from": from });
    part(button, "span", bar ? `bar ${bar.number}` : "start");
    part(button, "span", " the change", { class: "soft" });
  }
}

if (ways.length) {
  byId("tools").open = matchMedia("(min-width: 60rem)").matches;
  if (run.is_blind) addPlaces();
  listen();
  openBallot();
  drawAll();
  performance.mark("drawn");
  painted().then(unpackAll);
}
