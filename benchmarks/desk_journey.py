"""From an empty folder to a chosen segue of two own songs, in a browser, as somebody new would.

Run ``python -m benchmarks.desk_journey [SONG SONG]``, by default with two songs of the demo band as
single files. The installed command is started on an empty folder; everything else is pressed on the
page, in Chromium, on a wide screen and on a phone: songs are added, heard, picked; the key is put
right where it is asked, the exit moved, a rough one heard; three are made; one is shaped, compared
blind, chosen, packed; its own sound is dropped in as a take and reviewed; an evening is planned; a
vote is opened and ended. After each step a checker of accessibility looks at the page.

Leaves with 1 where the way to the choice takes more than five minutes, a step fails, the checker
finds something, the console says anything, or something is asked of another machine. Times are by
the clock, and what the desk's processes worked meanwhile, which the load of the machine does not
change. ``--pictures FOLDER`` keeps what was seen.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import soundfile
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

from benchmarks._desk_hands import Desk
from segue.audio import read_song
from segue.cli.between import demo_pair

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

SIZES: Final = {"wide": (1280, 900, "light"), "phone": (360, 740, "dark")}
REACH_S: Final = 300.0  # to the choice
PATIENCE_S: Final = 1800.0
WHOLE_S: Final = 3600.0  # more than any song
RATE_HZ: Final = 48_000
FLAGS: Final = ("--no-sandbox", "--disable-gpu", "--autoplay-policy=no-user-gesture-required")


@dataclass
class Journey:
    """A page and what came of each step on it.

    Parameters
    ----------
    took_s, worked_s : dict
        Seconds of each step, by the clock and of the desk's processors.
    faults : list
        What is not as it must be.
    pictures : Path or None
        Where a picture of each step is kept.
    """

    page: Page
    desk: Desk
    name: str
    pictures: Path | None
    took_s: dict[str, float] = field(default_factory=dict)
    worked_s: dict[str, float] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def step(self, words: str, act: Callable[[], Any]) -> None:
        """Do something, and look at the page after it."""
        begun, worked_s = time.perf_counter(), self.desk.processor_s()
        act()
        self.took_s[words] = time.perf_counter() - begun
        self.worked_s[words] = self.desk.processor_s() - worked_s
        found = [v["id"] for v in Axe().run(self.page).response["violations"]]
        self.faults += [f"{self.name}, {words}: {one}" for one in found]
        width = self.page.viewport_size["width"] if self.page.viewport_size else 0
        if self.page.evaluate("document.documentElement.scrollWidth") > width:
            self.faults.append(f"{self.name}, {words}: wider than the screen")
        if self.pictures is not None:
            n = len(self.took_s)
            self.page.screenshot(path=self.pictures / f"{self.name} {n:02d} {words}.png")

    def until(self, condition: str) -> None:
        """Wait until something holds on the page."""
        end = time.monotonic() + PATIENCE_S
        while not self.page.evaluate(condition):
            if time.monotonic() > end:
                raise SystemExit(f"{self.name}: {condition} did not come true")
            self.page.wait_for_timeout(50)

    def until_plays(self, words: str) -> None:
        """Wait until the page says that something plays, and stop it."""
        self.until(f"document.getElementById('playing').textContent.includes('{words}')")
        self.page.keyboard.press("Escape")


def to_the_choice(journey: Journey, songs: tuple[Path, Path]) -> None:
    """What somebody new does until one is chosen."""
    page = journey.page
    both = "document.querySelectorAll('#ends script.values').length === 2"

    def add() -> None:
        page.set_input_files("#drop-files", list(songs))
        journey.until(both)

    def hear_rough() -> None:
        page.click("#rough")
        journey.until_plays("rough")

    def make() -> None:
        page.click("#make")
        journey.until("document.querySelector('[data-draft]') !== null")
        page.click("[data-draft]")
        journey.until_plays("rough")

    def choose() -> None:
        page.click('[data-hear="0"]')
        journey.until("document.getElementById('playing').textContent.includes('bar')")
        page.keyboard.press("Escape")
        page.click('[data-choose="1"]')
        journey.until("document.querySelector('.chosen') !== null")

    journey.step("two songs added and heard", add)
    journey.step("a rough one heard", hear_rough)
    journey.step("Make pressed, the rough option heard", make)
    made = "document.getElementById('run-values') !== null"
    journey.step("all three made", lambda: journey.until(made))
    journey.step("option 1 heard and chosen", choose)


def by_hand(journey: Journey) -> None:
    """Facts put right, places moved, an option shaped."""
    page = journey.page

    def put_right() -> None:
        page.click("#end-start .right > summary")
        page.select_option('#end-start [data-say="key"]', index=1)
        given = "document.querySelector('#end-start [data-given=\"key\"]') !== null"
        journey.until(given)

    def move_exit() -> None:
        marker = page.locator("#strip-end .marker")
        marker.focus()
        page.keyboard.press("PageDown")
        page.click("#rough")
        journey.until_plays("rough")

    def shape() -> None:
        page.click("#way-0 .change > summary")
        page.click("#way-0 [data-solo]")
        journey.until_plays("alone")
        page.locator('#way-0 [data-part="level"]').first.focus()
        page.keyboard.press("ArrowLeft")
        page.click("#way-0 [data-rough]")
        journey.until_plays("Draft")
        page.click("#way-0 [data-shape]")
        journey.until("document.querySelector('[data-label=\"1b\"]') !== null")
        page.keyboard.press("Escape")

    def compare() -> None:
        page.check("#blind")
        page.click("#play-way")
        journey.until("document.getElementById('playing').textContent.startsWith('option')")
        page.keyboard.press("2")
        page.keyboard.press("Escape")
        page.uncheck("#blind")

    journey.step("a key put right", put_right)
    journey.step("the exit moved, and heard roughly", move_exit)
    journey.step("shaped, and a version made", shape)
    journey.step("compared blind", compare)


def to_the_stage(journey: Journey) -> None:
    """The pack, the evening and the vote."""
    page = journey.page

    def pack() -> None:
        with page.expect_download(timeout=PATIENCE_S * 1000):
            page.click("#pack")

    def evening() -> None:
        page.click("#new-set")
        journey.until("document.querySelector('#set-list') !== null")
        page.click("#plan-evening")
        journey.until("document.querySelector('.running') !== null")

    def vote() -> None:
        page.click("#vote")
        journey.until("document.querySelector('.vote') !== null")
        page.click("#vote")
        journey.until("document.querySelector('.vote') === null")

    journey.step("packed", pack)
    journey.step("an evening planned", evening)
    journey.step("a vote opened and ended", vote)


def review(journey: Journey, folder: Path) -> None:
    """The option's own sound, as a take."""
    page = journey.page
    music = next(
        p for p in folder.glob("segues/*/1 *.wav") if not p.stem.endswith((" click", " cue"))
    )

    def drop() -> None:
        page.set_input_files("#take-file", music)
        journey.until("document.getElementById('take-told').textContent.includes('Next time')")

    journey.step("a take dropped in and reviewed", drop)


