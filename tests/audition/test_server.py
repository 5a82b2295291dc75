"""The server through a real client: joining, voting, results, closing, sounds."""

import json
import re
import shutil
import socket
import sqlite3

import pytest
from wavinfo import WavInfoReader

from segue.audition.limits import Limits
from segue.audition.network import listening_socket
from segue.audition.secrets import CODE_LETTERS, shuffled_order
from segue.runfolder import read_document
from tests.audition.wire import CODE, WIDE, Client, a_vote, kept


def test_page_comes_only_after_the_code(serve, served):
    port, _ = serve()
    client = Client(port)
    before = client.ask("/")
    assert b"Old Song" not in before.body
    assert client.ask("/sound/music-0.mp3").status == 401
    assert client.ask("/events").status == 401
    assert client.post("/vote", a_vote()).status == 401
    client.join()
    page = client.ask("/").body.decode()
    assert "Old Song into New Song" in page
    sound = client.ask("/sound/music-0.mp3")
    assert sound.headers["content-type"] == "audio/mpeg"
    assert sound.body == served[False][1]["music-0.mp3"].read_bytes()


@pytest.mark.parametrize("typed", ["k7mp-3xqd", " K7MP 3XQD", CODE.lower()])
def test_code_may_be_typed_as_people_type(serve, typed):
    port, _ = serve()
    Client(port).join(code=typed)


def test_without_lan_no_code_is_asked(serve):
    port, _ = serve(code=None)
    Client(port).join(code="")


def test_code_letters_are_told_apart_at_a_glance():
    assert len(set(CODE_LETTERS)) == 30
    assert not set("01ILOU") & set(CODE_LETTERS)


def test_the_one_cookie_is_random_http_only_and_same_site(serve):
    port, desk = serve()
    answers = [Client(port).post("/join", {"name": "A", "code": CODE}) for _ in range(2)]
    cookies = [answer.headers["set-cookie"] for answer in answers]
    for cookie in cookies:
        assert re.match(rf"segue-{desk.ballot.token}=[\w-]{{43}};", cookie)
        assert {"HttpOnly", "SameSite=strict", "Path=/"} <= set(cookie.split("; "))
    assert cookies[0] != cookies[1]


def test_cookie_is_not_kept_as_it_is(serve, run):
    port, _ = serve()
    cookie = Client(port).join().cookie.partition("=")[2]
    rows = sqlite3.connect(run / "ballot.sqlite").execute("SELECT cookie FROM listeners").fetchall()
    assert len(rows) == 1
    assert cookie not in rows[0][0]


def test_results_show_once_a_listener_has_voted(serve):
    port, _ = serve()
    early, late = Client(port).join("Early"), Client(port).join("Late")
    seen = early.events()
    assert next(seen) == ("count", {"n_votes": 0})
    assert late.post("/vote", a_vote(3, words="the pad")).status == 200
    assert next(seen) == ("count", {"n_votes": 1})
    assert early.post("/vote", a_vote(1)).status == 200
    name, result = next(seen)
    assert name == "result"
    assert [row["n_votes"] for row in result["tally"]] == [1, 0, 1]
    said = {"listener": "Late", "name": "tempo ramp", "confidence": 2, "words": "the pad"}
    assert result["words"] == [said]
    assert result["is_closed"] is False


def test_same_vote_twice_counts_once_and_another_is_refused(serve):
    port, desk = serve()
    client = Client(port).join()
    first = client.post("/vote", a_vote(2))
    assert client.post("/vote", a_vote(2)).values == first.values
    other = client.post("/vote", a_vote(1))
    assert other.status == 409
    assert other.values["vote"]["choice"] == 2
    assert [c.choice for c in kept(desk)] == [2]


def test_vote_without_hearing_all_is_refused(serve):
    port, desk = serve()
    answer = Client(port).join().post("/vote", a_vote(1, heard=[1, 2]))
    assert answer.status == 409
    assert "Listen to each" in answer.values["problem"]
    assert kept(desk) == []


