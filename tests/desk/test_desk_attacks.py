"""What an intruder would try at every address of a desk, each test named after it."""

import json
import socket
import time
import urllib.parse
from dataclasses import replace

import pytest

from segue.audition.limits import HEADERS, ClientLimits, Limits
from segue.desk import carrying
from segue.desk.desk_pages import PARTS, SOUNDS
from segue.desk.orders_taken import DROPS, ORDERS
from tests.audition.wire import PATIENCE_S, WIDE, Client, raw
from tests.desk.conftest import SONGS, TOKEN, served
from tests.desk.test_desk_server import at, wav

FILLED = {"{name}": "x", "{number:int}": "1", "{index:int}": "0"}
SECRET = b"not for them"
NASTY = """<img src=x onerror=alert(2)>"'&"""


def address(route):
    for name, value in FILLED.items():
        route = route.replace(name, value)
    return route


READ = tuple(map(address, (*PARTS, *SOUNDS)))
ORDERED, DROPPED = tuple(ORDERS), tuple(DROPS)
WRITE = (*DROPPED, *ORDERED)
LEADING_OUT = (
    "..", "../secret.txt", "../../etc/passwd", "/etc/passwd", "a/../../secret.txt", "C:\\x", "C:x",
    "a\0b", ".hidden", "CON", "nul.wav", "x" * 2000, "..\\secret.txt", "\\\\127.0.0.1\\share",
    "file:///etc/passwd", "a//b/../../..", "two\nlines", "x:stream", "dot.", "*",
)  # fmt: skip


def is_harmless(answer):
    assert SECRET not in answer.body
    assert b"root:" not in answer.body
    return 400 <= answer.status < 500


@pytest.fixture(scope="module", autouse=True)
def _secret(songs):
    (songs.parent / "secret.txt").write_bytes(SECRET)


def test_every_address_is_in_these_lists():
    assert len(READ) == len(PARTS) + len(SOUNDS) > 10
    assert len(WRITE) > 15


@pytest.mark.parametrize("path", READ)
def test_without_the_token_nothing_is_read(client, path):
    answer = client.ask(f"/another-token{path}")
    assert answer.status in (404, 429)  # not found, and soon told to wait
    assert set(answer.values) == {"problem"}


@pytest.mark.parametrize("path", WRITE)
def test_without_the_token_nothing_is_written(client, path):
    assert client.post(f"/another-token{path}", {}).status in (404, 429)


def test_who_guesses_tokens_soon_waits(client):
    answers = [client.ask(f"/guess-{n}/").status for n in range(20)]
    assert answers[-1] == 429


@pytest.mark.parametrize("path", READ)
@pytest.mark.parametrize(
    "host", ["evil.example:{port}", "127.0.0.1:1", "127.0.0.1.evil.example:{port}", "[::1]:{port}"]
)
def test_rebound_name_is_not_ours(client, path, host):
    answer = client.ask(at(path), headers={"Host": host.format(port=client.port)})
    assert answer.status in (400, 421)
    assert b"<html" not in answer.body


@pytest.mark.parametrize("path", [*READ, *WRITE])
def test_two_host_headers_are_refused(client, path):
    host = f"Host: 127.0.0.1:{client.port}\r\nHost: evil.example\r\n"
    method = "POST" if path in WRITE else "GET"
    request = f"{method} {at(path)} HTTP/1.1\r\n{host}\r\n"
    assert raw(client.port, request.encode()).startswith(b"HTTP/1.1 4")


@pytest.mark.parametrize("path", WRITE)
@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1", ""])
def test_only_the_page_itself_may_write(client, path, origin):
    headers = {"Origin": origin}
    assert client.ask(at(path), method="POST", body=b"{}", headers=headers).status == 403
    answer = client.ask(at(path), method="POST", body=b"{}", without=("Origin",))
    assert answer.status == 403


@pytest.mark.parametrize("path", [*READ, *WRITE])
@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(client, path, method):
    headers = {"Origin": f"http://127.0.0.1:{client.port}"}
    assert client.ask(at(path), method=method, headers=headers).status == 405


TAKES_A_BODY = tuple(path for path in ORDERED if path != "/vote/stop")


@pytest.mark.parametrize("path", TAKES_A_BODY)
@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", ""])
def test_order_as_a_plain_form_is_refused(client, path, kind):
    assert client.post(at(path), {}, headers={"Content-Type": kind}).status == 415


