"""Better and worse segues of real songs, each pair apart by one fault or virtue that anyone names.

Half are damaged, half improved: the sound of a rendered segue is changed in one way, and which of
the two is better is certain.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from benchmarks._score_damage import mixed
from segue.analysis.facts import have_pulses
from segue.plan.layer import FrozenLayer, PadLayer, PlayedLayer, SongLayer
from segue.score import holes
from segue.score.bridge import bridge_of
from segue.score.leaving import source_s
from segue.score.listening_to import hear
from segue.score.weights import WEIGHTS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from benchmarks._score_pairs import Sound
    from benchmarks._score_real import RealSegue
    from segue.audio.clip import Clip
    from segue.render.candidate import Candidate
    from segue.score.weights import Purpose

SIDES: Final = ("outgoing", "interlude", "incoming")


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two segues of which one is certainly better.

    Parameters
    ----------
    fault, kind : str
        The single fault or virtue, and in which way it was made.
    purpose : {'talk', 'lift', 'calm', 'dance'} or None
    """

    segue: str
    fault: str
    kind: str
    purpose: Purpose | None
    better: Candidate
    worse: Candidate


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A fault or a virtue.

    Parameters
    ----------
    fault : str
        What it is an example of.
    done : callable
        From a segue to its changed candidate; None where it cannot be done to that one.
    improves : bool
        Whether the changed one is the better of the two.
    talk : bool or None
        Whether it is about beds to talk over; None is either.
    """

    fault: str
    name: str
    done: Callable[[RealSegue], Candidate | None]
    purpose: Purpose | None = None
    improves: bool = False
    talk: bool | None = False


def comparisons(segue: RealSegue) -> Iterator[Comparison]:
    """All comparisons that can be made of a segue."""
    done, changed = None, None
    for kind in KINDS:
        if kind.talk is not None and kind.talk != segue.is_for_talk:
            continue
        if kind.done is not done:  # the same for another purpose stands next to it
            done, changed = kind.done, kind.done(segue)
        if changed is None:
            continue
        two = (segue.candidate, changed)
        better, worse = two[::-1] if kind.improves else two
        yield Comparison(
            segue=segue.name,
            fault=kind.fault,
            kind=kind.name,
            purpose=kind.purpose,
            better=better,
            worse=worse,
        )


def _side(candidate: Candidate, name: str) -> Sound:
    clip: Clip = getattr(candidate, name)
    return clip.samples.astype(np.float64)


def _sides(candidate: Candidate) -> dict[str, Sound]:
    return {name: _side(candidate, name) for name in SIDES}


def _frame(candidate: Candidate, time_s: float) -> int:
    return round(time_s * candidate.music.rate_hz)


def _bridge(candidate: Candidate) -> tuple[int, int]:
    plan = candidate.plan
    exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
    return _frame(candidate, exit_s), _frame(candidate, entry_s)


def _has_bridge(segue: RealSegue, least_s: float = 3.0) -> bool:
    low, high = _bridge(segue.candidate)
    return high - low > least_s * segue.candidate.music.rate_hz


def _ridden(candidate: Candidate, gains_db: npt.ArrayLike) -> Candidate:
    """The bridge, all of it, with its gain led through some values from exit to entry."""
    low, high = _bridge(candidate)
    n_frames, reach = candidate.music.n_frames, round(0.05 * candidate.music.rate_hz)
    values = np.asarray(gains_db, dtype=np.float64)
    at = np.linspace(low + reach, max(high - reach, low + reach + 1), len(values))
    frames = np.arange(n_frames)
    inside = np.interp(frames, at, values)
    share = np.clip(np.minimum(frames - low, high - frames) / reach, 0.0, 1.0)
    gain = 10.0 ** (inside * share / 20.0)[:, np.newaxis]
    return mixed(candidate, **{name: side * gain for name, side in _sides(candidate).items()})


def off_level(segue: RealSegue) -> Candidate:
    """The new song is moved 7 dB away from the old one's level, to the side it leans to."""
    sound = _side(segue.candidate, "incoming")
    low, high = _bridge(segue.candidate)
    old = _loud(_side(segue.candidate, "outgoing")[:low], segue)
    way = 1.0 if _loud(sound[high:], segue) >= old else -1.0
    return mixed(segue.candidate, incoming=sound * 10 ** (way * 7 / 20))


