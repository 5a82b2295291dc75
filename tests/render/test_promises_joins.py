"""Joins: no click, no change of power, on a beat; measured wherever a layer or a copy ends.

That no step there is larger than those of the music around is held of the drawn plans, in
`test_promises_plans`, where they are rendered.
"""

import tempfile
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from segue.audio.clip import Clip
from segue.audio.loudness import k_weighting_sos, momentary_lufs
from segue.plan.layer import DrumLayer, PlayedLayer, SongLayer, SweepLayer
from segue.plan.tempo_spans import TempoTooFarError
from segue.render import render_candidate
from segue.render.stretch import crossfaded, sound_along
from segue.render.time_map import TimeMap
from tests.render.demo_songs import RATE_HZ, demo_plan, demo_song
from tests.render.drawn_plans import drawn, planned, recipes
from tests.render.join_steps import attacks_s, joins, step_ratios
from tests.render.made_songs import PARTS
from tests.render.measure import rms_db

N_DRAWN = 60
"""Two of every recipe."""
HIDDEN_RATIO = 0.02
"""Of the material's own largest steps: a click of that size is 34 dB below what is promised."""
MOST_LU = 1.0
HOP_S = 0.01


@cache
def draw(number, parts):
    """A drawn plan with some of the parts, not rendered, and the songs; None where refused."""
    pair = drawn(number, rates_hz=(22_050,), is_short=True)
    pair = replace(pair, old=replace(pair.old, parts=parts), new=replace(pair.new, parts=parts))
    try:
        with tempfile.TemporaryDirectory() as folder:
            return planned(pair, Path(folder))
    except TempoTooFarError:
        return None


