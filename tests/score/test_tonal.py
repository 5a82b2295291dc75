"""Steps of the harmony on chords without any sound around them."""

from types import SimpleNamespace

import numpy as np
import pytest

from segue.music.key import parse_key
from segue.score.scorecard import NotMeasured, falling
from segue.score.tonal import FAR_STEP, NEAR_STEP, key_distance, landing, step_at, tonal_path
from segue.score.tones import HOP_S, Tones

BEAT_S = 0.5
BAR_S = 4 * BEAT_S
ROUND = ((0, 4, 7), (9, 0, 4), (5, 9, 0), (7, 11, 2))
"""I vi IV V in semitones above the tonic, a bar each."""


def heard(*bars):
    """A hearing of bars: each the pitch classes of a chord, or none for a rest."""
    rows = np.zeros((len(bars), 12))
    for row, chord in zip(rows, bars, strict=True):
        for pitch_class in chord:
            row[pitch_class % 12] = 1 / len(chord)
    chroma = np.repeat(rows, round(BAR_S / HOP_S), axis=0)
    end_beat = 4.0 * len(bars)
    plan = SimpleNamespace(
        seconds_at=lambda beat: beat * BEAT_S,
        exit_beat=end_beat / 2,
        entry_beat=end_beat / 2,
        end_beat=end_beat,
    )
    tones = Tones(times_s=(np.arange(len(chroma)) + 0.5) * HOP_S, chroma=chroma)
    return SimpleNamespace(plan=plan, tones=tones, new_tones=tones, metre=4)


def rounds(semitones, n_rounds=2):
    return [tuple(tone + semitones for tone in chord) for chord in ROUND] * n_rounds


@pytest.mark.parametrize(
    ("semitones", "least", "most", "words"),
    [
        # what the scale says of itself, on rounds of four chords
        pytest.param(0, 0.0, 0.5, "is there already", id="the same key"),
        pytest.param(5, 6.0, 8.0, "a clear step", id="a fourth"),
        pytest.param(7, 6.0, 8.0, "a clear step", id="a fifth"),
        pytest.param(2, 10.0, 12.0, "a clear step", id="a whole tone"),
        pytest.param(1, 14.0, 18.0, "a leap", id="a semitone"),
        pytest.param(6, 14.0, 19.0, "a leap", id="a tritone"),
    ],
)
def test_a_step_between_keys_has_the_size_that_the_scale_is_told_by(semitones, least, most, words):
    hearing = heard(*rounds(0), *rounds(semitones))
    step, measure = step_at(hearing, 32.0), landing(hearing)
    assert least <= step <= most
    assert measure.value == step
    assert words in measure.sentence
    assert measure.score == falling(step, good=NEAR_STEP, bad=FAR_STEP)
    path = tonal_path(hearing)
    assert step <= path.value <= 1.5 * step
    # a straight way has the whole quarter that is for its length
    assert path.score == pytest.approx(
        0.75 * falling(path.value, good=NEAR_STEP, bad=FAR_STEP) + 0.25
    )


def test_an_old_song_that_goes_on_does_not_bring_the_new_key():
    hearing = heard(*rounds(0), *rounds(6))
    alone = landing(hearing)
    mixed = heard(*rounds(0), *rounds(6))
    both = (hearing.tones.chroma + np.roll(hearing.tones.chroma, 6, axis=1)) / 2
    is_after = hearing.tones.times_s >= 32 * BEAT_S
    chroma = np.where(is_after[:, np.newaxis], both, hearing.tones.chroma)
    mixed.tones = Tones(times_s=hearing.tones.times_s, chroma=chroma)
    assert step_at(mixed, 32.0) < alone.value - 1.0
    assert landing(mixed).value == alone.value


@pytest.mark.parametrize("n_bars", [2, 4, 8, 11])
def test_a_step_fades_with_the_rest_in_between(n_bars):
    # Farbood 2016, Music Perception 34(1): after 20 s a key is not remembered
    old, new = [ROUND[0]] * 8, [tuple(tone + 1 for tone in ROUND[0])] * 8
    near = step_at(heard(*old, *new), 32.0)
    rested = step_at(heard(*old, *[()] * n_bars, *new), 32.0 + 4 * n_bars)
    kept = max(1.0 - n_bars * BAR_S / 20.0, 0.0)
    assert rested == pytest.approx(kept * near, abs=0.03 * near)


def test_where_no_notes_are_there_is_no_step_and_that_is_said():
    silence = heard(*[()] * 12)
    assert np.isnan(step_at(silence, 24.0))
    for of in (landing, tonal_path):
        silence.facts = [
            SimpleNamespace(key=SimpleNamespace(is_known=known)) for known in (True, False)
        ]
        told = of(silence)
        assert isinstance(told, NotMeasured)  # a mark for what nobody has would be made up
        assert "no clear notes" in told.why
        silence.facts = [SimpleNamespace(key=SimpleNamespace(is_known=True))] * 2
        lost = of(silence)  # but songs that have notes have lost them here
        assert lost.score == 0.0
        assert "though both songs have a key" in lost.sentence
    cluster = heard(*[tuple(range(12))] * 12)  # all twelve have no place
    assert np.isnan(step_at(cluster, 24.0))


def test_a_way_to_and_fro_is_longer_than_the_straight_line():
    straight = tonal_path(heard(*rounds(0), *rounds(7)))
    hearing = heard(*rounds(0), *rounds(6), *rounds(0), *rounds(6), *rounds(7))
    hearing.plan.exit_beat, hearing.plan.entry_beat = 32.0, 128.0
    winding = tonal_path(hearing)
    assert "direct." in straight.sentence
    assert "times the direct one" in winding.sentence
    assert winding.score < straight.score


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        pytest.param("C major", "C major", "no change of key", id="same"),
        pytest.param("C major", "A minor", "an easy change", id="relative"),
        pytest.param("C major", "G major", "an easy change", id="fifth"),
        pytest.param("E minor", "F minor", "a hard change", id="semitone"),
        pytest.param("C major", "F# major", "a hard change (1.00", id="tritone"),
    ],
)
def test_distance_of_keys_in_words(old, new, words):
    facts = [SimpleNamespace(key=SimpleNamespace(key=parse_key(name))) for name in (old, new)]
    measure = key_distance(*facts)
    assert words in measure.sentence
    assert measure.score == pytest.approx(1.0 - measure.value)
