"""What leads to its end: a riser, a swell, a song's own sound backwards; and an impact.

Levels, colours and envelopes are set by judgement. Noise is as loud at its loudest
(momentary loudness, ITU-R BS.1770) as the plan's target, before its curves.

Backwards a song sounds in a long hall, growing into its last beat. The hall is noise that
dies away evenly, faster at the top, as measured halls do [Moo79]_, made as long as the layer
so that the growth spans it whole.

References
----------
.. [Moo79] J. A. Moorer, "About this reverberation business", Computer Music
   Journal 3(2), 1979, 13-28 (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from segue.audio.clip import Clip, SongEdge, excerpt
from segue.audio.loudness import integrated_lufs
from segue.music.key import hertz_of
from segue.render.layer_sound import (
    WORTH_SAYING_S,
    LayerSound,
    Ruler,
    at_peak_loudness,
    faded,
    frames_of,
    mix_played_whole,
)
from segue.render.moving_filter import highpassed, lowpassed
from segue.render.pad_tables import TABLE_FRAMES, add_voices, cycle_pair

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.arrays import Floats, Floats32
    from segue.plan.layer import ReversedLayer, SweepLayer
    from segue.plan.plan import Plan


# A sweep is over this long before the beat that it leads to; by judgement
STOPS_BEFORE_S: Final = 0.010
_STOP_FADE_S: Final = 0.012  # and fades this quickly there; by judgement
_FADE_IN_S: Final = 0.05  # its start is without a click; by judgement
_CLIMB_OCTAVES: Final = 3.0  # how far the noise of a riser climbs; by judgement
_BAND_HZ: Final = (260.0, 1_000.0)
"""Lower and upper end of the noise where a riser starts."""
_RISER_FROM_DB: Final = -26.0  # where a riser begins below its end; by judgement
_TONE_DB: Final = -5.0  # its tone against its noise; by judgement
_TONE_VOICES: Final = 6  # detuned voices of that tone; by judgement
_TONE_DETUNE_CENTS: Final = 14.0  # the outer ones are this far off; by judgement
_HIGHEST_RATIO: Final = 0.42  # no cutoff or mode above this share of the rate; by judgement
SWELL_RINGS_S: Final = 1.5  # a cymbal goes on for this long after its beat; by judgement
_SWELL_FROM_DB: Final = -48.0  # where a swell begins below its end; by judgement
_SWELL_OPENS_HZ: Final = (900.0, 15_000.0)  # from where to where its top opens; by judgement
_SWELL_BODY_HZ: Final = 320.0  # a cymbal has little below; by judgement
_MODES_A_KHZ: Final = 55  # modes of the metal, dense enough to be no pitch; by judgement
_MODE_WIDTH_HZ: Final = 1.2  # half the width of each at half its size; by judgement
_MODES_UP_TO_HZ: Final = 15_000.0  # none above; by judgement
_WASH_SHARE: Final = 0.45  # share of plain noise beside the modes; by judgement


def sweep_sound(layer: SweepLayer, plan: Plan, rate_hz: int, n_frames: int) -> LayerSound:
    """A riser, a swell or an impact before its curves.

    Parameters
    ----------
    n_frames : int
        Length of the plan: nothing rings on beyond.
    """
    first = max(round(plan.seconds_at(layer.start_beat) * rate_hz), 0)
    end = round(plan.seconds_at(layer.end_beat) * rate_hz)
    generator = np.random.default_rng((plan.seed, 2))
    midi, cents = layer.tone_midi, plan.key_to_tuning_cents
    tone_hz = None if midi is None else hertz_of(midi, cents)
    if layer.sweep == "riser":
        sound = _riser(end - first, tone_hz, rate_hz, generator)
    elif layer.sweep == "swell":
        sound = _swell(end - first, rate_hz, generator)
    else:
        sound = _impact(end - first, tone_hz, rate_hz, generator)
    sound = at_peak_loudness(sound, plan.target_lufs, rate_hz)
    return LayerSound(samples=sound[: n_frames - first], first_frame=first)


def _riser(
    n_frames: int, tone_hz: float | None, rate_hz: int, generator: np.random.Generator
) -> Floats32:
    """Noise in a band that climbs, and a tone that glides up an octave under it."""
    length = max(n_frames - round(STOPS_BEFORE_S * rate_hz), 1)
    share = np.arange(length) / length
    climb = 2 ** (_CLIMB_OCTAVES * share)
    highest = _HIGHEST_RATIO * rate_hz
    noise = generator.standard_normal((length, 2)).astype(np.float32)
    noise = highpassed(noise, np.minimum(_BAND_HZ[0] * climb, highest), rate_hz)
    noise = lowpassed(noise, np.minimum(_BAND_HZ[1] * climb, highest), rate_hz)
    envelope = 10 ** (_RISER_FROM_DB * (1 - share) / 20)
    sound = _of_rms(noise, 0.1)
    if tone_hz is not None:
        tone = _gliding_tone(tone_hz, share, rate_hz, generator)
        sound += _of_rms(tone, 0.1 * 10 ** (_TONE_DB / 20))
    sound *= envelope[:, None]
    shaped = faded(sound.astype(np.float32), rate_hz, in_s=_FADE_IN_S, out_s=_STOP_FADE_S)
    return np.concatenate((shaped, np.zeros((max(n_frames - length, 0), 2), dtype=np.float32)))


def _gliding_tone(
    pitch_hz: float, share: Floats, rate_hz: int, generator: np.random.Generator
) -> Floats32:
    """Detuned voices that glide up an octave and settle on the pitch."""
    spread = np.linspace(-1.0, 1.0, _TONE_VOICES)
    angle = (generator.permutation(spread) + 1) * np.pi / 4
    voices = np.stack((2 ** (spread * _TONE_DETUNE_CENTS / 1200), np.cos(angle), np.sin(angle)), 1)
    tables = cycle_pair("warm", pitch_hz * 1.02, rate_hz, generator)
    glide = 2 ** -(np.clip(1 - share / 0.96, 0.0, 1.0) ** 1.3)
    onto = np.zeros((len(share), 2))
    steps = glide * pitch_hz * TABLE_FRAMES / rate_hz
    starts = generator.random((len(voices), 3))
    add_voices(onto, tables, np.ones(len(share)), steps, voices, starts, rate_hz)
    opening = np.minimum(500.0 * 2 ** (3.5 * share), _HIGHEST_RATIO * rate_hz)
    return lowpassed(onto.astype(np.float32), opening, rate_hz)


def _swell(n_frames: int, rate_hz: int, generator: np.random.Generator) -> Floats32:
    """Metal that grows to the end and rings on, brighter the louder it is."""
    ring = round(SWELL_RINGS_S * rate_hz)
    length = n_frames + ring
    share = np.arange(n_frames) / max(n_frames, 1)
    ring_share = np.arange(ring) / max(ring, 1)
    level_db = np.concatenate(
        (
            _SWELL_FROM_DB * (1 - share),
            -9.0 * (1 - np.exp(-ring_share * 14)) - 40.0 * ring_share,
        )
    )
    opens, open_to = _SWELL_OPENS_HZ
    brightness = np.concatenate((share**0.8, 1 - 0.45 * ring_share))
    cutoffs = np.minimum(opens * (open_to / opens) ** brightness, _HIGHEST_RATIO * rate_hz)
    metal = _metal(length, rate_hz, generator)
    sound = lowpassed(metal, cutoffs, rate_hz) * 10 ** (level_db / 20)[:, None]
    return faded(sound.astype(np.float32), rate_hz, in_s=_FADE_IN_S, out_s=0.3)


def _impact(
    n_frames: int, tone_hz: float | None, rate_hz: int, generator: np.random.Generator
) -> Floats32:
    """Metal that is struck at once and darkens, over a low tone that falls like a big drum's."""
    time_s = np.arange(n_frames) / rate_hz
    opens, open_to = _SWELL_OPENS_HZ
    cutoffs = np.minimum(
        opens + (open_to - opens) * np.exp(-time_s / _IMPACT_DARKENS_S), _HIGHEST_RATIO * rate_hz
    )
    level = 0.6 * np.exp(-time_s / _BURST_S) + 0.4 * np.exp(-time_s / _IMPACT_RINGS_S)
    sound = lowpassed(_metal(n_frames, rate_hz, generator), cutoffs, rate_hz) * level[:, None]
    if tone_hz is not None:
        hertz = tone_hz * (1 + (_FALLS_FROM_RATIO - 1) * np.exp(-time_s / _FALLS_S))
        tone = np.sin(2 * np.pi * np.cumsum(hertz) / rate_hz) * np.exp(-time_s / _THUD_S)
        sound += (_THUD_SIZE * tone * np.minimum(time_s / _ATTACK_S, 1.0))[:, None]
    return faded(sound.astype(np.float32), rate_hz, in_s=_ATTACK_S, out_s=_FADE_IN_S)


