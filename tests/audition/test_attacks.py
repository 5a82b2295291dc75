"""What an intruder would try, each test named after it."""

import os
import resource
import shutil
import socket
from contextlib import suppress
from dataclasses import replace

import pytest

from segue.audition.limits import HEADERS, MOST_CLIENTS, ClientLimits, Limits
from segue.audition.network import BoundedHeads, allow_open_files
from segue.audition.page import PageView
from segue.audition.sound import named_file, plain_file
from segue.errors import RunFolderError
from segue.runfolder import document_text
from tests.audition.wire import WIDE, Client, a_vote, kept, raw, running

SECRET = b"not for them"
NASTY = """<script>alert(1)</script><img src=x onerror=alert(2)>"'&"""


@pytest.fixture(scope="module", name="standing")
def _standing(folder, document, served, tmp_path_factory):
    """A server for all attacks that keep no vote, with a secret beside its run folder."""
    run = tmp_path_factory.mktemp("attacked") / "run"
    shutil.copytree(folder, run)
    (run / "segue.json").write_text(document_text(document), encoding="utf-8")
    (run.parent / "secret.txt").write_bytes(SECRET)
    with running(run, *served[False]) as (port, desk):
        yield port, desk


@pytest.mark.parametrize(
    "path",
    [
        "/sound/../segue.json",
        "/sound/../../secret.txt",
        "/sound/%2e%2e/segue.json",
        "/sound/%2e%2e%2fsegue.json",
        "/sound/..%2f..%2fsecret.txt",
        "/sound/%252e%252e%252fsegue.json",
        "/sound/..%c0%afsegue.json",
        "/sound/..%5csegue.json",
        "/sound/..\\segue.json",
        "/sound//etc/passwd",
        "/sound/%2fetc%2fpasswd",
        "/sound//../../../../etc/passwd",
        "//etc/passwd",
        "/../secret.txt",
        "/sound/C:%5cWindows%5cwin.ini",
        "/sound/C:/Windows/win.ini",
        "/sound/%5c%5c127.0.0.1%5cshare",
        "/sound/file:%2f%2f%2fetc%2fpasswd",
        "/sound/music-0.mp3%00.txt",
        "/sound/music-0.mp3/",
        "/sound/music-0.mp3/../../segue.json",
        "/sound/music-0.mp3::$DATA",
        "/sound/MUSIC-0.MP3",
        "/sound/.",
        "/sound/..",
        "/sound/",
        "/sound/CON",
        "/sound/nul.mp3",
        "/sound/COM1.wav",
        "/sound/LPT1",
        "/segue.json",
        "/ballot.sqlite",
        "/sound/segue.json",
        "/sound/ballot.sqlite",
        "/sound/ballot.sqlite-wal",
        "/sound/1.wav",
    ],
)
def test_nothing_but_named_sounds_comes_out(standing, path):
    port, _ = standing
    answer = Client(port).join().ask(path)
    assert answer.status in (400, 404)
    assert SECRET not in answer.body
    assert b"schema_version" not in answer.body
    assert b"root:" not in answer.body


@pytest.mark.parametrize(
    "target",
    ["http://127.0.0.1/segue.json", "file:///etc/passwd", "*", "127.0.0.1:80", "/\x80", "no-slash"],
)
def test_odd_targets_give_nothing_away(standing, target):
    port, _ = standing
    host = f"127.0.0.1:{port}"
    line = f"GET {target} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"
    answer = raw(port, line.encode("latin-1"))
    assert answer.startswith((b"HTTP/1.1 4", b"HTTP/1.1 200"))
    assert b"root:" not in answer
    assert b"schema_version" not in answer


def test_sound_swapped_for_a_link_is_not_followed(tmp_path):
    (tmp_path / "secret.txt").write_bytes(SECRET)
    sound = tmp_path / "music-0.mp3"
    sound.write_bytes(b"sound")
    files = {"music-0.mp3": sound}
    assert named_file(files, "music-0.mp3") == sound
    sound.unlink()
    sound.symlink_to(tmp_path / "secret.txt")
    assert named_file(files, "music-0.mp3") is None


