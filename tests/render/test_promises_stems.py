"""Stems: layers on their own, never two singers, never two bass lines; measured on their sound.

Songs of which all stems but one are gone tell what becomes of it: each side is rendered alone.
"""

import tempfile
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.plan import plan_segue
from segue.plan.layer import FrozenLayer, ReversedLayer, SongLayer
from segue.recipes import load_recipes, shelf_folder
from segue.render import render_candidate
from tests.render.demo_songs import demo_plan, demo_song
from tests.render.drawn_plans import (
    STILL_THERE_DB,
    TALK_S,
    bass_levels_db,
    drawn,
    is_too_far,
    levels_db,
    recipes,
)
from tests.render.made_songs import made_song
from tests.render.measure import rms_db

RATE_HZ = 22_050
STEP_S = 0.05
MOST_BEATS = {"voice": 0.25, "bass": 1.0}
"""Shorter meetings of two singers are joins; two bass lines may meet for a beat."""
NULL_DB = -120.0
"""Sums in single precision of layers 20 dB down: measured -150."""
ROLES = {"voice": ("voice", "lead"), "bass": ("bass",)}
N_RECIPES = len(recipes())


@cache
def pair_of(number):
    """Plan and songs of a draw whose songs are stems; None where it is refused."""
    draw = drawn(number, rates_hz=(RATE_HZ,), is_short=True)
    if is_too_far(draw):
        return None
    scores = (replace(x, has_stems=True) for x in (draw.old, draw.new))
    with tempfile.TemporaryDirectory() as folder:
        old, new = (made_song(score, RATE_HZ, Path(folder)) for score in scores)
    plan = plan_segue(
        draw.recipe,
        old.facts,
        new.facts,
        outgoing_has_stems=True,
        incoming_has_stems=True,
        talk_s=TALK_S if draw.recipe.suits.talk == "yes" else None,
        seed=number,
    )
    return plan, old.edge, new.edge


def one_side(plan, side, what, old, new):
    """What a plan makes of one song's own sound; a held chord has a bass but sings no line."""
    kinds = (
        (SongLayer, ReversedLayer, FrozenLayer) if what == "bass" else (SongLayer, ReversedLayer)
    )
    layers = tuple(x for x in plan.layers if isinstance(x, kinds) and x.song == side)
    return render_candidate(replace(plan, layers=layers, bridge_lu=()), old, new).music


def is_heard(sound, own, gain_db, what):
    """Every 50 ms: whether it is within 30 dB of what the song itself has."""
    levels = (
        bass_levels_db(clip) if what == "bass" else mono_levels_db(clip) for clip in (sound, own)
    )
    there_db, own_db = levels
    return there_db > np.percentile(own_db, 75) + gain_db - STILL_THERE_DB


def mono_levels_db(clip):
    return levels_db(clip.samples.mean(axis=1, dtype=np.float64), clip.rate_hz)


def beats_together(plan, what, old, new):
    """For how many beats both songs' singers, or basses, are heard; and how long either is."""
    sides = (("outgoing", old, plan.outgoing_gain_db), ("incoming", new, plan.incoming_gain_db))
    heard = [
        is_heard(one_side(plan, side, what, old, new), song.mix, gain_db, what)
        for side, song, gain_db in sides
    ]
    entry_s = plan.seconds_at(plan.entry_beat)
    beat_s = plan.seconds_at(plan.entry_beat + 1.0) - entry_s
    together_s, *each_s = (STEP_S * np.count_nonzero(x) for x in (heard[0] & heard[1], *heard))
    return together_s / beat_s, min(each_s)


@pytest.mark.parametrize("what", ["voice", "bass"])
@pytest.mark.parametrize("number", range(N_RECIPES))
def test_two_singers_or_basses_never_meet(number, what):
    """A singer without a breath and a bass without a rest, over every recipe."""
    found = pair_of(number) or pair_of(number + N_RECIPES)  # one may be refused
    assert found is not None
    plan, old, new = found[0], only(found[1], ROLES[what]), only(found[2], ROLES[what])
    beats, either_s = beats_together(plan, what, old, new)
    assert either_s > 0.5
    assert beats <= MOST_BEATS[what]