@pytest.mark.parametrize("path", TAKES_A_BODY)
def test_body_that_is_no_order_is_refused(client, path):
    bodies = (b"", b"{", b"\xff\xfe", b"[]", b"null", b"[" * 2000, b'{"run": 3}', b'{"extra": 1}')
    for body in bodies:
        answer = client.ask(at(path), method="POST", body=body)
        assert answer.status in (400, 422), body[:20]
        assert answer.values["problem"]


@pytest.mark.parametrize("path", TAKES_A_BODY)
def test_long_body_is_refused_also_when_sent_in_chunks(client, path):
    assert client.ask(at(path), method="POST", body=b" " * (1 << 17)).status == 413
    origin = f"http://127.0.0.1:{client.port}"
    head = (
        f"POST {at(path)} HTTP/1.1\r\nHost: 127.0.0.1:{client.port}\r\nOrigin: {origin}\r\n"
        "Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n"
    )
    chunk = b"8000\r\n" + b" " * 0x8000 + b"\r\n"
    answer = raw(client.port, head.encode() + 3 * chunk + b"0\r\n\r\n")
    assert answer.startswith(b"HTTP/1.1 413")


@pytest.mark.parametrize("name", LEADING_OUT)
def test_no_name_that_is_read_leads_out_of_the_folder(client, name):
    for path, query in (
        ("/ends", {"old": name}), ("/ends", {"new": name}), ("/options", {"run": name}),
        ("/evening", {"set": name}), ("/run-sound", {"run": name, "key": "music-0"}),
        ("/picture", {"name": name}), ("/review-page", {"name": name}),
        ("/versions", {"run": name}),
    ):  # fmt: skip
        assert is_harmless(client.ask(at(path, **query))), (path, query)
    for path in ("/sound/{}", "/packs/{}", "/js/{}"):
        shown = urllib.parse.quote(name, safe="")
        assert is_harmless(client.ask(at(path.format(shown)))), path
    # a page with such a name opens, and tells of nothing
    page = client.ask(at("/", run=name, old=name, set=name))
    assert is_harmless(page) or page.status == 200


@pytest.mark.parametrize("name", LEADING_OUT)
def test_no_name_in_an_order_leads_out_of_the_folder(client, songs, name):
    before = sorted(path for path in songs.parent.iterdir() if path != songs)
    song, pair = {"song": name, "edge": "end"}, {"old": name, "new": SONGS[1]}
    for path, order in (
        ("/say", {**song, "field": "metre", "value": 3}), ("/make", pair), ("/rough", pair),
        ("/choose", {"run": name, "rank": 1}), ("/pack", {"run": name}), ("/vote", {"run": name}),
        ("/change", {"run": name, "option": "1", "bars": 4}), ("/undo", {"run": name}),
        ("/draft", {"run": name, "option": "1", "bars": 4}), ("/redo", {"run": name}),
        ("/recipe", {"run": name, "option": "1", "name": "x"}),
        ("/evening/order", {"set": name, "titles": [], "order": []}),
        ("/evening/make", {"set": name}), ("/evening/new", {"title": "x", "songs": [name]}),
        ("/evening/add", {"set": name, "titles": [], "song": name}),
        ("/evening/vote", {"set": name}),
        ("/evening/say", {"set": name, "titles": [], "song": 0, "field": "talk", "value": 3}),
    ):  # fmt: skip
        assert is_harmless(client.post(at(path), order)), path
    take = client.ask(at("/take", run=name, name="a.wav"), method="POST", body=wav())
    assert is_harmless(take)
    assert sorted(path for path in songs.parent.iterdir() if path != songs) == before


def test_links_out_of_the_folder_are_passed_over(client, songs, tmp_path):
    (tmp_path / "secret.wav").write_bytes(wav())
    link = songs / "linked.wav"
    link.symlink_to(tmp_path / "secret.wav")
    try:
        assert b"linked" not in client.ask(at("/songs")).body
        assert client.ask(at("/ends", old="linked.wav")).status == 404
    finally:
        link.unlink()


def test_folders_that_lead_elsewhere_take_nothing(tmp_path):
    root, elsewhere = tmp_path / "songs", tmp_path / "elsewhere"
    root.mkdir()
    elsewhere.mkdir()
    for name in ("takes", "segues", "packs", "evenings"):
        (root / name).symlink_to(elsewhere)
    (root / "run").mkdir()
    with served(root, tmp_path) as (port, _):
        client = Client(port)
        path = at("/take", run="run", name="a.wav")
        assert client.ask(path, method="POST", body=wav()).status == 404
        assert client.ask(at("/options", run="segues/x")).status == 404
    assert list(elsewhere.iterdir()) == []


