"""Plans drawn by number: the real planner on made songs, and what must hold of their sound."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cache
from math import expm1, log
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from segue.analysis.facts import EdgeFacts
from segue.audio.clip import Clip
from segue.music.key import ALL_KEYS
from segue.plan import Plan, plan_segue
from segue.plan.layer import Layer, PadLayer, SongLayer
from segue.plan.shaping import value_at
from segue.recipes import Recipe, load_recipes, shelf_folder
from segue.render import render_candidate
from segue.render.candidate import Candidate
from tests.plan.overlaps import BASS_BELOW_HZ
from tests.render.made_songs import MadeSong, Score, hit_sound, made_song

Sound = npt.NDArray[np.float32]

RATES_HZ: Final = (22_050, 24_000, 32_000, 44_100, 48_000, 88_200, 96_000)
METRES: Final = (3, 4, 6)
TALK_S: Final = 3.0
CLEAR_DB: Final = -15.0
"""A layer planned above this is to be heard."""
DEAD_DB: Final = -60.0
"""Sound below this, against full scale, is dead air."""
STEEPEST_PERCENT: Final = 4.0
_HEARD_S: Final = 3.0
_BAR_S: Final = 4.0
_INTERLUDE_S: Final = 8.0
"""Short draws: how fast a ramp may be, how much of a song is kept, and how long bars may last."""
_WINDOW_S: Final = 0.05
STILL_THERE_DB: Final = 30.0
"""A voice or a bass this far below its own level is gone."""
_THINNED_HZ: Final = 2_000
_RISE_S: Final = 0.1
"""A pad may take this long to rise."""
_NEAR_S: Final = 0.03
"""Hits are looked for this far either way."""
_STILL_CLEAR_HZ: Final = (120.0, 1_500.0)
"""A layer cut above the first or below the second no longer shows its hits, or its sound."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A pair of songs to be, and the recipe to cross them with."""

    number: int
    recipe: Recipe
    old: Score
    new: Score
    rate_hz: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Planned:
    """The songs of a drawn pair, and the plan between them."""

    old: MadeSong
    new: MadeSong
    plan: Plan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Made(Planned):
    """A drawn plan, rendered."""

    drawn: Drawn
    candidate: Candidate


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What was measured of one candidate; every figure is best at nought or below its limit."""

    length_frames: int
    not_finite: int
    true_peak_dbtp: float
    click_ms: float
    entry_ms: float
    old_ms: float
    carried_ms: float
    dead_air_s: float
    two_basses_beats: float
    leaked_frames: int


LIMITS: Final = Figures(
    length_frames=0,
    not_finite=0,
    true_peak_dbtp=-1.0 + 0.02,  # two interpolators, ours and scipy's
    click_ms=1.0,
    entry_ms=2.0,
    old_ms=2.0,
    carried_ms=2.0,
    dead_air_s=0.0,
    two_basses_beats=1.0,
    leaked_frames=0,
)
"""What is promised: EBU R 128 for the peak, the rest by the plan itself."""


@cache
def recipes() -> tuple[Recipe, ...]:
    """The shelf, and two recipes that are refused between most pairs."""
    shelf = load_recipes(shelf_folder())
    by_name = {recipe.name: recipe for recipe in shelf}
    ramp, half = by_name["tempo ramp"], by_name["breakdown and rebuild"]
    short = replace(ramp.length, least=2, default=2, most=2)
    carried = replace(half.length, carry_bars=-1, counted_by="outgoing")
    return (
        *shelf,
        replace(ramp, name="steep ramp", length=short),
        replace(half, name="carried half-time", length=carried),
    )


def drawn(number: int, *, rates_hz: Sequence[int] = RATES_HZ, is_short: bool = False) -> Drawn:
    """The pair and the recipe of a number; recipes take turns.

    Parameters
    ----------
    number : int
    rates_hz : sequence of int, optional
        What the rate is drawn from.
    is_short : bool, optional
        As few bars as the recipe allows, and songs of a few seconds.
    """
    generator = np.random.default_rng((5, number))
    recipe = recipes()[number % len(recipes())]
    if is_short:
        recipe = _shortest(recipe)
    old_bpm, far_bpm = np.exp(generator.uniform(np.log(50), np.log(200), 2))
    near_bpm = float(np.clip(old_bpm * np.exp(generator.uniform(-0.2, 0.2)), 50, 200))
    carries = recipe.length.carry_bars != 0
    endings = ("keeps going",) if carries else ("keeps going", "cold stop", "ring-out", "fade")
    openings = ("on the beat", "on the beat", "pick-up", "free intro")
    keys = [str(key) for key in ALL_KEYS]
    alike = {
        "n_channels": int(generator.integers(1, 3)),
        "has_stems": bool(generator.random() < 0.4),
    }
    old = Score(
        edge="end",
        bpm=float(old_bpm),
        metre=int(generator.choice(METRES)),
        n_bars=int(generator.integers(8, 11) if carries else generator.integers(2, 5)),
        kind=endings[generator.integers(len(endings))],
        key=keys[generator.integers(len(keys))],
        seed=2 * number,
        **alike,
    )
    new = Score(
        edge="start",
        bpm=near_bpm if generator.random() < 0.4 else float(far_bpm),
        metre=int(generator.choice(METRES)),
        n_bars=int(generator.integers(1, 4)),
        kind=openings[generator.integers(len(openings))],
        key=keys[generator.integers(len(keys))],
        seed=2 * number + 1,
        **alike,
    )
    rate_hz = int(generator.choice(rates_hz))
    if is_short:
        length = recipe.length
        least_bars = 2 if old.kind == "fade" else 1
        if carries:
            least_bars = length.least + length.overlap_bars + 1
        counted = old if length.counted_by == "outgoing" else new
        old, new = (
            _trimmed(score, n_bars, length.least if score is counted else 1)
            for score, n_bars in ((old, least_bars), (new, 1))
        )
    return Drawn(number=number, recipe=recipe, old=old, new=new, rate_hz=rate_hz)


def _shortest(recipe: Recipe) -> Recipe:
    """A recipe that takes its fewest bars, and ramps over them."""
    tempo = replace(recipe.tempo, percent_a_beat=STEEPEST_PERCENT)
    length = replace(recipe.length, default=recipe.length.least, aim_s=None)
    return replace(recipe, length=length, tempo=tempo)


def _trimmed(score: Score, least_bars: int, interlude_bars: int) -> Score:
    """A song of no more bars, and no more beats in them, than it needs to be heard."""
    most_beats = min(_INTERLUDE_S / interlude_bars, _BAR_S) / score.beat_s
    metre = max((n for n in METRES if n <= min(most_beats, score.metre)), default=METRES[0])
    n_bars = max(least_bars, int(_HEARD_S / (metre * score.beat_s)))
    return replace(score, metre=metre, n_bars=min(n_bars, score.n_bars))


def made(draw: Drawn, folder: Path) -> Made:
    """The songs written and read, planned and rendered.

    Raises
    ------
    TempoTooFarError
        If the recipe cannot bridge the two tempos.
    """
    pair = planned(draw, folder)
    candidate = render_candidate(pair.plan, pair.old.edge, pair.new.edge)
    return Made(drawn=draw, old=pair.old, new=pair.new, plan=pair.plan, candidate=candidate)


def planned(draw: Drawn, folder: Path) -> Planned:
    """The same before it is rendered."""
    old, new = (made_song(score, draw.rate_hz, folder) for score in (draw.old, draw.new))
    plan = plan_segue(
        draw.recipe,
        old.facts,
        new.facts,
        outgoing_has_stems=old.edge.has_stems,
        incoming_has_stems=new.edge.has_stems,
        talk_s=TALK_S if draw.recipe.suits.talk == "yes" else None,
        match=bool(draw.number % 2),
        seed=draw.number,
    )
    return Planned(old=old, new=new, plan=plan)


def is_too_far(draw: Drawn) -> bool:
    """Whether the tempos are too far apart for the recipe, by the rules as they are told.

    More than 6 % a beat on a ramp, or the old music played at more than twice or less than
    half its tempo; half-time and double-time count as one tempo.
    """
    old_bpm = draw.old.bpm
    new_bpm = min(
        (draw.new.bpm * octave for octave in (0.5, 1.0, 2.0)), key=lambda x: abs(log(x / old_bpm))
    )
    slow, fast = sorted((old_bpm, new_bpm))
    if draw.recipe.name == "steep ramp":  # two bars, the last of them steady
        return expm1(log(fast / slow) / draw.old.metre) > 0.06
    if draw.recipe.tempo.move == "linear":  # evenly, up to the last bars, which are steady
        n_bars = draw.recipe.length.most - draw.recipe.tempo.steady_bars
        return (fast / slow - 1) / (n_bars * draw.old.metre) > 0.06
    if draw.recipe.name == "carried half-time":
        return not 0.5 <= new_bpm / 2 / old_bpm <= 2.0
    return False


def figures(one: Made, *, twice: bool) -> Figures:
    """Everything that is promised of any candidate, measured.

    Parameters
    ----------
    one : Made
    twice : bool
        Render it again without click and cue, and compare the music.
    """
    candidate = one.candidate
    clips = (
        candidate.music,
        candidate.click,
        candidate.cue,
        candidate.outgoing,
        candidate.interlude,
        candidate.incoming,
    )
    n_frames = int(np.ceil(one.plan.duration_s * one.drawn.rate_hz - 1e-6))
    leaked = 0
    if twice:
        bare = replace(one.plan, click=(), cue=())
        music = render_candidate(bare, one.old.edge, one.new.edge).music
        leaked = int(np.count_nonzero(music.samples != candidate.music.samples))
    return Figures(
        length_frames=max(abs(clip.n_frames - n_frames) for clip in clips),
        not_finite=sum(int(np.count_nonzero(~np.isfinite(clip.samples))) for clip in clips),
        true_peak_dbtp=true_peak_16x_dbtp(candidate.music.samples),
        click_ms=click_ms(one),
        entry_ms=entry_ms(one),
        old_ms=old_ms(one, 0.0, one.plan.exit_beat - 0.5),
        carried_ms=old_ms(one, one.plan.exit_beat - 0.5, _carried_until(one)),
        dead_air_s=dead_air_s(one),
        two_basses_beats=two_basses_beats(one),
        leaked_frames=leaked,
    )


def misses(got: Figures) -> list[str]:
    """Names of the figures beyond their limits."""
    names = [field.name for field in fields(Figures)]
    return [name for name in names if not getattr(got, name) <= getattr(LIMITS, name)]


def true_peak_16x_dbtp(samples: Sound) -> float:
    """True peak by scipy's Fourier interpolator at 16 points a frame, around the largest frames.

    It is flat up to the top of the band and lets nothing through above; a short polyphase filter
    lets images of the topmost tones through and reads up to half a decibel too much.
    """
    from scipy.signal import resample
    from scipy.signal.windows import tukey

    around, step = 512, 256
    rows = -(-len(samples) // step)
    padded = np.pad(samples, ((around, rows * step - len(samples) + around), (0, 0)))
    peaks = np.abs(padded[around:-around]).reshape(rows, -1).max(axis=1)
    starts = np.argsort(peaks)[-40:] * step
    blocks = padded[starts[:, None] + np.arange(step + 2 * around)].astype(np.float64)
    blocks *= tukey(step + 2 * around, 0.4)[:, None]  # no step where a block meets its own start
    peak = max(
        float(peaks.max()),
        float(np.abs(resample(blocks, 16 * blocks.shape[1], axis=1)).max()),
    )
    return 20 * float(np.log10(max(peak, 1e-9)))


def click_ms(one: Made) -> float:
    """Largest distance of a click from its beat; infinite where one is missing or too many."""
    bus = one.candidate.click.samples[:, 0]
    rate_hz = one.drawn.rate_hz
    sounding = np.flatnonzero(np.abs(bus) > 1e-6)
    starts = sounding[np.diff(sounding, prepend=-rate_hz) > 0.005 * rate_hz]
    planned = np.array([one.plan.seconds_at(hit.beat) for hit in one.plan.click])
    if len(starts) != len(planned):
        return np.inf
    return 1000 * float(np.abs(starts / rate_hz - planned).max(initial=0.0))


def entry_ms(one: Made) -> float:
    """Largest distance of a hit of the new song from where its entry puts it."""
    plan, score = one.plan, one.drawn.new
    enters_s = score.first_beat_s
    if score.kind == "free intro":
        enters_s = _free_entry_s(one.new.facts)
    first_s = plan.seconds_at(plan.entry_beat) - enters_s
    wanted = [first_s + second for second in score.hits_s if second >= score.first_beat_s]
    last_s = plan.duration_s - 1.6  # faded out from there on
    kept = [second for second in wanted if second < last_s] or wanted[:1]
    return _worst_ms(one.candidate.incoming.samples, hit_sound(score, one.drawn.rate_hz), kept, one)


def _free_entry_s(facts: EdgeFacts) -> float:
    """Where a free intro sets in, or its bar line where one is heard in its first bar."""
    pulse, sounds_s = facts.pulse, facts.opening.sound_start_s
    if not pulse.is_known:
        return sounds_s
    first_s = sounds_s - 0.5 * pulse.beat_s
    bar_s = pulse.metre * pulse.beat_s
    lines = [line_s for line_s in pulse.downbeats_s if first_s <= line_s < first_s + bar_s]
    return lines[0] if lines else sounds_s


def old_ms(one: Made, start_beat: float, end_beat: float) -> float:
    """Largest distance of a hit of the old song from its beat, where it is planned to be clear."""
    plan, score = one.plan, one.drawn.old
    song = one.old.facts
    over_s = score.hits_s[-1] + 0.01
    beats = [
        beat
        for beat in range(int(np.ceil(start_beat)), int(np.ceil(end_beat)))
        if any(
            _is_clear(layer, float(beat), hits=True)
            and np.interp(beat, *_points(layer)) < min(over_s, song.edge_end_s - 0.1)
            for layer in plan.layers
            if isinstance(layer, SongLayer) and layer.song == "outgoing" and _has_drums(layer, one)
        )
    ]
    hit = hit_sound(score, one.drawn.rate_hz)
    wanted = [plan.seconds_at(beat) for beat in beats]
    return _worst_ms(one.candidate.outgoing.samples, hit, wanted, one)


def _carried_until(one: Made) -> float:
    """Beat up to which the old song keeps to the interlude's beats; else it goes on as it was."""
    return one.plan.entry_beat if one.drawn.recipe.length.carry_bars else one.plan.exit_beat


