"""Openings and endings of scores, in other keys, tempi and instruments."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from benchmarks import _patterns as patterns
from benchmarks._draft import Draft, Edge, tempo_facts
from benchmarks._render import DRUM_CHANNEL, Note, Performance, Voice, snapped_s
from benchmarks._score_truth import (
    BEATS_OF_SIGNATURE,
    ScoreBeat,
    ScoreKey,
    beats_between,
    final_key,
    is_close,
    is_surely_in,
    opens_in,
    signature_of,
)
from benchmarks._scores import Score, ScoreNote

LENGTH_S: Final = 25.0
SHORTEST_S: Final = 12.0
ENSEMBLES: Final = (
    (0, 1, 4, 5),
    (6, 7),
    (16, 17, 18, 19, 21),
    (24, 25, 26, 46),
    (40, 41, 42, 48),
    (48, 49, 51),
    (56, 57, 60, 61),
    (64, 65, 66, 68, 69, 71, 73),
    (11, 12, 13, 8),
    (0, 4, 11, 24, 40, 42, 56, 60, 65, 68, 71, 73),
)
"""Programs that play together; the last row is anyone with anyone."""
DRUMS_OF_BEATS: Final = {
    2: {"two": [(patterns.KICK, 0, 105), (patterns.SNARE, 1, 100)]
        + [(patterns.CLOSED_HAT, n / 2, 75) for n in range(4)]},
    3: patterns.THREE,
    4: {name: patterns.FOUR[name] for name in ("straight", "four on the floor", "sparse")},
}  # fmt: skip
COMPOUND_DRUMS_OF_BEATS: Final = {2: patterns.SIX}


@dataclass(frozen=True, slots=True, kw_only=True)
class Excerpt:
    """A part of a score that is fit for use."""

    score: Score
    edge: Edge
    key: ScoreKey
    notes: list[ScoreNote]
    beats: list[ScoreBeat]
    beat_quarters: float
    beats_per_bar: int
    tempo_bpm: float
    first_quarters: float
    last_quarters: float


def score_draft(score: Score, edge: Edge, rng: np.random.Generator) -> Draft | None:
    """An edge of a score, newly orchestrated; None where its truth is in doubt."""
    excerpt = _excerpt(score, edge, rng)
    return None if excerpt is None else _performed(excerpt, rng)


def _excerpt(score: Score, edge: Edge, rng: np.random.Generator) -> Excerpt | None:
    key = final_key(score)
    bar = score.bars[-1 if edge == "end" else 0]
    if key is None or signature_of(bar) not in BEATS_OF_SIGNATURE:
        return None
    if edge == "start" and not opens_in(score, key):
        return None
    n_beats, beat_quarters = BEATS_OF_SIGNATURE[signature_of(bar)]
    end = max(n.start_quarters + n.length_quarters for n in score.notes)
    begin = min(n.start_quarters for n in score.notes)
    tempo_bpm = _tempo_bpm(score, beat_quarters, edge, rng)
    wanted = (LENGTH_S + 1) * tempo_bpm / 60 * beat_quarters
    first, last = (max(end - wanted, begin), end) if edge == "end" else (
        begin, min(begin + wanted, end))  # fmt: skip
    if (last - first) / beat_quarters * 60 / tempo_bpm < SHORTEST_S:
        return None
    beats = beats_between(score, first, last)
    notes = [n for n in score.notes if first - 1e-6 <= n.start_quarters < last - 1e-6]
    if beats is None or not is_surely_in(key, notes):
        return None
    return Excerpt(
        score=score, edge=edge, key=key, notes=notes, beats=beats, beat_quarters=beat_quarters,
        beats_per_bar=n_beats, tempo_bpm=tempo_bpm, first_quarters=first, last_quarters=last,
    )  # fmt: skip


def _tempo_bpm(score: Score, beat_quarters: float, edge: Edge, rng: np.random.Generator) -> float:
    """A tempo between 66 and 140 at which one to seven notes start in a second."""
    onsets = sorted({note.start_quarters for note in score.notes})
    near = onsets[-80:] if edge == "end" else onsets[:80]
    onsets_per_beat = (len(near) - 1) / max(near[-1] - near[0], 1.0) * beat_quarters
    low, high = max(66.0, 60 * 1.0 / onsets_per_beat), min(140.0, 60 * 7.0 / onsets_per_beat)
    high = max(high, 50.0)
    low = min(low, high)
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _performed(excerpt: Excerpt, rng: np.random.Generator) -> Draft:
    parts = _accompanied(excerpt) if excerpt.score.n_parts == 1 else excerpt.notes
    shift = _transposition(parts, rng)
    clock = _clock(excerpt, rng)
    notes = [_note(note, shift, excerpt, clock, rng) for note in parts]
    has_drums = bool(rng.random() < 0.35)
    if has_drums:
        notes += _drums(excerpt, clock, rng)
    return _cut(excerpt, clock, notes, _voices(parts, rng), shift, rng)


Clock = tuple[np.ndarray, np.ndarray]
"""Quarter lengths and the seconds they fall on."""


def _clock(excerpt: Excerpt, rng: np.random.Generator) -> Clock:
    """Even time, now and then with two or three slower beats at the end."""
    n_beats = int((excerpt.last_quarters - excerpt.first_quarters) / excerpt.beat_quarters) + 3
    lengths_s = np.full(n_beats, 60 / excerpt.tempo_bpm)
    if excerpt.edge == "end" and rng.random() < 0.25:
        slowed = int(rng.integers(2, 4))
        lengths_s[-3 - slowed : -2] *= np.linspace(1.05, rng.uniform(1.15, 1.4), slowed + 1)
    quarters = excerpt.first_quarters + excerpt.beat_quarters * np.arange(n_beats + 1)
    return quarters, 0.3 + np.concatenate([[0.0], np.cumsum(lengths_s)])


def _accompanied(excerpt: Excerpt) -> list[ScoreNote]:
    """A melody with a bass note and a chord for every half bar, in the simplest harmony."""
    half = excerpt.beats_per_bar // 2 if excerpt.beats_per_bar % 2 == 0 else excerpt.beats_per_bar
    span = half * excerpt.beat_quarters
    added: list[ScoreNote] = []
    anchor = next(beat.at_quarters for beat in excerpt.beats if beat.is_downbeat)
    for at in np.arange(anchor, excerpt.last_quarters - 0.5 * excerpt.beat_quarters, span):
        length = min(span, excerpt.last_quarters - at)
        is_last = bool(at + span >= excerpt.last_quarters - 1e-6)
        root, intervals = _fitting_chord(excerpt, float(at), length, is_last=is_last)
        bass = 36 + (root - 36) % 12
        added.append(ScoreNote(start_quarters=at, length_quarters=length, midi=bass, part=1))
        struck = at if is_last else at + excerpt.beat_quarters / 2
        for interval in intervals:
            midi = 52 + (root + interval - 52) % 12
            added.append(ScoreNote(start_quarters=struck, length_quarters=length / 2, midi=midi,
                                   part=2))  # fmt: skip
    return excerpt.notes + added


def _fitting_chord(
    excerpt: Excerpt, at: float, length: float, *, is_last: bool
) -> tuple[int, tuple[int, ...]]:
    """The triad of the key that the melody of a half bar has most of."""
    major = excerpt.key.mode == "major"
    home = (0, patterns.MAJ if major else patterns.MIN)
    others = [(5, patterns.MAJ), (7, patterns.MAJ), (9, patterns.MIN), (2, patterns.MIN)]
    if not major:
        others = [(5, patterns.MIN), (7, patterns.MAJ), (10, patterns.MAJ), (3, patterns.MAJ)]
    tonic = excerpt.key.tonic

    def fit(chord: tuple[int, tuple[int, ...]]) -> float:
        tones = {(tonic + chord[0] + interval) % 12 for interval in chord[1]}
        inside = [n for n in excerpt.notes if at - 1e-6 <= n.start_quarters < at + length - 1e-6]
        return sum(n.length_quarters for n in inside if n.midi % 12 in tones)

    best = home if is_last else max([home, *others], key=fit)
    return (tonic + best[0]) % 12, best[1]


def _transposition(notes: list[ScoreNote], rng: np.random.Generator) -> int:
    """A random shift that keeps the notes between E1 and D7."""
    lowest, highest = min(n.midi for n in notes), max(n.midi for n in notes)
    shift = int(rng.integers(-6, 6))
    if lowest + shift < 28:
        shift += 12
    if highest + shift > 98:
        shift -= 12
    return shift


def _note(
    note: ScoreNote, shift: int, excerpt: Excerpt, clock: Clock, rng: np.random.Generator
) -> Note:
    start_s = snapped_s(float(np.interp(note.start_quarters, *clock)))
    end_s = float(np.interp(note.start_quarters + note.length_quarters, *clock))
    on_beat = next((b for b in excerpt.beats
                    if abs(b.at_quarters - note.start_quarters) < 1e-3), None)  # fmt: skip
    accent = 0 if on_beat is None else (10 if on_beat.is_downbeat else 5)
    velocity = int(np.clip(82 + accent + rng.normal(0, 6), 30, 127))
    return Note(
        start_s=start_s,
        length_s=max(0.92 * (end_s - start_s), 0.04),
        midi=int(np.clip(note.midi + shift, 21, 108)),
        velocity=velocity,
        channel=_channel(note.part),
    )


def _channel(part: int) -> int:
    """Parts in turn on nine channels, the drums' left out."""
    return part % 9