def test_host_closes_and_the_choice_is_in_the_document(serve, run):
    port, _ = serve()
    listener = Client(port).join()
    waiting = listener.events()
    next(waiting)
    host = Client(port).become_host()
    assert listener.post("/close", {"rank": 2}).status == 403
    assert host.post("/close", {"rank": 2, "why": "the <b>singer</b>"}).status == 200
    assert host.post("/close", {"rank": 2}).status == 200  # the answer was lost, asked again
    assert host.post("/close", {"rank": 1}).status == 409
    choice = read_document(run).choice
    assert (choice.rank, choice.why) == (2, "the <b>singer</b>")
    name, result = next(waiting)
    assert (name, result["is_closed"], result["choice"]) == ("result", True, 2)
    late = listener.post("/vote", a_vote())
    assert (late.status, late.values["problem"]) == (410, "The vote is closed.")


def test_wrong_host_token_is_no_host(serve):
    port, _ = serve()
    client = Client(port).join()
    assert client.post("/host", {"token": "guess"}).status == 403
    assert client.post("/close", {"rank": 1}).status == 403


def test_choice_that_is_no_candidate_is_refused(serve, run):
    port, _ = serve()
    host = Client(port).become_host()
    assert host.post("/close", {"rank": 0}).status == 503
    assert host.post("/close", {"rank": 9}).status == 503
    assert read_document(run).choice is None


def test_server_started_again_goes_on_with_the_vote(served, run):
    from tests.audition.wire import running

    view, files = served[False]
    client = None
    with running(run, view, files) as (port, _):
        client = Client(port).join()
        assert client.post("/vote", a_vote(3)).status == 200
    with running(run, view, files, code="OTHER234") as (port, desk):
        client.port = port
        assert client.post("/vote", a_vote(3)).status == 200  # not sure it arrived: sends it again
        assert [c.choice for c in kept(desk)] == [3]


def test_closed_vote_is_followed_by_a_new_round(served, run):
    from tests.audition.wire import running

    view, files = served[False]
    with running(run, view, files) as (port, _):
        assert Client(port).become_host().post("/close", {"rank": 1}).status == 200
    with running(run, view, files) as (port, desk):
        assert Client(port).join().post("/vote", a_vote(2)).status == 200
        assert len(kept(desk)) == 1


def test_vanished_run_folder_acknowledges_nothing(serve, run):
    port, _ = serve()
    client = Client(port).join()
    shutil.rmtree(run)
    answer = client.post("/vote", a_vote())
    assert answer.status == 503
    assert "moved or replaced" in answer.values["problem"]


def test_replaced_document_is_not_chosen_in(serve, run, document):
    from dataclasses import replace

    from segue.runfolder import document_text

    port, _ = serve()
    host = Client(port).become_host()
    other = replace(document, candidates=document.candidates[:2])
    (run / "segue.json").write_text(document_text(other), encoding="utf-8")
    answer = host.post("/close", {"rank": 1})
    assert answer.status == 409
    assert read_document(run).choice is None


def test_blind_page_and_its_files_tell_no_name(serve, document):
    port, _ = serve(is_blind=True)
    client = Client(port).join()
    page = client.ask("/").body.decode()
    for record in document.candidates:
        assert record.plan.recipe not in page
    assert client.ask("/sound/full-0.wav").status == 404


def blind_ways(client):
    page = client.ask("/").body.decode()
    block = page.split('id="listener">')[1].split("</script>")[0]
    return json.loads(block)["ways"]


def test_two_blind_listeners_have_no_number_address_size_or_tag_in_common(serve):
    port, _ = serve(is_blind=True)
    clients = [Client(port).join(name) for name in ("Ann", "Ben")]
    keys, tags, sizes = [], [], set()
    for client in clients:
        ways = blind_ways(client)
        assert not {"rank", "name", "label", "keys", "outline"} & set().union(*ways)
        keys.append({way["key"] for way in ways})
        for bus in ("music", "click", "cue"):
            sounds = [client.ask(f"/sound/{bus}-{way['sound']}.mp3") for way in ways]
            assert {sound.status for sound in sounds} == {200}
            sizes |= {(bus, len(sound.body)) for sound in sounds}
            tags += [sound.headers["etag"] for sound in sounds]
            assert len({sound.headers["last-modified"] for sound in sounds}) == 1
    assert not keys[0] & keys[1]
    assert not (keys[0] | keys[1]) & {0, 1, 2, 3}
    assert len(sizes) == 3  # one size a bus
    assert len(set(tags)) == len(tags)
    other = blind_ways(clients[1])[0]["sound"]
    assert clients[0].ask(f"/sound/music-{other}.mp3").status == 404
    assert clients[0].ask("/sound/music-0.mp3").status == 404


