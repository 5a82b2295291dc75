"""Draw the desk for the README: ``python -m tests.desk.write_picture``.

It opens a desk on the demo band in Chromium, picks two songs, makes two quick options and takes a
picture of the page as it stands.
"""

import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from segue import Wishes, between
from segue.cli.between import demo_folder
from tests.conftest import BROWSERS, FLAGS
from tests.desk.conftest import SONGS, TOKEN, open_run, pick, served

PICTURE = Path(__file__).parents[2] / "docs" / "desk.png"
WIDTH, HEIGHT = 1280, 1120
RECIPES = ("tempo ramp", "build", "groove in first")


def main():
    """Write the picture."""
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        songs = Path(place) / "songs"
        for song in sorted(demo_folder().glob("0*")):
            shutil.copytree(song, songs / song.name)
        run = songs / "segues" / "Copper Wire Morning to Low Tide Telegraph"
        old, new = (songs / name for name in SONGS)
        between(old, new, out=run, wishes=Wishes(recipes=RECIPES))
        path = next(filter(None, map(shutil.which, BROWSERS)))
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        with served(songs, Path(place)) as (port, house):
            page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
            page.troubles = []
            page.goto(f"http://127.0.0.1:{port}/{TOKEN}/")
            pick(page)
            open_run(page, house.folder.name_of(run))
            page.evaluate("window.scrollTo(0, 0)")
            page.wait_for_timeout(500)
            page.screenshot(path=PICTURE)
        browser.close()


if __name__ == "__main__":
    sys.exit(main())
