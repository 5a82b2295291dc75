"""Pads: the chords that a recipe's harmony asks for, placed and voiced.

A vamp on chords that two keys share, and the cadence that leaves it.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final, assert_never

from segue.music.chord import CadenceChoice, Chord, shared_chords, tonic_triad
from segue.music.chord_path import PathStep, chord_path
from segue.music.chord_words import written_steps
from segue.music.key import N_PITCH_CLASSES, Key
from segue.music.tonal_space import chord_distance
from segue.music.voicing import BASS_RANGE_MIDI, held_tone, voiced
from segue.plan.grid import SAME_BEAT, chord_edges
from segue.plan.layer import Curve, CurvePoint, PadLayer, Voicing
from segue.plan.shaping import Planned, Setting, shaping, span_of, summed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.plan.timeline import Timeline
    from segue.recipes.recipe import RecipeLayer

_MIDDLE_OF = 4
"""Chords of the path whose middle two stand in where the keys share none."""


def pivot_vamp(
    old: Key, new: Key, *, n_chords: int, cadence: CadenceChoice
) -> tuple[list[PathStep], tuple[str, ...]]:
    """Two chords to and fro that belong to both keys, then the cadence.

    With one chord in common the old tonic takes turns with it; with none, the
    middle of the path between the keys stands in.

    Parameters
    ----------
    n_chords : int
        With the cadence.

    Returns
    -------
    notes : tuple of str
        That the keys share no chord, where that is so.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> c, g = parse_key("C major"), parse_key("G major")
    >>> steps, _ = pivot_vamp(c, g, n_chords=5, cadence="dominant")
    >>> [step.symbol for step in steps]
    ['C', 'Am', 'C', 'Am', 'D7']
    """
    (last,) = chord_path(old, new, n_chords=1, cadence=cadence)
    shared = shared_chords(old, new)
    notes: tuple[str, ...] = ()
    if shared:
        pair = _pair(old, new, [PathStep(chord=c, key=new, pivot_from=old) for c in shared], last)
    else:
        way = chord_path(old, new, n_chords=_MIDDLE_OF, cadence=cadence)
        pair = (way[1], way[2])
        note = (
            f"{old} and {new} share no chord: the vamp takes the middle of the way "
            f"between them, {pair[0].symbol} and {pair[1].symbol}."
        )
        notes = (note,)
    return [*(pair[n % 2] for n in range(n_chords - 1)), last], notes


def _pair(old: Key, new: Key, shared: list[PathStep], last: PathStep) -> tuple[PathStep, PathStep]:
    """The shared chord nearest to the old tonic, and the other nearest to the cadence.

    The new tonic is kept for the entry where another chord will do.
    """
    home, goal = tonic_triad(old), tonic_triad(new)
    first = min(shared, key=lambda step: chord_distance(home, old, step.chord, old))
    others = [step for step in shared if step.chord not in (first.chord, goal, last.chord.triad)]
    if others:
        return first, min(others, key=lambda s: chord_distance(s.chord, new, last.chord, new))
    if first.chord != home:
        return PathStep(chord=home, key=old), first
    return first, PathStep(chord=goal, key=new)


_HELD_LOW_MIDI: Final = 53
"""F3: a held tone lies in the octave from here and the one above."""

_SUSPENDED: Final = {2: "sus2", 5: "sus4"}
"""Held tones that are not of the new tonic chord, by semitones above its root."""


def pad_layer(layer: RecipeLayer, setting: Setting) -> Planned:
    """A pad with the chords that the recipe asks for, voiced.

    The chords share out the interlude from its end backwards; what is left over, and what the pad
    sounds before the exit, belongs to the first of them. From the entry on it plays the new tonic.

    Parameters
    ----------
    layer : RecipeLayer
        With source 'pad'.
    """
    voicings, notes = chord_voicings(layer, setting)
    shaped = shaping(layer, setting.time)
    if layer.pumps_db:
        start, end = voicings[0].start_beat, voicings[-1].end_beat
        shaped["gain_db"] = summed(shaped["gain_db"], pumping(layer.pumps_db, start, end))
    planned = PadLayer(**shaped, voicings=voicings, sound=layer.sound)
    return Planned(layers=(planned,), notes=notes)


def pumping(depth_db: float, start: float, end: float) -> Curve:
    """Down on every beat and up again, as a pad makes way for a kick: a beat without drums.

    Down within a fiftieth of a beat, up over the half of it; common practice, no source.
    """
    shape = ((-0.02, 0.0), (0.0, -depth_db), (0.15, -depth_db), (0.45, -depth_db / 3), (0.7, 0.0))
    beats = range(math.ceil(start - SAME_BEAT), math.ceil(end - SAME_BEAT))
    return tuple(CurvePoint(beat=beat + at, value=db) for beat in beats for at, db in shape)


def chord_voicings(
    layer: RecipeLayer, setting: Setting
) -> tuple[tuple[Voicing, ...], tuple[str, ...]]:
    """The chords that a recipe's harmony asks for, voiced, and what is to be said of them."""
    time = setting.time
    start, end = span_of(layer, time)
    if layer.harmony == "drone":
        return (_drone(_new_key(time), start, end),), ()
    if layer.harmony == "common tone":
        return _common_tone(time, start, end), ()
    if layer.harmony == "written":
        return written_voicings(layer.chords, time, start, end), ()
    return _chords(layer, setting, start, end)


