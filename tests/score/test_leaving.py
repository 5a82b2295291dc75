"""Phrases and last chords: where songs are left and entered, by facts and sounds made by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from segue.analysis.structure_facts import PhraseFact
from segue.plan.layer import MapPoint, SongLayer
from segue.score.leaving import last_chord, phrase
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
