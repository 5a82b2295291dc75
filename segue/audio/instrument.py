"""A user's own sound for the pad: one recorded note, or a SoundFont.

A recorded note is any audio file. Its pitch is taken from its name ("choir A3.wav",
middle C is C4) or heard. A SoundFont is played through once here, every few
semitones, so that the rest of the program knows recorded notes only.

References
----------
.. [CK02] A. de Cheveigné and H. Kawahara, "YIN, a fundamental frequency
   estimator for speech and music", JASA 111(4), 2002, 1917-1930.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from segue.audio.clip import Clip
from segue.audio.decode import read_stereo, sound_info
from segue.errors import AudioFileError, OptionError
from segue.music.key import parse_note

if TYPE_CHECKING:
    from pathlib import Path

    from segue.arrays import Floats32

SOUNDFONT_ENDINGS: Final = frozenset({".sf2", ".sf3"})
LONGEST_S: Final = 20.0
"""More of a note is not read."""
_SHORTEST_S: Final = 0.5  # a shorter note cannot be held; by judgement
_NAMED: Final = re.compile(r"(?:^|[ _-])([A-Ga-g])([#b♯♭]?)(-?\d)(?=$|[ _.-])")
_HEARD_HZ: Final = (25.0, 2_200.0)  # pitches that are looked for; by judgement
_BELIEVED_MIDI: Final = (21.0, 95.0)  # A0 to B6: noise is heard at the ends of what is looked for
_HEARD_S: Final = 1.0  # so much of a note is listened to, from its first quarter on; by judgement
_NEAR_SEMITONES: Final = 0.5  # what is heard agrees with itself and a file's name within this
_LEAST_HELD: Final = 0.5  # share of that second in which a note has its pitch; by judgement
_FONT_RATE_HZ: Final = 48_000  # at which a sound font is played
_FONT_NOTES: Final = range(36, 88, 4)
_FONT_NOTE_S: Final = 5.0  # how long each of its notes is played
_FONT_VELOCITY: Final = 90  # of 127, rather loud; by judgement
WARM_PAD: Final = 89
"""Preset of a warm pad, counted from 0 (General MIDI Level 1: program 90)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SampledNote:
    """One recorded note.

    Parameters
    ----------
    clip : Clip
        Stereo, from its attack on.
    """

    midi: float
    clip: Clip


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """A sound that plays the pad.

    Parameters
    ----------
    notes : tuple of SampledNote
        At least one, ascending in pitch.
    """

    name: str
    notes: tuple[SampledNote, ...]

    def nearest(self, midi: float) -> SampledNote:
        """The recorded note closest in pitch."""
        return min(self.notes, key=lambda note: abs(note.midi - midi))


def read_instrument(path: Path) -> Instrument:
    """A user's sound, from its file.

    Parameters
    ----------
    path : Path
        An audio file with one note, or a SoundFont, of which the warm pad plays, or the first
        sound that it has.

    Raises
    ------
    AudioFileError
        If the file cannot be read, is too short, or its pitch is not heard.
    OptionError
        If SoundFonts cannot be played here.
    """
    if path.suffix.lower() in SOUNDFONT_ENDINGS:
        return _font(path)
    info = sound_info(path)
    n_frames = min(info.n_frames, round(LONGEST_S * info.rate_hz))
    samples = _sounding(read_stereo(info, start_frame=0, n_frames=n_frames))
    if len(samples) < _SHORTEST_S * info.rate_hz:
        raise AudioFileError(
            path,
            f"holds {len(samples) / info.rate_hz:.2f} s of sound, too little for a held note; "
            f"record at least {_SHORTEST_S} s.",
        )
    clip = Clip(samples=samples, rate_hz=info.rate_hz)
    note = SampledNote(midi=_pitch_of(path, clip), clip=clip)
    return Instrument(name=path.stem, notes=(note,))