def written_voicings(chords: str, time: Timeline, start: float, end: float) -> tuple[Voicing, ...]:
    """Chords that somebody wrote: over the bridge, as far as a layer plays in it.

    Parameters
    ----------
    chords : str
        Numerals in the new key.
    start, end : float
        Beats of the layer.
    """
    old, new = _old_key(time), _new_key(time)
    steps = written_steps(chords, old, new)
    edges = chord_edges(len(steps), time.exit_beat, time.entry_beat, time.metre)
    heard = [n for n in range(len(steps)) if edges[n + 1] > start + SAME_BEAT]
    heard = [n for n in heard if edges[n] < end - SAME_BEAT] or heard[-1:] or [len(steps) - 1]
    steps = [steps[n] for n in heard]
    starts = [start, *(edges[n] for n in heard[1:])]
    if end > time.entry_beat + SAME_BEAT:
        if starts[-1] < time.entry_beat - SAME_BEAT:
            starts.append(time.entry_beat)
            steps.append(PathStep(chord=tonic_triad(new), key=new))
        else:
            steps[-1] = PathStep(chord=tonic_triad(new), key=new)
    return placed_chords(steps, (*starts, end), old, new)


def chord_beats(bars_a_chord: float, time: Timeline) -> float:
    """About how many beats a chord lasts, so that it is neither rushed nor a drone.

    Half of all chords of rock songs last 0.9 to 3 s, few less than 0.9 s (timed chord
    annotations of 100 songs, T. de Clercq and D. Temperley, Popular Music 30(1), 2011).
    """
    beats = bars_a_chord * time.metre
    entry = time.entry_beat
    beat_s = (time.tempo.seconds_at(entry) - time.tempo.seconds_at(time.exit_beat)) / max(
        entry - time.exit_beat, 1.0
    )
    while beats * beat_s < LEAST_CHORD_S - SAME_BEAT:
        beats *= 2
    while beats * beat_s > MOST_CHORD_S and beats * beat_s / 2 >= LEAST_CHORD_S - SAME_BEAT:
        beats /= 2
    return beats


LEAST_CHORD_S: Final = 1.8  # where the bars allow it, see below
MOST_CHORD_S: Final = 3.6
"""Chords last between these where the bars allow it: half of those in 100 analysed rock songs
(T. de Clercq and D. Temperley, Popular Music 30(1), 2011) last 1.85 s or less, three quarters
3 s."""


def _old_key(time: Timeline) -> Key:
    return time.outgoing.facts.key.key


def _new_key(time: Timeline) -> Key:
    return time.incoming.facts.key.key


def _chords(
    layer: RecipeLayer, setting: Setting, start: float, end: float
) -> tuple[tuple[Voicing, ...], tuple[str, ...]]:
    """Chords over all that plays them together, of which the layer plays those in its own span."""
    time = setting.time
    old, new = _old_key(time), _new_key(time)
    inner_start, inner_end = _shared_span(layer, setting)
    each = chord_beats(layer.bars_a_chord, time)
    n_chords = max(math.floor((inner_end - inner_start) / each + 0.5 + SAME_BEAT), 1)
    steps, notes = _steps(layer, old, new, n_chords)
    edges = [inner_end - each * (n_chords - n) for n in range(n_chords + 1)]  # the first is cut
    edges[0] = min(inner_start, start)
    if end > time.entry_beat + SAME_BEAT:
        steps.append(PathStep(chord=tonic_triad(new), key=new))
        edges.append(end)
    return _within(placed_chords(steps, edges, old, new), start, end), notes


