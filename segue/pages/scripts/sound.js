// Playing. `state.place` is where the music was at `state.startedAt` on the audio clock;
// everything that moves it goes through `jump`.
const HEADROOM = 0.7; // click and cue on top of the music stay below full scale
const BUSES = ["music", "click", "cue"];
const state = { now: 0, place: 0, startedAt: 0, playing: false, loop: null };
let faders = null, nodes = [], loopSounds = null, wanted = 0;

// From inside the page, or from the server that it came from.
async function bytesOf(id) {
  if (listener.is_served) {
    const answer = await fetch(`${listener.base}/sound/${id}.mp3`);
    if (!answer.ok) throw new Error(`${id} did not come`);
    return answer.arrayBuffer();
  }
  return bytesIn(id);
}

// The sounds stand last in the page: an option's are all there once the next one's have begun.
async function received(sound) {
  while (document.readyState === "loading" && !byId(`music-${Number(sound) + 1}`)) {
    await new Promise((later) => setTimeout(later, 10));
  }
}

// Decoded before anyone has pressed a key: an offline context needs no permission to sound.
async function unpacked(index) {
  const { sound: own } = ways[index];
  await received(own);
  const sounds = {};
  await Promise.all(BUSES.map(async (bus) => {
    const rate = bus === "music" ? run.rate_hz : run.rate_hz / 2;
    const decoder = new OfflineAudioContext(1, 1, rate);
    const buffer = await decoder.decodeAudioData(await bytesOf(`${bus}-${own}`));
    sounds[bus] = { buffer, start_s: startOf(buffer, run) };
  }));
  ways[index].sounds = sounds;
}

function ready(index) {
  ways[index].unpacking ??= unpacked(index);
  return ways[index].unpacking;
}

// Click and cue have their faders.
function connectBuses() {
  const out = gainNode(audio.destination);
  out.gain.value = HEADROOM;
  faders = Object.fromEntries(BUSES.map((bus) => [bus, gainNode(out)]));
  for (const bus of ["click", "cue"]) faders[bus].gain.value = faderGain(bus);
}

const faderGain = (bus) => (Number(byId(bus).value) / 100) ** 2;

function placeAt(time) {
  if (!state.playing) return state.place;
  const t = state.place + Math.max(time - state.startedAt, 0);
  if (!state.loop) return Math.min(t, ways[state.now].duration_s);
  const [from, to] = state.loop;
  return from + ((t - from) % (to - from));
}

const here = () => placeAt(audio ? audio.currentTime : 0);

// Whole frames on every bus, so that no loop drifts against another.
const onFrame = (seconds) => (Math.round(seconds * run.rate_hz / 2) * 2) / run.rate_hz;

// The span as a sound of its own, its end faded into what comes before its start.
function loopOf({ buffer, start_s }, [from, to]) {
  const rate = buffer.sampleRate, first = Math.round((start_s + from) * rate);
  const n = Math.min(Math.round((to - from) * rate), buffer.length - first), fade = Math.round(FADE_S * rate);
  const loop = new AudioBuffer({ length: Math.round((to - from) * rate), numberOfChannels: buffer.numberOfChannels, sampleRate: rate });
  for (let channel = 0; channel < buffer.numberOfChannels; channel += 1) {
    const from_ = buffer.getChannelData(channel), into = loop.getChannelData(channel);
    into.set(from_.subarray(first, first + n));
    for (let i = 0; i < fade; i += 1) {
      const at = into.length - fade + i, share = (i + 1) / fade;
      into[at] = into[at] * (1 - share) + from_[first - fade + i] * share;
    }
  }
  return { buffer: loop, start_s: -from };
}

function sound({ now, place, startedAt: at, loop }) {
  const way = ways[now], level = 10 ** (way.gain_db / 20);
  const sounding = BUSES.map((bus) => {
    const { buffer, start_s } = (loop ? loopSounds : way.sounds)[bus];
    return voice(buffer, { at, from: start_s + place, level: bus === "music" ? level : 1, into: faders[bus], span: { loop: Boolean(loop) } });
  });
  sounding[0].source.onended = () => { if (state.playing) pause(); };
  return sounding;
}

// Go to the place that `find` makes of the present one, in an option, in a loop or none.
function jump(index, find, loop = null) {
  if (loop && loop !== state.loop) {
    loop = loop.map(onFrame);
    loopSounds = null;
  }
  const { sounds } = ways[index];
  if (loop && sounds) loopSounds ??= Object.fromEntries(BUSES.map((bus) => [bus, loopOf(sounds[bus], loop)]));
  const next = { now: index, loop };
  const goAt = (at) => {
    let place = Math.min(Math.max(onFrame(find(placeAt(at))), 0), ways[index].duration_s);
    if (loop && (place < loop[0] || place >= loop[1])) place = loop[0];
    return Object.assign(next, { place, startedAt: at });
  };
  if (state.playing) nodes = switched(nodes, (at) => sound(goAt(at)));
  else goAt(0);
  Object.assign(state, next);
}

async function play() {
  openAudio(connectBuses, { sampleRate: run.rate_hz });
  const index = state.now;
  await Promise.all([audio.resume(), ready(index)]);
  if (state.playing || index !== state.now) return;
  if (here() >= ways[index].duration_s - 0.05) state.place = 0;
  state.playing = true;
  state.startedAt = Infinity;
  jump(index, (t) => t, state.loop);
}

function pause() {
  const at = audio.currentTime;
  state.place = placeAt(at);
  state.playing = false;
  silence(nodes, at);
  nodes = [];
}
