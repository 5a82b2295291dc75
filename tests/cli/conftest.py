"""What several commands are tried on."""

import numpy as np
import pytest
import soundfile

from segue.cli.between import demo_pair


@pytest.fixture(scope="module", name="songs")
def _songs(request, tmp_path_factory):
    """The end of one demo song and the start of the next as mixes, as long as a module says."""
    folder = tmp_path_factory.mktemp("songs")
    for path, name, part in zip(demo_pair(), ("old", "new"), ("end", "start"), strict=True):
        stems = [soundfile.read(file, always_2d=True) for file in sorted(path.glob("*.ogg"))]
        rate_hz = stems[0][1]
        mix = np.zeros((max(len(stem) for stem, _ in stems), 2))
        for stem, _ in stems:
            mix[: len(stem)] += stem
        n_frames = round(request.module.SONG_S * rate_hz)
        mix = mix[-n_frames:] if part == "end" else mix[:n_frames]
        soundfile.write(folder / f"{name}.wav", 0.9 * mix / np.abs(mix).max(), rate_hz, "PCM_16")
    return folder