def _drums(excerpt: Excerpt, clock: Clock, rng: np.random.Generator) -> list[Note]:
    compound_beat = 1.5
    is_compound = excerpt.beat_quarters == compound_beat
    table = COMPOUND_DRUMS_OF_BEATS if is_compound else DRUMS_OF_BEATS
    grooves = table.get(excerpt.beats_per_bar)
    if grooves is None:
        return []
    hits = grooves[str(rng.choice(list(grooves)))]
    notes = []
    for beat in excerpt.beats:
        for drum, position, velocity in hits if beat.is_downbeat else []:
            at = beat.at_quarters + position * excerpt.beat_quarters
            if at >= excerpt.last_quarters - 1e-3:
                continue
            notes.append(Note(start_s=snapped_s(float(np.interp(at, *clock))), length_s=0.1,
                              midi=drum, velocity=int(velocity + rng.normal(0, 4)),
                              channel=DRUM_CHANNEL))  # fmt: skip
    return notes


def _voices(notes: list[ScoreNote], rng: np.random.Generator) -> dict[int, Voice]:
    ensemble = ENSEMBLES[rng.integers(len(ENSEMBLES))]
    channels = sorted({_channel(note.part) for note in notes})
    voices = {
        channel: Voice(
            program=int(rng.choice(ensemble)),
            volume=int(rng.integers(80, 110)),
            pan=int(rng.integers(30, 98)),
        )
        for channel in channels
    }
    return voices | {DRUM_CHANNEL: Voice(program=0, volume=int(rng.integers(70, 105)))}


