"""Synthetic ways across with known truth: simple but musical, seeded.

Songs are chords with overtones over a bass and a drum kit of noise bursts; the
interlude is a pad on the way to the new key. Everything is placed by the plan's
own ruler, so a candidate without damage is on the beat to the frame.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np

from segue.analysis.facts import (
    EdgeFacts,
    Ending,
    FirstNote,
    KeyFact,
    LevelFact,
    Opening,
    PulseFact,
)
from segue.audio.clip import Clip
from segue.music.key import Key, parse_key
from segue.music.tempo import TempoCurve, TempoSpan
from segue.plan.layer import MapPoint, PadLayer, SongLayer, Voicing
from segue.plan.plan import BarLine, ClickHit, Plan
from segue.render.candidate import Candidate
from tests.score.synthetic_band import RATE_HZ, add, chord_midi, play_band, play_chord, play_drums

LEAD_IN_S = 0.5
EXIT_BEAT = 16
SONG_BEATS = 24
SIDE_GAIN = 0.55
"""From the level of the played notes to that of the music; peaks stay below full scale."""
PEAK = 0.85
BRIDGE_DRUMS = 0.7
"""Of the bands' own drums: a bridge that carries the beat is softer than the songs, and heard."""


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """What to make; the defaults are a sane segue a semitone up and 28 BPM down."""

    key_from: Key = field(default_factory=lambda: parse_key("E minor"))
    key_to: Key = field(default_factory=lambda: parse_key("F minor"))
    bpm_from: float = 124.0
    bpm_to: float = 96.0
    pad_key: Key | None = None
    sounding_key_to: Key | None = None
    interlude_beats: int = 16
    pad_drums: bool = True
    pad_start: str = "new key"
    has_cadence: bool = True
    ramp_beats: int = 12
    late_s: float = 0.0
    incoming_shift_beats: int = 0
    incoming_gain_db: float = 0.0
    outgoing_overlap_beats: int = 0
    click_leak: float = 0.0
    clip_at: float = 1.0
    hole_s: float = 0.0
    singer_beat: float | None = 36.0
    seed: int = 7

    @property
    def entry_beat(self) -> int:
        return EXIT_BEAT + self.interlude_beats

    @property
    def end_beat(self) -> int:
        return self.entry_beat + SONG_BEATS

    @property
    def pad(self) -> bool:
        return self.interlude_beats > 0


def pad_voicings(recipe):
    key = recipe.pad_key or recipe.key_to
    tonic = key.mode
    bars = range(EXIT_BEAT, recipe.entry_beat, 4)
    chords = [(0, tonic) if n % 2 == 0 else (5, tonic) for n in range(len(bars))]
    chords[-1] = (7, "major") if recipe.has_cadence else (0, tonic)
    if recipe.pad_start == "pivot":  # the old tonic, then the new dominant
        chords[:2] = [
            ((recipe.key_from.tonic - key.tonic) % 12, recipe.key_from.mode),
            (7, "major"),
        ]
    return tuple(
        Voicing(
            start_beat=b,
            end_beat=b + 4,
            notes_midi=tuple(chord_midi((key.tonic + d) % 12, q)),
            symbol="",
        )
        for b, (d, q) in zip(bars, chords, strict=True)
    )


