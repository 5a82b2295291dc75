"""Edges of the demo songs with what is written down of them, for rendering without hearing."""

import json
from dataclasses import dataclass
from functools import cache
from typing import Final

from segue.analysis.facts import (
    EdgeFacts,
    Ending,
    FirstNote,
    KeyFact,
    LevelFact,
    Opening,
    PulseFact,
)
from segue.audio.clip import Edge, SongEdge
from segue.audio.loudness import integrated_lufs
from segue.audio.read import read_song
from segue.audio.true_peak import true_peak_dbtp
from segue.cli.between import demo_folder
from segue.music.key import parse_key
from segue.plan import Plan, plan_segue
from segue.recipes import load_recipes, shelf_folder

EDGE_S: Final = 20.0
RATE_HZ: Final = 22_050


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoSong:
    """An edge and the truth about it."""

    edge: SongEdge
    facts: EdgeFacts


@cache
def truths() -> tuple[dict, ...]:
    """The songs as they are written down, in the order of the set."""
    return tuple(json.loads((demo_folder() / "truth.json").read_text())["songs"])


@cache
def demo_song(number: int, edge: Edge) -> DemoSong:
    """The end or the start of a song of the set, counted from 1."""
    song = truths()[number - 1]
    read = read_song(demo_folder() / song["folder"], edge=edge, edge_s=EDGE_S, rate_hz=RATE_HZ)
    inside = [second for second in song["beats_s"] if read.start_s <= second <= read.end_s]
    mix = read.mix
    facts = EdgeFacts(
        file=song["folder"],
        title=song["title"],
        edge=edge,
        duration_s=read.duration_s,
        edge_start_s=read.start_s,
        edge_end_s=read.end_s,
        key=KeyFact(key=parse_key(song["key"]), confidence=0.9),
        tuning_cents=0.0,
        pulse=PulseFact(
            tempo_bpm=song["tempo_bpm"],
            tempo_alternatives_bpm=(song["tempo_bpm"] / 2, song["tempo_bpm"] * 2),
            beats_s=tuple(inside),
            downbeats_s=tuple(second for second in song["downbeats_s"] if second in inside),
            metre=song["metre"],
            confidence=0.95,
            downbeat_confidence=0.95,
            residual_ms=0.1,
        ),
        level=LevelFact(loudness_lufs=integrated_lufs(mix), true_peak_dbtp=true_peak_dbtp(mix)),
        ending=_ending(song, read) if edge == "end" else None,
        opening=_opening(song) if edge == "start" else None,
        first_note=_first_note(song) if edge == "start" else None,
    )
    return DemoSong(edge=read, facts=facts)


def demo_plan(
    recipe: str,
    first: int,
    *,
    match: bool = False,
    songs: tuple[DemoSong, DemoSong] | None = None,
) -> Plan:
    """A recipe of the shelf between a song of the set and the next, or what was made of them."""
    old, new = songs or (demo_song(first, "end"), demo_song(first + 1, "start"))
    shelf = {one.name: one for one in load_recipes(shelf_folder())}
    return plan_segue(
        shelf[recipe],
        old.facts,
        new.facts,
        outgoing_has_stems=True,
        incoming_has_stems=True,
        match=match,
    )


def _ending(song: dict, read: SongEdge) -> Ending:
    return Ending(
        kind=song["ending"],
        confidence=0.9,
        last_hit_s=song["last_hit_s"],
        sound_end_s=read.end_s,
        fade_start_s=song["fade_start_s"],
    )


def _opening(song: dict) -> Opening:
    free = song["free_intro_beats_s"]
    pickup_s = song["pickup_beats"] * 60 / song["tempo_bpm"]
    starts_s = free[0] if free else song["first_downbeat_s"] - pickup_s
    return Opening(
        kind=song["opening"],
        confidence=0.9,
        sound_start_s=starts_s,
        first_downbeat_s=song["first_downbeat_s"],
        pickup_beats=song["pickup_beats"],
    )


def _first_note(song: dict) -> FirstNote | None:
    note = song["first_note"]
    return FirstNote(midi=float(note["midi"]), time_s=note["time_s"]) if note else None
