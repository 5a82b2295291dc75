"""From a recipe's layers to the plan's: song audio on a time map, pads on chords."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from segue.music.chord import tonic_triad
from segue.music.key import N_PITCH_CLASSES
from segue.music.path import PathStep, chord_path
from segue.music.voicing import BASS_RANGE_MIDI, voiced
from segue.plan.grid import SAME_BEAT, beats_between
from segue.plan.plan import Curve, CurvePoint, MapPoint, PadLayer, SongLayer, Voicing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.music.key import Key
    from segue.plan.recipe import Breakpoint, RecipeLayer
    from segue.plan.timeline import Timeline

LEAD_IN_S: Final = 0.1
"""Sound kept before beat 0, so that the first attack is whole. Chosen by ear."""

_BEFORE_ATTACK_S: Final = 0.02
"""How much of the incoming song is kept before its first sound: attacks begin before their beat."""

_SHORTEST_S: Final = 0.01
"""A lead-in, pick-up or ring shorter than this is none."""


def song_layer(layer: RecipeLayer, time: Timeline) -> SongLayer:
    """A layer of the outgoing or incoming song, with its time map.

    Parameters
    ----------
    layer : RecipeLayer
        With source 'outgoing' or 'incoming'.
    time : Timeline

    Returns
    -------
    SongLayer
    """
    start, end = time.beat_of(layer.start), time.beat_of(layer.end)
    if layer.source == "outgoing":
        points = _outgoing_map(layer, time, start, end)
    else:
        points = _incoming_map(layer, time, start, end)
    return SongLayer(
        name=layer.name or f"{layer.source} song",
        song="outgoing" if layer.source == "outgoing" else "incoming",
        start_beat=points[0].beat,
        end_beat=points[-1].beat,
        time_map=points,
        roles=layer.roles,
        part=layer.part,
        gain_db=_curve(layer.gain_db, time),
        lowpass_hz=_curve(layer.lowpass_hz, time),
        highpass_hz=_curve(layer.highpass_hz, time),
        reverb_db=_curve(layer.reverb_db, time),
        fade_in_s=layer.fade_in_s,
        fade_out_s=layer.fade_out_s,
    )


def pad_layer(layer: RecipeLayer, time: Timeline, *, old: Key, new: Key) -> PadLayer:
    """A pad with the chords that the recipe asks for, voiced.

    The chords share out the interlude; what the pad sounds before the exit
    belongs to the first of them, and from the entry on it plays the new tonic.

    Parameters
    ----------
    layer : RecipeLayer
        With source 'pad'.
    time : Timeline
    old, new : Key

    Returns
    -------
    PadLayer
    """
    start, end = max(time.beat_of(layer.start), 0.0), time.beat_of(layer.end)
    inner_start, inner_end = max(start, time.exit_beat), min(end, time.entry_beat)
    n_chords = max(round((inner_end - inner_start) / (layer.bars_a_chord * time.metre)), 1)
    steps = _steps(layer, old, new, n_chords)
    edges = [inner_start + (inner_end - inner_start) * n / n_chords for n in range(n_chords + 1)]
    edges[0] = start
    if end > time.entry_beat + SAME_BEAT:
        steps.append(PathStep(chord=tonic_triad(new), key=new))
        edges.append(end)
    return PadLayer(
        name=layer.name or "pad",
        voicings=_voicings(layer, steps, edges, old, new),
        sound=layer.sound,
        gain_db=_curve(layer.gain_db, time),
        lowpass_hz=_curve(layer.lowpass_hz, time),
    )


def _steps(layer: RecipeLayer, old: Key, new: Key, n_chords: int) -> list[PathStep]:
    match layer.harmony:
        case "path":
            return list(chord_path(old, new, n_chords=n_chords))
        case "new key":
            return list(chord_path(old, new, n_chords=n_chords, start="new key"))
        case "dominant":
            return list(chord_path(old, new, n_chords=1)) * n_chords
        case "drone":
            return [PathStep(chord=tonic_triad(new), key=new)] * n_chords
        case "none":
            raise ValueError("a pad without a harmony cannot be planned")


def _voicings(
    layer: RecipeLayer, steps: Sequence[PathStep], edges: Sequence[float], old: Key, new: Key
) -> tuple[Voicing, ...]:
    if layer.harmony == "drone":
        return (_drone(new, edges[0], edges[-1]),)
    all_notes = voiced([step.chord for step in steps])
    return tuple(
        Voicing(
            start_beat=a,
            end_beat=b,
            notes_midi=notes,
            symbol=step.symbol,
            roman_from=step.chord.roman(old),
            roman_to=step.chord.roman(new),
        )
        for step, notes, a, b in zip(steps, all_notes, edges[:-1], edges[1:], strict=True)
    )


def _drone(key: Key, start: float, end: float) -> Voicing:
    low = BASS_RANGE_MIDI[0]
    root = low + (key.tonic - low) % N_PITCH_CLASSES
    name = tonic_triad(key).symbol(flats=key.prefers_flats).removesuffix("m")
    return Voicing(
        start_beat=start,
        end_beat=end,
        notes_midi=(root, root + 7, root + 12, root + 19),
        symbol=f"{name}5",
        roman_to="I5",
    )


def _outgoing_map(
    layer: RecipeLayer, time: Timeline, start: float, end: float
) -> tuple[MapPoint, ...]:
    """The song's own beats as far as its music goes, then its ring, unstretched."""
    grid, done = time.outgoing.grid, time.outgoing.done_index
    over = grid.index_at(time.outgoing.facts.edge_end_s)  # the file may stop before its bar does
    last_own = min(end, time.exit_beat + min(done, over) - time.exit_index)
    points = [
        MapPoint(beat=beat, source_s=grid.seconds_at(time.exit_index + beat - time.exit_beat))
        for beat in beats_between(max(start, 0.0), last_own)
    ]
    if layer.start.anchor == "start" and layer.start.bars == 0:
        lead_s = min(LEAD_IN_S, points[0].source_s)
        if lead_s > _SHORTEST_S:
            points.insert(0, _moved(points[0], -lead_s, time))
    ring_s = min(
        time.tempo.seconds_at(end) - time.tempo.seconds_at(last_own),
        time.outgoing.facts.edge_end_s - points[-1].source_s,
    )
    if end > last_own + SAME_BEAT and ring_s > _SHORTEST_S:
        points.append(_moved(points[-1], ring_s, time))
    return tuple(points)


