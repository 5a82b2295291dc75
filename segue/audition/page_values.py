"""What the audition page tells of a run.

Facts of both songs, each option with its places to listen to and its weak places, and what the
page's script needs to know, as plain values for JSON.
"""

from __future__ import annotations

import hashlib
import shlex
from dataclasses import dataclass, replace
from statistics import median
from typing import TYPE_CHECKING, Final

from segue.analysis.facts import EdgeFacts, have_keys
from segue.audio.marked_mp3 import LEAD_S, MARK_S, sound_rate_hz
from segue.audition.sound import duration_of, outline_of
from segue.plan.bridge_words import bridge_line, moments_of
from segue.plan.heard_words import fact_table
from segue.plan.layer import SongLayer
from segue.runfolder import CandidateRecord, Choice, RunDocument, document_text
from segue.runfolder.remedies import WEAK_MARK, Remedy, remedies_of
from segue.score.weights import costliest_first

if TYPE_CHECKING:
    from pathlib import Path

    from segue.audition.page import PageView
    from segue.plan.plan import Plan
    from segue.score.scorecard import CurveSample, Measure

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
        From 1, what costs most first.
    time_s : float
        In the candidate.
    bar : int
        Number of the bar it lies in.
    from_s : float
        Start of the bar before it, to hear it coming.
    remedy : Remedy or None
        What ``segue change`` could do about it.
    """

    number: int
    time_s: float
    bar: int
    from_s: float
    measure: Measure
    remedy: Remedy | None = None

    @property
    def options_text(self) -> str:
        """The options of its remedy as they are typed; empty without one."""
        return "" if self.remedy is None else shlex.join(self.remedy.options)


def weak_places(document: RunDocument, record: CandidateRecord) -> tuple[WeakPlace, ...]:
    """The places of low marks, what costs most first.

    At most `MOST_PLACES`; none if nothing scored below `WEAK_MARK`.
    """
    placed = _weak_measures(document, record)
    remedies = remedies_of(document, record, [m for _, m in placed])
    return tuple(
        _place(record, number, time_s, measure, remedy)
        for number, ((time_s, measure), remedy) in enumerate(
            zip(placed, remedies, strict=True), start=1
        )
    )


def _weak_measures(document: RunDocument, record: CandidateRecord) -> list[tuple[float, Measure]]:
    """The low marks that have a place, with its seconds, what costs most first."""
    return [
        (record.plan.seconds_at(m.worst_beat), m)
        for m in costliest_first(record.scorecard.measures, weights=document.weights_of(record))
        if m.score < WEAK_MARK and m.worst_beat is not None
    ][:MOST_PLACES]


def _weak_bars_s(document: RunDocument, record: CandidateRecord) -> list[tuple[float, float]]:
    """From when to when the bars of the low marks last."""
    lines_s = [bar.time_s for bar in record.bars]
    spans = []
    for time_s, _ in _weak_measures(document, record):
        begun = [line_s for line_s in lines_s if line_s <= time_s + _SAME_S]
        later = lines_s[len(begun) :]
        spans.append((begun[-1] if begun else 0.0, later[0] if later else record.plan.duration_s))
    return spans


def _place(
    record: CandidateRecord, number: int, time_s: float, measure: Measure, remedy: Remedy | None
) -> WeakPlace:
    begun = [bar for bar in record.bars if bar.time_s <= time_s + _SAME_S]
    return WeakPlace(
        number=number,
        time_s=time_s,
        bar=begun[-1].number if begun else 0,
        from_s=begun[-2].time_s if len(begun) > 1 else 0.0,
        measure=measure,
        remedy=remedy,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceToHear:
    """A place to tap and listen to.

    Parameters
    ----------
    from_s : float
        Start of the bar before it, to hear it coming.
    words : str
        What happens there.
    """

    bar: int
    from_s: float
    words: str


def places_to_hear(record: CandidateRecord, *, has_keys: bool) -> tuple[PlaceToHear, ...]:
    """Two or three places of an option, in order of time; see `moments_of`."""
    places = []
    for moment in moments_of(record.plan, has_keys=has_keys):
        before = [bar for bar in record.bars if bar.number < moment.bar]
        from_s = before[-1].time_s if before else 0.0
        places.append(PlaceToHear(bar=moment.bar, from_s=from_s, words=moment.words))
    return tuple(places)


@dataclass(frozen=True, slots=True, kw_only=True)
class WayView:
    """An option as the page shows it.

    Parameters
    ----------
    line : str
        What happens in its bridge, in one line.
    moments : tuple of PlaceToHear
        Where to listen.
    places : tuple of WeakPlace
        Where it is weak; see `weak_places`.
    choice : Choice or None
        What the band chose, if it chose this one.
    """

    record: CandidateRecord
    line: str
    moments: tuple[PlaceToHear, ...]
    places: tuple[WeakPlace, ...]
    choice: Choice | None = None


def way_views(view: PageView) -> tuple[WayView, ...]:
    """Each option as the page shows it, with the band's choice at the one it fell on."""
    document = view.document
    rank = None if document.choice is None else document.choice.rank
    has_keys = have_keys(document.outgoing, document.incoming)
    return tuple(
        WayView(
            record=record,
            line=bridge_line(record.plan, has_keys=has_keys),
            moments=places_to_hear(record, has_keys=has_keys),
            places=weak_places(document, record),
            choice=document.choice if record.rank == rank else None,
        )
        for record in view.records
    )


