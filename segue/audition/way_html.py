"""One candidate as HTML: heading, place for the lanes, weak places, everything measured."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

from segue.audition.values import weak_places

if TYPE_CHECKING:
    from segue.runfolder import CandidateRecord, Choice


def way_html(index: int, record: CandidateRecord, choice: Choice | None) -> str:
    """A candidate as a section of the page.

    Parameters
    ----------
    index : int
        From 0, in the order of the document.
    choice : Choice or None
        What the band chose, if it did.

    Returns
    -------
    str
        HTML with every text escaped.
    """
    plan = record.plan
    name = html.escape(plan.recipe)
    n_bars = sum(bar.section == "interlude" for bar in record.bars)
    notes = "".join(f'<p class="soft">Note: {html.escape(note)}</p>' for note in record.notes)
    return f"""<section class="way" id="way-{index}" aria-labelledby="name-{index}">
<div class="top"><h2 id="name-{index}">{index + 1}. {name}</h2>
<span class="soft">{n_bars} bars, {record.entry_s - record.exit_s:.1f} s between the songs</span>
<span class="soft" id="heard-{index}"></span>
<span class="score">score <strong>{record.scorecard.overall:.2f}</strong> of 1</span></div>
{_chosen(record, choice)}<p>{html.escape(plan.why)}</p>{notes}
<svg class="lanes" id="lanes-{index}" role="img" aria-label="{html.escape(_words(record))}"></svg>
{_weak(index, record)}
<details><summary>Everything that was measured</summary><table class="marks">
<thead><tr><th scope="col">what</th><th scope="col">mark</th><th scope="col">finding</th></tr>
</thead><tbody>{_marks(record)}</tbody></table></details>
<p class="soft small">In full quality beside this page: {html.escape(record.music_file)}</p>
</section>"""


def blind_way_html(index: int) -> str:
    """The place of a candidate on a page that hides names.

    Parameters
    ----------
    index : int
        From 0, in the order in which the listener meets them.

    Returns
    -------
    str
        HTML; what is drawn in it depends on the listener's order.
    """
    return f"""<section class="way" id="way-{index}" aria-labelledby="name-{index}">
<div class="top"><h2 id="name-{index}">{index + 1}</h2>
<span class="soft" id="heard-{index}"></span></div>
<svg class="lanes" id="lanes-{index}" role="img" aria-label="Bar lines of {index + 1}"></svg>
</section>"""


def choice_buttons(records: tuple[CandidateRecord, ...], *, is_blind: bool = False) -> str:
    """One button for each candidate.

    Parameters
    ----------
    is_blind : bool
        Whether names are hidden.

    Returns
    -------
    str
        HTML with every text escaped.
    """
    return "".join(
        _choice_button(n, "" if is_blind else record.plan.recipe)
        for n, record in enumerate(records)
    )


def _choice_button(index: int, name: str) -> str:
    label = html.escape(f"{index + 1} {name}".strip())
    wide = f'<span class="wide-only"> {html.escape(name)}</span>' if name else ""
    return (
        f'<button type="button" class="choice" id="choose-{index}" aria-pressed="false" '
        f'aria-label="{label}">{index + 1}{wide}</button>\n'
    )


def _words(record: CandidateRecord) -> str:
    """What the picture shows, for those who do not see it."""
    plan = record.plan
    chords = ", ".join(v.symbol for v in plan.voicings)
    parts = [
        f"Picture of {plan.recipe}, {len(record.bars)} bars: sound, chords, keys, tempo, loudness",
        f"the interlude runs from {record.exit_s:.1f} to {record.entry_s:.1f} seconds",
        f"the new song's bar one is at {record.entry_s:.1f} seconds",
    ]
    if record.singer_s is not None:
        parts.append(f"its first sung or lead note at {record.singer_s:.1f} seconds")
    if chords:
        parts.append(f"chords {chords}")
    tempo = plan.tempo
    parts.append(f"tempo {tempo.bpm_at(0.0):.0f} to {tempo.bpm_at(plan.end_beat):.0f} BPM")
    return "; ".join(parts) + "."


def _chosen(record: CandidateRecord, choice: Choice | None) -> str:
    if choice is None or choice.rank != record.rank:
        return ""
    why = f": {html.escape(choice.why)}" if choice.why else "."
    return f'<p class="chosen"><strong>The band chose this</strong>{why}</p>'


def _weak(index: int, record: CandidateRecord) -> str:
    places = weak_places(record)
    if not places:
        return '<p class="soft">No weak place was found.</p>'
    items = "".join(
        f'<li><button type="button" class="goto" data-way="{index}" data-from="{p.from_s:.3f}">'
        f'<span class="triangle">▲{p.number}</span>'
        f"<span><strong>bar {p.bar}, {html.escape(p.measure.label)}.</strong> "
        f"{html.escape(p.measure.sentence)}</span></button></li>"
        for p in places
    )
    return (
        "<details open><summary>Weak places; press one to hear it from the bar before</summary>"
        f'<ul class="weak">{items}</ul></details>'
    )


def _marks(record: CandidateRecord) -> str:
    return "".join(
        f'<tr><th scope="row">{html.escape(m.label)}</th>'
        f'<td><meter min="0" max="1" value="{m.score:.2f}" aria-hidden="true"></meter>'
        f"<span>{m.score:.2f}</span></td>"
        f"<td>{html.escape(m.sentence)}<br><span class='soft'>{html.escape(m.threshold)} "
        f"({html.escape(m.source)})</span></td></tr>"
        for m in record.scorecard.measures
    )
