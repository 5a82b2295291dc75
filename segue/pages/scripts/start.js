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

// On a page that hides names the places to listen to are the same for all: bridge and new song.
function addPlaces() {
  for (const [i, way] of ways.entries()) {
    for (const [time_s, words] of [[way.exit_s, "bridge"], [way.entry_s, "new song"]]) {
      const begun = way.bars.filter((bar) => bar.time_s <= time_s + 1e-3), bar = begun.at(-1);
      const from = begun.at(-2) ? begun.at(-2).time_s : 0;
      const button = part(byId(`places-${i}`), "button", "", { type: "button", class: "goto place", "data-way": i, "data-from": from });
      part(button, "span", bar ? `bar ${bar.number}` : "start");
      part(button, "span", ` ${words}`, { class: "soft" });
    }
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