def fact_rows(old: EdgeFacts, new: EdgeFacts) -> tuple[tuple[str, str, str], ...]:
    """What was heard: its name, the end of the old song, the start of the new one."""
    return tuple((row.name, row.cells[0], row.cells[1]) for row in fact_table((old, new)))


def run_values(view: PageView) -> dict[str, object]:
    """The run as values for JSON, without its options."""
    text = document_text(replace(view.document, choice=None))
    return {
        "id": hashlib.sha256(text.encode()).hexdigest()[:16],
        "rate_hz": sound_rate_hz(view.document.rate_hz),
        "mark_s": MARK_S,
        "lead_s": LEAD_S,
        "is_blind": view.is_blind,
        "songs": [view.document.outgoing.title, view.document.incoming.title],
    }


def way_values(folder: Path, view: PageView) -> list[dict[str, object]]:
    """The options as values for JSON, in the order of the view.

    Parameters
    ----------
    folder : Path
        The run folder, with the WAVs that the view names.

    Returns
    -------
    list of dict
        Times in seconds from the start of each. 'key' is the rank and 'sound' the place in the
        view: a blind page puts others there. Where names are hidden there is nothing in it but
        what the player needs.
    """
    rows = zip(view.records, matching_gains_db(view.records), strict=True)
    return [
        {
            "key": record.rank,
            "sound": str(n),
            "gain_db": gain_db,
            **_bar_values(folder, record),
            **({} if view.is_blind else _named_values(folder, view.document, record)),
        }
        for n, (record, gain_db) in enumerate(rows)
    ]


def matching_gains_db(records: tuple[CandidateRecord, ...]) -> list[float]:
    """How much to turn each option down so that the new song is equally loud in all.

    The new song is the one thing that every option plays unchanged. A
    difference of loudness would be heard as one of quality.

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
    """What the player needs, and nothing that tells which option it is."""
    return {
        "duration_s": duration_of(folder / record.music_file),
        "exit_s": record.exit_s,
        "entry_s": record.entry_s,
        "bars": [
            {"number": bar.number, "time_s": round(bar.time_s, 5), "section": bar.section}
            for bar in record.bars
        ],
    }


def _named_values(
    folder: Path, document: RunDocument, record: CandidateRecord
) -> dict[str, object]:
    plan, card = record.plan, record.scorecard
    return {
        "rank": record.rank,
        "label": record.label,
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
        "weak": [
            {"from_s": round(from_s, 3), "to_s": round(to_s, 3)}
            for from_s, to_s in _weak_bars_s(document, record)
        ],
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
