"""Facts of invented songs, for planning without sound."""

from dataclasses import replace

from segue.analysis.facts import (
    EdgeFacts,
    Ending,
    FirstNote,
    KeyFact,
    LevelFact,
    Opening,
    PulseFact,
)
from segue.music.key import parse_key


def pulse_of(bpm, *, n_beats, first_beat_s, metre, confidence):
    beats_s = tuple(first_beat_s + 60.0 / bpm * n for n in range(n_beats))
    return PulseFact(
        tempo_bpm=bpm,
        tempo_alternatives_bpm=(bpm / 2, bpm * 2),
        beats_s=beats_s,
        downbeats_s=beats_s[::metre],
        metre=metre,
        confidence=confidence,
        downbeat_confidence=confidence,
        residual_ms=1.0,
    )


def unheard(facts, *, key=True, pulse=True):
    """The same edge as speech or drums: its key, its pulse or both are guesses."""
    if key:
        facts = replace(facts, key=replace(facts.key, confidence=0.1, source="heard"))
    if pulse:
        facts = replace(facts, pulse=replace(facts.pulse, confidence=0.1, source="heard"))
    return facts


def end_facts(
    key="E minor",
    bpm=124.0,
    *,
    kind="keeps going",
    n_bars=16,
    metre=4,
    confidence=0.9,
    loudness_lufs=-14.0,
    last_hit_beats_before_end=0.5,
):
    n_beats, beat_s = n_bars * metre, 60.0 / bpm
    pulse = pulse_of(bpm, n_beats=n_beats, first_beat_s=100.0, metre=metre, confidence=confidence)
    end_s = 100.0 + n_beats * beat_s
    return EdgeFacts(
        file="old.wav",
        title="Old Song",
        edge="end",
        duration_s=end_s,
        edge_start_s=100.0,
        edge_end_s=end_s,
        key=KeyFact(key=parse_key(key), confidence=confidence),
        tuning_cents=0.0,
        pulse=pulse,
        level=LevelFact(loudness_lufs=loudness_lufs, true_peak_dbtp=-1.0),
        ending=Ending(
            kind=kind,
            confidence=0.9,
            last_hit_s=end_s - last_hit_beats_before_end * beat_s,
            sound_end_s=end_s,
            fade_start_s=end_s - 4 * metre * beat_s if kind == "fade" else None,
        ),
    )


def start_facts(
    key="F minor",
    bpm=96.0,
    *,
    kind="on the beat",
    pickup_beats=0.0,
    n_bars=16,
    metre=4,
    confidence=0.9,
    loudness_lufs=-16.0,
    first_note_s=None,
):
    beat_s = 60.0 / bpm
    first_s = 0.1 + pickup_beats * beat_s
    pulse = pulse_of(
        bpm, n_beats=n_bars * metre, first_beat_s=first_s, metre=metre, confidence=confidence
    )
    return EdgeFacts(
        file="new.wav",
        title="New Song",
        edge="start",
        duration_s=200.0,
        edge_start_s=0.0,
        edge_end_s=first_s + n_bars * metre * beat_s,
        key=KeyFact(key=parse_key(key), confidence=confidence),
        tuning_cents=0.0,
        pulse=pulse,
        level=LevelFact(loudness_lufs=loudness_lufs, true_peak_dbtp=-1.0),
        opening=Opening(
            kind=kind,
            confidence=0.9,
            sound_start_s=0.1,
            first_downbeat_s=first_s,
            pickup_beats=pickup_beats,
        ),
        first_note=None if first_note_s is None else FirstNote(midi=65.0, time_s=first_note_s),
    )
