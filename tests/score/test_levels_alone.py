"""Levels and holes, cliffs and landings told from loudness curves that are drawn by hand."""

from types import SimpleNamespace

import numpy as np
import pytest

from segue.analysis.structure_facts import BarFact
from segue.plan.layer import MapPoint, SongLayer
from segue.score.bridge import LEVEL_HOP_S as HOP_S
from segue.score.bridge import Curve
from segue.score.holes import hole
from segue.score.level_steps import bar_one, brightness, cliff, level_match

BEAT_S = 0.5
EXIT_S, ENTRY_S, END_S = 16.0, 24.0, 40.0
LOUD = -16.0


OLD_END_S = 60.0  # of the old song's file, where the exit is


def heard(*, loudness=None, octaves=None, target_lufs=-16.0, aim=None, **songs):
    """A hearing of 40 s whose curves are functions of time."""
    times_s = np.arange(0.0, END_S, HOP_S)
    curves = [
        np.array([curve(t) if curve else default for t in times_s], dtype=np.float64)
        for curve, default in ((loudness, LOUD), (octaves, 10.0))
    ]
    plan = SimpleNamespace(
        seconds_at=lambda beat: beat * BEAT_S,
        beat_at=lambda time_s: time_s / BEAT_S,
        exit_beat=EXIT_S / BEAT_S,
        entry_beat=ENTRY_S / BEAT_S,
        duration_s=END_S,
        target_lufs=target_lufs,
        layers=LAYERS,
        outgoing_gain_db=0.0,
        incoming_gain_db=0.0,
        stop_beats=songs.pop("stop_beats", 0.0),
    )
    return SimpleNamespace(
        plan=plan,
        level=Curve(times_s, curves[0]),
        brightness=Curve(times_s, curves[1]),
        metre=4,
        exit_s=EXIT_S,
        entry_s=ENTRY_S,
        aim=aim,
        sides=sides(times_s, aside=songs.pop("aside", None)),
        facts=facts(**songs),
    )


def sides(times_s, aside):
    """Levels of what plays: each on its side, and the old song from when to when."""
    plays = {
        "outgoing": times_s < EXIT_S,
        "interlude": (times_s >= EXIT_S) & (times_s < ENTRY_S),
        "incoming": times_s >= ENTRY_S,
    }
    if aside:
        plays["outgoing"] = plays["outgoing"] | ((times_s >= aside[0]) & (times_s < aside[1]))
    return {
        side: SimpleNamespace(times_s=times_s, level_db=np.where(is_on, -20.0, -90.0))
        for side, is_on in plays.items()
    }


def facts(*, rung_out_s=None, sound_start_s=0.0, old_bars=(), new_bars=()):
    """What the holes ask of the songs; the new one enters at the start of its file."""
    ending = SimpleNamespace(rung_out_s=rung_out_s)
    opening = SimpleNamespace(sound_start_s=sound_start_s)
    return (
        SimpleNamespace(ending=ending, opening=None, bars=old_bars),
        SimpleNamespace(ending=None, opening=opening, bars=new_bars),
    )


def played(side, *points):
    """A song that plays as it is: beats, and seconds of its file."""
    (first, _), (last, _) = points
    return SongLayer(
        name=side,
        song=side,
        start_beat=first,
        end_beat=last,
        time_map=tuple(MapPoint(beat=beat, source_s=at_s) for beat, at_s in points),
    )


LAYERS = (
    played("outgoing", (0.0, OLD_END_S - EXIT_S), (EXIT_S / BEAT_S, OLD_END_S)),
    played("incoming", (ENTRY_S / BEAT_S, 0.0), (END_S / BEAT_S, END_S - ENTRY_S)),
)


def bar(start_s, level_lufs):
    return BarFact(
        start_s=start_s,
        end_s=start_s + 2.0,
        level_lufs=level_lufs,
        onsets_a_beat=1.0,
        voice=0.0,
        bass=0.0,
        drums=0.0,
    )


def stepped(step_lu, *, at_s=ENTRY_S, **more):
    return heard(loudness=lambda t: LOUD + step_lu * (t >= at_s), **more)


