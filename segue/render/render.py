"""From a plan and two decoded edges to a candidate."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TYPE_CHECKING, Final, Literal, NamedTuple, assert_never, get_args

import numpy as np

from segue.audio.clip import Clip, SongEdge, sounding_blocks
from segue.plan.layer import (
    DrumLayer,
    FrozenLayer,
    Layer,
    PadLayer,
    PlayedLayer,
    ReversedLayer,
    Side,
    SongLayer,
    SweepLayer,
)
from segue.render.bridge_colour import (
    Spectra,
    bridge_shelf_db,
    deep_cut_db,
    room_for_a_voice,
    room_wanted_db,
    shelved,
    without_boom,
)
from segue.render.candidate import Candidate, Makers, master, power_between
from segue.render.frozen import frozen_sound
from segue.render.guide_sounds import click_bus, cue_bus
from segue.render.layer_sound import LayerSound, Ruler, ruler_of
from segue.render.pad import pad_sound
from segue.render.ride import Fader, fader_of, moved, ride_of
from segue.render.shape import shaped
from segue.render.song_layer import Kits, drum_layer_sound, song_layer_sound
from segue.render.struck import struck_sound, touch_beside
from segue.render.sweep import reversed_sound, sweep_sound

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from segue.arrays import Floats32
    from segue.audio.instrument import Instrument
    from segue.plan.plan import Plan


_SideName = Literal["outgoing", "interlude", "incoming"]
_SIDES: Final[tuple[_SideName, ...]] = get_args(_SideName)
_Place = tuple[_SideName, "Fader", float]
"""A bus: whose sound, what moves it, and how far it is trimmed by hand."""
_OPENING_FADE_S: Final = 0.02  # the first sound rises over this time, without a click; by judgement
_WORTH_SAYING_DB: Final = 0.05  # less than this is not told; by judgement
_BLOCK_FRAMES: Final = 1 << 16  # frames at once, to hold little memory; changes no sample


_Unplayed = PadLayer | SweepLayer | SongLayer | DrumLayer | FrozenLayer | ReversedLayer


class _Sources(NamedTuple):
    """What layers take their sound from."""

    songs: dict[Side, SongEdge]
    instruments: Mapping[str, Instrument]
    kits: Kits


def render_candidate(  # noqa: PLR0913 - what it is made of, and how
    plan: Plan,
    outgoing: SongEdge,
    incoming: SongEdge,
    *,
    instruments: Mapping[str, Instrument] | None = None,
    kits: Kits | None = None,
    on_layer: Callable[[int], None] = lambda _n_left: None,
    n_threads: int = 1,
) -> Candidate:
    """A plan made audible.

    Parameters
    ----------
    outgoing, incoming : SongEdge
        The end of the one song and the start of the other, at one rate.
    instruments : mapping, optional
        The users' own sounds that pads ask for, by their `PadLayer.instrument`.
    kits : Kits, optional
        The drums of the songs, as far as other renders have found them.
    on_layer : callable, optional
        Told after each layer how many are still to be made.
    n_threads : int, optional
        Layers that are made at once. More take more memory, and give the same samples.

    Returns
    -------
    Candidate
        Buses of ``ceil(plan.duration_s * rate)`` frames whose first frame is
        `plan.lead_in_s` before beat 0. The same plan and songs give the same
        samples.

    Raises
    ------
    ValueError
        If the two songs differ in rate.
    """
    rate_hz = outgoing.rate_hz
    if incoming.rate_hz != rate_hz:
        raise ValueError(f"the songs have {rate_hz} and {incoming.rate_hz} Hz; resample one first")
    ruler = ruler_of(plan, rate_hz)
    sources = _Sources(
        {"outgoing": outgoing, "incoming": incoming}, instruments or {}, kits or Kits()
    )
    said: list[str] = []
    buses: dict[_Place, Floats32] = {}
    makers: dict[_Place, Makers] = {}
    hardness = touch_beside(plan, outgoing, incoming)

    def made_of(layer: Layer) -> LayerSound:
        if isinstance(layer, PlayedLayer):
            return shaped(struck_sound(layer, plan, ruler, hardness=hardness), layer, plan, ruler)
        return shaped(_sound_of(layer, plan, ruler, sources), layer, plan, ruler)

    sounds = _side_by_side(made_of, plan.layers, n_threads)
    for done, layer in enumerate(plan.layers, start=1):
        made = next(sounds)
        place = (_side_of(layer), fader_of(layer, plan), layer.trim_db)
        if place not in buses:
            buses[place] = np.zeros((ruler.n_frames, 2), dtype=np.float32)
        buses[place][made.first_frame : made.first_frame + len(made.samples)] += made.samples
        makers[place] = makers.get(place, Makers()).with_layer(layer, made, plan, ruler.rate_hz)
        said += made.notes
        del made  # as long as a whole side
        on_layer(len(plan.layers) - done)
    sides, own_share = _ridden(buses, makers, plan, ruler, hardness)
    finished = master(_sum_of(sides), rate_hz)
    if finished.lowered_db > _WORTH_SAYING_DB:
        said.append(
            f"The whole is {finished.lowered_db:.1f} dB lower than planned, "
            "to keep its peaks below -1 dBTP without squashing them."
        )
    for samples in sides.values():
        _scale(samples, -finished.lowered_db)
    clips = {name: Clip(samples=side, rate_hz=rate_hz) for name, side in sides.items()}
    return Candidate(
        plan=plan,
        music=finished.music,
        click=Clip(samples=click_bus(plan, rate_hz, ruler.n_frames), rate_hz=rate_hz),
        cue=Clip(samples=cue_bus(plan, rate_hz, ruler.n_frames), rate_hz=rate_hz),
        outgoing=clips["outgoing"],
        interlude=clips["interlude"],
        incoming=clips["incoming"],
        own_share=own_share,
        notes=tuple(dict.fromkeys(said)),
    )


def _side_by_side(
    made_of: Callable[[Layer], LayerSound], layers: tuple[Layer, ...], n_threads: int
) -> Iterator[LayerSound]:
    """The sound of each layer, in their order."""
    if n_threads == 1:
        yield from map(made_of, layers)
        return
    with ThreadPoolExecutor(n_threads) as hands:
        yield from hands.map(made_of, layers)


def _ridden(
    buses: dict[_Place, Floats32],
    makers: Mapping[_Place, Makers],
    plan: Plan,
    ruler: Ruler,
    hardness: float,
) -> tuple[dict[_SideName, Floats32], float]:
    """The sides with the bridge at its level, and the songs' own share of what is made for it.

    What was on the buses is used up. What somebody trimmed by hand counts as if it were not, so
    that nothing makes up for it.
    """
    by_fader = _in_their_light(buses, plan, ruler.rate_hz)
    ride = ride_of(by_fader, plan, ruler.rate_hz, hardness=hardness)
    del by_fader
    sides: dict[_SideName, Floats32] = {}
    own = total = 0.0
    for side, fader, trim_db in sorted(buses):
        bus = buses.pop((side, fader, trim_db))
        moved(bus, fader, ride, ruler.rate_hz)
        if trim_db:
            _scale(bus, trim_db)
        if side == "interlude":
            heard = power_between(bus, plan, ruler.rate_hz)
            own += heard * makers[side, fader, trim_db].own_share
            total += heard
        if side in sides:
            for begin, block in sounding_blocks(bus):
                sides[side][begin : begin + len(block)] += block
        else:
            sides[side] = bus
    for side in _SIDES:
        sides.setdefault(side, np.zeros((ruler.n_frames, 2), dtype=np.float32))
        _fade_in(sides[side], round(_OPENING_FADE_S * ruler.rate_hz))
    return {side: sides[side] for side in _SIDES}, own / total if total > 0 else 0.0


def _in_their_light(
    buses: dict[_Place, Floats32], plan: Plan, rate_hz: int
) -> dict[Fader, Floats32]:
    """What is on each fader, once what is synthesised and a bed are as bright as they ought to be.

    The buses themselves are changed. No sum is kept longer than it is needed.
    """
    spectra = Spectra(_by_fader(buses), rate_hz)
    synths = [place for place in buses if place[1] == "synth"]
    for wanted_db, changed in ((deep_cut_db, without_boom), (bridge_shelf_db, shelved)):
        gain_db = wanted_db(spectra, plan)
        if gain_db:
            spectra.exchange("synth", None)
            for place in synths:
                changed(buses[place], gain_db, rate_hz)
            spectra.exchange("synth", _by_fader({p: buses[p] for p in synths})["synth"])
    room_db = room_wanted_db(spectra, plan)
    if not room_db:
        return spectra.buses
    del spectra
    for (_, fader, _), bus in buses.items():
        if fader != "songs":
            room_for_a_voice(bus, plan, rate_hz, room_db)
    return _by_fader(buses)


def _by_fader(
    buses: Mapping[_Place, Floats32],
) -> dict[Fader, Floats32]:
    """What is on each fader: the one bus itself, or several added up."""
    found: dict[Fader, Floats32] = {}
    for (_, fader, _), bus in buses.items():
        found[fader] = found[fader] + bus if fader in found else bus
    return found


def _side_of(layer: Layer) -> _SideName:
    """A song's own sound counts as the song's, what is made for the join as the interlude's."""
    return layer.song if isinstance(layer, SongLayer) else "interlude"


