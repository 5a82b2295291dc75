"""One ballot for a whole evening: one code, a vote on every segue, each kept with its own run."""

import json
import re
import shutil
import threading
from contextlib import ExitStack
from dataclasses import replace

import pytest

from benchmarks._ballot_load import Server, lost_and_doubled, vote_together
from segue.audition.limits import HEADERS
from segue.audition.page import PageView
from segue.audition.poll import VotedRun
from segue.audition.sound import served_files
from segue.errors import SegueError
from segue.runfolder import read_document
from segue.setlist.evening import Breaks
from segue.setlist.set_document import SetDocument, write_set
from segue.setlist.show.evening_page import EVENING_PAGE_NAME, rewrite_evening_page
from tests.audition.judged import faults_of
from tests.audition.tape import ready_to_vote, until
from tests.audition.test_kill import in_a_thread
from tests.audition.wire import TOKEN, WIDE, Client, a_vote, kept, running_evening
from tests.setlist.an_evening import TITLES, evening_of

NASTY = "<img src=x onerror=alert(1)>"
HEAR_ALL = "ways.forEach((way) => way.toHear.clear()); showHeard()"


@pytest.fixture(scope="module", name="made")
def _made(shelf, tmp_path_factory):
    """An evening's folder as 'segue set' leaves it, nothing chosen."""
    folder = tmp_path_factory.mktemp("made") / "night"
    folder.mkdir()
    evening = evening_of(shelf, folder=folder, chosen=(None, None))
    breaks = (Breaks(), Breaks())
    write_set(
        folder, SetDocument(schema_version=1, segue_version="0", evening=evening, breaks=breaks)
    )
    rewrite_evening_page(folder)
    return folder


@pytest.fixture(scope="module", name="sounds")
def _sounds(made, tmp_path_factory):
    """What a server gives out for each segue, of an open vote and of a blind one."""
    return {
        is_blind: [
            served_files(run, view_of(run, is_blind=is_blind), tmp_path_factory.mktemp("sounds"))
            for run in runs_of(made)
        ]
        for is_blind in (False, True)
    }


@pytest.fixture(name="night")
def _night(made, tmp_path):
    """The same, to write in."""
    return shutil.copytree(made, tmp_path / "night")


def view_of(run, *, is_blind):
    document = read_document(run)
    return PageView(document=document, records=document.candidates, is_blind=is_blind)


def runs_of(night):
    return [night / f"{n + 1:02d} {TITLES[n]} to {TITLES[n + 1]}" for n in range(2)]


@pytest.fixture(name="serve")
def _serve(night, sounds):
    """A function that starts a server on the evening; gives its port and its polls."""
    with ExitStack() as stack:

        def serve(*, is_blind=False, **more):
            voted = [
                VotedRun(folder=run, view=view_of(run, is_blind=is_blind), files=files)
                for run, files in zip(runs_of(night), sounds[is_blind], strict=True)
            ]
            return stack.enter_context(running_evening(night, voted, **more))

        yield serve


def listener_values(client, base):
    page = client.ask(base).body.decode()
    return json.loads(page.split('id="listener">')[1].split("</script>")[0])


def test_one_code_lets_in_to_every_vote_and_each_is_kept_with_its_run(serve, night):
    port, polls = serve()
    stranger = Client(port)
    assert b"First Light" not in stranger.ask("/").body
    assert stranger.ask("/1").status == 303
    assert stranger.post("/2/vote", a_vote()).status == 401
    client = Client(port).join("Ann")
    front = client.ask("/").body.decode()
    assert "You have voted on 0 of 2." in front
    assert "First Light into Second Wind" in front
    assert "Second Wind into Third Rail" in front
    assert client.post("/2/vote", a_vote(3, words="the second")).status == 200
    assert [[vote.choice for vote in kept(poll)] for poll in polls] == [[], [3]]
    assert "You have voted on 1 of 2." in client.ask("/").body.decode()
    assert client.post("/1/vote", a_vote(2)).status == 200
    assert [[vote.choice for vote in kept(poll)] for poll in polls] == [[2], [3]]
    assert "You have voted on every segue." in client.ask("/").body.decode()
    assert [poll.ballot.path.parent for poll in polls] == runs_of(night)


