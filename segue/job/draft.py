"""A draft of a changed option: the bridge and a few seconds around it, soon and roughly.

It is planned as the version will be and rendered by the same code, but at half the rate, with
little of the songs around the bridge, without a score, a picture or a page. It is a little darker,
and its levels are told by fewer bars; nothing else differs.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from io import BytesIO
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from segue.audio.clip import Clip
from segue.errors import OptionError, SegueError, shortened
from segue.job.attempt import Attempt, attempt_of, changed_attempt, planned
from segue.job.changes import Changes, check_chords
from segue.runfolder import read_document
from segue.runfolder.run_document import candidate_of

if TYPE_CHECKING:
    from pathlib import Path

    from segue.arrays import Floats32
    from segue.plan import Plan
    from segue.workers import Workers

DRAFT_NAME: Final = "draft.wav"
"""Of the latest draft, in the run folder."""
AROUND_S: Final = 4.0
"""Of either song beside the bridge: two bars at 120 BPM. Set by judgement."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draft:
    """A draft of a changed option: the bridge and a few seconds around it.

    Parameters
    ----------
    clip : Clip
        What the room hears, at half of the usual rate.
    plan : Plan
        Of the whole version.
    starts_s : float
        Where the draft begins, in seconds of the whole version: `plan` counts from there.
    changes : tuple of str
        What was changed, in words.
    """

    clip: Clip
    plan: Plan
    starts_s: float
    changes: tuple[str, ...]

    @property
    def music(self) -> Floats32:
        """What the room hears, shape (n_frames, 2), at full scale ±1."""
        return self.clip.samples

    @property
    def rate_hz(self) -> int:
        """Half of the usual one."""
        return self.clip.rate_hz

    def wav(self) -> bytes:
        """The music as a WAV file of 16 bits, as every browser plays it."""
        file = BytesIO()
        soundfile.write(file, self.music, self.rate_hz, format="WAV", subtype="PCM_16")
        return file.getvalue()


def make_draft(
    run: Path,
    which: int | str | None,
    changes: Changes,
    *,
    own_recipes: Path | None = None,
    solo: tuple[str, ...] = (),
    workers: Workers | None = None,
) -> Draft:
    """A draft of an option, changed or as it is; nothing is written.

    Parameters
    ----------
    solo : tuple of str
        Names of layers that are heard alone, as loud as they are among the others; empty for all.
    workers : Workers or None
        Who renders it; None is this process, where the songs stay in memory for the next draft
        of the same run.

    Raises
    ------
    SegueError
        If something cannot be done, or a song is gone.
    """
    document = read_document(run)
    record = candidate_of(document, which)
    words: tuple[str, ...] = ()
    if changes == Changes() and record.made is not None:
        step = attempt_of(run, document, record, record.made)
        plan = planned(step)
    else:
        step, new, plan = changed_attempt(
            run, document, record.rank, changes, own_recipes=own_recipes
        )
        words = new.words
    check_chords(step.recipe, plan.entry_beat - plan.exit_beat)
    short = planned(step, heard_s=AROUND_S)
    if solo:
        short = alone(short, solo)
    order = (step, short)
    music = drafted_music(order) if workers is None else _music_by(workers, order)
    quieter = np.float32(10 ** (-record.lowered_db / 20))
    return Draft(
        clip=Clip(samples=music.samples * quieter, rate_hz=music.rate_hz),
        plan=plan,
        starts_s=plan.seconds_at(plan.exit_beat) - short.seconds_at(short.exit_beat),
        changes=words,
    )


def drafted_music(order: tuple[Attempt, Plan]) -> Clip:
    """What the room hears of a plan, at the rate of drafts.

    Raises
    ------
    SegueError
        If a song cannot be read.
    """
    from segue.job.steps import draft_candidate  # heavy, and whoever plans may not render

    return draft_candidate(*order).music


def _music_by(workers: Workers, order: tuple[Attempt, Plan]) -> Clip:
    outcome = next(iter(workers.outcomes(drafted_music, [order])))
    if outcome.result is None:
        raise SegueError(outcome.problem)
    return outcome.result


def alone(plan: Plan, names: tuple[str, ...]) -> Plan:
    """A plan of which only some layers are heard, as loud as they are among the others.

    A layer that has no name in its recipe is called by its source there, and here 'outgoing song'
    or 'outgoing loop'; one that is laid in several pieces has their numbers behind its name.

    What is trimmed by hand counts for the level of the bridge as if it were not: so nothing makes
    up for what is turned off.

    Raises
    ------
    OptionError
        If it has no such layer.
    """
    wanted = re.compile("|".join(f"{re.escape(name)}( song| loop)?( \\d+)?" for name in names))
    kept = [wanted.fullmatch(layer.name) is not None for layer in plan.layers]
    if not any(kept):
        told = ", ".join(dict.fromkeys(layer.name for layer in plan.layers))
        raise OptionError(f"'{shortened(names[0])}' is no layer of this bridge: it has {told}.")
    layers = tuple(
        layer if is_kept else replace(layer, trim_db=_OFF_DB)
        for layer, is_kept in zip(plan.layers, kept, strict=True)
    )
    return replace(plan, layers=layers)


_OFF_DB: Final = -200.0  # below the noise of any number of bits that is heard
