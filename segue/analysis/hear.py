"""All facts of one edge: the analysis stage as a whole."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Final

from segue.analysis.applause import applause_s, silenced
from segue.analysis.bar_facts import bar_facts, best_loops
from segue.analysis.bar_features import bar_features
from segue.analysis.doubts import doubts_about, remarks_on
from segue.analysis.ending import hear_ending
from segue.analysis.facts import (
    EdgeFacts,
    Ending,
    FirstNote,
    KeyFact,
    LevelFact,
    Opening,
    PulseFact,
)
from segue.analysis.first_note import first_note_of, hear_first_note
from segue.analysis.key_heard import hear_harmony
from segue.analysis.opening import hear_opening
from segue.analysis.phrases import hear_phrases
from segue.analysis.pulse import hear_pulse
from segue.analysis.structure_facts import BarFact, LoopFact, PhraseFact
from segue.analysis.tuning import TuningFact, pitched_peaks, pitched_share, settled_tuning
from segue.audio.clip import Clip, Overrides, SongEdge
from segue.audio.loudness import integrated_lufs
from segue.audio.read import died_away
from segue.audio.true_peak import true_peak_dbtp
from segue.errors import text_of

SILENCE_DB: Final = -120.0
"""Level that stands for silence in the facts, below the floor of 16-bit sound."""
STEREO: Final = 2  # channels of what is played, a left and a right
LOUDER_BY_TWO_LU: Final = 10 * math.log10(2)
"""What a second speaker with the same signal adds, ITU-R BS.1770, annex 1."""
# how pitched a sound must be for its tuning to be heard, 0 to 1; by judgement
_HALF_PITCHED: Final = 0.5


def hear_edge(
    edge: SongEdge,
    *,
    overrides: Overrides | None = None,
    lead: Clip | None = None,
    around: tuple[Clip, ...] = (),
) -> EdgeFacts:
    """Hear everything about the edge of a song.

    Parameters
    ----------
    overrides : Overrides, optional
        What the musician says; goes over the song's own notes.
    lead : Clip, optional
        The sung or lead part, where the song itself does not bring it as a stem.
    around : tuple of Clip, optional
        Other stretches of the song, by which its key is surer.

    Returns
    -------
    EdgeFacts
        Times in seconds from the start of the file.
    """
    said = (overrides or Overrides()).over(edge.notes)
    border_s = applause_s(edge)
    if border_s is not None:
        edge = silenced(edge, border_s)
    away_s = _away_s(edge) if edge.edge == "end" else None
    if away_s is not None:
        edge = silenced(edge, away_s, fade_s=_AWAY_FADE_S)
    pulse = hear_pulse(
        edge, tempo_bpm=said.tempo_bpm, metre=said.metre, first_downbeat_s=said.first_downbeat_s
    )
    peaks = pitched_peaks(edge)
    pitched = pitched_share(peaks)
    tuning = TuningFact(cents=said.tuning_cents or 0.0, spread_cents=0.0)
    if said.tuning_cents is None and pitched >= _HALF_PITCHED:
        tuning = settled_tuning(peaks)  # drums and speech have no notes to be in tune
    heard_key, edge_chord = hear_harmony(
        edge,
        pulse,
        tuning_cents=tuning.cents,
        pitched=pitched,
        is_tuning_said=said.tuning_cents is not None,
        around=around,
    )
    ending = _ending(edge, pulse, said) if edge.edge == "end" else None
    opening = _opening(edge, pulse, said) if edge.edge == "start" else None
    built = hear_structure(edge, pulse, _join(ending, opening))
    facts = EdgeFacts(
        file=text_of(edge.path),
        title=edge.title,
        edge=edge.edge,
        duration_s=edge.duration_s,
        edge_start_s=edge.start_s,
        edge_end_s=edge.end_s,
        key=(
            heard_key if said.key is None else KeyFact(key=said.key, confidence=1.0, source="given")
        ),
        edge_chord=edge_chord,
        tuning_cents=tuning.cents,
        tuning_spread_cents=tuning.spread_cents,
        pulse=pulse,
        level=_level(edge.mix, edge.n_file_channels),
        ending=ending,
        opening=opening,
        first_note=_first_note(edge, lead, said) if edge.edge == "start" else None,
        applause_s=border_s,
        died_away_s=away_s,
        phrases=built.phrases,
        loops=built.loops,
        bars=built.bars,
    )
    return replace(facts, doubts=(*remarks_on(edge), *doubts_about(facts)))


LONGEST_OUTRO_S: Final = 30.0
"""A last part that lies far under the song for longer is no outro that a room would listen to; the
longest of 120 endings that were labelled by eye lasts 20 s (`benchmarks.edges`)."""
_AWAY_FADE_S: Final = 0.5  # in which what is left of it is taken away; by judgement


def _away_s(edge: SongEdge) -> float | None:
    """Where a song has died away, though it murmurs on for long, in seconds of its file."""
    found = died_away(edge.mix)
    if found is None or found.last_sound_s - found.away_s < LONGEST_OUTRO_S:
        return None
    return edge.start_s + found.away_s


def _join(ending: Ending | None, opening: Opening | None) -> Ending | Opening:
    join = ending or opening
    if join is None:
        raise ValueError("an edge is an end or a start")
    return join


@dataclass(frozen=True, slots=True, kw_only=True)
class Structure:
    """Phrases, loops and bars of an edge; nothing where it has no bars."""

    phrases: PhraseFact = field(default_factory=PhraseFact)
    loops: tuple[LoopFact, ...] = ()
    bars: tuple[BarFact, ...] = ()


def hear_structure(edge: SongEdge, pulse: PulseFact, join: Ending | Opening) -> Structure:
    """How an edge is built.

    Parameters
    ----------
    join : Ending or Opening
        How it ends or starts.
    """
    features = bar_features(edge, pulse)
    if features is None:
        return Structure()
    bars = bar_facts(edge, features)
    return Structure(
        phrases=hear_phrases(features, pulse.downbeat_confidence, join),
        loops=best_loops(features, bars),
        bars=bars,
    )


def _level(mix: Clip, n_file_channels: int) -> LevelFact:
    played_lufs = integrated_lufs(mix)
    return LevelFact(
        loudness_lufs=max(played_lufs, SILENCE_DB),
        true_peak_dbtp=max(true_peak_dbtp(mix), SILENCE_DB),
        file_lufs=_file_lufs(played_lufs, n_file_channels),
    )


def _file_lufs(played_lufs: float, n_file_channels: int) -> float | None:
    """Loudness of the file's own channels: one played by two speakers counts twice.

    The gates move with it; only the absolute gate of -70 LUFS does not, below which no
    music plays.
    """
    if n_file_channels > STEREO:
        return None
    both_lu = LOUDER_BY_TWO_LU if n_file_channels == 1 else 0.0
    return max(played_lufs - both_lu, SILENCE_DB)


def _ending(edge: SongEdge, pulse: PulseFact, said: Overrides) -> Ending:
    heard = hear_ending(edge, pulse)
    if said.ending is None:
        return heard
    fade_s = heard.fade_start_s
    if said.ending == "fade" and fade_s is None:
        fade_s = heard.last_hit_s
    return replace(heard, kind=said.ending, confidence=1.0, fade_start_s=fade_s)


def _opening(edge: SongEdge, pulse: PulseFact, said: Overrides) -> Opening:
    heard = hear_opening(edge, pulse)
    if said.opening is not None or said.first_downbeat_s is not None:
        heard = replace(heard, faded_in_s=None)  # who knows where it starts is believed
    if said.opening is None or said.opening == heard.kind:
        return heard if said.opening is None else replace(heard, confidence=1.0)
    beats = (heard.first_downbeat_s - heard.sound_start_s) / pulse.beat_s
    pickup = beats if said.opening == "pick-up" else 0.0
    return replace(heard, kind=said.opening, confidence=1.0, pickup_beats=pickup)


def _first_note(edge: SongEdge, lead: Clip | None, said: Overrides) -> FirstNote | None:
    heard = hear_first_note(edge) if lead is None else first_note_of(lead)
    if said.first_note_midi is None:
        return heard
    if heard is None:
        return FirstNote(midi=said.first_note_midi, time_s=edge.start_s, confidence=0.0)
    return replace(heard, midi=said.first_note_midi)
