"""What the pad's keys do: which notes are struck, held and let go, and when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from segue.plan.layer import PadLayer
    from segue.plan.plan import Plan

LOWEST_MIDI: Final = 35
"""Lower notes sound an octave higher: B1 has 62 Hz; what lies below only blurs a hall."""
_CHANGE_S: Final = 0.3
"""Old and new notes of a change overlap this long, shorter where chords are short."""
_SWELL_S, _RELEASE_S = 1.2, 1.4


@dataclass(frozen=True, slots=True, kw_only=True)
class PadNote:
    """One held note.

    Parameters
    ----------
    midi : int
    start_s, end_s : float
        Middle of the fade in and of the fade out, in plan seconds.
    attack_s, release_s : float
        Length of the fades.
    is_bass : bool
    """

    midi: int
    start_s: float
    end_s: float
    attack_s: float
    release_s: float
    is_bass: bool


def pad_notes(layer: PadLayer, plan: Plan) -> tuple[PadNote, ...]:
    """The notes of a pad; one that stays in the next chord is held, not struck again.

    Parameters
    ----------
    layer : PadLayer
    plan : Plan

    Returns
    -------
    tuple of PadNote
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
