"""Write the golden plans anew: ``python -m tests.plan.write_golden`` from the checkout.

Do so after a change that is meant, and read the difference before keeping it.
"""

import json
from dataclasses import asdict, replace
from pathlib import Path

from segue.analysis.structure_facts import LoopFact
from segue.plan import plan_segue
from segue.recipes import load_recipes, shelf_folder
from tests.plan.song_facts import end_facts, start_facts

FOLDER = Path(__file__).parent / "golden"
TALK_S = 25.0

FAR = (
    end_facts("E minor", 124.0, kind="keeps going"),
    start_facts("F minor", 96.0, kind="on the beat", first_note_s=10.2),
)
CLOSE = (
    end_facts("A minor", 100.0, kind="ring-out", last_hit_beats_before_end=4.0),
    start_facts("C major", 103.0, kind="pick-up", pickup_beats=1.0, first_note_s=10.2),
)
"""A far pair, and a near one for recipes that are at home with close keys."""


def _loop(downbeats_s, first, n_bars, *, voice, drums, late_s):
    """Bars of a song as its loop, heard a little beside the bar lines."""
    return LoopFact(
        start_s=downbeats_s[first] + late_s,
        end_s=downbeats_s[first + n_bars] + late_s,
        n_bars=n_bars,
        quality=0.8,
        seam_db=3.0,
        repeats=0.8,
        steady_db=2.0,
        voice=voice,
        drums=drums,
    )


def _played(facts, *, first):
    """The same song with players who are a little off the line, and with loops."""
    pulse = facts.pulse
    beats_s = tuple(t + 0.002 * (-1) ** n for n, t in enumerate(pulse.beats_s))
    pulse = replace(pulse, beats_s=beats_s, downbeats_s=beats_s[:: pulse.metre])
    loops = (
        _loop(pulse.downbeats_s, first, 1, voice=0.9, drums=0.9, late_s=0.0),
        _loop(pulse.downbeats_s, first, 2, voice=0.1, drums=0.2, late_s=0.02),
        _loop(pulse.downbeats_s, first + 1, 4, voice=0.3, drums=0.8, late_s=-0.02),
    )
    return replace(facts, pulse=pulse, loops=loops)


WALTZ = (
    _played(end_facts("F# minor", 92.0, metre=3, kind="cold stop"), first=9),
    _played(start_facts("D major", 88.0, metre=3, first_note_s=13.0), first=1),
)
"""In three, near in tempo, with loops of which some lie 20 ms beside the bar line."""
NEAR_KEYS = 0.5
"""Recipes for key distances up to here get the near pair too."""


def pairs_of(recipe):
    """Names and facts of the pairs that a recipe has a golden plan for."""
    near = recipe.suits.key_distance[1] <= NEAR_KEYS
    return {"far": FAR, "waltz": WALTZ, **({"near": CLOSE} if near else {})}


def golden_text(recipe):
    """The plans of one recipe as text; times to the microsecond."""
    plans = {
        name: asdict(plan_segue(recipe, *pair, talk_s=_talk_s(recipe)))
        for name, pair in pairs_of(recipe).items()
    }
    return json.dumps(rounded(plans), indent=1, ensure_ascii=False) + "\n"


def path_of(recipe):
    return FOLDER / f"{recipe.name}.json"


def _talk_s(recipe):
    return TALK_S if recipe.suits.talk == "yes" else None


def rounded(value):
    if isinstance(value, float):
        return round(value, 6) + 0.0
    if isinstance(value, dict):
        return {key: rounded(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(part) for part in value]
    return value


def main():
    FOLDER.mkdir(exist_ok=True)
    for recipe in load_recipes(shelf_folder()):
        path_of(recipe).write_text(golden_text(recipe), encoding="utf-8")


if __name__ == "__main__":
    main()
