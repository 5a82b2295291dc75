"""What is true of the singer's entry in a performance.

The moment is the attack of the lead rendered alone, without the band, the room or the noise:
where its level rises to 14 dB below the note, read in steps of 2 ms by the analysis that reads a
song's first note. No partials, no render to slide and no take are in it, so that it shares
nothing with how a review hears the entry. The pitch is that of the lead alone against the
tuning of the instruments that accompany it.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from segue.analysis.first_note import first_note_of
from segue.analysis.tuning import tuning_of
from segue.audio.clip import Clip, SongEdge
from segue.plan.layer import SongLayer
from segue.plan.plan import Plan
from segue.render.render import render_candidate

_FOOT_S: Final = 0.03
"""Of a note before its attack as it is measured: this much must be heard of it as well."""


def uncut_s(late_s: float, plan: Plan, singer_s: float) -> float:
    """The lateness, or as much to the other side where the render would cut the note's start off.

    A plan may take the song up right before its first note. A singer who is early is then heard
    early; the render of the song is heard from where it is taken up, in the middle of the note.
    """
    beat = plan.beat_at(singer_s)
    sung = (
        layer for layer in plan.layers if isinstance(layer, SongLayer) and _is_sung(layer, beat)
    )
    taken_up_s = max((plan.seconds_at(layer.start_beat) for layer in sung), default=0.0)
    return abs(late_s) if singer_s + late_s - _FOOT_S < taken_up_s else late_s


def _is_sung(layer: SongLayer, beat: float) -> bool:
    """Whether the incoming song's singer is heard of a layer at a beat."""
    has_singer = not layer.roles or not {"lead", "voice"}.isdisjoint(layer.roles)
    return layer.song == "incoming" and has_singer and layer.start_beat <= beat < layer.end_beat


def attack_s(plan: Plan, outgoing: SongEdge, incoming: SongEdge) -> float | None:
    """When the lead is first heard, by the song's own analysis, where it is rendered alone.

    In the song it may begin before the plan takes the song up: then it is heard from there.
    """
    lead = tuple(stem for stem in incoming.stems if Path(stem.file).stem == "lead")
    alone = render_candidate(plan, outgoing, replace(incoming, stems=lead)).incoming
    note = first_note_of(alone)
    return None if note is None else note.time_s


def sung_late_ms(planned: Plan, played: Plan, attacks_s: Sequence[float | None]) -> float | None:
    """How late the played attack is against its own beat, in the time that the band keeps."""
    known_s, sung_s = attacks_s
    if known_s is None or sung_s is None:
        return None
    return 1000 * (sung_s - played.seconds_at(planned.beat_at(known_s)))


def sharp_cents(old: SongEdge, new: SongEdge) -> float | None:
    """How sharp the lead is, heard alone, against the band's tuning."""
    notes = [first_note_of(_lead(edge)) for edge in (old, new)]
    if notes[0] is None or notes[1] is None:
        return None
    tunings = [tuning_of(_others(edge)) for edge in (old, new)]
    return float(100 * (notes[1].midi - notes[0].midi) - (tunings[1] - tunings[0]))


def _lead(edge: SongEdge) -> Clip:
    return next(stem.clip for stem in edge.stems if Path(stem.file).stem == "lead")


def _others(edge: SongEdge) -> Clip:
    kept = [s.clip for s in edge.stems if Path(s.file).stem not in {"lead", "drums"}]
    total = np.sum([clip.samples for clip in kept], axis=0)
    return Clip(samples=total.astype(np.float32), rate_hz=edge.rate_hz)
