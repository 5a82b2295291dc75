"""The music bus stays below its ceiling by any meter, and keeps its own dynamics."""

import numpy as np
import pytest

from segue.audio.true_peak import true_peak_dbtp
from segue.render.candidate import master
from tests.render.measure import rms_db

RATE_HZ = 48_000
CEILING_DBTP = -1.4
"""-1 dBTP (EBU R 128) less 0.4 dB, by which meters differ at the top of the band."""
LIMITER_DB = 1.0
"""What the limiter may take off, from its own ceiling 0.2 dB further down."""


def sound(peak_dbfs):
    """Two seconds: a soft tone, and one that reaches a peak on its frames, well below Nyquist."""
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    level = np.where(time_s < 1.0, -30.0, 0.0) + peak_dbfs
    tone = 10 ** (level / 20) * np.sin(2 * np.pi * 500 * time_s)
    return np.stack([tone, 0.5 * tone], axis=1).astype(np.float32)


@pytest.mark.parametrize("peak_db", [-20.0, -6.0, -1.45])
def test_what_is_below_the_ceiling_is_left_to_the_bit(peak_db):
    total = sound(peak_db)
    made = master(total, RATE_HZ)
    assert made.lowered_db == 0.0
    assert np.array_equal(made.music.samples, total)


@pytest.mark.parametrize("peak_db", [-1.35, -1.2, -1.05, -0.5, 0.0, 3.0, 9.0])
def test_what_is_above_it_is_brought_below_and_hardly_squeezed(peak_db):
    total = sound(peak_db)
    made = master(total, RATE_HZ)
    assert true_peak_dbtp(made.music, oversampling=16) <= CEILING_DBTP + 1e-6
    assert true_peak_dbtp(made.music, oversampling=16) > CEILING_DBTP - 0.5
    # No more is left to the limiter than it may take off; the rest is taken off the whole.
    assert peak_db - made.lowered_db <= CEILING_DBTP - 0.2 + LIMITER_DB + 0.01
    assert made.lowered_db == pytest.approx(max(peak_db + 1.6 - LIMITER_DB, 0.0), abs=0.01)
    soft = slice(RATE_HZ // 2, RATE_HZ * 3 // 4)
    fallen_db = rms_db(total[soft]) - rms_db(made.music.samples[soft])
    assert fallen_db == pytest.approx(made.lowered_db, abs=0.3)