@pytest.mark.parametrize(
    "name",
    [
        "",
        ".",
        "..",
        "../1.wav",
        "sub/1.wav",
        "/etc/passwd",
        "..\\1.wav",
        "C:\\1.wav",
        "C:1.wav",
        "1.wav:stream",
        "1.wav.",
        "1.wav ",
        ".hidden.wav",
        "CON",
        "con.wav",
        "Nul .wav",
        "aux.tar.wav",
        "com1",
        "LPT9.wav",
        "COM\u00b9.wav",
        "CONIN$",
        "two\nlines.wav",
        "nul\x00.wav",
        "*.wav",
        "gone.wav",
        "link.wav",
        "folder.wav",
        "pipe.wav",
    ],
)
def test_document_that_names_something_else_is_refused(tmp_path, name):
    (tmp_path / "1.wav").write_bytes(b"")
    (tmp_path / "folder.wav").mkdir()
    (tmp_path / "link.wav").symlink_to(tmp_path / "1.wav")
    os.mkfifo(tmp_path / "pipe.wav")
    assert plain_file(tmp_path, "1.wav") == tmp_path / "1.wav"
    with pytest.raises(RunFolderError, match=r"names|no regular file"):
        plain_file(tmp_path, name)


def test_ballot_behind_a_link_is_not_written(run, served):
    target = run.parent / "elsewhere.sqlite"
    (run / "ballot.sqlite").symlink_to(target)
    with pytest.raises(RunFolderError, match="is a link"), running(run, *served[False]):
        pass
    assert not target.exists()


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "127.0.0.2:{port}", "",
     "127.0.0.1:{port}@evil.example", "127.0.0.1.evil.example:{port}", "[::1]:{port}"],
)  # fmt: skip
def test_rebound_name_is_not_ours(standing, host):
    port, _ = standing
    answer = Client(port).ask("/", headers={"Host": host.format(port=port)})
    assert answer.status in (400, 421)
    assert b"<html" not in answer.body


def test_our_own_names_are_ours(standing):
    port, _ = standing
    for name in ("localhost", "LOCALHOST", "127.0.0.1"):
        assert Client(port).ask("/", headers={"Host": f"{name}:{port}"}).status == 200


def test_two_host_headers_are_refused(standing):
    port, _ = standing
    request = f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nHost: evil.example\r\n\r\n"
    assert raw(port, request.encode()).startswith(b"HTTP/1.1 4")


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:{port}", ""])
def test_post_from_a_foreign_page_is_refused(standing, origin):
    port, desk = standing
    client = Client(port).join()
    answer = client.post("/vote", a_vote(), headers={"Origin": origin.format(port=port)})
    assert answer.status == 403
    assert client.post("/vote", a_vote(), without=("Origin",)).status == 403
    assert kept(desk) == []


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", ""])
def test_post_as_a_plain_form_is_refused(standing, kind):
    port, _ = standing
    client = Client(port).join()
    assert client.post("/vote", a_vote(), headers={"Content-Type": kind}).status == 415


def test_long_body_is_refused_also_when_sent_in_chunks(standing):
    port, _ = standing
    client = Client(port).join()
    assert client.post("/vote", a_vote(words="x" * 5000)).status == 413
    n, chunk = 3, b"1000\r\n" + b" " * 4096 + b"\r\n"
    head = (
        f"POST /vote HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\n"
        f"Cookie: {client.cookie}\r\nContent-Type: application/json\r\n"
        "Transfer-Encoding: chunked\r\n\r\n"
    )
    assert raw(port, head.encode() + n * chunk + b"0\r\n\r\n").startswith(b"HTTP/1.1 413")


def test_hundreds_of_half_open_connections_are_cut_and_nobody_is_kept_out(serve, monkeypatch):
    assert BoundedHeads.head_s == 10.0
    allow_open_files(4000)
    if resource.getrlimit(resource.RLIMIT_NOFILE)[0] < 1500:
        pytest.skip("this system lets a process hold too few files open")
    monkeypatch.setattr(BoundedHeads, "head_s", 1.0)
    port, _ = serve()
    held = [socket.create_connection(("127.0.0.1", port), timeout=60) for _ in range(600)]
    for sock in held[:400]:
        sock.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n")
    assert Client(port).join().ask("/").status == 200
    assert {sock.recv(100) for sock in held} == {b""}  # cut: a wait of 60 s would end the test
    for sock in held:
        sock.close()


