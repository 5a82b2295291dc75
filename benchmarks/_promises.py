"""What the recipes of the shelf promise, and whether it is heard."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from segue.job.shortlist import MOST_HOLE_S, carrier_of, lifts
from segue.score.bridge import bridge_of
from segue.score.holes import hole
from segue.score.listening_to import hear

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.plan import Plan
    from segue.recipes import Recipe
    from segue.render.candidate import Candidate

LOOSE_LU: Final = 3.0
"""A bridge lies this close to the level that its recipe says."""
CHORD_SHARE: Final = 0.45
"""Of the power between 55 and 1000 Hz so much lies on the tones of the planned chord; three or
four tones of twelve have 0.25 to 0.33 by chance."""


def promises_broken(
    recipe: Recipe, made: Candidate, facts: tuple[EdgeFacts, EdgeFacts]
) -> list[str]:
    """What a recipe promises and is not heard."""
    bridge = bridge_of(made.plan, made.music)
    level, carrier = recipe.level, carrier_of(recipe)
    found = []
    if carrier in ("drums", "played") and bridge.length_s > 2 and bridge.is_static:
        found.append(f"no beat (pulse {bridge.pulse:.2f})")
    middle_lu = float(np.median([p.value for p in made.plan.bridge_lu]))
    if level.rise_bars < 0 and abs(-bridge.below_lu - middle_lu) > LOOSE_LU + 1:
        found.append(f"level {-bridge.below_lu:+.1f} LU for {middle_lu:+.1f}")
    if level.entry_lu - level.exit_lu >= 5 and level.rise_bars < 0 and bridge.rise_lu < 2:
        found.append(f"rises by {bridge.rise_lu:.1f} LU only")
    if recipe.suits.energy == "up" and carrier != "held" and not lifts(bridge):
        found.append(f"no lift ({bridge.rise_lu:+.1f} LU)")
    silent_s = hole(hear(made, *facts)).value
    if silent_s > MOST_HOLE_S:
        found.append(f"silent for {silent_s:.1f} s")
    share = chord_share(made)
    if share is not None and share < CHORD_SHARE:
        found.append(f"chords not heard ({share:.2f} of the power)")
    return found


def chord_share(made: Candidate) -> float | None:
    """Share of what was made for the join that lies on the planned chords; None without any."""
    plan: Plan = made.plan
    rate_hz = made.music.rate_hz
    inside, total = 0.0, 0.0
    for voicing in plan.voicings:
        low, high = (
            round(plan.seconds_at(beat) * rate_hz)
            for beat in (
                max(voicing.start_beat, plan.exit_beat),
                min(voicing.end_beat, plan.entry_beat),
            )
        )
        part = made.interlude.samples[low:high].mean(axis=1)
        if len(part) < rate_hz // 2 or not voicing.roman_to:
            continue
        power = np.square(np.abs(np.fft.rfft(part * np.hanning(len(part)))))
        hertz = np.fft.rfftfreq(len(part), 1 / rate_hz)
        heard = (hertz > 55) & (hertz < 1000)
        cents = plan.key_to_tuning_cents / 100
        tones = np.round(69 + 12 * np.log2(np.maximum(hertz, 1.0) / 440) - cents).astype(int) % 12
        own = np.isin(tones, [midi % 12 for midi in voicing.notes_midi])
        inside += float(power[heard & own].sum())
        total += float(power[heard].sum())
    return inside / total if total > 0 else None