def test_document_that_names_something_else_gives_nothing(client, songs, run_name):
    text = (songs / run_name / "segue.json").read_text(encoding="utf-8")
    document = json.loads(text)
    document["candidates"][0]["music_file"] = "../../../secret.txt"
    run = songs / "segues" / "forged"
    run.mkdir()
    (run / "segue.json").write_text(json.dumps(document), encoding="utf-8")
    assert is_harmless(client.ask(at("/run-sound", run="segues/forged", key="music-0")))


@pytest.mark.parametrize(
    ("name", "body"),
    [("a.wav", b"nothing"), ("a.exe", b"MZ"), ("a", b""), ("b.wav", wav()[:3000]), ("c.toml", b"")],
)
@pytest.mark.parametrize("path", DROPPED)
def test_what_is_no_sound_leaves_nothing(client, songs, run_name, path, name, body):
    before = sorted(songs.rglob("*.*"))
    answer = client.ask(at(path, run=run_name, name=name), method="POST", body=body)
    assert answer.status == 422
    assert sorted(songs.rglob("*.*")) == before


def test_file_that_never_ends_is_refused_and_leaves_nothing(client, songs, monkeypatch):
    monkeypatch.setattr(carrying, "LARGEST_SOUND_BYTES", 10_000)
    before = sorted(songs.iterdir())
    answer = client.ask(at("/songs", name="a.wav"), method="POST", body=wav())
    assert answer.status == 413
    assert sorted(songs.iterdir()) == before


def test_file_that_breaks_off_leaves_nothing(client, songs):
    before = sorted(songs.iterdir())
    head = (
        f"POST {at('/songs', name='half.wav')} HTTP/1.1\r\nHost: 127.0.0.1:{client.port}\r\n"
        f"Origin: http://127.0.0.1:{client.port}\r\nContent-Length: 100000\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", client.port), timeout=60) as sock:
        sock.sendall(head.encode() + wav()[:5000])
    end = time.monotonic() + PATIENCE_S
    while sorted(songs.iterdir()) != before:
        assert time.monotonic() < end
        time.sleep(0.05)


@pytest.mark.parametrize("path", [*READ, "/nowhere"])
def test_every_answer_carries_the_policy(client, path):
    if path == "/events":
        pytest.skip("a stream")
    headers = client.ask(at(path)).headers
    assert {name: headers[name] for name in HEADERS} == HEADERS
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["cache-control"] == "no-store"
    assert "server" not in headers


def test_page_has_no_inline_code(client):
    page = client.ask(at("/", old=SONGS[0], new=SONGS[1])).body.decode()
    assert "<style" not in page
    assert not [tag for tag in page.split("<script")[1:] if "src=" not in tag.partition(">")[0]
                and "application/json" not in tag.partition(">")[0]]  # fmt: skip
    assert " on" not in "".join(tag.partition(">")[0] for tag in page.split("<button")[1:])


def test_titles_and_file_names_are_escaped(client, songs):
    nasty = songs / "'&<b>x.wav"
    nasty.write_bytes(wav())
    (songs / "'&<b>x.song.toml").write_text(f"title = {json.dumps(NASTY)}\n", encoding="utf-8")
    try:
        for path in (at("/songs"), at("/", old=nasty.name), at("/ends", old=nasty.name)):
            page = client.ask(path).body
            assert b"<img" not in page
            assert b"<b>" not in page
    finally:
        nasty.unlink()
        (songs / "'&<b>x.song.toml").unlink()


def test_address_behind_a_forged_header_is_not_believed(tmp_path):
    limits = ClientLimits(Limits(requests_a_second=0.01, burst=1.0))
    root = tmp_path / "songs"
    root.mkdir()
    with served(root, tmp_path, limits) as (port, _):
        path = f"/{TOKEN}/songs"
        headers = [{"X-Forwarded-For": f"192.0.2.{n}"} for n in (1, 2)]
        assert [Client(port).ask(path, headers=h).status for h in headers] == [200, 429]


def test_body_that_never_comes_is_given_up(tmp_path):
    root = tmp_path / "songs"
    root.mkdir()
    with served(root, tmp_path, ClientLimits(replace(WIDE, body_s=0.2))) as (port, _):
        head = (
            f"POST {at('/say')} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n"
            f"Origin: http://127.0.0.1:{port}\r\nContent-Type: application/json\r\n"
            "Content-Length: 100\r\n\r\n{"
        )
        with socket.create_connection(("127.0.0.1", port), timeout=60) as sock:
            sock.sendall(head.encode())
            assert sock.recv(100).startswith(b"HTTP/1.1 408")
