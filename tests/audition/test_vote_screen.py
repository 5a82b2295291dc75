"""In a real browser: blind listening and the vote, from a file and from the server."""

import re
import signal
import statistics
import subprocess
import sys
from collections import Counter

import pytest

from segue.audition.network import lan_address
from segue.audition.page import BLIND_KEY_NAME, page_view, write_blind_page
from segue.audition.secrets import shuffled_order
from segue.runfolder import read_document
from tests.audition.judged import faults_of
from tests.audition.tape import ready_to_vote, until
from tests.audition.wire import CODE, TOKEN, Client, a_vote, kept

HEAR_ALL = "ways.forEach((way) => way.toHear.clear()); showHeard()"
N_SEEDS = 2**32
NASTY = "<img src=x onerror=alert(1)>"


@pytest.fixture(scope="module", name="blind_page")
def _blind_page(folder, document, tmp_path_factory):
    view = page_view(folder, document, is_blind=True, wants_anchor=True)
    assert view.has_anchor
    return write_blind_page(folder, view)[0]


def hear_by_keys(page, number):
    """Switch to a candidate and play it through its join, with keys alone."""
    page.keyboard.press(str(number))
    until(page, f"state.now === {number - 1}")
    for _ in range(40):
        if page.evaluate("here() <= Math.max(ways[state.now].exit_s - AROUND_S, 0)"):
            break
        page.keyboard.press("ArrowLeft")
    if not page.evaluate("state.playing"):
        page.keyboard.press("Space")
    until(page, "isHeard(ways[state.now])")


def tab_to(page, condition):
    for _ in range(80):
        if page.evaluate(f"(() => {{ const at = document.activeElement; return {condition}; }})()"):
            return
        page.keyboard.press("Tab")
    pytest.fail(f"no way by Tab to {condition}")


def test_whole_blind_vote_by_keyboard(open_page, blind_page):
    page = open_page(path=blind_page)
    until(page, "ways.every((way) => way.sounds)")
    assert page.is_disabled("#send")
    for number in (1, 2, 3, 4):
        assert f"{number}" in page.inner_text("#to-hear").partition("hear:")[2]
        hear_by_keys(page, number)
    page.keyboard.press("Space")
    assert page.inner_text("#to-hear") == "You have heard them all."
    tab_to(page, "at.name === 'choice'")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    tab_to(page, "at.name === 'confidence'")
    page.keyboard.press("ArrowDown")
    tab_to(page, "at.id === 'words'")
    now = page.evaluate("[state.now, here()]")
    page.keyboard.type("like 1 e l, warm")
    assert page.evaluate("[state.now, here()]") == now
    tab_to(page, "at.id === 'voter'")
    page.keyboard.type("Bea")
    tab_to(page, "at.id === 'send'")
    page.keyboard.press("Enter")
    mark = page.evaluate("ways[1].mark")
    key = (blind_page.parent / BLIND_KEY_NAME).read_text(encoding="utf-8")
    assert re.search(rf"^{mark} = (option \d, .+|the plain cut, put in as a check)$", key, re.M)
    text = page.input_value("#vote-text").splitlines()
    assert text == [
        "Vote on Old Song into New Song",
        f"for the one marked {mark} (heard as 2 of 4)",
        "fairly sure",
        "in my words: like 1 e l, warm",
        "from Bea",
    ]
    tab_to(page, "at.id === 'copy'")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('vote-state').textContent.startsWith('Copied')")
    assert page.troubles == []
    assert page.requests == [blind_page.as_uri()]


def test_jumping_about_is_not_hearing(open_page, blind_page):
    page = open_page(path=blind_page)
    until(page, "ways[0].sounds")
    page.evaluate("goTo(0, ways[0].exit_s - 0.1)")
    page.click("#play")
    until(page, "here() > ways[0].exit_s + 0.2")
    page.evaluate("goTo(0, ways[0].entry_s + 1.9)")
    until(page, "here() > ways[0].entry_s + 2.2")
    assert not page.evaluate("isHeard(ways[0])")
    page.click("#play")
    assert page.evaluate("ways[0].toHear.size") > 2


def test_blind_page_tells_no_name_and_no_finding(blind_page, document):
    text = blind_page.read_text(encoding="utf-8")
    run = text[text.index('id="run">') : text.index('id="listener">')]
    for record in document.candidates:
        assert record.plan.recipe not in text
    for telling in ("chords", "outline", "loudness", "weak", "score", "plain cut"):
        assert telling not in run
    assert 'class="score"' not in text


def test_pictures_of_a_blind_page_do_not_tell_the_plain_cut(open_page, blind_page):
    page = open_page(path=blind_page)
    assert page.locator(".mini .bar").count() > 0
    assert page.locator(".mini .band, .mini .wave, .mini text").count() == 0
    places = [page.locator(f"#places-{n} .place").all_inner_texts() for n in range(4)]
    assert all(len(words) == 1 and words[0].endswith("the change") for words in places)


