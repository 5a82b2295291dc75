"""The pad: sustained chords, wide and slowly moving, in tune with the songs.

Every note is played by several detuned voices spread over the stereo field
(the bass by one, in the middle, since two would beat); each voice reads a band-limited cycle that
moves between a dark and a bright form. Chorus and hall follow, and the whole
is brought to the plan's target loudness, measured by ITU-R BS.1770 (gated, over
the whole pad) before its gain curve and filter: a curve of -6 dB plays it 6 LU
below the songs.

Where recorded notes play instead of the built-in voices, the nearest is made as long as
needed by repeating its middle with cross-fades, and read at the speed that gives its
pitch, without aliasing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.loudness import BLOCK_STEP_S
from segue.music.key import hertz_of
from segue.render.layer_sound import LayerSound, Ruler, at_loudness
from segue.render.moving_filter import lowpassed
from segue.render.pad_tables import TABLE_FRAMES, PadNote, add_voices, cycle_pair, pad_notes
from segue.render.shape import FEWEST_FRAMES, through
from segue.render.stretch import crossfaded
from segue.render.varispeed import chorused, read_at

if TYPE_CHECKING:
    from segue.arrays import Floats, Floats32
    from segue.audio.clip import Clip
    from segue.audio.instrument import Instrument
    from segue.plan.layer import PadLayer, PadSound
    from segue.plan.plan import Plan


_VOICES, _BASS_VOICES = 5, 1  # detuned voices of a note; a bass has one, for it would beat
_DETUNE_CENTS: Final = 9.0  # the outer voices are this far off; by judgement
_DRIFT_CENTS: Final = 2.0  # and each drifts this far either way (`DRIFT_RATIO`)
_MOVE_HZ: Final[dict[PadSound, tuple[float, float]]] = {
    "warm": (700.0, 2_200.0),
    "glass": (2_500.0, 9_000.0),
    "choir": (2_200.0, 5_000.0),
}
"""Range of the slow movement of the pad's own low-pass; set by judgement."""
_MOVE_S: Final = 11.0  # the low-pass opens and closes once in this time; by judgement
_CHORUS_RINGS_S: Final = 0.25  # the chorus is over after this time; by judgement
_HALL_RINGS_S: Final = 10.0
"""After this long the chorus and the low-pass, and the hall, are below -140 dB; the hall falls by
60 dB in 3 s."""


def pad_sound(
    layer: PadLayer, plan: Plan, ruler: Ruler, instrument: Instrument | None = None
) -> LayerSound:
    """The pad before its curves.

    Parameters
    ----------
    instrument : Instrument, optional
        Plays instead of the built-in voices, without their chorus and hall.

    Returns
    -------
    LayerSound
        Up to where nothing of it can be heard any more.
    """
    if instrument is not None:
        sampled = _sampled(layer, plan, ruler, instrument)
        return LayerSound(samples=at_loudness(sampled, plan.target_lufs, ruler.rate_hz))
    rate_hz, n_frames = ruler.rate_hz, ruler.n_frames
    notes = pad_notes(layer, plan)
    spans = [_span(note, rate_hz, n_frames) for note in notes]
    first = min(begin for begin, _ in spans)
    first -= first % round(BLOCK_STEP_S * rate_hz)  # loudness is measured in these steps
    played = min(max(end for _, end in spans) + round(_CHORUS_RINGS_S * rate_hz), n_frames)
    last = min(played + round(_HALL_RINGS_S * rate_hz), n_frames)
    if last - first <= FEWEST_FRAMES:
        return LayerSound(samples=np.zeros((n_frames, 2), dtype=np.float32))
    generator = np.random.default_rng(plan.seed)
    part = ruler.part(first, played)
    upper, bass = _buses(layer, plan, part, first, notes, generator)
    dry = np.zeros((last - first, 2), dtype=np.float32)
    dry[: played - first] = _moved(upper, bass, first, layer.sound, rate_hz, generator)
    sound = at_loudness(_roomed(dry, rate_hz), plan.target_lufs, rate_hz)
    return LayerSound(samples=sound, first_frame=first)


