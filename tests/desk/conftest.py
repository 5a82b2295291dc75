"""A desk that is served on a small folder, and a client that sends just what it is told."""

import shutil
import threading
from contextlib import contextmanager

import pytest

from segue.audition.limits import ClientLimits
from segue.audition.network import listening_socket
from segue.cli.between import demo_folder
from segue.desk.desk_server import desk_server
from segue.desk.house import House, HouseRules
from segue.desk.own_folder import own_folder
from tests.audition import tape
from tests.audition.wire import PATIENCE_S, WIDE, Client

RENDER_PATIENCE_S = 10 * PATIENCE_S  # what is rendered takes minutes where much else goes on
SIZES = {"wide": (1280, 900), "phone": (360, 740)}
TOKEN = "a-token-of-the-tests"
SONGS = ("01 Copper Wire Morning", "02 Low Tide Telegraph")


@contextmanager
def served(folder, scratch, clients=None):
    """A desk in a thread of its own; gives its port and its house."""
    house = House(
        folder=own_folder(folder),
        token=TOKEN,
        scratch=scratch,
        rules=HouseRules(own_recipes=scratch / "recipes"),
        clients=clients or ClientLimits(WIDE),
    )
    server = desk_server(house)
    with listening_socket("127.0.0.1", 0) as sock:
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]})
        thread.start()
        try:
            yield sock.getsockname()[1], house
        finally:
            server.handle_exit(2, None)
            thread.join(PATIENCE_S)
            assert not thread.is_alive()


@pytest.fixture(scope="module", name="songs")
def _songs(tmp_path_factory):
    """A folder of two demo songs, and what is no song."""
    folder = tmp_path_factory.mktemp("desk") / "songs"
    folder.mkdir()
    for name in SONGS:
        shutil.copytree(demo_folder() / name, folder / name)
    (folder / "broken.wav").write_bytes(b"no sound at all")
    return folder


@pytest.fixture(scope="module", name="desk")
def _desk(songs, tmp_path_factory):
    with served(songs, tmp_path_factory.mktemp("scratch")) as (port, house):
        yield port, house


@pytest.fixture(name="client")
def _client(desk):
    return Client(desk[0], patience_s=RENDER_PATIENCE_S)


@pytest.fixture(scope="session", name="made")
def _made(tmp_path_factory):
    """A run folder of two quick recipes, one of them with a ramp of the tempo."""
    from segue import Wishes, between

    out = tmp_path_factory.mktemp("made") / "run"
    old, new = (demo_folder() / name for name in SONGS)
    between(old, new, out=out, wishes=Wishes(recipes=("throw and land", "tempo ramp")))
    return out


@pytest.fixture(scope="module", name="run_name")
def _run_name(songs, made):
    """A run folder in the place where the desk makes them."""
    out = songs / "segues" / "Copper Wire Morning to Low Tide Telegraph"
    shutil.copytree(made, out)
    return out.relative_to(songs).as_posix()


@pytest.fixture(name="visit")
def _visit(visit, desk):
    """A function that opens the desk in a browser of its own, on a wide screen or a phone."""

    def visit_desk(query="", *, size="wide", scheme="light"):
        width, height = SIZES[size]
        return visit(
            f"http://127.0.0.1:{desk[0]}/{TOKEN}/{query}",
            patience_s=PATIENCE_S,
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            has_touch=size == "phone",
        )

    return visit_desk


def until(page, condition):
    """Wait for a condition in the page, also for one that has to be rendered first."""
    tape.until(page, condition, RENDER_PATIENCE_S)


def faults(page):
    """What a checker of accessibility finds wrong on a page as it is now."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    return [v["id"] for v in axe.run(page).response["violations"]]


def pick(page):
    """The two songs, picked from the list and heard."""
    page.click('[aria-label="Copper Wire Morning as the old song"]')
    page.click('[aria-label="Low Tide Telegraph as the new song"]')
    until(page, "document.querySelectorAll('#ends script.values').length === 2")


def open_run(page, run_name):
    """A run that was made before, opened from the list of them."""
    page.click(f'#options [data-run="{run_name}"]')
    until(page, "document.getElementById('run-values') !== null")


HEAR_ALL = "ways.forEach((way) => way.toHear.clear()); showHeard()"


def vote_by_phone(browser, page, *, rank=3, why="it breathes"):
    """Vote from a phone at the address that the desk shows, and close the vote with a choice."""
    phone = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True).new_page()
    phone.set_default_timeout(PATIENCE_S * 1000)
    phone.goto(page.inner_text(".vote p").split()[0])
    code = page.locator(".vote .code")
    if code.count():
        phone.fill("#code", code.inner_text())
    phone.fill("#name", "Ann")
    phone.keyboard.press("Enter")
    phone.wait_for_selector(".votes a, #vote")
    if phone.locator(".votes a").count():  # an evening has a page for each segue
        phone.locator(".votes a").first.tap()
    tape.ready_to_vote(phone)
    phone.evaluate(HEAR_ALL)
    phone.locator('input[name="choice"]').nth(1).check()
    phone.locator('input[name="confidence"]').nth(2).check()
    phone.click("#send")
    phone.wait_for_selector("#results .tally")
    host = phone.context.new_page()
    host.set_default_timeout(PATIENCE_S * 1000)
    host.goto(page.get_attribute(".vote a", "href"))
    host.wait_for_selector(".choices input", state="attached")
    host.locator(".choosing").evaluate("(node) => { node.open = true; }")
    host.locator(".choices input").nth(rank - 1).check()
    host.fill(".why", why)
    host.click(".choosing button")
    host.wait_for_selector(".voted.closed")
    phone.context.close()