def _sound_of(layer: _Unplayed, plan: Plan, ruler: Ruler, sources: _Sources) -> LayerSound:
    """A layer before its curves."""
    if isinstance(layer, PadLayer):
        return _pad(layer, plan, ruler, sources.instruments)
    if isinstance(layer, SweepLayer):
        return sweep_sound(layer, plan, ruler.rate_hz, ruler.n_frames)
    edge = sources.songs[layer.song]
    level_db = plan.outgoing_gain_db if layer.song == "outgoing" else plan.incoming_gain_db
    match layer:
        case SongLayer():
            return song_layer_sound(layer, edge, plan, ruler, level_db)
        case DrumLayer():
            kit = sources.kits.of(edge)
            return drum_layer_sound(layer, edge, kit, plan, ruler, level_db=level_db)
        case FrozenLayer():
            return frozen_sound(layer, edge, plan, ruler, level_db)
        case ReversedLayer():
            return reversed_sound(layer, edge, plan, ruler, level_db)
        case _:
            assert_never(layer)


def _pad(
    layer: PadLayer, plan: Plan, ruler: Ruler, instruments: Mapping[str, Instrument]
) -> LayerSound:
    made = pad_sound(layer, plan, ruler, instruments.get(layer.instrument))
    if not layer.instrument or layer.instrument in instruments:
        return made
    note = f"'{layer.name}' plays its {layer.sound} sound: {layer.instrument} was not loaded."
    return replace(made, notes=(note,))


def _sum_of(sides: dict[_SideName, Floats32]) -> Floats32:
    """All sides, added up in float64 a block at a time."""
    outgoing, *others = sides.values()
    total = np.empty_like(outgoing)
    for begin in range(0, len(total), _BLOCK_FRAMES):
        block = slice(begin, begin + _BLOCK_FRAMES)
        added = outgoing[block].astype(np.float64)
        for side in others:
            added += side[block]
        total[block] = added
    return total


def _scale(samples: Floats32, gain_db: float) -> None:
    """Louder or softer; in place."""
    for _, block in sounding_blocks(samples):
        np.multiply(block, np.float32(10 ** (gain_db / 20)), out=block)


def _fade_in(side: Floats32, n_frames: int) -> None:
    fade = np.sin((np.arange(n_frames) + 0.5) / n_frames * np.pi / 2) ** 2
    side[:n_frames] *= fade[: len(side), None].astype(np.float32)
