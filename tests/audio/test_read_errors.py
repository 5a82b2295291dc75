"""Each fault of a song gets one sentence: which file, what is wrong, what to do."""

import os
import re

import numpy as np
import pytest
import soundfile

from segue.audio import read_song
from segue.errors import AudioFileError, InputError

RATE_HZ = 48_000


def seconds(n, n_channels=2):
    return np.random.default_rng(0).uniform(-0.5, 0.5, (round(n * RATE_HZ), n_channels))


def cut(path, share):
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * share)])
    return path


def with_nan(sound_file):
    samples = seconds(3)
    samples[2 * RATE_HZ, 1] = np.nan
    return sound_file("a.wav", samples, subtype="FLOAT")


def bytes_file(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    return tmp_path / name


def fifo(tmp_path):
    os.mkfifo(tmp_path / "a.wav")
    return tmp_path / "a.wav"


def without_length(path):
    """A FLAC file whose STREAMINFO says 0 samples, 'unknown' (RFC 9639, section 8.2)."""
    content = bytearray(path.read_bytes())
    content[8 + 13] &= 0xF0
    content[8 + 14 : 8 + 18] = bytes(4)
    path.write_bytes(content)
    return path


def chained(sound_file):
    first, then = sound_file("a.ogg"), sound_file("b.ogg")
    first.write_bytes(first.read_bytes() + then.read_bytes())
    return first


def bw64(sound_file):
    path = sound_file("a.wav", format="RF64")
    path.write_bytes(b"BW64" + path.read_bytes()[4:])
    return path


ADVICE = "export it as WAV, FLAC, AIFF, Ogg Vorbis, Ogg Opus or MP3"
JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256)) * 64
HTML = b"<!DOCTYPE html><html><body>404 Not Found</body></html>" * 40
FAULTS = {
    "missing": (lambda f, t: t / "no.wav", "no.wav: does not exist; check the spelling."),
    "empty": (lambda f, t: bytes_file(t, "a.wav", b""), "is an empty file (0 bytes); export or"),
    "picture": (
        lambda f, t: bytes_file(t, "a.wav", JPEG),
        f"is not audio that can be read; {ADVICE}",
    ),
    "web page": (lambda f, t: bytes_file(t, "a.mp3", HTML), "is not audio that can be read"),
    "headerless": (
        lambda f, t: bytes_file(t, "a.raw", bytes(9999)),
        "is not audio that can be read",
    ),
    "no frames": (
        lambda f, t: f("a.wav", seconds(0)),
        "holds no sound (0 frames); export it again.",
    ),
    "cut wav": (
        lambda f, t: cut(f("a.wav"), 0.5),
        "is cut off: its sound stops at 1.500 s; copy or",
    ),
    "cut aiff": (lambda f, t: cut(f("a.aiff"), 0.5), "is cut off: its sound stops at"),
    "cut flac": (lambda f, t: cut(f("a.flac"), 0.5), "is cut off: its sound stops at"),
    "cut mp3": (lambda f, t: cut(f("a.mp3"), 0.5), "is cut off: its sound stops at"),
    "not a number": (
        lambda f, t: with_nan(f),
        "a value that is no finite number (nan) at 2.000 s, channel 2;",
    ),
    "infinite": (
        lambda f, t: f("a.wav", seconds(3) * np.inf, subtype="FLOAT"),
        "no finite number (inf)",
    ),
    "slow": (
        lambda f, t: f("a.wav", rate_hz=7_999),
        "sample rate of 7999 Hz, outside 8000 to 192000",
    ),
    "fast": (
        lambda f, t: f("a.wav", rate_hz=192_001),
        "192001 Hz, outside 8000 to 192000 Hz; export",
    ),
    "nine channels": (
        lambda f, t: f("a.wav", seconds(3, 9)),
        "has 9 channels, more than 8; export a",
    ),
    "pipe": (lambda f, t: fifo(t), "is a pipe or device, not a file; save the sound to a file."),
    "short": (
        lambda f, t: f("a.wav", seconds(1.5)),
        "lasts 1.50 s; a song needs at least 2 s: check",
    ),
    "no length": (lambda f, t: without_length(f("a.flac")), "does not say how long it is,"),
    "chained": (lambda f, t: chained(f), "is several Ogg streams one after the other; export it"),
    "BW64": (lambda f, t: bw64(f), "is a BW64 file, which cannot be read yet; export it as plain"),
    "null in name": (lambda f, t: t / "a\0.wav", "cannot be opened"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_faulty_file_is_refused_in_one_sentence(sound_file, tmp_path, fault):
    make, said = FAULTS[fault]
    path = make(sound_file, tmp_path)
    with pytest.raises(AudioFileError, match=re.escape(said)) as caught:
        read_song(path, edge="end")
    assert path.name.replace("\0", "\\x00") in str(caught.value)
    assert "\n" not in str(caught.value)
    assert str(caught.value).endswith((".", "?"))


def test_a_name_that_no_disk_can_hold_is_told_as_the_song_s(tmp_path):
    long = tmp_path / ("x" * 256 + ".wav")
    with pytest.raises(AudioFileError, match=r"x\.wav: cannot be opened \(File name too long\); "):
        read_song(long, edge="end")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_without_the_right_to_read_is_refused(sound_file):
    path = sound_file("a.wav")
    path.chmod(0)
    with pytest.raises(AudioFileError, match="may not be read by you; change its permissions"):
        read_song(path, edge="end")


def test_a_streamed_wav_whose_header_knows_no_length_is_read(sound_file):
    path = sound_file("a.wav")
    content = bytearray(path.read_bytes())
    at = content.index(b"data") + 4
    content[at : at + 4] = b"\xff\xff\xff\xff"
    path.write_bytes(content)
    assert read_song(path, edge="end").duration_s == 3.0


def test_a_folder_without_audio_is_refused(tmp_path):
    (tmp_path / "notes.txt").write_text("none")
    with pytest.raises(InputError, match="holds no audio files; name a song file, or a folder"):
        read_song(tmp_path, edge="end")


def test_a_stem_that_cannot_be_decoded_is_named_and_all_are_told(sound_file, tmp_path):
    folder = tmp_path / "song"
    sound_file("drums.wav", folder=folder)
    (folder / "bass.wav").write_bytes(JPEG)
    with pytest.raises(AudioFileError, match=r"song/bass\.wav: is not audio"):
        read_song(folder, edge="end")
    (folder / "keys.m4a").write_bytes(b"")
    with pytest.raises(AudioFileError, match=r"has 2 files .* bass\.wav is not .* keys\.m4a is an"):
        read_song(folder, edge="end")


def test_a_mix_beside_its_stems_is_refused(sound_file, tmp_path):
    for name in ("drums.wav", "bass.wav", "Full Mix.wav"):
        sound_file(name, folder=tmp_path / "song")
    with pytest.raises(AudioFileError, match=r"Full Mix\.wav: is a mix beside the stems of song"):
        read_song(tmp_path / "song", edge="end")
    (tmp_path / "song" / "song.toml").write_text('[roles]\n"Full Mix.wav" = "other"\n')
    assert len(read_song(tmp_path / "song", edge="end").stems) == 3


# what a musician may get wrong in song.toml, and what is said
TOML_FAULTS = {
    "unknown field": ("tmpo_bpm = 120", "'tmpo_bpm' is not a field (did you mean 'tempo_bpm'?)"),
    "wrong type": ("tempo_bpm = '120'", "'tempo_bpm' is \"120\", write a valid number"),
    "fraction": ("metre = 3.5", "'metre' is 3.5, write"),
    "boolean": ("tempo_bpm = true", "'tempo_bpm' is true, write a valid number"),
    "no key": ("key = 'H major'", "'key': 'H major' is not a key"),
    "no tempo": ("tempo_bpm = 0", "'tempo_bpm' is 0, outside 20 to 400 beats a minute"),
    "not a number": ("tempo_bpm = nan", "'tempo_bpm' is"),
    "early": ("first_downbeat_s = -1.0", "'first_downbeat_s' is -1, before the song starts"),
    "late": ("first_downbeat_s = 520", "at 520 s, after the end of the song at 3.00 s; write"),
    "no beats": ("metre = 0", "'metre' is 0, outside 1 to 32 beats a bar"),
    "no role": (
        "roles = {'drums.wav' = 'drms'}",
        "'roles.drums.wav' is 'drms', not a role (did you mean 'drums'?)",
    ),
    "no file": (
        "roles = {'drum.wav' = 'drums'}",
        "'roles.drum.wav' names no audio file in the folder (did you mean 'drums.wav'?)",
    ),
    "syntax": ("title = \nkey = 'C'", "is not valid TOML: Invalid value (at line 1, column 9)"),
    "two at once": (
        "metre = 0\nkey = 3",
        "'key' is 3, write a valid string; 'metre' is 0",
    ),
}


@pytest.mark.parametrize("fault", TOML_FAULTS)
def test_a_faulty_song_toml_is_refused_with_every_fault(sound_file, tmp_path, fault):
    text, said = TOML_FAULTS[fault]
    for name in ("drums.wav", "bass.wav"):
        sound_file(name, folder=tmp_path / "song")
    (tmp_path / "song" / "song.toml").write_text(text)
    with pytest.raises(InputError, match=re.escape(said)):
        read_song(tmp_path / "song", edge="end")


def test_a_whole_song_toml_is_taken_over(sound_file, tmp_path):
    for name in ("take 3.wav", "bass.wav"):
        sound_file(name, folder=tmp_path / "song")
    (tmp_path / "song" / "song.toml").write_text(
        "\ufefftitle = 'Low Tide'\nkey = 'F# minor'\ntempo_bpm = 124\nfirst_downbeat_s = 0.52\n"
        "metre = 3\n[roles]\n'take 3.wav' = 'voice'\n",
        encoding="utf-8",
    )
    song = read_song(tmp_path / "song", edge="start")
    assert (song.title, str(song.notes.key)) == ("Low Tide", "F# minor")
    assert (song.notes.tempo_bpm, song.notes.first_downbeat_s, song.notes.metre) == (124, 0.52, 3)
    assert [stem.role for stem in song.stems] == ["bass", "voice"]


def test_text_that_is_not_utf_8_is_refused(sound_file, tmp_path):
    sound_file("drums.wav", folder=tmp_path / "song")
    (tmp_path / "song" / "song.toml").write_bytes(b"title = '\xff'")
    with pytest.raises(InputError, match=r"song\.toml: is not UTF-8 text; save it again as UTF-8"):
        read_song(tmp_path / "song", edge="end")


def test_formats_of_the_error_text_are_those_of_the_library():
    assert {"WAV", "FLAC", "AIFF", "OGG", "MP3"} <= set(soundfile.available_formats())


def test_an_ogg_stream_without_its_end_mark_is_read_and_remarked_on(sound_file):
    path = cut(sound_file("a.ogg", seconds(6)), 0.7)
    remark = "'a.ogg' has no end mark: if its sound was cut off, export it again."
    assert read_song(path, edge="end").remarks == (remark,)
    assert read_song(path, edge="start").remarks == ()


def test_a_whole_song_has_no_remarks(sound_file):
    assert read_song(sound_file("a.ogg"), edge="end").remarks == ()
