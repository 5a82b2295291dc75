"""Loops of chords as sketches: every rotation of each as often, all modes, a melody or none.

Common practice, no source. A loop has the key of its first chord's name here, wherever an
edge cuts into it.
"""

from typing import Final

import numpy as np

from benchmarks._song_sketch import Sketch, Sounding, Tone

MODES: Final = {
    "ionian": ("major", (0, 2, 4, 5, 7, 9, 11)),
    "mixolydian": ("major", (0, 2, 4, 5, 7, 9, 10)),
    "lydian": ("major", (0, 2, 4, 6, 7, 9, 11)),
    "dorian": ("minor", (0, 2, 3, 5, 7, 9, 10)),
    "aeolian": ("minor", (0, 2, 3, 5, 7, 8, 10)),
    "harmonic": ("minor", (0, 2, 3, 5, 7, 8, 11)),
    "phrygian": ("minor", (0, 1, 3, 5, 7, 8, 10)),
    "blues": ("major", (0, 3, 4, 5, 7, 9, 10)),
}
PENTATONIC: Final = {"major": (0, 2, 4, 7, 9), "minor": (0, 3, 5, 7, 10)}
LOOPS: Final = (
    *(("ionian", chords) for chords in (
        "I V vi IV", "I vi IV V", "I IV V IV", "I IV I V", "I vi ii V", "I iii IV V",
        "I IV vi V", "I V IV V", "I V ii IV", "I ii IV V", "I iii vi IV", "I IV ii V",
        "I V vi iii IV I IV V", "I I IV IV", "I IV", "I V", "I ii", "I vi", "I IV V V",
        "I ii iii IV", "I V IV IV", "I IV I IV V IV I V", "I vi iii V", "I II IV I",
        "I III IV iv", "I I7 IV iv", "I iii IV iv", "I ii V V", "I V vi V", "I III vi IV",
        "I bVII vi IV", "I V/7 vi V", "I V/7 vi I/5 IV I/3 ii V", "I IV/1 I IV/1",
    )),
    *(("mixolydian", chords) for chords in (
        "I bVII IV I", "I I bVII IV", "I bVII", "I bVII IV IV", "I v IV IV", "I IV bVII IV",
        "I bVII bVI bVII", "I bIII IV IV", "I bIII bVII IV", "I v bVII IV", "I v",
        "I bVII ii IV", "I IV bVII I", "I bIII IV I",
    )),
    ("lydian", "I II"), ("lydian", "I II IV I"), ("lydian", "I I II II"),
    *(("dorian", chords) for chords in (
        "i IV", "i IV i IV", "i bIII bVII IV", "i bVII IV IV", "i ii bIII IV", "i v IV v",
        "i bIII IV IV", "i IV bVII bIII", "i bVII IV i",
    )),
    *(("aeolian", chords) for chords in (
        "i bVII bVI bVII", "i bVI bIII bVII", "i bIII bVII bVI", "i iv v i", "i bVII iv i",
        "i bVII", "i bVI", "i iv", "i v", "i bVI bVII i", "i bVII bVI iv", "i iv bVII bIII",
        "i bIII bVI bVII", "i i bVI bVII", "i v bVI iv", "i v bVI bVII", "i bVI iv bVII",
        "i bVI iv v", "i bIII iv bVI", "i bVI bVII bVII", "i i bIII bVII", "i iv bVI bVII",
        "i bVII bIII bVI", "i bVI bVII v",
    )),
    *(("harmonic", chords) for chords in (
        "i iv i V", "i bVII bVI V", "i bVI iv V", "i V", "i iv V i", "i bVI V V",
        "i V bVI iv", "i iv bVI V", "i V i V iv i V V", "i V bVII IV bVI bIII iv V",
    )),
    ("phrygian", "i bII"), ("phrygian", "i bII bIII bII"), ("phrygian", "i i bII bvii"),
    *(("blues", chords) for chords in (
        "I7 IV7 I7 I7 IV7 IV7 I7 I7 V7 IV7 I7 V7", "I7 I7 I7 I7 IV7 IV7 I7 I7 V7 IV7 I7 I7",
        "I7 IV7", "I7 bIII IV7 I7", "I7 bVII7 IV7 I7",
    )),
    ("dorian", "i7 i7 i7 i7 iv7 iv7 i7 i7 bVI7 V7 i7 V7"),
)  # fmt: skip
NUMERALS: Final = {"i": 0, "ii": 2, "iii": 4, "iv": 5, "v": 7, "vi": 9, "vii": 11}
BASS_DEGREES: Final = {"1": 0, "3": 4, "5": 7, "7": 11}
SECTION_LOOPS: Final = 12


