"""Planning: two sets of facts and a recipe in, a `Plan` in beats out.

`proposals` picks recipes of different families that suit the pair, `plan_segue`
lays one out: where the old song is left and the new one entered, the tempo
curve between them, the chords, the layers, the click and the cue.
"""

from segue.plan.build import plan_segue
from segue.plan.plan import Plan
from segue.plan.propose import Given, proposals, suitability

__all__ = ["Given", "Plan", "plan_segue", "proposals", "suitability"]
