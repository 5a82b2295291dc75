"""Single cycles of the pad's three sounds, without a partial above 0.45 of the rate.

Vowel formants are the means for men's voices of [PB52]_ (from memory).

What the pad's keys do: which notes are struck, held and let go, and when.

Several detuned voices of one note, each reading a pair of cycles in its own slow movement.

References
----------
.. [PB52] G. Peterson and H. Barney, "Control methods used in a study of the
   vowels", JASA 24(2), 1952, 175-184.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, assert_never

import numba
import numpy as np

if TYPE_CHECKING:
    from segue.arrays import Floats
    from segue.plan.layer import PadLayer, PadSound
    from segue.plan.plan import Plan

DRIFT_RATIO = 0.00115
"""Each voice's pitch moves this much either way: 2 cents."""

STRAIGHT_FRAMES = 64
"""The slow movement is drawn by straight lines of this length; it is less than 2e-7 off."""


@numba.njit(cache=True, nogil=True)
def add_voices(onto, tables, envelope, steps, voices, randoms, rate_hz):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201, PLR0913
    """Add one note's voices to a stereo bus.

    Parameters
    ----------
    onto : ndarray, shape (n_frames, 2)
        Written to.
    tables : ndarray, shape (2, n_points + 1)
        A dark and a bright cycle, the last point repeating the first.
    envelope, steps : ndarray, shape (n_frames,)
        Level, and points of the table a frame.
    voices : ndarray, shape (n_voices, 3)
        Factor on the pitch, level on the left and on the right.
    randoms : ndarray, shape (n_voices, 3)
        0 to 1: phase of the cycle, phase and speed of the movement.
    """
    size = tables.shape[1] - 1
    for voice in range(voices.shape[0]):
        detune, left, right = voices[voice]
        phase = randoms[voice, 0] * size
        turn = 2 * np.pi * randoms[voice, 1]
        slow = 2 * np.pi * (0.07 + 0.11 * randoms[voice, 2]) / rate_hz
        move = step = 0.0
        for frame in range(envelope.shape[0]):
            if frame % STRAIGHT_FRAMES == 0:
                move = np.sin(turn + slow * frame)
                step = (np.sin(turn + slow * (frame + STRAIGHT_FRAMES)) - move) / STRAIGHT_FRAMES
            else:
                move += step
            index = int(phase)
            share = phase - index
            dark = tables[0, index] + share * (tables[0, index + 1] - tables[0, index])
            bright = tables[1, index] + share * (tables[1, index + 1] - tables[1, index])
            value = envelope[frame] * (dark + (0.5 + 0.5 * move) * (bright - dark))
            onto[frame, 0] += left * value
            onto[frame, 1] += right * value
            phase += steps[frame] * detune * (1.0 + DRIFT_RATIO * move)
            if phase >= size:
                phase -= size


LOWEST_MIDI: Final = 35
"""Lower notes sound an octave higher: B1 has 62 Hz; what lies below only blurs a hall."""
_CHANGE_S: Final = 0.3
"""Old and new notes of a change overlap this long, shorter where chords are short."""
_SWELL_S, _RELEASE_S = 1.2, 1.4  # seconds of the first rise and the last fall; by judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class PadNote:
    """One held note.

    Parameters
    ----------
    start_s, end_s : float
        Middle of the fade in and of the fade out, in plan seconds.
    attack_s, release_s : float
        Length of the fades.
    """

    midi: int
    start_s: float
    end_s: float
    attack_s: float
    release_s: float
    is_bass: bool


def pad_notes(layer: PadLayer, plan: Plan) -> tuple[PadNote, ...]:
    """The notes of a pad; one that stays in the next chord is held, not struck again.

    In order of their start, then pitch.
    """
    edges = [plan.seconds_at(v.start_beat) for v in layer.voicings]
    edges.append(plan.seconds_at(layer.end_beat))
    chords = [_registered(voicing.notes_midi) for voicing in layer.voicings]
    notes = []
    for index, chord in enumerate(chords):
        for midi, is_bass in chord:
            if index and (midi, is_bass) in chords[index - 1]:
                continue
            last = index
            while last + 1 < len(chords) and (midi, is_bass) in chords[last + 1]:
                last += 1
            notes.append(_note(midi, is_bass, edges, index, last))
    return tuple(notes)


