"""Steps of the harmony on chords without any sound around them."""

from types import SimpleNamespace

import numpy as np
import pytest

from segue.music.key import parse_key
from segue.score import tonal
from segue.score.scorecard import NotMeasured, falling
from segue.score.tonal import (
    FAR_STEP,
    NEAR_STEP,
    chord_leads,
    key_distance,
    landing,
    leading_chords,
    step_at,
    tonal_path,
)
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


@pytest.mark.parametrize(
    ("step", "score", "words"),
    [
        pytest.param(4.0, 1.0, "is there already.", id="the longest near step"),
        pytest.param(4.01, 1.0, "takes a clear step.", id="just no near step"),
        pytest.param(9.0, 0.55, "takes a clear step.", id="half way"),
        pytest.param(13.99, 0.1, "takes a clear step.", id="just no leap"),
        pytest.param(14.0, 0.1, "takes a leap.", id="the shortest leap"),
    ],
)
def test_a_step_up_to_4_is_near_and_from_14_on_it_is_a_leap(monkeypatch, step, score, words):
    monkeypatch.setattr("segue.score.tonal.step_at", lambda *_, **__: step)
    told = landing(heard(*rounds(0)))
    assert told.sentence.endswith(words)
    assert told.score == pytest.approx(score, abs=2e-3)


@pytest.mark.parametrize(
    ("exit_beat", "entry_beat", "beats"),
    [
        pytest.param(12.0, 20.0, (8, 24), id="a bar to either side"),
        pytest.param(5.0, 20.0, (2, 24), id="not before the second beat"),
        pytest.param(12.0, 35.0, (8, 38), id="nor within the last two"),
        pytest.param(3.0, 38.0, (2, 38), id="neither"),
    ],
)
def test_the_way_is_looked_at_from_a_bar_before_the_bridge_to_a_bar_behind_it(
    monkeypatch, exit_beat, entry_beat, beats
):
    looked = []

    def step(_, beat, after=None):
        looked.append(beat)
        return 2.0 + (beat == exit_beat)

    monkeypatch.setattr("segue.score.tonal.step_at", step)
    hearing = heard(*rounds(0), *rounds(0)[:2])
    hearing.plan.exit_beat, hearing.plan.entry_beat = exit_beat, entry_beat
    told = tonal_path(hearing)
    assert looked == list(range(beats[0], beats[1] + 1))
    assert (told.value, told.worst_beat) == (3.0, exit_beat)


@pytest.mark.parametrize("detour", [1.0, 1.9, 2.1, 4.0, 6.0])
def test_a_way_of_twice_the_straight_line_is_direct_and_of_six_times_the_longest(
    monkeypatch, detour
):
    monkeypatch.setattr("segue.score.tonal.step_at", lambda *_, **__: 0.0)
    monkeypatch.setattr("segue.score.tonal._detour", lambda *_: detour)
    told = tonal_path(heard(*rounds(0)))
    share = 1.0 - 0.9 * max(detour - 2.0, 0.0) / 4.0
    assert told.score == pytest.approx(0.75 + 0.25 * share)
    words = f"roundabout ({detour:.1f} times the direct one)" if detour > 2 else "direct"
    assert told.sentence == f"Biggest chord move: a near step. The route is {words}."


@pytest.mark.parametrize("n_far", [1, 2, 3])
def test_the_way_is_as_long_as_its_steps_from_place_to_place_of_four_bars(n_far):
    """To and fro over a tritone: there and back so often, against one step of a semitone."""
    asked, far = [], [False, True] * n_far + [False]

    def mean_chroma(start_s, end_s):
        asked.append((start_s / BEAT_S, end_s / BEAT_S))
        chroma = np.zeros(12)
        chroma[[(tone + 6 * far[len(asked) - 1]) % 12 for tone in ROUND[0]]] = 1 / 3
        return chroma

    hearing = heard(*rounds(0))
    hearing.tones = SimpleNamespace(mean_chroma=mean_chroma)
    found = tonal._detour(hearing, 8.0, 8.0 + 4.0 * (2 * n_far - 2))
    assert asked == [(4.0 + 4 * n - 8.0, 4.0 + 4 * n + 8.0) for n in range(2 * n_far + 1)]
    across = step_at(heard(*[ROUND[0]] * 8, *[tuple(t + 6 for t in ROUND[0])] * 8), 32.0)
    kept = 1.0 - 2 * HOP_S / 2 / 20.0  # of a step after the hops on both sides of its beat
    assert found == pytest.approx(2 * n_far * across / kept / FAR_STEP, rel=1e-6)


@pytest.mark.parametrize(("n_hops", "is_enough"), [(8, True), (7, False)])
def test_two_seconds_of_notes_have_a_place(n_hops, is_enough):
    far = tuple(tone + 6 for tone in ROUND[0])
    rests, new = [()] * 3, [ROUND[3]] * 8

    def step_from(before):
        hearing = heard(*before, far, *rests, *new)
        row = (len(before) + 1) * round(BAR_S / HOP_S)
        hearing.tones.chroma[row - 8 : row - n_hops] = 0.0
        return step_at(hearing, 4.0 * (len(before) + 4))

    assert (step_from([ROUND[0]] * 8) == pytest.approx(step_from([()] * 8))) is is_enough


def test_four_bars_on_each_side_are_one_place():
    """What lies five bars away is no matter; what lies four bars away is."""
    base = heard(*[ROUND[0]] * 8, *[ROUND[3]] * 8)
    for bar, is_near in ((3, False), (4, True), (11, True), (12, False)):
        bars = [*[ROUND[0]] * 8, *[ROUND[3]] * 8]
        bars[bar] = (1, 6, 10)
        changed = step_at(heard(*bars), 32.0)
        assert (changed != pytest.approx(step_at(base, 32.0))) is is_near
    waltz = heard(*[(1, 6, 10)] * 5, *[ROUND[0]] * 3, *[ROUND[3]] * 8)
    assert step_at(waltz, 32.0) != pytest.approx(step_at(base, 32.0))
    waltz.metre = 3
    assert step_at(waltz, 32.0) == pytest.approx(step_at(base, 32.0))  # 12 beats of it


def test_chords_that_lead_home_are_those_of_the_key():
    # common practice, no source: V, V7 and IV, in minor iv
    c, d = (leading_chords(parse_key(name)) for name in ("C major", "D minor"))
    assert c == {
        "dominant": frozenset({7, 11, 2}),
        "dominant seventh": frozenset({7, 11, 2, 5}),
        "subdominant": frozenset({5, 9, 0}),
    }
    assert d["dominant seventh"] == frozenset({9, 1, 4, 7})
    assert d["subdominant"] == frozenset({7, 10, 2})


def test_a_chord_leads_by_its_cosine_over_the_best_other_triad():
    chroma = np.zeros((2, 12))
    chroma[0, [7, 11, 2]] = 1 / 3
    dominant = frozenset({7, 11, 2})
    leads = chord_leads(chroma, [dominant, frozenset({0, 4, 7})], own=[dominant])
    # two of three notes are shared with B minor, one with C major
    assert leads[0] == pytest.approx([1.0 - 2 / 3, 1 / 3 - 2 / 3])
    assert leads[1].tolist() == [0.0, 0.0]