def test_an_order_can_be_told_again_from_the_seed_of_its_vote(open_page, blind_page):
    page = open_page(path=blind_page)
    seeds = [0, 1, 2, 12345, 2**31, N_SEEDS - 1]
    found = page.evaluate(f"{seeds}.map((seed) => [3, 4, 9].map((n) => shuffledOrder(seed, n)))")
    assert found == [[shuffled_order(seed, n) for n in (3, 4, 9)] for seed in seeds]
    assert page.evaluate("order") == shuffled_order(page.evaluate("seed"), 4)


def test_orders_differ_between_listeners(open_page, blind_page):
    seeds = {open_page(path=blind_page).evaluate("seed") for _ in range(3)}
    assert len(seeds) == 3


@pytest.mark.parametrize("width", [320, 390, 1280])
def test_ballot_needs_no_sideways_scrolling(open_page, blind_page, width):
    page = open_page(path=blind_page, width=width)
    page.evaluate(f"{HEAR_ALL}; byId('vote-copy').hidden = false")
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def joined(visit, port, *, name="Ann", **look):
    page = visit(f"http://127.0.0.1:{port}/#K7MP3XQD", **look)
    page.fill("#name", name)
    page.keyboard.press("Enter")
    ready_to_vote(page)
    return page


def vote_on(page, number, words=""):
    page.evaluate(HEAR_ALL)
    page.locator('input[name="choice"]').nth(number - 1).check()
    page.locator('input[name="confidence"]').nth(2).check()
    page.fill("#words", words)
    page.click("#send")


def test_served_page_plays_and_votes_and_asks_nobody_else(serve, visit):
    port, desk = serve(is_blind=True)
    page = joined(visit, port)
    assert "#" not in page.url
    until(page, "ways.every((way) => way.sounds)")
    page.click("#play")
    until(page, "state.playing && here() > 0.3")
    vote_on(page, 2, NASTY)
    page.wait_for_selector("#results .tally")
    rank = page.evaluate("listener.ranks[ways[1].key]")
    assert page.inner_text("#my-vote").startswith("You voted for 2: certain")
    assert [(vote.choice, vote.words) for vote in kept(desk)] == [(rank, NASTY)]
    assert NASTY in page.inner_text("#results")
    assert page.locator("#results img").count() == 0
    assert page.is_disabled("#send")
    assert page.troubles == []
    assert {re.match(r"http://[^/]+/", url)[0] for url in page.requests} == {
        f"http://127.0.0.1:{port}/"
    }
    page.reload()
    page.wait_for_selector("#results .tally")
    assert page.is_disabled("#send")


def test_results_come_live_and_the_host_closes(serve, visit, run):
    port, _ = serve()
    page = joined(visit, port, name=NASTY)
    vote_on(page, 1)
    page.wait_for_selector("#results .tally")
    assert Client(port).join("Ben").post("/vote", a_vote(3, words="the ramp")).status == 200
    page.wait_for_selector("text=Ben")
    host = visit(f"http://127.0.0.1:{port}/host#{TOKEN}")
    host.wait_for_selector(".choices input", state="attached")
    assert TOKEN not in host.url
    host.locator(".choices input").nth(2).check()
    host.fill(".why", "it breathes")
    host.click(".choosing button")
    until(host, "document.querySelector('.count').textContent.startsWith('Closed with 2 votes.')")
    choice = read_document(run).choice
    assert (choice.rank, choice.why) == (3, "it breathes")
    until(page, "document.getElementById('vote-state').textContent === 'The vote is closed.'")
    assert "chosen" in page.inner_text("#results")
    assert page.troubles == host.troubles == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), [(360, 740), (1280, 800)], ids=["phone", "desk"])
def test_axe_finds_nothing_in_any_state_of_a_vote(serve, visit, width, height, scheme):
    port, _ = serve()
    look = {"viewport": {"width": width, "height": height}, "color_scheme": scheme}
    page = visit(f"http://127.0.0.1:{port}/", **look)
    page.fill("#code", "WRONG")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=That is not the code")
    assert faults_of(page) == []
    page.fill("#code", CODE)
    page.keyboard.press("Enter")
    ready_to_vote(page)
    assert faults_of(page) == []
    stranger = visit(f"http://127.0.0.1:{port}/host", **look)
    stranger.wait_for_selector("text=Open the whole address, as it was shown to you.")
    assert faults_of(stranger) == []
    host = visit(f"http://127.0.0.1:{port}/host#{TOKEN}", **look)
    host.wait_for_selector(".choices input", state="attached")
    assert faults_of(host) == []
    vote_on(page, 1, "a word " * 20 + "w" * 200)
    page.wait_for_selector("#results .tally")
    assert faults_of(page) == []
    host.wait_for_selector("text=a word", state="attached")
    host.locator("details").first.evaluate("(node) => { node.open = true; }")
    assert faults_of(host) == []
    host.locator(".choices input").nth(2).check()
    host.click(".choosing button")
    until(host, "document.querySelector('.count').textContent.startsWith('Closed')")
    until(page, "document.getElementById('vote-state').textContent === 'The vote is closed.'")
    assert faults_of(page) == faults_of(host) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280], ids=["phone", "desk"])
