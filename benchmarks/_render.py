"""Sound of a performance, through FluidSynth and a General MIDI SoundFont.

FluidSynth starts notes on the edges of its blocks of 64 frames, and its player reads the
clock in whole milliseconds (both read in its source, version 2.3). `snapped_s` moves a note
to a block edge, and the MIDI file names the millisecond in which that very block begins, so
a note sounds exactly where the truth says and nothing is left to rounding.
"""

import functools
import math
import os
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import mido
import numpy as np
import numpy.typing as npt
import soundfile

RATE_HZ: Final = 48_000
BLOCK_FRAMES: Final = 64
BLOCK_S: Final = BLOCK_FRAMES / RATE_HZ
DRUM_CHANNEL: Final = 9
"""Channel 10 of General MIDI, counted from 0."""
SOUNDFONT_NAMES: Final = ("FluidR3_GM.sf2",)
SOUNDFONT_FOLDERS: Final = (
    "/usr/share/sounds/sf2",
    "/usr/share/soundfonts",
    "/usr/local/share/sounds/sf2",
    "/opt/homebrew/share/sounds/sf2",
    "~/.local/share/sounds/sf2",
)

Audio = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A note to be played; `start_s` is the moment of the key, not of the sound."""

    start_s: float
    length_s: float
    midi: int
    velocity: int
    channel: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """A pitch wheel position, in semitones between -2 and 2."""

    time_s: float
    semitones: float
    channel: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """What a channel sounds like: General MIDI program, volume 0-127, pan 0-127."""

    program: int
    volume: int = 100
    pan: int = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Performance:
    """Everything that FluidSynth is told."""

    notes: tuple[Note, ...]
    voices: dict[int, Voice]
    bends: tuple[Bend, ...] = ()
    tuning_cents: float = 0.0
    reverb_level: float = 0.0
    room_size: float = 0.5


@functools.cache
def soundfont_path() -> Path:
    """The SoundFont of the benchmark, wherever it is installed."""
    for folder in SOUNDFONT_FOLDERS:
        for name in SOUNDFONT_NAMES:
            path = Path(folder).expanduser() / name
            if path.exists():
                return path
    msg = (
        f"SoundFont {SOUNDFONT_NAMES[0]}: not in {', '.join(SOUNDFONT_FOLDERS)}; "
        "install the Debian packages fluidsynth and fluid-soundfont-gm."
    )
    raise SystemExit(msg)


@functools.cache
def fluidsynth_path() -> str:
    """The fluidsynth program."""
    found = shutil.which("fluidsynth")
    if found is None:
        msg = (
            "fluidsynth: no such program on the path; "
            "install the Debian packages fluidsynth and fluid-soundfont-gm."
        )
        raise SystemExit(msg)
    return found


def snapped_s(time_s: float) -> float:
    """The block edge nearest to a moment, the first one at the earliest."""
    return max(round(time_s / BLOCK_S), 1) * BLOCK_S


def render(performance: Performance, *, length_s: float, soundfont: Path | None = None) -> Audio:
    """Stereo sound of the first `length_s` seconds, shape (n_frames, 2), at 48 kHz."""
    with tempfile.TemporaryDirectory() as folder:
        midi_path = Path(folder) / "performance.mid"
        wave_path = Path(folder) / "performance.wav"
        _midi_file(performance, length_s).save(midi_path)
        options = {
            "synth.reverb.active": int(performance.reverb_level > 0),
            "synth.reverb.level": performance.reverb_level,
            "synth.reverb.room-size": performance.room_size,
            "synth.chorus.active": 0,
            "synth.dynamic-sample-loading": 1,
            "synth.gain": 0.35,
            "synth.polyphony": 512,
            "synth.cpu-cores": 1,
        }
        command = [fluidsynth_path(), "-ni", "-q", "-F", str(wave_path), "-r", str(RATE_HZ)]
        command += ["-O", "float", "-T", "wav"]
        for name, value in options.items():
            command += ["-o", f"{name}={value}"]
        command += [str(soundfont or soundfont_path()), str(midi_path)]
        subprocess.run(command, check=True, capture_output=True, env=os.environ)
        audio, _ = soundfile.read(wave_path, dtype="float32", always_2d=True)
    n_frames = round(length_s * RATE_HZ)
    padded = np.zeros((n_frames, 2), dtype=np.float32)
    padded[: min(n_frames, len(audio))] = audio[:n_frames]
    return padded


def _tick(time_s: float) -> int:
    """The millisecond in which the block nearest to a moment begins."""
    block = max(round(time_s / BLOCK_S), 0)
    return math.floor(block * BLOCK_FRAMES * 1000 / RATE_HZ)


def _midi_file(performance: Performance, length_s: float) -> mido.MidiFile:
    """One tick a millisecond: 500 ticks a quarter at 120 quarters a minute."""
    events: list[tuple[int, int, mido.Message]] = []
    for channel, voice in performance.voices.items():
        events += [(0, 0, message) for message in _set_up(channel, voice, performance)]
    for bend in performance.bends:
        wheel = int(np.clip(round(bend.semitones / 2 * 8192), -8192, 8191))
        message = mido.Message("pitchwheel", channel=bend.channel, pitch=wheel)
        events.append((_tick(bend.time_s), 1, message))
    for note in performance.notes:
        start, end = _tick(note.start_s), _tick(note.start_s + note.length_s)
        pair = {"channel": note.channel, "note": note.midi}
        on = mido.Message("note_on", velocity=note.velocity, **pair)
        events.append((start, 3, on))
        events.append((max(end, start + 2), 2, mido.Message("note_off", **pair)))
    end_tick = _tick(length_s) + 500
    events.append((end_tick, 4, mido.MetaMessage("end_of_track")))
    events.sort(key=lambda event: event[:2])
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=500_000)])
    last = 0
    for tick, _, message in events:
        track.append(message.copy(time=tick - last))
        last = tick
    return mido.MidiFile(type=0, ticks_per_beat=500, tracks=[track])


def _set_up(channel: int, voice: Voice, performance: Performance) -> list[mido.Message]:
    """Program, volume, pan and (RPN 1, MIDI 1.0 specification) fine tuning of a channel."""
    control = functools.partial(mido.Message, "control_change", channel=channel)
    messages = [
        mido.Message("program_change", channel=channel, program=voice.program),
        control(control=7, value=voice.volume),
        control(control=10, value=voice.pan),
        control(control=91, value=100),
    ]
    if channel != DRUM_CHANNEL and performance.tuning_cents:
        value = 8192 + round(performance.tuning_cents / 100 * 8192)
        messages += [
            control(control=101, value=0),
            control(control=100, value=1),
            control(control=6, value=value >> 7),
            control(control=38, value=value & 127),
        ]
    return messages
