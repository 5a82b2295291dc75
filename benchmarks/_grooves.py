"""Band grooves, made up from a seed: key, loop, drums, bass, chords, and at times a melody."""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from benchmarks import _patterns as patterns
from benchmarks._draft import Draft, Edge, tempo_facts
from benchmarks._render import DRUM_CHANNEL, Note, Performance, Voice, snapped_s

LENGTH_S: Final = 25.0
BEATS_OF_METRE: Final = {"4/4": 4, "3/4": 3, "6/8": 2}
BASS_CHANNEL, CHORD_CHANNEL, PAD_CHANNEL, LEAD_CHANNEL = 0, 1, 2, 3
BASSES: Final = (32, 33, 34, 35, 36, 38, 39)
STRUCK: Final = (0, 1, 4, 5, 7, 24, 25, 26, 27, 28, 11, 16, 6, 12)
"""Programs of comping instruments: pianos, guitars, mallets, organ."""
PADS: Final = (48, 49, 89, 90, 51, 53, 16, 21)
LEADS: Final = (53, 54, 56, 61, 64, 65, 66, 73, 80, 81, 22, 27, 11, 40, 68, 71)
ENDINGS: Final = ("keeps going", "cold stop", "ring-out", "fade")
FADE_TO_DB: Final = -50.0
FADE_UNHEARD_SHARE: Final = 0.2
"""The last part of a fade, below -40 dB, has no truth: nobody hears its beats."""
OPENINGS: Final = ("on the beat", "pick-up", "free intro")


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """All that is drawn once for a groove; `bars_before` of it went by before the first bar."""

    edge: Edge
    kind: str
    tonic: int
    loop: patterns.Loop
    bars_before: int
    beats_per_chord: int
    metre: str
    tempo_bpm: float
    drums: str | None
    bass: str
    comping: str
    has_pad: bool
    has_lead: bool
    has_sevenths: bool
    swing_share: float
    drift_ratio: float
    human_s: float

    @property
    def beats_per_bar(self) -> int:
        """Beats in a bar: two in 6/8."""
        return BEATS_OF_METRE[self.metre]


def groove(edge: Edge, rng: np.random.Generator) -> Draft:
    """A groove that is about 25 s long, as an ending or an opening."""
    band = _band(edge, rng)
    n_bars = 2 + int(np.ceil((LENGTH_S + 3) * band.tempo_bpm / 60 / band.beats_per_bar))
    beats_s = _beat_times(band, n_bars * band.beats_per_bar + 1, rng)
    parts = _parts(band, n_bars, rng)
    notes = _played(parts, beats_s, band, rng)
    voices = _voices(band, rng)
    draft = (
        _opening(band, notes, beats_s, rng)
        if edge == "start"
        else _ending(band, notes, beats_s, n_bars, rng)
    )
    return replace(draft, performance=replace(draft.performance, voices=voices))


def _band(edge: Edge, rng: np.random.Generator) -> Band:
    metre = str(rng.choice(["4/4", "3/4", "6/8"], p=[0.78, 0.11, 0.11]))
    drums = str(rng.choice(list(patterns.DRUMS_OF_METRE[metre])))
    drums_or_none = None if rng.random() < 0.25 else drums
    low_bpm, high_bpm = _tempo_limits(metre, drums_or_none)
    loop = patterns.LOOPS[rng.integers(len(patterns.LOOPS))]
    beats_per_bar = BEATS_OF_METRE[metre]
    tempo_bpm = float(np.exp(rng.uniform(np.log(low_bpm), np.log(high_bpm))))
    bars_per_chord = _bars_per_chord(loop, metre, tempo_bpm, rng)
    is_swung = drums_or_none in patterns.SWUNG
    return Band(
        edge=edge,
        kind=str(rng.choice(ENDINGS if edge == "end" else OPENINGS)),
        tonic=int(rng.integers(12)),
        loop=loop,
        bars_before=int(rng.integers(24)) if edge == "end" else 0,
        beats_per_chord=round(bars_per_chord * beats_per_bar),
        metre=metre,
        tempo_bpm=tempo_bpm,
        drums=drums_or_none,
        bass=str(rng.choice(list(patterns.BASS[metre]))),
        comping=_comping(metre, drums_or_none, rng),
        has_pad=bool(rng.random() < 0.4),
        has_lead=bool(rng.random() < 0.55),
        has_sevenths=bool(rng.random() < 0.3),
        swing_share=float(rng.uniform(0.58, 0.67)) if is_swung else 0.5,
        drift_ratio=float(rng.uniform(0.004, 0.015)) if rng.random() < 0.2 else 0.0,
        human_s=float(rng.choice([0.0, 0.002, 0.004])),
    )