def heard_midi(clip: Clip) -> float | None:
    """Pitch of a steady note [CK02]_; None where no pitch holds for half of it.

    Of 634 notes of 46 presets of two General MIDI SoundFonts, 621 are within 0.3 semitones of their
    number, and two an octave off.
    """
    from librosa import hz_to_midi, yin  # heavy, and few bring an instrument

    lowest_hz, highest_hz = _HEARD_HZ
    window = 1 << int(np.ceil(np.log2(2 * clip.rate_hz / lowest_hz)))
    start = clip.n_frames // 4
    mono = clip.samples[start : start + round(_HEARD_S * clip.rate_hz)].mean(axis=1)
    if len(mono) < window or not mono.any():
        return None
    hertz = yin(
        mono, fmin=lowest_hz, fmax=highest_hz, sr=clip.rate_hz, frame_length=window, center=False
    )
    midi = hz_to_midi(hertz)
    typical = float(np.median(midi))
    holds = np.mean(np.abs(midi - typical) < _NEAR_SEMITONES) >= _LEAST_HELD
    lowest, highest = _BELIEVED_MIDI
    return typical if holds and lowest <= typical <= highest else None


def _pitch_of(path: Path, clip: Clip) -> float:
    """Pitch by name, made exact by ear where the two agree; by ear alone where none is named."""
    heard = heard_midi(clip)
    named = _named_midi(path.stem)
    if named is not None:
        agrees = heard is not None and abs(heard - named) <= _NEAR_SEMITONES
        return heard if agrees and heard is not None else named
    if heard is None:
        raise AudioFileError(
            path, "has no pitch that is clearly heard; put it in its name, such as 'pad A3.wav'."
        )
    return heard


def _named_midi(stem: str) -> float | None:
    found = _NAMED.findall(stem)
    return parse_note("".join(found[-1])) if found else None


def _sounding(samples: Floats32) -> Floats32:
    """The note without silence before and after it."""
    level = np.abs(samples).max(axis=1)
    heard = np.flatnonzero(level > 1e-3 * level.max(initial=0.0))
    return samples[heard[0] : heard[-1] + 1] if len(heard) else samples[:0]


def _font(path: Path) -> Instrument:
    try:
        import tinysoundfont
    except ImportError as error:
        raise OptionError(
            f"{path.name} is a SoundFont, which needs another package; "
            "install it with: pip install --no-deps tinysoundfont"
        ) from error
    synth = tinysoundfont.Synth(samplerate=_FONT_RATE_HZ)
    try:
        font = synth.sfload(path.read_bytes())
    except OSError as error:
        raise AudioFileError(path, f"cannot be read ({error}); check the path.") from error
    except Exception as error:
        raise AudioFileError(path, f"is not a SoundFont that can be read ({error}).") from error
    chosen, name = _preset(synth, font, path)
    synth.program_select(0, font, 0, chosen)
    notes = tuple(_font_note(synth, midi) for midi in _FONT_NOTES)
    sounding = tuple(note for note in notes if note.clip.n_frames > _SHORTEST_S * _FONT_RATE_HZ)
    if not sounding:
        raise AudioFileError(
            path, f"is silent with its sound {chosen} ({name}); take another SoundFont."
        )
    return Instrument(name=name, notes=sounding)


def _preset(synth: Any, font: int, path: Path) -> tuple[int, str]:  # noqa: ANN401 - untyped library
    """Number and name of the sound to use."""
    for number in (WARM_PAD, *range(128)):
        name = synth.sfpreset_name(font, 0, number)
        if name:
            return number, str(name)
    raise AudioFileError(path, "has no sound in its first bank; take another SoundFont.")


def _font_note(synth: Any, midi: int) -> SampledNote:  # noqa: ANN401 - untyped library
    n_frames = round(_FONT_NOTE_S * _FONT_RATE_HZ)
    synth.noteon(0, midi, _FONT_VELOCITY)
    sound = np.frombuffer(synth.generate(n_frames), dtype=np.float32).reshape(-1, 2).copy()
    synth.sounds_off(0)
    clip = Clip(samples=_sounding(sound), rate_hz=_FONT_RATE_HZ)
    return SampledNote(midi=float(midi), clip=clip)