def _cut(
    excerpt: Excerpt, clock: Clock, notes: list[Note], voices: dict[int, Voice], shift: int,
    rng: np.random.Generator,
) -> Draft:  # fmt: skip
    last_start_s = max(note.start_s for note in notes)
    if excerpt.edge == "end":
        held_s = float(rng.uniform(1.0, 2.5))
        notes = [
            replace(n, length_s=max(n.length_s, held_s)) if n.start_s >= last_start_s - 0.02 else n
            for n in notes
        ]
        to_s = last_start_s + held_s + float(rng.uniform(0.5, 1.2))
        from_s = max(to_s - LENGTH_S, 0.0)
    else:
        from_s = max(min(n.start_s for n in notes) - float(rng.choice([0.01, 0.1, 0.4])), 0.0)
        to_s = min(from_s + LENGTH_S, last_start_s)
    struck = [(float(np.interp(b.at_quarters, *clock)), b.is_downbeat) for b in excerpt.beats]
    struck = [beat for beat in struck if from_s - 0.2 <= beat[0] <= min(last_start_s + 0.01, to_s)]
    tempo_bpm = excerpt.tempo_bpm
    return Draft(
        performance=Performance(notes=tuple(notes), voices=voices),
        group="score",
        style=excerpt.score.style,
        edge=excerpt.edge,
        kind=_kind(excerpt),
        piece=excerpt.score.name,
        tonic=(excerpt.key.tonic + shift) % 12,
        mode=excerpt.key.mode,
        time_signature=signature_of(excerpt.score.bars[-1 if excerpt.edge == "end" else 0]),
        beats_s=tuple(time_s for time_s, _ in struck),
        downbeat_of_beat=tuple(is_downbeat for _, is_downbeat in struck),
        tempo_bpm=tempo_bpm,
        tempo_range_bpm=tempo_facts([t for t, _ in struck])[1] if not _slows(clock) else (
            tempo_bpm, tempo_bpm),
        from_s=from_s,
        to_s=to_s,
    )  # fmt: skip


def _kind(excerpt: Excerpt) -> str | None:
    """How an opening opens; the end of a score is not labelled."""
    if excerpt.edge == "end":
        return None
    first_bar_line = next(beat.at_quarters for beat in excerpt.beats if beat.is_downbeat)
    return "on the beat" if is_close(excerpt.first_quarters, first_bar_line) else "pick-up"


def _slows(clock: Clock) -> bool:
    lengths_s = np.diff(clock[1])
    return bool(lengths_s.max() > 1.01 * lengths_s.min())