@pytest.mark.parametrize("step_lu", [-12.0, -3.0, 0.0, 3.0, 12.0])
def test_a_step_at_the_entry_is_the_cliff_the_landing_and_the_match(step_lu):
    hearing = stepped(step_lu)
    step, lands, match = cliff(hearing), bar_one(hearing), level_match(hearing)
    assert step.value == pytest.approx(step_lu, abs=0.01)
    assert lands.value == pytest.approx(step_lu, abs=0.01)
    assert match.value == pytest.approx(step_lu, abs=0.01)
    if step_lu:
        assert step.worst_beat == pytest.approx(ENTRY_S / BEAT_S, abs=2.0)
        for told in (step, lands, match):
            assert ("louder" if step_lu > 0 else "softer") in told.sentence


def test_within_the_thresholds_nothing_is_lost_and_louder_is_worse_than_softer():
    def marks(step_lu):
        hearing = stepped(step_lu)
        return cliff(hearing).score, level_match(hearing).score

    assert marks(1.4) == marks(-1.4) == (1.0, 1.0)
    assert marks(-3.9)[0] == 1.0 > marks(-4.5)[0]
    assert marks(5.9)[0] == 1.0 > marks(6.5)[0]  # to rise is forgiven more than to fall
    assert marks(-16.0)[0] == pytest.approx(0.1) == marks(18.0)[0]
    assert marks(9.0)[1] == pytest.approx(0.1) == marks(-12.0)[1]
    assert marks(6.0)[1] < marks(-6.0)[1]


def test_a_purpose_has_cliffs_and_landings_of_its_own():
    # into a talk bed and out of it the level moves on purpose; a lift may jump, calm may not
    falls = {aim: cliff(stepped(-10.0, at_s=EXIT_S, aim=aim)).score for aim in (None, "talk")}
    assert falls["talk"] == 1.0 > falls[None]
    jumps = {aim: cliff(stepped(8.0, aim=aim)).score for aim in (None, "lift", "calm")}
    assert jumps["lift"] == 1.0 > jumps[None] > jumps["calm"]
    lands = {aim: bar_one(stepped(8.0, aim=aim)).score for aim in ("talk", "lift", "calm", None)}
    assert lands["talk"] == lands["lift"] == 1.0 > lands[None] > lands["calm"]
    assert "too thin" in bar_one(stepped(8.0)).sentence
    assert "sags" in bar_one(stepped(-6.0)).sentence


def test_only_cliffs_near_the_join_count():
    # two beats, 1 s, before the exit and after the entry; further off the songs do as they like
    for at_s, counts in ((13.0, False), (15.5, True), (24.5, True), (27.5, False)):
        assert (cliff(stepped(-10.0, at_s=at_s)).value < -9.0) is counts, at_s


def test_a_soft_first_bar_or_a_fade_is_no_fault_of_the_match():
    soft = heard(loudness=lambda t: LOUD - 10.0 * (EXIT_S - 4 < t < ENTRY_S + 4))
    assert level_match(soft).value == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("until_s", [30.0, 37.0, END_S])
def test_the_old_song_going_on_under_the_new_one_is_not_its_level(until_s):
    def level(t):  # two as loud as each other are 3 dB louder than one
        return LOUD - 6.0 * (t >= ENTRY_S) + 3.01 * (ENTRY_S <= t < until_s)

    hearing = heard(loudness=level, aside=(ENTRY_S, until_s))
    assert level_match(hearing).value == pytest.approx(-6.0, abs=0.1)


@pytest.mark.parametrize("seconds", [0.5, 1.0, 3.0])
@pytest.mark.parametrize("level_lufs", [-90.0, -30.0], ids=["silence", "far below the songs"])
def test_a_hole_is_as_long_as_its_quiet_blocks_and_the_block_around(seconds, level_lufs):
    hearing = heard(loudness=lambda t: level_lufs if 20.0 <= t < 20.0 + seconds - 1e-6 else LOUD)
    told = hole(hearing)
    assert told.value == pytest.approx(seconds + 0.4, abs=0.051)
    assert told.worst_beat == pytest.approx(40.0, abs=0.5)
    assert told.score == (
        pytest.approx(0.1, abs=0.1)
        if seconds > 1.5
        else pytest.approx(1 - 0.9 * (told.value - 0.6) / 1.4)
    )
    if level_lufs < -80.0:
        assert cliff(hearing).value == pytest.approx(0.0, abs=0.01)  # told once, as a hole


def test_a_hole_beside_a_hole_is_worse_and_a_breath_beside_it_is_not():
    def silent_from(*holes):
        return hole(
            heard(loudness=lambda t: -90.0 if any(a <= t < a + n for a, n in holes) else LOUD)
        )

    one, two = silent_from((18.0, 1.0)), silent_from((18.0, 1.0), (21.0, 1.0))
    assert two.value == one.value  # the longest is told
    # both beyond a breath of 0.6 s count: 0.6 + 2 * 0.8 s on the way from 0.6 to 2 s
    assert one.score == pytest.approx(1.0 - 0.9 * 0.8 / 1.4, abs=0.07)
    assert two.score == pytest.approx(0.1, abs=0.07)
    assert silent_from((18.0, 1.0), (21.0, 0.1)).score == one.score


