"""What the audition page tells of a run.

Facts of both songs, each way with its weak places, and what the page's script needs to know, as
plain values for JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Final

from segue.analysis.facts import SURE_CONFIDENCE
from segue.audition.sound import LEAD_S, MARK_S, duration_of, outline_of, sound_rate_hz
from segue.plan.heard_words import (
    edge_chord_words,
    file_loudness_words,
    first_note_name,
)
from segue.plan.layer import SongLayer

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.analysis.facts import EdgeFacts
    from segue.audition.page import PageView
    from segue.plan.plan import Plan
    from segue.runfolder import CandidateRecord, Choice
    from segue.score.scorecard import CurveSample, Measure

WEAK_SCORE: Final = 0.75
"""Measures below it are shown on the timeline. Chosen by eye."""

MOST_PLACES: Final = 6
"""More marks than that are no help. Chosen by eye."""

_SAME_S: Final = 1e-3  # for rounding at a bar line
_N_TEMPO_POINTS: Final = 400  # of the tempo curve that the page draws
_MOMENT_S: Final = 0.4
"""Window of momentary loudness (EBU Tech 3341): earlier values still hold the interlude."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeakPlace:
    """A place worth hearing again.

    Parameters
    ----------
    number : int
        From 1, in order of time.
    time_s : float
        In the candidate.
    bar : int
        Number of the bar it lies in.
    from_s : float
        Start of the bar before it, to hear it coming.
    """

    number: int
    time_s: float
    bar: int
    from_s: float
    measure: Measure


def weak_places(record: CandidateRecord) -> tuple[WeakPlace, ...]:
    """The places of the lowest marks, in order of time.

    Returns
    -------
    tuple of WeakPlace
        At most `MOST_PLACES`; empty if nothing scored below `WEAK_SCORE`.
    """
    plan = record.plan
    placed = [
        (plan.seconds_at(m.worst_beat), m)
        for m in sorted(record.scorecard.measures, key=lambda m: m.score)
        if m.score < WEAK_SCORE and m.worst_beat is not None
    ][:MOST_PLACES]
    return tuple(
        _place(record, number, time_s, measure)
        for number, (time_s, measure) in enumerate(sorted(placed, key=lambda p: p[0]), start=1)
    )


