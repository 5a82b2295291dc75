"""Run folders of an evening: made once, moved when only their number changed, choices kept."""

import json
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from segue.cli.set_tables import all_warnings
from segue.errors import AudioFileError, RunFolderError, SegueError
from segue.files.source_digest import PACKAGE
from segue.heard import HeardEdge
from segue.job.between import earlier_run, same_choice
from segue.job.request import Request
from segue.runfolder import Choice, Version, document_text, read_document, write_choice
from segue.runfolder.run_document import DOCUMENT_NAME
from segue.setlist import joins as joins_module
from segue.setlist import make_set
from segue.setlist.evening_plan import HeardEdges, planned_evening
from segue.setlist.joins import MAKING_PARTS, fingerprint
from segue.setlist.make_set import render_evening
from segue.setlist.set_document import (
    SET_NAME,
    known_renders,
    read_evening,
    read_set_document,
    write_set,
)
from segue.setlist.set_list import SetList, SetSong
from segue.setlist.set_request import SetRequest, check_request, in_order
from segue.workers import open_workers
from tests.plan.song_facts import end_facts, start_facts
from tests.setlist.an_evening import RECIPES, document_of

KEYS = ("E minor", "F minor", "D major")


def heard_song(n, *, digest="x"):
    facts = start_facts(KEYS[n]), end_facts(KEYS[n])
    start, end = (
        HeardEdge(
            facts=replace(f, title=f"Song {n}"),
            roles=frozenset(),
            has_stems=False,
            sound=f"{digest} {n}",
        )
        for f in facts
    )
    return HeardEdges(start=start, end=end)


@pytest.fixture(name="shared_by")
def _shared_by():
    """For each join that is made: how many workers share its steps, or None."""
    return []