# Of an impact; by judgement, all of them: its burst, its ring and the darkening of both...
_BURST_S, _IMPACT_RINGS_S, _IMPACT_DARKENS_S = 0.06, 0.45, 0.3
# ...and its tone: from so many times its pitch, this fast, dying away in this time, so large
_FALLS_FROM_RATIO, _FALLS_S, _THUD_S, _THUD_SIZE = 2.5, 0.04, 0.3, 0.35
_ATTACK_S: Final = 0.001  # its start is without a click


def _metal(n_frames: int, rate_hz: int, generator: np.random.Generator) -> Floats32:
    """Dense inharmonic modes, as a thin plate has them, in a wash of noise.

    A plate's modes lie evenly in frequency; each is a narrow line here. The two
    channels share the modes and have their own phases. One spectrum as long as
    the sound is turned round once, so nothing repeats.
    """
    from scipy.fft import irfft, next_fast_len

    size = next_fast_len(n_frames, real=True)
    hertz = np.fft.rfftfreq(size, 1 / rate_hz)
    top_hz = min(_MODES_UP_TO_HZ, _HIGHEST_RATIO * rate_hz)
    modes = np.full(len(hertz), _WASH_SHARE)
    width = max(_MODE_WIDTH_HZ * size / rate_hz, 1.0)
    reach = int(4 * width)
    shape = 1 / (1 + (np.arange(-reach, reach + 1) / width) ** 2)
    for mode_hz in generator.uniform(_SWELL_BODY_HZ, top_hz, int(_MODES_A_KHZ * top_hz / 1000)):
        centre = round(mode_hz * size / rate_hz)
        low = max(centre - reach, 0)
        line = shape[low - centre + reach :] * generator.uniform(1.0, 6.0)
        modes[low : low + len(line)] += line[: len(modes) - low]
    colour = 1 / np.sqrt(1 + (_SWELL_BODY_HZ / np.maximum(hertz, 1.0)) ** 6)
    colour *= np.clip((top_hz - hertz) / (0.1 * top_hz), 0.0, 1.0)
    colour *= (1 + hertz / 4_000.0) ** -0.5
    turns = generator.random((len(hertz), 2))
    spectrum = (modes * colour)[:, None] * np.exp(2j * np.pi * turns)
    metal = irfft(spectrum, n=size, axis=0)[:n_frames]
    return _of_rms(metal, 0.1).astype(np.float32)


