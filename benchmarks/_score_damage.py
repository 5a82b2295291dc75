"""Twelve kinds of damage with a known right answer, each at three strengths.

Every kind is done to the plan or to the sound, never to a measure. A kind names the measures that
must tell of it: one of them has to fall most.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from benchmarks._score_pairs import PAD, RAMP
from segue.audio.clip import Clip
from segue.music.tempo import TempoCurve, TempoSpan
from segue.plan.layer import MapPoint, PadLayer, SongLayer, Voicing

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchmarks._score_pairs import Pair, Sound
    from segue.plan.plan import Plan
    from segue.render.candidate import Candidate

_CEILING: Final = 0.89
"""About -1 dBFS: louder sums are turned down as a whole."""
_SPLICE_S: Final = 0.005
_PARALLEL: Final = {
    "minor": {3: 1, 8: 1, 10: 1},
    "major": {4: -1, 9: -1},
}
"""Degrees of a mode, in semitones above the tonic, and their way to the parallel mode."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """A kind of damage.

    Parameters
    ----------
    name, unit : str
    strengths : tuple of 3 float
        Weak to strong, in `unit`.
    told_by : frozenset of str
        Measures that name it.
    done : callable
        From a pair, its sane candidate and a strength to the damaged candidate.
    recipe : str
        What the sane way across is made by.
    """

    name: str
    unit: str
    strengths: tuple[float, float, float]
    told_by: frozenset[str]
    done: Callable[[Pair, Candidate, float], Candidate]
    recipe: str = PAD


def sane(pair: Pair, recipe: str) -> Candidate:
    """The way across without damage."""
    return mixed(pair.render(pair.plan(recipe)))


def mixed(candidate: Candidate, **sides: Sound) -> Candidate:
    """The candidate with other sides, summed up anew and turned down where too loud."""
    sounds = {
        name: sides.get(name, getattr(candidate, name).samples.astype(np.float64))
        for name in ("outgoing", "interlude", "incoming")
    }
    music = sum(sounds.values())
    scale = min(1.0, _CEILING / max(float(np.abs(music).max()), 1e-9))
    clips = {name: _clip(candidate, sound * scale) for name, sound in sounds.items()}
    return replace(candidate, music=_clip(candidate, music * scale), **clips)


def _clip(candidate: Candidate, sound: Sound) -> Clip:
    return Clip(samples=sound.astype(np.float32), rate_hz=candidate.music.rate_hz)


def _side(candidate: Candidate, name: str) -> Sound:
    side: Clip = getattr(candidate, name)
    return side.samples.astype(np.float64)


def _frame(candidate: Candidate, beat: float) -> int:
    return round(candidate.plan.seconds_at(beat) * candidate.music.rate_hz)


def late(_pair: Pair, candidate: Candidate, strength_ms: float) -> Candidate:
    """The new song comes in late."""
    n_frames = round(strength_ms / 1000.0 * candidate.music.rate_hz)
    sound = _side(candidate, "incoming")
    return mixed(candidate, incoming=np.pad(sound, ((n_frames, 0), (0, 0)))[: len(sound)])


def early_in_the_bar(_pair: Pair, candidate: Candidate, strength_bars: float) -> Candidate:
    """The new song is a beat ahead of the bar for some bars, then waits for it."""
    plan, sound = candidate.plan, _side(candidate, "incoming")
    metre = next(line.metre for line in plan.bar_lines if line.beat >= plan.entry_beat)
    n_bars = min(strength_bars, (plan.end_beat - plan.entry_beat) // metre - 0.5)
    first, second, again = (
        _frame(candidate, plan.entry_beat + beat) for beat in (0.0, 1.0, round(n_bars * metre))
    )
    n_ahead = second - first
    ahead = sound[second : again + n_ahead]
    made = np.concatenate([sound[:first], ahead, sound[again:]])[: len(sound)]
    return mixed(candidate, incoming=_smoothed(made, (first, again), candidate.music.rate_hz))


def _smoothed(sound: Sound, joints: tuple[int, ...], rate_hz: int) -> Sound:
    """The sound with a dip of a few milliseconds at each joint, so that nothing clicks."""
    n_frames = round(_SPLICE_S * rate_hz)
    for joint in joints:
        if n_frames < joint < len(sound) - n_frames:
            dip = np.abs(np.linspace(-1.0, 1.0, 2 * n_frames))[:, np.newaxis]
            sound[joint - n_frames : joint + n_frames] *= dip
    return sound


def jump(pair: Pair, candidate: Candidate, strength_db: float) -> Candidate:
    """The new song is louder, or softer, than the old."""
    sign = 1.0 if len(pair.name) % 2 else -1.0
    gain = 10.0 ** (sign * strength_db / 20.0)
    return mixed(candidate, incoming=gain * _side(candidate, "incoming"))


def hole(_pair: Pair, candidate: Candidate, strength_s: float) -> Candidate:
    """Nothing sounds, in the middle of the interlude."""
    plan, rate_hz = candidate.plan, candidate.music.rate_hz
    middle_s = plan.seconds_at((plan.exit_beat + plan.entry_beat) / 2.0)
    start = round((middle_s - strength_s / 2.0) * rate_hz)
    sides = {name: _side(candidate, name) for name in ("outgoing", "interlude", "incoming")}
    for sound in sides.values():
        sound[start : start + round(strength_s * rate_hz)] = 0.0
    return mixed(candidate, **sides)


def clipped(_pair: Pair, candidate: Candidate, strength_db: float) -> Candidate:
    """The music is driven into a ceiling below its peak."""
    music = candidate.music.samples
    ceiling = float(np.abs(music).max()) * 10.0 ** (-strength_db / 20.0)
    return replace(candidate, music=_clip(candidate, np.clip(music, -ceiling, ceiling)))


def click_leaked(_pair: Pair, candidate: Candidate, strength_db: float) -> Candidate:
    """The click is in the room, that far below what the players hear."""
    click = candidate.click.samples * np.float32(10.0 ** (strength_db / 20.0))
    return replace(candidate, music=_clip(candidate, candidate.music.samples + click))


def pad_off(pair: Pair, candidate: Candidate, strength_bars: float) -> Candidate:
    """The last chords of the pad are a semitone above the key that the new song has."""
    return _repadded(pair, candidate, strength_bars, _moved_up)


def wrong_mode(pair: Pair, candidate: Candidate, strength_bars: float) -> Candidate:
    """The last chords of the pad are in the parallel mode."""
    key = candidate.plan.key_to
    degrees = {(key.tonic + d) % 12: way for d, way in _PARALLEL[key.mode].items()}
    return _repadded(pair, candidate, strength_bars, lambda v: _moved(v, degrees))


def no_cadence(pair: Pair, candidate: Candidate, strength_beats: float) -> Candidate:
    """The tonic is there already in the last beats before the entry."""
    plan = candidate.plan
    third = 4 if plan.key_to.mode == "major" else 3

    def settled(voicing: Voicing) -> Voicing:
        classes = [(plan.key_to.tonic + d) % 12 for d in (0, third, 7)]
        notes = sorted({52 + (c - 52) % 12 for c in classes})
        return replace(voicing, notes_midi=tuple(notes))

    start = plan.entry_beat - strength_beats
    return _with_voicings(pair, candidate, _changed_from(plan, start, settled))


def ramp_squeezed(pair: Pair, candidate: Candidate, strength_beats: float) -> Candidate:
    """The tempo moves within the last beats of the ramp instead of all through it."""
    plan = candidate.plan
    spans: list[TempoSpan] = []
    ramps = [span for span in plan.tempo.spans if span.law != "hold"]
    total = sum(span.n_beats for span in ramps)
    for span in plan.tempo.spans:
        if span.law == "hold":
            spans.append(span)
        elif span is ramps[-1]:
            start, end = ramps[0].start_bpm, span.end_bpm
            n_beats = min(strength_beats, total / 2)
            spans.append(TempoSpan(n_beats=total - n_beats, start_bpm=start, end_bpm=start))
            spans.append(TempoSpan(n_beats=n_beats, start_bpm=start, end_bpm=end, law="geometric"))
    return mixed(pair.render(replace(plan, tempo=TempoCurve(spans=tuple(spans)))))


def two_basses(pair: Pair, candidate: Candidate, strength_beats: float) -> Candidate:
    """The old side has a bass line a semitone above the new song's, after the entry."""
    plan = candidate.plan
    added = pair.bass(plan, plan.entry_beat, plan.entry_beat + strength_beats)
    sound = _side(candidate, "outgoing")
    return mixed(candidate, outgoing=sound + added[: len(sound)])


