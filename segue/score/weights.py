"""How much each measure counts, for each purpose: the one table.

The overall score is the mean of the measures present, weighted by these.
Numbers began by judgement and by what work on joins agrees on: beat and tempo
first, then the bar, then harmony as heard, then voices, then level and
spectrum. Those of holes, levels, drive, pulse, grooves, tuning, phrases, last
chords, bar one and talk beds were then fitted on better and worse segues of real
songs, and tried on segues of other songs (`benchmarks.score --fit`), and the others
raised by a quarter, so that their share of the total stayed as it was. That of the match of level
was raised by half, since of songs that lie far apart its marks tell little; the way of the harmony
and where it lands count alike enough for the order of published distances of keys; two grooves
count as two tunings do, and whether it calms as whether it lifts. Faults that nobody forgives (a
click in the room, clipping) have steep scores: their weight is lost at once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal, get_args

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from segue.score.scorecard import Measure

Purpose = Literal["talk", "lift", "calm", "dance"]
PURPOSES: Final[tuple[Purpose, ...]] = get_args(Purpose)

# fmt: off
WEIGHTS: Final[dict[str, dict[Purpose | None, float]]] = {
    # measure           balanced   talk        lift        calm        dance
    "key_distance":    {None: 0.4, "talk": 0.3,  "lift": 0.4,  "calm": 0.4,  "dance": 0.3},
    "tonal_path":      {None: 1.8, "talk": 1.0,  "lift": 1.6,  "calm": 2.5,  "dance": 1.0},
    "landing":         {None: 2.5, "talk": 2.5,  "lift": 2.5,  "calm": 3.1,  "dance": 2.5},
    "consonance":      {None: 1.9, "talk": 1.9,  "lift": 1.5,  "calm": 3.1,  "dance": 1.9},
    "tuning":          {None: 2.2, "talk": 2.2,  "lift": 2.2,  "calm": 2.9,  "dance": 2.2},
    "key_arrival":     {None: 1.9, "talk": 1.9,  "lift": 1.9,  "calm": 1.9,  "dance": 1.0},
    "old_key":         {None: 1.0, "talk": 1.0,  "lift": 1.0,  "calm": 1.0,  "dance": 0.5},
    "cadence":         {None: 1.0, "talk": 0.5,  "lift": 1.0,  "calm": 1.0,  "dance": 0.4},
    "runway":          {None: 1.5, "talk": 1.9,  "lift": 1.5,  "calm": 1.5,  "dance": 1.0},
    "tempo_change":    {None: 1.9, "talk": 0.6,  "lift": 1.9,  "calm": 1.9,  "dance": 3.1},
    "steady_beats":    {None: 1.5, "talk": 1.0,  "lift": 1.5,  "calm": 1.0,  "dance": 2.2},
    "entry_timing":    {None: 2.1, "talk": 1.3,  "lift": 2.1,  "calm": 1.3,  "dance": 2.9},
    "bar_line":        {None: 1.0, "talk": 0.6,  "lift": 1.0,  "calm": 0.6,  "dance": 1.2},
    "pulse":           {None: 2.2, "talk": 0.2,  "lift": 2.2,  "calm": 0.3,  "dance": 4.5},
    "fill":            {None: 0.7, "talk": 0.2,  "lift": 1.4,  "calm": 0.2,  "dance": 1.4},
    "groove_clash":    {None: 2.2, "talk": 1.3,  "lift": 2.2,  "calm": 2.2,  "dance": 3.3},
    "hole":            {None: 4.2, "talk": 4.2,  "lift": 4.2,  "calm": 3.5,  "dance": 4.9},
    "cliff":           {None: 1.6, "talk": 1.2,  "lift": 0.9,  "calm": 2.0,  "dance": 1.6},
    "bar_one":         {None: 1.5, "talk": 0.5,  "lift": 1.2,  "calm": 1.5,  "dance": 2.1},
    "drive":           {None: 2.6, "talk": 1.3,  "lift": 15.5, "calm": 15.5, "dance": 6.5},
    "fullness":        {None: 2.5, "talk": 0.6,  "lift": 2.5,  "calm": 1.5,  "dance": 3.1},
    "speech_level":    {None: 0.7, "talk": 3.0,  "lift": 0.4,  "calm": 0.4,  "dance": 0.4},
    "speech_room":     {None: 1.0, "talk": 4.0,  "lift": 0.6,  "calm": 0.6,  "dance": 0.6},
    "talk_length":     {None: 0.5, "talk": 2.0,  "lift": 0.3,  "calm": 0.3,  "dance": 0.3},
    "level_match":     {None: 4.2, "talk": 2.7,  "lift": 2.7,  "calm": 4.2,  "dance": 4.2},
    "brightness":      {None: 0.9, "talk": 0.6,  "lift": 0.6,  "calm": 1.2,  "dance": 0.6},
    "low_end":         {None: 1.5, "talk": 1.0,  "lift": 1.5,  "calm": 1.5,  "dance": 2.5},
    "voices":          {None: 1.9, "talk": 3.1,  "lift": 1.9,  "calm": 1.9,  "dance": 1.9},
    "phrase":          {None: 3.9, "talk": 2.6,  "lift": 3.9,  "calm": 3.3,  "dance": 5.9},
    "last_chord":      {None: 2.5, "talk": 2.5,  "lift": 1.9,  "calm": 3.2,  "dance": 1.3},
    "own_music":       {None: 0.4, "talk": 0.2,  "lift": 0.4,  "calm": 0.4,  "dance": 0.4},
    "true_peak":       {None: 0.5, "talk": 0.5,  "lift": 0.5,  "calm": 0.5,  "dance": 0.5},
    "clipping":        {None: 1.2, "talk": 1.2,  "lift": 1.2,  "calm": 1.2,  "dance": 1.2},
    "click_leak":      {None: 1.2, "talk": 1.2,  "lift": 1.2,  "calm": 1.2,  "dance": 1.2},
}
"""Weight of each measure: balanced (None), to talk over, to lift, to calm, to dance to."""
# fmt: on


def weights_for(purpose: Purpose | None) -> dict[str, float]:
    """The column of the table for a purpose; None is balanced."""
    return {name: row[purpose] for name, row in WEIGHTS.items()}


def costs(measures: Sequence[Measure], *, weights: Mapping[str, float]) -> dict[str, float]:
    """By how much each mark keeps the overall score below 1, by name; together they are all of it.

    What has no weight, as in runs of before a measure was given up, costs nothing.
    """
    total = sum(weights.get(m.name, 0.0) for m in measures)
    return {
        m.name: weights.get(m.name, 0.0) * (1.0 - m.score) / total if total > 0 else 0.0
        for m in measures
    }


def costliest_first(
    measures: Sequence[Measure], *, weights: Mapping[str, float]
) -> tuple[Measure, ...]:
    """The measures in the order of what they cost the overall score; equals by their marks."""
    cost = costs(measures, weights=weights)
    return tuple(sorted(measures, key=lambda m: (-cost[m.name], m.score)))


def overall(measures: Iterable[Measure], *, weights: Mapping[str, float]) -> float:
    """Weighted mean of the scores present, 0..1; 0 where there is none."""
    pairs = [(weights[m.name], m.score) for m in measures]
    total = sum(weight for weight, _ in pairs)
    return sum(weight * score for weight, score in pairs) / total if total > 0 else 0.0
