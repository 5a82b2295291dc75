"""Where songs are left, by how they end and where their phrases start."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.analysis.ending import hear_ending
from segue.analysis.facts import PhraseFact
from segue.audio.clip import Clip, SongEdge, Stem
from segue.plan import plan_segue
from segue.plan.edges import song_end, song_start
from segue.recipes import load_recipes, shelf_folder
from tests.plan import song_facts


def left_s(facts):
    end = song_end(facts)
    return end.grid.seconds_at(end.done_index)


def phrased(facts, phase, *, confidence=0.9):
    starts_s = facts.pulse.downbeats_s[phase::4]
    return replace(facts, phrases=PhraseFact(starts_s=starts_s, confidence=confidence))


RATE_HZ = 22_050


def voices_after_a_band(chord_s, blend_s, seed):
    """Sixteen beats of chords with drums at 120 BPM, then four held chords.

    The sound, when the last chord sets in, and when it is let go.
    """
    rng = np.random.default_rng(seed)
    band_s, n_chords = 8.0, 4
    let_go_s = band_s + n_chords * chord_s
    time_s = np.arange(round((let_go_s + 1.5) * RATE_HZ)) / RATE_HZ
    roots_hz = 220.0 * 2.0 ** (rng.permutation(8)[:n_chords] / 12.0)
    sound = np.zeros(len(time_s))
    for number, root_hz in enumerate(roots_hz):
        starts_s = band_s + number * chord_s if number else 0.0
        stops_s = band_s + (number + 1) * chord_s
        level = np.clip((time_s - starts_s) / blend_s + 0.5, 0.0, 1.0)
        level *= np.clip((stops_s - time_s) / blend_s + 0.5, 0.0, 1.0)
        chord_hz = [root_hz * ratio * k for ratio in (1.0, 1.26, 1.5) for k in (1, 2, 3)]
        tone = sum(np.sin(2 * np.pi * f * time_s + rng.uniform(0, 6)) for f in chord_hz)
        sound += 0.03 * np.sin(0.5 * np.pi * level) * tone
    for beat in range(round(2.0 * band_s)):
        at = round(0.5 * beat * RATE_HZ)
        decay = np.exp(-np.arange(4000) / 800.0)
        sound[at : at + 4000] += 0.1 * decay * rng.standard_normal(4000)
    return sound.astype(np.float32), let_go_s - chord_s, let_go_s


@given(phase=st.integers(0, 3))
def test_a_song_that_keeps_going_is_left_on_a_sure_phrase(phase):
    facts = phrased(song_facts.end_facts(kind="keeps going"), phase)
    exit_s = left_s(facts)
    groups = (exit_s - facts.phrases.starts_s[0]) / (4 * 4 * facts.pulse.beat_s)
    assert groups == pytest.approx(round(groups), abs=1e-3)
    assert exit_s > facts.ending.sound_end_s - 4 * 4 * facts.pulse.beat_s - 0.01


def test_unsure_phrases_move_nothing(end_facts):
    facts = end_facts(kind="keeps going")
    assert left_s(phrased(facts, 1, confidence=0.5)) == left_s(facts)


@pytest.mark.parametrize("kind", ["cold stop", "ring-out"])
def test_no_phrase_takes_a_last_chord_away(kind, end_facts):
    facts = end_facts(kind=kind, last_hit_beats_before_end=4.0)
    for phase in range(4):
        assert left_s(phrased(facts, phase)) == left_s(facts) >= facts.ending.last_hit_s - 0.01


def test_a_fade_is_left_while_it_is_loud(end_facts):
    facts = end_facts(kind="fade")
    late = replace(facts.ending, fade_start_s=facts.ending.fade_start_s + facts.pulse.beat_s)
    assert left_s(replace(facts, ending=late)) <= late.fade_start_s


def test_a_held_last_chord_is_heard_out_before_a_cold_stop(end_facts):
    facts = end_facts(kind="cold stop", last_hit_beats_before_end=8.0)
    held = replace(facts.ending, rung_out_s=facts.ending.sound_end_s)
    assert left_s(replace(facts, ending=held)) > left_s(facts)


def test_a_song_is_not_left_a_bar_after_its_sound(end_facts):
    facts = end_facts(kind="ring-out", last_hit_beats_before_end=4.0)
    short = replace(facts.ending, sound_end_s=facts.ending.last_hit_s + 0.2)
    exit_s = left_s(replace(facts, ending=short))
    assert exit_s <= short.sound_end_s + facts.pulse.beat_s


@given(
    kind=st.sampled_from(["ring-out", "cold stop"]),
    held_beats=st.floats(2.0, 24.0),
    rings_beats=st.floats(0.0, 8.0),
)
def test_what_is_held_after_the_last_hit_is_not_cut(kind, held_beats, rings_beats):
    facts = song_facts.end_facts(kind=kind, last_hit_beats_before_end=32.0)
    beat_s, hit_s = facts.pulse.beat_s, facts.ending.last_hit_s
    let_go_s = hit_s + held_beats * beat_s
    held = replace(facts.ending, held_until_s=let_go_s, sound_end_s=let_go_s + rings_beats * beat_s)
    exit_s = left_s(replace(facts, ending=held))
    silent_s = exit_s - held.sound_end_s
    # half a beat late is on the line; where the next line lay in silence, the one before serves
    assert exit_s >= let_go_s - 0.66 * beat_s or exit_s > let_go_s - 4.0 * beat_s - 0.01
    assert silent_s <= 4 * beat_s
    if rings_beats >= 3.5:
        assert exit_s >= let_go_s - 0.66 * beat_s


@pytest.mark.parametrize("confidence", [0.9, 0.1], ids=["with a pulse", "in free time"])
@settings(max_examples=8)
@given(chord_s=st.floats(2.0, 4.0), blend_s=st.floats(0.3, 0.8), seed=st.integers(0, 99))
def test_chords_that_change_without_a_hit_are_all_played(confidence, chord_s, blend_s, seed):
    """A band stops and held voices go on, changing so softly that no hit is heard."""
    facts = song_facts.end_facts(bpm=120.0, kind="ring-out", confidence=confidence)
    sound, last_chord_s, let_go_s = voices_after_a_band(chord_s, blend_s, seed)
    clip = Clip(samples=np.stack([sound, sound], axis=1), rate_hz=RATE_HZ, start_s=100.0)
    stem = Stem(role="mix", file="song.wav", clip=clip)
    edge = SongEdge(
        path=Path("song.wav"), title="song", edge="end", stems=(stem,), duration_s=clip.end_s
    )
    heard = hear_ending(edge, facts.pulse)
    assert heard.kind != "fade"
    exit_s = left_s(replace(facts, ending=heard, edge_end_s=clip.end_s, duration_s=clip.end_s))
    assert 100.0 + last_chord_s + blend_s < exit_s
    assert exit_s > 100.0 + let_go_s - 4 * facts.pulse.beat_s


def intro(sound_beats):
    """A start whose sound sets in so many beats after its first bar line, and its kit later."""
    facts = song_facts.start_facts(bpm=100.0)
    line_s, beat_s = facts.pulse.downbeats_s[0], facts.pulse.beat_s
    opening = replace(
        facts.opening,
        kind="free intro",
        sound_start_s=line_s + sound_beats * beat_s,
        first_downbeat_s=facts.pulse.downbeats_s[1],
    )
    return replace(facts, opening=opening)


@given(sound_beats=st.floats(-0.45, 0.45))
def test_a_soft_start_is_entered_on_the_bar_line_that_is_heard_beside_it(sound_beats):
    facts = intro(sound_beats)
    start = song_start(facts)
    assert start.grid.seconds_at(start.entry_index) == pytest.approx(facts.pulse.downbeats_s[0])
    assert start.sound_index <= start.entry_index


@given(sound_beats=st.floats(0.6, 3.3))
def test_an_intro_that_sets_in_between_bar_lines_is_a_pick_up_to_the_next(sound_beats):
    facts = intro(sound_beats)
    start = song_start(facts)
    assert start.grid.seconds_at(start.entry_index) == pytest.approx(facts.pulse.downbeats_s[1])
    assert start.sound_index == pytest.approx(sound_beats, abs=1e-6)


@given(silent_bars=st.integers(2, 6), sound_beats=st.floats(0.0, 3.0))
def test_an_intro_long_before_its_first_bar_line_is_entered_where_it_sounds(
    silent_bars, sound_beats
):
    facts = intro(sound_beats)
    skipped = 4 * silent_bars
    pulse = replace(
        facts.pulse,
        beats_s=facts.pulse.beats_s[skipped:],
        downbeats_s=facts.pulse.downbeats_s[silent_bars:],
    )
    start = song_start(replace(facts, pulse=pulse))
    entry_s = start.grid.seconds_at(start.entry_index)
    assert entry_s == pytest.approx(facts.opening.sound_start_s)


def test_an_intro_in_free_time_is_entered_where_it_sounds():
    facts = song_facts.unheard(intro(0.3))
    start = song_start(facts)
    entry_s = start.grid.seconds_at(start.entry_index)
    assert entry_s == pytest.approx(facts.opening.sound_start_s)


def test_a_song_that_fades_in_is_entered_where_it_has_come_up_and_comes_under_the_bridge():
    facts = song_facts.start_facts("C major", 120.0)  # bars of 2 s from 0.1 s on
    fading = replace(facts, opening=replace(facts.opening, faded_in_s=3.9))
    start = song_start(fading)
    assert start.grid.seconds_at(start.entry_index) == pytest.approx(4.1)
    assert start.fades_in
    shelf = {recipe.name: recipe for recipe in load_recipes(shelf_folder())}
    old = song_facts.end_facts("E minor", 120.0)
    for name in ("turnaround", "loop and hand over"):
        plan, plain = (plan_segue(shelf[name], old, new) for new in (fading, facts))
        (new_song,) = [x for x in plan.layers if x.name == "new song"]
        assert plan.exit_beat < new_song.start_beat < plan.entry_beat - 2
        assert plan.entry_source_s == pytest.approx(4.1)
        ends = [
            [x.end_beat for x in one.layers if x.name.startswith("old")] for one in (plan, plain)
        ]
        assert ends[0] == pytest.approx(ends[1])  # nothing makes way as for a pick-up
        assert any("fades in" in note for note in plan.notes)
    long = replace(facts, opening=replace(facts.opening, faded_in_s=25.0))
    assert not song_start(long).fades_in


def test_where_no_bar_line_is_heard_a_song_is_entered_on_the_beat_on_which_it_has_come_up():
    facts = song_facts.start_facts("C major", 120.0)  # beats of .5 s from .1 s on
    swelling = replace(facts, opening=replace(facts.opening, faded_in_s=1.2))
    lost = replace(swelling, pulse=replace(facts.pulse, downbeat_confidence=0.1))
    start = song_start(lost)
    assert start.grid.seconds_at(start.entry_index) == pytest.approx(1.1)
    assert start.grid.bar_line_after(start.entry_index) == start.entry_index
    free = song_start(song_facts.unheard(swelling))
    assert free.grid.seconds_at(free.entry_index) == pytest.approx(1.2)


@pytest.mark.parametrize("kind", ["ring-out", "cold stop"])
@pytest.mark.parametrize(
    ("rings_beats", "left_beats"),
    [
        pytest.param(0.6, 1.0, id="over long before the bar line"),
        pytest.param(3.2, None, id="over shortly before it"),
        pytest.param(9.0, None, id="still ringing on it"),
    ],
)
def test_a_song_whose_last_chord_has_rung_out_is_left_before_the_room_waits(
    kind, rings_beats, left_beats, end_facts
):
    """On a beat and not a bar line: nobody counts on through a silence."""
    facts = end_facts(
        bpm=90.0, kind=kind, last_hit_beats_before_end=7.0 if kind != "ring-out" else 8.0
    )
    hit_s, beat_s = facts.ending.last_hit_s, facts.pulse.beat_s
    over_s = hit_s + rings_beats * beat_s
    rung = replace(facts.ending, held_until_s=hit_s, rung_out_s=over_s, sound_end_s=over_s + 2.0)
    end = song_end(replace(facts, ending=rung))
    if left_beats is None:
        assert end.left_index is None
        return
    assert end.grid.seconds_at(end.left_index) == pytest.approx(
        hit_s + left_beats * beat_s, abs=0.1
    )
    assert end.leaving_index < end.done_index
