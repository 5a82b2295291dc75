"""The five stages, one function each: read an edge, hear it, plan, render, score."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from segue.audio.read import DEFAULT_EDGE_S, DEFAULT_RATE_HZ, read_song

if TYPE_CHECKING:
    from collections.abc import Mapping

    from segue.analysis.facts import EdgeFacts
    from segue.audio.clip import Clip, Edge, Overrides, SongEdge
    from segue.plan import Plan
    from segue.recipes import Recipe
    from segue.render.candidate import Candidate
    from segue.score import Purpose, Scorecard


def read_edge(
    path: str | Path, edge: Edge, *, edge_s: float = DEFAULT_EDGE_S, rate_hz: int = DEFAULT_RATE_HZ
) -> SongEdge:
    """The end or the start of a song.

    Parameters
    ----------
    path : str or Path
        An audio file, or a folder with one file a stem.
    edge_s : float
        How much of the song is decoded.
    rate_hz : int
        Rate that its sound is brought to.

    Raises
    ------
    SegueError
        If the song cannot be read.
    """
    return read_song(Path(path), edge=edge, edge_s=edge_s, rate_hz=rate_hz)


def hear_edge(
    song: SongEdge,
    *,
    overrides: Overrides | None = None,
    lead: Clip | None = None,
    cached: bool = True,
) -> EdgeFacts:
    """Key, tempo, beats, level and whatever else is heard in an edge.

    Parameters
    ----------
    overrides : Overrides, optional
        What you know better; goes over what is heard.
    lead : Clip, optional
        The sung or lead part, where the song does not bring it as a stem.
    cached : bool
        Whether what was heard before counts, and what is heard now is kept.
    """
    from segue.heard.facts_cache import user_facts_cache
    from segue.heard.hearing import hear

    cache = user_facts_cache() if cached else None
    return hear(song, overrides=overrides, lead=lead, cache=cache)


def plan_segue(
    recipe: str | Recipe,
    old: EdgeFacts,
    new: EdgeFacts,
    *,
    has_stems: tuple[bool, bool] = (False, False),
    talk_s: float | None = None,
    seed: int = 0,
) -> Plan:
    """A segue in beats: tempo curve, bars, chords, layers, click and cue.

    Parameters
    ----------
    recipe : str or Recipe
        One of the shelf by its name, or your own (`load_recipe`).
    old, new : EdgeFacts
        Of the end of the old song and the start of the new one.
    has_stems : (bool, bool)
        Whether the old and the new song come as stems (`SongEdge.has_stems`).
    talk_s : float or None
        What the singer wants for talking.

    Raises
    ------
    SegueError
        If there is no such recipe, or it cannot be planned between these songs.
    """
    from segue.plan import plan_segue as planned
    from segue.plan.heard_words import filled_in
    from segue.recipes import all_recipes

    known = all_recipes().named(recipe).recipe if isinstance(recipe, str) else recipe
    old, new = filled_in(old, new)
    return planned(
        known,
        old,
        new,
        outgoing_has_stems=has_stems[0],
        incoming_has_stems=has_stems[1],
        talk_s=talk_s,
        seed=seed,
    )


def render_segue(plan: Plan, old: SongEdge, new: SongEdge) -> Candidate:
    """A plan made audible: music, click and cue as clips that line up to the frame.

    Parameters
    ----------
    old, new : SongEdge
        At one rate.

    Raises
    ------
    ValueError
        If the two songs differ in rate.
    """
    from segue.render import render_candidate

    return render_candidate(plan, old, new)


def score_segue(
    candidate: Candidate,
    old: EdgeFacts,
    new: EdgeFacts,
    *,
    purpose: Purpose | None = None,
    weights: Mapping[str, float] | None = None,
) -> Scorecard:
    """What is measured on the rendered sound, and its weighted mean from 0 to 1.

    Parameters
    ----------
    purpose : {'talk', 'lift', 'calm', 'dance'} or None
        What the segue is for.
    weights : mapping of str to float, optional
        Your own weight of each measure, instead of the table's.
    """
    from segue.plan.heard_words import filled_in
    from segue.score import score_candidate

    old, new = filled_in(old, new)
    return score_candidate(candidate, old, new, purpose=purpose, weights=weights)
