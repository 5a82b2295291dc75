"""A thousand bad inputs for every command: no traceback, no hang, no flood, one clear sentence.

``python -m benchmarks.abuse`` prints its table and exits 1 on a miss.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
from collections import Counter
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from benchmarks._abuse_sounds import NAMES, broken_files, chord, encoded, odd_files, odd_places
from benchmarks._abuse_texts import any_text, documents_changed, lines_changed
from benchmarks._abuse_watch import Case, Verdict, tried
from benchmarks._in_process import run_here
from benchmarks.faults import RECIPE, job
from segue.errors import printable
from segue.recipes import shelf_folder

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

LEAST_CASES: Final = 1000
SET_TEXT: Final = """schema_version = 1
title = "Harbour"
slot = "5m"

[[songs]]
path = "one.wav"
title = "One"
key = "A minor"
length = "3:45"
energy = 2
voice = "Mara"
talk = "5s"

[[songs]]
path = "other.wav"
title = "Other"
tempo_bpm = 90.0
metre = 4
after = "One"
changeover = "10s"
"""
SONG_TEXT: Final = """title = "Low Tide"
key = "F# minor"
tempo_bpm = 120.0
first_downbeat_s = 0.5
metre = 4

[roles]
"a.wav" = "voice"
"""
MAY_BE_LONG: Final = ("cut", "bits", "tag", "channels", "rate")
"""Starts of names of sounds that are refused by most commands, and by some readers not."""
ON_A_RUN: Final = (
    "choose", "explain", "taste", "stage", "audition", "undo", "redo", "change", "review",
)  # fmt: skip
NO_LAYER: Final = "zither"  # a layer of no recipe, so that nothing is rendered


def all_cases(folder: Path) -> list[Case]:
    """Every case; what they need is written under a folder, in which a good run is made."""
    made = run_here(job(folder))
    if made.code:
        raise RuntimeError(made.err)
    planned = run_here(["set", *_set_args(folder, _set_file(folder, SET_TEXT.encode()), "evening")])
    if planned.code:
        raise RuntimeError(planned.err)
    return [
        *_sound_cases(folder),
        *_place_cases(folder),
        *_name_cases(folder),
        *_recipe_cases(folder),
        *_song_toml_cases(folder),
        *_set_cases(folder),
        *_run_cases(folder),
        *_evening_cases(folder),
        *_word_cases(folder),
    ]


def cheap_part(cases: Sequence[Case], n: int) -> list[Case]:
    """So many of all cases, evenly drawn from those that cost little."""
    cheap = [case for case in cases if not case.is_costly]
    return [cheap[place * len(cheap) // n] for place in range(n)]


def _on_sound(folder: Path, path: Path, command: str, name: str) -> Case:
    """A command on a bad sound."""
    good, place, out = str(folder / "one.wav"), str(path), ""
    short = ["--edge-seconds", "8", "--quiet"]
    match command:
        case "analyse":
            args = ["analyse", place, *short]
        case "analyse end":
            args = ["analyse", place, "--edge", "end", *short]
        case "lead":
            args = ["analyse", good, "--lead", place, *short]
        case "between A" | "between B":
            out = str(path.parent / f"{path.name[:40]} {command} run")
            songs = [place, good] if command.endswith("A") else [good, place]
            args = [*job(folder, out=Path(out))]
            args[1:3] = songs
        case "pad":
            out = str(path.parent / f"{path.name[:40]} {command} run")
            args = [*job(folder, out=Path(out)), "--pad", place]
        case "review":
            args = ["review", str(folder / "run"), place, "--out", str(path.parent)]
        case "neighbours":
            args = ["neighbours", "x", "--catalogue", place]
        case _:
            raise ValueError(command)
    folder_ = str(path.parent)
    return Case(command=command, name=name, args=tuple(args), culprits=(path.name or str(path),),
                folder=folder_, out=out)  # fmt: skip


def _sound_cases(folder: Path) -> Iterator[Case]:
    commands = ("analyse", "between A", "between B", "analyse end", "lead", "pad", "review")
    for number, (name, content) in enumerate(broken_files()):
        path = folder / "broken" / str(number) / name
        path.parent.mkdir(parents=True)
        path.write_bytes(content)
        # what may still be readable is costly to hear: one command is enough
        may_be_heard = name.startswith(("flipped", "declared", "riff", "tag", "bits", "over"))
        many = () if may_be_heard else (commands[1 + number % 6], commands[1 + (number + 3) % 6])
        is_costly = name.startswith(MAY_BE_LONG)
        for command in ("analyse", *many):
            case = _on_sound(folder, path, command, name)
            yield replace(case, is_costly=is_costly and command != "analyse")
        if number % 8 == 0:
            yield _on_sound(folder, path, "neighbours", name)
    for number, (name, content) in enumerate(odd_files()):
        path = folder / "odd" / str(number) / name
        path.parent.mkdir(parents=True)
        path.write_bytes(content)
        for command in ("analyse", "analyse end", "review", "between A", "between B"):
            yield replace(_on_sound(folder, path, command, name), is_costly=command != "analyse")


def _place_cases(folder: Path) -> Iterator[Case]:
    places = folder / "places"
    places.mkdir()
    for path in odd_places(places):
        for command in ("analyse", "between A", "pad", "review", "lead", "neighbours"):
            case = _on_sound(folder, path, command, path.name)
            if not case.out:
                case = replace(case, folder="")
            else:
                out = str(places / f"run of {path.name[:30]} {command}")
                args = tuple(out if word == case.out else word for word in case.args)
                case = replace(case, args=args, folder="", out=out)
            yield case
        for command in (
            "explain",
            "stage",
            "audition",
            "taste",
            "choose",
            "undo",
            "change",
            "set",
            "check",
        ):
            out = places / f"{command} of {path.name[:30]}"
            args = _on_run(command, path, folder, out)
            yield Case(command=command, name=path.name, args=args, culprits=(path.name,),
                       folder="", out=str(out))  # fmt: skip


def _name_cases(folder: Path) -> Iterator[Case]:
    sound = encoded("wav")
    for number, name in enumerate(NAMES):
        home = folder / "names" / str(number)
        home.mkdir(parents=True)
        bad = home / f"{name}.wav"
        bad.write_bytes(b"no sound")
        for command in ("analyse", "between A", "pad", "review"):
            yield _on_sound(folder, bad, command, name)
        recipe = home / f"{name[:240]}.toml"
        if len(os.fsencode(recipe.name)) < 256:
            recipe.write_text("name = 1\n")
            check = ("recipes", "check", str(recipe))
            yield Case(command="recipes check", name=name, args=check, culprits=(recipe.name,),
                       folder=str(home))  # fmt: skip
        good = folder / "good names" / str(number) / f"{name}.wav"
        good.parent.mkdir(parents=True)
        good.write_bytes(sound)
        how = [("--json",), ()][number % 2]
        args = ("analyse", str(good), "--edge-seconds", "8", "--quiet", *how)
        yield Case(command="analyse", name=name, args=args, culprits=(), folder=str(good.parent))
        if number % 3 == 0:
            out = good.parent / name
            run = [*job(folder, out=out)]
            run[1] = str(good)
            yield Case(command="between", name=name, args=tuple(run), culprits=(),
                       folder=str(folder / "nothing"), is_costly=True)  # fmt: skip


def _recipe_cases(folder: Path) -> Iterator[Case]:
    shelf = sorted(shelf_folder().glob("*.toml"))
    texts = [*any_text()]
    for recipe in (shelf_folder() / RECIPE, shelf[3]):
        texts += lines_changed(recipe.read_text(encoding="utf-8"))
    for number, (name, content) in enumerate(texts):
        home = folder / "recipe texts" / str(number)
        home.mkdir(parents=True)
        path = home / "own.toml"
        path.write_bytes(content)
        check = ("recipes", "check", str(path))
        yield Case(command="recipes check", name=name, args=check, culprits=("own.toml",),
                   folder=str(home))  # fmt: skip
        if number % 2 == 0:
            show = ("recipes", "--recipes", str(home), "show", "own")
            yield Case(command="recipes show", name=name, args=show, culprits=("own.toml", "'own'"),
                       folder=str(home))  # fmt: skip


def _song_toml_cases(folder: Path) -> Iterator[Case]:
    texts = [*any_text(), *lines_changed(SONG_TEXT)]
    for number, (name, content) in enumerate(texts):
        home = folder / "song texts" / str(number)
        home.mkdir(parents=True)
        (home / "a.wav").write_bytes(encoded("wav", chord(2.1)[:, :1]))
        (home / "song.toml").write_bytes(content)
        yield Case(command="analyse", name=f"song.toml {name}", culprits=("song.toml",),
                   folder=str(home),
                   args=("analyse", str(home), "--edge-seconds", "8", "--quiet"))  # fmt: skip


def _set_file(folder: Path, content: bytes, number: int = -1) -> Path:
    home = folder / "set texts" / str(number)
    home.mkdir(parents=True)
    for name in ("one.wav", "other.wav"):
        (home / name).symlink_to(folder / name)
    (home / "set.toml").write_bytes(content)
    return home / "set.toml"


def _set_args(folder: Path, file: Path, out: str) -> tuple[str, ...]:
    return (str(file), "--out", str(folder / out), "--plan-only", "--workers", "1",
            "--edge-seconds", "8", "--quiet")  # fmt: skip


def _set_cases(folder: Path) -> Iterator[Case]:
    for number, (name, content) in enumerate([*any_text(), *lines_changed(SET_TEXT)]):
        file = _set_file(folder, content, number)
        out = f"set texts/{number}/evening"
        args = ("set", *_set_args(folder, file, out))
        yield Case(command="set", name=name, args=args, culprits=("set.toml",),
                   folder=str(file.parent), out=str(folder / out))  # fmt: skip


def _on_run(command: str, run: Path, folder: Path, out: Path) -> tuple[str, ...]:
    place = str(run)
    match command:
        case "choose":
            return ("choose", place, "1")
        case "audition":
            return ("audition", place, "--no-open")
        case "stage":
            return ("stage", place, "--out", str(out))
        case "review":
            return ("review", place, str(folder / "one.wav"), "--out", str(folder))
        case "change":
            return ("change", place, "1", "--level", f"{NO_LAYER} -3", "--quiet")
        case "set":
            return ("set", *_set_args(folder, run, str(out)))
        case "check":
            return ("recipes", "check", place)
        case _:
            return (command, place)


def _run_cases(folder: Path) -> Iterator[Case]:
    text = (folder / "run" / "segue.json").read_text(encoding="utf-8")
    for number, (name, content) in enumerate(documents_changed(text, 150)):
        home = folder / "runs" / str(number)
        run = home / "run"
        shutil.copytree(folder / "run", run, copy_function=os.link)
        (run / "segue.json").unlink()
        (run / "segue.json").write_bytes(content)
        quick = ON_A_RUN[:-1]
        commands = quick if number % 12 == 0 else (quick[number % len(quick)],)
        for command in commands:
            args = _on_run(command, run, folder, home / "pack")
            out = str(home / "pack") if command == "stage" else ""
            yield Case(command=command, name=f"segue.json {name}", args=args,
                       culprits=(f"{home.name}/run", *([NO_LAYER] * (command == "change"))),
                       folder=str(home), out=out)  # fmt: skip


def _evening_cases(folder: Path) -> Iterator[Case]:
    text = (folder / "evening" / "set.json").read_text(encoding="utf-8")
    for number, (name, content) in enumerate(documents_changed(text, 40)):
        home = folder / "evenings" / str(number)
        home.mkdir(parents=True)
        (home / "set.json").write_bytes(content)
        args = ("stage", str(home), "--out", str(home / "pack"))
        yield Case(command="stage", name=f"set.json {name}", args=args,
                   culprits=(f"evenings/{number}",), folder=str(home),
                   out=str(home / "pack"))  # fmt: skip


def _word_cases(folder: Path) -> Iterator[Case]:
    words = ("", "H minor", "C", "c# MINOR", "x" * 5000, "\x00", "歌", "-1", "nan", "C minor\n")
    home = folder / "words"
    home.mkdir()
    for word in words:
        yield Case(command="path", name=word, args=("path", "--", word, "C major"),
                   culprits=(printable(word)[:20], "'C major'"), folder=str(home))  # fmt: skip
        for option in ("--key-a", "--tempo-a", "--metre-b", "--downbeat-a", "--first-note-b",
                       "--ending-a", "--talk", "--recipe", "--shift-b", "--seed"):  # fmt: skip
            args = (*job(folder, out=home / "run"), f"{option}={word}", "--workers", "0")
            named = (option, f"'{printable(word)[:20]}", option.split("-")[2] + " ", "0 workers")
            yield Case(command="between", name=f"{option} {word[:10]}", args=args, culprits=named,
                       folder=str(home), out=str(home / "run"))  # fmt: skip
    for args in (
        ("cache", "--json"),
        ("cache", "x"),
        ("catalogue", str(home)),
        ("catalogue", "/dev/null"),
        ("catalogue", str(folder / "places"), "--workers", "1"),
    ):
        to = ("--to", str(home / "c.sqlite")) if args[0] == "catalogue" else ()
        yield Case(command=args[0], name=args[-1], args=(*args, *to),
                   culprits=(args[1],), folder=str(home))  # fmt: skip


def table(verdicts: Sequence[Verdict]) -> str:
    """One line a command: cases, refusals, faults, the longest and the largest."""
    lines = [f"{'command':<16}{'cases':>6}{'refused':>9}{'faults':>8}{'longest s':>11}{'MB':>7}"]
    for command in dict.fromkeys(v.case.command for v in verdicts):
        mine = [v for v in verdicts if v.case.command == command]
        refused = sum(v.told.code == 2 for v in mine)
        faults = sum(bool(v.fault) for v in mine)
        longest, largest = max(v.told.took_s for v in mine), max(v.told.peak_mb for v in mine)
        lines.append(
            f"{command:<16}{len(mine):>6}{refused:>9}{faults:>8}{longest:>11.1f}{largest:>7.0f}"
        )
    kinds = Counter(v.fault for v in verdicts if v.fault)
    return "\n".join([*lines, f"{len(verdicts)} cases; faults: {dict(kinds) or 'none'}"])


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table and every fault; 1 on a miss."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1, help="only every so many cases")
    parser.add_argument("--part", default="1/1", help="the first of four parts is 1/4")
    parser.add_argument("--only", default="", help="only commands that start so")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args(argv)
    part, n_parts = map(int, given.part.split("/"))
    with tempfile.TemporaryDirectory(prefix="abuse-") as name, own_temporary(Path(name)) as left:
        cases = [c for c in all_cases(Path(name) / "work") if c.command.startswith(given.only)]
        drawn = cases[:: given.every][part - 1 :: n_parts]
        verdicts = tried(drawn, n_processes=given.processes)
        stray = left()
    print(table(verdicts))
    print(f"left in the temporary folder: {stray or 'nothing'}")
    is_all = given.every == n_parts == 1 and not given.only
    is_short = is_all and len(verdicts) < LEAST_CASES
    return int(is_short or bool(stray) or any(v.fault for v in verdicts))


@contextmanager
def own_temporary(folder: Path) -> Iterator[Callable[[], list[str]]]:
    """A cache and a temporary folder of our own; tells what was left in the latter."""
    kept = {name: os.environ.get(name) for name in ("SEGUE_CACHE", "TMPDIR")}
    (folder / "work").mkdir()
    (folder / "tmp").mkdir()
    os.environ.update({"SEGUE_CACHE": str(folder / "cache"), "TMPDIR": str(folder / "tmp")})
    before, tempfile.tempdir = tempfile.tempdir, None
    try:
        yield lambda: sorted(path.name for path in (folder / "tmp").iterdir())
    finally:
        tempfile.tempdir = before
        for name, value in kept.items():
            os.environ.pop(name)
            if value is not None:
                os.environ[name] = value


if __name__ == "__main__":
    sys.exit(main())