def two_voices(pair: Pair, candidate: Candidate, strength_beats: float) -> Candidate:
    """The old singer is still there when the new one comes in."""
    plan = candidate.plan
    start = plan.entry_beat if plan.singer_beat is None else plan.singer_beat
    end = min(start + strength_beats, plan.end_beat)
    layer = SongLayer(
        name="voice",
        song="outgoing",
        start_beat=start,
        end_beat=end,
        roles=("voice",),
        time_map=(
            MapPoint(beat=start, source_s=0.0),
            MapPoint(beat=end, source_s=end - start),
        ),
    )
    sound = _side(candidate, "outgoing")
    added = pair.voice(plan, start, end)[: len(sound)]
    changed = mixed(candidate, outgoing=sound + added)
    return replace(changed, plan=replace(plan, layers=(*plan.layers, layer)))


def _repadded(
    pair: Pair,
    candidate: Candidate,
    strength_bars: float,
    change: Callable[[Voicing], Voicing],
) -> Candidate:
    plan = candidate.plan
    metre = next(line.metre for line in plan.bar_lines if line.beat >= plan.entry_beat)
    start = plan.entry_beat - strength_bars * metre
    return _with_voicings(pair, candidate, _changed_from(plan, start, change))


def _changed_from(
    plan: Plan, start: float, change: Callable[[Voicing], Voicing]
) -> tuple[Voicing, ...]:
    """The chords of a plan with those from a beat on changed, cut there where need be."""
    changed: list[Voicing] = []
    for voicing in plan.voicings:
        if voicing.end_beat <= start + 1e-6:
            changed.append(voicing)
        elif voicing.start_beat >= start - 1e-6:
            changed.append(change(voicing))
        else:
            changed.append(replace(voicing, end_beat=start))
            changed.append(change(replace(voicing, start_beat=start)))
    return tuple(changed)


