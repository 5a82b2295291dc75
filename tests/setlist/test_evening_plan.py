"""What is known of a join before anything is planned, and of songs that cannot be read."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from segue.setlist.evening_plan import _bare_join, _song, breaks_after
from segue.setlist.set_list import SetSong
from tests.plan.song_facts import end_facts, start_facts


def song(title="One", **fields):
    return SetSong(path=Path(f"{title}.wav"), title=title, **fields)


def edges(*, start=None, end=None, problem=None):
    heard = [x and SimpleNamespace(facts=x) for x in (start, end)]
    return SimpleNamespace(start=heard[0], end=heard[1], problem=problem)


def join(old, new, **fields):
    return _bare_join(2, song(**fields), edges(end=old), song("Two"), edges(start=new))


def test_a_join_has_the_distance_of_its_keys_and_the_ratio_of_its_tempos():
    old, new = end_facts("E minor", bpm=120.0), start_facts("F minor", bpm=90.0)
    told = join(old, new, is_segue=True, talk_s=5.0, changeover_s=7.0)
    assert told.number == 3
    assert told.key_distance > 0.5  # a semitone is about the hardest change there is
    assert told.tempo_ratio == pytest.approx(0.75)
    assert (told.is_segue, told.talk_s, told.changeover_s) == (True, 5.0, 7.0)
    assert join(old, end_facts("E minor")).key_distance == 0.0


@pytest.mark.parametrize("side", ["old", "new"])
def test_of_a_song_without_a_pulse_or_a_key_nothing_is_compared(side):
    facts = {"old": end_facts("E minor"), "new": start_facts("F minor")}
    known = join(**facts)
    assert None not in (known.tempo_ratio, known.key_distance)
    mute = facts[side]
    free = replace(mute, pulse=replace(mute.pulse, confidence=0.0))
    told = join(**{**facts, side: free})
    assert (told.tempo_ratio, told.key_distance) == (None, known.key_distance)
    keyless = replace(mute, key=replace(mute.key, confidence=0.0))
    if not keyless.key.is_known:
        told = join(**{**facts, side: keyless})
        assert (told.tempo_ratio, told.key_distance) == (known.tempo_ratio, None)


def test_a_song_that_cannot_be_read_leaves_its_joins_bare():
    old, new = edges(problem="It is broken."), edges(start=start_facts())
    told = _bare_join(0, song(), old, song("Two"), new)
    assert (told.key_distance, told.tempo_ratio, told.warnings) == (None, None, ())
    assert told.problem == "It is broken."
    assert _bare_join(0, song(), new, song("Two"), old).problem == "It is broken."
    assert _bare_join(0, song(), edges(end=end_facts()), song("Two"), old).tempo_ratio is None


def test_neighbours_a_semitone_apart_are_warned_of_with_the_numbers_of_both():
    told = join(end_facts("E minor"), start_facts("F minor"), is_segue=False)
    (words,), (mends,) = told.warnings, told.mends
    assert "sounds like a mistake" in words
    assert [(mend.kind, mend.song) for mend in mends] == [("between", 3), ("order", 4)]


def test_a_song_is_as_long_as_its_file_or_as_the_set_says():
    facts = end_facts()
    told = _song(4, song(energy=3, voice="Mara"), edges(end=facts))
    assert (told.number, told.length_s, told.energy) == (4, facts.duration_s, 3)
    assert _song(4, song(length_s=200.0), edges(end=facts)).length_s == 200.0
    assert _song(4, song(), edges(problem="broken")).length_s == 0.0


def test_talk_and_changeover_are_breaks_after_a_song():
    found = breaks_after(song(talk_s=20.0, changeover_s=30.0))
    assert (found.talk_s, found.changeover_s) == (20.0, 30.0)
