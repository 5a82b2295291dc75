"""Steps, matches and silences told from loudness curves that are drawn by hand."""

from types import SimpleNamespace

import numpy as np
import pytest

from segue.score.level_curves import HOP_S
from segue.score.level_steps import brightness, dead_air, level_match, level_step, pulse

BEAT_S = 0.5
EXIT_S, ENTRY_S, END_S = 16.0, 24.0, 40.0
LOUD = -16.0


def heard(*, loudness=None, octaves=None, target_lufs=-16.0):
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
    )
    levels = SimpleNamespace(times_s=times_s, loudness_lufs=curves[0], centroid_octaves=curves[1])
    return SimpleNamespace(plan=plan, levels=levels, metre=4, exit_s=EXIT_S, entry_s=ENTRY_S)


@pytest.mark.parametrize("step_lu", [-12.0, -3.0, 0.0, 3.0, 12.0])
def test_a_step_at_the_entry_is_the_step_and_the_match(step_lu):
    hearing = heard(loudness=lambda t: LOUD + step_lu * (t >= ENTRY_S))
    step, match = level_step(hearing), level_match(hearing)
    assert step.value == pytest.approx(abs(step_lu), abs=0.01)
    assert match.value == pytest.approx(step_lu, abs=0.01)
    if step_lu:
        assert step.worst_beat == pytest.approx(ENTRY_S / BEAT_S, abs=2.0)
        assert ("up" if step_lu > 0 else "down") in step.sentence
        assert ("louder" if step_lu > 0 else "softer") in match.sentence


def test_within_the_thresholds_nothing_is_lost_and_louder_is_worse_than_softer():
    def marks(step_lu):
        hearing = heard(loudness=lambda t: LOUD + step_lu * (t >= ENTRY_S))
        return level_step(hearing).score, level_match(hearing).score

    assert marks(1.4) == marks(-1.4) == (1.0, 1.0)
    assert marks(3.9)[0] == 1.0 > marks(4.5)[0]
    assert marks(20.0)[0] == pytest.approx(0.1)
    assert marks(9.0)[1] == pytest.approx(0.1) == marks(-12.0)[1]
    assert marks(6.0)[1] < marks(-6.0)[1]


def test_only_steps_near_the_join_count():
    # eight beats, 4 s, before the exit and after the entry; further off the songs do as they like
    for at_s, counts in ((10.5, False), (14.0, True), (26.0, True), (29.5, False)):
        hearing = heard(loudness=lambda t, at_s=at_s: LOUD - 10.0 * (t >= at_s))
        assert (level_step(hearing).value > 9.0) is counts, at_s


def test_a_soft_first_bar_or_a_fade_is_no_fault_of_the_match():
    soft = heard(loudness=lambda t: LOUD - 10.0 * (EXIT_S - 4 < t < ENTRY_S + 4))
    assert level_match(soft).value == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("seconds", [0.5, 1.0, 3.0])
def test_a_silence_is_as_long_as_its_quiet_blocks_and_the_block_around(seconds):
    hearing = heard(loudness=lambda t: -90.0 if 20.0 <= t < 20.0 + seconds - 1e-6 else LOUD)
    silence = dead_air(hearing)
    assert silence.value == pytest.approx(seconds + 0.4, abs=0.051)
    assert silence.worst_beat == pytest.approx(40.0, abs=0.5)
    assert level_step(hearing).value == pytest.approx(0.0, abs=0.01)  # told once, as dead air
    assert silence.score == (
        pytest.approx(0.1, abs=0.1)
        if seconds > 1.5
        else pytest.approx(1 - 0.9 * (silence.value - 0.6) / 1.4)
    )


@pytest.mark.parametrize(
    ("level_lufs", "target_lufs", "is_dead"),
    [
        pytest.param(-44.0, -16.0, False, id="above -45"),
        pytest.param(-46.5, -16.0, True, id="30 LU below the evening"),
        pytest.param(-41.0, -10.0, True, id="30 LU below a loud evening"),
        pytest.param(-39.0, -10.0, False, id="less below a loud evening"),
        pytest.param(-46.0, -30.0, True, id="however soft the evening"),
    ],
)
def test_what_counts_as_silence(level_lufs, target_lufs, is_dead):
    hearing = heard(
        loudness=lambda t: level_lufs if 20.0 <= t < 21.0 else target_lufs, target_lufs=target_lufs
    )
    silence = dead_air(hearing)
    assert (silence.value > 0) is is_dead
    if not is_dead:
        assert f"{level_lufs:.0f} LUFS" in silence.sentence


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
    assert level_step(silent) is None
    assert level_match(silent) is None
    assert dead_air(silent).value > 30.0


@pytest.mark.parametrize(
    ("missing", "beats", "score"),
    [
        pytest.param((), 0, 1.0, id="none"),
        pytest.param(range(8, 12), 4, 1.0, id="a bar is a breath"),
        pytest.param(range(8, 20), 12, 0.55, id="half way"),
        pytest.param(range(8, 28), 20, 0.1, id="lost"),
        pytest.param(range(34, 40), 6, None, id="up to the end"),
        pytest.param(range(6), 6, None, id="from the start"),
    ],
)
def test_the_longest_stretch_without_an_onset(missing, beats, score):
    hearing = heard()
    hearing.pulse = SimpleNamespace(
        beats=np.arange(40.0), is_heard=~np.isin(np.arange(40), list(missing))
    )
    told = pulse(hearing)
    assert told.value == beats
    if score is not None:
        assert told.score == pytest.approx(score)
    if beats:
        assert f"{beats} beats ({beats * BEAT_S:.1f} s)" in told.sentence
        assert told.worst_beat == pytest.approx(np.mean(list(missing)) + 0.5)