def _tempo_limits(metre: str, drums: str | None) -> tuple[float, float]:
    """Where the notated tempo of a pattern is the felt one."""
    if metre != "4/4":
        return (100.0, 180.0) if metre == "3/4" else (60.0, 105.0)
    limits = {
        "half-time": (100.0, 150.0),
        "double-time": (66.0, 100.0),
        "four on the floor": (105.0, 140.0),
        "straight busy": (65.0, 120.0),
        "breakbeat": (80.0, 175.0),
        "swing": (100.0, 190.0),
        "sparse": (60.0, 120.0),
        None: (60.0, 140.0),
    }
    return limits.get(drums, (70.0, 180.0))


def _bars_per_chord(
    loop: patterns.Loop, metre: str, tempo_bpm: float, rng: np.random.Generator
) -> float:
    if len(loop.chords) > 8:
        return 1
    slow, quick = 100, 130
    if tempo_bpm < slow and metre != "3/4" and rng.random() < 0.25:
        return 0.5
    return 2 if tempo_bpm > quick and rng.random() < 0.5 else 1


def _comping(metre: str, drums: str | None, rng: np.random.Generator) -> str:
    """A way of comping; without drums it has to carry the beat."""
    ways = list(patterns.COMPING[metre])
    if drums is None:
        ways = [way for way in ways if way not in ("pad", "offbeats", "charleston")]
    return str(rng.choice(ways))


def _beat_times(band: Band, n_beats: int, rng: np.random.Generator) -> np.ndarray:
    """Seconds of the beats; a drifting band sways by its ratio to both sides."""
    position = np.linspace(0, 1, n_beats - 1)
    sway = np.sin(2 * np.pi * (rng.uniform(0.3, 1.0) * position + rng.random()))
    lengths_s = 60 / band.tempo_bpm * (1 + band.drift_ratio * sway)
    return np.concatenate([[0.0], np.cumsum(lengths_s)]) + rng.uniform(0.1, 0.5)


Part = tuple[int, int, float, float, int]
"""Channel, MIDI note, position and length in beats, velocity."""