def test_what_follows_is_the_next_segue_that_waits(serve):
    port, _ = serve()
    client = Client(port).join()
    second = {"href": "/2", "title": "Second Wind into Third Rail"}
    assert listener_values(client, "/1")["following"] == second
    assert listener_values(client, "/2")["following"]["href"] == "/1"
    client.post("/1/vote", a_vote())
    assert listener_values(client, "/2")["following"] == {"href": "/", "title": ""}


@pytest.mark.parametrize("path", ["/3", "/0", "/99999999999999999999", "/3/sound/music-0.mp3"])
def test_a_vote_that_is_not_there_is_not_there(serve, path):
    port, _ = serve()
    assert Client(port).join().ask(path).status == 404
    assert Client(port).join().post("/vote", a_vote()).status == 404


def test_blind_numbers_of_one_segue_say_nothing_about_another(serve):
    port, polls = serve(is_blind=True)
    client = Client(port).join()
    one, two = (listener_values(client, base)["ways"] for base in ("/1", "/2"))
    assert not {way["key"] for way in one} & {way["key"] for way in two}
    sound = f"music-{one[0]['sound']}.mp3"
    assert client.ask(f"/1/sound/{sound}").status == 200
    assert client.ask(f"/2/sound/{sound}").status == 404
    heard = sorted(way["key"] for way in one)
    assert client.post("/2/vote", a_vote(one[0]["key"], heard=heard)).status == 422
    assert kept(polls[1]) == []


def test_the_order_in_one_segue_says_nothing_about_the_order_in_another(serve):
    port, polls = serve(is_blind=True)
    pairs = set()
    for _ in range(12):
        client = Client(port).join()
        orders = []
        for poll in polls:
            keys = [way["key"] for way in listener_values(client, poll.base)["ways"]]
            cookie = client.cookie.partition("=")[2]
            here = poll.ballot.listener_of(f"{poll.ballot.round} {cookie}")
            ranks = poll.ranks_by_number(here)
            orders.append(tuple(ranks[key] for key in keys))
        pairs.add(orders[0] == orders[1])
    assert False in pairs  # one order for both would make them equal every time


def test_the_leader_sees_every_count_and_closes_each_alone(serve, night):
    port, _ = serve()
    voter, leader = Client(port).join("Ann"), Client(port).become_host()
    assert voter.post("/1/vote", a_vote(2, words="she breathes")).status == 200
    assert voter.ask("/host/events").status == 403
    told = host_events(leader)
    joined, first, second = next(told), next(told), next(told)
    assert joined == ("joined", {"n": 2})
    assert (first[1]["base"], first[1]["n_votes"]) == ("/1", 1)
    assert (second[1]["base"], second[1]["n_votes"]) == ("/2", 0)
    assert voter.post("/2/close", {"rank": 1}).status == 403
    assert leader.post("/2/close", {"rank": 3, "why": "it lifts"}).status == 200
    name, closed = next(told)
    assert (name, closed["base"], closed["is_closed"], closed["choice"]) == (
        "result",
        "/2",
        True,
        3,
    )
    one, two = (read_document(run).choice for run in runs_of(night))
    assert one is None
    assert (two.rank, two.why) == (3, "it lifts")
    assert voter.post("/2/vote", a_vote()).status == 410


def host_events(client):
    return client.events("/host/events")


def test_voters_are_told_counts_and_no_result(serve):
    port, _ = serve()
    watcher, voter = Client(port).join("Ann"), Client(port).join("Ben")
    told = watcher.events("/progress")
    next(told)
    voter.post("/2/vote", a_vote(3, words="a secret so far"))
    name, values = next(told)
    assert name == "progress"
    assert values["votes"][1] == {"base": "/2", "n_votes": 1, "is_closed": False}
    assert "secret" not in json.dumps(values)
    assert next(watcher.events("/2/events")) == ("count", {"n_votes": 1})


