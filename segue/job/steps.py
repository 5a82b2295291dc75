"""The steps of the main job, each fit to be done in a process of its own.

A step is told what to do in a few facts, and reads the songs itself: two edges are
quicker read than sent to another process. Each process keeps them for the run. What hears, renders
and measures is loaded where it is wanted: a draft does not all, and whoever has others do it none.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import segue.render as renderer
from segue.audio import read_song
from segue.job.attempt import Attempt, planned
from segue.job.songs_at_hand import SongAtHand, SongsAtHand, song_place
from segue.workers import give_back, n_cores

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from segue.analysis.facts import EdgeFacts
    from segue.audio.clip import Edge
    from segue.audio.instrument import Instrument
    from segue.audition.sound import Bus
    from segue.heard import HeardEdge
    from segue.job.keeping import Rendered
    from segue.job.request import Request
    from segue.job.shortlist import QuickListen
    from segue.plan import Plan
    from segue.render.candidate import Candidate
    from segue.runfolder import Making
    from segue.score import Scorecard

_DRAFT_THREADS: Final = 2  # for the cores that are idle while somebody waits for a draft
_AT_HAND: Final = SongsAtHand()
"""Of this process. A task for a process is a function and its input, and brings no songs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeToHear:
    """One edge to be heard.

    Parameters
    ----------
    run : Path
        The folder that is being filled: tells the songs of one run from those of another.
    """

    run: Path
    request: Request
    edge: Edge


@contextmanager
def read_ahead(run: Path, request: Request) -> Iterator[None]:
    """Read both songs side by side with what is done in a `with` block.

    Decoding, resampling and digests leave the processor's other core to the caller. What goes
    wrong is told when the songs are heard, in their order.

    Parameters
    ----------
    run : Path
        The folder that is being filled.
    """
    ends: tuple[Edge, Edge] = ("end", "start")
    with ThreadPoolExecutor(len(ends)) as readers:
        for edge in ends:
            song = _AT_HAND.song(song_place(run, request, edge))
            readers.submit(getattr, song, "sound")
        yield


def heard(step: EdgeToHear) -> HeardEdge:
    """Read and hear one edge.

    Returns
    -------
    HeardEdge
        In the key that it is moved to.

    Raises
    ------
    SegueError
        If the song or the lead cannot be read.
    """
    from segue.heard.hearing import heard_edge

    request, is_end = step.request, step.edge == "end"
    at_hand = _AT_HAND.song(song_place(step.run, request, step.edge))
    song = at_hand.as_it_is
    lead = None
    if request.lead is not None and not is_end:
        lead = read_song(
            request.lead, edge=step.edge, edge_s=request.edge_s, rate_hz=request.rate_hz
        ).mix
    edge = heard_edge(
        song,
        overrides=request.outgoing_overrides if is_end else request.incoming_overrides,
        lead=lead,
        cached=request.cached,
        sound=at_hand.sound,
    )
    at_hand.look_away()
    return edge if is_end else replace(edge, facts=_moved(edge.facts, request.shift_b))


def tried(step: Attempt) -> QuickListen:
    """A quick listen to one segue: all of it, but at a low rate.

    Raises
    ------
    SegueError
        If it cannot be planned or rendered.
    """
    old, new = (song.thinned for song in _songs_of(step))
    plan = planned(step)
    candidate = renderer.render_candidate(plan, old, new, kits=_AT_HAND.kits("quick"))
    from segue.job.shortlist import QuickListen
    from segue.score.card import card_of
    from segue.score.listening_to import hear as hear_candidate

    hearing = hear_candidate(candidate, *_facts_of(step), purpose=step.request.purpose)
    card = card_of(hearing, weights=step.request.weights)
    return QuickListen(
        overall=card.overall,
        bridge=hearing.bridge,
        hole_s=card.measure("hole").value,
        n_faults=len(card.faults),
        chords=tuple(dict.fromkeys(voicing.symbol for voicing in plan.voicings)),
    )