@pytest.mark.parametrize("drips", [b"\r\n", b"GET / HTTP/1.1\r\nX: "], ids=["lines", "a head"])
def test_a_head_that_comes_drop_by_drop_is_cut_also_after_a_first_answer(serve, monkeypatch, drips):
    monkeypatch.setattr(BoundedHeads, "head_s", 0.5)
    port, _ = serve()
    with socket.create_connection(("127.0.0.1", port), timeout=60) as sock:
        sock.sendall(f"GET /joined HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        assert sock.recv(4096).startswith(b"HTTP/1.1 200")
        sock.sendall(drips)
        n_sent = 0
        with suppress(OSError):
            sock.settimeout(0.1)
            while n_sent < 300:
                n_sent += 1
                with suppress(TimeoutError):
                    if not sock.recv(4096):
                        break
                sock.sendall(b"\r\n" if drips == b"\r\n" else b"x")
        assert n_sent < 300


@pytest.mark.parametrize("n_bytes", [17_000, 200_000])
@pytest.mark.parametrize(
    "head", ["Cookie: {long}", "{long}: x", "A: x\r\n{many}"], ids=["value", "name", "many"]
)
def test_a_long_header_is_refused(standing, head, n_bytes):
    # RFC 6585, section 5
    port, _ = standing
    many = "\r\n".join(f"H{n}: {'x' * 90}" for n in range(n_bytes // 90))
    lines = head.format(long="x" * n_bytes, many=many)
    request = f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{lines}\r\n\r\n"
    assert raw(port, request.encode()).startswith(b"HTTP/1.1 431")
    assert raw(port, request.encode()[:-2]).startswith(b"HTTP/1.1 431")  # before it has ended
    assert Client(port).join().ask("/").status == 200


def test_a_long_address_is_refused(standing):
    port, _ = standing
    request = f"GET /{'x' * 60_000} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n"
    assert raw(port, request.encode()).startswith(b"HTTP/1.1 431")


def test_body_that_never_comes_is_given_up(serve):
    port, _ = serve(limits=replace(WIDE, body_s=0.2))
    client = Client(port).join()
    with socket.create_connection(("127.0.0.1", port), timeout=60) as sock:
        head = (
            f"POST /vote HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\n"
            f"Cookie: {client.cookie}\r\nContent-Type: application/json\r\n"
            "Content-Length: 100\r\n\r\n{"
        )
        sock.sendall(head.encode())
        assert sock.recv(100).startswith(b"HTTP/1.1 408")


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"", 400),
        (b"{", 400),
        (b"\xff\xfe", 400),
        (b"[]", 422),
        (b"null", 422),
        (b"[" * 2000, 400),
        (b'{"choice": "1"}', 422),
        (b'{"choice":1,"confidence":4,"heard":[1,2,3]}', 422),
        (b'{"choice":1,"confidence":2,"heard":[1,2,3],"is_host":true}', 422),
        (b'{"choice":99999999999999999999999,"confidence":2,"heard":[1,2,3]}', 422),
        (b'{"choice":0,"confidence":2,"heard":[1,2,3]}', 422),
        (b'{"choice":NaN,"confidence":2,"heard":[1,2,3]}', 422),
        (b'{"choice":1,"confidence":2,"heard":[1,2,3],"words":"\\ud800"}', 400),
    ],
)
def test_body_that_is_no_vote_is_refused(standing, body, status):
    port, desk = standing
    answer = Client(port).join().ask("/vote", method="POST", body=body)
    assert answer.status == status
    assert answer.values["problem"]
    assert kept(desk) == []


@pytest.mark.parametrize(
    "cookie",
    ["", "x", "{name}=", "{name}=guess", "{name}=' OR 1=1 --", "{name}=%00", "{name}=\xff\xfe"],
)
def test_made_up_cookie_is_nobody(standing, cookie):
    port, desk = standing
    client = Client(port)
    client.cookie = cookie.format(name=f"segue-{desk.ballot.token}")
    assert client.ask("/sound/music-0.mp3").status == 401