@pytest.mark.parametrize(
    ("level_lufs", "at_s", "aim", "is_hole"),
    [
        pytest.param(-27.0, 20.0, None, False, id="11 LU below the songs"),
        pytest.param(-29.0, 20.0, None, True, id="13 LU below the songs"),
        pytest.param(-29.0, 30.0, None, False, id="in the new song, which may be soft"),
        pytest.param(-46.5, 30.0, None, False, id="in the new song, bars after its entry"),
        pytest.param(-90.0, 24.5, None, True, id="in the new song's first bar, and nothing"),
    ],
)
def test_what_counts_as_a_hole(level_lufs, at_s, aim, is_hole):
    hearing = heard(loudness=lambda t: level_lufs if at_s <= t < at_s + 1 else LOUD, aim=aim)
    told = hole(hearing)
    assert (told.value > 0) is is_hole
    if not is_hole:
        assert "No gap" in told.sentence


def test_a_song_that_swells_from_nothing_has_no_hole_and_one_that_is_held_back_has():
    def late(t):
        return -58.0 if ENTRY_S <= t < ENTRY_S + 3.5 else LOUD

    def of(level_lufs):
        return hole(heard(loudness=late, new_bars=(bar(0.0, level_lufs), bar(2.0, level_lufs))))

    assert of(-55.0).value == 0.0
    assert of(LOUD).value == pytest.approx(2.0 + 0.4, abs=0.051)  # to a bar after the entry
    assert hole(heard(loudness=late)).value == 0.0  # unknown: something sounds


def test_a_bar_that_is_a_hit_and_its_decay_has_no_hole():
    def hit(t):
        return LOUD - 40.0 * ((t - ENTRY_S) % 2.0) if t >= ENTRY_S else LOUD

    assert hole(heard(loudness=hit, new_bars=(bar(0.0, LOUD - 8.0),))).value == 0.0
    assert hole(heard(loudness=hit, new_bars=(bar(0.0, LOUD + 8.0),))).value > 1.0


def test_silence_before_the_new_songs_first_sound_is_the_bridges():
    hearing = heard(
        loudness=lambda t: -90.0 if ENTRY_S <= t < ENTRY_S + 1.2 else LOUD,
        new_bars=(bar(0.0, -60.0),),
        sound_start_s=1.2,
    )
    assert hole(hearing).value == pytest.approx(1.2 + 0.4, abs=0.101)


@pytest.mark.parametrize(("rung_out_s", "hole_s"), [(None, 0.0), (OLD_END_S - 1.5, 1.9)])
def test_an_ending_is_the_songs_own_until_it_has_rung_out(rung_out_s, hole_s):
    hearing = heard(
        loudness=lambda t: -60.0 if EXIT_S - 2.0 <= t < EXIT_S else LOUD,
        old_bars=(bar(OLD_END_S - 2.0, -60.0),),
        rung_out_s=rung_out_s,
    )
    found = hole(hearing).value
    assert found == pytest.approx(hole_s, abs=0.101)


@pytest.mark.parametrize(("silent_s", "is_hole"), [(1.0, False), (2.5, True)])
def test_a_planned_stop_is_no_hole_for_as_long_as_it_is_planned(silent_s, is_hole):
    def stop(t):
        return -90.0 if EXIT_S <= t < EXIT_S + silent_s else LOUD

    assert hole(heard(loudness=stop)).value > silent_s
    told = hole(heard(loudness=stop, stop_beats=2.0))
    assert (told.value > 0.6) is is_hole


def test_a_talk_bed_lies_low_and_its_holes_lie_lower():
    def bed(t):
        return -32.0 if EXIT_S - 0.5 <= t < ENTRY_S + 0.3 else LOUD

    assert hole(heard(loudness=bed)).value > 8.0
    assert hole(heard(loudness=bed, aim="talk")).value == 0.0
    holed = heard(loudness=lambda t: -60.0 if 20.0 <= t < 21.5 else bed(t), aim="talk")
    assert hole(holed).value == pytest.approx(1.9, abs=0.051)


