"""Score cards of segues with known faults: ``python -m tests.regression.write_cards``.

They are those of `tests.score.synthetic`, made on the spot, so that nothing but the score moves
them: of every measure what it found and where, its mark, its words; and the curves of a picture.
"""

from dataclasses import replace
from functools import cache

import numpy as np

from segue.analysis.facts import FirstNote
from segue.music.key import parse_key
from segue.score import score_candidate
from tests.plan.write_golden import rounded
from tests.regression.kept import write
from tests.score.synthetic import (
    EXIT_BEAT,
    RATE_HZ,
    Recipe,
    facts_of,
    make_candidate,
    mixed_anew,
    plan_of,
    stereo,
)
from tests.score.synthetic_band import play_voice

NAME = "cards.json"
EVERY_S = 4.0
"""Of the curves."""
WAYS = {
    "a sane one": Recipe(),
    "late, louder": Recipe(late_s=0.06, incoming_gain_db=4.0),
    "a beat early in the bar": Recipe(incoming_shift_beats=1),
    "a semitone off the pad": Recipe(sounding_key_to=parse_key("F# minor")),
    "a hole": Recipe(hole_s=2.0),
    "two bands at once": Recipe(outgoing_overlap_beats=12),
    "no ramp, no cadence": Recipe(ramp_beats=0, has_cadence=False),
    "the wrong mode, clipped": Recipe(pad_key=parse_key("F major"), clip_at=0.6),
    "a click in the room": Recipe(click_leak=0.1),
    "a cut": Recipe(interlude_beats=0, ramp_beats=0, singer_beat=20.0),
    "a bridge without a beat": Recipe(pad_drums=False, pad_start="pivot"),
}


def talked_over():
    """A bed at 15 dB under the songs, with words asked for."""
    recipe = Recipe(pad_drums=False)
    made = make_candidate(recipe, replace(plan_of(recipe), talk_s=7.0))
    return recipe, mixed_anew(
        made,
        outgoing=made.outgoing.samples,
        interlude=0.4 * made.interlude.samples,
        incoming=made.incoming.samples,
    )


def two_singers():
    """The old song's singer goes on while the new one's has begun; one side is out of tune."""
    recipe = Recipe(outgoing_overlap_beats=16)
    made = make_candidate(recipe)
    sides = {}
    for side, key, beats in (
        ("outgoing", recipe.key_from, range(EXIT_BEAT + 16)),
        ("incoming", recipe.key_to, range(recipe.entry_beat - 4, recipe.end_beat)),
    ):
        sung = np.zeros(made.music.n_frames)
        play_voice(sung, key, made.plan.seconds_at, beats)
        sides[side] = getattr(made, side).samples + 0.3 * stereo(sung).samples
    sides["incoming"] = np.roll(sides["incoming"], round(0.01 * RATE_HZ), axis=0)
    return recipe, mixed_anew(made, interlude=made.interlude.samples, **sides)


MORE = {"talk over a bed": (talked_over, "talk"), "two singers": (two_singers, "dance")}
CASES = (*WAYS, *MORE)


@cache
def card(case):
    """Everything on the card."""
    purpose = None
    if case in WAYS:
        recipe = WAYS[case]
        made = make_candidate(recipe)
    else:
        make, purpose = MORE[case]
        recipe, made = make()
    old, new = facts_of(recipe)
    new = replace(new, first_note=FirstNote(midi=60.0, time_s=2.5, confidence=0.9))
    told = score_candidate(made, old, new, purpose=purpose)
    return rounded(
        {
            "overall": told.overall,
            "measures": {
                one.name: [one.value, one.score, one.worst_beat, one.sentence, one.threshold]
                for one in told.measures
            },
            "not measured": {one.name: one.why for one in told.not_measured},
            "faults": {one.name: one.sentence for one in told.faults},
            "curves": {
                name: _every(getattr(told, name))
                for name in ("loudness_lufs", "key_distance_from", "key_distance_to", "tempo_bpm")
            },
        }
    )


def _every(curve):
    """A curve at some of its places, the first and the last among them."""
    times_s = [sample.time_s for sample in curve]
    wanted = np.arange(0.0, times_s[-1], EVERY_S) if times_s else ()
    places = sorted({int(np.searchsorted(times_s, at)) for at in wanted} | {len(times_s) - 1})
    return [[curve[n].time_s, curve[n].value] for n in places if times_s]


if __name__ == "__main__":
    write(NAME, {case: card(case) for case in CASES})
