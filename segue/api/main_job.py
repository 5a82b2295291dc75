"""The main job: two songs in, a folder of segues and what is to be known of them out."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from segue.audio.clip import Overrides
from segue.audio.read import DEFAULT_EDGE_S, DEFAULT_RATE_HZ
from segue.audio.write import read_wav

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.analysis.facts import EdgeFacts
    from segue.arrays import Floats32
    from segue.job.request import Request
    from segue.plan import Plan
    from segue.runfolder import CandidateRecord, RunDocument
    from segue.score import Purpose, Scorecard


def tell_nobody(_words: str) -> None:
    """Progress that nobody asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What you want of segues, and what you know of two songs; the defaults leave all to Segue.

    Parameters
    ----------
    old, new : Overrides
        What you know of the song that ends and of the one that starts; of a set, its file tells.
    recipes : tuple of str
        Names of the recipes to use; empty means the most suitable ones.
    purpose : {'talk', 'lift', 'calm', 'dance'} or None
        What the segue is for: weighs the score.
    leave : str or None
        Where the old song is left: '3:12', '192s', 'bar -8', 'last chord' or 'end'.
        This and the next three count for one join, not for an evening.
    enter : str or None
        Where the new song is entered: '0:08', 'bar 9' or 'first note - 2 bars'.
    n_bars : int or None
        Bars of the bridge.
    exactly : bool
        Keep those places on the nearest beat; else they are moved to the nearest bar line.
    talk_s : float or None
        What the singer wants for talking.
    shift_semitones : int
        What the new song is moved by.
    pad : Path or None
        Your own sound for all pads: one recorded note, or a SoundFont.
    match : bool
        Bring both songs to one loudness.
    replaces_choice : bool
        Whether a run whose choice was made may be replaced.
    cached : bool
        Whether what was heard before counts, and what is heard now is kept.
    n_workers : int
        Processes that share the work.
    """

    old: Overrides = field(default_factory=Overrides)
    new: Overrides = field(default_factory=Overrides)
    recipes: tuple[str, ...] = ()
    purpose: Purpose | None = None
    leave: str | None = None
    enter: str | None = None
    n_bars: int | None = None
    exactly: bool = False
    talk_s: float | None = None
    shift_semitones: int = 0
    pad: Path | None = None
    match: bool = False
    rate_hz: int = DEFAULT_RATE_HZ
    edge_s: float = DEFAULT_EDGE_S
    seed: int = 0
    replaces_choice: bool = False
    cached: bool = True
    n_workers: int = 1

    @property
    def terms(self) -> dict[str, Any]:
        """What counts for a join and for an evening alike, by the names of `segue.job.request`."""
        return {
            "rate_hz": self.rate_hz,
            "edge_s": self.edge_s,
            "purpose": self.purpose,
            "pad": self.pad,
            "match": self.match,
            "seed": self.seed,
            "replace": self.replaces_choice,
            "cached": self.cached,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One of the segues of a run folder.

    Parameters
    ----------
    number : int
        1 is the best scored; versions follow in the order in which they were made.
    label : str
        What it is called: '2', or '2b' for a version of option 2.
    is_tie : bool
        Whether it scores the same as the one before it, within the noise of the measures.
    loudness_lufs, true_peak_dbtp : float
        Of the music.
    music_path, click_path, cue_path : Path
        24-bit WAVs of one length.
    notes : tuple of str
        Sentences on what is unsure or could not be done.
    version_of : str or None
        Label of what a version was changed from; None for an option as it was first made.
    changes : tuple of str
        What was changed in a version, in words.
    layers : tuple of str
        Names of the layers of its recipe, for `Changes.levels` and `Changes.without`.
    """

    number: int
    label: str
    plan: Plan
    scorecard: Scorecard
    is_tie: bool
    rate_hz: int
    loudness_lufs: float
    true_peak_dbtp: float
    music_path: Path
    click_path: Path
    cue_path: Path
    picture_path: Path
    notes: tuple[str, ...]
    version_of: str | None = None
    changes: tuple[str, ...] = ()
    layers: tuple[str, ...] = ()

    @property
    def music(self) -> Floats32:
        """What the room hears, shape (n_frames, 2), read from the folder; read-only."""
        return read_wav(self.music_path).samples


