"""Scores of the music21 corpus, as plain notes, bars and a key that is beyond doubt.

A piece becomes a `Score`: every sounding note in quarter lengths, its bars, and the key
signature. Repeats are played once, ornaments are left out. Melodies without harmony get
simple chords of their key.
"""

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import pydantic

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from music21.stream.base import Score as MusicScore

CLASSICAL_COMPOSERS: Final = (
    "beethoven", "mozart", "haydn", "joplin", "schumann_robert", "schumann_clara",
    "handel", "corelli", "beach", "chopin", "cpebach", "schubert", "verdi", "weber",
    "johnson_j_r", "liliuokalani", "leadSheet",
)  # fmt: skip
"""Folders of the corpus whose music is of the major-minor age."""
FOLK_COLLECTIONS: Final = ("ryansMammoth", "nottingham-dataset")
"""Folders of the corpus with fiddle tunes and songs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreNote:
    """A note of a score; positions in quarter lengths from the beginning."""

    start_quarters: float
    length_quarters: float
    midi: int
    part: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A notated bar."""

    start_quarters: float
    length_quarters: float
    numerator: int
    denominator: int
    sharps: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """A piece as notes and bars, no more than the benchmark needs."""

    name: str
    style: str
    n_parts: int
    notes: tuple[ScoreNote, ...]
    bars: tuple[Bar, ...]


def corpus_pieces() -> dict[str, list[str]]:
    """Names of the corpus's usable pieces, by style."""
    from music21 import corpus

    pieces: dict[str, list[str]] = {"chorale": [], "classical": [], "folk": []}
    folders = {"bach": "chorale"}
    folders |= dict.fromkeys(CLASSICAL_COMPOSERS, "classical")
    folders |= dict.fromkeys(FOLK_COLLECTIONS, "folk")
    for path in corpus.getCorePaths():
        folder, _, rest = path.as_posix().rpartition("/corpus/")[2].partition("/")
        is_twin = path.suffix == ".krn" and path.with_suffix(".mxl").exists()
        if folder in folders and not is_twin:
            pieces[folders[folder]].append(f"{folder}/{rest}")
    return {style: sorted(names) for style, names in pieces.items()}


def load_score(name: str, style: str, cache: "Path") -> Score | None:
    """One piece, parsed once and kept as JSON; None where it has no notes or no bars."""
    kept = cache / f"{name.replace('/', '__')}.json"
    adapter = pydantic.TypeAdapter(Score | None)
    if not kept.exists():
        cache.mkdir(parents=True, exist_ok=True)
        score = _parsed(name, style)
        scratch = kept.with_suffix(f".{os.getpid()}")
        scratch.write_text(adapter.dump_json(score).decode())
        scratch.replace(kept)
    return adapter.validate_json(kept.read_text())


def _parsed(name: str, style: str) -> Score | None:
    from music21 import converter, corpus, stream

    try:
        parsed = corpus.parse(name)
    except (converter.ConverterException, ValueError, IndexError, AttributeError):
        return None
    if isinstance(parsed, stream.Opus):
        parsed = parsed.scores[0]
    if not isinstance(parsed, stream.Score) or not parsed.parts:
        return None
    bars = tuple(_bars(parsed))
    notes = tuple(_notes(parsed))
    if not bars or not notes:
        return None
    return Score(name=name, style=style, n_parts=len(parsed.parts), notes=notes, bars=bars)


def _bars(parsed: "MusicScore") -> "Iterator[Bar]":
    from music21 import key, meter, stream

    sharps = None
    for measure in parsed.parts[0].getElementsByClass(stream.Measure):
        signatures = measure.getElementsByClass(key.KeySignature)
        sharps = signatures[0].sharps if signatures else sharps
        metre = measure.timeSignature or measure.getContextByClass(meter.TimeSignature)
        if metre is None:
            return
        yield Bar(
            start_quarters=float(measure.offset),
            length_quarters=float(measure.highestTime),
            numerator=metre.numerator,
            denominator=metre.denominator,
            sharps=sharps,
        )


def _notes(parsed: "MusicScore") -> "Iterator[ScoreNote]":
    from music21 import harmony, note

    for number, part in enumerate(parsed.parts):
        flat = part.stripTies().flatten()
        for element in flat.getElementsByClass(note.NotRest):
            if isinstance(element, harmony.ChordSymbol) or not element.quarterLength:
                continue
            if isinstance(element, note.Unpitched):
                continue
            for pitch in element.pitches:
                yield ScoreNote(
                    start_quarters=float(element.offset),
                    length_quarters=float(element.quarterLength),
                    midi=pitch.midi,
                    part=number,
                )
