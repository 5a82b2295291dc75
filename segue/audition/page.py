"""The audition page: one self-contained HTML file.

Everything is inside: styles, script, the run as a JSON block, the sound as
base64. The content security policy names the two inline blocks by their hash
and allows nothing else, so the page cannot reach a network.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from segue.audition.facts_table import facts_table
from segue.audition.sound import mp3_of, outline_of
from segue.music.interval import interval_name

if TYPE_CHECKING:
    from pathlib import Path

    from segue.runfolder import CandidateRecord, RunDocument
    from segue.score.scorecard import CurveSample

PAGE_NAME: Final = "audition.html"


def write_page(folder: Path, document: RunDocument) -> Path:
    """Write the audition page of a run into its folder.

    Parameters
    ----------
    folder : Path
        The run folder, with the WAVs that the document names.
    document : RunDocument

    Returns
    -------
    Path
        The page.

    Raises
    ------
    OSError
        If a WAV cannot be read or the page not be written.
    """
    path = folder / PAGE_NAME
    path.write_text(page_text(folder, document), encoding="utf-8")
    return path


def page_text(folder: Path, document: RunDocument) -> str:
    """The page as HTML text; see `write_page`."""
    style, script = _asset("page.css"), _asset("page.js")
    old, new = document.outgoing, document.incoming
    ways = "\n".join(_way(n, record) for n, record in enumerate(document.candidates))
    return _PAGE.format(
        policy=f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'",
        style=style,
        script=script,
        title=html.escape(f"{old.title} into {new.title}"),
        relation=html.escape(
            f"{new.key.key} is {interval_name(old.key.key, new.key.key)} from {old.key.key}."
        ),
        facts=facts_table(old, new),
        choices=_choices(document),
        ways=ways,
        run=_json_block(folder, document),
    )


def _json_block(folder: Path, document: RunDocument) -> str:
    run = {
        "rate_hz": document.rate_hz,
        "ways": [_way_values(folder, record) for record in document.candidates],
    }
    # '<' must not appear in a script block: a name such as '</script>' would end it.
    return json.dumps(run, separators=(",", ":")).replace("<", "\\u003c")


def _way_values(folder: Path, record: CandidateRecord) -> dict[str, object]:
    plan, card = record.plan, record.scorecard
    duration_s, outline = outline_of(folder / record.music_file)
    return {
        "duration_s": duration_s,
        "exit_s": record.exit_s,
        "entry_s": record.entry_s,
        "singer_s": record.singer_s,
        "bars": [
            {"number": bar.number, "time_s": bar.time_s, "section": bar.section}
            for bar in record.bars
        ],
        "chords": [
            {"start_s": plan.seconds_at(v.start_beat), "symbol": v.symbol} for v in plan.voicings
        ],
        "curves": {
            "loudness": _points(card.loudness_lufs),
            "key_from": _points(card.key_distance_from),
            "key_to": _points(card.key_distance_to),
            "tempo": [
                [round(plan.seconds_at(b), 3), round(plan.tempo.bpm_at(b), 3)]
                for b in (plan.end_beat * n / 200 for n in range(201))
            ],
        },
        "outline": outline,
        "audio": {
            bus: base64.b64encode(mp3_of(folder / name)).decode()
            for bus, name in (
                ("music", record.music_file),
                ("click", record.click_file),
                ("cue", record.cue_file),
            )
        },
    }


def _points(curve: tuple[CurveSample, ...]) -> list[list[float]]:
    return [[round(sample.time_s, 3), round(sample.value, 3)] for sample in curve]


def _choices(document: RunDocument) -> str:
    return "".join(
        f'<button type="button" id="choose-{n}" aria-pressed="false">'
        f"{n + 1} <span class='hide-small'>{html.escape(record.plan.recipe)}</span></button>"
        for n, record in enumerate(document.candidates)
    )


def _way(index: int, record: CandidateRecord) -> str:
    plan = record.plan
    n_bars = sum(bar.section == "interlude" for bar in record.bars)
    label = html.escape(
        f"{plan.recipe}: waveform, bar lines, chords, key distance, tempo and loudness. "
        f"Interlude of {n_bars} bars from {record.exit_s:.1f} to {record.entry_s:.1f} seconds."
    )
    notes = "".join(f'<p class="soft">Note: {html.escape(note)}</p>' for note in record.notes)
    return f"""<section class="way" id="way-{index}" aria-labelledby="name-{index}">
<div class="top"><h2 id="name-{index}">{index + 1}. {html.escape(plan.recipe)}</h2>
<span class="soft">{n_bars} bars, {record.entry_s - record.exit_s:.1f} s between the songs</span>
<span class="score">score <strong>{record.scorecard.overall:.2f}</strong> of 1</span></div>
<p>{html.escape(plan.why)}</p>{notes}
<svg class="lanes" id="lanes-{index}" viewBox="0 0 1000 278" role="img"
 aria-label="{label}"></svg>
<details><summary>What was measured</summary><table class="marks">
<thead><tr><th scope="col">what</th><th scope="col">mark</th><th scope="col">finding</th></tr>
</thead><tbody>{_marks(record)}</tbody></table></details>
</section>"""


def _marks(record: CandidateRecord) -> str:
    return "".join(
        f'<tr><th scope="row">{html.escape(m.label)}</th>'
        f'<td><meter min="0" max="1" value="{m.score:.2f}">{m.score:.2f}</meter></td>'
        f"<td>{html.escape(m.sentence)}<br><span class='soft'>{html.escape(m.threshold)} "
        f"({html.escape(m.source)})</span></td></tr>"
        for m in record.scorecard.measures
    )


def _asset(name: str) -> str:
    return (files("segue.audition") / "assets" / name).read_text(encoding="utf-8")


def _hash(block: str) -> str:
    digest = hashlib.sha256(block.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"


_PAGE: Final = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>{style}</style>
</head>
<body>
<header>
<h1>{title}</h1>
<p>{relation}</p>
{facts}
</header>
<div class="desk" role="group" aria-label="Listening"><div>
<button type="button" id="play" class="main">Play</button>
{choices}
<button type="button" id="entry">Last four bars before the entry</button>
<button type="button" id="start">From the start</button>
<button type="button" id="loop" aria-pressed="false">Loop</button>
<label>bars <select id="loop-bars"><option>1</option><option>2</option>
<option selected>4</option><option>8</option></select></label>
<label>click <input type="range" id="click" min="0" max="100" value="0"></label>
<label>cue <input type="range" id="cue" min="0" max="100" value="0"></label>
<span class="clock" id="clock"></span>
<span id="status" role="status"></span>
</div></div>
<main>
{ways}
</main>
<footer>
<p class="soft">Keys: space plays and pauses, 1 to 3 switch and keep the place, arrows move by two
seconds, e goes to the last four bars before the entry, l loops from the bar you are in.</p>
<p class="care">Click and cue start silent. Turn in-ears and headphones down before you play, bring
them up slowly, and keep long sessions quiet; on stage the venue's rules and a qualified engineer
decide the level.</p>
</footer>
<script type="application/json" id="run">{run}</script>
<script>{script}</script>
</body>
</html>
"""
