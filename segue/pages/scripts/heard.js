// Which options were heard through their bridge: from shortly before it to shortly after it, in
// cells that the music has passed while it played.
const CELL_S = 0.5, AROUND_S = 2;
let passed = null; // where the last look was: option, start of the stretch, place

function cellsToHear(way) {
  const from = Math.floor(Math.max(way.exit_s - AROUND_S, 0) / CELL_S);
  const to = Math.floor(Math.min(way.entry_s + AROUND_S, way.duration_s - CELL_S) / CELL_S);
  return new Set(Array.from({ length: Math.max(to - from, 0) + 1 }, (_, i) => from + i));
}

for (const way of ways) way.toHear = new Set((kept.toHear || {})[way.key] ?? cellsToHear(way));
const isHeard = (way) => way.toHear.size === 0;

// Called with every look at the clock; a look that comes late takes in what has passed since.
function notePlace(index, seconds) {
  if (seconds === null) { passed = null; return; }
  const goesOn = passed && passed.index === index && passed.startedAt === state.startedAt && seconds >= passed.seconds;
  const { toHear } = ways[index], left = toHear.size;
  for (let cell = Math.floor((goesOn ? passed.seconds : seconds) / CELL_S); cell <= seconds / CELL_S; cell += 1) toHear.delete(cell);
  passed = { index, startedAt: state.startedAt, seconds };
  if (left !== toHear.size) keep({ toHear: Object.fromEntries(ways.map((way) => [way.key, [...way.toHear]])) });
  if (left && !toHear.size) showHeard();
}
