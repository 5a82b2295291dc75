"""Phrases and last chords: where songs are left and entered, by facts and sounds made by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from segue.analysis.structure_facts import PhraseFact
from segue.errors import OptionError
from segue.plan.layer import MapPoint, SongLayer
from segue.score.leaving import (
    bar_to_enter_on,
    bar_to_leave_on,
    bars_off,
    last_chord,
    phrase,
    placed_on_phrases,
    source_s,
)
from segue.score.scorecard import NotMeasured
from tests.score.synthetic import Recipe, facts_of, stereo
from tests.score.synthetic_band import RATE_HZ, tone

BEAT_S, EXIT, ENTRY, END = 0.5, 32.0, 48.0, 80.0
BAR_S = 4 * BEAT_S
RING_S = 3.0


def heard(*, left_s=32.0, entered_s=0.0, sure=True, ending=None, sound=None):
    """A hearing of songs at 120 BPM, left and entered at seconds of their own."""
    recipe = Recipe(bpm_from=120.0, bpm_to=120.0)
    old, new = facts_of(recipe)
    phrases = PhraseFact(starts_s=(0.0, 8.0, 16.0, 24.0, 32.0), n_bars=4, confidence=float(sure))
    old, new = (replace(facts, phrases=phrases) for facts in (old, new))
    if ending is not None:
        old = replace(old, ending=replace(old.ending, **ending))
    # the old song goes on below the bridge until its sound ends
    spans = (
        ("outgoing", 0.0, ENTRY, left_s - EXIT * BEAT_S),
        ("incoming", ENTRY, END, entered_s),
    )
    layers = tuple(
        SongLayer(
            name=side,
            song=side,
            start_beat=start,
            end_beat=end,
            time_map=(
                MapPoint(beat=start, source_s=source_s),
                MapPoint(beat=end, source_s=source_s + (end - start) * BEAT_S),
            ),
        )
        for side, start, end, source_s in spans
    )
    plan = SimpleNamespace(
        layers=layers,
        exit_beat=EXIT,
        entry_beat=ENTRY,
        seconds_at=lambda beat: beat * BEAT_S,
        beat_at=lambda time_s: time_s / BEAT_S,
    )
    return SimpleNamespace(
        plan=plan,
        facts=(old, new),
        candidate=SimpleNamespace(outgoing=None if sound is None else stereo(sound)),
    )


def test_a_loop_whose_seam_reaches_over_bar_one_is_not_where_the_song_is_entered():
    hearing = heard()
    loop = SongLayer(
        name="new loop",
        song="incoming",
        start_beat=ENTRY - 8.0,
        end_beat=ENTRY + 0.024,
        time_map=(
            MapPoint(beat=ENTRY - 8.0, source_s=BAR_S),
            MapPoint(beat=ENTRY + 0.024, source_s=3 * BAR_S + 0.012),
        ),
    )
    hearing.plan.layers = (loop, *hearing.plan.layers)
    assert phrase(hearing) == phrase(heard())


@pytest.mark.parametrize(
    ("places", "off_bars", "score"),
    [
        pytest.param({}, 0.0, 1.0, id="both on phrases"),
        pytest.param({"left_s": 32.0 - BAR_S}, -1.0, 0.4375, id="left a bar early"),
        pytest.param({"left_s": 32.0 - 2 * BAR_S}, None, 0.6625, id="left half a phrase early"),
        pytest.param({"entered_s": BAR_S}, 1.0, 0.4375, id="entered a bar late"),
        pytest.param({"entered_s": 1.2 * BEAT_S}, 0.3, 0.325, id="entered within a bar"),
    ],
)
def test_songs_are_left_and_entered_on_phrases(places, off_bars, score):
    told = phrase(heard(**places))
    assert told.score == pytest.approx(score)
    if off_bars is not None:
        assert told.value == pytest.approx(off_bars, abs=0.05)


AT_HOME = "The old song is left at the start of a phrase. The new song starts at its bar one."


@pytest.mark.parametrize(
    ("places", "sentence", "beat"),
    [
        ({}, AT_HOME, EXIT),
        ({"left_s": 32.0 - BAR_S}, "The old song is left 1 bar before a phrase start.", EXIT),
        ({"left_s": 32.0 + BAR_S}, "The old song is left 1 bar after a phrase start.", EXIT),
        ({"left_s": 32.0 - 2 * BAR_S}, "The old song is left 2 bars after a phrase start.", EXIT),
        ({"left_s": 31.25}, "The old song is left in a bar, away from a phrase start.", EXIT),
        ({"entered_s": BAR_S}, "The new song is entered 1 bar after a phrase start.", ENTRY),
        ({"entered_s": 8.0}, "The new song is entered at the start of a phrase.", EXIT),
    ],
)
def test_where_a_song_is_left_or_entered_is_said_in_bars_from_the_phrase(places, sentence, beat):
    told = phrase(heard(**places))
    assert sentence in told.sentence
    assert told.worst_beat == beat


@pytest.mark.parametrize(
    ("ending", "left_s", "words"),
    [
        # A song that stops on its last bar line ends a group there; one that goes on plays the bar.
        ({"kind": "cold stop", "last_bar_line_s": 34.0, "last_hit_s": 34.0}, 26.0, "at the start"),
        ({"kind": "cold stop", "last_bar_line_s": 34.0, "last_hit_s": 34.0}, 28.0, "1 bar after"),
        ({"kind": "keeps going", "last_bar_line_s": 34.0}, 28.0, "at the start"),
        ({"kind": "keeps going", "last_bar_line_s": 34.0}, 34.0, "1 bar before"),
        ({"kind": "ring-out", "last_chord_s": 34.0}, 34.0, "played to its end"),
        ({"kind": "ring-out", "last_chord_s": 34.0}, 33.95, "played to its end"),
    ],
)
def test_an_end_whose_phrases_are_not_sure_is_counted_from_its_last_bar(ending, left_s, words):
    told = phrase(heard(ending=ending, left_s=left_s, sure=False))
    assert words in told.sentence.partition(".")[0]


def test_where_phrases_are_only_counted_less_is_lost():
    sure, counted = (phrase(heard(entered_s=BAR_S, sure=sure)) for sure in (True, False))
    assert counted.score > sure.score


def test_free_time_and_songs_that_do_not_sound_at_the_join_have_no_phrases():
    hearing = heard()
    hearing.plan.layers = ()
    assert isinstance(phrase(hearing), NotMeasured)
    hearing.facts = tuple(
        replace(facts, pulse=replace(facts.pulse, confidence=0.0)) for facts in hearing.facts
    )
    assert phrase(hearing) is None


RINGS = {
    "kind": "ring-out",
    "last_chord_s": 32.0,
    "last_hit_s": 32.0,
    "rung_out_s": 32.0 + RING_S,
    "sound_end_s": 32.0 + RING_S,
}


def ringing(kept_s, *, fade_s=0.01):
    """Music up to a last chord at 16 s, which falls by 20 dB in three seconds, and is cut."""
    n_frames = round(END * BEAT_S * RATE_HZ)
    sound = 0.2 * tone(52, n_frames)
    t = np.arange(n_frames) / RATE_HZ - EXIT * BEAT_S
    sound *= np.where(t < 0, 1.0, 10.0 ** (-np.maximum(t, 0.0) / RING_S))
    return sound * np.clip((kept_s - t) / fade_s + 1.0, 0.0, 1.0)


@pytest.mark.parametrize(
    ("kept_s", "fade_s", "low", "high", "words"),
    [
        pytest.param(4.0, 0.01, 1.0, 1.0, "rings out", id="whole"),
        pytest.param(0.6, 0.01, 0.0, 0.1, "is cut after 0.", id="cut"),
        pytest.param(1.5, 0.01, 0.4, 0.6, "is cut after 1.5 of 3.0 s", id="half"),
        pytest.param(0.5, 1.2, 0.65, 0.75, "is faded", id="let down"),
    ],
)
def test_a_last_chord_keeps_its_ring(kept_s, fade_s, low, high, words):
    told = last_chord(heard(ending=RINGS, sound=ringing(kept_s, fade_s=fade_s)))
    assert low - 0.05 <= told.score <= high + 0.05
    assert words in told.sentence


def test_a_last_chord_of_which_nothing_is_left_is_cut():
    sound = ringing(4.0)[: round((EXIT * BEAT_S + 0.03) * RATE_HZ)]
    told = last_chord(heard(ending=RINGS, sound=sound))
    assert (told.value, told.score) == (0.0, 0.0)
    assert told.sentence == "The last chord is cut after 0.0 of 3.0 s."


def test_a_song_that_goes_on_has_no_last_chord_and_one_left_early_is_told():
    assert last_chord(heard(sound=ringing(4.0))) is None
    early = last_chord(heard(left_s=20.0, ending=RINGS, sound=ringing(4.0)))
    assert "left 12 s before its last chord" in early.sentence
    assert 0.0 < early.score < 1.0


def test_a_last_chord_struck_before_the_segue_begins_is_no_chord_left_early():
    struck = {**RINGS, "last_chord_s": 10.0, "last_hit_s": 32.0}
    told = last_chord(heard(ending=struck, sound=ringing(4.0)))
    assert told.sentence == "The last chord has been ringing for 22 s."
    assert told.score > 0.7


@pytest.mark.parametrize(
    ("phrase_s", "bar"),
    [
        pytest.param(32.0, "bar -7", id="on it"),
        pytest.param(31.6, "bar -7", id="less than a beat off"),
        pytest.param(30.6, None, id="more than a beat from any bar"),
        pytest.param(48.0, "bar -3", id="the phrase before, where it lies beyond the song"),
        pytest.param(44.0, "bar -1", id="the last bar"),
    ],
)
def test_a_song_is_left_on_the_bar_of_a_phrase_start(phrase_s, bar):
    hearing = heard()
    stops = replace(hearing.plan.layers[0], end_beat=EXIT)
    hearing.plan.layers = (stops, hearing.plan.layers[1])
    if bar is None:
        with pytest.raises(OptionError):
            bar_to_leave_on(hearing.plan, hearing.facts[0], phrase_s)
    else:
        assert bar_to_leave_on(hearing.plan, hearing.facts[0], phrase_s) == bar


@pytest.mark.parametrize(
    ("over_beats", "bar"), [(0.9, "bar -3"), (1.1, "bar -7"), (16.0, "bar -7")]
)
def test_a_song_that_plays_on_into_the_bridge_is_left_no_later(over_beats, bar):
    """Left at 32 s, which is bar -7; from what plays on to 40 s it has gone by then."""
    hearing = heard()
    old = replace(
        hearing.plan.layers[0],
        end_beat=EXIT + over_beats,
        time_map=(
            MapPoint(beat=0.0, source_s=16.0),
            MapPoint(beat=EXIT + over_beats, source_s=32.0 + over_beats * BEAT_S),
        ),
    )
    hearing.plan.layers = (old, hearing.plan.layers[1])
    assert bar_to_leave_on(hearing.plan, hearing.facts[0], 40.0) == bar


@pytest.mark.parametrize(
    ("phrase_s", "bar"),
    [(0.0, "bar 1"), (8.0, "bar 5"), (8.4, "bar 5"), (7.6, "bar 5"), (7.2, None)],
)
def test_a_song_is_entered_on_the_bar_of_a_phrase_start(phrase_s, bar):
    facts = heard().facts[1]
    if bar is None:
        with pytest.raises(OptionError):
            bar_to_enter_on(facts, phrase_s)
    else:
        assert bar_to_enter_on(facts, phrase_s) == bar


def test_what_sounds_of_a_song_is_told_along_its_map():
    plan = heard().plan
    points = ((EXIT - 8.0, 5.0), (EXIT - 4.0, 9.0), (EXIT + 4.0, 10.0))
    bent = replace(
        plan.layers[0],
        start_beat=EXIT - 8.0,
        end_beat=EXIT + 4.0,
        time_map=tuple(MapPoint(beat=beat, source_s=source) for beat, source in points),
    )
    plan.layers = (bent,)
    told = [source_s(plan, "outgoing", EXIT + beat) for beat in (-8.0, -6.0, -4.0, 0.0, 4.0)]
    assert told == pytest.approx([5.0, 7.0, 9.0, 9.5, 10.0])
    assert source_s(plan, "outgoing", EXIT - 8.1) is None
    assert source_s(plan, "outgoing", EXIT + 4.1) is None
    assert source_s(plan, "incoming", EXIT) is None


@pytest.mark.parametrize(("over_beats", "is_there"), [(0.2, False), (0.3, True)])
def test_a_layer_is_the_new_song_where_it_goes_on_over_bar_one(over_beats, is_there):
    plan = heard().plan
    plan.layers = (replace(plan.layers[1], end_beat=ENTRY + over_beats),)
    assert (source_s(plan, "incoming", ENTRY) is not None) is is_there
    plan.layers = (replace(heard().plan.layers[0], start_beat=EXIT - over_beats),)
    assert (source_s(plan, "outgoing", EXIT) is not None) is is_there


@pytest.mark.parametrize(
    ("at_s", "starts_s", "off_bars"),
    [
        pytest.param(18.0, (8.0, 16.0, 24.0), 1.0, id="a bar after"),
        pytest.param(23.0, (8.0, 16.0, 24.0), -0.5, id="half a bar before"),
        pytest.param(30.0, (8.0, 16.0, 24.0), -1.0, id="groups go on behind the last"),
        pytest.param(3.0, (8.0, 16.0, 24.0), 1.5, id="and before the first"),
        pytest.param(27.0, (0.0,), 1.5, id="counted from one"),
        pytest.param(38.0, (0.0,), -1.0, id="counted from one, before the next"),
        pytest.param(12.0, (8.0, 16.0), 2.0, id="between two"),
    ],
)
def test_bars_are_counted_from_the_nearest_phrase_start(at_s, starts_s, off_bars):
    assert bars_off(heard().facts[0], at_s, starts_s) == pytest.approx(off_bars)


@pytest.mark.parametrize(
    ("off_bars", "words"),
    [(0.14, "at the start"), (0.16, "in a bar"), (1.14, "1 bar after"), (1.16, "in a bar")],
)
def test_so_near_to_a_bar_line_is_on_it(off_bars, words):
    assert words in phrase(heard(left_s=32.0 + off_bars * BAR_S)).sentence


def test_marks_of_places_are_those_that_the_docs_tell():
    """Of a phrase start, half a phrase off, an odd bar, the middle of a bar; sure and counted."""
    off_bars = (0.0, 2.0, 1.0, 0.5)
    marks = {
        sure: [
            placed_on_phrases(h.plan, h.facts)[1].mark
            for h in (heard(entered_s=8.0 + bars * BAR_S, sure=sure) for bars in off_bars)
        ]
        for sure in (True, False)
    }
    assert marks == {True: [1.0, 0.55, 0.25, 0.1], False: [1.0, 0.7, 0.45, 0.15]}


@pytest.mark.parametrize(("off_bars", "is_there"), [(0.9, True), (1.1, False)])
def test_a_song_that_was_faded_in_is_entered_where_it_has_come_up(off_bars, is_there):
    hearing = heard(entered_s=11.0)
    old, new = hearing.facts
    opening = replace(new.opening, faded_in_s=11.0 - off_bars * BAR_S)
    hearing.facts = (old, replace(new, opening=opening))
    assert ("where it has come up" in phrase(hearing).sentence) is is_there


def test_a_song_is_entered_at_its_bar_one_within_a_seventh_of_a_bar():
    for off_bars, is_there in ((0.14, True), (0.16, False)):
        told = phrase(heard(entered_s=off_bars * BAR_S)).sentence
        assert ("starts at its bar one" in told) is is_there


def test_where_a_phrase_starts_is_told_in_seconds_of_the_song():
    h = heard(left_s=34.0, entered_s=14.0)
    left, entered = placed_on_phrases(h.plan, h.facts)
    assert (left.phrase_s, entered.phrase_s) == pytest.approx((32.0, 16.0))


@pytest.mark.parametrize(
    ("rung_s", "kept_s", "told_s"),
    [pytest.param(0.0, 4.0, "0.2 s", id="no ring"), pytest.param(5.0, 1.0, "5.0 s", id="long")],
)
def test_a_ring_is_as_long_as_it_was_heard_or_a_fifth_of_a_second(rung_s, kept_s, told_s):
    ending = {**RINGS, "rung_out_s": 32.0 + rung_s, "sound_end_s": 32.0 + rung_s}
    told = last_chord(heard(ending=ending, sound=ringing(kept_s)))
    if rung_s:
        assert told.sentence.endswith(f"of {told_s}.")
        assert told.value == pytest.approx(kept_s / rung_s, abs=0.02)
    else:
        assert told.sentence == "The last chord rings out."


def test_a_chord_that_has_been_ringing_for_most_of_its_ring_has_lost_nothing():
    struck = {**RINGS, "last_chord_s": 14.0, "last_hit_s": 32.0, "rung_out_s": 45.0}
    told = last_chord(heard(left_s=31.0, ending=struck, sound=ringing(4.0)))
    assert told.value == pytest.approx(17.0 / 31.0)
    assert told.score == pytest.approx(0.7)  # half of it is enough for no fault
    long = {**struck, "rung_out_s": 35.0}
    told = last_chord(heard(left_s=31.0, ending=long, sound=ringing(4.0)))
    assert told.score == pytest.approx(1.0)


@pytest.mark.parametrize(("kept_s", "score"), [(0.9, 1 / 6), (1.8, 2 / 3), (2.4, 1.0)])
def test_a_fifth_of_a_ring_is_as_good_as_none_and_four_fifths_are_enough(kept_s, score):
    told = last_chord(heard(ending=RINGS, sound=ringing(kept_s)))
    assert told.value == pytest.approx(kept_s / RING_S, abs=0.015)
    assert told.score == pytest.approx(score, abs=0.025)
    assert told.worst_beat == pytest.approx(EXIT + kept_s / BEAT_S, abs=0.1)


@pytest.mark.parametrize(("gap_s", "kept_s"), [(0.2, 3.0), (0.3, 1.0)])
def test_a_chord_is_over_once_it_has_been_gone_for_a_quarter_of_a_second(gap_s, kept_s):
    sound = ringing(4.0)
    first = round((EXIT * BEAT_S + 1.0) * RATE_HZ)
    sound[first : first + round(gap_s * RATE_HZ)] = 0.0
    told = last_chord(heard(ending=RINGS, sound=sound))
    assert told.value == pytest.approx(kept_s / RING_S, abs=0.03)


@pytest.mark.parametrize(("fade_s", "how"), [(0.05, "cut"), (0.6, "faded")])
def test_a_fall_of_15_db_in_80_ms_is_a_cut(fade_s, how):
    told = last_chord(heard(ending=RINGS, sound=ringing(0.8, fade_s=fade_s)))
    assert f"is {how} after" in told.sentence
    assert (told.value >= 0.8) is (how == "faded")
