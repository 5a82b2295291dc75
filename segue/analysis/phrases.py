"""Where groups of four bars start.

Every bar has a place in its group, and the next bar has the next place, unless a group starts
anew. Nine signs speak for a first place (what changes there, in what sounds, in its repeats and
its level, a fill before it, a cymbal on it, the home chord, an entry, a rise, a change that
nobody would miss), and the song's own edge speaks for the places near it. From all of them
together come the chances of every bar's place (the forward-backward algorithm of hidden Markov
models) and the places that are likeliest together (the Viterbi algorithm; a library's takes
longer to load than the edge to hear).

All odds were fitted on one half of `benchmarks.phrases`, on rendered starts and ends of pop songs
whose phrases people wrote down; on the other half four of five starts are right, and those given
with a confidence of 0.85 in nineteen of twenty. Less than a half of the ends is right: the last
phrase that people write down has three bars, two, four or one nearly as often, and of two people
one in five writes down another. So ends are hardly ever sure.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from segue.analysis.facts import Ending, Opening
from segue.analysis.structure_facts import PhraseFact

if TYPE_CHECKING:
    from segue.analysis.bar_features import BarFeatures
    from segue.arrays import Floats, Ints


Side = Literal["start", "end"]
GROUP_BARS: Final = 4
"""Bars of a group: in 197 songs of the rock corpus (de Clercq and Temperley 2011) 64 % of all
sections have a number of bars that four divides."""
_LEAST_BARS: Final = 6  # with fewer bars no groups are heard; by judgement
# mel bands at which four wide ones begin and end; by judgement
_BAND_EDGES: Final = (0, 3, 8, 20, 40)
_LOOK_BARS: Final = 2  # bars after and before whose level is compared; by judgement
_BLOCK_BARS: Final = 4  # bars after and before whose likeness is compared; by judgement
_HIGH_BANDS: Final = slice(25, 40)  # mel bands of cymbals, from 3 kHz; by judgement
_MIDDLE_BANDS: Final = slice(8, 20)  # mel bands of voices and leads, 0.6 to 2.2 kHz; by judgement
_LEAST_STEP: Final = 0.15  # least change of likeness where a repeat begins or ends
_LEAST_SIGN, _MOST_SIGN = -1.0, 3.0  # deviations: no sign counts with less or more; by judgement
_BOUNDARY_STEP_DB: Final = 6.0  # least step of the level at a clear boundary
_BOUNDARY_Z: Final = 3.0  # deviations of change and step together that a clear boundary exceeds

# Fitted by benchmarks.phrases: odds, as natural logarithms.
# of a first place, for each deviation of each sign; the last, of a clear change, by judgement: in
# half of what was fitted to, players rest where they like
_SIGN_ODDS: Final = {
    "start": (-0.01, 0.03, 0.16, 0.07, 0.15, 0.19, 0.16, 0.21, 1.3),
    "end": (0.06, 0.06, 0.05, 0.05, 0.25, 0.17, 0.01, 0.12, 1.3),
}
# of the places of the bar at the song's own edge; at starts by judgement: what people write down
# begins with the first bar of every song, whatever is played, so no more than 2 is believed
EDGE_ODDS: Final[dict[Side, tuple[float, ...]]] = {
    "start": (2.0, 0.0, 0.0, 0.0),
    "end": (0.04, -0.1, -0.7, 0.0),
}
_ANEW_ODDS: Final = {"start": -4.14, "end": -3.2}  # of a group that ends early
_DOUBT: Final = {"start": 0.08, "end": 0.3}
"""How much of a chance is not believed, chosen so that each confidence holds what it says on
songs of the fitted half that were left out of the fit."""
_SETTLED_BARS: Final = 3
"""So many bars inside the edge the place is read, where a join is likely. By judgement."""


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
    side: Side = "end" if isinstance(join, Ending) else "start"
    signs = phrase_signs(features)
    odds = place_odds(signs, edge_line(features, join), side=side)
    places = likeliest_places(odds, anew=_ANEW_ODDS[side])
    settled = n_bars - 1 - _SETTLED_BARS if side == "end" else _SETTLED_BARS
    chance = float(place_chances(odds, anew=_ANEW_ODDS[side])[settled, places[settled]])
    share = (1.0 - _DOUBT[side]) * chance + _DOUBT[side] / GROUP_BARS
    lines_s, clear = features.lines_s[:-1], signs[:, -1] > 0.0
    starts = np.flatnonzero(places == 0)
    return PhraseFact(
        starts_s=tuple(float(lines_s[bar]) for bar in starts),
        confidence=share * min(2.0 * bar_confidence, 1.0),
        boundaries_s=tuple(float(lines_s[bar]) for bar in starts if clear[bar]),
    )


def phrase_signs(features: BarFeatures) -> Floats:
    """What speaks for a first place, shape (n_bars, 9).

    In deviations over the edge, but for the last, a clear change, which is 1 or 0.
    """
    parts_db = features.by_parts(features.bands_db, features.metre)
    notes = features.by_parts(features.notes, features.metre)
    last_db = parts_db[:, -1]
    odd_db = np.abs(last_db - np.median(last_db, axis=0)).mean(axis=1)
    first_notes = notes[:, 0] / np.maximum(np.linalg.norm(notes[:, 0], axis=1), 1e-9)[:, None]
    middle_db = parts_db[:, :, _MIDDLE_BANDS].mean(axis=2)
    level_db = 10.0 * np.log10((10.0 ** (parts_db / 10.0)).mean(axis=(1, 2)))
    novelty, steps_db = _novelty(features), _steps_db(features)
    clear = (steps_db >= _BOUNDARY_STEP_DB) & (
        _standard(novelty) + _standard(steps_db) > _BOUNDARY_Z
    )
    signs = (
        novelty,
        _repeats_begin(features),
        steps_db,
        np.append(0.0, odd_db[:-1]),  # a fill is a last beat unlike others
        parts_db[:, 0, _HIGH_BANDS].mean(axis=1),
        first_notes @ notes.mean(axis=(0, 1)),  # home is what sounds most
        np.append(0.0, middle_db[1:, 0] - middle_db[:-1, -1]),
        np.append(0.0, np.diff(level_db)),
    )
    evened = [np.clip(_standard(sign), _LEAST_SIGN, _MOST_SIGN) for sign in signs]
    return np.stack([*evened, clear.astype(float)], axis=1)


def place_odds(signs: Floats, line: int, *, side: Side) -> Floats:
    """Odds of every bar's place by the signs and the song's edge, shape (n_bars, 4).

    Parameters
    ----------
    line : int
        The bar at the song's edge; it may lie outside.
    """
    odds = np.zeros((len(signs), GROUP_BARS))
    odds[:, 0] = signs @ np.array(_SIGN_ODDS[side])
    bar = min(max(line, 0), len(signs) - 1)
    odds[bar] += np.roll(EDGE_ODDS[side], bar - line)
    return odds


def place_chances(odds: Floats, *, anew: float) -> Floats:
    """Chances of every bar's place by all bars' odds, shape (n_bars, 4).

    Parameters
    ----------
    anew : float
        Odds of a first place after any but the last.

    Examples
    --------
    One bar that must be a first place settles all others:

    >>> chances = place_chances(np.array([[0.0] * 4] * 4 + [[9.0, 0.0, 0.0, 0.0]]), anew=-9.0)
    >>> chances.argmax(axis=1).tolist()
    [0, 1, 2, 3, 0]
    """
    step = place_steps(anew)
    before, after = np.array(odds), np.zeros_like(odds)
    for bar in range(1, len(odds)):
        before[bar] += np.logaddexp.reduce(before[bar - 1][:, None] + step, axis=0)
    for bar in range(len(odds) - 2, -1, -1):
        after[bar] = np.logaddexp.reduce(step + odds[bar + 1] + after[bar + 1], axis=1)
    whole = before + after
    return np.asarray(np.exp(whole - np.logaddexp.reduce(whole, axis=1, keepdims=True)))


def likeliest_places(odds: Floats, *, anew: float) -> Ints:
    """The places of all bars that are likeliest together, shape (n_bars,); see `place_chances`."""
    step, best = place_steps(anew), np.array(odds)
    for bar in range(len(odds) - 2, -1, -1):
        best[bar] += (step + best[bar + 1]).max(axis=1)
    places = [int(np.argmax(best[0]))]
    for later in best[1:]:
        places.append(int(np.argmax(step[places[-1]] + later)))
    return np.array(places)


def place_steps(anew: float) -> Floats:
    """Odds of each place after each: the next, or the first anew."""
    step = np.full((GROUP_BARS, GROUP_BARS), -np.inf)
    step[:, 0] = anew
    step[np.arange(GROUP_BARS), (np.arange(GROUP_BARS) + 1) % GROUP_BARS] = 0.0
    return step


def edge_line(features: BarFeatures, join: Ending | Opening) -> int:
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
    wide = np.stack([bars_db[:, a:b].max(axis=1) for a, b in pairwise(_BAND_EDGES)], axis=1)
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
