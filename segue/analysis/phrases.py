"""Where groups of four bars start.

Three things tell: where the edge begins or ends (songs begin with a group and end with one), where
players or a part set in or leave off, and where what sounds changes from bar to bar. Groups are
counted from the clearest change on, and start anew at each.

In 197 songs of the rock corpus 64 % of all sections have a number of bars that four divides, and
the groups counted from the edge alone fall on section starts in 64 % (ends) and 67 % (starts);
counted from a true section border in 76 to 89 %.

References
----------
.. [TC13] D. Temperley and T. de Clercq, "Statistical Analysis of Harmony and Melody in Rock
   Music", Journal of New Music Research 42(3), 2013, 187-204.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.facts import Ending
from segue.analysis.structure_facts import PhraseFact

if TYPE_CHECKING:
    import numpy.typing as npt

    from segue.analysis.bar_features import BarFeatures
    from segue.analysis.facts import Opening

    Floats = npt.NDArray[np.float64]

GROUP_BARS: Final = 4  # bars of a group: four divides most sections of [TC13]_'s songs, see above
_LEAST_BARS: Final = 6  # with fewer bars no groups are heard; by judgement
# mel bands at which four wide ones begin and end; by judgement
_BAND_EDGES: Final = (0, 3, 8, 20, 40)
_LOOK_BARS: Final = 2  # bars after and before whose level is compared; by judgement
_BLOCK_BARS: Final = 4  # bars after and before whose likeness is compared; by judgement

# Odds, as natural logarithms, chosen on one half of the songs of benchmarks.phrase_truth.
_EDGE_ODDS: Final = {"start": 1.5, "end": 0.4}
_NOVELTY_ODDS: Final = 0.6  # for each deviation by which what sounds changes
_REPEAT_ODDS: Final = 0.4  # for each deviation by which repeats begin or end
_STEP_ODDS: Final = 0.3  # for each deviation by which the level steps
_MOST_ODDS: Final = 2.5  # deviations: a bar line counts with no more of each
_BOUNDARY_STEP_DB: Final = 6.0  # least step of the level at a clear boundary
_LEAST_STEP: Final = 0.15  # least change of likeness where a repeat begins or ends
_BOUNDARY_Z: Final = 3.0  # deviations of change and step together that a clear boundary exceeds
_DOUBT_CLEAR: Final = 0.15  # share of doubt where all clear boundaries agree
_DOUBT: Final = 0.45
"""How much of the odds is not believed, with and without a change that nobody would miss: from
chords and repetition alone groups are right in half of the songs."""
_ENOUGH_SIGNS: Final = 2
"""So many clear changes, the song's own edge among them, must say the same and none another."""


def hear_phrases(
    features: BarFeatures, bar_confidence: float, join: Ending | Opening
) -> PhraseFact:
    """Groups of four bars of an edge.

    Parameters
    ----------
    bar_confidence : float
        How sure the bar lines are: no group is surer.
    join : Ending or Opening
        How the edge ends or starts: from there bars are counted, too.

    Returns
    -------
    PhraseFact
        None heard where there are less than six bars.
    """
    n_bars = features.n_bars
    if n_bars < _LEAST_BARS:
        return PhraseFact()
    steps_db, novelty = _steps_db(features), _novelty(features)
    evidence = _NOVELTY_ODDS * np.clip(_standard(novelty), 0.0, _MOST_ODDS)
    evidence += _REPEAT_ODDS * np.clip(_standard(_repeats_begin(features)), 0.0, _MOST_ODDS)
    evidence += _STEP_ODDS * np.clip(_standard(steps_db), 0.0, _MOST_ODDS)
    odds = np.zeros(GROUP_BARS)
    for bar, value in enumerate(evidence):
        odds[bar % GROUP_BARS] += value
    edge_phase = _edge_line(features, join) % GROUP_BARS
    odds[edge_phase] += _EDGE_ODDS["end" if isinstance(join, Ending) else "start"]
    phase = int(np.argmax(odds))
    clear = (steps_db >= _BOUNDARY_STEP_DB) & (
        _standard(novelty) + _standard(steps_db) > _BOUNDARY_Z
    )
    lines_s = features.lines_s[:-1]
    starts = [bar for bar in range(n_bars) if bar % GROUP_BARS == phase]
    n_agree = int(sum(clear[bar] for bar in starts))
    is_clear = n_agree == clear.sum() and n_agree + (edge_phase == phase) >= _ENOUGH_SIGNS
    doubt = _DOUBT_CLEAR if is_clear and n_agree else _DOUBT
    shares = np.exp(odds - odds.max())
    share = (1.0 - doubt) * float(shares[phase] / shares.sum()) + doubt / GROUP_BARS
    return PhraseFact(
        starts_s=tuple(float(lines_s[bar]) for bar in starts),
        confidence=share * min(2.0 * bar_confidence, 1.0),
        boundaries_s=tuple(float(lines_s[bar]) for bar in starts if clear[bar]),
    )


