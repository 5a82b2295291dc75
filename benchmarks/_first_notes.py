"""First notes of a singer or a lead instrument: scooped, shaken, and with the band behind.

Every phrase comes twice, as a clean stem and with 12 to 26 dB less of a band bleeding into
it. Its truth is the pitch that the note settles on, in MIDI notes with cents, and the
moment at which its attack is heard.
"""

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from benchmarks import _grooves
from benchmarks._attacks import Attacks
from benchmarks._render import RATE_HZ, Audio, Bend, Note, Performance, Voice, render, snapped_s

VOICES: Final = {
    53: (50, 74),
    54: (50, 74),
    85: (50, 74),
    40: (57, 84),
    42: (40, 62),
    64: (58, 78),
    65: (52, 75),
    66: (46, 70),
    68: (60, 80),
    73: (62, 86),
    71: (52, 78),
    80: (55, 80),
    81: (50, 76),
}
"""Programs that sing, and the lowest and highest note they begin on: voices, strings,
saxophones, winds, synthesiser leads."""
LEAD_CHANNEL: Final = 5
WHEEL_STEP_S: Final = 0.004
PHRASE_S: Final = 9.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """A few sung notes; `scoop_s` is 0 where the first is hit straight."""

    program: int
    notes: tuple[Note, ...]
    scoop_cents: float
    scoop_s: float
    vibrato_cents: float
    vibrato_hz: float
    tuning_cents: float


def phrase(rng: np.random.Generator) -> Phrase:
    """A phrase of three to five notes that begins after one to four seconds."""
    program = int(rng.choice(list(VOICES)))
    midi = int(rng.integers(VOICES[program][0], VOICES[program][1] + 1))
    time_s = float(rng.uniform(1.0, 4.0))
    notes = []
    for _ in range(int(rng.integers(3, 6))):
        length_s = float(rng.uniform(0.3, 1.1))
        notes.append(
            Note(start_s=snapped_s(time_s), length_s=0.93 * length_s, midi=midi,
                 velocity=int(rng.integers(70, 115)), channel=LEAD_CHANNEL)
        )  # fmt: skip
        time_s += length_s
        midi += int(rng.choice([-4, -2, -1, 2, 3, 5]))
    is_scooped = rng.random() < 0.65
    return Phrase(
        program=program,
        notes=tuple(notes),
        scoop_cents=float(rng.uniform(-200, -50)) if is_scooped else 0.0,
        scoop_s=float(rng.uniform(0.04, 0.12)) if is_scooped else 0.0,
        vibrato_cents=float(rng.uniform(10, 45)) if rng.random() < 0.6 else 0.0,
        vibrato_hz=float(rng.uniform(4.5, 7.0)),
        tuning_cents=float(rng.uniform(-40, 40)),
    )


def _bends(sung: Phrase) -> tuple[Bend, ...]:
    """The pitch wheel of the phrase: up into the first note, then vibrato on every note."""
    bends = []
    for number, note in enumerate(sung.notes):
        since_s = np.arange(0.0, note.length_s, WHEEL_STEP_S)
        swell = np.clip((since_s - 0.2) / 0.2, 0, 1)
        cents = swell * sung.vibrato_cents * np.sin(2 * np.pi * sung.vibrato_hz * (since_s - 0.2))
        if number == 0 and sung.scoop_s:
            rise = np.clip(since_s / sung.scoop_s, 0, 1)
            cents += sung.scoop_cents * 0.5 * (1 + np.cos(np.pi * rise))
        bends += [
            Bend(time_s=note.start_s + since, semitones=float(bend) / 100, channel=LEAD_CHANNEL)
            for since, bend in zip(since_s, cents, strict=True)
        ]
    return tuple(bends)


def lead_sound(sung: Phrase, rng: np.random.Generator) -> Audio:
    """The phrase alone, dry or in a room."""
    performance = Performance(
        notes=sung.notes,
        voices={LEAD_CHANNEL: Voice(program=sung.program)},
        bends=_bends(sung),
        tuning_cents=sung.tuning_cents,
        reverb_level=float(rng.uniform(0.2, 0.7)) if rng.random() < 0.4 else 0.0,
    )
    sound = render(performance, length_s=PHRASE_S)
    loudest = max(float(np.abs(sound).max()), 1e-6)
    return (sound * (float(rng.uniform(0.2, 0.7)) / loudest)).astype(np.float32)


def with_bleed(lead: Audio, below_db: float, rng: np.random.Generator) -> Audio:
    """The lead with a band `below_db` softer (root mean square, over what each sounds)."""
    band = _grooves.groove("end", rng)
    notes = [replace(n, start_s=snapped_s(n.start_s)) for n in band.performance.notes]
    performance = replace(band.performance, notes=tuple(notes), reverb_level=0.4)
    sound = render(performance, length_s=PHRASE_S)
    gain = _level(lead) / _level(sound) * 10 ** (-below_db / 20)
    return np.clip(lead + gain * sound, -1, 1).astype(np.float32)


def _level(sound: Audio) -> float:
    """Root mean square of the 10 ms blocks that are within 40 dB of the loudest."""
    n_block = RATE_HZ // 100
    power = (sound.astype(np.float64) ** 2).mean(axis=1)
    blocks = power[: len(power) // n_block * n_block].reshape(-1, n_block).mean(axis=1)
    return float(np.sqrt(blocks[blocks > 1e-4 * blocks.max()].mean()))


def first_note_truth(sung: Phrase, attacks: Attacks) -> dict[str, Any]:
    """Pitch and attack of the phrase's first note."""
    note = sung.notes[0]
    voices = {LEAD_CHANNEL: Voice(program=sung.program)}
    off_cents = attacks.off_cents_of(sung.program, note.midi)
    return {
        "midi": round(note.midi + (sung.tuning_cents + off_cents) / 100, 3),
        "time_s": round(note.start_s + attacks.delay_of(note, voices), 5),
        "program": sung.program,
        "scoop_cents": round(sung.scoop_cents, 1),
        "scoop_s": round(sung.scoop_s, 3),
        "vibrato_cents": round(sung.vibrato_cents, 1),
        "tuning_cents": round(sung.tuning_cents, 2),
    }
