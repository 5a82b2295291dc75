"""What a vote keeps secret: its codes, and which option is which; and a check of its listeners.

Codes and tokens are drawn by the system, never by us. A listener of a blind vote gets the options
in an order of their own, under numbers drawn for them alone: neither an address, nor a size, nor an
order tells two listeners that they mean the same option, also if they open the developer tools.
What can be heard can be compared all the same: where the bridge begins and ends is in the page, as
the player needs it.

The anchor is a plain cut, put in as a check: a listener who prefers it has misread the screen, or
the candidates are poor. One below all candidates keeps the scale honest, as ITU-R BS.1534 uses
low-pass filtered ones for codecs (from memory). Ours is cut out of the candidate with the shortest
interlude: A up to where the interlude starts, B from its bar one on, nothing in between.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.audio.clip import Clip
from segue.audio.write import read_wav, write_wav24

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from segue.runfolder import BarReport, CandidateRecord, RunDocument
    from segue.score.scorecard import CurveSample


CODE_LETTERS: Final = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Without those that are misread for one another: 0 and O, 1, I and L, U and V."""
N_CODE_LETTERS: Final = 8
"""30**8 codes: at one try in five minutes, and a thousand phones, half a million years."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Secrets:
    """What must be known to take part.

    Parameters
    ----------
    join_code : str or None
        For listeners; None where only this machine can connect.
    host_token : str
        For the one who closes the vote.
    round_token : str
        Name of the round, should a new one be opened; no secret.
    """

    join_code: str | None
    host_token: str
    round_token: str


def new_secrets(*, needs_code: bool) -> Secrets:
    """Drawn anew for every start of the server."""
    code = "".join(secrets.choice(CODE_LETTERS) for _ in range(N_CODE_LETTERS))
    return Secrets(
        join_code=code if needs_code else None,
        host_token=secrets.token_urlsafe(16),
        round_token=secrets.token_hex(4),
    )


def new_cookie() -> str:
    """256 bits that name a listener."""
    return secrets.token_urlsafe(32)


def new_seed() -> int:
    """Seed of a listener's order."""
    return secrets.randbits(32)


def code_as_drawn(typed: str) -> str:
    """A typed code in the letters in which it was drawn.

    Examples
    --------
    >>> code_as_drawn(" k7mp-3xqd ")
    'K7MP3XQD'
    """
    return "".join(c for c in typed.upper() if c.isalnum())


def code_to_read(code: str) -> str:
    """A code in two groups, which are easier to read out.

    Examples
    --------
    >>> code_to_read("K7MP3XQD")
    'K7MP-3XQD'
    """
    half = len(code) // 2
    return f"{code[:half]}-{code[half:]}"


_MARK_BITS: Final = 48
"""Of a number of an option: exact in JavaScript, whose numbers hold 53 bits (ECMA-262)."""
N_MARK_LETTERS: Final = 4
"""Of a mark on a page of one file: four options among 810,000."""


def shuffled_order(seed: int, n: int) -> list[int]:
    """Positions 0 to n - 1 as a seed orders them, by the rule of the page's own script.

    The generator is Press et al., "Numerical Recipes in C", section 7.1, the shuffle Durstenfeld's
    (both from memory).

    Examples
    --------
    >>> sorted(shuffled_order(12345, 4))
    [0, 1, 2, 3]
    """
    order, state = list(range(n)), seed
    for last in range(n - 1, 0, -1):
        state = (1_664_525 * state + 1_013_904_223) % 2**32
        other = state * (last + 1) // 2**32
        order[last], order[other] = order[other], order[last]
    return order


