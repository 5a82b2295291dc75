"""``segue audition`` and ``segue choose`` as a person starts them."""

import sys

import pytest

from segue.cli import main
from segue.runfolder import document_text, read_document
from tests.audition import conftest as audition

document, folder = audition._document, audition._folder


@pytest.fixture(name="run")
def _run(folder, document):
    (folder / "segue.json").write_text(document_text(document), encoding="utf-8")
    return folder


@pytest.fixture(name="segue")
def _segue(monkeypatch, capsys):
    """A function that runs the command in this process: its exit code, output and errors."""

    def segue(*words):
        monkeypatch.setattr(sys, "argv", ["segue", *map(str, words)])
        with pytest.raises(SystemExit) as left:
            main()
        told = capsys.readouterr()
        return left.value.code or 0, told.out, told.err

    return segue


@pytest.fixture(name="opened")
def _opened(monkeypatch):
    opened = []
    monkeypatch.setattr("webbrowser.open", opened.append)
    return opened


def test_audition_writes_the_page_anew_and_opens_it(segue, run, opened):
    page = run / "audition.html"
    page.write_text("old")
    code, out, _ = segue("audition", run)
    assert code == 0
    assert out.startswith(f"Listen and compare: {page}\n")
    assert "headphones" in out
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert opened == [page.resolve().as_uri()]


def test_blind_page_lies_beside_the_open_one(segue, run, opened):
    code, _, _ = segue("audition", run, "--blind", "--anchor", "--no-open", "--quiet")
    assert code == 0
    assert (run / "audition-blind.html").is_file()
    assert (run / "plain cut.wav").is_file()
    assert opened == []


def test_choose_writes_the_choice_and_the_page_shows_it(segue, run):
    code, out, _ = segue("choose", run, 2, "--why", "the singer finds her note")
    assert code == 0
    assert out.startswith("Chosen: option 2, stop and count-in.")
    assert read_document(run).choice.why == "the singer finds her note"
    segue("audition", run, "--no-open")
    text = (run / "audition.html").read_text(encoding="utf-8")
    assert "The band chose this</strong>: the singer finds her note" in text


@pytest.mark.parametrize(
    ("words", "told"),
    [
        pytest.param(("choose", "RUN", "7"), "there is no option 7", id="no such candidate"),
        pytest.param(("choose", "NOWHERE", "1"), "holds no segues", id="no run to choose in"),
        pytest.param(("audition", "NOWHERE"), "holds no segues", id="no run to hear"),
        pytest.param(("audition", "RUN", "--anchor"), "goes with --blind", id="named anchor"),
        pytest.param(("audition", "RUN", "--lan"), "goes with --serve", id="network, no server"),
        pytest.param(("audition", "RUN", "--port", "1"), "goes with --serve", id="port, no server"),
        pytest.param(
            ("audition", "RUN", "--serve", "--port", "99999"), "outside 0 to 65535", id="odd port"
        ),
    ],
)
def test_bad_use_is_told_in_one_sentence(segue, run, tmp_path, words, told):
    paths = {"RUN": str(run), "NOWHERE": str(tmp_path)}
    code, out, err = segue(*[paths.get(word, word) for word in words])
    assert (code, out) == (2, "")
    assert err.startswith("segue: ")
    assert err.count("\n") == 1
    assert told in err


def test_taken_port_is_told(segue, run):
    from segue.audition.network import listening_socket

    with listening_socket("127.0.0.1", 0) as taken:
        port = taken.getsockname()[1]
        code, _, err = segue("audition", run, "--serve", "--port", port, "--no-open")
    assert code == 2
    assert f"port {port} cannot be had" in err
    assert "--port" in err


def test_missing_server_is_told_with_the_line_that_mends_it(segue, run, monkeypatch):
    for name in [name for name in sys.modules if name.startswith("segue.audition.ser")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    code, _, err = segue("audition", run, "--serve", "--no-open")
    assert code == 2
    assert "pip install starlette uvicorn httptools segno" in err


def test_missing_sound_is_told(segue, run, document, tmp_path):
    (tmp_path / "segue.json").write_text(document_text(document), encoding="utf-8")
    code, _, err = segue("audition", tmp_path, "--no-open")
    assert code == 2
    assert "1.wav: cannot be read" in err