def _chord_number(band: Band, beat: float) -> int:
    """Which chord it is since the section began."""
    return int((band.bars_before * band.beats_per_bar + beat) // band.beats_per_chord)


def _chord_at(band: Band, beat: float) -> tuple[int, tuple[int, ...]]:
    number = _chord_number(band, beat)
    root, intervals = band.loop.chords[number % len(band.loop.chords)]
    if band.has_sevenths and len(intervals) == 3:
        is_dominant = root == 7 and intervals[1] == 4
        flat = 10 if is_dominant or intervals[1] == 3 else _seventh(band, root)
        intervals = (*intervals, flat)
    return root, intervals


def _seventh(band: Band, root: int) -> int:
    """The seventh of a major chord that belongs to the scale."""
    return 11 if (root + 11) % 12 in band.loop.scale else 10


def _parts(band: Band, n_bars: int, rng: np.random.Generator) -> list[Part]:
    parts: list[Part] = []
    for bar in range(n_bars):
        parts += _drum_bar(band, bar, rng) if band.drums else []
        parts += _bass_bar(band, bar, rng)
        parts += _comping_bar(band, bar, rng)
    if band.has_pad:
        parts += _pad(band, n_bars)
    if band.has_lead:
        parts += _lead(band, n_bars, rng)
    return parts


def _drum_bar(band: Band, bar: int, rng: np.random.Generator) -> list[Part]:
    start = bar * band.beats_per_bar
    hits = list(patterns.DRUMS_OF_METRE[band.metre][str(band.drums)])
    number = band.bars_before + bar
    is_fill = number % 4 == 3 and rng.random() < 0.5
    if is_fill:
        fill_from = band.beats_per_bar - 1
        hits = [hit for hit in hits if hit[1] < fill_from]
        toms = (patterns.SNARE, patterns.SNARE, patterns.HIGH_TOM, patterns.LOW_TOM)
        hits += [(drum, fill_from + n / 4, 95) for n, drum in enumerate(toms)]
    if number % 8 == 0 and band.drums != "sparse":
        hits.append((patterns.CRASH, 0, 90))
    return [
        (DRUM_CHANNEL, drum, start + position, 0.1, int(velocity + rng.normal(0, 4)))
        for drum, position, velocity in hits
    ]


def _bass_bar(band: Band, bar: int, rng: np.random.Generator) -> list[Part]:
    start = bar * band.beats_per_bar
    parts: list[Part] = []
    for position, length, tone in _restruck(band, patterns.BASS[band.metre][band.bass]):
        root, intervals = _chord_at(band, start + position)
        interval = 12 if tone == 3 else intervals[tone]
        low = 28 + (band.tonic + root - 28) % 12
        velocity = int((104 if position == 0 else 94) + rng.normal(0, 4))
        parts.append((BASS_CHANNEL, low + interval, start + position, length, velocity))
    return parts


def _restruck(band: Band, steps: tuple[patterns.Step, ...]) -> list[patterns.Step]:
    """The steps of a bar, cut and struck again where the chord changes inside it."""
    edge = float(band.beats_per_chord)
    if edge >= band.beats_per_bar:
        return list(steps)
    cut: list[patterns.Step] = []
    for position, length, tone in steps:
        if position < edge < position + length:
            cut.append((position, edge - position - 0.05, tone))
            cut.append((edge, position + length - edge, tone))
        else:
            cut.append((position, length, tone))
    return cut


def _voicing(band: Band, beat: float, lowest: int) -> list[int]:
    """The chord in close position above `lowest`, which keeps common tones where they are."""
    root, intervals = _chord_at(band, beat)
    return sorted(lowest + (band.tonic + root + tone - lowest) % 12 for tone in intervals)


def _comping_bar(band: Band, bar: int, rng: np.random.Generator) -> list[Part]:
    start = bar * band.beats_per_bar
    parts: list[Part] = []
    for position, length, tone in _restruck(band, patterns.COMPING[band.metre][band.comping]):
        voicing = _voicing(band, start + position, 53)
        ladder = voicing + [midi + 12 for midi in voicing]
        played = voicing if tone == patterns.ALL else [ladder[tone]]
        accent = 92 if position == 0 else 82
        for midi in played:
            velocity = int(accent + rng.normal(0, 5))
            parts.append((CHORD_CHANNEL, midi, start + position, length, velocity))
    return parts


def _pad(band: Band, n_bars: int) -> list[Part]:
    n_beats = n_bars * band.beats_per_bar
    numbers = [_chord_number(band, beat) for beat in range(n_beats)]
    starts = [beat for beat in range(n_beats) if beat == 0 or numbers[beat] != numbers[beat - 1]]
    return [
        (PAD_CHANNEL, midi, start, end - start - 0.05, 70)
        for start, end in pairwise([*starts, n_beats])
        for midi in _voicing(band, start, 58)
    ]


def _lead(band: Band, n_bars: int, rng: np.random.Generator) -> list[Part]:
    """A walk through the scale: to a chord tone on bar lines, home where the loop begins."""
    ladder = [m for m in range(62, 86) if (m - band.tonic) % 12 in band.loop.scale]
    grain = 1 / 3 if band.metre == "6/8" else 0.5
    lengths = (grain, 2 * grain, 2 * grain, 3 * grain) if band.metre == "6/8" else (0.5, 1, 1, 1.5)
    parts: list[Part] = []
    place, beat = len(ladder) // 2, 0.0
    while beat < n_bars * band.beats_per_bar - 1:
        length = float(rng.choice(lengths))
        place = int(np.clip(place + rng.integers(-2, 3), 0, len(ladder) - 1))
        if abs(beat % band.beats_per_bar) < grain / 2:
            place = _nearest_chord_tone(band, beat, ladder, place)
        if rng.random() < 0.8:
            parts.append((LEAD_CHANNEL, ladder[place], beat, 0.9 * length, 96))
        beat += length
    return parts


def _nearest_chord_tone(band: Band, beat: float, ladder: list[int], place: int) -> int:
    root, intervals = _chord_at(band, beat)
    is_home = _chord_number(band, beat) % len(band.loop.chords) == 0
    tones = {(band.tonic + root + interval) % 12 for interval in ((0,) if is_home else intervals)}
    fitting = [index for index, midi in enumerate(ladder) if midi % 12 in tones] or [place]
    return min(fitting, key=lambda index: abs(index - place))


def _played(
    parts: list[Part], beats_s: np.ndarray, band: Band, rng: np.random.Generator
) -> list[Note]:
    """Notes in seconds: swung, a little uneven, and on the renderer's block edges."""
    notes = []
    grid = np.arange(len(beats_s))
    for channel, midi, position, length, velocity in parts:
        start = _swung(position, band.swing_share)
        start_s = float(np.interp(start, grid, beats_s))
        end_s = float(np.interp(_swung(position + length, band.swing_share), grid, beats_s))
        spread_s = band.human_s * (0.6 if channel == DRUM_CHANNEL else 1.5)
        start_s = snapped_s(start_s + rng.normal(0, spread_s) if spread_s else start_s)
        notes.append(
            Note(
                start_s=start_s,
                length_s=max(end_s - start_s, 0.04),
                midi=midi,
                velocity=int(np.clip(velocity, 20, 127)),
                channel=channel,
            )
        )
    return notes


def _swung(position: float, share: float) -> float:
    """A position in beats after the first half of each beat is stretched to `share`."""
    whole, part = divmod(position, 1)
    half = 0.5
    if part < half:
        return float(whole + part * share / half)
    return float(whole + share + (part - half) * (1 - share) / half)


def _voices(band: Band, rng: np.random.Generator) -> dict[int, Voice]:
    return {
        DRUM_CHANNEL: Voice(program=0, volume=int(rng.integers(85, 120))),
        BASS_CHANNEL: Voice(program=int(rng.choice(BASSES)), volume=int(rng.integers(85, 115))),
        CHORD_CHANNEL: Voice(
            program=int(rng.choice(STRUCK)),
            volume=int(rng.integers(70, 105)),
            pan=int(rng.integers(30, 98)),
        ),
        PAD_CHANNEL: Voice(program=int(rng.choice(PADS)), volume=int(rng.integers(45, 80))),
        LEAD_CHANNEL: Voice(
            program=int(rng.choice(LEADS)),
            volume=int(rng.integers(75, 110)),
            pan=int(rng.integers(44, 84)),
        ),
    } | ({} if band.drums else {DRUM_CHANNEL: Voice(program=0)})


def _draft(band: Band, notes: list[Note], beats: list[tuple[float, bool]], **cut: float) -> Draft:
    tempo_bpm, tempo_range_bpm = tempo_facts([time_s for time_s, _ in beats])
    style = f"{band.drums or 'no drums'}, {band.bass}, {band.comping}, {band.loop.name}"
    return Draft(
        performance=Performance(notes=tuple(notes), voices={}),
        group="groove",
        style=style,
        edge=band.edge,
        kind=band.kind,
        tonic=band.tonic,
        mode=band.loop.mode,
        time_signature=band.metre,
        beats_s=tuple(time_s for time_s, _ in beats),
        downbeat_of_beat=tuple(is_downbeat for _, is_downbeat in beats),
        tempo_bpm=tempo_bpm,
        tempo_range_bpm=tempo_range_bpm,
        from_s=cut["from_s"],
        to_s=cut["to_s"],
        fade_s=cut.get("fade_s", 0.0),
    )


def _ending(
    band: Band,
    notes: list[Note],
    beats_s: np.ndarray,
    n_bars: int,
    rng: np.random.Generator,
) -> Draft:
    """Cut the groove at a bar line, and end it as the band's kind of ending asks."""
    last = n_bars * band.beats_per_bar
    end_s = float(beats_s[last])
    notes = [note for note in notes if note.start_s < end_s - 0.03]
    notes = [replace(n, length_s=min(n.length_s, end_s - n.start_s)) for n in notes]
    n_struck = last
    tail_s, fade_s = float(rng.uniform(0.0, 0.3)), 0.0
    if band.kind in ("cold stop", "ring-out"):
        n_struck = last + 1
        held_s = 0.12 if band.kind == "cold stop" else float(rng.uniform(2.0, 4.0))
        tail_s = held_s + float(rng.uniform(0.6, 1.5))
        notes += _final_chord(band, snapped_s(end_s), held_s)
    elif band.kind == "fade":
        fade_s = float(rng.uniform(7.0, 12.0))
    to_s = end_s + tail_s
    heard_to_s = to_s - FADE_UNHEARD_SHARE * fade_s
    beats = [(float(beats_s[n]), n % band.beats_per_bar == 0) for n in range(n_struck)]
    beats = [beat for beat in beats if beat[0] < heard_to_s]
    from_s = max(to_s - LENGTH_S, 0.0)
    return _draft(band, notes, [b for b in beats if b[0] >= from_s - 0.5], from_s=from_s,
                  to_s=to_s, fade_s=fade_s)  # fmt: skip


def _final_chord(band: Band, start_s: float, held_s: float) -> list[Note]:
    """The tonic, by everyone."""
    home = replace(band, bars_before=0, has_sevenths=False)
    struck = [(BASS_CHANNEL, 28 + (band.tonic - 28) % 12, 108)]
    struck += [(CHORD_CHANNEL, midi, 100) for midi in _voicing(home, 0, 53)]
    if band.has_pad:
        struck += [(PAD_CHANNEL, midi, 80) for midi in _voicing(home, 0, 58)]
    if band.drums:
        struck += [(DRUM_CHANNEL, drum, 110) for drum in (patterns.KICK, patterns.CRASH)]
    return [
        Note(start_s=start_s, length_s=held_s, midi=midi, velocity=velocity, channel=channel)
        for channel, midi, velocity in struck
    ]


def _opening(band: Band, notes: list[Note], beats_s: np.ndarray, rng: np.random.Generator) -> Draft:
    """The groove from its first bar, after what the band's kind of opening puts before it."""
    n_beats = len(beats_s) - 1
    beats = [(float(beats_s[n]), n % band.beats_per_bar == 0) for n in range(n_beats)]
    shift_s = 0.0
    before: list[Note] = []
    if band.kind == "pick-up":
        shift_s = band.beats_per_bar * 60 / band.tempo_bpm
        before, first_beat_s = _pick_up(band, float(beats_s[0]) + shift_s, rng)
        beats = [(t + shift_s, is_down) for t, is_down in beats]
        beats = [*first_beat_s, *beats]
    elif band.kind == "free intro":
        shift_s = float(rng.uniform(3.0, 6.0))
        before = _free_intro(band, float(beats_s[0]), shift_s, rng)
        beats = [(t + shift_s, is_down) for t, is_down in beats]
    notes = before + [replace(n, start_s=snapped_s(n.start_s + shift_s)) for n in notes]
    first_s = min(note.start_s for note in notes)
    from_s = max(first_s - float(rng.choice([0.01, 0.05, 0.2, 0.5])), 0.0)
    to_s = from_s + LENGTH_S
    beats = [beat for beat in beats if beat[0] < to_s]
    return _draft(band, notes, beats, from_s=from_s, to_s=to_s)


def _pick_up(
    band: Band, bar_s: float, rng: np.random.Generator
) -> tuple[list[Note], list[tuple[float, bool]]]:
    """A lead-in of one beat or two, by snare or by a melody from below."""
    beat_s = 60 / band.tempo_bpm
    n_beats = int(rng.integers(1, band.beats_per_bar))
    steps = n_beats * (3 if band.metre == "6/8" else 2)
    below = [m for m in range(50, 74) if (m - band.tonic) % 12 in band.loop.scale]
    goal = min(below, key=lambda midi: ((midi - band.tonic) % 12, abs(midi - 64)))
    ladder = [midi for midi in below if midi < goal][-steps:] or [goal]
    notes = []
    for step in range(steps):
        start_s = snapped_s(bar_s - (steps - step) * n_beats * beat_s / steps)
        midi = ladder[max(len(ladder) - steps + step, 0)]
        notes.append(Note(start_s=start_s, length_s=0.8 * n_beats * beat_s / steps, midi=midi,
                          velocity=92, channel=CHORD_CHANNEL))  # fmt: skip
        if band.drums and step >= steps // 2:
            notes.append(Note(start_s=start_s, length_s=0.1, midi=patterns.SNARE, velocity=85,
                              channel=DRUM_CHANNEL))  # fmt: skip
    return notes, [(bar_s - (n_beats - n) * beat_s, False) for n in range(n_beats)]


def _free_intro(
    band: Band, start_s: float, length_s: float, rng: np.random.Generator
) -> list[Note]:
    """Chords without a pulse: the loop's last chord or the tonic, rolled at will."""
    notes: list[Note] = []
    home = replace(band, bars_before=0)
    time_s = start_s
    while time_s < start_s + length_s - 1.0:
        held_s = min(float(rng.uniform(1.2, 3.0)), start_s + length_s - time_s - 0.05)
        is_home = not notes or rng.random() < 0.5
        beat = 0 if is_home else (len(band.loop.chords) - 1) * band.beats_per_chord
        for number, midi in enumerate(_voicing(home, beat, 53)):
            roll_s = number * float(rng.uniform(0.02, 0.12))
            notes.append(Note(start_s=snapped_s(time_s + roll_s), length_s=held_s - roll_s,
                              midi=midi, velocity=78, channel=CHORD_CHANNEL))  # fmt: skip
        time_s += held_s
    return notes
