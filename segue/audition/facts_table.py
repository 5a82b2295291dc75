"""The facts of both songs as an HTML table."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

from segue.analysis.facts import SURE_CONFIDENCE
from segue.plan.heard_words import first_note_name

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts


def facts_table(old: EdgeFacts, new: EdgeFacts) -> str:
    """Both songs side by side.

    Parameters
    ----------
    old, new : EdgeFacts
        End of the old song and start of the new one.

    Returns
    -------
    str
        HTML with every text escaped.
    """
    rows = [
        ("key", _key(old), _key(new)),
        ("tempo", _tempo(old), _tempo(new)),
        ("metre", _metre(old), _metre(new)),
        ("ends, starts", _ending(old), _opening(new)),
        ("first note", "", _first_note(new)),
        ("loudness", f"{old.level.loudness_lufs:.1f} LUFS", f"{new.level.loudness_lufs:.1f} LUFS"),
    ]
    body = "".join(
        f'<tr><th scope="row">{name}</th><td>{html.escape(a)}</td><td>{html.escape(b)}</td></tr>'
        for name, a, b in rows
    )
    return (
        '<table class="facts"><thead><tr><td></td>'
        f'<th scope="col">A, end of {html.escape(old.title)}</th>'
        f'<th scope="col">B, start of {html.escape(new.title)}</th></tr></thead>'
        f"<tbody>{body}</tbody></table>{_doubts(old, new)}"
    )


def _doubts(old: EdgeFacts, new: EdgeFacts) -> str:
    doubts = [f"{facts.title}: {doubt}" for facts in (old, new) for doubt in facts.doubts]
    if not doubts:
        return ""
    items = "".join(f"<li>{html.escape(doubt)}</li>" for doubt in doubts)
    return f"<details><summary>Unsure: {len(doubts)}</summary><ul>{items}</ul></details>"


def _key(facts: EdgeFacts) -> str:
    key = facts.key
    if key.source == "given":
        return f"{key.key} (given)"
    if not key.is_known:
        return "none heard"
    doubt = "" if key.confidence >= SURE_CONFIDENCE else ", unsure"
    others = ", ".join(str(k.key) for k in key.runners_up[:2])
    return f"{key.key} ({key.confidence:.0%}{doubt}" + (f"; else {others})" if others else ")")


def _metre(facts: EdgeFacts) -> str:
    pulse = facts.pulse
    if not pulse.is_known:
        return ""
    doubt = "" if pulse.downbeat_confidence >= SURE_CONFIDENCE else " (unsure)"
    return f"{pulse.metre} beats a bar{doubt}"


def _tempo(facts: EdgeFacts) -> str:
    if not facts.pulse.is_known:
        return "free time"
    doubt = "" if facts.pulse.confidence >= SURE_CONFIDENCE else " (unsure)"
    return f"{facts.pulse.tempo_bpm:.1f} BPM{doubt}"


def _ending(facts: EdgeFacts) -> str:
    return facts.ending.kind if facts.ending is not None else ""


def _opening(facts: EdgeFacts) -> str:
    if facts.opening is None:
        return ""
    beats = facts.opening.pickup_beats
    return facts.opening.kind + (f" of {beats:g} beats" if beats else "")


def _first_note(facts: EdgeFacts) -> str:
    if facts.first_note is None:
        return "none heard"
    return f"{first_note_name(facts)}, {facts.first_note.time_s:.2f} s into the song"
