"""Phrases, loops and bars of a made-up band whose form is known."""

from dataclasses import replace
from itertools import pairwise, product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from segue.analysis.facts import Ending, Opening, PulseFact
from segue.analysis.hear import hear_structure
from segue.analysis.phrases import likeliest_places, place_chances
from segue.audio.clip import Clip, SongEdge, Stem

RATE_HZ = 22_050
BEAT_S = 0.5
BAR_S = 4 * BEAT_S
N_BARS = 20
CHORDS = ((0, 4, 7), (9, 12, 16), (5, 9, 12), (7, 11, 14))


def tone(semitones, length_s):
    time_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    hertz = 220.0 * 2 ** (semitones / 12)
    return sum(np.sin(2 * np.pi * hertz * k * time_s) / k for k in (1, 2, 3)) * np.exp(-time_s / 2)


def band(phase, *, kit_from, kit_to=N_BARS, n_bars=N_BARS):
    """A chord a bar in rounds of four that begin on `phase`, with a kit for some of the bars."""
    rng = np.random.default_rng(1)
    mix = np.zeros(round(n_bars * BAR_S * RATE_HZ))
    kit, bass = np.zeros_like(mix), np.zeros_like(mix)
    for bar in range(n_bars):
        at = round(bar * BAR_S * RATE_HZ)
        chord = CHORDS[(bar - phase) % 4]
        for note in chord:
            piece = tone(note, BAR_S)
            mix[at : at + len(piece)] += 0.05 * piece
        piece = tone(chord[0] - 24, BAR_S)
        bass[at : at + len(piece)] += 0.1 * piece
        if kit_from <= bar < kit_to:
            for beat in range(8):
                place = at + round(beat * BEAT_S / 2 * RATE_HZ)
                hit = rng.standard_normal(1500) * np.exp(-np.arange(1500) / 400)
                kit[place : place + 1500] += 0.2 * hit[: len(kit) - place]
    return mix, bass, kit


def edge_of(parts, roles, edge="start"):
    stems = []
    for part, role in zip(parts, roles, strict=True):
        samples = np.stack([part, part], axis=1).astype(np.float32)
        clip = Clip(samples=samples, rate_hz=RATE_HZ)
        stems.append(Stem(role=role, file=f"{role}.wav", clip=clip))
    return SongEdge(
        path=Path("song"), title="song", edge=edge, stems=tuple(stems), duration_s=N_BARS * BAR_S
    )


def pulse():
    beats_s = tuple(BEAT_S * beat for beat in range(4 * N_BARS))
    return PulseFact(
        tempo_bpm=60 / BEAT_S,
        tempo_alternatives_bpm=(),
        beats_s=beats_s,
        downbeats_s=beats_s[::4],
        metre=4,
        confidence=0.9,
        downbeat_confidence=0.9,
        residual_ms=1.0,
    )


OPENING = Opening(kind="on the beat", confidence=0.9, sound_start_s=0.0, first_downbeat_s=0.0)
ENDING = Ending(
    kind="keeps going", confidence=0.9, last_hit_s=N_BARS * BAR_S - 0.25, sound_end_s=N_BARS * BAR_S
)


@pytest.mark.parametrize("phase", [0, 1, 2, 3])
def test_groups_are_counted_from_where_the_kit_sets_in(phase):
    parts = band(phase, kit_from=phase + 8, kit_to=phase + 16)
    built = hear_structure(edge_of([sum(parts)], ["mix"]), pulse(), OPENING)
    assert {round(t / BAR_S) % 4 for t in built.phrases.starts_s} == {phase}
    assert (phase + 8) * BAR_S in built.phrases.boundaries_s
    # where the song's first bar says otherwise, less is believed: few songs start off a group
    assert built.phrases.is_sure if phase == 0 else built.phrases.confidence > 0.4


def test_a_kit_that_plays_through_tells_no_group_but_the_songs_edge_does():
    built = hear_structure(edge_of([sum(band(0, kit_from=0))], ["mix"]), pulse(), OPENING)
    assert [t / BAR_S for t in built.phrases.starts_s] == pytest.approx([0, 4, 8, 12, 16])
    assert built.phrases.boundaries_s == ()


@given(
    places=st.lists(st.sampled_from([4, 4, 4, 2, 3]), min_size=2, max_size=6),
    clear=st.floats(12.0, 16.0),
)
def test_groups_of_any_length_up_to_four_are_followed_where_their_starts_are_clear(places, clear):
    odds = np.zeros((sum(places), 4))
    starts = np.cumsum([0, *places[:-1]])
    odds[starts, 0] = clear
    found = likeliest_places(odds, anew=-4.0)
    assert np.flatnonzero(found == 0).tolist() == starts.tolist()
    chances = place_chances(odds, anew=-4.0)
    assert chances.sum(axis=1) == pytest.approx(1.0)
    assert np.all(chances[starts, 0] > 0.9)