def _buses(
    layer: PadLayer,
    plan: Plan,
    part: Ruler,
    first_frame: int,
    notes: tuple[PadNote, ...],
    generator: np.random.Generator,
) -> Floats32:
    """Upper notes and bass on a stereo bus each, (2, n_frames, 2)."""
    buses = np.zeros((2, part.n_frames, 2), dtype=np.float32)
    bend = _bend(layer, plan, part)
    for note in notes:
        bus = buses[int(note.is_bass)]
        _play(note, layer.sound, (bend, first_frame), part.rate_hz, generator, bus)
    return buses


def _sampled(layer: PadLayer, plan: Plan, ruler: Ruler, instrument: Instrument) -> Floats32:
    """The chords as an instrument plays them."""
    bend = _bend(layer, plan, ruler)
    total = np.zeros((ruler.n_frames, 2))
    for note in pad_notes(layer, plan):
        begin, end = _span(note, ruler.rate_hz, ruler.n_frames)
        if end > begin:
            sound = sampled_note(instrument, note.midi, bend[begin:end], ruler.rate_hz)
            total[begin:end] += sound * _envelope(note, begin, end, ruler.rate_hz)[:, None]
    return total.astype(np.float32)


def _span(note: PadNote, rate_hz: int, n_frames: int) -> tuple[int, int]:
    """First frame of a note and the one after its last."""
    begin = max(round((note.start_s - note.attack_s / 2) * rate_hz), 0)
    return begin, min(round((note.end_s + note.release_s / 2) * rate_hz), n_frames)


def _bend(layer: PadLayer, plan: Plan, ruler: Ruler) -> Floats:
    """Factor on every pitch: from the old song's tuning to the new one's in the first chord."""
    first = layer.voicings[0]
    glide_end = min(first.end_beat, first.start_beat + (layer.end_beat - first.start_beat) / 2)
    cents = np.interp(
        ruler.beats,
        [first.start_beat, glide_end],
        [plan.key_from_tuning_cents, plan.key_to_tuning_cents],
    )
    factors: Floats = 2 ** (cents / 1200)
    return factors


def _play(
    note: PadNote,
    sound: PadSound,
    bent: tuple[Floats, int],
    rate_hz: int,
    generator: np.random.Generator,
    onto: Floats32,
) -> None:
    """Add one note to a stereo bus; `bent` has the bend and the frame of the plan it starts at."""
    bend, first_frame = bent
    begin, end = _span(note, rate_hz, first_frame + len(onto))
    if end <= begin:
        return
    n_voices = _BASS_VOICES if note.is_bass else _VOICES
    spread = np.linspace(-1.0, 1.0, n_voices)
    cents = spread * (0.0 if note.is_bass else _DETUNE_CENTS)
    cents = cents + (0.0 if note.is_bass else generator.uniform(-1.0, 1.0, n_voices))
    pans = np.zeros(n_voices) if note.is_bass else generator.permutation(spread) * 0.9
    pitch_hz = hertz_of(float(note.midi))
    highest_hz = pitch_hz * float(bend.max()) * 2 ** ((cents.max() + _DRIFT_CENTS) / 1200)
    tables = cycle_pair(sound, highest_hz, rate_hz, generator)
    angle = (pans + 1) * np.pi / 4
    level = (1.4 if note.is_bass else 1.0) / np.sqrt(n_voices)
    there = slice(begin - first_frame, end - first_frame)
    add_voices(
        onto[there],
        tables,
        _envelope(note, begin, end, rate_hz) * level,
        bend[there] * pitch_hz * TABLE_FRAMES / rate_hz,
        np.stack([2 ** (cents / 1200), np.cos(angle), np.sin(angle)], axis=1),
        generator.random((n_voices, 3)),
        rate_hz,
    )


def _envelope(note: PadNote, begin: int, end: int, rate_hz: int) -> Floats:
    """Equal-power rise and fall: sine shaped, so that overlapping notes keep the level."""
    shape = np.ones(end - begin)
    rise = slice(0, max(round((note.start_s + note.attack_s / 2) * rate_hz) - begin + 1, 0))
    fall = slice(max(round((note.end_s - note.release_s / 2) * rate_hz) - begin - 1, 0), None)
    time_s = (np.arange(begin, end) + 0.5) / rate_hz
    risen_share = (time_s[rise] - note.start_s) / note.attack_s + 0.5
    left_share = (note.end_s - time_s[fall]) / note.release_s + 0.5
    shape[rise] = np.sin(np.clip(risen_share, 0, 1) * np.pi / 2)
    shape[fall] *= np.sin(np.clip(left_share, 0, 1) * np.pi / 2)
    return shape