def single_files(place: Path) -> tuple[Path, Path]:
    """Two songs of the demo band, each as one file."""
    made = []
    for song in demo_pair():
        whole = read_song(song, edge="end", edge_s=WHOLE_S, rate_hz=RATE_HZ).mix
        path = place / f"{song.name}.wav"
        soundfile.write(path, whole.samples.clip(-1, 1), RATE_HZ, subtype="PCM_16")
        made.append(path)
    return made[0], made[1]


def main() -> int:
    """Print the steps; 1 where something is not as it must be."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("songs", nargs="*", type=Path, help="two songs")
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--sizes", nargs="*", default=list(SIZES), choices=list(SIZES))
    asked = parser.parse_args()
    chromium = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
    faults: list[str] = []
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        songs = tuple(asked.songs) or single_files(Path(place))
        browser = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        for size in asked.sizes:
            faults += travelled(browser, size, songs, asked.pictures)
    print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for fault in faults:
        print(f"fault: {fault}")
    return int(bool(faults))


def travelled(
    browser: Any,  # noqa: ANN401 - the driver's
    size: str,
    songs: tuple[Path, ...],
    pictures: Path | None,
) -> list[str]:
    """One journey; what is not as it must be."""
    width, height, scheme = SIZES[size]
    with tempfile.TemporaryDirectory() as empty:
        folder = Path(empty) / "songs"
        folder.mkdir()
        desk = Desk(folder)
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme
        )
        page = context.new_page()
        page.set_default_timeout(PATIENCE_S * 1000)
        troubles: list[str] = []
        page.on("console", lambda m: m.type in ("error", "warning") and troubles.append(m.text))
        page.on("pageerror", lambda error: troubles.append(str(error)))
        page.on(
            "request",
            lambda r: (
                None
                if r.url.startswith(("http://127.0.0.1:", "blob:", "data:"))
                else troubles.append(f"asked {r.url}")
            ),
        )
        journey = Journey(page=page, desk=desk, name=size, pictures=pictures)
        try:
            address = f"http://127.0.0.1:{desk.port}/{desk.token}/"
            journey.step("the desk opened on an empty folder", lambda: page.goto(address))
            to_the_choice(journey, (songs[0], songs[1]))
            chosen_s = sum(journey.took_s.values())
            by_hand(journey)
            to_the_stage(journey)
            review(journey, folder)
        finally:
            context.close()
            desk.kill()
    print(f"\n{size}, {width} px, {scheme:28s}   clock  processors")
    for words, seconds in journey.took_s.items():
        print(f"  {words:42s} {seconds:7.1f} s {journey.worked_s[words]:7.1f} s")
    print(f"  {'to the choice, together':42s} {chosen_s:7.1f} s (reach {REACH_S:.0f} s)")
    faults = journey.faults + [f"{size}: {words}" for words in troubles]
    if chosen_s > REACH_S:
        faults.append(f"{size}: the way to the choice took {chosen_s:.0f} s")
    return faults


if __name__ == "__main__":
    sys.exit(main())