def _shared_span(layer: RecipeLayer, setting: Setting) -> tuple[float, float]:
    """First and last beat of the bridge on which this harmony is played, by whomever.

    A bass that sets in two bars after the chords would else walk through chords of its own.
    """
    time = setting.time
    spans = [
        span_of(other, time)
        for other in setting.recipe_layers
        if (other.harmony, other.cadence, other.bars_a_chord)
        == (layer.harmony, layer.cadence, layer.bars_a_chord)
    ]
    first, last = min(span[0] for span in spans), max(span[1] for span in spans)
    return max(first, time.exit_beat), min(last, time.entry_beat)


def _within(voicings: Sequence[Voicing], start: float, end: float) -> tuple[Voicing, ...]:
    """Those that sound between two beats, cut there."""
    return tuple(
        replace(v, start_beat=max(v.start_beat, start), end_beat=min(v.end_beat, end))
        for v in voicings
        if v.end_beat > start + SAME_BEAT and v.start_beat < end - SAME_BEAT
    )


def placed_chords(
    steps: Sequence[PathStep], edges: Sequence[float], old: Key, new: Key
) -> tuple[Voicing, ...]:
    """Chords in their places, voiced so that the voices move least.

    Parameters
    ----------
    edges : sequence of float
        Beat on which each begins, and the last ends.
    """
    all_notes = voiced([step.chord for step in steps])
    return tuple(
        Voicing(
            start_beat=a,
            end_beat=b,
            notes_midi=notes_midi,
            symbol=step.symbol,
            roman_from=step.chord.roman(old),
            roman_to=step.chord.roman(new),
        )
        for step, notes_midi, a, b in zip(steps, all_notes, edges[:-1], edges[1:], strict=True)
    )


def _steps(
    layer: RecipeLayer, old: Key, new: Key, n_chords: int
) -> tuple[list[PathStep], tuple[str, ...]]:
    cadence = layer.cadence
    match layer.harmony:
        case "path":
            return list(chord_path(old, new, n_chords=n_chords, cadence=cadence)), ()
        case "new key":
            steps = chord_path(old, new, n_chords=n_chords, start="new key", cadence=cadence)
            return list(steps), ()
        case "dominant":
            return list(chord_path(old, new, n_chords=1, cadence=cadence)) * n_chords, ()
        case "pivot vamp":
            return pivot_vamp(old, new, n_chords=n_chords, cadence=cadence)
        case "drone" | "common tone" | "none" | "written":
            raise ValueError(f"a pad with harmony '{layer.harmony}' has no chords")
        case _:
            assert_never(layer.harmony)


def _drone(key: Key, start: float, end: float) -> Voicing:
    root = _bass(key)
    return Voicing(
        start_beat=start,
        end_beat=end,
        notes_midi=(root, root + 7, root + 12, root + 19),
        symbol=f"{key.tonic_name}5",
        roman_to="I5",
    )


def _common_tone(time: Timeline, start: float, end: float) -> tuple[Voicing, ...]:
    """One tone in octaves, then the new bass under it from the middle of the interlude."""
    old, new = _old_key(time), _new_key(time)
    tone = held_tone(old, new)
    low = _HELD_LOW_MIDI + (tone - _HELD_LOW_MIDI) % N_PITCH_CLASSES
    held = (low, low + N_PITCH_CLASSES)
    root, above = _bass(new), (tone - new.tonic) % N_PITCH_CLASSES
    needs_fifth = above == 0 or above in _SUSPENDED
    under: Sequence[int] = (root, root + 7) if needs_fifth else (root,)
    kind = _SUSPENDED.get(above, "5")
    is_third = tone == tonic_triad(new).pitch_classes[1]
    name = tonic_triad(new).symbol_in(new) if is_third else f"{new.tonic_name}{kind}"
    tone_name = Chord(root=tone, quality="major").symbol_in(new)
    middle = (max(start, time.exit_beat) + min(end, time.entry_beat)) / 2
    return (
        Voicing(start_beat=start, end_beat=middle, notes_midi=held, symbol=f"{tone_name} alone"),
        Voicing(
            start_beat=middle,
            end_beat=end,
            notes_midi=tuple(sorted({*under, *held})),
            symbol=name,
            roman_to=tonic_triad(new).roman(new) if is_third else f"I{kind}",
        ),
    )


def _bass(key: Key) -> int:
    low = BASS_RANGE_MIDI[0]
    return low + (key.tonic - low) % N_PITCH_CLASSES