def plan_of(recipe):
    hold = EXIT_BEAT
    ramp = min(recipe.ramp_beats, recipe.interlude_beats)
    rest = recipe.end_beat - hold - ramp
    spans = [TempoSpan(n_beats=hold, start_bpm=recipe.bpm_from, end_bpm=recipe.bpm_from)]
    if ramp:
        spans.append(
            TempoSpan(
                n_beats=ramp, start_bpm=recipe.bpm_from, end_bpm=recipe.bpm_to, law="geometric"
            )
        )
    spans.append(TempoSpan(n_beats=rest, start_bpm=recipe.bpm_to, end_bpm=recipe.bpm_to))
    sections = ["outgoing"] * 4 + ["interlude"] * (recipe.interlude_beats // 4) + ["incoming"] * 6
    sides = (
        ("outgoing", 0.0, EXIT_BEAT + recipe.outgoing_overlap_beats),
        ("incoming", recipe.entry_beat, recipe.end_beat),
    )
    layers = tuple(
        SongLayer(
            name=side,
            song=side,
            start_beat=start,
            end_beat=end,
            time_map=(
                MapPoint(beat=start, source_s=10.0),
                MapPoint(beat=end, source_s=10.0 + end - start),
            ),
        )
        for side, start, end in sides
    )
    pad = (PadLayer(name="pad", voicings=pad_voicings(recipe)),) if recipe.pad else ()
    return Plan(
        recipe="synthetic",
        family="pad",
        why="Known truth.",
        tempo=TempoCurve(spans=tuple(spans)),
        lead_in_s=LEAD_IN_S,
        exit_beat=EXIT_BEAT,
        entry_beat=recipe.entry_beat,
        end_beat=recipe.end_beat,
        singer_beat=recipe.singer_beat,
        key_from=recipe.key_from,
        key_to=recipe.key_to,
        tempo_octave=1.0,
        bar_lines=tuple(
            BarLine(beat=4.0 * i, number=i + 1, section=section, metre=4)
            for i, section in enumerate(sections)
        ),
        layers=layers + pad,
        click=tuple(
            ClickHit(beat=b, kind="bar" if b % 4 == 0 else "beat")
            for b in range(EXIT_BEAT, recipe.entry_beat + 8)
        ),
        cue=(),
        target_lufs=-16.0,
        outgoing_gain_db=0.0,
        incoming_gain_db=0.0,
        key_from_tuning_cents=0.0,
        key_to_tuning_cents=0.0,
        seed=recipe.seed,
    )


@cache
def make_candidate(recipe: Recipe, plan: Plan | None = None) -> Candidate:
    """Render a recipe, by its own plan or by a changed one."""
    plan, rng = plan or plan_of(recipe), np.random.default_rng(recipe.seed)
    n_frames = round(plan.duration_s * RATE_HZ)
    buses = {side: np.zeros(n_frames) for side in ("outgoing", "interlude", "incoming")}
    last = EXIT_BEAT + recipe.outgoing_overlap_beats
    play_band(buses["outgoing"], recipe.key_from, plan.seconds_at, range(last), rng)
    if recipe.pad:
        for voicing in plan.voicings:
            ends = plan.seconds_at(voicing.start_beat), plan.seconds_at(voicing.end_beat)
            play_chord(buses["interlude"], voicing.notes_midi, *ends, 0.09, attack_s=0.15)
    if recipe.pad and recipe.pad_drums:
        for beat in range(EXIT_BEAT, recipe.entry_beat):
            span_s = plan.seconds_at(beat), plan.seconds_at(beat + 1)
            play_drums(buses["interlude"], beat % 4, span_s, rng, gain=BRIDGE_DRUMS)
    key = recipe.sounding_key_to or recipe.key_to
    phase = recipe.entry_beat - recipe.incoming_shift_beats
    late = recipe.late_s
    new_beats = range(recipe.entry_beat, recipe.end_beat)
    play_band(
        buses["incoming"],
        key,
        lambda b: plan.seconds_at(b) + late,
        new_beats,
        rng,
        phase=phase,
    )
    buses["incoming"] *= 10 ** (recipe.incoming_gain_db / 20)
    if recipe.hole_s:
        middle = plan.seconds_at((EXIT_BEAT + recipe.entry_beat) / 2)
        hole = slice(round(middle * RATE_HZ), round((middle + recipe.hole_s) * RATE_HZ))
        for bus in buses.values():
            bus[hole] = 0.0
    click = np.zeros(n_frames)
    t = np.arange(int(0.02 * RATE_HZ)) / RATE_HZ
    for hit in plan.click:
        hz = 1500.0 if hit.kind == "bar" else 1000.0
        add(click, 0.5 * np.sin(2 * np.pi * hz * t) * np.exp(-t * 150), plan.seconds_at(hit.beat))
    gain = min(SIDE_GAIN, PEAK / max(np.abs(sum(buses.values())).max(), 1e-9))
    music = gain * sum(buses.values())
    ceiling = recipe.clip_at * np.abs(music).max()
    music = np.clip(music, -ceiling, ceiling) + recipe.click_leak * click
    return Candidate(
        plan=plan,
        music=stereo(music),
        click=mono(click),
        cue=mono(np.zeros(n_frames)),
        **{side: stereo(bus * gain) for side, bus in buses.items()},
    )


def stereo(sound):
    return Clip(samples=np.stack([sound, sound], axis=1).astype(np.float32), rate_hz=RATE_HZ)


def mono(sound):
    return Clip(samples=sound[:, np.newaxis].astype(np.float32), rate_hz=RATE_HZ)


def facts_of(recipe: Recipe) -> tuple[EdgeFacts, EdgeFacts]:
    """The facts that would lead to a recipe."""

    def one(edge, key, bpm, **more):
        beats = tuple(60.0 / bpm * np.arange(64))
        return EdgeFacts(
            file=f"{edge}.wav",
            title=edge,
            edge=edge,
            duration_s=180.0,
            edge_start_s=0.0,
            edge_end_s=45.0,
            key=KeyFact(key=key, confidence=1.0, source="given"),
            tuning_cents=0.0,
            pulse=PulseFact(
                tempo_bpm=bpm,
                tempo_alternatives_bpm=(),
                beats_s=beats,
                downbeats_s=beats[::4],
                metre=4,
                confidence=1.0,
                downbeat_confidence=1.0,
                residual_ms=0.0,
            ),
            level=LevelFact(loudness_lufs=-16.0, true_peak_dbtp=-1.0),
            **more,
        )

    ending = Ending(kind="keeps going", confidence=1.0, last_hit_s=44.0, sound_end_s=45.0)
    opening = Opening(kind="on the beat", confidence=1.0, sound_start_s=0.0, first_downbeat_s=0.0)
    return (
        one("end", recipe.key_from, recipe.bpm_from, ending=ending),
        one(
            "start",
            recipe.key_to,
            recipe.bpm_to,
            opening=opening,
            first_note=FirstNote(midi=60.0, time_s=2.5),
        ),
    )


def with_music(candidate: Candidate, sound) -> Candidate:
    """The candidate with all sides silent but an interlude of this sound."""
    silence = stereo(np.zeros(candidate.music.n_frames))
    return replace(
        candidate,
        music=stereo(sound),
        outgoing=silence,
        incoming=silence,
        interlude=stereo(sound),
    )


def mixed_anew(candidate: Candidate, **sides) -> Candidate:
    """The candidate with other sides, shape (n_frames, 2), and their sum as its music."""
    clips = {
        name: Clip(samples=sound.astype(np.float32), rate_hz=RATE_HZ)
        for name, sound in sides.items()
    }
    changed = replace(candidate, **clips)
    music = sum(getattr(changed, name).samples for name in ("outgoing", "interlude", "incoming"))
    return replace(changed, music=Clip(samples=music.astype(np.float32), rate_hz=RATE_HZ))


def scaled(candidate: Candidate, gain: float) -> Candidate:
    """The candidate with all buses turned up or down."""
    buses = ("music", "outgoing", "interlude", "incoming", "click", "cue")
    return replace(
        candidate,
        **{
            name: Clip(
                samples=getattr(candidate, name).samples * np.float32(gain),
                rate_hz=candidate.music.rate_hz,
            )
            for name in buses
        },
    )