def test_a_song_that_has_ended_before_a_talk_is_clapped_and_leaves_no_hole():
    def clapped(t):
        return -60.0 if EXIT_S - 1.5 <= t < EXIT_S else -32.0 if EXIT_S <= t < ENTRY_S else LOUD

    found = {
        aim: hole(heard(loudness=clapped, rung_out_s=OLD_END_S - 1.5, aim=aim)).value
        for aim in (None, "talk")
    }
    assert found[None] > 1.5
    assert found["talk"] == 0.0
    late = heard(loudness=lambda t: -60.0 if EXIT_S <= t < EXIT_S + 1.5 else LOUD, aim="talk")
    assert hole(late).value == pytest.approx(1.9, abs=0.051)  # a bed that is not there


def test_a_jump_of_the_centroid_is_told_in_octaves_with_its_side():
    hearing = heard(octaves=lambda t: 10.0 + 2.5 * (t >= ENTRY_S))
    jump = brightness(hearing)
    assert jump.value == pytest.approx(2.5, abs=0.01)
    assert jump.score == pytest.approx(0.55, abs=0.01)  # half way from 1.5 to 3.5 octaves
    assert "brighter" in jump.sentence
    assert "darker" in brightness(heard(octaves=lambda t: 12.0 - 2.5 * (t >= ENTRY_S))).sentence
    assert brightness(heard(octaves=lambda t: 10.0 + 1.4 * (t >= ENTRY_S))).score == 1.0
    assert brightness(heard(octaves=lambda _: np.nan)) is None


def test_all_silence_has_no_steps():
    silent = heard(loudness=lambda _: -100.0)
    assert cliff(silent) is None
    assert bar_one(silent) is None
    assert level_match(silent) is None
    # from a bar before the exit to a bar after the entry
    assert hole(silent).value == pytest.approx(2.0 + 8.0 + 2.0 + 0.4, abs=0.101)


def test_before_the_exit_a_song_may_ring_out_but_half_a_second_before_it_the_bridge_is_there():
    """What is soft and still sounds is the ring of the last chord, until the bridge is due."""

    def soft(first_s, last_s):
        return hole(
            heard(
                loudness=lambda t: -40.0 if first_s <= t < last_s else LOUD,
                rung_out_s=OLD_END_S - 1.8,
            )
        ).value

    assert soft(EXIT_S - 1.4, EXIT_S - 0.6) == 0.0
    assert soft(EXIT_S - 0.4, EXIT_S + 0.4) > 0.8


def test_a_sound_too_short_to_have_two_sides_has_no_steps():
    """Of half a second nobody can say whether it became louder."""
    hearing = heard()
    short = {
        name: Curve(curve.times_s[:5], curve.values[:5])
        for name, curve in (("level", hearing.level), ("brightness", hearing.brightness))
    }
    hearing = SimpleNamespace(**{**vars(hearing), **short})
    assert cliff(hearing) is None
    assert brightness(hearing) is None


@pytest.mark.parametrize(
    ("aim", "fall_lu", "rise_lu"),
    [
        (None, 4.0, 6.0),
        ("talk", 20.0, 20.0),
        ("lift", 4.0, 10.0),
        ("calm", 5.0, 4.0),
        ("dance", 3.0, 5.0),
    ],
)
def test_how_far_loudness_may_fall_and_rise_within_a_second(aim, fall_lu, rise_lu):
    for fine_lu, side in ((fall_lu, -1.0), (rise_lu, 1.0)):
        for over_lu in (-0.1, 0.1, 6.0):
            told = cliff(stepped(side * (fine_lu + over_lu), aim=aim, target_lufs=-40.0))
            assert told.score == pytest.approx(1.0 - 0.9 * max(over_lu, 0.0) / 12.0, abs=1e-3)
            assert f"up to {fine_lu:g} LU sounds normal" in told.sentence
            assert told.threshold.endswith(f"{fine_lu + 12:g} LU is a jolt")