def test_axe_finds_nothing_on_a_blind_page_of_one_file(open_page, blind_page, width, scheme):
    page = open_page(path=blind_page, width=width, height=740, scheme=scheme)
    assert faults_of(page) == []
    page.evaluate(HEAR_ALL)
    page.locator('input[name="choice"]').nth(1).check()
    page.locator('input[name="confidence"]').nth(1).check()
    page.click("#send")
    page.wait_for_selector("#vote-copy")
    assert faults_of(page) == []


def test_phone_on_the_network_joins_by_the_code_of_the_address(run, visit):
    address = lan_address()
    if address is None:
        pytest.skip("this machine has no network to join by")
    words = [sys.executable, "-m", "segue", "audition", str(run), "--serve", "--blind", "--lan"]
    with subprocess.Popen(
        [*words, "--port", "0", "--no-open"], stdout=subprocess.PIPE, text=True
    ) as server:
        try:
            told = re.search(r"Join: (http://\S+/) with the code (\S+)", read_until(server, "Run"))
            page = visit(f"{told[1]}#{told[2]}", viewport={"width": 390, "height": 844})
            page.keyboard.press("Enter")
            ready_to_vote(page)
            until(page, "ways.every((way) => way.sounds)")
            vote_on(page, 1)
            page.wait_for_selector("#results .tally")
            assert page.troubles == []
            assert page.url == told[1]
        finally:
            server.send_signal(signal.SIGINT)
            assert "Every vote is in ballot.sqlite" in server.stdout.read()
    assert server.returncode == 0


def read_until(server, start):
    lines = []
    for line in server.stdout:
        lines.append(line)
        if line.startswith(start):
            break
    return "".join(lines)


def test_vote_is_sent_again_until_the_network_is_back(serve, visit):
    port, desk = serve()
    page = joined(visit, port)
    until(page, "ways.every((way) => way.sounds)")
    page.context.set_offline(True)
    vote_on(page, 1, "from the cellar")
    page.wait_for_selector("text=No answer yet")
    assert kept(desk) == []
    page.context.set_offline(False)
    page.wait_for_selector("text=Your vote is kept.")
    assert [vote.words for vote in kept(desk)] == ["from the cellar"]


@pytest.mark.parametrize("is_served", [True, False], ids=["served", "a file"])
def test_what_was_heard_and_typed_outlives_a_reload(serve, visit, blind_page, is_served):
    if is_served:
        port, _ = serve(is_blind=True)
        page = joined(visit, port)
    else:
        page = visit(blind_page.as_uri())
    until(page, "ways[0].sounds")
    assert "stands and cannot be changed" in page.inner_text("#stands") or not is_served
    page.evaluate("goTo(0, ways[0].exit_s)")
    page.click("#play")
    until(page, "ways[0].toHear.size < cellsToHear(ways[0]).size - 1")
    page.click("#play")
    page.locator('input[name="choice"]').nth(1).check()
    page.locator('input[name="confidence"]').nth(2).check()
    page.fill("#words", "it breathes")
    before = page.evaluate("[ways.map((way) => way.key), [...ways[0].toHear]]")
    page.reload()
    ready_to_vote(page)
    assert page.evaluate("[ways.map((way) => way.key), [...ways[0].toHear]]") == before
    assert page.evaluate("[picked('choice'), picked('confidence')]") == [1, 3]
    assert page.input_value("#words") == "it breathes"
    assert page.inner_text("#send") == "Vote for 2"


def test_policy_of_the_server_holds_inline_code(serve, visit):
    port, _ = serve()
    page = joined(visit, port)
    assert page.evaluate(
        """(() => { const block = document.createElement('script');
        block.textContent = 'window.ran = 1'; document.body.append(block);
        return window.ran === undefined; })()"""
    )
    assert any("Content Security Policy" in trouble for trouble in page.troubles)


def test_every_order_is_equally_likely(open_page, blind_page):
    n_seeds = 24_000
    orders = open_page(path=blind_page).evaluate(
        "([n, step]) => [...Array(n).keys()].map((i) => shuffledOrder(i * step, 4).join())",
        [n_seeds, N_SEEDS // n_seeds],
    )
    counts = Counter(orders)
    assert len(counts) == 24
    assert statistics.pstdev(counts.values()) < 0.1 * n_seeds / 24
