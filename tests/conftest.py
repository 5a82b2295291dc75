"""Settings and fixtures of the whole test suite."""

import os
import shutil
import signal

import pytest
from hypothesis import settings

if "PYTEST_XDIST_WORKER" in os.environ:
    # Read when the libraries are first imported. Every processor has a worker of its own, so
    # further threads would only wait for each other.
    for name in ("OMP", "OPENBLAS", "MKL"):
        os.environ.setdefault(f"{name}_NUM_THREADS", "1")

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell has its background jobs ignore Ctrl-C, and programs started from here would too.
    signal.signal(signal.SIGINT, signal.default_int_handler)

BROWSERS = ("chromium", "chromium-browser", "google-chrome-stable")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

settings.register_profile("segue", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("segue")


@pytest.fixture(scope="session", autouse=True)
def _own_cache(tmp_path_factory):
    """What tests hear stays out of the user's cache, and the user's cache out of tests."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SEGUE_CACHE", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture(scope="session")
def shelf():
    from segue.recipes import load_recipes, shelf_folder

    return {recipe.name: recipe for recipe in load_recipes(shelf_folder())}


@pytest.fixture(scope="session", name="browser")
def _browser():
    """One browser for the whole run: two drivers in one thread get in each other's way."""
    sync_api = pytest.importorskip(
        "playwright.sync_api", reason="pages are tried in a browser driven by playwright"
    )
    path = next(filter(None, map(shutil.which, BROWSERS)), None)
    if path is None:
        pytest.skip("no Chromium found to try pages in")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def watched():
    """A function that gives a new page of a browser; what it logs and requests is kept on it."""

    def watched_page(context):
        page = context.new_page()
        page.troubles, page.requests = [], []
        page.on(
            "console", lambda m: m.type in ("error", "warning") and page.troubles.append(m.text)
        )
        page.on("pageerror", lambda error: page.troubles.append(str(error)))
        page.on("dialog", lambda dialog: page.troubles.append(dialog.message))
        page.on("request", lambda request: page.requests.append(request.url))
        return page

    return watched_page


@pytest.fixture(name="visit")
def _visit(browser, watched):
    """A function that opens an address as a new visitor."""
    contexts = []

    def visit(url, *, patience_s=None, **look):
        context = browser.new_context(**look)
        contexts.append(context)
        page = watched(context)
        if patience_s is not None:
            page.set_default_timeout(patience_s * 1000)
        page.goto(url)
        return page

    yield visit
    for context in contexts:
        context.close()