def _edge_line(features: BarFeatures, join: Ending | Opening) -> int:
    """The bar with which a group starts, counted from the outer end of the song."""
    lines_s = features.lines_s
    if isinstance(join, Ending):
        # a last hit on a bar line is the first of a group that is not played; else the end is
        place_s = join.last_hit_s if join.kind != "keeps going" else join.sound_end_s
        bars = (place_s - lines_s[0]) / float(np.median(np.diff(lines_s)))
        return int(np.ceil(bars - 0.2)) if join.kind == "keeps going" else int(np.floor(bars + 0.1))
    return round(float(join.first_downbeat_s - lines_s[0]) / float(np.median(np.diff(lines_s))))


def _steps_db(features: BarFeatures) -> Floats:
    """Largest change of level in four bands at each bar line, two bars after against before."""
    bars_db = features.by_parts(features.bands_db, 1)[:, 0]
    wide = np.stack(
        [bars_db[:, a:b].max(axis=1) for a, b in pairwise(_BAND_EDGES)],
        axis=1,
    )
    steps = np.zeros(len(wide))
    for bar in range(1, len(wide)):
        before = wide[max(bar - _LOOK_BARS, 0) : bar].mean(axis=0)
        after = wide[bar : bar + _LOOK_BARS].mean(axis=0)
        steps[bar] = np.abs(after - before).max()
    return steps


def _novelty(features: BarFeatures) -> Floats:
    """How little the bars after each bar line are like those before, by notes and colour."""
    similar = bar_similarity(features)
    n_bars, reach = len(similar), _BLOCK_BARS
    novelty = np.zeros(n_bars)
    for bar in range(1, n_bars):
        before, after = slice(max(bar - reach, 0), bar), slice(bar, bar + reach)
        inside = similar[before, before].mean() + similar[after, after].mean()
        novelty[bar] = inside - 2.0 * similar[before, after].mean()
    novelty[:2] *= 0.5
    return novelty


def _repeats_begin(features: BarFeatures) -> Floats:
    """How many bars later repeated or repeating passages begin or end at each bar line."""
    similar = bar_similarity(features)
    n_bars = len(similar)
    begins = np.zeros(n_bars)
    for lag in range(GROUP_BARS, n_bars - GROUP_BARS):
        alike = np.diagonal(similar, lag)
        for bar in range(1, len(alike) - 1):
            before, after = alike[max(bar - GROUP_BARS, 0) : bar], alike[bar : bar + GROUP_BARS]
            step = float(after.mean() - before.mean())
            for line in (bar, bar + lag):
                if len(before if step < 0 else after) == GROUP_BARS:
                    begins[line] += max(abs(step) - _LEAST_STEP, 0.0)
    return begins


def bar_similarity(features: BarFeatures) -> Floats:
    """Cosine of every two bars, beat by beat in notes and in colour, shape (n_bars, n_bars)."""
    notes = features.by_parts(features.notes, features.metre)
    notes = notes / np.maximum(np.linalg.norm(notes, axis=2, keepdims=True), 1e-9)
    notes = notes - notes.mean(axis=(0, 1))
    colour = features.by_parts(features.bands_db, features.metre)
    spread = np.maximum(colour.std(axis=(0, 1)), 1.0)
    colour = 0.1 * (colour - colour.mean(axis=(0, 1))) / spread
    whole = np.concatenate([notes, colour], axis=2).reshape(features.n_bars, -1)
    whole /= np.maximum(np.linalg.norm(whole, axis=1, keepdims=True), 1e-9)
    return np.asarray(whole @ whole.T)


def _standard(values: Floats) -> Floats:
    return np.asarray((values - values.mean()) / max(float(values.std()), 1e-9))
