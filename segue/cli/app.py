"""The commands. Each imports its stage inside, so that ``--help`` stays quick."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final, Literal

import typer

from segue.cli.audition import audition, choose
from segue.cli.cache import cache
from segue.cli.catalogue import catalogue, neighbours
from segue.cli.change import change, redo, undo
from segue.cli.desk import desk
from segue.cli.examples import START, example_of
from segue.cli.explain import explain
from segue.cli.hints import note_command, print_next
from segue.cli.options import overrides_of, seconds_of
from segue.cli.path import path
from segue.cli.plain_help import HeadedGroup
from segue.cli.recipes import own_recipes_folder, shelf_at_hand
from segue.cli.recipes import recipes as recipes_group
from segue.cli.review import review
from segue.cli.set import set_
from segue.cli.stage import stage
from segue.cli.taste import taste
from segue.errors import OptionError

if TYPE_CHECKING:
    from collections.abc import Callable

    from segue.job.request import Request
    from segue.runfolder import RunDocument

app = typer.Typer(
    name="segue",
    help="From the end of one song to the start of the next: three segues; pick one by ear.",
    cls=HeadedGroup,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

KeyA = Annotated[
    str | None,
    typer.Option("--old-key", "--key-a", help="Key at the end of the old song: 'F# minor'."),
]
KeyB = Annotated[
    str | None, typer.Option("--new-key", "--key-b", help="Key at the start of the new song.")
]
TempoA = Annotated[
    float | None, typer.Option("--old-tempo", "--tempo-a", help="Tempo of the old song in BPM.")
]
TempoB = Annotated[
    float | None, typer.Option("--new-tempo", "--tempo-b", help="Tempo of the new song in BPM.")
]
MetreA = Annotated[
    int | None, typer.Option("--old-metre", "--metre-a", help="Beats a bar of the old song.")
]
MetreB = Annotated[
    int | None, typer.Option("--new-metre", "--metre-b", help="Beats a bar of the new song.")
]
DownbeatA = Annotated[
    float | None,
    typer.Option("--old-downbeat", "--downbeat-a", help="A bar line of the old song, in seconds."),
]
DownbeatB = Annotated[
    float | None,
    typer.Option("--new-downbeat", "--downbeat-b", help="A bar line of the new song, in seconds."),
]
TuningA = Annotated[
    float | None,
    typer.Option("--old-tuning", "--tuning-a", help="Cents of the old song above A4 = 440 Hz."),
]
TuningB = Annotated[
    float | None,
    typer.Option("--new-tuning", "--tuning-b", help="Cents of the new song above A4 = 440 Hz."),
]
EndingA = Annotated[
    str | None,
    typer.Option(
        "--old-ending", "--ending-a", help="'keeps going', 'cold stop', 'ring-out' or 'fade'."
    ),
]
OpeningB = Annotated[
    str | None,
    typer.Option("--new-opening", "--opening-b", help="'on the beat', 'pick-up' or 'free intro'."),
]
FirstNoteB = Annotated[
    str | None,
    typer.Option("--new-first-note", "--first-note-b", help="The singer's first note: 'A3'."),
]
Lead = Annotated[
    Path | None,
    typer.Option("--new-lead", "--lead-b", help="A file with the new song's lead part alone."),
]
Recipes = Annotated[Path | None, typer.Option(help="A folder of recipes instead of the shelf.")]
Only = Annotated[list[str] | None, typer.Option("--recipe", help="Use this recipe (repeatable).")]
RateHz = Annotated[int, typer.Option("--rate", help="Sample rate of the WAVs in Hz.")]
EdgeS = Annotated[float, typer.Option("--edge-seconds", help="Seconds of each song to listen to.")]
For = Annotated[
    Literal["talk", "lift", "calm", "dance"] | None,
    typer.Option("--for", help="What the segue is for; the score is weighed for it."),
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
ShiftB = Annotated[
    int,
    typer.Option(
        "--new-shift", "--shift-b", help="Move the new song by semitones: -1 is down one."
    ),
]
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
Json = Annotated[bool, typer.Option("--json", help="Print JSON for machines.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="No progress, no hints.")]

DEMO_OUT = Path("segue-demo")
SONGS, BAND, STAGE, MANY, RECIPES = (
    "From song to song",
    "The band decides",
    "To the stage",
    "Many songs",
    "Chords, recipes, housekeeping",
)
"""Headings in the list of commands."""
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 22_050, 192_000  # frames a second that a WAV may have
SHORTEST_EDGE_S, LONGEST_EDGE_S = 8.0, 300.0  # seconds of a song that may be read
MOST_SHIFT_SEMITONES = 6  # a tritone: further is nearer the other way round


@app.callback(invoke_without_command=True)
def _root(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        from segue import __version__

        print(f"segue {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        print(START)
        raise typer.Exit
    note_command(_options_of(context, context.invoked_subcommand))


def _options_of(context: typer.Context, name: str) -> list[str]:
    """What can be typed behind a command."""
    group = context.command
    one = group.get_command(context, name) if isinstance(group, HeadedGroup) else None
    return [] if one is None else [option for p in one.params for option in p.opts]


@app.command(rich_help_panel=SONGS, epilog=example_of("between"))
def between(
    old_song: Annotated[
        Path, typer.Argument(help="The song that ends: a file or a folder of stems.")
    ],
    new_song: Annotated[Path, typer.Argument(help="The song that starts.")],
    out: Annotated[Path, typer.Option(help="Folder for the three segues.")],
    key_a: KeyA = None,
    key_b: KeyB = None,
    tempo_a: TempoA = None,
    tempo_b: TempoB = None,
    metre_a: MetreA = None,
    metre_b: MetreB = None,
    downbeat_a: DownbeatA = None,
    downbeat_b: DownbeatB = None,
    tuning_a: TuningA = None,
    tuning_b: TuningB = None,
    ending_a: EndingA = None,
    opening_b: OpeningB = None,
    first_note_b: FirstNoteB = None,
    lead_b: Lead = None,
    recipes: Recipes = None,
    recipe: Only = None,
    purpose: For = None,
    rate_hz: RateHz = 48_000,
    edge_s: EdgeS = 45.0,
    leave: Leave = None,
    enter: Enter = None,
    bars: BridgeBars = None,
    exactly: Exactly = False,
    talk: Talk = None,
    match: Match = False,
    shift_b: ShiftB = 0,
    pad: Pad = None,
    stretch_engine: StretchEngineName = "own",
    seed: Seed = 0,
    replace: Replace = False,
    no_cache: NoCache = False,
    workers: WorkersN = None,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Make three segues from the end of OLD_SONG to the start of NEW_SONG."""
    _check_rate_and_edge(rate_hz, edge_s)
    _check_shift(shift_b)
    outgoing = overrides_of(
        key=key_a,
        tempo_bpm=tempo_a,
        metre=metre_a,
        downbeat_s=downbeat_a,
        tuning_cents=tuning_a,
        ending=ending_a,
    )
    incoming = overrides_of(
        key=key_b,
        tempo_bpm=tempo_b,
        metre=metre_b,
        downbeat_s=downbeat_b,
        tuning_cents=tuning_b,
        opening=opening_b,
        first_note=first_note_b,
    )
    from segue.cli.weights_file import read_weights, weights_path
    from segue.job.request import Request
    from segue.plan.places_asked import places_asked

    asked = places_asked(leave=leave, enter=enter, n_bars=bars, exactly=exactly)
    if stretch_engine == "rubberband":
        from segue.render.rubber_program import refuse_if_missing

        refuse_if_missing("--stretch-engine rubberband")
    request = Request(
        outgoing=old_song,
        incoming=new_song,
        out=out,
        rate_hz=rate_hz,
        edge_s=edge_s,
        outgoing_overrides=outgoing,
        incoming_overrides=incoming,
        lead=lead_b,
        recipes=recipes,
        own_recipes=own_recipes_folder(),
        only=tuple(recipe or ()),
        purpose=purpose,
        own_weights=read_weights(weights_path()),
        talk_s=None if talk is None else seconds_of("--talk", talk),
        asked=asked,
        match=match,
        shift_b=shift_b,
        pad=pad,
        stretch_engine=stretch_engine,
        seed=seed,
        replace=replace,
        cached=not no_cache,
        n_workers=_workers(workers),
    )
    _run(request, json=json, quiet=quiet)