def test_words_for_the_database_are_only_words(serve):
    port, desk = serve()
    words = "'); DROP TABLE votes; --"
    assert Client(port).join(words[:30]).post("/vote", a_vote(words=words)).status == 200
    assert [c.words for c in kept(desk)] == [words]


def test_names_of_songs_and_recipes_are_escaped(run, document, served):
    record = document.candidates[0]
    plan = replace(record.plan, recipe=NASTY, why=NASTY)
    nasty = replace(
        document,
        outgoing=replace(document.outgoing, title=f"{NASTY}@the ballot of this listener@"),
        candidates=(replace(record, plan=plan), *document.candidates[1:]),
    )
    view = PageView(document=nasty, records=nasty.candidates)
    with running(run, view, served[False][1]) as (port, _):
        page = Client(port).join().ask("/").body.decode()
    assert "<img" not in page
    assert "<script>alert" not in page
    assert page.count('"is_served":true') == 1


@pytest.mark.parametrize("path", ["/", "/host", "/page.js", "/nowhere", "/sound/music-0.mp3"])
def test_every_answer_carries_the_policy(standing, path):
    port, _ = standing
    headers = Client(port).join().ask(path).headers
    assert {name: headers[name] for name in HEADERS} == HEADERS
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["cache-control"] == "no-store"
    assert "server" not in headers


def test_served_pages_have_no_inline_code(standing):
    port, _ = standing
    client = Client(port).join()
    for path, reader in (("/", client), ("/", Client(port)), ("/host", client)):
        page = reader.ask(path).body.decode()
        assert "<style" not in page
        assert not [tag for tag in page.split("<script")[1:] if "src=" not in tag.partition(">")[0]
                    and "application/json" not in tag.partition(">")[0]]  # fmt: skip
        assert " on" not in "".join(tag.partition(">")[0] for tag in page.split("<button")[1:])


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(standing, method):
    port, _ = standing
    headers = {"Origin": f"http://127.0.0.1:{port}"}
    assert Client(port).join().ask("/vote", method=method, headers=headers).status == 405


def test_address_behind_a_forged_header_is_not_believed(serve):
    port, _ = serve(limits=Limits(requests_a_second=0.01, burst=1.0))
    answers = [Client(port).ask("/", headers={"X-Forwarded-For": f"192.0.2.{n}"}) for n in (1, 2)]
    assert [a.status for a in answers] == [200, 429]


def test_waits_after_wrong_codes_double_up_to_a_limit():
    limits = Limits(free_tries=2, first_wait_s=1.0, longest_wait_s=5.0)
    clients, now_s, waits = ClientLimits(limits), 0.0, []
    for _ in range(7):
        clients.note_wrong_code("a", now_s)
        waits.append(clients.code_wait_s("a", now_s))
        now_s += waits[-1]
    assert waits == [0.0, 0.0, 1.0, 2.0, 4.0, 5.0, 5.0]
    assert clients.code_wait_s("b", now_s) == 0.0
    clients.note_right_code("a", now_s)
    clients.note_wrong_code("a", now_s)
    assert clients.code_wait_s("a", now_s) == 0.0


def test_memory_of_clients_is_bounded():
    clients = ClientLimits(Limits())
    for n in range(MOST_CLIENTS + 500):
        clients.wait_s(str(n), 0.0)
    assert len(clients._clients) == MOST_CLIENTS


def test_who_guesses_codes_as_fast_as_allowed_gets_few_tries_in_an_hour():
    clients, now_s, n_tries = ClientLimits(Limits()), 0.0, 0
    while now_s < 3600.0:
        now_s += clients.code_wait_s("192.0.2.1", now_s)
        clients.note_wrong_code("192.0.2.1", now_s)
        n_tries += 1
    # A person who mistypes may try again at once; then the waits double up to five minutes.
    assert 3 < n_tries <= 24
    assert clients.code_wait_s("192.0.2.2", now_s) == 0.0
