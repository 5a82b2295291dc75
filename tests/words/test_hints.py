"""A hint can be followed: commands, options and examples that are told are there to be typed."""

import ast
import re
import shlex
from dataclasses import replace

import pytest
import typer

from benchmarks._in_process import run_here
from segue.analysis.doubts import _doubts, settling
from segue.cli.app import app
from segue.cli.hints import EXAMPLES, START, note_command
from segue.cli.tables import print_facts
from segue.setlist.set_file import read_set
from tests.plan.song_facts import end_facts, start_facts
from tests.setlist.an_evening import document_of, write_run
from tests.words.said import PACKAGE, ROOT, sentences_of

GROUP = typer.main.get_command(app)
OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]+")
NAMED = re.compile(r"'?segue ([a-z]+)")
BY_PART = {
    "audition/network.py": ("audition", "desk"),
    "audition": ("audition",),
    "job/changes.py": ("change",),
    "plan": ("between", "change"),
    "recipes": ("change",),
    "review": ("review",),
    "runfolder": ("between", "demo"),
    "setlist": ("set",),
    "stage": ("stage",),
    "cli/between.py": ("between", "demo"),
    "cli/options.py": ("between", "analyse", "catalogue", "set"),
    "cli/songs.py": ("analyse", "cache", "catalogue", "neighbours"),
    "cli/path.py": ("path",),
    "cli/tables.py": (),  # prints only what the command at hand has; see below
    "cli/hints.py": (),  # are parsed below
    "audio/instrument.py": (),  # an option of pip
}
"""Commands that can say the sentences of a part, the most special first."""


def options_of(name):
    return {option for one in GROUP.commands[name].params for option in one.opts}


def speakers(part):
    """Commands that say what stands in a module."""
    for place, names in BY_PART.items():
        if part == place or part.startswith(f"{place}/"):
            return names
    folder, _, module = part.partition("/")
    name = module.removesuffix(".py")
    return (name,) if folder == "cli" and name in GROUP.commands else None


HINTS = [
    pytest.param(part, sentence, id=f"{part}:{line}")
    for path in sorted(PACKAGE.rglob("*.py"))
    for part in [path.relative_to(PACKAGE).as_posix()]
    for line, sentence in sentences_of(path)
    if OPTION.search(sentence)
]


@pytest.mark.parametrize(("part", "sentence"), HINTS)
def test_a_sentence_names_options_that_its_command_has(part, sentence):
    names = speakers(part)
    assert names is not None, "no command is known that says this"
    named = {name for name in NAMED.findall(sentence) if name in GROUP.commands}
    others = {option for name in named for option in options_of(name)}
    told = set(OPTION.findall(sentence)) - others
    lacking = [told - options_of(name) for name in names]
    if part.startswith("cli/"):  # which of its commands says it, the module knows
        assert not names or not all(lacking)
    else:
        assert not any(lacking)


def next_commands():
    for path in sorted((PACKAGE / "cli").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            match node:
                case ast.Call(
                    func=ast.Name(id="print_next"), args=[_, ast.Constant(value=name), *rest]
                ):
                    words = [word.value for word in rest if isinstance(word, ast.Constant)]
                    yield pytest.param(name, words, id=f"{path.stem}:{node.lineno}")


@pytest.mark.parametrize(("name", "words"), [*next_commands()])
def test_what_to_do_next_is_a_command_with_its_options(name, words):
    assert name in GROUP.commands
    assert {word for word in words if word.startswith("--")} <= options_of(name)


@pytest.mark.parametrize("name", GROUP.commands)
def test_what_settles_a_doubt_is_named_only_where_it_can_be_typed(name, capsys):
    facts = [doubtful(end_facts()), doubtful(start_facts())]
    assert all(settling(one, doubt) for one in facts for doubt in one.doubts)
    note_command(options_of(name))
    print_facts(facts)
    told = set(OPTION.findall(capsys.readouterr().out))
    note_command(())
    assert told <= options_of(name)
    if name == "between":
        assert {"--old-key", "--new-key", "--old-tempo", "--new-downbeat"} <= told


def doubtful(facts):
    """The same edge, with nothing of it sure."""
    unsure = replace(
        facts,
        key=replace(facts.key, confidence=0.5, source="heard"),
        pulse=replace(
            facts.pulse,
            confidence=0.5,
            downbeat_confidence=0.2,
            source="heard",
            tempo_alternatives_bpm=(facts.pulse.tempo_bpm / 2,),
        ),
    )
    return replace(unsure, doubts=tuple(one.sentence for one in _doubts(unsure)))


def words_of(name):
    """The words of an example behind `segue`."""
    first, *words = shlex.split(EXAMPLES[name])
    assert first == "segue"
    assert " ".join(words).startswith(name)
    return words


def every_command():
    for name, command in GROUP.commands.items():
        yield name
        yield from (f"{name} {more}" for more in getattr(command, "commands", {}))


def test_every_command_has_an_example_in_its_help():
    assert set(EXAMPLES) == set(every_command())
    for name in EXAMPLES:
        done = run_here([*name.split(), "--help"])
        assert f"Example: {EXAMPLES[name]}" in " ".join(done.out.split()), name


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples_are_understood(name):
    words = words_of(name)
    for word in words:
        if word.startswith(("demo_audio/", "recipes/")):
            assert len([*ROOT.glob(word)]) == 1, word
    command = GROUP
    context = command.make_context("segue", ["--version"], resilient_parsing=True)
    while hasattr(command, "commands") and words:
        command = command.commands[words.pop(0)]
    command.make_context(name, words, parent=context)


def test_the_set_of_the_example_is_whole():
    folder = ROOT / "demo_audio"
    songs = read_set(folder / "evening.toml").songs
    assert {song.path for song in songs} == {path for path in folder.iterdir() if path.is_dir()}


@pytest.fixture(scope="module", name="beside_the_readme")
def _beside_the_readme(tmp_path_factory, shelf):
    """A folder as the README's after the demo, with a run that took no time."""
    folder = tmp_path_factory.mktemp("readme")
    for name in ("demo_audio", "recipes"):
        (folder / name).symlink_to(ROOT / name)
    write_run(folder / "segue-demo", document_of(end_facts(), start_facts(), shelf))
    return folder


@pytest.mark.parametrize(
    "name",
    ["choose", "explain", "stage", "audition", "path", "cache", "recipes",
     "recipes show", "recipes check", "recipes schema"],
)  # fmt: skip
def test_examples_that_take_no_time_work_on_the_demo(name, beside_the_readme, monkeypatch):
    monkeypatch.chdir(beside_the_readme)
    words = words_of(name) + (["--no-open"] if name == "audition" else [])
    done = run_here(words)
    assert done.code == 0, done.err


def test_segue_alone_says_what_to_do_first():
    done = run_here([])
    assert (done.code, done.out.strip()) == (0, START)
    for name, rest in re.findall(r"^  segue (\w+)(.*)$", START, re.MULTILINE):
        assert set(OPTION.findall(rest)) <= options_of(name)