def test_a_blind_listener_votes_in_numbers_of_their_own(serve):
    port, poll = serve(is_blind=True)
    client = Client(port).join()
    ways = blind_ways(client)
    heard = sorted(way["key"] for way in ways)
    assert client.post("/vote", a_vote(1)).status == 422
    answer = client.post("/vote", a_vote(ways[2]["key"], heard=heard))
    rank = kept(poll)[0].choice
    assert answer.values["vote"]["choice"] == ways[2]["key"]
    assert answer.values["ranks"][str(ways[2]["key"])] == rank
    order = shuffled_order(poll.ballot.listener_of(client.cookie.partition("=")[2]).seed, 3)
    assert rank == poll.ranks[order[2]]
    again = client.ask("/").body.decode()
    assert f'"vote":{{"choice":{ways[2]["key"]},' in again


@pytest.mark.parametrize(
    ("asked", "first", "last"), [("0-99", 0, 99), ("1000-", 1000, None), ("-50", -50, None)]
)
def test_ranges_of_a_sound(serve, served, asked, first, last):
    # RFC 9110, section 14
    port, _ = serve()
    client = Client(port).join()
    whole = served[False][1]["music-0.mp3"].read_bytes()
    answer = client.ask("/sound/music-0.mp3", headers={"Range": f"bytes={asked}"})
    assert answer.status == 206
    assert answer.body == whole[first : None if last is None else last + 1]
    assert answer.headers["content-range"].endswith(f"/{len(whole)}")


def test_range_beyond_the_end_is_told(serve, served):
    port, _ = serve()
    client = Client(port).join()
    size = served[False][1]["music-0.mp3"].stat().st_size
    answer = client.ask("/sound/music-0.mp3", headers={"Range": f"bytes={size}-"})
    assert (answer.status, answer.headers["content-range"]) == (416, f"bytes */{size}")


def test_wav_is_given_out_whole(serve, tmp_path, document):
    port, _ = serve()
    path = tmp_path / "full.wav"
    path.write_bytes(Client(port).join().ask("/sound/full-0.wav").body)
    assert WavInfoReader(str(path)).fmt.sample_rate == document.rate_hz


def test_too_many_requests_are_slowed(serve):
    port, _ = serve(limits=Limits(requests_a_second=0.01, burst=3.0))
    answers = [Client(port).ask("/") for _ in range(5)]
    assert [a.status for a in answers] == [200, 200, 200, 429, 429]
    assert int(answers[-1].headers["retry-after"]) > 0


def test_wrong_codes_are_slowed_and_a_right_one_too(serve):
    limits = Limits(requests_a_second=1e6, burst=1e6, free_tries=2, first_wait_s=1000.0)
    port, _ = serve(limits=limits)
    statuses = [
        Client(port).post("/join", {"name": "", "code": code}).status
        for code in ("AAAAAAAA", "BBBBBBBB", "CCCCCCCC", CODE)
    ]
    assert statuses == [403, 403, 403, 429]


def test_open_streams_are_counted(serve):
    from dataclasses import replace

    port, _ = serve(limits=replace(WIDE, streams=2))
    client = Client(port).join()
    open_ = [client.events() for _ in range(2)]
    assert [next(stream)[0] for stream in open_] == ["count", "count"]
    assert client.ask("/events").status == 429


def test_small_answers_do_not_wait_for_one_another():
    # asyncio switches Nagle's algorithm off only for sockets that are named as TCP.
    with listening_socket("127.0.0.1", 0) as listening:
        assert listening.proto == socket.IPPROTO_TCP