def number_for(secret: bytes, listener: int, rank: int) -> int:
    """The number under which one listener meets an option.

    Parameters
    ----------
    secret : bytes
        Of the ballot; never leaves the server.
    """
    digest = hmac.digest(secret, f"{listener} {rank}".encode(), "sha256")
    return int.from_bytes(digest[: _MARK_BITS // 8], "big")


def drawn_marks(n: int) -> list[str]:
    """Different marks for the options of a page of one file, drawn by the system."""
    marks: set[str] = set()
    while len(marks) < n:
        marks.add("".join(secrets.choice(CODE_LETTERS) for _ in range(N_MARK_LETTERS)))
    return list(marks)


def drawn_order(items: Sequence[int]) -> list[int]:
    """The items in an order drawn by the system."""
    order = list(items)
    secrets.SystemRandom().shuffle(order)
    return order


ANCHOR_RANK: Final = 0
"""Stands for the anchor in votes; candidates start at 1."""
ANCHOR_NAME: Final = "plain cut"

_FADE_S: Final = 0.003
"""Of both sides of the cut: the cut shall lose by its music, not by a click. Set by judgement."""
_SHORTEST_S: Final = 0.5
"""An interlude below it is nearly a cut itself, and no anchor can be told from it."""


def write_anchor(folder: Path, document: RunDocument) -> CandidateRecord | None:
    """Cut the anchor and leave its buses in the run folder.

    Parameters
    ----------
    folder : Path
        The run folder, with the WAVs that the document names.

    Returns
    -------
    CandidateRecord or None
        The anchor, with `ANCHOR_RANK`; None if a candidate is nearly a cut itself.

    Raises
    ------
    InputError
        If a WAV cannot be read or written.
    """
    by_length = sorted(document.candidates, key=lambda r: r.entry_s - r.exit_s)
    if not by_length or by_length[0].entry_s - by_length[0].exit_s < _SHORTEST_S:
        return None
    source = by_length[0]
    anchor = _cut_record(source)
    for old, new in (
        (source.music_file, anchor.music_file),
        (source.click_file, anchor.click_file),
        (source.cue_file, anchor.cue_file),
    ):
        _write_cut(folder / old, folder / new, source)
    return anchor


def _write_cut(source: Path, target: Path, record: CandidateRecord) -> None:
    clip = read_wav(source)
    n_fade = round(_FADE_S * clip.rate_hz)
    old = clip.samples[: round(record.exit_s * clip.rate_hz)].copy()
    new = clip.samples[round(record.entry_s * clip.rate_hz) :].copy()
    rise = np.linspace(0.0, 1.0, n_fade, dtype=np.float32)[:, np.newaxis]
    old[-n_fade:] *= rise[::-1][-len(old) :]
    new[:n_fade] *= rise[: len(new)]
    write_wav24(target, Clip(samples=np.concatenate([old, new]), rate_hz=clip.rate_hz))


def _cut_record(source: CandidateRecord) -> CandidateRecord:
    removed_s = source.entry_s - source.exit_s
    singer_s = source.singer_s
    return replace(
        source,
        rank=ANCHOR_RANK,
        plan=replace(source.plan, recipe=ANCHOR_NAME, why="The plain cut, put in as a check."),
        scorecard=replace(
            source.scorecard, loudness_lufs=_cut_curve(source, source.scorecard.loudness_lufs)
        ),
        bars=_cut_bars(source),
        entry_s=source.exit_s,
        singer_s=None if singer_s is None else max(singer_s - removed_s, source.exit_s),
        music_file=f"{ANCHOR_NAME}.wav",
        click_file=f"{ANCHOR_NAME} click.wav",
        cue_file=f"{ANCHOR_NAME} cue.wav",
        picture_file="",
        notes=(),
    )


def _cut_bars(source: CandidateRecord) -> tuple[BarReport, ...]:
    removed_s = source.entry_s - source.exit_s
    kept = [
        bar if bar.section == "outgoing" else replace(bar, time_s=bar.time_s - removed_s)
        for bar in source.bars
        if bar.section != "interlude"
    ]
    first = kept[0].number if kept else 1
    return tuple(replace(bar, number=n) for n, bar in enumerate(kept, start=first))


def _cut_curve(source: CandidateRecord, curve: tuple[CurveSample, ...]) -> tuple[CurveSample, ...]:
    before = [s for s in curve if s.time_s < source.exit_s]
    removed_s = source.entry_s - source.exit_s
    after = [replace(s, time_s=s.time_s - removed_s) for s in curve if s.time_s >= source.entry_s]
    return (*before, *after)
