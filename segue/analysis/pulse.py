"""The pulse of an edge: tempo, beats and bars.

Onset strength and a small neural net (`beat_net`) give regular pulses (`beats`); evidence of
metre and the net say how to count them (`metre`, `metre_net`, `counting`); attacks place the
beats to the millisecond (`placing`), and a smooth grid is fitted through them (`tempo_grid`). How
evenly attacks lie on the beats, and the net, tell a pulse from free time. Compound time is counted
in dotted beats: 6/8 has two beats a bar.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.beats import pulse_share
from segue.analysis.counting import Counting, Known, likeliest_counting
from segue.analysis.facts import PulseFact
from segue.analysis.heard_part import HeardPart, heard_part
from segue.analysis.metre_net import net_share
from segue.analysis.placing import placed_beats

if TYPE_CHECKING:
    from segue.arrays import Floats
    from segue.audio.clip import SongEdge

_SAME_TEMPO_RATIO: Final = 0.03  # natural logarithm: tempi nearer than this are one; by judgement
# other tempi that are told, besides the half and the double; by judgement
_N_ALTERNATIVES: Final = 4
_ENOUGH_BEATS: Final = 13
"""Over fewer beats, three bars and the next downbeat, many ways to count look even. Set
by judgement."""
_CLEAR_OPINION: Final = 0.6
"""Below this share the net speaks for a pulse by so much less: of rubato it may think so too. Set
by judgement."""
_LEAST_BEAT_SHARE: Final = 0.35
"""Confidence in the beats where a pulse is sure and only how to count it is not: it is one of two
or three octaves, and no free time. Set by judgement."""
_FREE_TIME_BPM: Final = 120.0  # beats a minute that stand in where there is no pulse; by judgement
_FREE_TIME_METRE: Final = 4  # beats of a bar that stand in where there is no pulse; by judgement


def hear_pulse(
    edge: SongEdge,
    *,
    tempo_bpm: float | None = None,
    metre: int | None = None,
    first_downbeat_s: float | None = None,
) -> PulseFact:
    """Tempo, beats and bars of an edge.

    Parameters
    ----------
    tempo_bpm, metre, first_downbeat_s : float, int, float or None
        What the musician says. The grid is fitted near the tempo that is given, and a bar
        starts where the downbeat is given.

    Returns
    -------
    PulseFact
        Without beats and with confidence 0 where no pulse is heard.
    """
    heard = heard_part(edge)
    if heard is None:
        return _free_time(tempo_bpm, metre)
    downbeat_s = None if first_downbeat_s is None else first_downbeat_s - heard.start_s
    said = Known(tempo_bpm=tempo_bpm, metre=metre, downbeat_s=downbeat_s)
    counting = likeliest_counting(heard.evidence, said)
    if counting is None:
        return _free_time(tempo_bpm, metre)
    placed = placed_beats(heard, counting, said)
    times_s = placed.times_s + heard.start_s
    join_bpm = 60.0 / placed.usual_beat_s(at_start=edge.edge == "start")
    # Whoever says anything of the beats knows that there are some.
    is_told = said != Known()
    share = 1.0 if is_told else _pulse_share(heard, placed.times_s)
    return PulseFact(
        tempo_bpm=join_bpm,
        tempo_alternatives_bpm=_alternatives(join_bpm, counting),
        beats_s=tuple(times_s.tolist()),
        downbeats_s=tuple(times_s[placed.is_downbeat(counting.metre)].tolist()),
        metre=counting.metre,
        confidence=share * max(counting.beat_share, _LEAST_BEAT_SHARE),
        downbeat_confidence=share * counting.bar_share,
        residual_ms=1000 * placed.grid.residual_s,
        source="heard" if tempo_bpm is None else "given",
    )


def _pulse_share(heard: HeardPart, beats_s: Floats) -> float:
    """How far the sound bears out its beats: few beats never do, and uneven ones do not.

    Attacks that lie evenly are one witness, the net is another: either is enough. Soft attacks
    lie unevenly, and the net knows little of what it has never met.
    """
    length = min(len(beats_s) / _ENOUGH_BEATS, 1.0)
    by_attacks = pulse_share(heard.evidence.bands.mean(axis=1), beats_s)
    by_net = net_share(heard.evidence.opinion, beats_s)
    return length * max(by_attacks, by_net * min(by_net / _CLEAR_OPINION, 1.0))


def _alternatives(tempo_bpm: float, counting: Counting) -> tuple[float, ...]:
    """Other tempi, likeliest first, the half and the double among them."""
    counted_bpm = counting.tempi_bpm[0]
    half_and_double = [0.5, 2.0]
    kept: list[float] = []
    for ratio in [*(bpm / counted_bpm for bpm in counting.tempi_bpm), *half_and_double]:
        if all(abs(np.log(ratio / other)) > _SAME_TEMPO_RATIO for other in [1.0, *kept]):
            kept.append(ratio)
    likely = kept[:_N_ALTERNATIVES]
    owed = [
        ratio
        for ratio in kept[_N_ALTERNATIVES:]
        if any(abs(np.log(ratio / owed)) <= _SAME_TEMPO_RATIO for owed in half_and_double)
    ]
    return tuple(tempo_bpm * ratio for ratio in [*likely, *owed])


def _free_time(tempo_bpm: float | None, metre: int | None) -> PulseFact:
    return PulseFact(
        tempo_bpm=tempo_bpm or _FREE_TIME_BPM,
        tempo_alternatives_bpm=(),
        beats_s=(),
        downbeats_s=(),
        metre=metre or _FREE_TIME_METRE,
        confidence=0.0,
        downbeat_confidence=0.0,
        residual_ms=0.0,
        source="heard" if tempo_bpm is None else "given",
    )
