"""What the browser plays, recorded, and where in the WAVs it comes from."""

import base64
import time

import numpy as np
import soundfile
from scipy import fft

RATE_HZ = 48_000
CHUNK_FRAMES = 4096
PATIENCE_S = 60.0  # only for a page that hangs; a busy machine is slow
CLEAR_CORRELATION = 0.5  # of a chunk with its own place: about 0.95; with any other: below 0.1

RECORDER = """
registerProcessor('tape', class extends AudioWorkletProcessor {
  constructor() { super(); this.block = new Float32Array(4096); this.n = 0; }
  process([input]) {
    if (!this.runs) { this.runs = true; this.port.postMessage(null); }
    if (!input.length) { this.n = 0; return true; }
    if (this.n === 0) this.time_s = currentTime;
    this.block.set(input[0], this.n);
    this.n += input[0].length;
    if (this.n === 4096) { this.port.postMessage([this.time_s, this.block.slice()]); this.n = 0; }
    return true;
  }
});
"""
TAPE_SCRIPT = f"""
window.tape = [];
let rolls = Promise.resolve();
const {{ connect }} = AudioNode.prototype, {{ resume }} = AudioContext.prototype;
AudioContext.prototype.resume = function () {{
  const tapeRolls = rolls;
  return resume.call(this).then(() => tapeRolls);
}};
AudioNode.prototype.connect = function (target, ...rest) {{
  const context = this.context;
  if (target === context.destination && context instanceof AudioContext) {{
    const recorder = "data:text/javascript," + encodeURIComponent(`{RECORDER}`);
    rolls = context.audioWorklet.addModule(recorder)
      .then(() => new Promise((resolve) => {{
        const tap = new AudioWorkletNode(context, "tape");
        tap.port.onmessage = ({{ data }}) => data ? tape.push([data[0],
          btoa(String.fromCharCode(...new Uint8Array(data[1].buffer)))]) : resolve();
        connect.call(this, tap);
      }}));
  }}
  return connect.call(this, target, ...rest);
}};
"""
"""Run before the page's own script; the page must be opened with its policy set aside.

Nothing plays before the tape rolls: the browser moves its graph to another thread for a recorder,
and a sound that is under way then falls a buffer (1,024 frames) behind its clock.
"""


BUSY_SCRIPT = """(() => {
const { start } = AudioBufferSourceNode.prototype;
let n = 0;
window.ahead = [];
AudioBufferSourceNode.prototype.start = function (when, ...rest) {
  const end = performance.now() + (n++ ? 0 : 120);
  while (performance.now() < end);
  ahead.push(when - this.context.currentTime);
  return start.call(this, when, ...rest);
};
})()"""
"""Holds a page up once between choosing a moment and starting a sound then.

It notes how far ahead of that moment each sound was started, in seconds.
"""


def until(page, condition, patience_s=PATIENCE_S):
    """Wait for a condition in the page; its policy forbids the driver's own way, which is eval."""
    end = time.monotonic() + patience_s
    while not page.evaluate(condition):
        assert time.monotonic() < end, f"{condition} did not come true; {page.troubles}"
        page.wait_for_timeout(20)


def ready_to_vote(page):
    """Wait for the page of a vote and its script: the form stands before the script has run."""
    page.wait_for_selector("#vote")
    page.wait_for_load_state()


def recorded(page):
    """Blocks of (time on the audio clock, samples), in order.

    Without the first: the recorder joins a running graph, and its first time may be a buffer off.
    """
    tape = page.evaluate("tape")[1:]
    return [(t, np.frombuffer(base64.b64decode(block), dtype=np.float32)) for t, block in tape]


class Finder:
    """Finds chunks of sound in the music of the candidates."""

    def __init__(self, folder, document):
        music = [
            soundfile.read(folder / r.music_file, dtype="float32")[0] for r in document.candidates
        ]
        self.n = fft.next_fast_len(max(map(len, music)) + CHUNK_FRAMES, real=True)
        self.spectra = [fft.rfft(m, self.n) for m in music]
        self.energies = [np.concatenate([[0.0], np.cumsum(m**2, dtype=np.float64)]) for m in music]

    def place(self, chunk):
        """(index of the candidate, seconds) of a chunk's first frame; None if not clear."""
        spectrum, best = np.conj(fft.rfft(chunk, self.n)), (CLEAR_CORRELATION, None)
        for index, (music, energy) in enumerate(zip(self.spectra, self.energies, strict=True)):
            product = fft.irfft(music * spectrum, self.n)[: len(energy) - 1 - CHUNK_FRAMES]
            at = int(np.argmax(product))
            there = energy[at + CHUNK_FRAMES] - energy[at]
            clear = product[at] / np.sqrt(there * np.sum(chunk**2) + 1e-12)
            if clear > best[0]:
                best = (clear, (index, at / RATE_HZ))
        return best[1]

    def places(self, blocks):
        """(time on the audio clock, candidate, seconds) of every clear block."""
        found = [(time_s, self.place(block)) for time_s, block in blocks]
        return [(time_s, *place) for time_s, place in found if place is not None]
