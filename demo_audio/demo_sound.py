"""From notes to sound: MIDI files through the FluidSynth command line.

FluidSynth starts notes on blocks of 64 frames (1.45 ms) and every patch takes
its own time to speak. So pitched parts are moved earlier by the measured
attack of their patch, and drums are rendered hit by hit and laid on the grid
to the frame: what the truth file says is when the sound is *heard*.
"""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import mido
import numpy as np
import numpy.typing as npt
import soundfile as sf

if TYPE_CHECKING:
    from demo_score import Note

Audio = npt.NDArray[np.float64]

RATE_HZ: Final = 44100
SOUNDFONT: Final = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
TICKS_PER_BEAT: Final = 4800
TICKS_PER_SECOND: Final = 2 * TICKS_PER_BEAT
"""At the MIDI file's fixed 120 BPM; the songs' tempo is already in the seconds."""

BLOCK_FRAMES: Final = 64
ATTACK_SHARE: Final = 0.1
"""A sound has begun when it first reaches this share of its peak (-20 dB)."""

LONGEST_ADVANCE_S: Final = 0.045
"""Slow pads are anticipated by no more than this (chosen by ear)."""

DRUM_CHANNEL: Final = 9
DRUM_KICK: Final = 36
DRUM_STEP: Final = 6
"""Hits are rendered at every sixth velocity."""

RING_S: Final = {49: 3.4, 51: 2.2, 46: 1.2, 43: 1.2, 47: 1.2, 50: 1.2}
"""How long a hit may ring; others 0.8 s."""

HAT_NOTES: Final = (42, 44, 46)

DRUM_PAN: Final = {42: -0.3, 44: -0.3, 46: -0.3, 49: 0.25, 51: 0.35, 50: -0.3, 43: 0.35}
DRUM_PAN_HANDS: Final = {54: 0.45, 70: -0.45, 39: 0.1}
"""Places on the stage, -1 left to 1 right, of the kit and of the hand percussion."""

Events = list[tuple[float, mido.Message]]
Clock = Callable[[float], float]
"""Seconds in the file of a beat of the song."""


@dataclass(frozen=True, slots=True)
class Feel:
    """How loosely a part is played: spread of its timing and of its velocities."""

    timing_ms: float
    velocity: float
    roll_ms: float = 0.0


TIGHT: Final = Feel(0.5, 4.0)
BASS_FEEL: Final = Feel(3.0, 4.0)
HANDS_FEEL: Final = Feel(4.0, 4.0, 5.0)


def render_midi(events: Events, *, length_s: float) -> Audio:
    """Audio of timed MIDI messages, shape (n_frames, 2), dry."""
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=500_000))
    now = 0
    for time_s, message in sorted(events, key=lambda event: event[0]):
        tick = round(max(0.0, time_s) * TICKS_PER_SECOND)
        track.append(message.copy(time=tick - now))
        now = tick
    end = mido.Message("control_change", channel=15, control=7, value=100)
    track.append(end.copy(time=max(0, round(length_s * TICKS_PER_SECOND) - now)))
    score = mido.MidiFile(ticks_per_beat=TICKS_PER_BEAT, tracks=[track])
    with tempfile.TemporaryDirectory() as folder:
        midi, wav = Path(folder, "part.mid"), Path(folder, "part.wav")
        score.save(midi)
        options = ["-ni", "-q", "-R", "0", "-C", "0", "-g", "0.8", "-r", str(RATE_HZ)]
        output = ["-O", "float", "-T", "wav", "-F", str(wav)]
        subprocess.run(["fluidsynth", *options, *output, str(SOUNDFONT), str(midi)], check=True)
        audio, _ = sf.read(wav, dtype="float64", always_2d=True)
    return fitted(audio, round(length_s * RATE_HZ))


def fitted(audio: Audio, n_frames: int) -> Audio:
    """The audio cut or padded with silence to a length."""
    short = max(0, n_frames - len(audio))
    return np.pad(audio[:n_frames], ((0, short), (0, 0)))


def attack_frame(audio: Audio) -> int:
    """First frame at which a sound has begun."""
    level = np.abs(audio).max(axis=1)
    return int(np.argmax(level >= ATTACK_SHARE * level.max()))


def patch_attack_s(program: int, midi: int) -> float:
    """How long a patch takes to speak, at one pitch."""
    events: Events = [
        (0.0, mido.Message("program_change", program=program)),
        (0.1, mido.Message("note_on", note=midi, velocity=92)),
        (0.7, mido.Message("note_off", note=midi)),
    ]
    heard_s = attack_frame(render_midi(events, length_s=1.0)) / RATE_HZ
    return min(LONGEST_ADVANCE_S, heard_s - 0.1)