def test_an_evening_served_again_goes_on_with_what_is_open(serve):
    port, polls = serve()
    client, leader = Client(port).join(), Client(port).become_host()
    client.post("/1/vote", a_vote(2))
    leader.post("/2/close", {"rank": 1})
    port, polls = serve(code="OTHER234")
    client.port = port
    assert [poll.is_closed for poll in polls] == [False, True]
    assert client.post("/1/vote", a_vote(2)).status == 200  # not sure it arrived: sends it again
    assert len(kept(polls[0])) == 1
    leader = Client(port).become_host()
    leader.post("/1/close", {"rank": 2})
    port, polls = serve()
    assert [poll.is_closed for poll in polls] == [False, False]


def test_two_requests_of_one_listener_at_once_make_one_of_them(serve):
    from concurrent.futures import ThreadPoolExecutor

    port, polls = serve()
    client = Client(port).join()
    with ThreadPoolExecutor(8) as pool:
        statuses = list(pool.map(lambda _: client.ask("/1").status, range(24)))
    assert set(statuses) == {200}
    assert polls[0].ballot.n_listeners == 1


def test_limits_hold_for_the_whole_evening(serve):
    port, _ = serve(limits=replace(WIDE, streams=2))
    client = Client(port).join()
    streams = [client.events("/1/events"), client.events("/2/events")]
    assert [next(stream)[0] for stream in streams] == ["count", "count"]
    assert client.ask("/progress").status == 429


def test_pages_of_an_evening_carry_the_policy_and_no_inline_code(serve):
    port, _ = serve()
    client = Client(port).join()
    for path in ("/", "/1", "/host", "/3", "/lobby.js"):
        answer = client.ask(path)
        assert {name: answer.headers[name] for name in HEADERS} == HEADERS
        assert answer.headers["cache-control"] == "no-store"
    for path in ("/", "/1", "/host"):
        page = client.ask(path).body.decode()
        assert "<style" not in page
        tags = [tag.partition(">")[0] for tag in page.split("<script")[1:]]
        assert all("src=" in tag or "application/json" in tag for tag in tags)


def test_titles_of_an_evening_are_only_text(serve, night, sounds):
    run = runs_of(night)[0]
    view = view_of(run, is_blind=True)
    document = replace(view.document, outgoing=replace(view.document.outgoing, title=NASTY))
    view = replace(view, document=document)
    voted = VotedRun(folder=run, view=view, files=sounds[True][0])
    with running_evening(night, [voted]) as (port, _):
        client = Client(port).become_host()
        for path in ("/", "/1", "/host"):
            page = client.ask(path).body.decode()
            assert "<img" not in page
            assert "&lt;img" in page


@pytest.fixture(name="visit")
def _visit(visit):
    """A function that opens an address as a new visitor, on a phone unless said otherwise."""

    def on_a_phone(url, *, width=390, height=844, scheme="light"):
        return visit(url, viewport={"width": width, "height": height}, color_scheme=scheme)

    return on_a_phone


def vote_here(page, number):
    ready_to_vote(page)
    until(page, "ways.every((way) => way.sounds)")
    page.evaluate(HEAR_ALL)
    page.locator('input[name="choice"]').nth(number - 1).check()
    page.locator('input[name="confidence"]').nth(1).check()
    page.click("#send")
    page.wait_for_selector("#results .tally")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280], ids=["phone", "desk"])
