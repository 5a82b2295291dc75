"""Songs keep their own time in a plan, and a soft start is no lift."""

import itertools
from dataclasses import replace

import pytest

from segue.analysis.structure_facts import BarFact
from segue.plan import plan_segue
from segue.plan.song_levels import starts_softly
from tests.plan.song_facts import end_facts, start_facts


def drifting(facts, ratio):
    """The same song with each beat longer than the one before by a little."""
    pulse = facts.pulse
    gaps = [pulse.beat_s * ratio**n for n in range(len(pulse.beats_s) - 1)]
    beats_s = [pulse.beats_s[0]]
    for gap in gaps:
        beats_s.append(beats_s[-1] + gap)
    beats_s = tuple(beats_s)
    pulse = replace(pulse, beats_s=beats_s, downbeats_s=beats_s[:: pulse.metre])
    end_s = beats_s[-1] + gaps[-1]
    facts = replace(facts, pulse=pulse, edge_end_s=end_s)
    if facts.ending is None:
        return replace(facts, duration_s=end_s + 100.0)
    ending = replace(facts.ending, last_hit_s=beats_s[-1], sound_end_s=end_s)
    return replace(facts, duration_s=end_s, ending=ending)


@pytest.mark.parametrize("ratio", [0.999, 1.001])
def test_each_beat_of_a_song_lasts_as_long_in_the_plan_as_in_the_song(shelf, ratio):
    old, new = drifting(end_facts(), ratio), drifting(start_facts(), ratio)
    plan = plan_segue(shelf["stop and count-in"], old, new)

    def planned_s(first, last):
        times = [plan.seconds_at(first + n) for n in range(last - first + 1)]
        return [b - a for a, b in itertools.pairwise(times)]

    def own_s(facts, from_s, n_beats):
        known_s = facts.pulse.beats_s
        first = min(range(len(known_s)), key=lambda n: abs(known_s[n] - from_s))
        beats_s = facts.pulse.beats_s[first : first + n_beats + 1]
        return [b - a for a, b in itertools.pairwise(beats_s)]

    n_old, entry = round(plan.exit_beat), round(plan.entry_beat)
    n_new = int(plan.end_beat) - entry
    (carried,) = (x for x in plan.layers if getattr(x, "song", "") == "outgoing")
    starts_s = next(p.source_s for p in carried.time_map if p.beat >= 0.0)
    wanted = own_s(old, starts_s, n_old)
    assert len(wanted) >= n_old - 1
    assert planned_s(0, len(wanted)) == pytest.approx(wanted, abs=1e-4)
    assert planned_s(entry, entry + n_new) == pytest.approx(
        own_s(new, new.opening.first_downbeat_s, n_new), abs=1e-4
    )


def bars(*levels_and_drums):
    return tuple(
        BarFact(
            start_s=2.0 * n,
            end_s=2.0 * (n + 1),
            level_lufs=level,
            voice=0.0,
            bass=0.0,
            drums=drums,
            onsets_a_beat=1.0,
        )
        for n, (level, drums) in enumerate(levels_and_drums)
    )


# Songs at -14 (old) and -16 LUFS (new): soft is 5 LU below the louder of them, in two bars.
SOFT, LOUD = -19.5, -17.0


@pytest.mark.parametrize(
    ("start", "is_soft"),
    [
        pytest.param([(SOFT, 0.0), (SOFT, 0.1), (LOUD, 1.0)], True, id="two soft bars, then all"),
        pytest.param([(SOFT, 0.0), (LOUD, 0.0), (SOFT, 0.0)], False, id="loud in the second"),
        pytest.param([(SOFT, 0.4), (SOFT, 0.2)], False, id="drums"),
        pytest.param([(-18.9, 0.0), (-18.9, 0.0)], False, id="hardly softer"),
        pytest.param([(-19.0, 0.0), (-19.0, 0.0)], True, id="just so"),
        pytest.param([], False, id="bars not heard"),
    ],
)
def test_two_bars_tell_whether_a_song_starts_softly(start, is_soft):
    new = replace(start_facts(loudness_lufs=-16.0), bars=bars(*start))
    assert starts_softly(end_facts(loudness_lufs=-14.0), new) == is_soft
