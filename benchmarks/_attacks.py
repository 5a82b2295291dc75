"""When a note of the renderer is heard, and how far its samples are off pitch.

Every instrument is played alone, note by note, and measured once. The attack of a note is
the first moment at which its level comes within 15 dB of its loudest in the first 200 ms:
the onset that listeners hear lies 6 to 15 dB below the maximum [VR81]_ (from memory). A struck
sound passes the whole range within 2 ms, a bowed one takes tens of milliseconds.

References
----------
.. [VR81] J. Vos and R. Rasch, "The perceptual onset of musical tones", Perception &
   Psychophysics 29(4), 1981, 323-335.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from benchmarks._render import (
    DRUM_CHANNEL,
    RATE_HZ,
    Audio,
    Note,
    Performance,
    Voice,
    render,
    snapped_s,
)

ATTACK_BELOW_LOUDEST_DB: Final = 15.0
ATTACK_WITHIN_S: Final = 0.2
PITCHES: Final = tuple(range(28, 97, 4))
DRUMS: Final = tuple(range(35, 60))
APART_S: Final = 3.0
SOUNDING_S: Final = 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Attacks:
    """Measured delays in seconds and pitch errors in cents, by program and MIDI note."""

    delay_s: dict[int, tuple[float, ...]]
    off_cents: dict[int, tuple[float, ...]]
    drum_delay_s: tuple[float, ...]

    def delay_of(self, note: Note, voices: dict[int, Voice]) -> float:
        """Delay from the key to the attack that is heard, in seconds."""
        if note.channel == DRUM_CHANNEL:
            nearest = min(range(len(DRUMS)), key=lambda index: abs(DRUMS[index] - note.midi))
            return self.drum_delay_s[nearest]
        delays = self.delay_s[voices[note.channel].program]
        return float(np.interp(note.midi, PITCHES, delays))

    def off_cents_of(self, program: int, midi: int) -> float:
        """How far the sample of a note is from equal temperament at 440 Hz."""
        return float(np.interp(midi, PITCHES, self.off_cents[program]))


def measured_attacks(programs: Sequence[int], cache: Path) -> Attacks:
    """Measure every program and the drum kit, or read what was measured before."""
    kept = cache / "attacks.json"
    if kept.exists():
        table = json.loads(kept.read_text())
        attacks = Attacks(
            delay_s={int(key): tuple(value) for key, value in table["delay_s"].items()},
            off_cents={int(key): tuple(value) for key, value in table["off_cents"].items()},
            drum_delay_s=tuple(table["drum_delay_s"]),
        )
        if set(programs) <= set(attacks.delay_s):
            return attacks
    measures = {program: _measure(Voice(program=program)) for program in sorted(set(programs))}
    attacks = Attacks(
        delay_s={program: measure[0] for program, measure in measures.items()},
        off_cents={program: measure[1] for program, measure in measures.items()},
        drum_delay_s=_measure(None)[0],
    )
    cache.mkdir(parents=True, exist_ok=True)
    table = {
        "delay_s": attacks.delay_s,
        "off_cents": attacks.off_cents,
        "drum_delay_s": attacks.drum_delay_s,
    }
    kept.write_text(json.dumps(table, indent=1))
    return attacks


def _measure(voice: Voice | None) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Delays and pitch errors of an instrument, or of the drum kit where there is none."""
    channel = 0 if voice else DRUM_CHANNEL
    pitches = PITCHES if voice else DRUMS
    notes = tuple(
        Note(
            start_s=snapped_s(0.5 + APART_S * index),
            length_s=SOUNDING_S,
            midi=midi,
            velocity=95,
            channel=channel,
        )
        for index, midi in enumerate(pitches)
    )
    performance = Performance(notes=notes, voices={channel: voice or Voice(program=0)})
    audio = render(performance, length_s=0.5 + APART_S * len(pitches))
    delays = tuple(attack_delay_s(audio, note.start_s) for note in notes)
    if voice is None:
        return delays, ()
    return delays, tuple(off_pitch_cents(audio, note) for note in notes)


def attack_delay_s(audio: Audio, start_s: float) -> float:
    """Time from `start_s` to the attack of the note that starts there, alone in `audio`."""
    start = round(start_s * RATE_HZ)
    level = np.abs(audio[start : start + round(ATTACK_WITHIN_S * RATE_HZ)]).max(axis=1)
    threshold = level.max() * 10 ** (-ATTACK_BELOW_LOUDEST_DB / 20)
    return float(np.argmax(level >= threshold)) / RATE_HZ


def off_pitch_cents(audio: Audio, note: Note) -> float:
    """Pitch error of the steady part of a note: the median over its first four partials."""
    first = round((note.start_s + 0.2) * RATE_HZ)
    steady = audio[first : first + round((SOUNDING_S - 0.25) * RATE_HZ)].sum(axis=1)
    n_bins = 1 << 20
    spectrum = np.abs(np.fft.rfft(steady * np.hanning(len(steady)), n_bins))
    wanted_hz = 440 * 2 ** ((note.midi - 69) / 12)
    offs, weights = [], []
    for partial in range(1, 5):
        low, high = (wanted_hz * partial * 2 ** (cents / 1200) for cents in (-50, 50))
        band = slice(int(low * n_bins / RATE_HZ), int(high * n_bins / RATE_HZ) + 1)
        peak = band.start + int(np.argmax(spectrum[band]))
        offs.append(1200 * np.log2(peak * RATE_HZ / n_bins / (wanted_hz * partial)))
        weights.append(spectrum[peak])
    loud = np.asarray(weights) >= 0.1 * max(weights)
    return float(np.median(np.asarray(offs)[loud]))
