"""Options that several commands have, how what is typed becomes facts, and who does the work."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, cast, get_args

import typer

from segue.errors import OptionError, did_you_mean, shortened
from segue.music.key import parse_key, parse_note
from segue.music.tempo import length_s

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from segue.analysis.facts import EndingKind, OpeningKind
    from segue.audio.clip import Overrides
    from segue.workers import Travel, Workers


def _old(name: str, told: str) -> Any:  # noqa: ANN401 - as typer has it
    """An option on the old song, in both its spellings."""
    return typer.Option(f"--old-{name}", f"--{name}-a", help=told)


def _new(name: str, told: str) -> Any:  # noqa: ANN401 - as typer has it
    """An option on the new song, in both its spellings."""
    return typer.Option(f"--new-{name}", f"--{name}-b", help=told)


KeyA = Annotated[str | None, _old("key", "Key at the end of the old song: 'F# minor'.")]
KeyB = Annotated[str | None, _new("key", "Key at the start of the new song.")]
TempoA = Annotated[float | None, _old("tempo", "Tempo of the old song in BPM.")]
TempoB = Annotated[float | None, _new("tempo", "Tempo of the new song in BPM.")]
MetreA = Annotated[int | None, _old("metre", "Beats a bar of the old song.")]
MetreB = Annotated[int | None, _new("metre", "Beats a bar of the new song.")]
DownbeatA = Annotated[float | None, _old("downbeat", "A bar line of the old song, in seconds.")]
DownbeatB = Annotated[float | None, _new("downbeat", "A bar line of the new song, in seconds.")]
TuningA = Annotated[float | None, _old("tuning", "Cents of the old song above A4 = 440 Hz.")]
TuningB = Annotated[float | None, _new("tuning", "Cents of the new song above A4 = 440 Hz.")]
EndingA = Annotated[str | None, _old("ending", "'keeps going', 'cold stop', 'ring-out' or 'fade'.")]
OpeningB = Annotated[str | None, _new("opening", "'on the beat', 'pick-up' or 'free intro'.")]
FirstNoteB = Annotated[str | None, _new("first-note", "The singer's first note: 'A3'.")]
Lead = Annotated[Path | None, _new("lead", "A file with the new song's lead part alone.")]
ShiftB = Annotated[int, _new("shift", "Move the new song by semitones: -1 is down one.")]
Recipes = Annotated[
    Path | None, typer.Option("--recipes", help="A folder of recipes instead of the shelf.")
]
Only = Annotated[list[str] | None, typer.Option("--recipe", help="Use this recipe (repeatable).")]
RateHz = Annotated[int, typer.Option("--rate", help="Sample rate of the WAVs in Hz.")]
EdgeS = Annotated[float, typer.Option("--edge-seconds", help="Seconds of each song to listen to.")]
For = Annotated[
    Literal["talk", "lift", "calm", "dance"] | None,
    typer.Option("--for", help="What it is for; the score is weighed for it."),
]
Talk = Annotated[str | None, typer.Option(help="The singer talks that long: '25s', '1m10s'.")]
Leave = Annotated[
    str | None,
    typer.Option(help="Leave the old song at '3:12', 'bar -8', 'last chord' or 'end'."),
]
Enter = Annotated[
    str | None,
    typer.Option(help="Enter the new song at '0:08', 'bar 9' or 'first note - 2 bars'."),
]
BridgeBars = Annotated[int | None, typer.Option("--bars", help="Length of the bridge, in bars.")]
Exactly = Annotated[
    bool, typer.Option("--exactly", help="Keep these places on their beat, off the bar line.")
]
Match = Annotated[bool, typer.Option("--match", help="Bring both songs to one loudness.")]
Pad = Annotated[
    Path | None, typer.Option(help="Your own pad sound: one recorded note, or a SoundFont.")
]
StretchEngineName = Annotated[
    Literal["own", "rubberband"],
    typer.Option(
        "--stretch-engine", help="What changes a song's tempo; rubberband must be installed."
    ),
]
Seed = Annotated[int, typer.Option(help="A number; another one draws other random hits.")]
Replace = Annotated[
    bool, typer.Option("--replace", help="Replace a folder with other songs, or with a choice.")
]
NoCache = Annotated[bool, typer.Option("--no-cache", help="Analyse again; do not store it.")]
WorkersN = Annotated[
    int | None,
    typer.Option(
        "--workers", help="Processes that share the work: one a core, at most 3, unless told."
    ),
]
NoOpen = Annotated[bool, typer.Option("--no-open", help="Open no browser.")]
Run = Annotated[Path, typer.Argument(help="The folder with the segues.")]
RunOrEvening = Annotated[
    Path, typer.Argument(help="The folder with the segues, or that of an evening.")
]
Which = Annotated[
    str | None,
    typer.Option(
        "--option", "--candidate", help="Which option: 2, or 2b; the chosen one unless told."
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON for machines.")]
NoHints = Annotated[bool, typer.Option("--quiet", help="No hints.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="No progress, no hints.")]

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 22_050, 192_000  # frames a second that a WAV may have
SHORTEST_EDGE_S, LONGEST_EDGE_S = 8.0, 300.0  # seconds of a song that may be read
_BARE_SECONDS = re.compile(r"\d+(?:\.\d+)?")


def seconds_of(option: str, text: str) -> float:
    """Seconds of a length of time as people write it.

    Raises
    ------
    OptionError
        If the text is no length of time, or none that anybody talks for.

    Examples
    --------
    >>> seconds_of("--talk", "1m10s")
    70.0
    """
    from segue.job.request import LONGEST_TALK_S

    text = text.strip()
    total_s = float(text) if _BARE_SECONDS.fullmatch(text) else length_s(text)
    if total_s is None:
        raise OptionError(f"{option} '{text}' is not a length of time: write 25s or 1m10s.")
    if not 0 < total_s <= LONGEST_TALK_S:
        raise OptionError(
            f"{option} '{text}' is outside 1 s to {LONGEST_TALK_S / 60:.0f} minutes: "
            "write 25s or 1m10s."
        )
    return total_s


def overrides_of(
    *,
    key: str | None = None,
    tempo_bpm: float | None = None,
    metre: int | None = None,
    downbeat_s: float | None = None,
    tuning_cents: float | None = None,
    ending: str | None = None,
    opening: str | None = None,
    first_note: str | None = None,
) -> Overrides:
    """What the musician says, checked.

    Parameters
    ----------
    key, tempo_bpm, metre, downbeat_s, tuning_cents, ending, opening, first_note
        As typed; None where nothing was said.

    Raises
    ------
    SegueError
        If a value makes no sense, with what would.
    """
    from segue.analysis.facts import EndingKind, OpeningKind
    from segue.audio.clip import Overrides
    from segue.audio.song_toml import MAX_METRE, MAX_TEMPO_BPM, MIN_TEMPO_BPM

    check_within("tempo", tempo_bpm, MIN_TEMPO_BPM, MAX_TEMPO_BPM, "BPM")
    check_within("metre", metre, 1, MAX_METRE, "beats a bar")
    check_within("tuning", tuning_cents, -50, 50, "cents from A4 = 440 Hz")
    check_within("downbeat", downbeat_s, 0, 24 * 3600, "seconds from the start of the file")
    return Overrides(
        key=None if key is None else parse_key(key),
        tuning_cents=tuning_cents,
        tempo_bpm=tempo_bpm,
        metre=metre,
        first_downbeat_s=downbeat_s,
        ending=cast("EndingKind | None", one_of("ending", ending, get_args(EndingKind))),
        opening=cast("OpeningKind | None", one_of("opening", opening, get_args(OpeningKind))),
        first_note_midi=None if first_note is None else parse_note(first_note),
    )


def check_rate(rate_hz: int) -> None:
    """Refuse a sample rate that cannot be meant."""
    check_within("--rate", rate_hz, LOWEST_RATE_HZ, HIGHEST_RATE_HZ, "Hz")


def check_edge(edge_s: float) -> None:
    """Refuse a length of an edge that cannot be meant."""
    check_within("--edge-seconds", edge_s, SHORTEST_EDGE_S, LONGEST_EDGE_S)


def check_within(name: str, value: float | None, low: float, high: float, unit: str = "") -> None:
    """Refuse a number that lies outside of what makes sense; None is no number."""
    if value is not None and not low <= value <= high:
        seen, least, most = (x if isinstance(x, int) else f"{x:g}" for x in (value, low, high))
        words = f"{name} {seen} is outside {least} to {most} {unit}".rstrip()
        raise OptionError(f"{words}: keep within.")


def one_of(name: str, word: str | None, allowed: tuple[str, ...]) -> str | None:
    """A word if it is one of those allowed, or none; else what it could be is told."""
    if word is None or word in allowed:
        return word
    raise OptionError(
        f"{name} '{shortened(word)}' is none of {', '.join(allowed)}: take one of these."
        f"{did_you_mean(word, allowed)}"
    )


MOST_WORKERS = 64  # processes at once; more are a slip
ManyWorkersN = Annotated[
    int | None, typer.Option("--workers", help="Processes of this machine; one a core if not said.")
]
Cluster = Annotated[
    str | None,
    typer.Option(help="Work on a Dask cluster: its scheduler, such as 'tcp://10.0.0.5:8786'."),
]
ClusterFiles = Annotated[
    Literal["path", "bytes"] | None,
    typer.Option(
        "--cluster-files",
        help="How files get there: by a 'path' that all machines share, or by their 'bytes'.",
    ),
]


def open_hands(
    workers: int | None, cluster: str | None, files: Travel | None, loads: tuple[str, ...]
) -> AbstractContextManager[Workers]:
    """Workers as the options ask for them, for a `with` block.

    Parameters
    ----------
    loads : tuple of str
        Modules that processes of this machine begin to load at once.

    Raises
    ------
    OptionError
        If they do not go together, the number is out of range, or the address is none.
    """
    if cluster is None and files is not None:
        raise OptionError("--cluster-files goes with --cluster: give the scheduler's address too.")
    if cluster is not None and workers is not None:
        raise OptionError(
            "--workers counts processes of this machine, and a cluster has its own: leave out "
            "--workers or --cluster."
        )
    check_within("--workers", workers, 1, MOST_WORKERS)
    from segue.workers import make_ready, n_cores, one_heap, open_workers

    one_heap()
    if cluster is None:
        make_ready(workers or n_cores(), *loads)
        return open_workers(n_processes=workers)
    from segue.workers.connection import check_address

    check_address(cluster)
    from segue.setlist.joins import maker_digest

    return open_workers(cluster=cluster, travel=files or "path", digest=maker_digest, tell=_tell)


def _tell(words: str) -> None:
    """On the error stream, even where progress is not wanted: the command seems to hang else."""
    print(f"segue: {words}", file=sys.stderr)
