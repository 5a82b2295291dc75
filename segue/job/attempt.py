"""A segue that is to be made: its songs, its recipe and its plan; nothing of it sounds yet.

Planning needs none of the libraries that rendering needs, and they take longer to load than a plan
takes to make. So what only plans is here, and `steps` does the rest.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from segue.audio.clip import Overrides
from segue.errors import RunFolderError
from segue.heard import HeardEdge
from segue.job.changes import Changed, Changes, changed, check_chords
from segue.job.request import Request
from segue.music.transposition import transposition_advice
from segue.plan import Plan, plan_segue
from segue.plan.layer import PadLayer
from segue.runfolder.run_document import candidate_of

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.audio.clip import Edge
    from segue.recipes import Recipe
    from segue.runfolder import CandidateRecord, Making, RunDocument
    from segue.runfolder.run_records import SongSource


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One segue, to be tried or to be rendered."""

    run: Path
    request: Request
    songs: tuple[HeardEdge, HeardEdge]
    recipe: Recipe


def planned(step: Attempt, *, heard_s: float | None = None) -> Plan:
    """The plan of one segue.

    Parameters
    ----------
    heard_s : float or None
        How much of either song is kept at least; None is enough to know it again.

    Raises
    ------
    SegueError
        If the recipe cannot be planned between these songs.
    """
    request = step.request
    old, new = step.songs
    plan = plan_segue(
        step.recipe,
        old.facts,
        new.facts,
        outgoing_has_stems=old.has_stems,
        incoming_has_stems=new.has_stems,
        talk_s=request.talk_s,
        match=request.match,
        seed=request.seed,
        asked=request.asked,
        heard_s=heard_s,
    )
    pad = "" if request.pad is None else str(request.pad)
    return replace(
        plan,
        layers=tuple(
            replace(layer, instrument=pad) if pad and isinstance(layer, PadLayer) else layer
            for layer in plan.layers
        ),
        incoming_shift_semitones=request.shift_b,
        stretch_engine=request.stretch_engine,
        notes=(*_shift_notes(old.facts, new.facts, request.shift_b), *plan.notes),
    )


def _shift_notes(old: EdgeFacts, new: EdgeFacts, semitones: int) -> tuple[str, ...]:
    """What moving the incoming song costs the band."""
    if semitones == 0:
        return ()
    note = new.first_note
    advice = transposition_advice(
        old.key.key,
        new.key.key.transposed(-semitones),
        first_midi=None if note is None else note.midi - semitones,
    )
    move = next((m for m in advice.moves if m.semitones == semitones), None)
    return () if move is None else (move.sentence, *(cost.sentence for cost in move.costs))


def attempt_of(run: Path, document: RunDocument, record: CandidateRecord, made: Making) -> Attempt:
    """The step that makes an option anew, or one that is made otherwise.

    Parameters
    ----------
    record : CandidateRecord
        Whose plan says what is not of the recipe: talk, seed, key, engine.

    Raises
    ------
    RunFolderError
        If an older Segue made the run.
    """
    sources, plan = document.sources, record.plan
    if sources is None:
        raise RunFolderError(
            run, "was made by an older Segue, and its options cannot be changed: make it again."
        )
    old, new = document.outgoing, document.incoming
    request = Request(
        outgoing=Path(sources.outgoing.path),
        incoming=Path(sources.incoming.path),
        out=run,
        rate_hz=document.rate_hz,
        edge_s=sources.edge_s,
        outgoing_overrides=Overrides(),
        purpose=document.purpose,
        own_weights=sources.own_weights,
        talk_s=plan.talk_s,
        asked=made.asked,
        match=sources.match,
        shift_b=plan.incoming_shift_semitones,
        pad=Path(made.pad) if made.pad else None,
        stretch_engine=plan.stretch_engine,
        seed=plan.seed,
        titles=(old.title, new.title),
    )
    songs = (
        _song_of(sources.outgoing, document, "end"),
        _song_of(sources.incoming, document, "start"),
    )
    return Attempt(
        run=Path(os.path.realpath(run)), request=request, songs=songs, recipe=made.recipe
    )


def _song_of(source: SongSource, document: RunDocument, edge: Edge) -> HeardEdge:
    facts = document.outgoing if edge == "end" else document.incoming
    return HeardEdge(facts=facts, roles=frozenset(), has_stems=source.has_stems, sound=source.sound)


def changed_attempt(
    run: Path,
    document: RunDocument,
    which: int | str | None,
    changes: Changes,
    *,
    own_recipes: Path | None = None,
) -> tuple[Attempt, Changed, Plan]:
    """What makes a changed option: checked and planned, but not heard yet.

    Raises
    ------
    SegueError
        If something cannot be done.
    """
    record = candidate_of(document, which)
    keys = (document.outgoing.key.key, document.incoming.key.key)
    new = changed(record, changes, keys=keys, own_recipes=own_recipes)
    step = attempt_of(run, document, record, new.making)
    plan = planned(step)
    check_chords(step.recipe, plan.entry_beat - plan.exit_beat)
    return step, new, plan