def _with_voicings(pair: Pair, candidate: Candidate, voicings: tuple[Voicing, ...]) -> Candidate:
    layers = tuple(
        replace(layer, voicings=voicings) if isinstance(layer, PadLayer) else layer
        for layer in candidate.plan.layers
    )
    made = pair.render(replace(candidate.plan, layers=layers))
    # the songs are the same: only the pad is taken from the new render
    return mixed(candidate, interlude=_side(made, "interlude"))


def _moved_up(voicing: Voicing) -> Voicing:
    return _moved(voicing, dict.fromkeys(range(12), 1))


def _moved(voicing: Voicing, way_of_class: dict[int, int]) -> Voicing:
    notes = sorted(note + way_of_class.get(note % 12, 0) for note in voicing.notes_midi)
    return replace(voicing, notes_midi=tuple(notes))


DAMAGES: Final = (
    Damage(name="entered late", unit="ms", strengths=(30, 60, 90), done=late,
           told_by=frozenset({"entry_timing"})),
    Damage(name="a beat early in the bar", unit="bars", strengths=(3, 4, 6), done=early_in_the_bar,
           told_by=frozenset({"bar_line"})),
    Damage(name="a semitone off the pad", unit="bars", strengths=(2, 3, 4), done=pad_off,
           told_by=frozenset({"landing", "key_arrival", "runway", "old_key"})),
    Damage(name="jump of level", unit="dB", strengths=(4, 6, 9), done=jump,
           told_by=frozenset({"level_match", "cliff", "bar_one"})),
    Damage(name="hole", unit="s", strengths=(1, 2, 4), done=hole,
           told_by=frozenset({"hole"})),
    Damage(name="two voices together", unit="beats", strengths=(2, 4, 8), done=two_voices,
           told_by=frozenset({"voices"})),
    Damage(name="two basses a semitone apart", unit="beats", strengths=(2, 4, 8), done=two_basses,
           told_by=frozenset({"low_end", "consonance"})),
    Damage(name="ramp squeezed", unit="beats", strengths=(4, 2, 1), done=ramp_squeezed,
           told_by=frozenset({"tempo_change"}), recipe=RAMP),
    Damage(name="no cadence", unit="beats", strengths=(2, 3, 4), done=no_cadence,
           told_by=frozenset({"cadence"})),
    Damage(name="wrong mode", unit="bars", strengths=(2, 3, 4), done=wrong_mode,
           told_by=frozenset({"key_arrival", "old_key", "landing", "runway"})),
    Damage(name="clipped", unit="dB", strengths=(3, 5, 8), done=clipped,
           told_by=frozenset({"clipping"})),
    Damage(name="click leaked", unit="dB", strengths=(-30, -24, -18), done=click_leaked,
           told_by=frozenset({"click_leak"})),
)  # fmt: skip
