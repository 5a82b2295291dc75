"""Two short songs: the end and the start of two demo songs, mixed."""

import numpy as np
import pytest
import soundfile

from segue.cli.between import demo_pair

SONG_S = 28.0


def mix_of(folder):
    stems = [soundfile.read(path, always_2d=True) for path in sorted(folder.glob("*.ogg"))]
    rate_hz = stems[0][1]
    mix = np.zeros((max(len(stem) for stem, _ in stems), 2))
    for stem, _ in stems:
        mix[: len(stem)] += stem
    return 0.9 * mix / np.abs(mix).max(), rate_hz


@pytest.fixture(scope="session", name="song_folder")
def _song_folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("a producer")
    (folder / "songs").mkdir()
    for path, name, is_end in zip(
        demo_pair(), ("Copper Wire", "Low Tide"), (True, False), strict=True
    ):
        mix, rate_hz = mix_of(path)
        n_frames = round(SONG_S * rate_hz)
        part = mix[-n_frames:] if is_end else mix[:n_frames]
        soundfile.write(folder / "songs" / f"{name}.wav", part, rate_hz, "PCM_16")
    return folder