@pytest.mark.parametrize(
    ("aim", "low_lu", "high_lu"),
    [
        (None, -2.0, 6.0),
        ("talk", -2.0, 30.0),
        ("lift", -1.0, 9.0),
        ("calm", -4.0, 4.0),
        ("dance", -2.0, 5.0),
    ],
)
def test_how_bar_one_may_land(aim, low_lu, high_lu):
    for step_lu, off_lu, words in (
        (low_lu + 0.1, 0.0, "."),
        (low_lu - 0.1, 0.1, ": it sags into the new song."),
        (low_lu - 5.0, 5.0, ": it sags into the new song."),
        (high_lu - 0.1, 0.0, "."),
        (high_lu + 0.1, 0.1, ": the bridge is too thin before it."),
        (high_lu + 10.0, 10.0, ": the bridge is too thin before it."),
    ):
        told = bar_one(stepped(step_lu, aim=aim, target_lufs=-40.0))
        assert told.value == pytest.approx(step_lu, abs=1e-6)
        assert told.score == pytest.approx(1.0 - 0.9 * off_lu / 10.0, abs=1e-6)
        assert told.sentence.endswith(f"LU {'louder' if step_lu >= 0 else 'softer'}{words}")
        assert told.worst_beat == ENTRY_S / BEAT_S


def test_bar_one_is_held_against_what_a_hall_hears_of_the_second_before_it():
    """So far below the songs that nothing is heard is no thinner bridge than silence: 29 LU."""
    found = {
        before: bar_one(heard(loudness=lambda t, b=before: b if t < ENTRY_S else LOUD)).value
        for before in (-44.0, -46.0, -90.0)
    }
    assert found == pytest.approx({-44.0: 28.0, -46.0: 29.0, -90.0: 29.0})


@pytest.mark.parametrize(
    ("first_s", "last_s", "value_lu"),
    [
        pytest.param(-5.0, -1.05, 6.0, id="more than a second before is no matter"),
        pytest.param(-0.15, 0.15, 6.0, id="nor are blocks that reach over the line"),
        pytest.param(1.45, 5.0, 6.0, id="nor is what comes more than a second behind"),
        pytest.param(-1.05, -0.15, 13.0, id="the second before"),
        pytest.param(0.15, 1.35, -1.0, id="the second behind"),
    ],
)
def test_bar_one_is_a_second_before_and_a_second_behind(first_s, last_s, value_lu):
    """6 LU louder from bar one on, and 7 softer for a while."""

    def level(t):
        return LOUD + 6.0 * (t >= ENTRY_S) - 7.0 * (first_s < t - ENTRY_S < last_s)

    assert bar_one(heard(loudness=level)).value == pytest.approx(value_lu, abs=0.01)


@pytest.mark.parametrize(
    ("step_lu", "score", "words"),
    [
        (1.5, 1.0, "1.5 LU louder than the old"),
        (5.25, 0.55, "5.2 LU louder"),
        (9.0, 0.1, "9.0 LU louder"),
        (-1.5, 1.0, "1.5 LU softer"),
        (-6.75, 0.55, "6.8 LU softer"),
        (0.51, 1.0, "0.5 LU louder"),
        (-0.49, 1.0, "as loud as the old"),
    ],
)
def test_two_songs_match_within_a_lu_and_a_half(step_lu, score, words):
    told = level_match(stepped(step_lu))
    assert told.score == pytest.approx(score, abs=1e-6)
    assert words in told.sentence


def test_a_song_is_as_loud_as_the_middle_of_its_louder_half():
    """Three of four seconds soft, and it is as loud as the fourth is; so is a song half soft."""
    for share, step_lu in ((0.2, -6.0), (0.3, 0.0), (0.5, 0.0)):
        loud = heard(
            loudness=lambda t, s=share: LOUD - 6.0 * (t > ENTRY_S + 0.4 + s * (END_S - ENTRY_S))
        )
        assert level_match(loud).value == pytest.approx(step_lu, abs=0.01)


@pytest.mark.parametrize(
    ("jump", "score", "words"),
    [
        (1.5, 1.0, "No sudden change"),
        (1.6, 0.955, "Suddenly much brighter"),
        (3.5, 0.1, "Suddenly much brighter"),
    ],
)
def test_an_octave_and_a_half_of_brightness_is_music(jump, score, words):
    told = brightness(heard(octaves=lambda t: 10.0 + jump * (t >= ENTRY_S)))
    assert told.score == pytest.approx(score, abs=1e-6)
    assert told.sentence.startswith(words)
    assert told.worst_beat == pytest.approx(ENTRY_S / BEAT_S, abs=1.0)


@pytest.mark.parametrize(
    ("at_s", "counts"),
    [(EXIT_S - 3.5, True), (EXIT_S - 6.5, False), (ENTRY_S + 3.5, True), (ENTRY_S + 6.5, False)],
)
def test_brightness_counts_within_eight_beats_of_the_join(at_s, counts):
    told = brightness(heard(octaves=lambda t: 10.0 + 2.0 * (t >= at_s)))
    assert (told.value > 1.9) is counts