def rendered(step: Attempt) -> Rendered:
    """Render, score and measure one segue.

    Raises
    ------
    SegueError
        If it cannot be planned or rendered.
    """
    from segue.job.keeping import measured

    _AT_HAND.forget_thinned()
    old, new = (song.in_its_key for song in _songs_of(step))
    plan, sounds = planned(step), instruments_of(step.request)

    def let_go(n_left: int) -> None:
        _AT_HAND.look_away(also_at_drums=not n_left)
        give_back()  # what one layer has freed seldom fits the next

    candidate = renderer.render_candidate(
        plan, old, new, instruments=sounds, kits=_AT_HAND.kits("full"), on_layer=let_go
    )
    let_go(0)
    scorecard = _scored(step, candidate)
    candidate = candidate.without_sides()  # each as long as the music, and no longer needed
    return measured(candidate, scorecard, making_of(step))


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundsToWrite:
    """The sounds of one segue, to be written, and encoded for the page.

    Parameters
    ----------
    buses : tuple of Bus
        Of this segue.
    """

    folder: Path
    made: Rendered
    buses: tuple[Bus, ...]


def written_mp3s(step: SoundsToWrite) -> list[tuple[str, bytes]]:
    """Write the sounds of a segue.

    Returns
    -------
    list of (str, bytes)
        See `segue.audition.bus_mp3s`.

    Raises
    ------
    InputError
        If a file cannot be written.
    """
    from segue.audition import bus_mp3s
    from segue.job.keeping import written_sounds

    forget_songs()  # this is the last step of a run, and wants memory
    return bus_mp3s(step.buses, written_sounds(step.folder, (step.made,)))


def draft_candidate(step: Attempt, plan: Plan) -> Candidate:
    """A plan of a segue made audible at the rate of drafts.

    Raises
    ------
    SegueError
        If a song cannot be read.
    """
    edges: tuple[Edge, Edge] = ("end", "start")
    old, new = (
        _AT_HAND.draft_song(song_place(step.run, step.request, edge), song.sound)
        for edge, song in zip(edges, step.songs, strict=True)
    )
    sounds = instruments_of(step.request)
    return renderer.render_candidate(
        plan,
        old,
        new,
        instruments=sounds,
        kits=_AT_HAND.kits("draft"),
        n_threads=min(n_cores(), _DRAFT_THREADS),
    )


def making_of(step: Attempt) -> Making:
    """How this segue is made, to be kept with it."""
    from segue.runfolder import Making, place_text

    pad = step.request.pad
    return Making(
        recipe=step.recipe, asked=step.request.asked, pad="" if pad is None else place_text(pad)
    )


def instruments_of(request: Request) -> dict[str, Instrument]:
    """The user's own sounds by the names that plans give them.

    Raises
    ------
    SegueError
        If a sound cannot be read.
    """
    return {} if request.pad is None else {str(request.pad): _AT_HAND.instrument(request.pad)}


def sound_of(step: Attempt, edge: Edge) -> str:
    """Digest of a song's sound, as it is read now.

    Raises
    ------
    SegueError
        If it cannot be read.
    """
    return _AT_HAND.song(song_place(step.run, step.request, edge)).sound


def forget_songs() -> None:
    """Let go of the songs that this process keeps."""
    _AT_HAND.forget()


def _songs_of(step: Attempt) -> tuple[SongAtHand, SongAtHand]:
    run, request = step.run, step.request
    old, new = (_AT_HAND.song(song_place(run, request, edge)) for edge in ("end", "start"))
    return old, new


def _moved(facts: EdgeFacts, semitones: int) -> EdgeFacts:
    """Facts of the song in another key."""
    if semitones == 0:
        return facts
    key, note = facts.key, facts.first_note
    runners_up = tuple(replace(k, key=k.key.transposed(semitones)) for k in key.runners_up)
    return replace(
        facts,
        key=replace(key, key=key.key.transposed(semitones), runners_up=runners_up),
        first_note=None if note is None else replace(note, midi=note.midi + semitones),
    )


def _facts_of(step: Attempt) -> tuple[EdgeFacts, EdgeFacts]:
    old, new = step.songs
    return old.facts, new.facts


def _scored(step: Attempt, candidate: Candidate) -> Scorecard:
    from segue.score import score_candidate

    return score_candidate(
        candidate, *_facts_of(step), purpose=step.request.purpose, weights=step.request.weights
    )
