"""What a join goes by where one of the songs has no key or no pulse.

Drums, speech and free time give nothing to lead to or from. Then the other song gives it: the
join stays in its key, and bars are counted at its tempo, so that no chord changes and no tempo
moves for the sake of a guess.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts


def filled_in(outgoing: EdgeFacts, incoming: EdgeFacts) -> tuple[EdgeFacts, EdgeFacts]:
    """The facts of a pair, each with the other's key and tempo where it has none of its own.

    Parameters
    ----------
    outgoing, incoming : EdgeFacts

    Returns
    -------
    outgoing, incoming : EdgeFacts
        As they were where there was a key and a pulse, or where neither song has one. What is
        taken over keeps the confidence with which nothing was heard, and a doubt says it.
    """
    return _filled(outgoing, incoming), _filled(incoming, outgoing)


def _filled(facts: EdgeFacts, other: EdgeFacts) -> EdgeFacts:
    doubts = list(facts.doubts)
    key, pulse = facts.key, facts.pulse
    if not key.is_known and other.key.is_known:
        key = replace(key, key=other.key.key, runners_up=())
        doubts.append(f"Without a key of its own the join stays in {key.key}, as '{other.title}'.")
    if not pulse.is_known and other.pulse.is_known:
        pulse = replace(
            pulse,
            tempo_bpm=other.pulse.tempo_bpm,
            tempo_alternatives_bpm=(),
            beats_s=(),
            downbeats_s=(),
            metre=other.pulse.metre,
        )
        doubts.append(
            "Without a pulse of its own the bars of the join are counted at "
            f"{pulse.tempo_bpm:.0f} BPM, as '{other.title}'."
        )
    return replace(facts, key=key, pulse=pulse, doubts=tuple(doubts))
