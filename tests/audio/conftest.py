"""Sound files of known content."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile


def noise(seconds, rate_hz, n_channels=2, seed=5):
    rng = np.random.default_rng(seed)
    return 0.2 * rng.standard_normal((round(seconds * rate_hz), n_channels))


@pytest.fixture
def sound_file(tmp_path):
    """Write a file; by default three seconds of stereo noise."""

    def write(name, samples=None, rate_hz=48_000, folder=tmp_path, **options):
        path = Path(folder) / name
        path.parent.mkdir(exist_ok=True)
        soundfile.write(path, noise(3, rate_hz) if samples is None else samples, rate_hz, **options)
        return path

    return write
