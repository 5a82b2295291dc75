"""Set files: what they mean, and every fault with its line."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.errors import InputError
from segue.music.key import parse_key
from segue.music.tempo import clock, length_s
from segue.setlist.set_file import (
    SetFileError,
    parse_set,
    path_from,
    read_set,
    reordered_text,
    write_reordered,
)

HEAD = 'schema_version = 1\ntitle = "Harbour"\n'
PATH = Path("/music/set.toml")


def faults_of(text):
    with pytest.raises(SetFileError) as caught:
        parse_set(text, PATH)
    return [s.removeprefix(f"{PATH}:") for s in caught.value.sentences]


def test_everything_that_a_song_may_say_is_read():
    song = parse_set(
        HEAD
        + 'slot = "45m"\n[[songs]]\npath = "02 low.wav"\n'
        + '[[songs]]\npath = "a"\ntitle = "Ash"\nkey = "F# minor"\ntempo_bpm = 98\nmetre = 3\n'
        + 'first_downbeat_s = 0.5\nlength = "3:45"\ndrive = 2\nvoice = "Mara"\ncloses = true\n'
        + 'at = 2\nafter = "low"\ntalk = "1m10s"\nrecipe = "tempo ramp"\n',
        PATH,
    )
    assert song.slot_s == 2700
    low, ash = song.songs
    assert (low.title, low.path, low.is_segue) == ("low", Path("/music/02 low.wav"), True)
    assert (ash.overrides.key, ash.overrides.tempo_bpm) == (parse_key("F# minor"), 98.0)
    assert (ash.overrides.metre, ash.overrides.first_downbeat_s) == (3, 0.5)
    assert (ash.length_s, ash.energy, ash.voice, ash.closes) == (225.0, 2, "Mara", True)
    assert (ash.at, ash.after, ash.talk_s, ash.recipe) == (2, "low", 70.0, "tempo ramp")


def test_drive_is_read_by_its_older_name_and_not_by_both():
    song = f'{HEAD}[[songs]]\npath = "a.wav"\nenergy = 4\n'
    assert parse_set(song, PATH).songs[0].energy == 4
    assert faults_of(f"{song}drive = 4\n") == [
        "5: 'energy' of song 1 is 'drive' by its older name: leave it out."
    ]


@pytest.mark.parametrize(("said", "is_segue"), [("", False), ("segue = true\n", True)])
def test_a_changeover_is_a_stop_unless_said_otherwise(said, is_segue):
    text = f'{HEAD}[[songs]]\npath = "a.wav"\nchangeover = "40s"\n{said}'
    assert parse_set(text, PATH).songs[0].is_segue is is_segue


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("tempo_bmp = 120", "Did you mean 'tempo_bpm'?"),
        ("tempo_bpm = 1200", "outside 20 to 400 beats a minute"),
        ("tempo_bpm = nan", "write a number"),
        ("tempo_bpm = true", "write a number"),
        ("drive = 6", "outside 1 to 5"),
        ("energy = 6", "outside 1 to 5"),
        ("drive = 2.5", "write a whole number, 1 to 5"),
        ('drive = "3"', "write a whole number, 1 to 5"),
        ('key = "H flat"', "is not a key"),
        ('length = "345"', 'such as "3:45"'),
        ('length = "3:75"', 'such as "3:45"'),
        ("talk = 25", 'such as "25s"'),
        ('talk = "2h"', "outside"),
        ("at = 0", "outside 1 to 200"),
        ("at = 3", "there are 2 songs"),
        ('after = "Anchr"', "Did you mean 'Anchor'?"),
        ('after = "Low"', "names the song itself"),
        ('not_beside = "Anchor"', "write a list of titles"),
        ('not_beside = ["Nothing"]', "no title here"),
        ('opens = "yes"', "true or false"),
        ('title = "Anchor"', "another title"),
        ('title = ""', "is empty"),
    ],
)
def test_a_fault_is_told_with_its_line(line, told):
    name = line.split(" ")[0]
    title = "" if name == "title" else 'title = "Low"\n'
    rest = '[[songs]]\npath = "b.wav"\ntitle = "Anchor"\n'
    if name == "title" and "Anchor" in line:  # the later one of two is told
        text = f'{HEAD}{rest}[[songs]]\npath = "a.wav"\n{line}\n'
    else:
        text = f'{HEAD}[[songs]]\npath = "a.wav"\n{title}{line}\n{rest}'
    at = text[: text.rindex(line)].count("\n") + 1
    (sentence,) = faults_of(text)
    assert sentence.startswith(f"{at}: ")
    assert told in sentence


RULES = [
    ("opens = true", "opens = true", "songs 1 and 2 both have opens = true"),
    ("closes = true", "closes = true", "songs 1 and 2 both have closes = true"),
    ("", "opens = true\ncloses = true", "'b' cannot both open and close the set"),
    ("", 'opens = true\nafter = "a"', "'b' opens the set and cannot come after a song"),
    ("", 'after = "a"\nnot_beside = ["a"]', "'b' must follow 'a' and must not be beside it"),
    ("", 'segue = false\nrecipe = "tempo ramp"', "a plain stop, which takes no recipe"),
]


@pytest.mark.parametrize(("first", "second", "told"), RULES, ids=[r[1] for r in RULES])
def test_what_songs_of_one_set_may_not_say_is_told(first, second, told):
    text = f"{HEAD}[[songs]]\npath = 'a'\n{first}\n[[songs]]\npath = 'b'\n{second}\n"
    (sentence,) = faults_of(text)
    assert told in sentence
    assert not first or sentence.startswith("8: ")


@pytest.mark.parametrize(
    ("field", "least", "most"),
    [
        ("slot", 60, 12 * 3600),
        ("length", 10, 3600),
        ("talk", 1, 1800),
        ("changeover", 1, 1800),
    ],
)
def test_lengths_have_bounds(field, least, most):
    def text(seconds):
        line = f'{field} = "{clock(seconds)}"\n'
        head, song = (line, "") if field == "slot" else ("", line)
        return f"{HEAD}{head}[[songs]]\npath = 'a'\n{song}"

    for seconds in (least, most):
        parse_set(text(seconds), PATH)
    for seconds in (least - 1, most + 1):
        (sentence,) = faults_of(text(seconds))
        assert f"outside {clock(least)} to {clock(most)}" in sentence


def test_a_set_may_have_200_songs_and_no_more():
    def text(n):
        return HEAD + "".join(f"[[songs]]\npath = 's{k}'\n" for k in range(n))

    assert len(parse_set(text(200), PATH).songs) == 200
    assert "there are 201 songs; at most 200 are read" in faults_of(text(201))[0]


def test_all_faults_are_told_at_once_in_order():
    text = 'title = 3\n[[songs]]\ndrive = 9\n[[songs]]\npath = "a"\nopens = 1\n'
    told = faults_of(text)
    assert [sentence.split(":")[0] for sentence in told] == ["1", "1", "2", "3", "6"]


@pytest.mark.parametrize(
    "text", ["", "songs = 3\n", "[songs]\npath = 'a'\n", "a = [", "songs = []\n", "x = 1e999999"]
)
def test_what_is_no_set_is_refused(text):
    assert faults_of(text)


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(SetFileError, match="cannot be read"):
        read_set(tmp_path / "none.toml")


@given(st.integers(0, 100_000))
def test_a_clock_is_read_back(seconds):
    assert length_s(clock(seconds)) == seconds


SONGS = [
    "# one\n[[songs]]\npath = 'a'\n\n",
    "[[songs]]\npath = \"b\"\ntalk = '9s'\n",
    "[[songs]]\npath='c'",
]


@given(st.permutations([0, 1, 2]))
def test_reordering_moves_the_users_own_words(order):
    text = HEAD + "# before\n\n" + "".join(SONGS)
    new = reordered_text(text, order, ["../a", "../b", "../c"])
    songs = tomllib.loads(new)["songs"]
    assert [song["path"] for song in songs] == [["../a", "../b", "../c"][n] for n in order]
    assert [("talk" in song) for song in songs] == [n == 1 for n in order]
    assert new.startswith(HEAD + "# before\n")
    assert '# one\n[[songs]]\npath = "../a"\n' in new
    assert reordered_text(text, (0, 1, 2), "abc").count("\n") == text.count("\n") + 1


def test_a_path_leads_from_the_new_file_to_the_same_song(tmp_path):
    song = tmp_path / "songs" / "a.wav"
    out = tmp_path / "night"
    assert (out / path_from(out, song)).resolve() == song.resolve()


def test_a_title_is_that_of_the_song_itself(tmp_path):
    for name in ("St. Anne", "St. Elmo", "03 Low Tide"):
        (tmp_path / name).mkdir()
    (tmp_path / "03 Low Tide" / "song.toml").write_text('title = "Low Tide (slow)"\n')
    (tmp_path / "03 Low Tide" / "mix.wav").touch()
    paths = ("St. Anne", "St. Elmo", "03 Low Tide", "Mr. Blue.wav", "Not. There")
    text = "schema_version = 1\ntitle = 'x'\n" + "".join(
        f'[[songs]]\npath = "{p}"\n' for p in paths
    )
    found = parse_set(text, tmp_path / "set.toml")
    titles = ["St. Anne", "St. Elmo", "Low Tide (slow)", "Mr. Blue", "Not. There"]
    assert [song.title for song in found.songs] == titles


def test_two_songs_of_one_title_are_told_by_their_places():
    song = '[[songs]]\npath = "a.wav"\ntitle = "Ash"\n'
    other = '[[songs]]\npath = "b.wav"\ntitle = "Elm"\n'
    (told,) = faults_of(HEAD + other + song + other.replace("Elm", "Oak") + song)
    assert "song 4 is called 'Ash' like song 2: give one of them another title." in told


def test_a_folder_of_songs_is_a_set_in_the_order_of_its_names(tmp_path):
    folder = tmp_path / "Harbour Night"
    for name in (
        "2 Low Tide.wav",
        "10 Ash.flac",
        "1 Rope/bass.wav",
        "run/option.wav",
        "pack/music.wav",
        "notes/a.txt",
    ):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).touch()
    for name in (".hidden.wav", "lyrics.pdf", "run/segue.json", "pack/markers.json"):
        (folder / name).touch()
    found = read_set(folder)
    assert found.title == "Harbour Night"
    assert [song.path for song in found.songs] == [
        folder / name for name in ("1 Rope", "2 Low Tide.wav", "10 Ash.flac")
    ]
    assert [song.title for song in found.songs] == ["1 Rope", "2 Low Tide", "10 Ash"]
    again = tmp_path / "reordered.toml"
    write_reordered(tmp_path, folder, found, (2, 0, 1))
    assert [song.title for song in read_set(again).songs] == ["10 Ash", "1 Rope", "2 Low Tide"]


def test_a_folder_without_songs_is_no_set(tmp_path):
    with pytest.raises(InputError, match="holds no songs"):
        read_set(tmp_path)


def test_a_name_that_a_set_file_cannot_hold_is_told(tmp_path):
    (tmp_path / "a\nb.wav").touch()
    with pytest.raises(InputError, match="give it another"):
        read_set(tmp_path)
