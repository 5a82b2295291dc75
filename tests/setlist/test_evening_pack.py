"""The evening's pack: read back by other libraries, whole or not at all."""

import io
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pretty_midi
import pytest
import soundfile
from typer.testing import CliRunner

from segue.cli.app import app
from segue.errors import OptionError, RunFolderError, SegueError
from segue.music.tempo import clock
from segue.runfolder.run_document import candidate_of
from segue.setlist.evening import Breaks, timed, with_choice
from segue.setlist.set_document import SetDocument, write_set
from segue.setlist.show.evening_pack import evening_pack, front_page, map_of, places_of, sheets_of
from segue.setlist.show.rows import rows_of
from segue.stage.midi_score import tick_of
from segue.stage.pack import StageRequest
from segue.stage.sheet_pages import _Page, sheets_html
from tests.setlist.an_evening import TITLES, evening_of

BAR_TOLERANCE_S = 0.001  # what the rig's bars may be off


@pytest.fixture(scope="module", name="night")
def _night(shelf, tmp_path_factory):
    folder = tmp_path_factory.mktemp("evening")
    return folder, evening_of(shelf, folder=folder)


@pytest.fixture(scope="module", name="made")
def _made(night, tmp_path_factory):
    folder, evening = night
    out = tmp_path_factory.mktemp("packs") / "pack"
    return out, evening_pack(StageRequest(run=folder, out=out), evening)


def test_all_files_are_there_and_named(made):
    out, pack = made
    there = sorted(str(path.relative_to(out)) for path in out.rglob("*") if path.is_file())
    assert there == sorted(pack.files)


def test_bars_in_each_join_are_where_its_plan_has_them(made, night):
    out, pack = made
    read = pretty_midi.PrettyMIDI(io.BytesIO((out / "tempo map.mid").read_bytes()))
    for join, place in zip(night[1].joins, pack.map.joins, strict=True):
        plan = candidate_of(join.document, None).plan
        for line in plan.bar_lines:
            seconds = read.tick_to_time(tick_of(place.beat) + tick_of(line.beat))
            want = place.time_s + plan.tempo.seconds_at(line.beat)
            assert seconds == pytest.approx(want, abs=BAR_TOLERANCE_S)


def test_there_is_a_running_order_and_one_sheet_a_song_change(made, browser):
    out, _ = made
    page = browser.new_page()
    page.goto((out / "cue sheets.html").as_uri())
    heads = page.locator("section.sheet h1").all_inner_texts()
    first = page.locator("section.sheet").first.inner_text()
    page.close()
    assert heads == ["Friday", f"{TITLES[0]} → {TITLES[1]}", f"{TITLES[1]} → {TITLES[2]}"]
    for words in (*TITLES, "E minor", "F minor", "Ada", "Pad in the new key", "Hearing damage"):
        assert words in first


def test_pdf_has_a_page_for_the_order_and_each_change(made):
    out, _ = made
    content = (out / "cue sheets.pdf").read_bytes()
    # PDF 1.7, ISO 32000-1, section 7.7.3.2: the page tree counts its pages.
    assert b"/Count 3" in content


def test_each_join_has_its_pack_of_the_candidate_that_is_played(made, night):
    out, _ = made
    for join in night[1].joins:
        record = candidate_of(join.document, None)
        seconds = record.plan.duration_s - record.plan.lead_in_s
        for name, n_channels in (("music", 2), ("click", 1), ("cue", 1)):
            info = soundfile.info(out / join.folder / f"{name}.wav")
            assert info.channels == n_channels
            assert info.duration == pytest.approx(seconds, abs=BAR_TOLERANCE_S)


def test_a_join_without_a_choice_is_told(made):
    _, pack = made
    assert [n for n in pack.notes if "not chosen" in n] == [
        "Segue 2 is not chosen yet: the best marked one counts, tempo ramp."
    ]


def test_markers_are_in_order_on_the_evenings_clock(made):
    out, pack = made
    marks = json.loads((out / "markers.json").read_text(encoding="utf-8"))["markers"]
    assert marks[0] == {"time_s": 0.0, "beat": 0.0, "name": f"{TITLES[0]}, bar one"}
    assert [m["time_s"] for m in marks] == sorted(m["time_s"] for m in marks)
    assert marks[-1]["name"] == "end of the evening"
    assert marks[-1]["time_s"] == pytest.approx(pack.duration_s)


def test_the_map_and_the_page_end_together(made, night):
    _, pack = made
    bar_one_s = night[1].songs[0].start.opening.first_downbeat_s
    assert pack.running_s == night[1].running_s
    assert pack.duration_s + bar_one_s == pytest.approx(pack.running_s, abs=BAR_TOLERANCE_S)


