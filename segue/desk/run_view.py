"""A run as the desk shows it: its options, what the script plays and draws, what can be changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import accumulate
from typing import TYPE_CHECKING, Final

from segue.audition.page import PageView
from segue.audition.page_values import WayView, run_values, way_values, way_views
from segue.desk.house import RUNS, House
from segue.errors import OptionError
from segue.job.version import UNDONE_NAME
from segue.music.chord import CADENCES, Chord, Quality, cadence_chord, tonic_triad
from segue.music.chord_words import parse_chord
from segue.music.key import N_PITCH_CLASSES, Key
from segue.music.tonal_space import chord_distance, collection
from segue.plan.grid import SAME_BEAT
from segue.plan.heard_words import keys_sentence
from segue.recipes.changed_recipe import is_the_song
from segue.runfolder import CandidateRecord, RunDocument, read_document
from segue.runfolder.run_document import DOCUMENT_NAME

if TYPE_CHECKING:
    from pathlib import Path

    from segue.music.tempo import TempoSpan
    from segue.plan.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class RunView:
    """A run folder.

    Parameters
    ----------
    name : str
        Below the desk's folder.
    values : dict
        For the script; times in seconds of each option.
    has_undone : bool
        Whether a version was taken back that can be brought back.
    """

    name: str
    document: RunDocument
    ways: tuple[WayView, ...]
    values: dict[str, object]
    has_undone: bool = False

    @property
    def relation(self) -> str:
        """How the two keys lie to each other."""
        return keys_sentence(self.document.outgoing, self.document.incoming)

    @property
    def chosen(self) -> int | None:
        """Rank of what the band chose."""
        return None if self.document.choice is None else self.document.choice.rank


def run_view(house: House, name: str) -> RunView:
    """The run of a name.

    Raises
    ------
    RequestRefusalError
        If the name leads out of the folder.
    SegueError
        If it is no run folder that can be read.
    """
    folder = house.folder.inside(name)
    path = folder / DOCUMENT_NAME
    mark: tuple[int, ...] = ()
    if path.is_file():  # a file that is written anew is another one, whatever the clock says
        status = path.stat()
        mark = status.st_ino, status.st_size, status.st_mtime_ns
    return replace(_read(folder, name, mark), has_undone=(folder / UNDONE_NAME).is_dir())


@lru_cache(maxsize=8)
def _read(folder: Path, name: str, _mark: tuple[int, ...]) -> RunView:
    document = read_document(folder)
    view = PageView(document=document, records=document.candidates)
    # the desk calls an option by its place on the page
    ways = [{**way, "key": n} for n, way in enumerate(way_values(folder, view))]
    return RunView(
        name=name,
        document=document,
        ways=way_views(view),
        values={**run_values(view), "ways": ways},
    )


def earlier_runs(house: House, pair: str) -> tuple[str, ...]:
    """Runs that were made for two songs before, the latest first.

    Parameters
    ----------
    pair : str
        What a run of the two is called; a number may follow, which tells the order in which they
        were made: the clock may have been put back.
    """
    folder = house.folder.root / RUNS
    if not folder.is_dir() or not house.folder.holds(folder):
        return ()
    found = [
        path
        for path in folder.iterdir()
        if (path.name == pair or path.name.removeprefix(f"{pair} ").isdecimal())
        and (path / DOCUMENT_NAME).is_file()
        and house.folder.holds(path)
    ]
    found.sort(key=lambda path: int(path.name.removeprefix(pair).strip() or 1), reverse=True)
    return tuple(house.folder.name_of(path) for path in found)


MOST_CHOICES: Final = 5
"""More would be a list to search in."""
_TRIADS: Final[tuple[Quality, ...]] = ("major", "minor")


@dataclass(frozen=True, slots=True, kw_only=True)
class ChordChoice:
    """A chord of the bridge, and what fits in its place.

    Parameters
    ----------
    symbol : str
        As it is now.
    others : tuple of str
        Symbols, the likeliest first.
    """

    symbol: str
    others: tuple[str, ...]


def chord_choices(plan: Plan) -> tuple[ChordChoice, ...]:
    """Each planned chord with others that fit.

    They are triads of either key's scale, and before the entry the cadences of the new key; near
    is what is near to both neighbours in Lerdahl's chord distance (`segue.music.tonal_space`), in
    whichever of the two keys is nearer. A drone on a fifth has none that could take its place.
    """
    voicings = plan.voicings
    keys = (plan.key_from, plan.key_to)
    try:
        chords = [parse_chord(voicing.symbol) for voicing in voicings]
    except OptionError:
        return tuple(ChordChoice(symbol=voicing.symbol, others=()) for voicing in voicings)
    arrived = tonic_triad(plan.key_to)
    found = []
    for n, voicing in enumerate(voicings):
        before = chords[n - 1] if n else tonic_triad(plan.key_from)
        after = chords[n + 1] if n + 1 < len(chords) else arrived
        offered = _scale_triads(keys)
        if n + 1 == len(chords):
            offered |= {cadence_chord(cadence, plan.key_to) for cadence in CADENCES}
        offered -= {chords[n], before, after}
        nearest = sorted(offered, key=lambda c: (_cost(before, c, after, keys), c))
        others = tuple(chord.symbol_in(_home(chord, keys)) for chord in nearest[:MOST_CHOICES])
        found.append(ChordChoice(symbol=voicing.symbol, others=others))
    return tuple(found)


def _scale_triads(keys: tuple[Key, Key]) -> set[Chord]:
    every = [Chord(root=root, quality=q) for root in range(N_PITCH_CLASSES) for q in _TRIADS]
    return {c for c in every if any(set(c.pitch_classes) <= collection(key) for key in keys)}


def _cost(before: Chord, chord: Chord, after: Chord, keys: tuple[Key, Key]) -> int:
    return sum(
        min(chord_distance(x, key, y, key) for key in keys)
        for x, y in ((before, chord), (chord, after))
    )


def _home(chord: Chord, keys: tuple[Key, Key]) -> Key:
    """The key that a chord is spelled in: the new one, unless only the old one has it."""
    old, new = keys
    is_old = set(chord.triad.pitch_classes) <= collection(old)
    is_new = set(chord.triad.pitch_classes) <= collection(new)
    return old if is_old and not is_new else new


def layers_of(record: CandidateRecord) -> tuple[str, ...]:
    """Names of the layers of a bridge that can be changed; none of runs made before there were."""
    if record.made is None:
        return ()
    layers = record.made.recipe.layers
    kept = (x for x in layers if not is_the_song(x) and x.source not in ("click", "cue"))
    return tuple(dict.fromkeys(x.called for x in kept))


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoWay:
    """How the tempo goes through a bridge that has a ramp.

    Parameters
    ----------
    held, steady : int
        Bars at the old tempo before the ramp, and at the new one after it.
    old_bpm, new_bpm : float
        As the bridge counts them.
    """

    n_bars: int
    held: int
    steady: int
    old_bpm: float
    new_bpm: float


def tempo_way(record: CandidateRecord) -> TempoWay | None:
    """The ramp of an option that can be changed; None where there is none."""
    if record.made is None or record.made.recipe.tempo.move not in ("linear", "geometric"):
        return None
    plan, tempo = record.plan, record.made.recipe.tempo
    inside = [
        span
        for span, beat in zip(plan.tempo.spans, _beats_of(plan.tempo.spans), strict=True)
        if plan.exit_beat - SAME_BEAT <= beat < plan.entry_beat
    ]
    ramp = next((span for span in inside if span.start_bpm != span.end_bpm), None)
    n_bars = sum(bar.section == "interlude" for bar in record.bars)
    if ramp is None or n_bars < _LEAST_BARS:
        return None
    steady = min(tempo.steady_bars, n_bars - 1)
    return TempoWay(
        n_bars=n_bars,
        held=min(tempo.held_bars, n_bars - steady - 1),
        steady=steady,
        old_bpm=ramp.start_bpm,
        new_bpm=ramp.end_bpm,
    )


def _beats_of(spans: tuple[TempoSpan, ...]) -> tuple[float, ...]:
    """Where each span begins."""
    ends = tuple(accumulate(span.n_beats for span in spans))
    return (0.0, *ends[:-1])


_LEAST_BARS = 2  # a bridge of one bar has no room to move a ramp in