def _of_rms(sound: npt.NDArray[np.floating[Any]], rms: float) -> Floats:
    now = float(np.sqrt(np.mean(np.square(sound, dtype=np.float64)))) or 1.0
    return np.asarray(sound * (rms / now), dtype=np.float64)


GROWTH_DB: Final = 48.0
"""From the first frame to the last; set by judgement."""
_DARKER_ABOVE_HZ: Final = 2_500.0  # a hall loses its top sooner from about here; by judgement
_HIGH_DECAY_RATIO: Final = 1.7  # so many times sooner; by judgement
_HALL_FROM_HZ: Final = 120.0  # its bass is left out, which would be mud; by judgement
_HEARD_RATIO: Final = 0.03  # the chord is there from this share of its peak on; by judgement
_LEVEL_S: Final = 0.08  # width of the two means that make its level curve; by judgement
_MOST_LED_DB: Final = 18.0  # the level is led by no more, up or down; by judgement
_TINY: Final = 1e-18  # keeps the logarithm of silence finite
_NEAR_FADE_S: Final = 0.008  # of its near end; by judgement


def reversed_sound(
    layer: ReversedLayer, edge: SongEdge, plan: Plan, ruler: Ruler, level_db: float
) -> LayerSound:
    """The reversed tail before its curves.

    Returns
    -------
    LayerSound
        At its loudest as loud (momentary) as the excerpt is on the whole.
    """
    from scipy.signal import oaconvolve

    first, last = frames_of(layer, plan, ruler)
    source = edge.sum_of(*layer.roles) if edge.has_stems else edge.mix
    if source is None or last <= first:
        asked = " and ".join(layer.roles)
        silence = np.zeros((max(last - first, 0), 2), dtype=np.float32)
        note = f"'{layer.name}' is silent: {edge.title} has no stem for {asked}."
        return LayerSound(samples=silence, first_frame=first, notes=(note,))
    begin = round((layer.source_s - edge.start_s) * edge.rate_hz)
    dry = _from_its_start(excerpt(source.samples, begin, round(layer.length_s * edge.rate_hz)))
    response = _response(last - first, edge.rate_hz, np.random.default_rng((plan.seed, 3)))
    wet = oaconvolve(
        faded(dry, edge.rate_hz, in_s=_NEAR_FADE_S, out_s=_NEAR_FADE_S), response, axes=0
    )
    grown = np.ascontiguousarray(wet[: last - first][::-1], dtype=np.float32)
    grown = _growing(grown, edge.rate_hz)
    wanted_lufs = integrated_lufs(Clip(samples=dry, rate_hz=edge.rate_hz))
    sound = faded(grown, edge.rate_hz, in_s=_FADE_IN_S, out_s=_NEAR_FADE_S)
    sound = at_peak_loudness(sound, wanted_lufs, edge.rate_hz)
    sound *= np.float32(10 ** (level_db / 20))
    return LayerSound(samples=sound, first_frame=first, notes=_notes(layer, edge))