@pytest.fixture(name="stage")
def _stage(tmp_path, shelf, monkeypatch, shared_by):
    """An evening whose joins are made without sound; tells which were made."""
    made = []

    def without_sound(request, *, progress, keeps_choice, workers):
        assert keeps_choice
        shared_by.append(workers and workers.n_workers)
        if "bad" in request.outgoing.name:
            raise AudioFileError(request.outgoing, "is not audio.")
        made.append(request.out.name)
        n = int(request.outgoing.stem[-1])
        recipes = request.only or (RECIPES[::-1] if request.seed else RECIPES)
        facts = end_facts(KEYS[n]), start_facts(KEYS[(n + 1) % 3])
        document = document_of(*facts, shelf, recipes=recipes)
        choice = same_choice(earlier_run(request.out), document.candidates)
        document = replace(document, choice=choice)
        request.out.mkdir(parents=True, exist_ok=True)
        (request.out / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")
        return document

    monkeypatch.setattr(joins_module, "make_segues", without_sound)
    songs = tuple(SetSong(path=Path(f"song{n}.wav"), title=f"Song {n}") for n in range(3))
    request = SetRequest(
        set_list=SetList(title="x", slot_s=None, songs=songs), out=tmp_path / "night"
    )
    return request, made


@dataclass
class Hands:
    """Workers by name, in this process."""

    n_workers: int
    shares_disk: bool = True

    def outcomes(self, task, inputs):
        with open_workers(n_processes=1) as workers:
            yield from workers.outcomes(task, inputs)


def render(request, heard=None, hands=None):
    heard = heard or [heard_song(n) for n in range(3)]
    hands = hands or Hands(n_workers=1)
    return render_evening(request, heard, hands, progress=lambda _words: None)


@pytest.mark.parametrize(
    ("hands", "by"),
    [
        (Hands(1), [None, None, None]),
        (Hands(2), [None, None, 2]),
        (Hands(4), [None, None, None]),
        (Hands(2, shares_disk=False), [None, None, None]),
    ],
)
def test_a_join_that_would_be_left_for_one_worker_is_shared_by_all(stage, shared_by, hands, by):
    request, made = stage
    songs = (*request.set_list.songs, replace(request.set_list.songs[0], title="Song 0 again"))
    request = replace(request, set_list=replace(request.set_list, songs=songs))
    heard = [heard_song(n) for n in (0, 1, 2, 0)]
    evening = render(request, heard, hands)
    assert [join.folder for join in evening.joins] == made
    assert shared_by == by


def test_without_rendering_what_is_there_stays_and_the_rest_is_planned(stage):
    request, made = stage
    two = replace(request, set_list=replace(request.set_list, songs=request.set_list.songs[:2]))
    render(two, [heard_song(n) for n in range(2)])
    made.clear()
    evening = render_evening(
        request, [heard_song(n) for n in range(3)], None, progress=lambda _words: None
    )
    first, second = evening.joins
    assert made == []
    assert first.document is not None
    assert (second.document, second.folder) == (None, "")
    assert second.recipe
    assert read_evening(request.out).joins[0].folder == first.folder


def test_a_join_with_changed_options_is_not_made_over_them(stage):
    request, made = stage
    evening = render(request)
    folder = request.out / evening.joins[0].folder
    document = earlier_run(folder)
    version = Version(option=1, letters="b", of="1", changes=("8 bars",))
    record = replace(document.candidates[0], rank=len(document.candidates) + 1, version=version)
    document = replace(document, candidates=(*document.candidates, record))
    (folder / DOCUMENT_NAME).write_text(document_text(document), encoding="utf-8")
    made.clear()
    assert render(request).joins[0].document == document  # as before
    told = render(replace(request, seed=1)).joins[0]
    assert folder.name not in made
    assert "holds options that you changed (1b), and something about this segue" in told.problem
    assert earlier_run(folder) == document


def test_the_titles_of_the_set_are_those_of_its_joins(stage, monkeypatch):
    request, _ = stage
    asked = []
    monkeypatch.setattr(
        joins_module, "make_segues", lambda request, **_: asked.append(request.titles) or 1 / 0
    )
    with pytest.raises(ZeroDivisionError):
        render(request)
    assert asked == [("Song 0", "Song 1")]


def test_a_single_way_across_is_not_worth_sharing(stage, shared_by):
    request, _ = stage
    first, *others = request.set_list.songs
    songs = (replace(first, recipe=RECIPES[0]), *others[:1])
    request = replace(request, set_list=replace(request.set_list, songs=songs))
    render(request, [heard_song(0), heard_song(1)], Hands(2))
    assert shared_by == [None]


def test_a_shared_join_that_fails_has_a_problem(stage):
    request, _ = stage
    bad = replace(request.set_list.songs[0], path=Path("bad0.wav"))
    request = replace(
        request, set_list=replace(request.set_list, songs=(bad, *request.set_list.songs[1:2]))
    )
    evening = render(request, [heard_song(0), heard_song(1)], Hands(2))
    assert "is not audio" in evening.joins[0].problem


def test_nothing_is_made_again_and_a_choice_is_kept(stage):
    request, made = stage
    first = render(request)
    assert [join.folder for join in first.joins] == ["01 Song 0 to Song 1", "02 Song 1 to Song 2"]
    assert made == [join.folder for join in first.joins]
    write_choice(request.out / made[0], Choice(rank=2, why="the room"))
    again = render(request)
    assert len(made) == 2
    assert again.joins[0].document.choice.rank == 2
    assert again.joins[0].recipe == again.joins[0].document.candidates[1].plan.recipe
    assert read_evening(request.out) == again


def test_only_the_join_whose_song_changed_is_made_again(stage):
    request, made = stage
    render(request)
    heard = [heard_song(0), heard_song(1), heard_song(2, digest="edited")]
    render(request, heard)
    assert made == ["01 Song 0 to Song 1", "02 Song 1 to Song 2", "02 Song 1 to Song 2"]
    wanted = tuple(replace(s, talk_s=20.0 * (n == 0)) for n, s in enumerate(request.set_list.songs))
    render(replace(request, set_list=replace(request.set_list, songs=wanted)), heard)
    assert made[3:] == ["01 Song 0 to Song 1"]


def test_a_join_at_another_place_is_moved_and_not_made_again(stage):
    request, made = stage
    render(request)
    heard = [heard_song(n) for n in (1, 2, 0)]
    moved = render(in_order(request, (1, 2, 0)), heard)
    assert made == ["01 Song 0 to Song 1", "02 Song 1 to Song 2", "02 Song 2 to Song 0"]
    assert moved.joins[0].folder == "01 Song 1 to Song 2"
    assert read_document(request.out / "01 Song 1 to Song 2")
    assert not (request.out / "02 Song 1 to Song 2").exists()


def test_the_document_does_not_tell_which_join_was_made_first(stage):
    request, _ = stage
    render(request)
    document = read_set_document(request.out)
    other_way = dict(reversed(document.renders.items()))
    assert list(other_way) != list(document.renders)
    before = (request.out / SET_NAME).read_bytes()
    write_set(request.out, replace(document, renders=other_way))
    assert (request.out / SET_NAME).read_bytes() == before


def test_a_join_that_is_moved_there_and_back_is_made_once(stage):
    request, made = stage
    render(request)
    render(in_order(request, (1, 2, 0)), [heard_song(n) for n in (1, 2, 0)])
    assert "02 Song 1 to Song 2" not in known_renders(request.out)
    again = render(request)
    assert made.count("02 Song 1 to Song 2") == 1
    assert again.joins[1].folder == "02 Song 1 to Song 2"


@pytest.mark.parametrize(
    ("order", "read"), [((1, 2, 0), [1, 2, 0]), ((2, 1, 0), [0, 1, 2])], ids=["moved", "new"]
)
def test_an_evening_that_dies_while_it_is_made_can_be_read(stage, monkeypatch, order, read):
    # The plan of the new order where a run folder has moved; else the evening as it was.
    request, _ = stage
    render(request)
    monkeypatch.setattr(joins_module, "make_segues", lambda request, **_: 1 / 0)
    heard = [heard_song(n) for n in order]
    with pytest.raises(ZeroDivisionError):
        render(in_order(request, order), heard)
    found = [song.title for song in read_evening(request.out).songs]
    assert found == [f"Song {n}" for n in read]


def test_a_join_that_fails_loses_no_other(stage):
    request, made = stage
    songs = request.set_list.songs
    songs = (songs[0], replace(songs[1], path=Path("bad1.wav")), songs[2])
    evening = render(replace(request, set_list=replace(request.set_list, songs=songs)))
    assert made == ["01 Song 0 to Song 1"]
    assert "is not audio" in evening.joins[1].problem
    assert evening.joins[0].document is not None
    assert read_evening(request.out) == evening


def test_a_choice_that_is_no_longer_there_is_told_in_a_sentence(stage):
    request, made = stage
    render(request)
    write_choice(request.out / made[0], Choice(rank=2))
    songs = (replace(request.set_list.songs[0], recipe=RECIPES[0]), *request.set_list.songs[1:])
    evening = render(replace(request, set_list=replace(request.set_list, songs=songs)))
    join = evening.joins[0]
    assert join.document.choice is None
    (told,) = (words for words in join.warnings if "choose once more" in words)
    assert f"the chosen '{RECIPES[1]}' is no longer among the options" in told
    assert told in all_warnings(evening)


def test_a_choice_stays_where_its_recipe_has_another_rank(stage):
    request, made = stage
    render(request)
    write_choice(request.out / made[0], Choice(rank=1, why="the room"))
    evening = render(replace(request, seed=5))
    choice = evening.joins[0].document.choice
    assert (choice.rank, choice.why) == (len(RECIPES), "the room")
    assert evening.joins[0].recipe == RECIPES[0]
    assert not any("choose again" in words for words in all_warnings(evening))


def test_what_all_joins_are_asked_for_makes_them_anew(stage):
    request, made = stage
    render(request)
    for wanted in (
        {"match": True},
        {"match": True, "seed": 3},
        {"match": True, "seed": 3, "purpose": "lift"},
    ):
        made.clear()
        asked = replace(request, **wanted)
        render(asked)
        assert len(made) == 2
        render(asked)
        assert len(made) == 2


def test_joins_of_other_code_are_made_anew_and_those_of_the_same_kept(stage, monkeypatch):
    request, made = stage
    for maker, n_made in (("one", 2), ("one", 0), ("another", 2), ("another", 0)):
        monkeypatch.setattr(make_set, "maker_digest", lambda maker=maker: maker)
        made.clear()
        render(request)
        assert len(made) == n_made


SOUND = [
    {"rate_hz": 44_100},
    {"edge_s": 30.0},
    {"only": ("tempo ramp",)},
    {"talk_s": 20.0},
    {"match": True},
    {"shift_b": -1},
    {"seed": 1},
    {"purpose": "lift"},
    {"own_weights": {"level": 2.0}},
]
ELSE = [{"out": Path("b")}, {"n_workers": 4}, {"cached": False}, {"replace": True}]
ELSE += [{"outgoing": Path("moved.wav")}]


def mark_of(*, facts=None, digest="x", shelf=(), maker="one", **fields):
    request = Request(outgoing=Path("a.wav"), incoming=Path("b.wav"), out=Path("a"))
    end, start = heard_song(0, digest=digest).end, heard_song(1).start
    end = replace(end, facts=replace(end.facts, **(facts or {})))
    return fingerprint(replace(request, **fields), (end, start), shelf, maker=maker)


@pytest.mark.parametrize("fields", SOUND, ids=[next(iter(fields)) for fields in SOUND])
def test_whatever_a_join_depends_on_is_in_its_fingerprint(fields):
    assert mark_of(**fields) != mark_of()


def test_sound_facts_recipes_and_code_are_in_the_fingerprint_of_a_join(shelf):
    marks = {
        mark_of(),
        mark_of(digest="edited"),
        mark_of(facts={"title": "Another"}),
        mark_of(facts={"duration_s": 99.0}),
        mark_of(shelf=tuple(shelf.values())),
        mark_of(shelf=tuple(shelf.values())[1:]),
        mark_of(maker="another"),
    }
    assert len(marks) == 7


@pytest.mark.parametrize("fields", ELSE, ids=[next(iter(fields)) for fields in ELSE])
def test_where_files_are_and_who_works_is_not_in_the_fingerprint_of_a_join(fields):
    assert mark_of(**fields) == mark_of()
    assert mark_of(facts={"file": "elsewhere.wav"}) == mark_of()


def test_a_join_depends_on_every_part_that_makes_it():
    # A new sub-package has to be put on one side or the other.
    of_words = {
        "api",
        "files",
        "runfolder",
        "audition",
        "workers",
        "heard",
        "setlist",
        "cli",
        "desk",
    }
    parts = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    assert set(MAKING_PARTS) == parts - of_words - {"catalogue", "review", "stage", "pages"}


def test_another_pad_sound_makes_the_joins_anew(stage, tmp_path):
    request, made = stage
    pad = tmp_path / "C4.wav"
    for n, content in enumerate((b"one", b"one", b"another")):
        pad.write_bytes(content)
        made.clear()
        render(replace(request, pad=pad))
        assert len(made) == (0 if n == 1 else 2)


def test_times_without_a_song_that_cannot_be_read_are_told_so(stage):
    request, _ = stage
    heard = [heard_song(0), heard_song(1), HeardEdges(problem="It is no song.")]
    told = [words for words in render(request, heard).warnings if "All times are without" in words]
    assert len(told) == 1
    assert "'Song 2'" in told[0]
    songs = request.set_list.songs
    songs = (*songs[:2], replace(songs[2], length_s=200.0))
    evening = render(replace(request, set_list=replace(request.set_list, songs=songs)), heard)
    assert not any("All times are without" in words for words in evening.warnings)
    assert evening.songs[2].end_s - evening.songs[2].start_s == pytest.approx(200.0)


def test_a_song_that_cannot_be_read_leaves_the_other_joins(stage):
    request, made = stage
    evening = render(request, [heard_song(0), heard_song(1), HeardEdges(problem="It is no song.")])
    assert made == ["01 Song 0 to Song 1"]
    assert evening.joins[1].problem == "It is no song."
    assert "It is no song." in evening.warnings


def test_other_files_are_not_touched(stage):
    request, _ = stage
    request.out.mkdir()
    (request.out / "diary.txt").write_text("mine")
    with pytest.raises(SegueError, match="holds other files"):
        check_request(request)


def test_an_unknown_recipe_is_told_before_anything_is_heard(stage):
    request, _ = stage
    song = replace(request.set_list.songs[0], recipe="tempo rmp")
    set_list = replace(request.set_list, songs=(song, *request.set_list.songs[1:]))
    with pytest.raises(SegueError, match="Did you mean 'tempo ramp'"):
        check_request(replace(request, set_list=set_list))


def test_a_set_document_that_leads_out_of_its_folder_is_refused(stage):
    request, _ = stage
    render(request)
    path = request.out / SET_NAME
    path.write_text(path.read_text().replace('"folder": "01', '"folder": "../01'))
    with pytest.raises(RunFolderError, match="names no run folder"):
        read_evening(request.out)


@pytest.mark.parametrize(
    ("edit", "told"),
    [
        (lambda said: said["breaks"].pop(), "there are 1 breaks for 2 joins"),
        (lambda said: said["evening"]["songs"].reverse(), r"the numbers of the songs are \[3, 2"),
        (lambda said: said["evening"]["joins"].reverse(), r"the numbers of the joins are \[2, 1"),
        (lambda said: said["evening"]["songs"][1].update(length_s=-1.0), "shorter than nothing"),
        (lambda said: said.update(schema_version=2), "has schema 2"),
        (lambda said: said.update(colour="red"), "colour"),
    ],
    ids=["breaks", "songs", "joins", "length", "version", "unknown"],
)
def test_a_set_document_that_was_brought_apart_by_hand_is_refused(stage, edit, told):
    request, _ = stage
    render(request)
    path = request.out / SET_NAME
    said = json.loads(path.read_text(encoding="utf-8"))
    edit(said)
    path.write_text(json.dumps(said), encoding="utf-8")
    with pytest.raises(RunFolderError, match=told):
        read_evening(request.out)


def test_a_pad_that_cannot_be_read_is_told_before_anything_is_heard(stage, tmp_path):
    request, _ = stage
    with pytest.raises(SegueError, match="none"):
        check_request(replace(request, pad=tmp_path / "none.wav"))


def test_titles_make_names_of_folders_on_every_system(stage):
    request, made = stage
    titles = ("What? / Why: .", "..", "A title of more letters than a folder's name should have")
    songs = (replace(s, title=t) for s, t in zip(request.set_list.songs, titles, strict=True))
    render(replace(request, set_list=replace(request.set_list, songs=tuple(songs))))
    assert made == [
        "01 What- - Why to song",
        "02 song to A title of more letters than a folder's",
    ]


@pytest.mark.parametrize("talk_s", [8.0, 60.0])
def test_talk_is_planned_for_before_anything_is_rendered(stage, talk_s):
    request, _ = stage
    first, *others = request.set_list.songs
    songs = (replace(first, talk_s=talk_s), *others)
    request = replace(request, set_list=replace(request.set_list, songs=songs))
    joins = planned_evening(request, [heard_song(n) for n in range(3)]).joins
    for_talk = {recipe.name for recipe in request.shelf if recipe.suits.talk == "yes"}
    assert [join.recipe in for_talk for join in joins] == [True, False]
    assert joins[0].interlude_s >= talk_s
    assert (joins[0].talk_s, joins[0].wanted_talk_s) == (0.0, talk_s)


def test_a_song_is_counted_one_way_in_both_its_joins(stage, monkeypatch):
    """At 80, between songs at 62 and 140, each join for itself would count it another way."""
    request, _ = stage
    asked = []
    plain = joins_module.make_segues

    def asking(request, **others):
        asked.append(request.counted_bpm)
        return plain(request, **others)

    monkeypatch.setattr(joins_module, "make_segues", asking)
    heard = [
        HeardEdges(
            start=replace(song.start, facts=start_facts(KEYS[n], bpm=bpm)),
            end=replace(song.end, facts=end_facts(KEYS[n], bpm=bpm)),
        )
        for n, (song, bpm) in enumerate((heard_song(n), bpm) for n, bpm in enumerate((62, 80, 140)))
    ]
    evening = render(request, heard)
    (_, into), (out_of, _) = asked
    assert into == out_of
    middle = evening.songs[1]
    assert middle.start.pulse.tempo_bpm == middle.end.pulse.tempo_bpm == into
    planned = render_evening(request, heard, None, progress=lambda _words: None)
    assert planned.songs[1].start.pulse.tempo_bpm == into