@pytest.mark.parametrize("number", range(N_DRAWN // 2))
def test_between_steady_tones_a_join_makes_no_click_at_all(number):
    """No attack hides it: what is struck, risers and swells are left out."""
    one = draw(number, PARTS[1:])
    struck = DrumLayer | PlayedLayer | SweepLayer
    layers = tuple(x for x in one.plan.layers if not isinstance(x, struck))
    plan = replace(one.plan, layers=layers)
    candidate = render_candidate(plan, one.old.edge, one.new.edge)
    ratios = step_ratios(candidate, plan, attacks_s(one, plan), is_tonal=True)
    assert ratios
    assert max(ratios.values()) <= HIDDEN_RATIO, max(ratios, key=ratios.get)


def test_a_click_of_a_layer_cut_short_would_be_found():
    """The measure is no rubber stamp: a layer that stops dead is far over its limit."""
    one = draw(8, PARTS[1:])
    old = next(x for x in one.plan.layers if isinstance(x, SongLayer) and x.song == "outgoing")
    cut = replace(old, fade_out_s=0.0, gain_db=(), lowpass_hz=(), highpass_hz=(), reverb_db=())
    cut = replace(cut, end_beat=old.end_beat - 1.37)
    plan = replace(one.plan, layers=(cut,))
    candidate = render_candidate(plan, one.old.edge, one.new.edge)
    ratios = step_ratios(candidate, plan, (), is_tonal=True)
    assert max(ratios.values()) > 5 * HIDDEN_RATIO


def test_a_filtered_loop_rings_out_instead_of_being_cut():
    """A high-pass still rings where its layer has faded out."""
    one = draw([recipe.name for recipe in recipes()].index("talk bed"), PARTS[1:])
    assert one.plan.recipe == "talk bed"
    beds = tuple(x for x in one.plan.layers if x.name.startswith("bed"))
    assert len(beds) > 1
    assert all(bed.highpass_hz for bed in beds)
    plan = replace(one.plan, layers=beds)
    candidate = render_candidate(plan, one.old.edge, one.new.edge)
    assert max(step_ratios(candidate, plan, attacks_s(one, plan), is_tonal=True).values()) <= 0.005


def noise(n_frames, seed):
    return np.random.default_rng(seed).standard_normal((n_frames, 2)).astype(np.float32)


@pytest.mark.parametrize("shared", [0.0, 0.3, 0.6, 0.9, 1.0])
def test_a_cross_fade_keeps_the_power_whatever_its_sides_share(shared):
    """Equal power where they are strangers, equal gain where they are the same."""
    before, other = noise(1 << 17, 1), noise(1 << 17, 2)
    after = (shared * before + np.sqrt(1 - shared**2) * other).astype(np.float32)
    parts = np.array_split(crossfaded(before, after), 16)
    powers_db = [rms_db(part) for part in parts]
    # the power of 16,384 values of noise is known to 0.05 dB (one standard deviation)
    assert max(abs(power_db - rms_db(before)) for power_db in powers_db) <= 0.2


def test_a_cross_fade_of_a_sound_with_itself_is_that_sound():
    sound = noise(1_000, 3)
    assert np.abs(crossfaded(sound, sound) - sound).max() < 1e-5


@pytest.mark.parametrize("what", ["band", "noise", "chord"])
@pytest.mark.parametrize("stretched_ratio", [0.9, 1.15])
def test_no_dip_or_bump_where_copied_and_stretched_sound_meet(what, stretched_ratio):
    """Momentary loudness against that of the song at the same place, around both joins."""
    source = steady_sound(what)
    plan_s = np.array([0.0, 2.0, 2.0 + 2.0 * stretched_ratio, 4.0 + 2.0 * stretched_ratio])
    time_map = TimeMap(plan_s=plan_s, source_s=np.array([1.0, 3.0, 5.0, 7.0]))
    n_frames = round(plan_s[-1] * RATE_HZ)
    made_sound = sound_along(source, time_map, first_frame=0, n_frames=n_frames)
    times_s, lufs = momentary_lufs(Clip(samples=made_sound, rate_hz=RATE_HZ), hop_s=HOP_S)
    wanted = loudness_along(source, time_map, times_s)
    near = np.minimum(abs(times_s - plan_s[1]), abs(times_s - plan_s[2])) <= 0.4
    assert near.sum() > 50
    assert np.abs(lufs - wanted)[near].max() <= MOST_LU


def loudness_along(source, time_map, times_s):
    """Momentary loudness of a song whose every hundredth of a second lasts as long as mapped."""
    from scipy.signal import sosfilt

    weighted = sosfilt(k_weighting_sos(RATE_HZ), source.samples.astype(np.float64), axis=0)
    energy = np.concatenate(([0.0], np.cumsum(np.square(weighted).sum(axis=1))))
    edges_s = times_s[:, None] + np.linspace(-0.2, 0.2, 41)[None, :]
    at = time_map.source_at(edges_s.ravel()).reshape(edges_s.shape) * RATE_HZ
    power = np.diff(np.interp(at, np.arange(len(energy)), energy), axis=1) / np.diff(at, axis=1)
    return -0.691 + 10 * np.log10(power.mean(axis=1))  # BS.1770-4


def steady_sound(what):
    if what == "band":
        return Clip(samples=demo_song(1, "end").edge.mix.samples, rate_hz=RATE_HZ)
    if what == "noise":
        return Clip(samples=0.1 * noise(8 * RATE_HZ, 5), rate_hz=RATE_HZ)
    time_s = np.arange(8 * RATE_HZ)[:, None] / RATE_HZ
    tones = [
        np.sin(2 * np.pi * hz * time_s + [[hz, 2 * hz]]) for hz in (110.0, 220.0, 277.2, 440.0)
    ]
    return Clip(samples=(0.1 * np.sum(tones, axis=0)).astype(np.float32), rate_hz=RATE_HZ)


@pytest.mark.parametrize(
    ("recipe", "first"),
    [
        pytest.param("bar-aligned overlap", 3, id="overlap"),
        pytest.param("tempo ramp", 1, id="ramp"),
        pytest.param("talk bed", 1, id="bed"),
    ],
)
def test_layers_of_the_demo_songs_add_up_without_a_dip_or_a_bump(recipe, first):
    """The loudness of the whole is that of its layers together, at every moment.

    The fader is left where it is: it moves by what is heard of all layers.
    """
    plan = replace(demo_plan(recipe, first), bridge_lu=())
    old, new = demo_song(first, "end").edge, demo_song(first + 1, "start").edge
    plan = replace(plan, **{name: getattr(plan, name) - 12.0 for name in LEVELS})
    whole = render_candidate(plan, old, new).music
    powers = 0.0
    for layer in plan.layers:
        alone = render_candidate(replace(plan, layers=(layer,)), old, new).music
        powers = powers + 10 ** (momentary_lufs(alone)[1] / 10)
    times_s, lufs = momentary_lufs(whole)
    joins_s = np.array([join.at_s for join in joins(plan)])
    near = np.abs(times_s[:, None] - joins_s[None, :]).min(axis=1) <= 0.4
    heard = near & (lufs > -60.0)
    assert heard.any()
    assert np.abs(lufs - 10 * np.log10(powers))[heard].max() <= MOST_LU


LEVELS = ("outgoing_gain_db", "incoming_gain_db", "target_lufs")


@pytest.mark.parametrize("number", range(0, N_DRAWN, 5))
def test_exit_and_entry_are_on_a_beat_of_the_song(number):
    one = draw(number, PARTS)
    if one is None:
        pytest.skip("the recipe is refused between these tempos")
    plan = one.plan
    new = next(x for x in plan.layers if isinstance(x, SongLayer) and x.name == "new song")
    at_s = np.interp(
        plan.entry_beat, *zip(*((p.beat, p.source_s) for p in new.time_map), strict=True)
    )
    beats_s = (one.new.facts.opening.sound_start_s, *one.new.facts.pulse.beats_s)
    assert min(abs(at_s - second) for second in beats_s) < 1e-6
    assert plan.exit_beat == round(plan.exit_beat)