@dataclass(frozen=True, slots=True, kw_only=True)
class Segues:
    """What the main job made.

    Parameters
    ----------
    folder : Path
        The run folder, as the command line knows it.
    old, new : EdgeFacts
        What was heard at the end of the old song and at the start of the new one.
    options : tuple of Option
        Best first, then the versions in the order in which they were made.
    chosen : str or None
        Label of what the band chose.
    page_path : Path
        The page on which they are compared.
    """

    folder: Path
    old: EdgeFacts
    new: EdgeFacts
    options: tuple[Option, ...]
    page_path: Path
    rate_hz: int
    chosen: str | None = None


def between(
    old: str | Path,
    new: str | Path,
    *,
    out: str | Path,
    wishes: Wishes | None = None,
    progress: Callable[[str], None] = tell_nobody,
) -> Segues:
    """The main job: three segues from the end of one song to the start of the next.

    Parameters
    ----------
    old, new : str or Path
        Audio files, or folders with one file a stem.
    out : str or Path
        The run folder to be; it appears whole or not at all.
    progress : callable
        Told in a few words what is being done.

    Raises
    ------
    SegueError
        If an input cannot be used or the folder cannot be written.
    """
    from segue.job.between import make_segues

    folder = Path(out)
    request = _request(Path(old), Path(new), folder, wishes or Wishes())
    document = make_segues(request, progress=progress)
    return segues_of(folder, document)


def segues_of(folder: Path, document: RunDocument) -> Segues:
    """A run as a script knows it."""
    from segue.audition.page import PAGE_NAME

    choice = document.choice
    chosen = [r.label for r in document.candidates if choice and r.rank == choice.rank]
    return Segues(
        folder=folder,
        old=document.outgoing,
        new=document.incoming,
        options=tuple(option_of(folder, r, document.rate_hz) for r in document.candidates),
        page_path=folder / PAGE_NAME,
        rate_hz=document.rate_hz,
        chosen=chosen[0] if chosen else None,
    )


def _request(old: Path, new: Path, out: Path, wishes: Wishes) -> Request:
    from segue.job.request import Request
    from segue.plan.places_asked import places_asked

    return Request(
        outgoing=old,
        incoming=new,
        out=out,
        outgoing_overrides=wishes.old,
        incoming_overrides=wishes.new,
        only=wishes.recipes,
        talk_s=wishes.talk_s,
        asked=places_asked(
            leave=wishes.leave, enter=wishes.enter, n_bars=wishes.n_bars, exactly=wishes.exactly
        ),
        shift_b=wishes.shift_semitones,
        n_workers=wishes.n_workers,
        **wishes.terms,
    )


def option_of(folder: Path, record: CandidateRecord, rate_hz: int) -> Option:
    """An option of a run as a script knows it."""
    version, made = record.version, record.made
    layers = () if made is None else made.recipe.layers
    return Option(
        number=record.rank,
        label=record.label,
        plan=record.plan,
        scorecard=record.scorecard,
        is_tie=record.is_tie,
        rate_hz=rate_hz,
        loudness_lufs=record.loudness_lufs,
        true_peak_dbtp=record.true_peak_dbtp,
        music_path=folder / record.music_file,
        click_path=folder / record.click_file,
        cue_path=folder / record.cue_file,
        picture_path=folder / record.picture_file,
        notes=record.notes,
        version_of=None if version is None else version.of,
        changes=() if version is None else version.changes,
        layers=tuple(dict.fromkeys(x.called for x in layers)),
    )
