// The plan and the tries, bar by bar. Side 0 is the plan; `starts` are the seconds of a side's own
// sound at which the bars start, the end behind them. A place is a bar and a part of it: the same
// on every side, so that a switch carries on at the same spot of the music.
const byId = (id) => document.getElementById(id);
const told = JSON.parse(byId("told").textContent);
const rows = [...document.querySelectorAll("tr[data-place]")];
const sounds = [];
let now = null, wanted = 0, side = told.best, lastTry = told.best, last = 0;

function soundOf(n) {
  sounds[n] ??= audio.decodeAudioData(bytesIn(`sound-${n}`))
    .then((buffer) => ({ buffer, start_s: startOf(buffer, told) }));
  return sounds[n];
}

function secondsAt(n, place) {
  const { starts } = told.sides[n], bar = Math.min(Math.floor(place + 1e-6), starts.length - 2);
  return Math.max(starts[bar] + (place - bar) * (starts[bar + 1] - starts[bar]), 0);
}

function placeAt(n, seconds) {
  const { starts } = told.sides[n];
  let bar = starts.findIndex((start) => start > seconds + 1e-6) - 1;
  if (bar === -2) bar = starts.length - 2;
  bar = Math.max(bar, 0);
  return bar + Math.min(Math.max((seconds - starts[bar]) / (starts[bar + 1] - starts[bar]), 0), 0.999);
}

// Where the music is at a time of the audio clock.
function placeNow(at = audio.currentTime) {
  if (!now) return last;
  let seconds = now.from + Math.max(at - now.at, 0);
  if (now.loop && seconds >= now.loop[1]) {
    seconds = now.loop[0] + ((seconds - now.loop[0]) % (now.loop[1] - now.loop[0]));
  }
  return placeAt(now.side, seconds);
}

async function play(n, where) {
  openAudio();
  const mine = ++wanted;
  let sound;
  try {
    [sound] = await Promise.all([soundOf(n), audio.resume()]);
  } catch { byId("now").textContent = "This browser cannot play it."; return; }
  if (mine !== wanted) return;
  let next;
  const voices = switched(now ? now.voices : [], (at) => {
    const place = where ?? placeNow(at), from = secondsAt(n, place);
    let loop = null, span = {};
    if (byId("loop").checked) {
      const bar = Math.floor(place + 1e-6);
      loop = [secondsAt(n, bar), told.sides[n].starts[bar + 1]];
      span = { loop: true, loopStart: sound.start_s + loop[0], loopEnd: sound.start_s + loop[1] };
    }
    next = { side: n, at, from, loop };
    return [voice(sound.buffer, { at, from: sound.start_s + from, span })];
  });
  voices[0].source.onended = stop;
  now = { ...next, voices };
  side = n;
  if (n) lastTry = n;
  show();
  tick();
}

function stop() {
  wanted += 1;
  if (now) {
    last = placeNow();
    silence(now.voices, audio.currentTime);
    now = null;
  }
  show();
}

function show() {
  byId("play").textContent = now ? "Stop" : "Play";
  byId("side-plan").setAttribute("aria-pressed", side === 0);
  byId("side-take").setAttribute("aria-pressed", side !== 0);
  const name = told.sides[lastTry].name;
  byId("side-take").textContent = name[0].toUpperCase() + name.slice(1);
  const place = now ? Math.floor(placeNow() + 1e-6) : -1;
  rows.forEach((row, n) => {
    if (n === place) row.setAttribute("aria-current", "true"); else row.removeAttribute("aria-current");
  });
  document.querySelectorAll(".cell.sounding, td .sounding").forEach((node) => node.classList.remove("sounding"));
  if (!now) { byId("now").textContent = ""; return; }
  rows[place]?.querySelector(`[data-side="${side}"]`)?.classList.add("sounding");
  byId("now").textContent = `bar ${rows[place]?.querySelector("th").firstChild.textContent ?? ""}, ${told.sides[side].name}`;
  now.shown = place;
}

function tick() {
  if (!now) return;
  if (Math.floor(placeNow() + 1e-6) !== now.shown) show();
  requestAnimationFrame(tick);
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("button.hear");
  if (!button) return;
  const n = Number(button.dataset.side), place = Number(button.dataset.place);
  if (now && now.side === n && Math.floor(placeNow() + 1e-6) === place) stop(); else play(n, place);
});
byId("play").addEventListener("click", () => (now ? stop() : play(side, last)));
byId("side-plan").addEventListener("click", () => turn(0));
byId("side-take").addEventListener("click", () => turn(lastTry));
byId("loop").addEventListener("change", () => { if (now) play(side); });

// To the other side at the same spot; while nothing plays, for the next press of Play.
function turn(n) {
  if (now) { play(n); return; }
  side = n;
  show();
}

document.addEventListener("keydown", (event) => {
  if (event.target.closest("button, input, summary, a") || event.altKey || event.ctrlKey || event.metaKey) return;
  if (event.code === "Space") { event.preventDefault(); if (now) stop(); else play(side, last); }
});
