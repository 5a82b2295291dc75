"""Anything at all may be sent: the server answers, and keeps no vote that is none."""

import json

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tests.audition.wire import Client, a_vote, kept, raw

FAULTS = range(400, 432)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                ["choice", "confidence", "heard", "words", "name", "code", "rank", "token"]
            )
            | st.text(max_size=5),
            inner,
            max_size=5,
        )
    ),
    max_leaves=10,
)
VOTES = st.fixed_dictionaries(
    {
        "choice": st.integers(-2, 5),
        "confidence": st.integers(-1, 5),
        "heard": st.lists(st.integers(0, 4), max_size=5) | st.just([1, 2, 3]),
        "words": st.text(max_size=600),
    }
)
COMMON = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)


@pytest.fixture(name="server")
def _server(serve):
    port, desk = serve()
    return port, desk, Client(port).join()


@COMMON
@given(path=st.sampled_from(["/join", "/host", "/vote", "/close"]), values=JSON)
def test_any_json_gets_an_answer_with_a_sentence(server, path, values):
    _, desk, client = server
    n_votes = len(kept(desk))
    answer = client.post(path, values)
    assert answer.status == 200 or answer.status in FAULTS
    if answer.status != 200:
        assert answer.values["problem"]
    assert len(kept(desk)) == n_votes
    assert desk.ballot.choice is None


@COMMON
@given(vote=VOTES)
@example(vote=a_vote())
def test_vote_is_kept_exactly_when_it_holds_together(server, vote):
    port, desk, _ = server
    client = Client(port).join()
    n_votes = len(kept(desk))
    answer = client.post("/vote", vote)
    is_whole = (
        vote["choice"] in (1, 2, 3)
        and vote["confidence"] in (1, 2, 3)
        and vote["heard"] == [1, 2, 3]
        and len(vote["words"]) <= 500
        and len(json.dumps(vote)) <= 4096
    )
    assert (answer.status == 200) == is_whole
    assert len(kept(desk)) == n_votes + is_whole
    if is_whole:
        last = kept(desk)[-1]
        assert (last.choice, last.confidence, last.words) == (
            vote["choice"],
            vote["confidence"],
            vote["words"].strip(),
        )


@COMMON
@given(
    path=st.text(
        st.characters(min_codepoint=33, max_codepoint=126, exclude_characters="#"), max_size=40
    ),
    method=st.sampled_from(["GET", "HEAD", "POST", "PUT", "BREW"]),
)
def test_any_path_is_answered_without_a_fault_of_ours(server, path, method):
    port, _, client = server
    head = f"{method} /{path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: {client.cookie}\r\n"
    answer = raw(port, f"{head}Connection: close\r\n\r\n".encode())
    assert int(answer.split(b" ", 2)[1]) in (200, 204, *FAULTS)


@COMMON
@given(request=st.binary(max_size=300))
def test_bytes_that_are_no_http_do_no_harm(server, request):
    port, _, client = server
    answer = raw(port, request)
    assert answer == b"" or answer.startswith(b"HTTP/1.1 4")
    assert client.ask("/joined").values == {"is_joined": True}