@pytest.mark.parametrize("what", ["voice", "bass"])
@pytest.mark.parametrize(
    ("recipe", "first"),
    [
        pytest.param("bar-aligned overlap", 3, id="overlap"),
        pytest.param("filtered tail", 2, id="filtered-tail"),
        pytest.param("talk bed", 1, id="talk-bed"),
        pytest.param("tempo ramp", 1, id="tempo-ramp"),
    ],
)
def test_two_singers_or_basses_of_the_demo_songs_never_meet(recipe, first, what):
    plan = demo_plan(recipe, first)
    old, new = (
        only(demo_song(number, edge).edge, ROLES[what])
        for number, edge in ((first, "end"), (first + 1, "start"))
    )
    beats, either_s = beats_together(plan, what, old, new)
    assert either_s > 0.5
    assert beats <= MOST_BEATS[what]


def only(song, roles):
    return replace(song, stems=tuple(stem for stem in song.stems if stem.role in roles))


def test_two_singers_on_purpose_are_found():
    """The measure is no rubber stamp: whole songs that overlap have both."""
    plan = demo_plan("bar-aligned overlap", 3)
    layers = tuple(
        replace(x, roles=(), gain_db=(), highpass_hz=(), lowpass_hz=())
        if isinstance(x, SongLayer)
        else x
        for x in plan.layers
    )
    for what, roles in ROLES.items():
        old, new = (
            only(demo_song(number, edge).edge, roles) for number, edge in ((3, "end"), (4, "start"))
        )
        beats, _ = beats_together(replace(plan, layers=layers), what, old, new)
        assert beats > MOST_BEATS[what]


@pytest.mark.parametrize("number", range(N_RECIPES))
def test_layers_of_stems_work_on_their_own(number):
    """Together they are the sum of each alone, whatever the recipe."""
    found = pair_of(number) or pair_of(number + N_RECIPES)  # one may be refused
    assert found is not None
    plan, old, new = found
    # so far down that neither the limiter nor the level of the whole has anything to do
    quiet = {"outgoing_gain_db": -20.0, "incoming_gain_db": -20.0, "target_lufs": -36.0}
    plan = replace(plan, **quiet, bridge_lu=())  # a fader moves by what is heard of all layers
    whole = render_candidate(plan, old, new).music.samples.astype(np.float64)
    alone = [
        render_candidate(replace(plan, layers=(layer,)), old, new).music.samples
        for layer in plan.layers
    ]
    assert rms_db(whole) > -80.0
    assert rms_db(whole - np.sum(alone, axis=0, dtype=np.float64)) - rms_db(whole) < NULL_DB


@pytest.mark.parametrize("role", ["drums", "bass", "keys", "lead"])
def test_a_layer_of_one_role_has_nothing_of_the_others(role):
    """Bit for bit what it is when the song has no other stem."""
    plan, old, new = pair_of(0)
    first = next(x for x in plan.layers if isinstance(x, SongLayer) and x.song == "outgoing")
    one = replace(plan, layers=(replace(first, roles=(role,)),))
    full = render_candidate(one, old, new).music.samples
    bare = render_candidate(one, only(old, (role,)), new).music.samples
    assert np.abs(full).max() > 0.01
    assert np.array_equal(full, bare)


def test_all_recipes_are_on_the_shelf_or_known():
    """A new recipe is drawn by itself."""
    shelf = {recipe.name for recipe in load_recipes(shelf_folder())}
    assert shelf <= {drawn(number).recipe.name for number in range(N_RECIPES)}


def test_a_bass_is_told_from_what_lies_above_it():
    """150 Hz parts them: -3 dB there twice over, an octave higher 72 dB down."""
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    levels = []
    for hertz in (75.0, 150.0, 300.0):
        tone = np.sin(2 * np.pi * hertz * time_s).astype(np.float32)[:, None]
        inner = bass_levels_db(Clip(samples=tone, rate_hz=RATE_HZ))[10:-10]
        levels.append(10 * np.log10(np.mean(10 ** (inner / 10))))
    assert levels == pytest.approx([-3.0, -9.0, -75.3], abs=0.3)