def _loud(sound: Sound, segue: RealSegue) -> float:
    """Root mean square of the louder half of a stretch, in blocks of a second."""
    n = segue.candidate.music.rate_hz
    blocks = [float(np.mean(sound[k : k + n] ** 2)) for k in range(0, max(len(sound) - n, 1), n)]
    return float(np.mean(sorted(blocks)[len(blocks) // 2 :]))


def hole(segue: RealSegue) -> Candidate | None:
    """Nothing for two seconds in the bridge."""
    if not _has_bridge(segue, 4.0):
        return None
    candidate = segue.candidate
    low, high = _bridge(candidate)
    half = candidate.music.rate_hz
    middle = (low + high) // 2
    sides = _sides(candidate)
    for sound in sides.values():
        sound[middle - half : middle + half] = 0.0
    return mixed(candidate, **sides)


def dip(segue: RealSegue) -> Candidate | None:
    """The bridge dies away by 14 dB towards bar one."""
    return _ridden(segue.candidate, [0, 0, 0, -14]) if _has_bridge(segue) else None


def far_below(segue: RealSegue) -> Candidate | None:
    """The whole bridge 12 dB lower."""
    return _ridden(segue.candidate, [-12, -12]) if _has_bridge(segue) else None


def out_of_tune(segue: RealSegue) -> Candidate | None:
    """What was made for the bridge is 35 cents sharp."""
    import pedalboard

    candidate = segue.candidate
    played = [
        x for x in candidate.plan.layers if isinstance(x, PadLayer | PlayedLayer | FrozenLayer)
    ]
    low, high = _bridge(candidate)
    inside = _side(candidate, "interlude")[low:high]
    if not played or not _has_bridge(segue) or np.sqrt(np.mean(inside**2)) < _AUDIBLE:
        return None
    sound = np.ascontiguousarray(candidate.interlude.samples.T)
    moved = pedalboard.time_stretch(
        sound, candidate.music.rate_hz, pitch_shift_in_semitones=_SHARP_SEMITONES
    )
    made = np.zeros_like(_side(candidate, "interlude"))
    n = min(len(made), moved.shape[1])
    made[:n] = moved.T[:n]
    return mixed(candidate, interlude=made)


_AUDIBLE: Final = 0.02  # root mean square of a part that is no trace
_SHARP_SEMITONES: Final = 0.35


def beat_gone(segue: RealSegue) -> Candidate | None:
    """The bridge becomes a cloud of its own sound, without any attack."""
    candidate = segue.candidate
    sure = all(f.pulse.confidence >= _SURE_PULSE for f in segue.facts)
    if not _has_bridge(segue) or not sure:
        return None
    hearing = hear(candidate, *segue.facts)
    stops = candidate.plan.stop_beats > 0 or holes.hole(hearing).value > _STOP_S
    if hearing.bridge.pulse < _BEATS or stops:
        return None  # a cloud would fill a stop of its own
    low, high = _bridge(candidate)
    sides = _sides(candidate)
    together = sum(side[low:high] for side in sides.values())
    half = candidate.music.rate_hz // 2
    blocks = [np.mean(together[k : k + half] ** 2) for k in range(0, high - low - half, half)]
    if min(blocks) < 0.04 * np.median(blocks):
        return None
    for side in sides.values():
        side[low:high] = 0.0
    sides["interlude"][low:high] = _cloud(together, candidate.music.rate_hz)
    return mixed(candidate, **sides)


_STOP_S: Final = 0.7  # of a hole: longer is a stop
_BEATS: Final = 0.6  # a bridge with so much of the songs' pulse has a beat to lose


def _cloud(sound: Sound, rate_hz: int) -> Sound:
    """Spectra averaged over a second and more, with phases drawn anew: no attack is left."""
    from scipy.ndimage import uniform_filter1d
    from scipy.signal import istft, stft

    rng = np.random.default_rng(len(sound))
    made = np.zeros_like(sound)
    for channel in range(sound.shape[1]):
        _, _, found = stft(sound[:, channel], rate_hz, nperseg=4096, noverlap=3072)
        size = np.sqrt(uniform_filter1d(np.abs(found) ** 2, 40, axis=1, mode="nearest"))
        phases = np.exp(2j * np.pi * rng.random(size.shape))
        _, back = istft(size * phases, rate_hz, nperseg=4096, noverlap=3072)
        n = min(len(back), len(sound))
        made[:n, channel] = back[:n]
    scale = np.sqrt(np.mean(sound**2) / max(float(np.mean(made**2)), 1e-12))
    return np.asarray(made * scale)


def beat_added(segue: RealSegue) -> Candidate | None:
    """A bridge without a beat gets a plain kit, in time, between songs that have one."""
    candidate, plan = segue.candidate, segue.candidate.plan
    if not _has_bridge(segue) or not all(have_pulses(f) for f in segue.facts):
        return None
    if not bridge_of(plan, candidate.music).is_static:
        return None
    rate_hz = candidate.music.rate_hz
    kit = np.zeros(candidate.music.n_frames)
    t = np.arange(round(0.18 * rate_hz)) / rate_hz
    rng = np.random.default_rng(3)
    kick = np.sin(2 * np.pi * (50 * t + 4 * (1 - np.exp(-t * 40)))) * np.exp(-t * 18)
    hiss = 0.5 * rng.normal(size=len(t)) * np.exp(-t * 30)
    for beat in range(int(np.ceil(plan.exit_beat)), int(plan.entry_beat)):
        hit = kick if (beat - round(plan.entry_beat)) % 2 == 0 else hiss
        at = _frame(candidate, plan.seconds_at(beat))
        end = min(at + len(hit), len(kit))
        kit[at:end] += hit[: end - at]
    songs = candidate.outgoing.samples.astype(np.float64) + candidate.incoming.samples
    low, high = _bridge(candidate)
    level = np.sqrt(np.mean(np.concatenate([songs[:low], songs[high:]]) ** 2))
    kit *= level / max(float(np.sqrt(np.mean(kit[low:high] ** 2))), 1e-9)
    made = _side(candidate, "interlude") + kit[:, np.newaxis]
    return mixed(candidate, interlude=made)


def odd_bar(segue: RealSegue) -> Candidate | None:
    """The new song is entered a bar late: its first bar is left out."""
    candidate, plan = segue.candidate, segue.candidate.plan
    new = segue.facts[1]
    at_s = source_s(plan, "incoming", plan.entry_beat)
    if at_s is None or new.opening is None or not new.pulse.is_known:
        return None
    bar_s = new.pulse.beat_s * new.pulse.metre
    if abs(at_s - new.opening.first_downbeat_s) > _NEAR_BARS * bar_s:
        return None
    _, high = _bridge(candidate)
    n = round(bar_s * candidate.music.rate_hz)
    sound = _side(candidate, "incoming")
    end = len(sound) - round(2.0 * candidate.music.rate_hz)  # before it is faded out
    rest = np.concatenate([sound[high + n : end], sound[end - n : end], sound[end:]])
    made = np.concatenate([sound[:high], rest])[: len(sound)]
    layers = tuple(
        replace(
            layer,
            time_map=tuple(replace(p, source_s=p.source_s + bar_s) for p in layer.time_map),
        )
        if isinstance(layer, SongLayer)
        and layer.song == "incoming"
        and layer.end_beat > plan.entry_beat
        else layer
        for layer in plan.layers
    )
    changed = mixed(candidate, incoming=made)
    return replace(changed, plan=replace(plan, layers=layers))


_NEAR_BARS: Final = 0.15  # of its bar one


def ending_cut(segue: RealSegue) -> Candidate | None:
    """The last chord of the old song is cut after a quarter of its ring."""
    candidate, plan = segue.candidate, segue.candidate.plan
    ending = segue.facts[0].ending
    if ending is None or ending.kind not in ("cold stop", "ring-out"):
        return None
    at_s = source_s(plan, "outgoing", plan.exit_beat)
    if ending.last_chord_s is None or ending.rung_out_s is None or at_s is None:
        return None
    ring_s = ending.rung_out_s - ending.last_chord_s
    chord_s = plan.seconds_at(plan.exit_beat) - (at_s - ending.last_chord_s)
    if ring_s < _LEAST_RING_S or not 0.5 < chord_s:  # noqa: SIM300 - the chord comes after the start
        return None
    cut = _frame(candidate, chord_s + ring_s / 4)
    sound = _side(candidate, "outgoing")
    before = np.sqrt(np.mean(sound[cut - 2_000 : cut] ** 2))
    if before < _AUDIBLE:
        return None
    sound[cut : cut + 400] *= np.linspace(1, 0, 400)[:, np.newaxis]
    sound[cut + 400 :] = 0.0
    return mixed(candidate, outgoing=sound)


_LEAST_RING_S: Final = 0.8  # a chord that rings less long has nothing to cut


def rises(segue: RealSegue) -> Candidate | None:
    """A bridge that does not rise rises into bar one, by 8 dB."""
    bridge = bridge_of(segue.candidate.plan, segue.candidate.music)
    if not _has_bridge(segue, 4.0) or bridge.rise_lu > _LEVEL_LU or bridge.below_lu < -_LEVEL_LU:
        return None
    return _ridden(segue.candidate, [-3, -1, 2, 5])


def falls(segue: RealSegue) -> Candidate | None:
    """The bridge sinks towards bar one, by 9 dB."""
    return _ridden(segue.candidate, [2, -1, -4, -7]) if _has_bridge(segue, 4.0) else None


def swells(segue: RealSegue) -> Candidate | None:
    """The bridge becomes louder and louder, by 12 dB, where calm is wanted."""
    bridge = bridge_of(segue.candidate.plan, segue.candidate.music)
    if not _has_bridge(segue, 4.0) or bridge.below_lu > _LOW_LU:
        return None  # to fill up one that lies too low may be right
    return _ridden(segue.candidate, [-4, 0, 4, 8])


_LEVEL_LU: Final = 2.0
_LOW_LU: Final = 6.0


def two_bands(segue: RealSegue) -> Candidate | None:
    """The old song's last seconds go on under the new song, out of step with it."""
    candidate = segue.candidate
    low, high = _bridge(candidate)
    rate_hz = candidate.music.rate_hz
    start = high + round((2.0 + _OUT_OF_STEP_S) * rate_hz)  # what bar one is like stays as it is
    n = min(7 * rate_hz, low - rate_hz, candidate.music.n_frames - start - rate_hz)
    if n < 4 * rate_hz:
        return None
    sound = _side(candidate, "outgoing")
    added = sound[low - rate_hz - n : low - rate_hz].copy()
    new = _side(candidate, "incoming")[start : start + n]
    loud = float(np.mean(added**2))
    if loud < _AUDIBLE**2 or not 0.2 < loud / np.mean(new**2) < 5.0:
        return None  # one masks the other
    ramp = np.clip(np.minimum(np.arange(n), n - np.arange(n)) / (0.05 * rate_hz), 0, 1)
    sound[start : start + n] += added * ramp[:, np.newaxis]
    return mixed(candidate, outgoing=sound)


_OUT_OF_STEP_S: Final = 0.17


def late(segue: RealSegue) -> Candidate | None:
    """The new song comes 90 ms late, after a beat that leads up to it."""
    candidate = segue.candidate
    if not segue.facts[1].pulse.confidence >= _SURE_PULSE:
        return None
    n = round(0.09 * candidate.music.rate_hz)
    sound = _side(candidate, "incoming")
    return mixed(candidate, incoming=np.pad(sound, ((n, 0), (0, 0)))[: len(sound)])


_SURE_PULSE: Final = 0.6


def bed_loud(segue: RealSegue) -> Candidate | None:
    """The bed is as loud as the songs: nobody is heard over it."""
    candidate = segue.candidate
    low, high = _bridge(candidate)
    music = candidate.music.samples.astype(np.float64)
    bed = np.mean(music[low:high] ** 2)
    songs = np.mean(np.concatenate([music[:low], music[high:]]) ** 2)
    half = candidate.music.rate_hz // 2
    blocks = [np.mean(music[k : k + half] ** 2) for k in range(low, high - half, half)]
    if not _has_bridge(segue) or songs < 4 * bed or np.median(blocks) < bed / _UNEVEN:
        return None  # most of an uneven bed would still lie low
    gain_db = float(10 * np.log10(songs / max(bed, 1e-9)))
    return _ridden(candidate, [gain_db, gain_db])


_UNEVEN: Final = 4.0  # of power: half of the bed lies so far below its mean


def bed_gone(segue: RealSegue) -> Candidate | None:
    """The bed lies 16 dB lower: as good as silence."""
    return _ridden(segue.candidate, [-16, -16]) if _has_bridge(segue) else None


def bed_busy(segue: RealSegue) -> Candidate | None:
    """A bright patter of eight hits a second over the bed."""
    if not _has_bridge(segue):
        return None
    candidate = segue.candidate
    low, high = _bridge(candidate)
    rate_hz, rng = candidate.music.rate_hz, np.random.default_rng(5)
    t = np.arange(round(0.05 * rate_hz)) / rate_hz
    patter = np.zeros(candidate.music.n_frames)
    for at in range(low, high - len(t), rate_hz // 8):
        patter[at : at + len(t)] += np.sin(2 * np.pi * rng.uniform(1500, 3500) * t) * np.exp(
            -t * 60
        )
    bed = _side(candidate, "interlude") + _side(candidate, "outgoing")
    level = np.sqrt(np.mean(bed[low:high] ** 2))
    patter *= level / max(float(np.sqrt(np.mean(patter[low:high] ** 2))), 1e-9)
    return mixed(candidate, interlude=_side(candidate, "interlude") + patter[:, np.newaxis])


KINDS: Final = (
    Kind(fault="level", name="level: new song off the old", done=off_level, talk=None),
    Kind(fault="level", name="level: bridge far below", done=far_below),
    Kind(fault="hole", name="hole", done=hole),
    Kind(fault="hole", name="hole for dancing", done=hole, purpose="dance"),
    Kind(fault="hole", name="dip before bar one", done=dip),
    Kind(fault="tune", name="tune", done=out_of_tune, talk=None),
    Kind(fault="pulse", name="pulse gone, for dancing", done=beat_gone, purpose="dance"),
    Kind(fault="pulse", name="pulse gone", done=beat_gone),
    Kind(
        fault="pulse",
        name="pulse added, for dancing",
        done=beat_added,
        purpose="dance",
        improves=True,
    ),
    Kind(fault="phrase", name="phrase", done=odd_bar),
    Kind(fault="ending cut", name="ending cut", done=ending_cut, talk=None),
    Kind(fault="rise", name="rise added, for a lift", done=rises, purpose="lift", improves=True),
    Kind(fault="rise", name="rise turned to a fall, for a lift", done=falls, purpose="lift"),
    Kind(fault="rise", name="rise where calm is wanted", done=swells, purpose="calm"),
    Kind(fault="clash", name="clash of two bands", done=two_bands),
    Kind(fault="late", name="late", done=late),
    Kind(fault="bed", name="bed too loud", done=bed_loud, talk=True),
    Kind(fault="bed", name="bed gone", done=bed_gone, talk=True),
    Kind(fault="bed", name="bed busy", done=bed_busy, talk=True),
)
"""What anyone would call worse, or better."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A comparison as the score sees it: marks of both, and which has a bad fault."""

    segue: str
    fault: str
    kind: str
    purpose: Purpose | None
    marks: tuple[dict[str, float], dict[str, float]]
    faults: tuple[tuple[str, ...], tuple[str, ...]]

    def margin(self, ratios: dict[str, float]) -> float:
        """How much higher the better one is, by the table with some weights changed."""
        totals = []
        for marks in self.marks:
            weights = {n: WEIGHTS[n][self.purpose] * ratios.get(n, 1.0) for n in marks}
            totals.append(sum(weights[n] * marks[n] for n in marks) / sum(weights.values()))
        return totals[0] - totals[1]

    def is_right(self, ratios: dict[str, float]) -> bool:
        """Whether the better one is ranked first."""
        bad = [bool(faults) for faults in self.faults]
        return bad[1] if bad[0] != bad[1] else self.margin(ratios) > 0


TOLD: Final = (
    "hole", "cliff", "bar_one", "drive", "fullness", "level_match", "pulse", "fill",
    "groove_clash", "tuning", "phrase", "last_chord", "entry_timing", "bar_line",
    "speech_level", "speech_room",
)  # fmt: skip
"""Measures that tell of the faults and virtues by which the comparisons are apart."""


def fitted_ratios(judged: list[Judged], *, hold: float = 3.0) -> dict[str, float]:
    """Ratios to the table that order comparisons rightly, held near 1, by a logistic loss.

    What the comparisons say nothing about, such as the way of the harmony, keeps its weight.
    """
    from scipy.optimize import minimize

    names = sorted(TOLD)

    def loss(x: npt.NDArray[np.float64]) -> float:
        ratios = dict(zip(names, np.exp(x), strict=True))
        margins = np.array([one.margin(ratios) for one in judged])
        return float(np.log1p(np.exp(-_SHARP * margins)).sum() + hold * x @ x)

    found = minimize(loss, np.zeros(len(names)), method="L-BFGS-B")
    return dict(zip(names, np.exp(found.x).round(2).tolist(), strict=True))


_SHARP: Final = 60.0  # a margin of 0.02 gives odds of 3 to 1