@given(seed=st.integers(0, 10_000), anew=st.floats(-6.0, 0.0))
def test_chances_of_places_are_those_of_all_ways_counted_one_by_one(seed, anew):
    odds = np.random.default_rng(seed).normal(0.0, 2.0, (5, 4))
    ways = []
    for places in product(range(4), repeat=5):
        steps = list(pairwise(places))
        if all(after in (0, (before + 1) % 4) for before, after in steps):
            is_anew = [after == 0 and before != 3 for before, after in steps]
            ways.append((places, sum(odds[range(5), places]) + anew * sum(is_anew)))
    weights = np.exp([weight for _, weight in ways])
    by_hand = np.zeros((5, 4))
    for (places, _), weight in zip(ways, weights, strict=True):
        by_hand[range(5), places] += weight / weights.sum()
    assert place_chances(odds, anew=anew) == pytest.approx(by_hand)
    best = max(ways, key=lambda way: way[1])[0]
    assert tuple(likeliest_places(odds, anew=anew)) == best


def test_without_any_change_no_group_is_sure():
    mix = np.tile(tone(0, BAR_S), N_BARS)
    built = hear_structure(edge_of([mix], ["mix"]), pulse(), ENDING)
    assert not built.phrases.is_sure


def test_phrases_are_no_surer_than_the_bar_lines():
    parts = band(0, kit_from=8)
    unsure = PulseFact(
        **{name: getattr(pulse(), name) for name in PulseFact.__slots__}
        | {"downbeat_confidence": 0.1}
    )
    built = hear_structure(edge_of([sum(parts)], ["mix"]), unsure, OPENING)
    assert built.phrases.confidence <= 0.2


def test_the_best_loop_is_what_the_band_repeats():
    parts = band(0, kit_from=0)
    loops = {loop.n_bars: loop for loop in loops_of(parts)}
    assert set(loops) == {1, 2, 4}
    four = loops[4]
    assert (four.end_s - four.start_s) == pytest.approx(4 * BAR_S)
    assert four.repeats > 0.65  # the band itself loops it
    assert four.seam_db < 4.0  # clean, as real songs have it
    assert four.quality > loops[1].quality  # after one bar another chord comes


def test_a_loop_is_worse_where_it_meets_another_chord():
    loops = {loop.n_bars: loop for loop in loops_of(band(0, kit_from=0))}
    assert loops[4].seam_db < loops[1].seam_db


def loops_of(parts):
    return hear_structure(edge_of([sum(parts)], ["mix"]), pulse(), OPENING).loops


@pytest.mark.parametrize("source", ["stems", "mix", "backing"])
def test_bars_tell_where_the_kit_plays(source):
    mix, bass, kit = band(0, kit_from=8)
    if source == "stems":
        edge = edge_of([mix, bass, kit], ["keys", "bass", "drums"])
    elif source == "mix":
        edge = edge_of([mix + bass + kit], ["mix"])
    else:
        edge = edge_of([bass, mix + kit], ["bass", "other"])
        edge = replace(edge, stems=(edge.stems[0], replace(edge.stems[1], is_backing=True)))
    bars = hear_structure(edge, pulse(), OPENING).bars
    assert len(bars) == N_BARS
    assert {bar.source for bar in bars} == {"mix" if source == "mix" else "stems"}
    without, with_kit = bars[:8], bars[8:]
    assert max(bar.drums for bar in without) < min(bar.drums for bar in with_kit)
    assert np.mean([bar.onsets_a_beat for bar in with_kit]) == pytest.approx(2.0, abs=0.3)
    assert all(bar.bass > 0.5 for bar in bars)
    assert [bar.start_s for bar in bars] == list(pulse().downbeats_s)


def test_bars_have_the_level_of_their_sound():
    # a full-scale sine of 997 Hz in one channel has -3.01 LUFS (EBU Tech 3341, test of the scale)
    time_s = np.arange(round(N_BARS * BAR_S * RATE_HZ)) / RATE_HZ
    sine = 0.1 * np.sin(2 * np.pi * 997 * time_s)
    samples = np.stack([sine, np.zeros_like(sine)], axis=1).astype(np.float32)
    stem = Stem(role="mix", file="m.wav", clip=Clip(samples=samples, rate_hz=RATE_HZ))
    edge = SongEdge(path=Path("s"), title="s", edge="start", stems=(stem,), duration_s=40.0)
    bars = hear_structure(edge, pulse(), OPENING).bars
    assert [bar.level_lufs for bar in bars[1:-1]] == pytest.approx([-23.0] * 18, abs=0.1)


def test_gain_changes_only_the_level():
    parts = sum(band(0, kit_from=8))
    plain = hear_structure(edge_of([parts], ["mix"]), pulse(), OPENING)
    quiet = hear_structure(edge_of([0.1 * parts], ["mix"]), pulse(), OPENING)
    assert quiet.phrases.starts_s == plain.phrases.starts_s
    for soft, loud in zip(quiet.bars, plain.bars, strict=True):
        assert soft.level_lufs == pytest.approx(loud.level_lufs - 20.0, abs=0.01)
        assert soft.drums == pytest.approx(loud.drums, abs=0.01)


def test_without_a_pulse_nothing_is_built():
    free = PulseFact(
        tempo_bpm=100.0, tempo_alternatives_bpm=(), beats_s=(), downbeats_s=(), metre=4,
        confidence=0.0, downbeat_confidence=0.0, residual_ms=0.0,
    )  # fmt: skip
    built = hear_structure(edge_of([sum(band(0, kit_from=8))], ["mix"]), free, OPENING)
    assert built.bars == built.loops == built.phrases.starts_s == ()