def _place(record: CandidateRecord, number: int, time_s: float, measure: Measure) -> WeakPlace:
    begun = [bar for bar in record.bars if bar.time_s <= time_s + _SAME_S]
    return WeakPlace(
        number=number,
        time_s=time_s,
        bar=begun[-1].number if begun else 0,
        from_s=begun[-2].time_s if len(begun) > 1 else 0.0,
        measure=measure,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WayView:
    """A candidate as the page shows it.

    Parameters
    ----------
    choice : Choice or None
        What the band chose, if it chose this one.
    """

    record: CandidateRecord
    choice: Choice | None = None

    @property
    def places(self) -> tuple[WeakPlace, ...]:
        """Where it is weak; see `weak_places`."""
        return weak_places(self.record)


def way_views(records: Sequence[CandidateRecord], choice: Choice | None) -> tuple[WayView, ...]:
    """Each candidate as the page shows it, with the band's choice at the one it fell on."""
    rank = None if choice is None else choice.rank
    return tuple(WayView(record=r, choice=choice if r.rank == rank else None) for r in records)


def fact_rows(old: EdgeFacts, new: EdgeFacts) -> tuple[tuple[str, str, str], ...]:
    """What was heard: its name, the end of the old song, the start of the new one."""
    note = first_note_name(new)
    first_note = "none heard"
    if new.first_note is not None:
        first_note = f"{note}, {new.first_note.time_s:.2f} s into the song"
    pickup_beats = 0.0 if new.opening is None else new.opening.pickup_beats
    return (
        ("key", _key(old), _key(new)),
        ("tempo", _tempo(old), _tempo(new)),
        ("metre", _metre(old), _metre(new)),
        (
            "ends, starts",
            "" if old.ending is None else old.ending.kind,
            ("" if new.opening is None else new.opening.kind)
            + (f" of {pickup_beats:g} beats" if pickup_beats else ""),
        ),
        ("first note", "", first_note),
        ("loudness", _loudness(old), _loudness(new)),
        ("chord at the edge", edge_chord_words(old), edge_chord_words(new)),
    )


def _loudness(facts: EdgeFacts) -> str:
    own = file_loudness_words(facts.level)
    return f"{facts.level.loudness_lufs:.1f} LUFS" + (f" ({own})" if own else "")


def _key(facts: EdgeFacts) -> str:
    key = facts.key
    if key.source == "given":
        return f"{key.key} (given)"
    if not key.is_known:
        return "none heard"
    doubt = "" if key.confidence >= SURE_CONFIDENCE else ", unsure"
    others = ", ".join(str(k.key) for k in key.runners_up[:2])
    return f"{key.key} ({key.confidence:.0%}{doubt}" + (f"; else {others})" if others else ")")


def _tempo(facts: EdgeFacts) -> str:
    if not facts.pulse.is_known:
        return "free time"
    return f"{facts.pulse.tempo_bpm:.1f} BPM{_doubt(facts.pulse.confidence)}"


def _metre(facts: EdgeFacts) -> str:
    if not facts.pulse.is_known:
        return ""
    return f"{facts.pulse.metre} beats a bar{_doubt(facts.pulse.downbeat_confidence)}"


def _doubt(confidence: float) -> str:
    return "" if confidence >= SURE_CONFIDENCE else " (unsure)"


def run_values(folder: Path, view: PageView) -> dict[str, object]:
    """The run as values for JSON.

    Parameters
    ----------
    folder : Path
        The run folder, with the WAVs that the view names.

    Returns
    -------
    dict
        Times in seconds from the start of each candidate.
    """
    rows = zip(view.records, matching_gains_db(view.records), strict=True)
    return {
        "rate_hz": sound_rate_hz(view.document.rate_hz),
        "mark_s": MARK_S,
        "lead_s": LEAD_S,
        "is_blind": view.is_blind,
        "songs": [view.document.outgoing.title, view.document.incoming.title],
        "ways": [
            {
                "key": n,
                "rank": record.rank,
                "gain_db": gain_db,
                **_bar_values(folder, record),
                **({} if view.is_blind else _named_values(folder, record)),
            }
            for n, (record, gain_db) in enumerate(rows)
        ],
    }


def matching_gains_db(records: tuple[CandidateRecord, ...]) -> list[float]:
    """How much to turn each candidate down so that the new song is equally loud in all.

    The new song is the one thing that every candidate plays unchanged. A
    difference of loudness would be heard as one of quality.

    Returns
    -------
    list of float
        In decibels, at most 0.
    """
    levels_lufs = [_incoming_level_lufs(record) for record in records]
    known = [level for level in levels_lufs if level is not None]
    return [0.0 if level is None else round(min(known) - level, 2) for level in levels_lufs]


def _incoming_level_lufs(record: CandidateRecord) -> float | None:
    curve = record.scorecard.loudness_lufs
    after = [s.value for s in curve if s.time_s >= record.entry_s + _MOMENT_S]
    return median(after) if after else None


def _bar_values(folder: Path, record: CandidateRecord) -> dict[str, object]:
    """What the player needs, and nothing that tells which candidate it is."""
    return {
        "duration_s": duration_of(folder / record.music_file),
        "exit_s": record.exit_s,
        "entry_s": record.entry_s,
        "bars": [
            {"number": bar.number, "time_s": round(bar.time_s, 5), "section": bar.section}
            for bar in record.bars
        ],
    }


def _named_values(folder: Path, record: CandidateRecord) -> dict[str, object]:
    plan, card = record.plan, record.scorecard
    return {
        "name": plan.recipe,
        "singer_s": record.singer_s,
        "old_stops_s": _old_stops_s(plan),
        "keys": [str(plan.key_from), str(plan.key_to)],
        "chords": [
            {
                "start_s": round(plan.seconds_at(v.start_beat), 3),
                "end_s": round(plan.seconds_at(v.end_beat), 3),
                "symbol": v.symbol,
            }
            for v in plan.voicings
        ],
        "weak": [{"time_s": round(w.time_s, 3), "number": w.number} for w in weak_places(record)],
        "loudness": _points(card.loudness_lufs),
        "key_from": _points(card.key_distance_from),
        "key_to": _points(card.key_distance_to),
        "tempo": _planned_tempo(plan),
        "tempo_heard": _points(card.tempo_bpm),
        "outline": outline_of(folder / record.music_file),
    }


def _old_stops_s(plan: Plan) -> float:
    ends = [
        layer.end_beat
        for layer in plan.layers
        if isinstance(layer, SongLayer) and layer.song == "outgoing"
    ]
    return round(plan.seconds_at(min(max(ends, default=plan.exit_beat), plan.end_beat)), 3)


def _planned_tempo(plan: Plan) -> list[list[float]]:
    beats = [plan.end_beat * n / _N_TEMPO_POINTS for n in range(_N_TEMPO_POINTS + 1)]
    return [[round(plan.seconds_at(b), 3), round(plan.tempo.bpm_at(b), 2)] for b in beats]


def _points(curve: tuple[CurveSample, ...]) -> list[list[float]]:
    return [[round(sample.time_s, 3), round(sample.value, 3)] for sample in curve]
