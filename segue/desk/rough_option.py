"""A rough first option, planned at once from what was heard: tasks for a process that stays.

It is what Segue itself would take by the facts alone, drafted: the bridge and a few seconds around
it at half the rate. The job itself listens to many recipes before it takes three, so the rough one
need not be among them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from segue.analysis.shared_count import counted_together
from segue.audio.write import packed
from segue.errors import SegueError
from segue.job.attempt import Attempt, planned
from segue.job.draft import AROUND_S, make_draft
from segue.job.shortlist import N_PROPOSALS
from segue.job.steps import draft_candidate
from segue.plan import Given, proposals
from segue.plan.heard_words import filled_in
from segue.recipes import all_recipes

if TYPE_CHECKING:
    from segue.audio.clip import Clip
    from segue.job.attempt import HeardSong
    from segue.job.changes import Changes
    from segue.job.request import Request
    from segue.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class RoughOrder:
    """A rough option that is wanted.

    Parameters
    ----------
    stamps : tuple of str
        Of the files of the two songs: what was read of other files is let go.
    """

    request: Request
    songs: tuple[HeardSong, HeardSong]
    stamps: tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoughSound:
    """A draft of an option.

    Parameters
    ----------
    name : str
        Of its recipe.
    sound : bytes
        Music as FLAC.
    exit_s, entry_s : float
        Where the old song is left and the new one comes in, in seconds of this sound.
    """

    name: str
    sound: bytes
    exit_s: float
    entry_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftOrder:
    """A draft of a changed option that is wanted.

    Parameters
    ----------
    solo : tuple of str
        Layers that are heard alone; empty for all.
    """

    run: Path
    option: str
    changes: Changes
    own_recipes: Path | None = None
    solo: tuple[str, ...] = ()


def rough_option(order: RoughOrder) -> RoughSound:
    """The likeliest option as a draft, or the one whose recipe is named.

    Raises
    ------
    SegueError
        If nothing can be planned between the songs, or one cannot be read.
    """
    request = order.request
    old, new = order.songs
    facts = filled_in(*counted_together(old.facts, new.facts))
    songs = (replace(old, facts=facts[0]), replace(new, facts=facts[1]))
    shelf = all_recipes(request.recipes, own=request.own_recipes).recipes
    given = Given(
        talk_s=request.talk_s,
        outgoing_roles=old.roles,
        incoming_roles=new.roles,
        purpose=request.purpose,
        asked=request.asked,
    )
    place = Path("\n".join(order.stamps))  # tells these songs from others, and is no place
    named = tuple(recipe for recipe in shelf if recipe.name in request.only)
    found = named or proposals(shelf, *facts, n_proposals=N_PROPOSALS, given=given)
    problem = SegueError("No recipe suits these songs.")
    for recipe in found:
        step = Attempt(run=place, request=request, songs=songs, recipe=recipe)
        try:
            plan = planned(step, heard_s=AROUND_S)
        except SegueError as error:
            problem = error
            continue
        return _sound_of(plan, draft_candidate(step, plan).music)
    raise problem


def changed_draft(order: DraftOrder) -> RoughSound:
    """A draft of an option, changed or as it is.

    Raises
    ------
    SegueError
        If something cannot be done, or a song is gone.
    """
    made = make_draft(
        order.run, order.option, order.changes, own_recipes=order.own_recipes, solo=order.solo
    )
    plan = made.plan
    exit_s, entry_s = (plan.seconds_at(beat) for beat in (plan.exit_beat, plan.entry_beat))
    return RoughSound(
        name=plan.recipe,
        sound=packed(made.music),
        exit_s=exit_s - made.starts_s,
        entry_s=entry_s - made.starts_s,
    )


def _sound_of(plan: Plan, music: Clip) -> RoughSound:
    return RoughSound(
        name=plan.recipe,
        sound=packed(music),
        exit_s=plan.seconds_at(plan.exit_beat),
        entry_s=plan.seconds_at(plan.entry_beat),
    )