def _from_its_start(dry: Floats32) -> Floats32:
    """The excerpt without the near-silence before it, which would be a hole at the end."""
    level = np.abs(dry).max(axis=1)
    heard = np.flatnonzero(level > _HEARD_RATIO * level.max(initial=0.0))
    return dry[int(heard[0]) :] if len(heard) else dry


def _growing(sound: Floats32, rate_hz: int) -> Floats32:
    """The sound led to an even growth, without the excerpt's own dips and bumps."""
    from scipy.ndimage import uniform_filter1d

    width = round(_LEVEL_S * rate_hz)
    power = np.square(sound, dtype=np.float64).sum(axis=1)
    level_db = 10 * np.log10(uniform_filter1d(uniform_filter1d(power, width), width) + _TINY)
    wanted_db = level_db.max(initial=-np.inf) - GROWTH_DB * np.arange(len(sound), 0, -1) / len(
        sound
    )
    led_db = np.clip(wanted_db - level_db, -_MOST_LED_DB, _MOST_LED_DB)
    gains = 10 ** (uniform_filter1d(led_db, width) / 20)
    return (sound * gains[:, None]).astype(np.float32)


def _response(n_frames: int, rate_hz: int, generator: np.random.Generator) -> Floats:
    """How the hall answers a clap, in both channels."""
    from scipy.signal import butter, sosfiltfilt

    noise = generator.standard_normal((n_frames, 2))
    level_db = -GROWTH_DB * np.arange(n_frames) / n_frames
    low = sosfiltfilt(butter(1, _DARKER_ABOVE_HZ, fs=rate_hz, output="sos"), noise, axis=0)
    hall = low * 10 ** (level_db / 20)[:, None]
    hall += (noise - low) * 10 ** (_HIGH_DECAY_RATIO * level_db / 20)[:, None]
    bass_cut = butter(1, _HALL_FROM_HZ, "highpass", fs=rate_hz, output="sos")
    response: Floats = sosfiltfilt(bass_cut, hall, axis=0)
    return response


def _notes(layer: ReversedLayer, edge: SongEdge) -> tuple[str, ...]:
    short_s = max(edge.start_s - layer.source_s, 0.0)
    short_s += max(layer.source_s + layer.length_s - edge.end_s, 0.0)
    notes = []
    if short_s > WORTH_SAYING_S:
        notes.append(f"'{layer.name}' takes {short_s:.1f} s that were not decoded as silence.")
    if layer.roles and not edge.has_stems:
        notes.append(mix_played_whole(layer.name, layer.roles, edge.title))
    return tuple(notes)
