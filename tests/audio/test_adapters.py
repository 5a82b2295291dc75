import numpy as np
import pedalboard
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from segue.audio.adapters import resampled, run_board
from segue.audio.clip import Clip


def clip_of(samples, rate_hz=48_000, start_s=0.0):
    return Clip(samples=np.asarray(samples, np.float32), rate_hz=rate_hz, start_s=start_s)


@pytest.mark.parametrize("n_frames", [0, 3, 1000])
@pytest.mark.parametrize("n_channels", [1, 2])
def test_a_board_keeps_shape_and_channels_apart(n_frames, n_channels):
    ramp = np.arange(n_frames * n_channels).reshape(n_frames, n_channels) / 10_000
    clip = clip_of(ramp, start_s=3.0)
    out = run_board(pedalboard.Gain(gain_db=-6.0), clip)
    np.testing.assert_allclose(out.samples, ramp * 10 ** (-6 / 20), atol=1e-6)
    assert out.start_s == 3.0


def test_a_clip_whose_layout_could_be_mistaken_is_refused():
    # pedalboard guesses the layout from the shape
    with pytest.raises(ValueError, match="more frames than channels"):
        run_board(pedalboard.Gain(gain_db=-6.0), clip_of([[0.1, 0.2], [0.3, 0.4]]))


def test_a_tail_carries_over_only_when_asked():
    board = pedalboard.Pedalboard([pedalboard.Delay(delay_seconds=0.01, mix=1.0, feedback=0.0)])
    hit, silence = clip_of(np.ones((960, 2))), clip_of(np.zeros((960, 2)))
    run_board(board, hit)
    assert np.abs(run_board(board, silence, reset=False).samples).max() > 0.5
    run_board(board, hit)
    assert np.abs(run_board(board, silence).samples).max() == 0.0


@settings(deadline=None, derandomize=True, max_examples=30)
@given(
    from_hz=st.sampled_from([8_000, 11_025, 44_100, 47_999, 96_000, 192_000]),
    to_hz=st.sampled_from([44_100, 48_000]),
    n_frames=st.integers(0, 3_000),
)
def test_resampling_keeps_duration_to_half_a_frame(from_hz, to_hz, n_frames):
    clip = resampled(clip_of(np.zeros((n_frames, 2)), from_hz, start_s=2.0), to_hz)
    assert clip.samples.shape[1] == 2
    assert abs(clip.duration_s - n_frames / from_hz) <= 0.5 / to_hz + 1e-12
    assert clip.start_s == 2.0