def loop_sketch(number: int, rng: np.random.Generator) -> Sketch:
    """A made-up song of one loop, which starts on its rotation `number`.

    Successive numbers go through all rotations of all loops.
    """
    places = [(mode, chords, turn) for mode, chords in LOOPS for turn in range(len(chords.split()))]
    mode_name, names, turn = places[number % len(places)]
    mode, scale = MODES[mode_name]
    loop = [numeral(name) for name in names.split()]
    loop = loop[turn:] + loop[:turn]
    metre = int(rng.choice([4, 4, 4, 4, 4, 4, 4, 3, 2]))
    bpm = float(np.exp(rng.uniform(np.log(66), np.log(160))))
    per_chord = metre * _bars_per_chord(len(loop), metre, bpm, rng)
    n_chords = max(len(loop) * 3, int(np.ceil(110 * bpm / 60 / per_chord)))
    n_chords += -n_chords % len(loop)
    n_beats = round(n_chords * per_chord)
    n_beats += -n_beats % metre
    sevenths = rng.random() < 0.25
    chords = []
    for place in range(int(np.ceil(n_beats / per_chord))):
        root, intervals, bass = loop[place % len(loop)]
        if sevenths and len(intervals) == 3 and intervals != (0, 3, 6):
            intervals = (*intervals, _seventh(root, scale))
        chords.append(Sounding(start=place * per_chord, stop=min((place + 1) * per_chord, n_beats),
                               root=root, intervals=intervals, bass=bass))  # fmt: skip
    n_bars = n_beats // metre
    drift = 1 + (0.006 * np.sin(np.linspace(0, 9, n_beats)) if rng.random() < 0.25 else 0)
    lengths = 60 / bpm * drift * np.ones(n_beats)
    home = len(loop) - turn if turn else 0
    return Sketch(
        name=f"loop{number}",
        group="loop",
        beats_s=np.concatenate([[0.0], np.cumsum(lengths)]),
        bars=tuple(range(0, n_beats + 1, metre)),
        chords=tuple(chords),
        keys=((0, mode),) * n_bars,
        melody=tuple(melody_over(chords, mode, scale, home * per_chord, rng)),
        loop=f"{mode_name}: {names}, from chord {turn + 1}",
    )


def numeral(name: str) -> tuple[int, tuple[int, ...], int]:
    """Root, intervals and bass above the tonic: capitals major, `b` lowers, `7` adds one."""
    bare, _, below = name.partition("/")
    flat = bare.startswith("b")
    has_seventh = bare.endswith("7")
    bare = bare.removeprefix("b").removesuffix("7")
    root = (NUMERALS[bare.lower()] - flat) % 12
    intervals: tuple[int, ...] = (0, 4, 7) if bare.isupper() else (0, 3, 7)
    bass = BASS_DEGREES[below] if below else root
    return root, (*intervals, 10) if has_seventh else intervals, bass


def _bars_per_chord(n_chords: int, metre: int, bpm: float, rng: np.random.Generator) -> float:
    if n_chords > 8:
        return 1
    if metre == 4 and bpm < 105 and rng.random() < 0.3:
        return 0.5
    if (bpm > 125 or n_chords <= 2) and rng.random() < 0.5:
        return 2
    return 1


def _seventh(root: int, scale: tuple[int, ...]) -> int:
    return 11 if (root + 11) % 12 in scale and (root + 10) % 12 not in scale else 10


def melody_over(
    chords: list[Sounding],
    mode: str,
    scale: tuple[int, ...],
    home: float,
    rng: np.random.Generator,
) -> list[Tone]:
    """Phrases of one rhythm, mostly to chord tones, which rest on the tonic or its fifth."""
    steps = scale if rng.random() < 0.5 else PENTATONIC[mode]
    ladder = [m for m in range(60, 84) if m % 12 in steps]
    phrase = float(rng.choice([4, 8, 16]))
    grain = float(rng.choice([0.5, 1.0, 0.5]))
    n_steps = round(phrase / grain)
    rhythm = np.flatnonzero(rng.random(n_steps) < rng.uniform(0.35, 0.8))
    rhythm = rhythm[rhythm < n_steps - (2 if rng.random() < 0.6 else 0)]
    place = int(rng.integers(len(ladder)))
    tones: list[Tone] = []
    start, stop = home % phrase - phrase, chords[-1].stop
    first = chords[0].start
    while start + phrase < first:
        start += phrase
    goals = (0, 0, 0, 7, steps[2])
    while start < stop:
        for number, step in enumerate(rhythm):
            at = start + step * grain
            until = start + (rhythm[number + 1] * grain if number + 1 < len(rhythm) else phrase)
            place = int(np.clip(place + rng.integers(-2, 3), 0, len(ladder) - 1))
            sounding = next((c for c in chords if c.start <= at < c.stop), None)
            if number + 1 == len(rhythm):
                goal = goals[int(rng.integers(len(goals)))]
                place = _nearest(ladder, place, {goal % 12})
            elif sounding and rng.random() < 0.6:
                tones_of = {(sounding.root + i) % 12 for i in sounding.intervals}
                place = _nearest(ladder, place, tones_of)
            if first <= at < stop:
                length = min(until - at, 2.5)
                tones.append(Tone(start=at, length=0.92 * length, midi=ladder[place]))
        start += phrase
    return tones


def _nearest(ladder: list[int], place: int, wanted: set[int]) -> int:
    fitting = [n for n, midi in enumerate(ladder) if midi % 12 in wanted] or [place]
    return min(fitting, key=lambda n: abs(n - place))
