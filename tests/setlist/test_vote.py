"""A vote on one join of an evening, closed in the browser: the evening's page shows it."""

import http.client
import json
import re
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from urllib.parse import urlsplit

from segue.cli.set_tables import all_warnings
from segue.runfolder import Choice, read_document, write_choice
from segue.setlist.evening import Breaks
from segue.setlist.set_document import SetDocument, read_evening, write_set
from segue.setlist.show.evening_page import EVENING_PAGE_NAME, PICTURE_NAME, rewrite_evening_page
from tests.setlist.an_evening import TITLES, evening_of


def test_closing_a_vote_writes_the_page_of_the_evening_anew(shelf, tmp_path):
    evening = evening_of(shelf, folder=tmp_path, chosen=(None, None))
    evening = replace(evening, slot_s=evening.running_s + 1.0)
    breaks = (Breaks(), Breaks())
    document = SetDocument(schema_version=1, segue_version="0", evening=evening, breaks=breaks)
    write_set(tmp_path, document)
    page = rewrite_evening_page(tmp_path)
    assert "Chosen: " not in page.read_text(encoding="utf-8")
    before = (tmp_path / PICTURE_NAME).read_bytes()
    run = tmp_path / f"01 {TITLES[0]} to {TITLES[1]}"
    close_vote(run, rank=3, why="the room stood up")
    assert read_document(run).choice.rank == 3
    text = (tmp_path / EVENING_PAGE_NAME).read_text(encoding="utf-8")
    assert "Chosen: 3, stop and count-in (the room stood up)." in text
    picture = (tmp_path / PICTURE_NAME).read_bytes()
    assert picture != before  # its times are others now


def test_the_slot_is_told_by_what_is_chosen(shelf, tmp_path):
    evening = evening_of(shelf, folder=tmp_path, chosen=(None, None))
    write_set(
        tmp_path,
        SetDocument(
            schema_version=1,
            segue_version="0",
            evening=replace(evening, slot_s=evening.running_s),
            breaks=(Breaks(), Breaks()),
        ),
    )
    told = {}
    for rank in (1, 2, 3):
        write_choice(tmp_path / f"01 {TITLES[0]} to {TITLES[1]}", Choice(rank=rank, why=""))
        now = read_evening(tmp_path)
        told[now.running_s > now.slot_s] = [w for w in all_warnings(now) if "Too long by" in w]
    assert (bool(told[True]), bool(told[False])) == (True, False)


def close_vote(run, *, rank, why, base=""):
    """Serve a vote as a person does, and close it as the host."""
    line = [sys.executable, "-m", "segue", "audition", run, "--serve", "--no-open", "--port", "0"]
    with subprocess.Popen(line, stdout=subprocess.PIPE, text=True) as server:
        try:
            told = next(words for words in server.stdout if words.startswith("Run the vote"))
            host = urlsplit(re.search(r"http\S+", told)[0])
            cookie = post(host, "/host", {"token": host.fragment})
            post(host, f"{base}/close", {"rank": rank, "why": why}, cookie=cookie)
        finally:
            server.terminate()


def post(host, path, values, *, cookie=""):
    headers = {"Origin": f"http://{host.netloc}", "Content-Type": "application/json"}
    with closing(http.client.HTTPConnection(host.netloc, timeout=60)) as connection:
        connection.request("POST", path, json.dumps(values), {**headers, "Cookie": cookie})
        answer = connection.getresponse()
        assert answer.status == 200, answer.read()
        return (answer.getheader("Set-Cookie") or "").partition(";")[0]
