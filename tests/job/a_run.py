"""A run without sound, whose options can be changed on paper."""

from dataclasses import replace

from segue.plan import plan_segue
from segue.plan.places_asked import PlacesAsked
from segue.runfolder import Making, RunDocument, RunSources, SongSource, Version
from segue.score.scorecard import Scorecard
from tests.plan.song_facts import end_facts, start_facts
from tests.runfolder.records import record_of

RECIPES = (
    "pad in the new key", "groove in first", "tempo ramp", "drum break", "throw and land",
    "build", "breakdown and rebuild", "drone on the common tone",
)  # fmt: skip
"""Of the options, in the order of their numbers."""


def document_of(shelf, old=None, new=None, recipes=RECIPES):
    """An option of each recipe, and of the first a version, 1b."""
    old, new = old or end_facts(), new or start_facts(first_note_s=5.0)
    options = [_record(shelf[name], old, new, n) for n, name in enumerate(recipes, start=1)]
    version = replace(
        options[0],
        rank=len(options) + 1,
        music_file="1b.wav",
        version=Version(option=1, letters="b", of="1", changes=("8 bars",)),
    )
    return RunDocument(
        schema_version=1,
        segue_version="0",
        rate_hz=48_000,
        outgoing=old,
        incoming=new,
        candidates=(*options, version),
        sources=RunSources(
            outgoing=SongSource(path="/songs/old.wav", sound="0a", has_stems=False),
            incoming=SongSource(path="/songs/new.wav", sound="0b", has_stems=False),
            edge_s=45.0,
        ),
    )


def _record(recipe, old, new, rank):
    plan = plan_segue(recipe, old, new)
    card = Scorecard(measures=(), overall=0.5)
    made = Making(recipe=recipe, asked=PlacesAsked())
    return record_of(plan, rank, scorecard=card, made=made)
