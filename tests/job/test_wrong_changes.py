"""What cannot be changed about an option is told in one exact sentence, and nothing is done."""

import shlex
from pathlib import Path

import pytest

from segue.errors import SegueError
from segue.job.attempt import changed_attempt
from segue.job.changes import Changes, level_asked
from tests.job.a_run import document_of

WRONG = [
    ("0", "--bars 4", "there is no option 0: the run has 1, 2, 3, 4, 5, 6, 7, 8, 1b."),
    ("9", "--bars 4", "there is no option 9: the run has 1, 2, 3, 4, 5, 6, 7, 8, 1b."),
    ("-1", "--bars 4", "there is no option -1: the run has 1, 2, 3, 4, 5, 6, 7, 8, 1b."),
    ("2b", "--bars 4", "there is no option 2b: the run has 1, 2, 3, 4, 5, 6, 7, 8, 1b."),
    ("1c", "--bars 4", "there is no option 1c: the run has 1, 2, 3, 4, 5, 6, 7, 8, 1b."),
    ("two", "--bars 4", "there is no option two: the run has 1, 2, 3, 4, 5, 6, 7, 8, 1b."),
    ("", "--bars 4", "there is no option : the run has 1, 2, 3, 4, 5, 6, 7, 8, 1b."),
    ("1.0", "--bars 4", "there is no option 1.0: the run has 1, 2, 3, 4, 5, 6, 7, 8, 1b."),
    ("first", "--bars 4", "there is no option first: the run has 1, 2, 3, 4, 5, 6, 7, 8, 1b."),
    ("1", "", "nothing to change was said: add what, such as --bars 8 or --level 'pad -3'."),
    ("1", "--bars 0", "--bars 0 is outside 1 to 64 bars: keep within."),
    ("1", "--bars -4", "--bars -4 is outside 1 to 64 bars: keep within."),
    ("1", "--bars 65", "--bars 65 is outside 1 to 64 bars: keep within."),
    (
        "1",
        "--bars 1",
        (
            "--bars 1: 'pad in the new key' needs at least 2; take more, or another recipe with "
            "--recipe."
        ),
    ),
    (
        "2",
        "--bars 3",
        (
            "--bars 3: 'groove in first' needs at least 4; take more, or another recipe with "
            "--recipe."
        ),
    ),
    (
        "6",
        "--bars 2",
        "--bars 2: 'build' needs at least 4; take more, or another recipe with --recipe.",
    ),
    (
        "7",
        "--bars 1",
        (
            "--bars 1: 'breakdown and rebuild' needs at least 4; take more, or another recipe "
            "with --recipe."
        ),
    ),
    (
        "5",
        "--bars 1",
        (
            "--bars 1: 'throw and land' needs at least 2; take more, or another recipe with "
            "--recipe."
        ),
    ),
    (
        "1",
        "--leave ''",
        (
            "--leave '' is no place to leave a song: write a time such as 3:12 or 192s, \"bar "
            '-8", "last chord" or end.'
        ),
    ),
    (
        "1",
        "--leave soon",
        (
            "--leave 'soon' is no place to leave a song: write a time such as 3:12 or 192s, \"bar "
            '-8", "last chord" or end.'
        ),
    ),
    (
        "1",
        "--leave 'bar 8'",
        (
            "--leave 'bar 8': bars of the old song are counted back from its last one, which is "
            '"bar -1"; write "bar -8".'
        ),
    ),
    (
        "1",
        "--leave 'bar 0'",
        (
            "--leave 'bar 0': bars of the old song are counted back from its last one, which is "
            '"bar -1"; write "bar -8".'
        ),
    ),
    (
        "1",
        "--leave 'bar -99'",
        (
            "--leave 'bar -99' of 'Old Song' is at 0:00.0, and only 1:40.0 to 2:11.0 was read: "
            "take a place a bar after that start, or run 'segue between' with --edge-seconds 146."
        ),
    ),
    (
        "1",
        "--leave 3:99",
        "--leave '3:99' is no time: minutes and seconds go up to 59, as in 3:12.",
    ),
    (
        "1",
        "--leave 9:00",
        ("--leave '9:00' is after the end of 'Old Song' at 2:11.0: take an earlier place, or end."),
    ),
    (
        "1",
        "--leave 1s",
        (
            "--leave '1s' of 'Old Song' is at 0:01.3, and only 1:40.0 to 2:11.0 was read: take a "
            "place a bar after that start, or run 'segue between' with --edge-seconds 145."
        ),
    ),
    (
        "1",
        "--leave 'bar x'",
        (
            "--leave 'bar x' is no place to leave a song: write a time such as 3:12 or 192s, "
            '"bar -8", "last chord" or end.'
        ),
    ),
    (
        "1",
        "--leave 'last note'",
        (
            "--leave 'last note' is no place to leave a song: write a time such as 3:12 or 192s, "
            '"bar -8", "last chord" or end.'
        ),
    ),
    (
        "1",
        "--leave 'last chord'",
        (
            "--leave 'last chord': no last chord was heard at the end of 'Old Song': give a "
            "time, or end."
        ),
    ),
    (
        "1",
        "--leave -5s",
        (
            "--leave '-5s' is no place to leave a song: write a time such as 3:12 or 192s, \"bar "
            '-8", "last chord" or end.'
        ),
    ),
    (
        "1",
        "--enter ''",
        (
            "--enter '' is no place to enter a song: write a time such as 0:08 or 8s, \"bar 9\" or "
            '"first note - 2 bars".'
        ),
    ),
    (
        "1",
        "--enter now",
        (
            "--enter 'now' is no place to enter a song: write a time such as 0:08 or 8s, \"bar 9\" "
            'or "first note - 2 bars".'
        ),
    ),
    (
        "1",
        "--enter 'bar 0'",
        (
            "--enter 'bar 0': bars of the new song are counted from its first one, which is \"bar "
            '1"; write "bar 9".'
        ),
    ),
    (
        "1",
        "--enter 'bar -2'",
        (
            "--enter 'bar -2': bars of the new song are counted from its first one, which is "
            '"bar 1"; write "bar 9".'
        ),
    ),
    (
        "1",
        "--enter 'bar 999'",
        (
            "--enter 'bar 999' of 'New Song' is at 41:35.1, less than a bar before the song is "
            "over: take an earlier place."
        ),
    ),
    (
        "1",
        "--enter 'first note - 40 bars'",
        (
            "--enter 'first note - 40 bars' of 'New Song' is 94.9 s before the song begins: take "
            "a later place."
        ),
    ),
    (
        "1",
        "--enter 5:00",
        (
            "--enter '5:00' of 'New Song' is at 5:00.1, less than a bar before the song is over: "
            "take an earlier place."
        ),
    ),
    (
        "1",
        "--enter 'first note + 2 bars'",
        (
            "--enter 'first note + 2 bars' is no place to enter a song: write a time such as "
            '0:08 or 8s, "bar 9" or "first note - 2 bars".'
        ),
    ),
    (
        "1",
        "--enter end",
        (
            "--enter 'end' is no place to enter a song: write a time such as 0:08 or 8s, \"bar 9\" "
            'or "first note - 2 bars".'
        ),
    ),
    (
        "1",
        "--enter 1:75",
        "--enter '1:75' is no time: minutes and seconds go up to 59, as in 3:12.",
    ),
    (
        "1",
        "--exactly",
        "--exactly keeps a place where you want it: say which with --leave or --enter.",
    ),
    (
        "1",
        "--ramp 2",
        (
            "--ramp 2: the tempo of 'pad in the new key' has no ramp; take a recipe with one, "
            "such as --recipe 'tempo ramp'."
        ),
    ),
    (
        "2",
        "--ramp 4",
        (
            "--ramp 4: the tempo of 'groove in first' has no ramp; take a recipe with one, such "
            "as --recipe 'tempo ramp'."
        ),
    ),
    (
        "7",
        "--ramp 2",
        (
            "--ramp 2: the tempo of 'breakdown and rebuild' has no ramp; take a recipe with one, "
            "such as --recipe 'tempo ramp'."
        ),
    ),
    ("3", "--ramp 0", "--ramp 0: a ramp takes a bar at least."),
    ("3", "--ramp -1", "--ramp -1: a ramp takes a bar at least."),
    (
        "3",
        "--ramp 9 --bars 8",
        "--ramp 9 is longer than the bridge of 8 bars: take fewer, or more with --bars.",
    ),
    ("3", "--ramp 1 --bars 65", "--bars 65 is outside 1 to 64 bars: keep within."),
    ("3", "--ramp 90", "--ramp 90 is more than 64 bars: take fewer."),
    (
        "1",
        "--pad quire",
        (
            "--pad 'quire' is none of warm, glass, choir and no file: take one of these, or name "
            "a file."
        ),
    ),
    (
        "1",
        "--pad ''",
        ("--pad '' is none of warm, glass, choir and no file: take one of these, or name a file."),
    ),
    (
        "1",
        "--pad nowhere.wav",
        (
            "--pad 'nowhere.wav' is none of warm, glass, choir and no file: take one of these, "
            "or name a file."
        ),
    ),
    (
        "2",
        "--pad choir",
        (
            "--pad 'choir': 'groove in first' has no pad; take a recipe with one, such as "
            "--recipe 'pad in the new key'."
        ),
    ),
    (
        "4",
        "--pad warm",
        (
            "--pad 'warm': 'drum break' has no pad; take a recipe with one, such as --recipe "
            "'pad in the new key'."
        ),
    ),
    (
        "3",
        "--pad organ",
        (
            "--pad 'organ': 'tempo ramp' has no pad; take a recipe with one, such as --recipe "
            "'pad in the new key'."
        ),
    ),
    (
        "1",
        "--pad /",
        ("--pad '/' is none of warm, glass, choir and no file: take one of these, or name a file."),
    ),
    ("1", "--chords ''", "--chords is empty: write some, such as 'Em C Db C7'."),
    ("1", "--chords '| |'", "--chords is empty: write some, such as 'Em C Db C7'."),
    (
        "1",
        "--chords 'H'",
        (
            "--chords: 'H' is no chord that can be played here: Segue plays major, minor and "
            "seventh chords, such as C, Em and C7."
        ),
    ),
    (
        "1",
        "--chords 'Em Cmaj7'",
        (
            "--chords: 'Cmaj7' is no chord that can be played here: Segue plays major, minor and "
            "seventh chords, such as C, Em and C7."
        ),
    ),
    (
        "1",
        "--chords 'Em7'",
        (
            "--chords: 'Em7' is no chord that can be played here: Segue plays major, minor and "
            "seventh chords, such as C, Em and C7."
        ),
    ),
    (
        "1",
        "--chords 'em'",
        (
            "--chords: 'em' is no chord that can be played here: Segue plays major, minor and "
            "seventh chords, such as C, Em and C7."
        ),
    ),
    (
        "1",
        "--chords 'Csus4'",
        (
            "--chords: 'Csus4' is no chord that can be played here: Segue plays major, minor and "
            "seventh chords, such as C, Em and C7."
        ),
    ),
    (
        "1",
        "--chords 'C/E'",
        (
            "--chords: 'C/E' is no chord that can be played here: Segue plays major, minor and "
            "seventh chords, such as C, Em and C7."
        ),
    ),
    (
        "1",
        "--chords 'i iv V'",
        (
            "--chords: 'i' is no chord that can be played here: Segue plays major, minor and "
            "seventh chords, such as C, Em and C7."
        ),
    ),
    (
        "1",
        "--chords 'Edim'",
        (
            "--chords: 'Edim' is no chord that can be played here: Segue plays major, minor and "
            "seventh chords, such as C, Em and C7."
        ),
    ),
    (
        "1",
        "--chords 'C9'",
        (
            "--chords: 'C9' is no chord that can be played here: Segue plays major, minor and "
            "seventh chords, such as C, Em and C7."
        ),
    ),
    (
        "1",
        "--chords 'Xm C'",
        (
            "--chords: 'Xm' is no chord that can be played here: Segue plays major, minor and "
            "seventh chords, such as C, Em and C7."
        ),
    ),
    (
        "1",
        "--chords 'Em' --cadence plagal",
        (
            "--cadence says the last of Segue's own chords, and --chords says all of them: give "
            "one of the two."
        ),
    ),
    ("1", f"--chords '{65 * 'C '}'", "--chords: 65 chords are more than 64: take fewer."),
    (
        "1",
        "--bars 2 --chords 'C D C D C D C D C'",
        (
            "--chords: 9 chords in 8 beats are more than one a beat: take fewer, or more bars "
            "with --bars."
        ),
    ),
    (
        "1",
        "--chords 'N.C.'",
        (
            "--chords: 'N.C.' is no chord that can be played here: Segue plays major, minor and "
            "seventh chords, such as C, Em and C7."
        ),
    ),
    (
        "1",
        "--cadence ''",
        (
            "--cadence '' is none of dominant, subdominant, flat seventh, any, plagal, "
            "authentic: take one of these."
        ),
    ),
    (
        "1",
        "--cadence amen",
        (
            "--cadence 'amen' is none of dominant, subdominant, flat seventh, any, plagal, "
            "authentic: take one of these."
        ),
    ),
    (
        "1",
        "--cadence dominent",
        (
            "--cadence 'dominent' is none of dominant, subdominant, flat seventh, any, plagal, "
            "authentic: take one of these. Did you mean 'dominant'?"
        ),
    ),
    (
        "1",
        "--cadence plagual",
        (
            "--cadence 'plagual' is none of dominant, subdominant, flat seventh, any, plagal, "
            "authentic: take one of these. Did you mean 'plagal'?"
        ),
    ),
    (
        "8",
        "--cadence dominant",
        (
            "--cadence 'dominant': 'drone on the common tone' plays no chords that lead "
            "anywhere; take a recipe that does, such as --recipe 'turnaround'."
        ),
    ),
    (
        "5",
        "--cadence any",
        (
            "--cadence 'any': 'throw and land' plays no chords that lead anywhere; take a recipe "
            "that does, such as --recipe 'turnaround'."
        ),
    ),
    (
        "1",
        "--cadence VI",
        (
            "--cadence 'VI' is none of dominant, subdominant, flat seventh, any, plagal, "
            "authentic: take one of these."
        ),
    ),
    (
        "1",
        "--without ''",
        (
            "--without '': 'pad in the new key' has no such layer, but old song, pad, touch of "
            "keys, new song: take one of these."
        ),
    ),
    (
        "1",
        "--without trumpets",
        (
            "--without 'trumpets': 'pad in the new key' has no such layer, but old song, pad, "
            "touch of keys, new song: take one of these."
        ),
    ),
    (
        "1",
        "--without drums",
        (
            "--without 'drums': 'pad in the new key' has no such layer, but old song, pad, touch "
            "of keys, new song: take one of these."
        ),
    ),
    (
        "1",
        "--without 'old song'",
        (
            "--without 'old song': 'old song' is the song itself, which stays; leave it earlier "
            "with --leave, or enter later with --enter."
        ),
    ),
    (
        "1",
        "--without 'new song'",
        (
            "--without 'new song': 'new song' is the song itself, which stays; leave it earlier "
            "with --leave, or enter later with --enter."
        ),
    ),
    (
        "2",
        "--without pads",
        (
            "--without 'pads': 'groove in first' has no such layer, but old song, new drums, "
            "bass, chords, new song: take one of these."
        ),
    ),
    (
        "1",
        "--without everything",
        (
            "--without 'everything': 'pad in the new key' has no such layer, but old song, pad, "
            "touch of keys, new song: take one of these."
        ),
    ),
    (
        "2",
        "--without bas",
        (
            "--without 'bas': 'groove in first' has no such layer, but old song, new drums, "
            "bass, chords, new song: take one of these. Did you mean 'bass'?"
        ),
    ),
    (
        "3",
        "--without voice",
        (
            "--without 'voice': 'tempo ramp' has no such layer, but old drums, old band without "
            "drums, chords, bass, new song: take one of these."
        ),
    ),
    (
        "1",
        "--without riser",
        (
            "--without 'riser': 'pad in the new key' has no such layer, but old song, pad, touch "
            "of keys, new song: take one of these."
        ),
    ),
    ("1", "--level ''", '--level \'\' is not a layer and decibels: write "pad -3" or "bridge +2".'),
    (
        "1",
        "--level pad",
        '--level \'pad\' is not a layer and decibels: write "pad -3" or "bridge +2".',
    ),
    (
        "1",
        "--level -3",
        '--level \'-3\' is not a layer and decibels: write "pad -3" or "bridge +2".',
    ),
    (
        "1",
        "--level 'pad loud'",
        '--level \'pad loud\' is not a layer and decibels: write "pad -3" or "bridge +2".',
    ),
    ("1", "--level 'pad 13'", "--level 'pad +13' is outside -40 to +12 dB: keep within."),
    ("1", "--level 'pad -41'", "--level 'pad -41' is outside -40 to +12 dB: keep within."),
    (
        "1",
        "--level 'trumpets -3'",
        (
            "--level 'trumpets': 'pad in the new key' has no such layer, but old song, pad, "
            "touch of keys, new song: take one of these."
        ),
    ),
    ("1", "--level 'bridge +13'", "--level 'bridge +13' is outside -40 to +12 dB: keep within."),
    (
        "1",
        "--level 'pad 8' --level 'pad 8'",
        (
            "--level 'pad +8' would bring 'pad' to +16 dB: keep within -40 to +12 dB, or take it "
            "out with --without 'pad'."
        ),
    ),
    (
        "1",
        "--level 'pad -3x'",
        '--level \'pad -3x\' is not a layer and decibels: write "pad -3" or "bridge +2".',
    ),
    (
        "1",
        "--level 'pad nan'",
        '--level \'pad nan\' is not a layer and decibels: write "pad -3" or "bridge +2".',
    ),
    (
        "1",
        "--level 'pad 1e3'",
        '--level \'pad 1e3\' is not a layer and decibels: write "pad -3" or "bridge +2".',
    ),
    (
        "1",
        "--level 'pad 3,5'",
        '--level \'pad 3,5\' is not a layer and decibels: write "pad -3" or "bridge +2".',
    ),
    ("1", "--recipe ''", "--recipe '' is not a recipe: take one that 'segue recipes' lists."),
    (
        "1",
        "--recipe 'pad in the old key'",
        (
            "--recipe 'pad in the old key' is not a recipe: take one that 'segue recipes' lists. "
            "Did you mean 'pad in the new key'?"
        ),
    ),
    (
        "1",
        "--recipe turnarond",
        (
            "--recipe 'turnarond' is not a recipe: take one that 'segue recipes' lists. "
            "Did you mean 'turnaround'?"
        ),
    ),
    ("1", "--recipe 7", "--recipe '7' is not a recipe: take one that 'segue recipes' lists."),
    (
        "1",
        "--recipe 'tempo ramp' --pad choir --bars 0",
        "--bars 0 is outside 1 to 64 bars: keep within.",
    ),
    (
        "1",
        "--recipe 'drum break' --without pad",
        (
            "--without 'pad': 'drum break' has no such layer, but old song, own drums, fill, "
            "bass, new song: take one of these."
        ),
    ),
    (
        "3",
        "--ramp-after 2",
        (
            "--ramp-after 2 says where a ramp begins: say with --ramp over how many bars the tempo "
            "moves."
        ),
    ),
    (
        "3",
        "--ramp 4 --ramp-after 3 --bars 6",
        ("--ramp 4 after 3 is longer than the bridge of 6 bars: take fewer, or more with --bars."),
    ),
    ("3", "--ramp 4 --ramp-after -1", "--ramp-after -1: keep within 0 to 64 bars."),
    ("3", "--ramp 64", "--bars 65 is outside 1 to 64 bars: keep within."),
    (
        "1b",
        "--bars 1",
        (
            "--bars 1: 'pad in the new key' needs at least 2; take more, or another recipe with "
            "--recipe."
        ),
    ),
    (
        "2",
        "--chords 'Em C' --cadence VI",
        (
            "--cadence says the last of Segue's own chords, and --chords says all of them: give "
            "one of the two."
        ),
    ),
    (
        "6",
        "--pad warm --level 'roll'",
        '--level \'roll\' is not a layer and decibels: write "pad -3" or "bridge +2".',
    ),
]
"""An option, what is said to `segue change`, and what comes back."""
FIELDS = {"bars": "n_bars", "ramp": "ramp_bars", "ramp-after": "held_bars"}


@pytest.fixture(scope="module", name="document")
def _document(shelf):
    return document_of(shelf)


def changes_of(text):
    """As the command line reads it."""
    given, words = {"levels": (), "without": ()}, iter(shlex.split(text))
    for word in words:
        option = word.removeprefix("--")
        if option == "exactly":
            given["exactly"] = True
        elif option == "level":
            given["levels"] += (level_asked(next(words)),)
        elif option == "without":
            given["without"] += (next(words),)
        elif option in FIELDS:
            given[FIELDS[option]] = int(next(words))
        else:
            given[option] = next(words)
    return Changes(**given)


@pytest.mark.parametrize(("option", "words", "sentence"), WRONG)
def test_what_cannot_be_done_is_one_sentence(document, option, words, sentence):
    with pytest.raises(SegueError) as caught:
        changed_attempt(Path("run"), document, option, changes_of(words))
    assert str(caught.value) == sentence


def test_there_are_a_hundred_of_them():
    assert len({(option, words) for option, words, _ in WRONG}) >= 100