def test_a_whole_evening_is_voted_on_and_chosen_without_a_command(
    serve, visit, night, width, scheme
):
    port, polls = serve(is_blind=True)
    look = {"width": width, "height": 740, "scheme": scheme}
    page = visit(f"http://127.0.0.1:{port}/#K7MP3XQD", **look)
    assert faults_of(page) == []
    page.fill("#name", "Ann")
    page.keyboard.press("Enter")
    page.wait_for_selector(".votes")
    assert faults_of(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.click(".votes a >> nth=0")
    vote_here(page, 2)
    assert faults_of(page) == []
    assert page.inner_text("#following") == "Next: Second Wind into Third Rail"
    with page.expect_navigation():  # the page before it has a vote, too
        page.click("#following a")
    vote_here(page, 1)
    page.click("#following a")
    page.wait_for_selector(".votes")
    assert page.inner_text("#done") == "You have voted on every segue."
    assert faults_of(page) == []
    leader = visit(f"http://127.0.0.1:{port}/host#{TOKEN}", **look)
    leader.wait_for_selector(".choices input", state="attached")
    until(leader, "document.querySelectorAll('.count')[1].textContent === '1 vote so far.'")
    assert faults_of(leader) == []
    for n in range(2):
        section = leader.locator(".voted").nth(n)
        section.locator(".choosing summary").click()
        section.locator(".choices input").nth(2).check()
        assert faults_of(leader) == []
        section.locator("button").click()
        until(leader, f"document.querySelectorAll('.voted')[{n}].classList.contains('closed')")
    assert faults_of(leader) == []
    assert leader.evaluate("document.documentElement.scrollWidth") <= width
    assert [read_document(run).choice.rank for run in runs_of(night)] == [3, 3]
    until(page, "document.querySelectorAll('.all')[1].textContent.endsWith('closed')")
    assert page.troubles == leader.troubles == []
    assert all(len(kept(poll)) == 1 for poll in polls)


def test_the_list_tells_what_was_heard_on_this_device_so_far(serve, visit):
    port, _ = serve(is_blind=True)
    page = visit(f"http://127.0.0.1:{port}/#K7MP3XQD")
    page.keyboard.press("Enter")
    page.wait_for_selector(".votes")
    mine = page.locator(".mine")
    assert mine.all_inner_texts() == ["Listen and vote"] * 2
    page.click(".votes a >> nth=1")
    ready_to_vote(page)
    page.evaluate(
        "ways[0].toHear.clear(); notePlace(1, 0);"
        "keep({ toHear: Object.fromEntries(ways.map((w) => [w.key, [...w.toHear]])) })"
    )
    page.click("#back a")
    page.wait_for_selector(".votes")
    assert mine.all_inner_texts() == ["Listen and vote", "1 of 3 heard"]


def test_the_command_serves_an_evening_and_shows_what_was_chosen(night):
    from tests.setlist.test_vote import close_vote

    close_vote(night, rank=2, why="the room stood up", base="/2")
    assert read_document(runs_of(night)[0]).choice is None
    text = (night / EVENING_PAGE_NAME).read_text(encoding="utf-8")
    assert re.search(r"Chosen: 2, [\w ]+ \(the room stood up\)\.", text)


def test_every_acknowledged_vote_of_the_evening_outlives_the_server(night):
    folders = {f"/{n}": run for n, run in enumerate(runs_of(night), start=1)}
    server = Server(night)
    killer = threading.Timer(5.5, server.kill)
    killer.start()
    try:
        load = in_a_thread(
            vote_together(server.port, n_voters=20, seconds=5.0, ranks=[1, 2, 3], bases=[*folders])
        )
    finally:
        killer.join()
        server.process.stdout.close()
    assert load.faults == []
    assert {base for base, _ in load.acknowledged} == set(folders)
    assert lost_and_doubled(folders, load) == ([], [])


def test_an_evening_that_cannot_be_voted_on_says_so(night, shelf):
    from segue.cli.audition import audition

    with pytest.raises(SegueError, match="--blind on an evening goes with --serve"):
        audition(night, blind=True, no_open=True)
    evening = evening_of(shelf)
    bare = tuple(replace(join, document=None, folder="") for join in evening.joins)
    write_set(
        night,
        SetDocument(
            schema_version=1,
            segue_version="0",
            evening=replace(evening, joins=bare),
            breaks=(Breaks(), Breaks()),
        ),
    )
    with pytest.raises(SegueError, match="no segues to vote on yet"):
        audition(night, serve=True, no_open=True)