def test_sheets_say_where_in_the_evening_they_are(made, night):
    out, pack = made
    whole = (out / "cue sheets.html").read_text(encoding="utf-8")
    first = night[1].songs[0].start.opening.first_downbeat_s
    for join, place in zip(night[1].joins, pack.map.joins, strict=True):
        starts = clock(place.time_s + first)
        words = f"Segue {join.number} of 2: starts at {starts} of the evening (bar {place.bar} of"
        assert words in whole
        assert words in (out / join.folder / "cue sheet.html").read_text(encoding="utf-8")


def test_pdf_sheets_say_where_they_are(night, tmp_path, monkeypatch):
    written = []
    write = _Page._words
    monkeypatch.setattr(
        _Page,
        "_words",
        lambda page, words, **how: written.append(words) or write(page, words, **how),
    )
    folder, evening = night
    evening_pack(StageRequest(run=folder, out=tmp_path / "pack"), evening)
    heads = [words for words in written if words.startswith("Segue 1 of 2: starts at")]
    assert len(heads) == 2  # in the evening's PDF and in the join's own
    assert "Ada" in written
    assert "singer" not in written


def sheets_with(shelf, breaks):
    """Sheets of an evening whose first join has a break."""
    evening = evening_of(shelf)
    first = with_choice(evening.joins[0], breaks)
    evening = timed(replace(evening, joins=(first, *evening.joins[1:])))
    return evening, sheets_of(rows_of(evening), channels=(), where=places_of(evening))


def test_sheets_before_there_is_a_pack_do_not_speak_of_its_files(shelf, made):
    evening, _ = sheets_with(shelf, Breaks(talk_s=60.0, changeover_s=15.0))
    rows = rows_of(evening)
    sheets = sheets_of(rows, where=places_of(evening))
    assert len(sheets) == 2
    pages = [sheets_html(sheets, front=front_page(rows)), sheets_html([], front=front_page(rows))]
    spoken = re.compile(r"\bfiles?\b|\.wav|channel")
    for page in pages:
        assert not spoken.search(page.partition("<main>")[2])
        assert "Hearing damage does not heal" in page
    assert spoken.search((made[0] / "cue sheets.html").read_text(encoding="utf-8"))


def test_a_voice_is_named_on_its_sheet(shelf):
    _, sheets = sheets_with(shelf, Breaks())
    assert [row.who for row in sheets[0].rows if row.what.startswith("comes in")] == ["Ada"]
    assert "Ada's first note" in sheets_html(sheets[:1])


@pytest.mark.parametrize(
    ("talk_s", "changeover_s", "held"),
    [(3.0, 2.0, False), (10.0, 20.0, True), (60.0, 15.0, True), (0.0, 90.0, True)],
)
def test_talk_and_changeover_are_told_each_with_its_seconds(shelf, talk_s, changeover_s, held):
    evening, sheets = sheets_with(shelf, Breaks(talk_s=talk_s, changeover_s=changeover_s))
    join = evening.joins[0]
    told = [row.what for row in sheets[0].rows if "talk" in row.what or "changeover" in row.what]
    words = "; ".join(told)
    assert ("talk, " in words) == (talk_s > 0)
    if talk_s:
        assert told[0] == f"talk, {talk_s:.0f} s"
    # Both at once only if music covers it; what it does not is in the line of the wait.
    assert f"changeover, {changeover_s:.0f} s" in words
    assert (join.talk_s + join.changeover_s > 0) == held
    wait = [
        row for row in sheets[0].rows if row.what.startswith("fade out and hold the files here")
    ]
    assert len(wait) == held
    if held:
        uncovered_s = join.talk_s + join.changeover_s
        assert wait[0].what.startswith(
            f"fade out and hold the files here {uncovered_s:.0f} s, no music: "
        )
        after = sheets[0].rows[sheets[0].rows.index(wait[0]) + 1 :]
        assert any("bar one" in row.what for row in after)


def test_songs_begin_on_the_map_when_they_begin_on_the_clock(made, night):
    # The clock starts with the first song's file, the map on its bar one.
    _, pack = made
    bar_one_s = night[1].songs[0].start.opening.first_downbeat_s
    for song, place in list(zip(night[1].songs, pack.map.songs, strict=True))[1:]:
        assert place.name == song.title
        assert place.time_s + bar_one_s == pytest.approx(song.start_s, abs=BAR_TOLERANCE_S)


def test_songs_after_a_plain_stop_begin_on_the_map_when_they_do_on_the_clock(shelf):
    stop = {"is_segue": False, "document": None, "folder": "", "interlude_s": 0.0}
    stop |= {"leave_s": None, "enter_s": None, "talk_s": 25.0}
    evening = evening_of(shelf)
    joins = tuple(replace(join, **stop) for join in evening.joins)
    evening = timed(replace(evening, joins=joins))
    bar_one_s = evening.songs[0].start.opening.first_downbeat_s
    for song, place in list(zip(evening.songs, map_of(evening).songs, strict=True))[1:]:
        starts_s = song.start_s + song.start.opening.first_downbeat_s
        assert place.time_s + bar_one_s == pytest.approx(starts_s, abs=BAR_TOLERANCE_S)