def dead_air_s(one: Made) -> float:
    """Time for which nothing is heard although a song or a pad is planned to sound."""
    width = round(_WINDOW_S * one.drawn.rate_hz)
    music = one.candidate.music.samples
    power = np.square(music[: len(music) // width * width], dtype=np.float64).mean(axis=1)
    level_db = 10 * np.log10(power.reshape(-1, width).mean(axis=1) + 1e-12)
    dead = np.flatnonzero(level_db < DEAD_DB)
    return sum(_WINDOW_S for index in dead if _is_planned(one, index * _WINDOW_S))


def two_basses_beats(one: Made) -> float:
    """Beats for which both songs have a bass line: below 150 Hz, within 30 dB of their own.

    Where there seem to be two, it is looked at again without the layers of drums alone: under the
    one song's bass the other's kick is no second line, however low it is.
    """
    beats = _two_bottoms_beats(one, one.candidate)
    pitched = tuple(layer for layer in one.plan.layers if not _is_drums_alone(layer, one))
    if beats <= LIMITS.two_basses_beats or len(pitched) == len(one.plan.layers):
        return beats
    without = replace(one.plan, layers=pitched)
    return _two_bottoms_beats(one, render_candidate(without, one.old.edge, one.new.edge))


def _is_drums_alone(layer: Layer, one: Made) -> bool:
    """Whether a song's layer is its drums and nothing else, told apart or on a stem."""
    if not isinstance(layer, SongLayer):
        return False
    song = one.old if layer.song == "outgoing" else one.new
    return layer.part == "percussive" or (song.edge.has_stems and layer.roles == ("drums",))


def _two_bottoms_beats(one: Made, candidate: Candidate) -> float:
    there = []
    for clip, song, gain_db in (
        (candidate.outgoing, one.old, one.plan.outgoing_gain_db),
        (candidate.incoming, one.new, one.plan.incoming_gain_db),
    ):
        usual_db = float(np.median(bass_levels_db(song.edge.mix))) + gain_db
        there.append(bass_levels_db(clip) > usual_db - STILL_THERE_DB)
    entry_s = one.plan.seconds_at(one.plan.entry_beat)
    beat_s = one.plan.seconds_at(one.plan.entry_beat + 1.0) - entry_s
    return float(np.count_nonzero(there[0] & there[1])) * _WINDOW_S / beat_s


def bass_levels_db(clip: Clip) -> npt.NDArray[np.float64]:
    """Level every 50 ms of what lies below 150 Hz, by a Butterworth there and back again."""
    from scipy.fft import irfft, rfft

    length_s = int(np.ceil(clip.duration_s)) + 1
    mono = clip.samples.mean(axis=1, dtype=np.float64)
    spectrum = rfft(mono, length_s * clip.rate_hz)[: length_s * _THINNED_HZ // 2 + 1]
    hertz = np.arange(len(spectrum)) / length_s
    spectrum *= (_THINNED_HZ / clip.rate_hz) / (1 + (hertz / BASS_BELOW_HZ) ** 12)
    return levels_db(irfft(spectrum)[: int(clip.duration_s * _THINNED_HZ)], _THINNED_HZ)


def levels_db(mono: npt.NDArray[np.float64], rate_hz: int) -> npt.NDArray[np.float64]:
    """Level every 50 ms."""
    width = round(_WINDOW_S * rate_hz)
    power = np.square(mono[: len(mono) // width * width]).reshape(-1, width).mean(axis=1)
    return np.asarray(10 * np.log10(power + 1e-15))


def _is_planned(one: Made, start_s: float) -> bool:
    """Whether some layer is to be heard all through a window, with time to rise before."""
    first, last = (one.plan.beat_at(start_s + shift) for shift in (-_RISE_S, _WINDOW_S))
    return any(
        _is_clear(layer, first, hits=False)
        and _is_clear(layer, last, hits=False)
        and (isinstance(layer, PadLayer) or _has_sound(one, layer, start_s))
        for layer in one.plan.layers
        if isinstance(layer, SongLayer | PadLayer)
    )


def _has_sound(one: Made, layer: SongLayer, start_s: float) -> bool:
    """Whether the song itself sounds where a layer reads a window, which ends before its fade."""
    plan, rate_hz = one.plan, one.drawn.rate_hz
    if start_s + _WINDOW_S > plan.seconds_at(layer.end_beat) - layer.fade_out_s:
        return False
    song = one.old if layer.song == "outgoing" else one.new
    roles = layer.roles if song.edge.has_stems else ()
    source = song.edge.sum_of(*roles)
    if source is None or layer.part == "percussive" or roles == ("drums",):
        return False  # between hits there may be nothing
    ends = [plan.beat_at(start_s), plan.beat_at(start_s + _WINDOW_S)]
    low, high = np.round((np.interp(ends, *_points(layer)) - source.start_s) * rate_hz).astype(int)
    part = source.samples[max(low, 0) : high]
    return bool(len(part)) and 10 * np.log10(np.mean(np.square(part)) + 1e-12) > DEAD_DB + 25


def _points(layer: SongLayer) -> tuple[list[float], list[float]]:
    return [p.beat for p in layer.time_map], [p.source_s for p in layer.time_map]


def _has_drums(layer: SongLayer, one: Made) -> bool:
    if one.old.edge.has_stems:
        return not layer.roles or "drums" in layer.roles
    return layer.part != "harmonic"


def _is_clear(layer: SongLayer | PadLayer, beat: float, *, hits: bool) -> bool:
    """Whether a layer sounds at a beat, near its level and hardly cut."""
    if not layer.start_beat - 1e-6 <= beat < layer.end_beat:
        return False
    low, high = _STILL_CLEAR_HZ
    cut_below = value_at(layer.highpass_hz, beat, empty=20.0) > low
    cut_above = hits and value_at(layer.lowpass_hz, beat, empty=20_000.0) < high
    return value_at(layer.gain_db, beat) > CLEAR_DB and not cut_below and not cut_above


def _worst_ms(
    sound: Sound, hit: npt.NDArray[np.float64], wanted_s: list[float], one: Made
) -> float:
    """Largest distance of a hit from where it is wanted, by correlation with its own noise."""
    from scipy.signal import correlate

    rate_hz = one.drawn.rate_hz
    near = round(_NEAR_S * rate_hz)
    template = np.diff(hit)
    worst = 0.0
    for second in wanted_s:
        at = round(second * rate_hz)
        first = max(at - near, 0)
        heard = np.diff(sound[first : at + near + len(hit)].mean(axis=1, dtype=np.float64))
        if len(heard) <= len(template):
            continue
        match = correlate(heard, template, mode="valid", method="fft")
        found = first + int(np.argmax(np.abs(match)))
        worst = max(worst, abs(found - second * rate_hz) / rate_hz)
    return 1000 * worst
