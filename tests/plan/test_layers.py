"""What recipes' layers become: loops, drums, frozen tails, sweeps, common tones, vamps."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.analysis.structure_facts import BarFact, LoopFact
from segue.music.chord import own_chords, tonic_triad
from segue.music.key import ALL_KEYS, parse_key
from segue.music.voicing import least_bend
from segue.plan import plan_segue
from segue.plan.layer import (
    CurvePoint,
    DrumLayer,
    FrozenLayer,
    PadLayer,
    PlayedLayer,
    ReversedLayer,
    SongLayer,
    SweepLayer,
)
from segue.plan.lead_ins import SOFT_HIT_DB, pattern_hits
from segue.plan.pads import pivot_vamp, pumping
from segue.plan.propose import energy
from segue.plan.shaping import value_at
from segue.recipes import load_recipes, shelf_folder
from segue.recipes.recipe import Pattern
from tests.plan.song_facts import end_facts as facts_of_end
from tests.plan.song_facts import start_facts as facts_of_start

SHELF = {recipe.name: recipe for recipe in load_recipes(shelf_folder())}
keys = st.sampled_from(ALL_KEYS)


def of_kind(plan, kind):
    return [layer for layer in plan.layers if isinstance(layer, kind)]


def beds(plan):
    return [x for x in of_kind(plan, SongLayer) if x.name.startswith("bed")]


def test_bed_joins_cross_over_on_bar_lines_and_end_on_the_entry(shelf, end_facts, start_facts):
    plan = plan_segue(shelf["talk bed"], end_facts(), start_facts(first_note_s=10.5), talk_s=25.0)
    loops = beds(plan)
    lines = {round(line.beat, 6) for line in plan.bar_lines}
    for a, b in pairwise(loops):
        crossing_s = plan.seconds_at(a.end_beat) - plan.seconds_at(b.start_beat)
        assert crossing_s == pytest.approx(a.fade_out_s, abs=1e-6)
        assert crossing_s == pytest.approx(b.fade_in_s, abs=1e-6)
        assert 0.010 <= crossing_s <= 0.015
        line = plan.beat_at(plan.seconds_at(b.start_beat) + 0.015)
        assert round(line, 6) in lines
    assert plan.seconds_at(loops[-1].end_beat) == pytest.approx(
        plan.seconds_at(plan.entry_beat), abs=0.02
    )
    # Every repetition plays the same bars, and the last one is whole.
    bar_one_s = start_facts().opening.first_downbeat_s
    starts = [x.time_map[1].source_s for x in loops[1:]]
    assert starts == pytest.approx([bar_one_s] * len(starts))


@pytest.mark.parametrize(
    ("first_note_s", "n_bars", "told"),
    [
        pytest.param(0.1 + 2.1 * 2.5, 2, False, id="stops before the singer"),
        pytest.param(0.1 + 4.1 * 2.5, 4, False, id="all of it is free"),
        pytest.param(0.6, 1, True, id="the singer is in bar one"),
        pytest.param(None, 4, True, id="nobody knows"),
    ],
)
def test_bed_of_a_mix_keeps_clear_of_the_singer(
    first_note_s, n_bars, told, shelf, end_facts, start_facts
):
    new = start_facts(first_note_s=first_note_s)
    plan = plan_segue(shelf["talk bed"], end_facts(), new, talk_s=25.0)
    last = beds(plan)[-1]
    beats = round(last.end_beat - last.start_beat)
    assert beats == 4 * n_bars
    assert any("sing" in note for note in plan.notes) is told


def test_bed_of_stems_has_no_voice_in_it(shelf, end_facts, start_facts):
    plan = plan_segue(
        shelf["talk bed"], end_facts(), start_facts(), talk_s=25.0, incoming_has_stems=True
    )
    assert all(x.roles and {"voice", "lead"}.isdisjoint(x.roles) for x in beds(plan))
    assert not any("sing" in note for note in plan.notes)


def test_bed_is_far_down_until_the_last_two_bars(shelf, end_facts, start_facts):
    plan = plan_segue(shelf["talk bed"], end_facts(), start_facts(first_note_s=10.5), talk_s=25.0)
    bed = beds(plan)[0]
    call = plan.entry_beat - 8
    under = [value_at(plan.bridge_lu, plan.exit_beat + n) for n in range(36)]
    assert max(under) == min(under) == -14.0
    assert plan.bridge_lu[-1] == CurvePoint(beat=plan.entry_beat, value=-4.0)
    assert bed.part == "harmonic"
    drums = [x for x in plan.layers if isinstance(x, SongLayer) and x.part == "percussive"]
    assert min(x.start_beat for x in drums) == pytest.approx(call, abs=0.1)


def test_a_bridge_steps_back_for_talk_and_comes_up_in_the_last_bars(shelf, end_facts, start_facts):
    """10 LU under a speaker at least, 15 at most (M. Torcoli and others, J. AES 67(12), 2019)."""
    recipe = shelf["drone on the common tone"]
    plan = plan_segue(recipe, end_facts(), start_facts(), talk_s=25.0)
    low = [value_at(plan.bridge_lu, beat) for beat in (plan.exit_beat, plan.entry_beat - 8)]
    assert low == [-14.0, -14.0]
    assert value_at(plan.bridge_lu, plan.entry_beat) == pytest.approx(-4.5, abs=0.5)
    loud = plan_segue(recipe, end_facts(), start_facts())
    assert value_at(loud.bridge_lu, loud.exit_beat) >= -6.0


signs = st.text("xo-", min_size=1, max_size=40)


@given(
    kick=signs,
    snare=signs,
    steps=st.sampled_from([1, 2, 3, 4, 6]),
    metre=st.sampled_from([3, 4, 6]),
    n_bars=st.integers(1, 5),
)
@settings(max_examples=150)
def test_patterns_start_again_on_bar_lines_and_keep_their_signs(kick, snare, steps, metre, n_bars):
    pattern = Pattern(kick=kick, snare=snare, steps_a_beat=steps)
    hits = pattern_hits(pattern, start=8.0, end=8.0 + n_bars * metre, metre=metre)
    beats = [hit.beat for hit in hits]
    assert beats == sorted(beats)
    assert all(8.0 <= beat < 8.0 + n_bars * metre for beat in beats)
    assert {hit.gain_db for hit in hits} <= {0.0, SOFT_HIT_DB}
    on_one = [hit for hit in hits if hit.drum == "kick" and hit.beat == 8.0]
    if len(kick) <= n_bars * min(metre, 4) * steps:
        assert [hit.gain_db for hit in on_one] == {"x": [0.0], "o": [SOFT_HIT_DB], "-": []}[kick[0]]
    if len(kick) <= metre * steps and len(kick) % (4 * steps):
        places = [round((hit.beat - 8.0) * steps) for hit in hits if hit.drum == "kick"]
        bar = metre * steps
        later = {place - bar for place in places if bar <= place < 2 * bar}
        assert n_bars == 1 or later == {place for place in places if place < bar}


def test_a_bar_in_four_is_cut_to_a_waltz():
    hits = pattern_hits(Pattern(kick="x-x-x-x-", steps_a_beat=2), start=0.0, end=6.0, metre=3)
    assert [hit.beat for hit in hits] == [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]
    two = pattern_hits(Pattern(kick="x-----x-", steps_a_beat=1), start=0.0, end=6.0, metre=3)
    assert [hit.beat for hit in two] == [0.0, 5.0]


@pytest.mark.parametrize(
    ("metre", "n_bars", "counted"),
    [
        pytest.param(4, 2, [0, 2, 4, 5, 6, 7], id="as it is written"),
        pytest.param(4, 1, [0, 1, 2, 3], id="its last bar"),
        pytest.param(2, 2, [0, 1, 2, 3], id="two bars of two: every beat"),
        pytest.param(3, 2, [0, 2, 3, 4, 5], id="cut to a waltz"),
    ],
)
def test_a_count_longer_than_its_bridge_keeps_what_leads_into_bar_one(metre, n_bars, counted):
    count = Pattern(hat="x-x-xxxx", steps_a_beat=1)
    hits = pattern_hits(count, start=0.0, end=float(n_bars * metre), metre=metre)
    assert [hit.beat for hit in hits] == counted


def test_drum_break_goes_round_until_the_fill(shelf, end_facts, start_facts):
    plan = plan_segue(shelf["drum break"], end_facts(), start_facts())
    (fill,) = of_kind(plan, DrumLayer)
    loops = [x for x in of_kind(plan, SongLayer) if x.part == "percussive"]
    assert {x.song for x in loops} == {fill.song} == {"outgoing"}
    assert loops[0].start_beat == pytest.approx(plan.exit_beat, abs=0.1)
    assert loops[-1].end_beat == pytest.approx(fill.start_beat, abs=0.1)
    assert fill.end_beat == plan.entry_beat


def bar_facts(lines_s, levels_lufs, *, voice=0.0):
    """Bars of some song from its bar lines on, the last line ending the last."""
    return tuple(
        BarFact(
            start_s=a,
            end_s=b,
            level_lufs=level,
            onsets_a_beat=1.0,
            voice=voice,
            bass=0.0,
            drums=0.0,
        )
        for (a, b), level in zip(pairwise(lines_s), levels_lufs, strict=True)
    )


def loop_fact(first_bar, n_bars, *, quality=0.9, drums=0.0, voice=0.0):
    """A loop of the songs of `song_facts` at 100 BPM in four, from a bar of the grid on."""
    return LoopFact(
        start_s=first_bar,
        end_s=first_bar + n_bars * 2.4,
        n_bars=n_bars,
        quality=quality,
        seam_db=2.0,
        repeats=0.8,
        steady_db=1.0,
        voice=voice,
        drums=drums,
    )


def test_the_most_loopable_bars_are_looped_and_of_drums_the_fullest(shelf, end_facts, start_facts):
    new = start_facts(bpm=100.0)
    lines = new.pulse.downbeats_s
    clean = loop_fact(lines[2], 2, quality=0.95)
    full = loop_fact(lines[1], 1, quality=0.8, drums=1.0)
    poor = loop_fact(lines[0], 4, quality=0.2, drums=1.0)
    heard = replace(new, loops=(clean, full, poor))
    old = end_facts("E minor", 100.0)
    tease = plan_segue(shelf["tease and drop"], old, heard)
    (first, *_) = [x for x in of_kind(tease, SongLayer) if x.name.startswith("new loop")]
    assert first.time_map[1].source_s == pytest.approx(clean.start_s)
    groove = plan_segue(shelf["groove in first"], old, heard)
    (first, *_) = [x for x in of_kind(groove, SongLayer) if x.part == "percussive"]
    assert first.time_map[1].source_s == pytest.approx(full.start_s)


def test_the_bars_of_a_loop_are_brought_to_one_level(shelf, end_facts, start_facts):
    """Bars of -20, -16, -14 and -14 LUFS: none would step back by 6 LU where it begins anew."""
    new = start_facts(bpm=100.0)
    lines = new.pulse.downbeats_s[:5]
    heard = replace(
        new,
        bars=bar_facts(lines, (-20.0, -16.0, -14.0, -14.0)),
        loops=(loop_fact(lines[0], 4),),
    )
    plan = plan_segue(shelf["tease and drop"], end_facts("E minor", 100.0), heard)
    plain = plan_segue(shelf["tease and drop"], end_facts("E minor", 100.0), new)
    loops, others = (
        [x for x in of_kind(one, SongLayer) if x.name.startswith("new loop")]
        for one in (plan, plain)
    )
    assert len(loops) == len(others)
    for loop, other in zip(loops, others, strict=True):
        began = loop.time_map[1].beat
        for beat in (0.1, 2.0, 3.9):  # all of a bar, not its middle alone
            found = [
                value_at(loop.gain_db, at) - value_at(other.gain_db, at)
                for at in (began + 4 * n + beat for n in range(4))
            ]
            assert found == pytest.approx([4.0, 0.0, -2.0, -2.0])
    drums = plan_segue(shelf["groove in first"], end_facts("E minor", 100.0), heard)
    of_drums = [x for x in of_kind(drums, SongLayer) if x.part == "percussive"]
    as_loud = [value_at(x.gain_db, x.end_beat) for x in of_drums[1:]]
    assert as_loud == pytest.approx([0.0] * len(as_loud))  # told by the whole band's levels


@pytest.mark.parametrize(
    ("voice", "has_stems", "is_compared"),
    [(1.0, False, True), (0.0, False, False), (1.0, True, False)],
    ids=["sung in a mix", "nobody sings", "stems"],
)
def test_a_loop_in_which_somebody_sings_is_compared_with_the_bars_like_it(
    voice, has_stems, is_compared, shelf, end_facts, start_facts
):
    new = start_facts(bpm=100.0)
    lines = new.pulse.downbeats_s[:9]
    heard = replace(
        new, bars=bar_facts(lines, [-16.0] * 8, voice=voice), loops=(loop_fact(lines[2], 2),)
    )
    plan = plan_segue(
        shelf["tease and drop"], end_facts("E minor", 100.0), heard, incoming_has_stems=has_stems
    )
    for loop in (x for x in of_kind(plan, SongLayer) if x.name.startswith("new loop")):
        assert bool(loop.compared_s) is is_compared
        if is_compared:
            assert loop.compared_s[0] == pytest.approx(lines[2])
            assert set(loop.compared_s[1:]) == set(lines[:8]) - {lines[2]}
            assert loop.compared_length_s == pytest.approx(4.8)


def test_an_old_song_behind_a_filter_plays_on_under_a_pick_up_without_its_bass(
    shelf, end_facts, start_facts
):
    new = start_facts("A minor", 100.0, kind="pick-up", pickup_beats=2.0)
    plan = plan_segue(shelf["filtered tail"], end_facts("E minor", 100.0), new)
    old = next(x for x in of_kind(plan, SongLayer) if x.song == "outgoing")
    assert old.end_beat == pytest.approx(plan.entry_beat, abs=0.1)
    assert value_at(old.highpass_hz, plan.entry_beat - 3.0) < 50.0
    assert value_at(old.highpass_hz, plan.entry_beat - 1.5) >= 350.0
    beds = plan_segue(shelf["bar-aligned overlap"], end_facts("E minor", 100.0), new)
    whole = next(x for x in of_kind(beds, SongLayer) if x.part == "harmonic")
    assert whole.end_beat <= beds.entry_beat - 1.5  # nothing hides its singer


def test_chords_between_the_beats_land_on_the_first_one(shelf, end_facts, start_facts):
    plan = plan_segue(shelf["walk the bass"], end_facts("E minor", 120.0), start_facts(bpm=120.0))
    (chords,) = (x for x in of_kind(plan, PlayedLayer) if x.sound != "bass")
    on_beats = {x.start_beat for x in chords.notes if x.start_beat % 1 == 0}
    assert on_beats == {plan.exit_beat}


def test_a_held_bass_is_struck_again_in_the_middle_of_a_slow_bar(shelf, end_facts, start_facts):
    plan = plan_segue(
        shelf["breakdown and rebuild"], end_facts("E minor", 124.0), start_facts(bpm=100.0)
    )
    (bass,) = (x for x in of_kind(plan, PlayedLayer) if x.sound == "bass")
    longest = max(note.end_beat - note.start_beat for note in bass.notes)
    assert longest <= 2.0


@given(old=keys, new=keys, bpm=st.floats(60, 190), metre=st.sampled_from([3, 4]))
@settings(max_examples=100)
def test_chords_in_rhythm_stay_in_their_chord_and_their_register(old, new, bpm, metre):
    pair = facts_of_end(str(old), bpm, metre=metre), facts_of_start(str(new), bpm, metre=metre)
    for name in ("groove in first", "walk the bass", "strum across", "turnaround"):
        plan = plan_segue(SHELF[name], *pair)
        for layer in of_kind(plan, PlayedLayer):
            assert layer.notes
            starts = [note.start_beat for note in layer.notes]
            assert starts == sorted(starts)
            for note in layer.notes:
                assert layer.start_beat - 1e-6 <= note.start_beat < note.end_beat
                assert note.end_beat <= layer.end_beat + 1e-6
                assert (28 <= note.midi <= 53) if layer.sound == "bass" else (53 <= note.midi <= 76)
                chord = next(v for v in layer.voicings if note.start_beat < v.end_beat - 1e-6)
                tones = {midi % 12 for midi in chord.notes_midi}
                assert layer.sound == "bass" or note.midi % 12 in tones


@given(bpm=st.floats(50, 200), metre=st.sampled_from([3, 4]), old=keys, new=keys)
@settings(max_examples=100)
def test_chords_are_neither_rushed_nor_drones(bpm, metre, old, new):
    """Nine in ten chords of 100 rock songs last 0.9 s and more (T. de Clercq and D. Temperley,
    Popular Music 30(1), 2011)."""
    pair = facts_of_end(str(old), bpm, metre=metre), facts_of_start(str(new), bpm, metre=metre)
    plan = plan_segue(SHELF["groove in first"], *pair)
    lengths = [plan.seconds_at(v.end_beat) - plan.seconds_at(v.start_beat) for v in plan.voicings]
    assert min(lengths) >= 0.89
    assert sorted(lengths)[len(lengths) // 2] <= 3.7
    assert max(lengths) <= 5.5


def test_a_pad_pumps_on_every_beat():
    curve = pumping(6.0, 4.0, 8.0)
    assert [value_at(curve, beat) for beat in (4.1, 5.1, 6.1, 7.1)] == [-6.0] * 4
    assert [value_at(curve, beat) for beat in (4.8, 5.8, 6.8)] == [0.0] * 3


@given(old=keys, new=keys)
@settings(max_examples=150)
def test_bends_arrive_in_the_new_tonic_chord(old, new):
    bend = least_bend(old, new)
    goal, start = tonic_triad(new).pitch_classes, tonic_triad(old).pitch_classes
    assert bend.tone in start
    assert (bend.tone + bend.semitones) % 12 in goal
    assert abs(bend.semitones) == min(min((a - b) % 12, (b - a) % 12) for a in goal for b in start)


@pytest.mark.parametrize(
    ("old", "new", "tone", "semitones"),
    [
        pytest.param("C major", "G major", 7, 0, id="G is in both"),
        pytest.param("E minor", "F minor", 4, 1, id="root to root"),
        pytest.param("C major", "A minor", 4, 0, id="the fifth rather than the third"),
    ],
)
def test_known_bends(old, new, tone, semitones):
    bend = least_bend(parse_key(old), parse_key(new))
    assert (bend.tone, bend.semitones) == (tone, semitones)


def test_frozen_chord_bends_by_its_step_and_the_difference_of_tuning(shelf, end_facts, start_facts):
    old = replace(end_facts(), tuning_cents=-10.0)
    new = replace(start_facts(), tuning_cents=20.0)
    plan = plan_segue(shelf["frozen last chord"], old, new)
    (frozen,) = of_kind(plan, FrozenLayer)
    assert frozen.pitch_semitones[-1].value == pytest.approx(1.3)
    assert frozen.tone_midi == pytest.approx(64 - 0.1)
    assert plan.exit_beat < frozen.pitch_semitones[0].beat < plan.entry_beat
    assert [point.value for point in frozen.thinning] == [0.0, 1.0]


@pytest.mark.parametrize("kind", ["ring-out", "cold stop", "keeps going", "fade"])
def test_frozen_moment_sounds_and_is_no_attack(kind, shelf, end_facts, start_facts):
    old = end_facts(kind=kind, last_hit_beats_before_end=4.0)
    plan = plan_segue(shelf["frozen last chord"], old, start_facts())
    (frozen,) = of_kind(plan, FrozenLayer)
    assert frozen.source_s < old.edge_end_s - 0.1
    if kind in ("ring-out", "cold stop"):
        assert frozen.source_s == pytest.approx(old.ending.last_hit_s + 0.25)
    else:
        off_beat = (frozen.source_s - old.pulse.beats_s[0]) / old.pulse.beat_s % 1
        assert off_beat == pytest.approx(0.5)


def test_riser_points_at_the_new_fifth_and_the_reverse_gives_way(shelf, end_facts, start_facts):
    recipe = shelf["riser into a cold start"]
    plan = plan_segue(recipe, end_facts(), start_facts())
    (riser, impact), (backwards,) = of_kind(plan, SweepLayer), of_kind(plan, ReversedLayer)
    assert (impact.sweep, impact.start_beat) == ("impact", plan.entry_beat)
    assert impact.tone_midi % 12 == plan.key_to.tonic
    assert riser.tone_midi % 12 == 0  # C over F minor
    assert backwards.end_beat == riser.end_beat == plan.entry_beat
    assert backwards.source_s == pytest.approx(start_facts().opening.first_downbeat_s)
    picked_up = plan_segue(recipe, end_facts(), start_facts(kind="pick-up", pickup_beats=1.5))
    (backwards,) = of_kind(picked_up, ReversedLayer)
    assert backwards.end_beat == pytest.approx(picked_up.entry_beat - 1.5)


@pytest.mark.parametrize(
    ("level_lufs", "drums", "is_soft"),
    [
        pytest.param(-24.0, 0.0, True, id="far below itself, without drums"),
        pytest.param(-24.0, 0.6, False, id="as far below, and drummed"),
        pytest.param(-14.0, 0.0, False, id="without drums, as loud as ever"),
    ],
)
def test_nothing_runs_up_to_a_hit_that_does_not_come(
    shelf, end_facts, start_facts, level_lufs, drums, is_soft
):
    # a riser into a soft start promises what does not come: common practice, no source
    def bar(number, lufs, presence):
        return BarFact(
            start_s=0.2 + 2 * number,
            end_s=2.2 + 2 * number,
            level_lufs=lufs,
            onsets_a_beat=1.0,
            voice=0.0,
            bass=0.5,
            drums=presence,
        )

    bars = [bar(n, level_lufs, drums) for n in (0, 1)] + [bar(n, -14.0, 0.9) for n in (2, 3)]
    new = replace(start_facts(loudness_lufs=-14.0), bars=tuple(bars))
    plan = plan_segue(shelf["riser into a cold start"], end_facts(loudness_lufs=-14.0), new)
    sweeps = [layer.sweep for layer in of_kind(plan, SweepLayer)]
    assert sweeps == ([] if is_soft else ["riser", "impact"])
    told = [note for note in plan.notes if "starts softly" in note]
    assert len(told) == (2 if is_soft else 0)
    assert len(of_kind(plan, ReversedLayer)) == 1  # a swell of the song itself stays
    filled = plan_segue(shelf["fill and go"], end_facts(loudness_lufs=-14.0), new)
    assert len(of_kind(filled, SweepLayer)) == (0 if is_soft else 1)
    assert energy(end_facts(loudness_lufs=-20.0), new) == ("down" if is_soft else "up")


def test_common_tone_is_held_and_the_new_bass_enters_halfway(shelf, end_facts, start_facts):
    plan = plan_segue(shelf["drone on the common tone"], end_facts(), start_facts())
    (pad,) = of_kind(plan, PadLayer)
    held, under = pad.voicings
    assert {note % 12 for note in held.notes_midi} == {0}  # C is in E minor and in F minor's chord
    assert under.notes_midi[1:] == held.notes_midi
    assert under.notes_midi[0] % 12 == 5
    assert under.start_beat == (plan.exit_beat + plan.entry_beat) / 2


@given(old=keys, new=keys, n_chords=st.integers(1, 8))
@settings(max_examples=150)
def test_vamp_swings_between_two_chords_and_ends_on_the_cadence(old, new, n_chords):
    steps, notes = pivot_vamp(old, new, n_chords=n_chords, cadence="dominant")
    assert len(steps) == n_chords
    assert (steps[-1].chord.root - new.tonic) % 12 == 7
    assert len({step.chord for step in steps[:-1]}) <= 2
    assert all(a.chord != b.chord for a, b in pairwise(steps))
    shared = set(own_chords(old)) & set(own_chords(new))
    assert bool(notes) is not bool(shared)
    if shared and n_chords > 2:
        assert {step.chord for step in steps[:-1]} & shared


def test_the_click_is_where_the_recipe_puts_it(shelf, end_facts, start_facts):
    plan = plan_segue(shelf["breakdown and rebuild"], end_facts(), start_facts())
    assert plan.click[0].beat == plan.exit_beat


def test_of_a_song_that_is_read_for_less_than_a_bar_one_bar_goes_round(
    shelf, end_facts, start_facts
):
    """A loop of no bars would be no bed at all."""
    new = start_facts(n_bars=1)
    short = replace(new, edge_end_s=0.1 + 0.6 * 2.5, duration_s=0.1 + 0.6 * 2.5)
    plan = plan_segue(shelf["talk bed"], end_facts(), short, talk_s=25.0)
    lengths = {round(bed.end_beat - bed.start_beat) for bed in beds(plan)}
    assert lengths == {4}
