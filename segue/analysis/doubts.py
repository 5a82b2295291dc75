"""What is uncertain about an edge, said in sentences with the way to settle it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.analysis.facts import SURE_CONFIDENCE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.analysis.facts import EdgeFacts

_NO_PULSE = 0.3
_HALF_SURE = 0.5


def doubts_about(facts: EdgeFacts) -> tuple[str, ...]:
    """Sentences about the uncertain facts of an edge.

    Parameters
    ----------
    facts : EdgeFacts

    Returns
    -------
    tuple of str
        Each says what is unsure, what else it may be, and which option settles it.
    """
    return tuple(_sentences(facts))


def _sentences(facts: EdgeFacts) -> Iterator[str]:
    side = "a" if facts.edge == "end" else "b"
    key = facts.key
    if key.source == "heard" and key.confidence < SURE_CONFIDENCE:
        rivals = " or ".join(str(k.key) for k in key.runners_up[:2])
        yield (
            f"The key may also be {rivals}; settle it with --key-{side}."
            if rivals
            else (f"The key is a guess; settle it with --key-{side}.")
        )
    pulse = facts.pulse
    if pulse.source == "heard" and pulse.confidence < _NO_PULSE:
        yield f"No clear pulse was heard; if there is one, give it with --tempo-{side}."
    elif pulse.source == "heard" and pulse.confidence < SURE_CONFIDENCE:
        rivals = " or ".join(f"{bpm:.1f}" for bpm in pulse.tempo_alternatives_bpm[:2])
        yield f"The tempo may also be {rivals} BPM; settle it with --tempo-{side}."
    if pulse.confidence >= _NO_PULSE and pulse.downbeat_confidence < _HALF_SURE:
        yield (f"The bar lines are unsure; give the time of a downbeat with --downbeat-{side}.")
    if facts.ending is not None and facts.ending.confidence < _HALF_SURE:
        yield f"How the song ends is unsure ({facts.ending.kind}?); settle it with --ending-a."
    if facts.opening is not None and facts.opening.confidence < _HALF_SURE:
        yield f"How the song starts is unsure ({facts.opening.kind}?); settle it with --opening-b."