def _incoming_map(
    layer: RecipeLayer, time: Timeline, start: float, end: float
) -> tuple[MapPoint, ...]:
    """The song's own beats from its entry on, with its pick-up before, unstretched."""
    song = time.incoming
    first = max(start, time.entry_beat)
    points = [
        MapPoint(
            beat=beat, source_s=song.grid.seconds_at(song.entry_index + beat - time.entry_beat)
        )
        for beat in beats_between(first, end)
    ]
    if layer.start.anchor == "entry" and layer.start.bars <= 0:
        pickup_s = song.grid.seconds_at(song.entry_index) - song.grid.seconds_at(song.sound_index)
        before_s = min(pickup_s + _BEFORE_ATTACK_S, points[0].source_s)
        if before_s > _SHORTEST_S:
            points.insert(0, _moved(points[0], -before_s, time))
    return tuple(points)


def _moved(point: MapPoint, seconds: float, time: Timeline) -> MapPoint:
    """A key frame earlier or later by the same number of seconds in the plan and the song."""
    beat = time.tempo.beat_at(time.tempo.seconds_at(point.beat) + seconds)
    return MapPoint(beat=beat, source_s=point.source_s + seconds)


def _curve(points: Sequence[Breakpoint], time: Timeline) -> Curve:
    placed = (CurvePoint(beat=time.beat_of(p.at), value=p.value) for p in points)
    return tuple(sorted(placed, key=lambda point: point.beat))
