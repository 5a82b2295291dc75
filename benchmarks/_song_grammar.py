"""Songs that nobody wrote: chords that follow one another as they do in analysed songs.

Sections of a few chords, repeated, each chord drawn by what followed the one before in
songs of the same mode; a melody or none. So a net hears more songs than there are.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from benchmarks._song_loops import MODES, melody_over
from benchmarks._song_sketch import Sketch, Sounding, Tone

State = tuple[int, tuple[int, ...], int]
"""Root above the tonic, intervals above the root, bass above the tonic."""
SCALES = {
    "major": ("ionian", "ionian", "ionian", "mixolydian"),
    "minor": ("aeolian", "aeolian", "dorian", "harmonic"),
}
BIGRAM_SHARE = 0.85
HOME_SHARE = 0.45
MINOR_SHARE = 0.42


@dataclass(frozen=True, slots=True, kw_only=True)
class Grammar:
    """How often a chord follows another, and how often each sounds, by mode."""

    follows: dict[tuple[str, State], Counter[State]]
    sounds: dict[str, Counter[State]]


def learned(sketches: Iterable[Sketch]) -> Grammar:
    """The grammar of some songs, where their keys are sure."""
    follows: dict[tuple[str, State], Counter[State]] = defaultdict(Counter)
    sounds: dict[str, Counter[State]] = defaultdict(Counter)
    for sketch in sketches:
        states = [_state(sketch, chord) for chord in sketch.chords]
        for before, after in zip([None, *states], states, strict=False):
            if after is None:
                continue
            mode, state = after
            sounds[mode][state] += 1
            if before and before[0] == mode:
                follows[mode, before[1]][state] += 1
    return Grammar(follows=dict(follows), sounds=dict(sounds))


def _state(sketch: Sketch, chord: Sounding) -> tuple[str, State] | None:
    bar = int(np.searchsorted(sketch.bars, chord.start + 1e-6, side="right")) - 1
    key = sketch.keys[min(max(bar, 0), len(sketch.keys) - 1)]
    if key is None:
        return None
    tonic, mode = key
    return mode, ((chord.root - tonic) % 12, chord.intervals, (chord.bass - tonic) % 12)


def grammar_sketch(number: int, grammar: Grammar, rng: np.random.Generator) -> Sketch:
    """A song of two sections or three, in turns."""
    mode = "minor" if rng.random() < MINOR_SHARE else "major"
    metre = int(rng.choice([4, 4, 4, 4, 4, 4, 3, 2]))
    bpm = float(np.exp(rng.uniform(np.log(66), np.log(160))))
    scale = MODES[str(rng.choice(SCALES[mode]))][1]
    sections = [_section(mode, grammar, metre, rng) for _ in range(int(rng.choice([1, 2, 2, 3])))]
    chords: list[Sounding] = []
    tones: list[Tone] = []
    beat, wanted = 0.0, 110 * bpm / 60
    while beat < wanted:
        section = sections[int(rng.integers(len(sections)))]
        start = len(chords)
        for _ in range(int(rng.choice([1, 2, 2, 4]))):
            for state, length in section:
                chords.append(Sounding(start=beat, stop=beat + length, root=state[0],
                                       intervals=state[1], bass=state[2]))  # fmt: skip
                beat += length
        tones += melody_over(chords[start:], mode, scale, chords[start].start, rng)
    n_beats = round(beat)
    return Sketch(
        name=f"grammar{number}",
        group="grammar",
        beats_s=np.arange(n_beats + 1) * 60 / bpm,
        bars=tuple(range(0, n_beats + 1, metre)),
        chords=tuple(chords),
        keys=((0, mode),) * (n_beats // metre),
        melody=tuple(tones) if rng.random() < 0.7 else (),
    )


def _section(
    mode: str, grammar: Grammar, metre: int, rng: np.random.Generator
) -> list[tuple[State, float]]:
    home = next(s for s, _ in grammar.sounds[mode].most_common() if s[0] == 0)
    state = home if rng.random() < HOME_SHARE else _drawn(grammar.sounds[mode], rng)
    n_bars, section = int(rng.choice([2, 4, 4, 4, 8])), []
    filled = 0.0
    while filled < n_bars:
        share = float(rng.choice([1.0, 1.0, 1.0, 0.5, 2.0])) if metre == 4 else 1.0
        if filled % 1:
            share = 0.5
        share = min(share, n_bars - filled)
        section.append((state, share * metre))
        filled += share
        following = grammar.follows.get((mode, state))
        if following and rng.random() < BIGRAM_SHARE:
            state = _drawn(following, rng)
        else:
            state = _drawn(grammar.sounds[mode], rng)
    return section


def _drawn(counts: Counter[State], rng: np.random.Generator) -> State:
    states = list(counts)
    weights = np.array([counts[state] for state in states], dtype=np.float64)
    return states[int(rng.choice(len(states), p=weights / weights.sum()))]