def _note(midi: int, is_bass: bool, edges: list[float], first: int, last: int) -> PadNote:  # noqa: FBT001 - a pair
    length_s = edges[-1] - edges[0]
    is_opening, is_closing = first == 0, last == len(edges) - 2
    attack_s = min(_SWELL_S, length_s / 3) if is_opening else _change_s(edges, first)
    release_s = min(_RELEASE_S, length_s / 3) if is_closing else _change_s(edges, last + 1)
    return PadNote(
        midi=midi,
        start_s=edges[first] + (attack_s / 2 if is_opening else 0.0),
        end_s=edges[last + 1] - (release_s / 2 if is_closing else 0.0),
        attack_s=attack_s,
        release_s=release_s,
        is_bass=is_bass,
    )


def _change_s(edges: list[float], index: int) -> float:
    return min(
        _CHANGE_S, (edges[index] - edges[index - 1]) / 2, (edges[index + 1] - edges[index]) / 2
    )


def _registered(notes_midi: tuple[int, ...]) -> tuple[tuple[int, bool], ...]:
    """Notes with whether they are the bass, none too low, none twice."""
    raised = []
    for index, midi in enumerate(notes_midi):
        note = midi
        while note < LOWEST_MIDI:
            note += 12
        raised.append((note, index == 0))
    pitches: dict[int, bool] = {}
    for note, is_bass in raised:
        pitches.setdefault(note, is_bass)
    return tuple(pitches.items())


TABLE_FRAMES: Final = 8_192
"""Long enough that reading between its points by straight lines stays below -80 dB."""
HIGHEST_RATIO: Final = 0.45  # no partial above this share of the rate, so that none folds
_VOWEL_OO: Final = (300.0, 870.0, 2_240.0)  # formants in hertz [PB52]_, from memory
_VOWEL_AH: Final = (730.0, 1_090.0, 2_440.0)  # formants in hertz [PB52]_, from memory
_FORMANT_DB: Final = (0.0, -7.0, -22.0)  # their levels against the first; by judgement
# Half their widths at half their power; by judgement
_FORMANT_WIDTH_HZ: Final = (90.0, 110.0, 170.0)
_BETWEEN_FORMANTS_DB: Final = -34.0  # level of what lies between them; by judgement


def cycle_pair(
    sound: PadSound, pitch_hz: float, rate_hz: int, generator: np.random.Generator
) -> Floats:
    """A dark and a bright cycle of a sound, between which the pad moves.

    Parameters
    ----------
    pitch_hz : float
        Highest pitch at which the cycles will be read.
    generator : Generator
        Draws the phases, the same for both cycles.

    Returns
    -------
    ndarray, shape (2, TABLE_FRAMES + 1)
        Each of root mean square 1; the last point repeats the first.
    """
    partials = np.arange(1, max(int(HIGHEST_RATIO * rate_hz / pitch_hz), 1) + 1, dtype=np.float64)
    phases = np.exp(2j * np.pi * generator.random(len(partials)))
    spectra = np.zeros((2, TABLE_FRAMES // 2 + 1), dtype=np.complex128)
    used = min(len(partials), TABLE_FRAMES // 8)
    for row, shares in enumerate(_shares(sound, partials, pitch_hz)):
        spectra[row, 1 : used + 1] = (shares * phases)[:used]
    cycles = np.fft.irfft(spectra, axis=1)
    cycles /= np.sqrt(np.mean(cycles**2, axis=1, keepdims=True))
    return np.concatenate((cycles, cycles[:, :1]), axis=1)


def _shares(sound: PadSound, partials: Floats, pitch_hz: float) -> tuple[Floats, Floats]:
    """Amplitudes of the partials of the dark and of the bright cycle."""
    match sound:
        case "warm":
            return partials**-2.0, partials**-1.2
        case "glass":
            bell = np.where(np.isin(partials, (1, 2, 4, 8)), 1.0, 0.12)
            return bell * partials**-1.4, np.where(partials == 1, 0.7, bell) * partials**-0.8
        case "choir":
            hertz = partials * pitch_hz
            breath = partials**-0.4
            return breath * _vowel(hertz, _VOWEL_OO), breath * _vowel(hertz, _VOWEL_AH)
        case _:
            assert_never(sound)


def _vowel(hertz: Floats, formants_hz: tuple[float, ...]) -> Floats:
    power = np.full(len(hertz), 10 ** (_BETWEEN_FORMANTS_DB / 10))
    for centre, level_db, width in zip(formants_hz, _FORMANT_DB, _FORMANT_WIDTH_HZ, strict=True):
        power += 10 ** (level_db / 10) / (1 + ((hertz - centre) / width) ** 2)
    tilt = 1 / (1 + (hertz / 4_000.0) ** 4)
    shares: Floats = np.sqrt(power) * tilt
    return shares