def _moved(
    upper: Floats32,
    bass: Floats32,
    first_frame: int,
    sound: PadSound,
    rate_hz: int,
    generator: np.random.Generator,
) -> Floats32:
    """All voices after a low-pass that opens and closes slowly; the upper ones in a chorus."""
    low_hz, high_hz = _MOVE_HZ[sound]
    turns = np.arange(first_frame, first_frame + len(upper), dtype=np.float64)
    turns /= rate_hz * _MOVE_S
    turns += generator.random()
    turns *= 2 * np.pi
    np.sin(turns, out=turns)
    turns *= 0.5 * np.log(high_hz / low_hz)
    cutoffs = np.exp(turns, out=turns)
    cutoffs *= np.sqrt(low_hz * high_hz)
    wide = chorused(upper, rate_hz, first_frame=first_frame)
    wide += bass
    return lowpassed(wide, cutoffs, rate_hz)


def _roomed(dry: Floats32, rate_hz: int) -> Floats32:
    """The pad in a small hall, at any level."""
    from pedalboard import HighpassFilter, Pedalboard, Reverb

    hall = Pedalboard(
        [
            HighpassFilter(160.0),
            Reverb(room_size=0.8, damping=0.5, wet_level=0.12, dry_level=0.0, width=1.0),
        ]
    )
    peak = float(np.abs(dry).max(initial=0.0)) or 1.0
    sound = dry / np.float32(2 * peak)
    sound += through(hall, sound, rate_hz)
    return sound


_LOOP_FROM, _LOOP_TO = 0.3, 0.85
"""Share of a note between which it is repeated; set by judgement."""
# The held part is crossed with its own repeat over this share; by judgement
_JOIN_SHARE: Final = 0.4
_TABLE_BEYOND: Final = 64  # frames read beyond the end, for the kernel that reads between frames


def sampled_note(instrument: Instrument, midi: float, bend: Floats, rate_hz: int) -> Floats32:
    """A note held for a time.

    Parameters
    ----------
    midi : float
        Pitch at a bend of 1.
    bend : ndarray, shape (n_frames,)
        Factor on the pitch, frame by frame.
    rate_hz : int
        Of the sound that is made.

    Returns
    -------
    ndarray, shape (n_frames, 2), float32
    """
    recorded = instrument.nearest(midi)
    speed = 2 ** ((midi - recorded.midi) / 12) * recorded.clip.rate_hz / rate_hz
    places = np.concatenate(([0.0], np.cumsum(speed * bend[:-1])))
    return read_at(sustained(recorded.clip, int(places[-1]) + _TABLE_BEYOND), places)


def sustained(clip: Clip, n_frames: int) -> Floats32:
    """A note at least so long: as recorded, then its middle again and again.

    Returns
    -------
    ndarray, shape (at least n_frames, n_channels), float32
    """
    if n_frames <= clip.n_frames * _LOOP_TO:
        return clip.samples
    begin, end = (round(share * clip.n_frames) for share in (_LOOP_FROM, _LOOP_TO))
    middle = _level(clip.samples[begin:end])
    join = round(_JOIN_SHARE * len(middle))
    first = np.array(clip.samples[:end])
    first[begin:] = middle
    parts = [first[: end - join]]
    length = end - join
    while length < n_frames:
        parts.append(crossfaded(middle[-join:], middle[:join]))
        parts.append(middle[join:-join])
        length += len(middle) - join
    return np.concatenate(parts)


def _level(middle: Floats32) -> Floats32:
    """The middle without its slow decay, so that no repeat starts louder than the last ended."""
    halves = np.array_split(middle, 2)
    powers = [float(np.mean(np.square(half, dtype=np.float64))) for half in halves]
    if min(powers) <= 0:
        return middle
    fall_db = 20 * np.log10(powers[1] / powers[0])  # over the whole, twice that between halves
    share = np.arange(len(middle)) / len(middle)
    levelled: Floats32 = middle * 10 ** (-fall_db * share / 20)[:, None]
    return levelled.astype(np.float32)
