"""The ballot as HTML: which one, how sure, and free words.

What of ITU-R BS.2132 (several stimuli, no reference) and BS.1534 fits a band of
four, both from memory: everyone may switch between all stimuli at any time, in
step and at equal loudness, and loop any part; each listener has an order of
their own, drawn at random and kept; nobody sees another's answer before giving
their own; all must be heard; a hidden anchor shows who misread the screen.
What does not fit: a panel of twenty, training sessions, a graded scale, and
statistics over listeners. Four votes settle what to play, not what is better.
"""

from __future__ import annotations

import html
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from segue.audition.view import PageView

CONFIDENCES: Final = {1: "a guess", 2: "fairly sure", 3: "certain"}
MOST_WORDS: Final = 500
"""Letters of the free words."""
MOST_NAME: Final = 40
"""Letters of a listener's name."""


def ballot_html(view: PageView) -> str:
    """The ballot of a page.

    Returns
    -------
    str
        HTML with every text escaped.
    """
    choices = "".join(
        _radio("choice", n, f"{n + 1}" if view.is_blind else f"{n + 1} {record.plan.recipe}")
        for n, record in enumerate(view.records)
    )
    sure = "".join(_radio("confidence", value, words) for value, words in CONFIDENCES.items())
    blind = (
        "<p>Names are hidden and the order is shuffled for you alone: decide by ear, and do not "
        "talk about it until all have voted.</p>"
        if view.is_blind
        else ""
    )
    return f"""<section class="ballot" id="ballot" aria-labelledby="ballot-name">
<h2 id="ballot-name">Your vote</h2>
{blind}<p id="to-hear" role="status"></p>
<form id="vote" autocomplete="off">
<fieldset><legend>Which one would you play?</legend><div class="row">{choices}</div></fieldset>
<fieldset><legend>How sure are you?</legend><div class="row">{sure}</div></fieldset>
<label class="tall">In your own words, if you like
<textarea id="words" rows="3" maxlength="{MOST_WORDS}"></textarea></label>
<label class="tall" id="name-field">Your name
<input type="text" id="voter" maxlength="{MOST_NAME}"></label>
<button type="submit" id="send" class="main" disabled>Vote</button>
</form>
<p id="vote-state" role="status"></p>
<div id="vote-copy" hidden><label class="tall">Your vote as text
<textarea id="vote-text" rows="7" readonly></textarea></label>
<button type="button" id="copy">Copy</button></div>
<div id="results" hidden></div>
</section>"""


def _radio(name: str, value: int, words: str) -> str:
    return (
        f'<label class="pick"><input type="radio" name="{name}" value="{value}" required>'
        f"{html.escape(words)}</label>\n"
    )
