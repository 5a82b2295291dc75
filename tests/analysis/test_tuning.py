import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from segue.analysis.tuning import agreed_tuning, pitched_peaks, settled_tuning
from segue.audio import SongEdge
from tests.analysis.key_sounds import CADENCE, bass_of, chords_of, edge_of, note, song

SINE_CENTS = 0.5
"""The limit that the benchmark sets."""


def tuning_cents(edge: SongEdge) -> float:
    return settled_tuning(pitched_peaks(edge)).cents


def sine(midi: float, rate_hz: int = 24_000) -> np.ndarray:
    return 0.3 * np.sin(
        2 * np.pi * 440 * 2 ** ((midi - 69) / 12) * np.arange(2 * rate_hz) / rate_hz
    )


def apart_cents(first: float, second: float) -> float:
    return abs((first - second + 50) % 100 - 50)


@given(midi=st.floats(36.0, 84.0))
@example(midi=69.0)  # ISO 16: A4 = 440 Hz
@example(midi=60.49)
@example(midi=59.51)
def test_a_sine_is_heard_within_half_a_cent(midi):
    assert apart_cents(tuning_cents(edge_of(mix=sine(midi))), 100 * midi) <= SINE_CENTS


@pytest.mark.parametrize("cents", [-40, -15, 0, 23, 40])
def test_chords_with_overtones_tell_their_tuning(cents):
    # Partials 3, 5 and 7 lie 2, -14 and -31 cents from equal temperament and must not count.
    heard = tuning_cents(song(cents / 100, CADENCE["major"]))
    assert heard == pytest.approx(cents, abs=1.5)


def test_gain_changes_nothing():
    quiet, loud = (tuning_cents(song(3.2, CADENCE["minor"], gain)) for gain in (0.01, 1.0))
    assert quiet == pytest.approx(loud, abs=0.01)


def test_drum_stem_does_not_count():
    chords, bass = chords_of(0, CADENCE["major"]), bass_of(0, CADENCE["major"])
    drums = np.concatenate([note(47.5)] * 4) * 20
    alone = tuning_cents(edge_of(keys=chords, bass=bass))
    assert tuning_cents(edge_of(keys=chords, bass=bass, drums=drums)) == alone


@pytest.mark.parametrize(
    "role", [pytest.param("mix", id="silence"), pytest.param("drums", id="drums only")]
)
def test_nothing_pitched_is_in_tune(role):
    sound = np.zeros(24_000) if role == "mix" else note(47.5)
    assert tuning_cents(edge_of(**{role: sound})) == 0.0


@pytest.mark.parametrize("rounding", [-1e-9, 0.0, 1e-9])
@pytest.mark.parametrize(("of_the_whole", "taken"), [(-28.9, -28.2), (-25.0, -25.0)])
def test_of_two_estimates_in_the_middle_no_rounding_decides(of_the_whole, taken, rounding):
    others = [-29.5, -25.0 + rounding, -28.2 - rounding, -24.0]
    estimates = np.array([of_the_whole, *others, -30.0 if of_the_whole > -26 else -24.5])
    assert agreed_tuning(estimates).cents == pytest.approx(taken, abs=1e-6)


def test_estimates_on_both_sides_of_a_quarter_tone_are_near_each_other():
    fact = agreed_tuning(np.array([49.0, -49.0, -49.5]))
    assert fact.cents == -49.5
    assert fact.spread_cents == pytest.approx(1.0)
