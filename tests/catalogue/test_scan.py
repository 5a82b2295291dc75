"""Which folders are one song of stems. The vocabulary is common practice, no source."""

import numpy as np
import pytest
import soundfile

from segue.catalogue.scan import are_named_as_stems, are_stems, songs_under

ONE_SONG = (
    "drums | bass",
    "drums | bass | mix",
    "drums | bass | fx",
    "01 Drums | 02 Bass | 03 Gtr 1 | 04 Gtr 2 | 05 Lead Vox | 06 BGV",
    "Low Tide - drums | Low Tide - bass | Low Tide - keys",
    "drums_LowTide | bass_LowTide",
    "Bass Drop - 01 DRUMS | Bass Drop - 02 leadVox",
    "Kick In | Kick Out | Snare Top | OH Left | OH Right | Bass DI",
    "Dirty Bass | Clean Guitar | Drums",
    "lead vox 1 | lead vox 2 | back vox 1 | back vox 2 | gtr 1",
    "Ann guitar | Ben voice | drums",
    "808 | vox",
)
SONGS = (
    "01 Drum Street | 02 Bass Line Home | 03 Keys to the Harbour",
    "Song A - drums | Song A - bass | Song B - drums | Song B - bass",
    "Song 1 - drums | Song 1 - bass | Song 2 - drums | Song 2 - bass",
    "Gravel Lane - drums | Gravel Lane - bass | Paper Lantern - drums",
    "Gravel Lane mix | Paper Lantern mix",
    "Violin Road | Brass and Strings",
    "The Bass Road | The Drum Song",
    "drums | Gravel Lane",
    "drums",
)


def files(line):
    return [f"{name.strip()}.wav" for name in line.split("|")]


@pytest.mark.parametrize("line", ONE_SONG)
def test_names_that_speak_of_one_song(line):
    assert are_named_as_stems(files(line))


@pytest.mark.parametrize("line", SONGS)
def test_names_that_speak_of_songs(line):
    assert not are_named_as_stems(files(line))


@pytest.mark.parametrize(
    ("lengths_s", "is_one"),
    [((10, 12.9), True), ((10, 13.5), False), ((300, 305), True), ((300, 307), False)],
)
def test_stems_last_about_as_long(tmp_path, lengths_s, is_one):
    for name, length_s in zip(("drums", "bass"), lengths_s, strict=True):
        soundfile.write(tmp_path / f"{name}.wav", np.zeros(round(length_s * 8000)), 8000)
    assert are_stems(sorted(tmp_path.iterdir())) is is_one


def test_a_broken_stem_is_no_objection(tmp_path):
    soundfile.write(tmp_path / "drums.wav", np.zeros(80_000), 8000)
    (tmp_path / "bass.wav").write_text("no sound")
    assert are_stems(sorted(tmp_path.iterdir()))
    (found,) = songs_under([tmp_path])
    assert found.is_folder
