"""Every reader, given what Hypothesis makes of good input: an answer or a sentence, no crash."""

import json
import os
import warnings

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchmarks._abuse_sounds import FORMATS, chord, encoded
from benchmarks._in_process import run_here
from benchmarks.abuse import SET_TEXT, SONG_TEXT
from benchmarks.faults import RECIPE, job
from segue.audio import read_song
from segue.audio.song_toml import load_song_toml
from segue.cli.taste import read_weights, write_weights
from segue.errors import InputError, RunFolderError, SegueError
from segue.recipes import shelf_folder
from segue.recipes.recipe_file import load_recipe
from segue.review.review_files import read_review
from segue.runfolder import read_document
from segue.runfolder.pictures import plain_words
from segue.score.weights import WEIGHTS, weights_for
from segue.setlist.set_document import read_evening
from segue.setlist.set_file import read_set
from tests.abuse.mutations import damaged, edited_json, edited_toml, places_in
from tests.abuse.uses import used

TOML_READERS = {
    "recipe": ((shelf_folder() / RECIPE).read_text(encoding="utf-8"), load_recipe),
    "song.toml": (SONG_TEXT, lambda path: load_song_toml(path, audio_names=("a.wav",))),
    "set": (SET_TEXT, read_set),
}
SOUNDS = {suffix: encoded(suffix, chord(2.1)[:, :1]) for suffix in FORMATS}
LIKELY_EDITS = ("like", "like", "like", "double")
ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inside: st.lists(inside, max_size=3) | st.dictionaries(st.text(max_size=8), inside),
    max_leaves=6,
)
often = settings(
    max_examples=120,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
sometimes = settings(often, max_examples=40)


def told_or_read(read, path):
    """Whether a reader took what is there; anything but its own sentence is a crash."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            read(path)
        except SegueError:
            return False
    return True


@pytest.mark.parametrize("kind", TOML_READERS)
@often
@given(data=st.data())
def test_toml_that_was_edited(kind, data, tmp_path):
    text, read = TOML_READERS[kind]
    drawn = data.draw(edited_toml(text).map(str.encode) | damaged(text.encode()))
    path = tmp_path / "song.toml"
    path.write_bytes(drawn)
    told_or_read(read, path)


@pytest.mark.parametrize("suffix", SOUNDS)
@sometimes
@given(data=st.data())
def test_sound_that_was_damaged(suffix, data, tmp_path):
    whole = SOUNDS[suffix]
    head = data.draw(damaged(whole[:200]))
    path = tmp_path / f"a.{suffix}"
    path.write_bytes(head + whole[200:])
    told_or_read(lambda path: read_song(path, edge="end", edge_s=4.0), path)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("drawn")
    told = run_here(job(folder))
    assert told.code == 0, told.err
    return folder / "run"


@pytest.fixture(scope="module")
def document_text(run):
    return (run / "segue.json").read_text(encoding="utf-8")


@often
@given(data=st.data())
def test_run_document_that_was_edited_and_all_that_follows_from_it(data, document_text, tmp_path):
    places = list(places_in(json.loads(document_text)))
    drawn = data.draw(edited_json(document_text, places, LIKELY_EDITS))
    (tmp_path / "segue.json").write_bytes(drawn.encode())
    told_or_read(lambda folder: used(folder, read_document(folder)), tmp_path)


@sometimes
@given(data=st.data())
def test_run_document_that_was_damaged(data, document_text, tmp_path):
    (tmp_path / "segue.json").write_bytes(data.draw(damaged(document_text.encode())))
    told_or_read(read_document, tmp_path)


JSON_READERS = {
    "segue.json": lambda path: read_document(path.parent),
    "set.json": lambda path: read_evening(path.parent),
    "review.json": read_review,
    "weights.json": read_weights,
}


@pytest.mark.parametrize("name", JSON_READERS)
@sometimes
@given(found=ANY_JSON, version=ANY_JSON)
def test_any_json(name, found, version, tmp_path):
    if isinstance(found, dict):
        found["schema_version"] = version
    (tmp_path / name).write_text(json.dumps(found), encoding="utf-8", errors="surrogatepass")
    assert not told_or_read(JSON_READERS[name], tmp_path / name)


def edited(run, tmp_path, change):
    document = json.loads((run / "segue.json").read_text(encoding="utf-8"))
    change(document)
    (tmp_path / "segue.json").write_text(json.dumps(document), encoding="utf-8")
    return tmp_path


def plan_of(document):
    return document["candidates"][0]["plan"]


def pad_of(document):
    return next(layer for layer in plan_of(document)["layers"] if "voicings" in layer)


# what was found by the drawn tests and by the thousand inputs, each with how it was told
CRASHES = {
    "not a number": (
        lambda d: d["candidates"][0]["scorecard"]["loudness_lufs"][0].update(value=float("nan")),
        "is damaged",
    ),
    "a number of thirty digits": (
        lambda d: pad_of(d)["voicings"][0]["notes_midi"].append(10**30),
        "is damaged",
    ),
    "a note no keyboard has": (
        lambda d: pad_of(d)["voicings"][0]["notes_midi"].append(4800),
        "a note lies outside 0 to 127",
    ),
    "a bar of a thousand beats": (
        lambda d: plan_of(d)["bar_lines"][0].update(metre=1000),
        "a bar has not 1 to 32 beats",
    ),
    "a plan of ten million beats": (
        lambda d: plan_of(d).update(end_beat=1e7),
        "lasts longer than an hour",
    ),
    "a click for ever after": (
        lambda d: plan_of(d)["click"][-1].update(beat=1e12),
        "beats away",
    ),
    "a tempo that stands": (
        lambda d: plan_of(d)["tempo"]["spans"][0].update(start_bpm=1e-9, end_bpm=1e-9),
        "a tempo is not",
    ),
    "no bars": (lambda d: plan_of(d).update(bar_lines=[]), "has no bar lines"),
    "a file elsewhere": (
        lambda d: d["candidates"][0].update(music_file="../song.wav"),
        "names no file of the run",
    ),
    "a choice of nothing": (lambda d: d.update(choice={"rank": 7, "why": ""}), "is chosen"),
}


@pytest.mark.parametrize("crash", CRASHES)
def test_run_document_that_once_crashed_a_command(crash, run, tmp_path):
    change, words = CRASHES[crash]
    with pytest.raises(RunFolderError, match=words) as told:
        read_document(edited(run, tmp_path, change))
    assert "run it again" in str(told.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [("a = " + "[" * 20_000 + "]" * 20_000, "too deep"), ("metre = " + "9" * 10_000, "endless")],
    ids=["nested", "endless"],
)
def test_song_toml_that_once_crashed(text, words, tmp_path):
    (tmp_path / "song.toml").write_text(text)
    with pytest.raises(InputError, match=words):
        load_song_toml(tmp_path / "song.toml", audio_names=())


@pytest.mark.parametrize("found", [[], {"schema_version": 1, "weights": []}, 3, "x"])
def test_weights_of_a_wrong_kind(found, tmp_path):
    path = tmp_path / "weights.json"
    path.write_text(json.dumps(found))
    with pytest.raises(InputError, match="holds no weights"):
        read_weights(path)


def test_weight_too_large_for_a_number(tmp_path):
    path = tmp_path / "weights.json"
    write_weights(path, weights_for(None), n_decisions=20)
    name = next(iter(WEIGHTS))
    found = json.loads(path.read_text())
    found["weights"][name] = 10**400
    path.write_text(json.dumps(found))
    with pytest.raises(InputError, match="holds no weights"):
        read_weights(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
@pytest.mark.parametrize("name", ["recipe", "set", *JSON_READERS])
def test_a_pipe_that_nobody_writes_to_is_not_waited_for(name, tmp_path):
    read = JSON_READERS[name] if name in JSON_READERS else TOML_READERS[name][1]
    os.mkfifo(tmp_path / name)
    assert not told_or_read(read, tmp_path / name)


@pytest.mark.parametrize("title", ["เพลง", "שיר", "أغنية", "歌", "$a^$", "\\frac", "🎵"])
def test_a_title_of_any_script_is_drawn_without_a_warning(title):
    from io import BytesIO

    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    @plain_words()
    def drawn():
        figure = Figure()
        FigureCanvasAgg(figure)
        figure.suptitle(title)
        content = BytesIO()
        figure.savefig(content, format="png")
        return content.getvalue()

    assert drawn().startswith(b"\x89PNG")
