"""What is written into a file beside its sound: names of artists that are no text, and lies."""

import numpy as np
import pytest

from benchmarks._abuse_sounds import encoded, tagged_files
from segue.audio import read_song
from segue.errors import AudioFileError

TAGGED = dict(tagged_files())
LYING = ("hides", "lies")


def heard(folder, name, content):
    path = folder / name
    path.write_bytes(content)
    return read_song(path, edge="start", rate_hz=22_050).mix.samples


@pytest.mark.parametrize("name", TAGGED)
def test_the_sound_is_what_it_is_without_its_tags(tmp_path, name):
    suffix = name.rpartition(".")[2]
    try:
        found = heard(tmp_path, name, TAGGED[name])
    except AudioFileError:
        assert any(word in name for word in LYING)
    else:
        plain = TAGGED[name].partition(b"LIST")[0] if suffix == "wav" else encoded(suffix)
        np.testing.assert_array_equal(found, heard(tmp_path, f"plain.{suffix}", plain))
