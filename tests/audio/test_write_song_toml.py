"""What is said of one end of a song: read for that end alone, written without touching the rest."""

import re

import pytest

from segue.audio import read_song
from segue.audio.song_toml import EndToml, song_toml_beside
from segue.audio.write_song_toml import said_of, write_end
from segue.catalogue.scan import song_at
from segue.errors import InputError

WHOLE = """# ours
title = "Low Tide"
key = "A minor"
tempo_bpm = 124

[end]
ending = "fade"  # it does

[roles]
"a.wav" = "drums"
"""


@pytest.fixture(name="song")
def _song(sound_file, tmp_path):
    for name in ("a.wav", "b.wav"):
        sound_file(name, folder=tmp_path / "song")
    (tmp_path / "song" / "song.toml").write_text(WHOLE)
    return tmp_path / "song"


def test_an_end_says_what_the_song_does_not(song):
    write_end(song, "end", EndToml(key="C major", first_downbeat_s=0.5, ending="ring-out"))
    end, start = (read_song(song, edge=edge).notes for edge in ("end", "start"))
    assert (str(end.key), end.tempo_bpm, end.ending) == ("C major", 124, "ring-out")
    assert (end.first_downbeat_s, start.first_downbeat_s) == (0.5, None)
    assert (str(start.key), start.ending) == ("A minor", None)


def test_the_rest_of_the_file_stays(song):
    write_end(song, "end", EndToml(metre=3))
    text = (song / "song.toml").read_text()
    before, _, after = WHOLE.partition("[end]")
    assert text.startswith(before)
    assert after.partition("[roles]")[2] in text
    assert "fade" not in text
    assert said_of(song, "end") == EndToml(metre=3)


def test_saying_nothing_takes_the_table_out(song):
    write_end(song, "end", EndToml())
    assert "[end]" not in (song / "song.toml").read_text()
    assert said_of(song, "end") == EndToml()


def test_what_is_impossible_leaves_the_file_as_it_was(song):
    with pytest.raises(InputError, match=re.escape("'start.key'")):
        write_end(song, "start", EndToml(key="H major"))
    assert (song / "song.toml").read_text() == WHOLE


def test_a_single_file_has_its_own_beside_it(sound_file, tmp_path):
    file = sound_file("Low Tide.wav", folder=tmp_path / "songs")
    path = write_end(file, "start", EndToml(first_note="A3", opening="pick-up"))
    assert path == file.parent / "Low Tide.song.toml" == song_toml_beside(file)
    notes = read_song(file, edge="start").notes
    assert (notes.first_note_midi, notes.opening) == (57.0, "pick-up")
    assert read_song(file, edge="end").notes.opening is None


def test_a_catalogue_hears_anew_what_was_said_anew(sound_file, tmp_path):
    file = sound_file("Low Tide.wav", folder=tmp_path / "songs")
    before = song_at(file)
    stamp, content = before.stamp(), before.content()
    write_end(file, "start", EndToml(metre=3))
    assert song_at(file).stamp() != stamp
    assert song_at(file).content() != content


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[end]\nopening = 'pick-up'", "'end.opening' is not a field"),
        ("[start]\nfirst_note = 'X9'", "'start.first_note'"),
        ("[start]\ntempo_bpm = 3", "'start.tempo_bpm' is 3, outside"),
        ("[end]\nending = 'bang'", "'end.ending' is"),
        ("end = 3", "'end' is 3"),
    ],
)
def test_a_faulty_end_is_told_with_its_place(song, text, said):
    (song / "song.toml").write_text(text)
    with pytest.raises(InputError, match=re.escape(said)):
        read_song(song, edge="end")