def test_a_song_that_cannot_be_read_is_told(shelf, tmp_path):
    evening = evening_of(shelf)
    problem = "songs/second.wav: does not exist; check the spelling."
    broken = replace(
        evening.songs[1], path=Path("songs/second.wav"), start=None, end=None, problem=problem
    )
    songs = (evening.songs[0], broken, evening.songs[2])
    request = StageRequest(run=tmp_path, out=tmp_path / "pack")
    with pytest.raises(SegueError) as told:
        evening_pack(request, replace(evening, songs=songs))
    assert str(told.value) == problem  # the path once
    assert not (tmp_path / "pack").exists()


def test_pack_is_whole_or_not_at_all(night, tmp_path):
    made, evening = night
    folder = tmp_path / "evening"
    shutil.copytree(made, folder)
    last = evening.joins[1]
    (folder / last.folder / candidate_of(last.document, None).click_file).unlink()
    with pytest.raises(SegueError):
        evening_pack(StageRequest(run=folder, out=tmp_path / "pack"), evening)
    assert [path.name for path in tmp_path.iterdir()] == ["evening"]


def test_a_pack_replaces_a_pack_but_nothing_else(night, tmp_path):
    folder, evening = night
    request = StageRequest(run=folder, out=tmp_path / "pack")
    first = evening_pack(request, evening)
    again = evening_pack(request, evening)
    assert first.files == again.files
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letter.txt").write_text("dear")
    with pytest.raises(RunFolderError, match="holds other files"):
        evening_pack(replace(request, out=tmp_path / "other"), evening)


def test_the_same_evening_gives_the_same_bytes(made, night, tmp_path):
    out, pack = made
    folder, evening = night
    evening_pack(StageRequest(run=folder, out=tmp_path / "again"), evening)
    for name in pack.files:
        assert (tmp_path / "again" / name).read_bytes() == (out / name).read_bytes(), name


@pytest.fixture(name="kept")
def _kept(night, tmp_path):
    """A folder as the command leaves it."""
    made, evening = night
    folder = tmp_path / "evening"
    shutil.copytree(made, folder)
    write_set(
        folder,
        SetDocument(
            schema_version=1, segue_version="0", evening=evening, breaks=(Breaks(), Breaks())
        ),
    )
    return folder


def test_stage_command_packs_an_evening(kept, tmp_path):
    out = tmp_path / "pack"
    answer = CliRunner().invoke(app, ["stage", str(kept), "--out", str(out), "--json"])
    assert answer.exit_code == 0, answer.output
    told = json.loads(answer.output)
    there = {str(path.relative_to(out)) for path in out.rglob("*") if path.is_file()}
    assert set(told["files"]) == there
    assert told["markers"][0]["name"] == f"{TITLES[0]}, bar one"


def test_stage_command_tells_the_running_time_by_the_clock(kept, night, tmp_path):
    out = tmp_path / "pack"
    answer = CliRunner().invoke(app, ["stage", str(kept), "--out", str(out)])
    assert f"Evening of 3 songs, running time {clock(night[1].running_s)}, in" in answer.output


def test_stage_command_takes_no_candidate_for_an_evening(kept, tmp_path):
    words = ["stage", str(kept), "--out", str(tmp_path / "pack"), "--candidate", "2"]
    answer = CliRunner().invoke(app, words)
    assert isinstance(answer.exception, OptionError)
    assert "each segue has its own choice" in str(answer.exception)
    assert not (tmp_path / "pack").exists()


def test_choosing_changes_the_page_and_the_pack(kept, tmp_path):
    run = kept / f"02 {TITLES[1]} to {TITLES[2]}"
    answer = CliRunner().invoke(app, ["choose", str(run), "3", "--why", "short"])
    assert answer.exit_code == 0, answer.output
    text = (kept / "index.html").read_text(encoding="utf-8")
    assert "Chosen: 3, stop and count-in (short)." in text
    assert "Not chosen yet" not in text
    words = ["stage", str(kept), "--out", str(tmp_path / "pack"), "--json"]
    told = json.loads(CliRunner().invoke(app, words).output)
    assert not any("not chosen" in note for note in told["notes"])


def test_a_segue_that_is_not_rendered_is_told(night, tmp_path):
    folder, evening = night
    first, *others = evening.joins
    bare = replace(evening, joins=(replace(first, folder="", document=None), *others))
    pack = evening_pack(StageRequest(run=folder, out=tmp_path / "pack"), bare)
    assert pack.notes[0].startswith("Segue 1 is not made yet")
