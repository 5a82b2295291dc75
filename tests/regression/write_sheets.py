"""Cue sheets on paper and an invented evening: ``python -m tests.regression.write_sheets``.

What stands where on a printed page, every line of the sheets, every event of the MIDI file, the
drawing of the evening, its tempo map and the words of its page, for plans of a few recipes.
"""

from dataclasses import asdict, replace
from functools import cache
from io import BytesIO
from pathlib import Path

from mido import MidiFile

from segue.analysis.facts import FirstNote
from segue.plan import plan_segue
from segue.recipes import load_recipes, shelf_folder
from segue.setlist.evening import timed
from segue.setlist.show.evening_drawing import evening_drawing
from segue.setlist.show.evening_pack import front_page, map_of, places_of, sheets_of
from segue.setlist.show.evening_page import evening_page_text
from segue.setlist.show.rows import rows_of
from segue.stage.cue_sheet import cue_sheet
from segue.stage.in_evening import FrontPage
from segue.stage.midi import midi_bytes
from segue.stage.midi_score import markers_of
from segue.stage.pack import CHANNELS
from segue.stage.sheet_pages import PAPER_INCHES, _Page
from tests.plan.song_facts import end_facts, start_facts
from tests.plan.write_golden import rounded
from tests.regression.kept import words_of, write
from tests.setlist.an_evening import edges, evening_of

NAME = "sheets.json"
RECIPES = ("tempo ramp", "pad in the new key", "stop and count-in", "talk bed")
OLD = replace(end_facts("E minor", 124.0), title="Copper")
WALTZ = replace(
    start_facts("Bb major", 112.0, metre=3, kind="pick-up", pickup_beats=1.0),
    title="Marigold",
    first_note=FirstNote(midi=46.2, time_s=6.0),
)
HIGH = replace(
    start_facts("F minor", 96.0), title="Low Tide", first_note=FirstNote(midi=81.0, time_s=5.0)
)


class _Kept:
    """Takes the pages that a sheet is written on as what stands where, in inches."""

    def __init__(self, paper):
        self.size = PAPER_INCHES[paper]
        self.pages = []

    def savefig(self, figure):
        width, height = self.size
        words = [
            [
                t.get_position()[0] * width,
                t.get_position()[1] * height,
                t.get_fontsize(),
                t.get_text(),
                t.get_weight(),
                t.get_ha(),
            ]
            for t in figure.texts
        ]
        lines = [
            [
                [x * width for x in line.get_xdata()][:9],
                [y * height for y in line.get_ydata()][:9],
                line.get_linewidth(),
            ]
            for line in figure.artists
            if hasattr(line, "get_xdata")
        ]
        heads = [
            [head.center[0] * width, head.center[1] * height, head.width, head.height]
            for head in figure.artists
            if hasattr(head, "center")
        ]
        self.pages.append({"words": words, "lines": lines, "heads": heads})


def on_paper(written, paper):
    kept = _Kept(paper)
    for one in written:
        page = _Page(kept, PAPER_INCHES[paper])
        (page.write_front if isinstance(one, FrontPage) else page.write_sheet)(one)
        page.finish()
    return rounded(kept.pages)


@cache
def recipes():
    return {recipe.name: recipe for recipe in load_recipes(shelf_folder())}


def sheet(recipe, new, paper):
    plan = plan_segue(recipes()[recipe], OLD, new, talk_s=20.0 if recipe == "talk bed" else None)
    made = cue_sheet(plan, outgoing=OLD, incoming=new, channels=CHANNELS, in_ear_dba=92.0)
    told = {"sheet": rounded(asdict(made)), "paper": on_paper([made], paper)}
    return told | ({"midi": in_the_file(plan)} if paper == "a4" else {})


def in_the_file(plan):
    """Everything in the tempo map of a plan, track by track, as mido reads it."""
    markers = markers_of(plan, from_title=OLD.title, to_title="New")
    read = MidiFile(file=BytesIO(midi_bytes(plan, markers)))
    return {
        "ticks a beat": read.ticks_per_beat,
        **{track.name: [str(message) for message in track] for track in read.tracks},
    }


def evenings():
    """One as it is, one with a plain stop and talk, one whose middle song changes its tempo."""
    plain = evening_of(recipes())
    stop = replace(
        plain.joins[0], is_segue=False, folder="", document=None, talk_s=25.0, changeover_s=40.0
    )
    stopped = timed(replace(plain, joins=(stop, plain.joins[1]), slot_s=None))
    changing = evening_of(recipes(), both=edges(middle_bpm=92.0, middle_end_bpm=100.0))
    return {"plain": plain, "a stop": stopped, "a changing tempo": changing}


def evening(name):
    one = evenings()[name]
    rows, played = rows_of(one), map_of(one)
    where = places_of(one, played)
    front = front_page(rows, notes=played.notes, in_ear_dba=None)
    sheets = sheets_of(rows, channels=CHANNELS, where=where)
    return rounded(
        {
            "drawing": {
                layout: [
                    [type(shape).__name__, *asdict(shape).values()]
                    for shape in evening_drawing(rows, layout).shapes
                ]
                for layout in ("broad", "file")
            },
            "map": asdict(played),
            "page": words_of(evening_page_text(Path("friday"), rows)),
            "paper": on_paper([front, *sheets], "letter"),
        }
    )


SHEETS = {
    f"{recipe} to {new.title} on {paper}": (recipe, new, paper)
    for recipe in RECIPES
    for new, paper in ((WALTZ, "a4"), (HIGH, "letter"))
}


def values():
    return {
        **{name: sheet(*case) for name, case in SHEETS.items()},
        **{name: evening(name) for name in evenings()},
    }


if __name__ == "__main__":
    write(NAME, values())