def render_part(
    notes: list[Note],
    program: int,
    clock: Clock,
    *,
    feel: Feel,
    rng: np.random.Generator,
    length_s: float,
) -> Audio:
    """A bass, keys, guitar or pad part, played with a human looseness."""
    middle = sorted(note.midi for note in notes)[len(notes) // 2]
    advance_s = patch_attack_s(program, middle)
    events: Events = [(0.0, mido.Message("program_change", program=program))]
    for note, late_s in _loosened(notes, feel, rng):
        velocity = int(np.clip(note.velocity + rng.normal(0, feel.velocity), 20, 122))
        on_s = clock(note.beat) + late_s - advance_s
        off_s = max(on_s + 0.03, clock(note.beat + note.beats) - advance_s)
        events.append((on_s, mido.Message("note_on", note=note.midi, velocity=velocity)))
        events.append((off_s - 0.002, mido.Message("note_off", note=note.midi)))
    return render_midi(events, length_s=length_s)


def _loosened(
    notes: list[Note], feel: Feel, rng: np.random.Generator
) -> Iterable[tuple[Note, float]]:
    """Each note with its lateness: chords move together and roll from the bottom."""
    beat, together_s, place = -1e9, 0.0, 0
    for note in sorted(notes, key=lambda n: (n.beat, n.midi)):
        if note.beat - beat > 1e-6:
            beat, place = note.beat, 0
            spread = feel.timing_ms / 1000
            together_s = float(np.clip(rng.normal(0, spread), -2 * spread, 2 * spread))
        yield note, together_s + place * feel.roll_ms / 1000 * float(rng.uniform(0.3, 1.0))
        place += 1


def render_drums(
    notes: list[Note], kit: int, clock: Clock, *, rng: np.random.Generator, length_s: float
) -> tuple[Audio, list[float]]:
    """A drum part laid hit by hit on the grid, and the time of every hit in seconds."""
    stepped = [(note, _stepped_velocity(note.velocity, rng)) for note in notes]
    hits = _hit_bank(kit, sorted({(note.midi, velocity) for note, velocity in stepped}))
    audio = np.zeros((round((length_s + 4) * RATE_HZ), 2))
    times_s: list[float] = []
    hat_times = np.array([clock(note.beat) for note in notes if note.midi in HAT_NOTES] + [1e9])
    for note, velocity in stepped:
        loose_s = 0.0 if note.midi == DRUM_KICK else float(rng.normal(0, TIGHT.timing_ms / 1000))
        time_s = clock(note.beat) + float(np.clip(loose_s, -0.001, 0.001))
        hit, before = hits[note.midi, velocity]
        if note.midi in HAT_NOTES:
            next_s = float(hat_times[np.searchsorted(hat_times, clock(note.beat) + 1e-4)])
            hit = _choked(hit, before + round((next_s - clock(note.beat)) * RATE_HZ))
        start = round(time_s * RATE_HZ) - before
        hit, start = hit[max(0, -start) :], max(0, start)
        audio[start : start + len(hit)] += hit * (_pan(note.midi) * 10 ** (rng.normal(0, 0.4) / 20))
        times_s.append(time_s)
    return fitted(audio, round(length_s * RATE_HZ)), times_s


def _pan(midi: int) -> npt.NDArray[np.float64]:
    place = (DRUM_PAN | DRUM_PAN_HANDS).get(midi, 0.0)
    angle = (place + 1) * np.pi / 4
    return np.sqrt(2) * np.array([np.cos(angle), np.sin(angle)])


def _stepped_velocity(velocity: int, rng: np.random.Generator) -> int:
    loose = np.clip(velocity + rng.normal(0, TIGHT.velocity), 12, 126)
    return DRUM_STEP * round(float(loose) / DRUM_STEP)


def _choked(hit: Audio, n_frames: int) -> Audio:
    """A hit stopped by the next stroke on the same pair of cymbals, faded in 8 ms."""
    if n_frames >= len(hit):
        return hit
    fade = np.linspace(1, 0, min(n_frames, round(0.008 * RATE_HZ)))
    stopped = hit[:n_frames].copy()
    stopped[n_frames - len(fade) :] *= fade[:, None]
    return stopped


def _hit_bank(kit: int, wanted: list[tuple[int, int]]) -> dict[tuple[int, int], tuple[Audio, int]]:
    """Each hit alone, with the number of frames before its attack."""
    slot_s = 290 * 10 * BLOCK_FRAMES / RATE_HZ
    events: Events = [(0.0, mido.Message("program_change", channel=DRUM_CHANNEL, program=kit))]
    for place, (midi, velocity) in enumerate(wanted):
        hit = mido.Message("note_on", channel=DRUM_CHANNEL, note=midi, velocity=velocity)
        events.append(((place + 1) * slot_s, hit))
        stop = mido.Message("note_off", channel=DRUM_CHANNEL, note=midi)
        events.append(((place + 1.9) * slot_s, stop))
    audio = render_midi(events, length_s=(len(wanted) + 1) * slot_s)
    bank = {}
    for place, key in enumerate(wanted):
        start = round((place + 1) * slot_s * RATE_HZ) - BLOCK_FRAMES
        ring = round(min(slot_s - 0.05, RING_S.get(key[0], 0.8)) * RATE_HZ)
        hit = audio[start : start + ring].copy()
        hit *= np.minimum(1, np.arange(ring, 0, -1) / (0.25 * ring))[:, None]
        bank[key] = hit, attack_frame(hit)
    return bank
