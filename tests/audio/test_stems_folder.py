"""Roles by file name; the vocabulary is common practice, no source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.audio.stems_folder import stem_roles

ROLES = {
    "drums.wav": "drums",
    "01_KICK.wav": "drums",
    "Snare-top.wav": "drums",
    "HiHat 2.flac": "drums",
    "bass drum.wav": "drums",
    "BeatLoop.wav": "drums",
    "perc.wav": "drums",
    "OverheadsL.wav": "drums",
    "Bass.wav": "bass",
    "bass guitar.wav": "bass",
    "SynthBass_03.wav": "bass",
    "808.wav": "bass",
    "sub.wav": "bass",
    "bassguitar.wav": "bass",
    "keys.wav": "keys",
    "Rhodes (wet).wav": "keys",
    "epiano.wav": "keys",
    "ORGAN.aif": "keys",
    "GTR1.wav": "guitar",
    "lead guitar.wav": "guitar",
    "acousticGuitar.wav": "guitar",
    "electricguitar.wav": "guitar",
    "synth.wav": "synth",
    "warm pads.wav": "synth",
    "arp.wav": "synth",
    "vocals.wav": "voice",
    "LeadVox.wav": "voice",
    "leadvox.wav": "voice",
    "BACKING VOCALS.mp3": "voice",
    "voice.wav": "voice",
    "lead vocal 2.ogg": "voice",
    "lead.wav": "lead",
    "Lead Synth.wav": "lead",
    "melody.wav": "lead",
    "strings.wav": "other",
    "bassoon.wav": "other",
    "x.wav": "other",
    "07.wav": "other",
    "beatles tribute.wav": "other",
    "mixdown.wav": "mix",
    "Full Mix.wav": "mix",
    "master.wav": "mix",
}


@pytest.mark.parametrize("name", ROLES)
def test_role_of_a_name(name):
    assert stem_roles([name]) == (ROLES[name],)


def test_the_name_of_the_song_counts_only_where_nothing_else_does():
    names = ["Bass Drop - keys.wav", "Bass Drop - Vox.wav", "Bass Drop - 3.wav"]
    assert stem_roles(names) == ("keys", "voice", "bass")
    assert stem_roles(["drums 1.wav", "drums 2.wav"]) == ("drums", "drums")


@given(
    name=st.sampled_from(sorted(ROLES)),
    change=st.sampled_from(
        [str.upper, str.lower, lambda n: f"03 - {n}", lambda n: n.replace(" ", "_")]
    ),
)
def test_case_numbering_and_separators_change_nothing(name, change):
    if change is str.upper or change is str.lower:
        name = name.replace("Loop", " loop").replace("Top", " top")
    assert stem_roles([change(name)]) == stem_roles([name])
