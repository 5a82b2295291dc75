"""Tempo and key of a song change, in words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from segue.plan.heard_words import NO_KEY, NO_PULSE, keys_sentence

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.plan import Plan


def tempos(plan: Plan, outgoing: EdgeFacts, incoming: EdgeFacts) -> str:
    """Tempo before and after, such as '124 → 96 BPM'; in words where none was heard."""
    old = f"{plan.tempo.bpm_at(max(plan.exit_beat - 1.0, 0.0)):.4g}"
    new = f"{plan.tempo.bpm_at(plan.entry_beat):.4g}"
    match outgoing.pulse.is_known, incoming.pulse.is_known:
        case True, True:
            return f"{old} → {new} BPM"
        case True, False:
            return f"{old} BPM → {NO_PULSE}"
        case False, True:
            return f"{NO_PULSE} → {new} BPM"
        case _:
            return NO_PULSE


def keys(plan: Plan, outgoing: EdgeFacts, incoming: EdgeFacts) -> str:
    """Key before and after, such as 'E minor → F minor'; in words where none was heard."""
    if not outgoing.key.is_known and not incoming.key.is_known:
        return NO_KEY
    old = str(plan.key_from) if outgoing.key.is_known else NO_KEY
    new = str(plan.key_to) if incoming.key.is_known else NO_KEY
    return f"{old} → {new}"


def relation(plan: Plan, outgoing: EdgeFacts, incoming: EdgeFacts) -> str:
    """How the keys lie to each other as they are played: the plan's, which a shift has moved."""
    old = replace(outgoing, key=replace(outgoing.key, key=plan.key_from))
    new = replace(incoming, key=replace(incoming.key, key=plan.key_to))
    return keys_sentence(old, new)