@app.command(rich_help_panel=SONGS, epilog=example_of("demo"))
def demo(
    out: Annotated[Path, typer.Option(help="Folder for the three segues.")] = DEMO_OUT,
    replace: Replace = False,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Make three segues of two demo songs, a semitone and 28 BPM apart."""
    from segue.cli.shipped import demo_pair
    from segue.job.request import Request

    old_song, new_song = demo_pair()
    own = own_recipes_folder()
    request = Request(
        outgoing=old_song,
        incoming=new_song,
        out=out,
        own_recipes=own,
        replace=replace,
        n_workers=_workers(None),
    )
    _run(request, json=json, quiet=quiet)


@app.command(rich_help_panel=SONGS, epilog=example_of("analyse"))
def analyse(
    songs: Annotated[list[Path], typer.Argument(help="Audio files or folders of stems.")],
    edge: Annotated[
        Literal["start", "end"], typer.Option(help="Which end to listen to.")
    ] = "start",
    lead: Annotated[Path | None, typer.Option(help="A file with the lead part alone.")] = None,
    edge_s: EdgeS = 45.0,
    no_cache: NoCache = False,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Hear key, tempo, beats, level, and how each song starts or ends."""
    _check_rate_and_edge(48_000, edge_s)
    from segue.analysis.facts_report import facts_report
    from segue.audio import read_song
    from segue.cli.progress import progress_bar
    from segue.cli.tables import print_facts, print_json
    from segue.heard.facts_cache import user_facts_cache
    from segue.heard.hearing import hear

    if lead is not None and len(songs) > 1:
        raise OptionError("--lead goes with one song: analyse the others without it.")
    facts = []
    heard_before = None if no_cache else user_facts_cache()
    with progress_bar(2 * len(songs), quiet=quiet) as tell:
        lead_clip = None
        if lead is not None:
            lead_clip = read_song(lead, edge=edge, edge_s=edge_s).mix
        for path in songs:
            tell(f"reading {path.name}")
            song = read_song(path, edge=edge, edge_s=edge_s)
            tell(f"listening to the {edge} of {song.title}")
            facts.append(hear(song, lead=lead_clip, cache=heard_before))
    if json:
        print_json([facts_report(f) for f in facts])
        return
    print_facts(facts)
    if not quiet:
        print_next("Three segues", "between", "OLD_SONG", "NEW_SONG", "--out", "DIR")


def _run(request: Request, *, json: bool, quiet: bool) -> None:
    from segue.workers import make_ready, one_heap

    one_heap()
    make_ready(request.n_useful_workers, "segue.job.steps", "segue.analysis.hear")
    from segue.cli.progress import progress_bar
    from segue.job.between import N_STEPS_AROUND, make_segues
    from segue.job.shortlist import N_PROPOSALS

    shelf_at_hand(request.recipes)
    n_candidates = len(request.only) or N_PROPOSALS
    total = N_STEPS_AROUND + n_candidates
    with progress_bar(total, quiet=quiet) as tell:
        document = make_segues(request, progress=tell)
    _print_run(document, request.out, json=json, quiet=quiet)


def _print_run(document: RunDocument, out: Path, *, json: bool, quiet: bool) -> None:
    from segue.cli.tables import print_facts, print_json, print_options, print_where, run_report

    if json:
        print_json(run_report(document, out))
        return
    print_facts([document.outgoing, document.incoming])
    print_options(document)
    if not quiet:
        print_where(document, out)


def _workers(wanted: int | None) -> int:
    """As many processes as the user says, or else as are of use."""
    from segue.job.shortlist import N_PROPOSALS
    from segue.workers import n_cores

    return min(n_cores(), N_PROPOSALS) if wanted is None else wanted


def _check_shift(semitones: int) -> None:
    if abs(semitones) > MOST_SHIFT_SEMITONES:
        raise OptionError(
            f"--new-shift {semitones} is more than {MOST_SHIFT_SEMITONES} semitones: "
            "by then it is another song; move it the other way, or less."
        )


def _check_rate_and_edge(rate_hz: int, edge_s: float) -> None:
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise OptionError(
            f"--rate {rate_hz}: keep within {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz."
        )
    if not SHORTEST_EDGE_S <= edge_s <= LONGEST_EDGE_S:
        raise OptionError(
            f"--edge-seconds {edge_s:g}: keep within {SHORTEST_EDGE_S:g} to {LONGEST_EDGE_S:g}."
        )


_ELSEWHERE: Final[dict[str, dict[str, Callable[..., None]]]] = {
    SONGS: {"desk": desk, "set": set_},
    BAND: {
        "audition": audition,
        "choose": choose,
        "change": change,
        "undo": undo,
        "redo": redo,
        "explain": explain,
        "taste": taste,
    },
    STAGE: {"stage": stage, "review": review},
    MANY: {"catalogue": catalogue, "neighbours": neighbours},
    RECIPES: {"path": path, "cache": cache},
}
"""Commands that stand in files of their own, under their headings."""
for _heading, _commands in _ELSEWHERE.items():
    for _name, _command in _commands.items():
        app.command(_name, rich_help_panel=_heading, epilog=example_of(_name))(_command)
app.add_typer(recipes_group, rich_help_panel=RECIPES)
