"""Marks of faults from slight to plain: ``python -m tests.regression.write_grades``.

The segues are those of `tests.score.synthetic`, each with one thing put wrong by a little and by
more, so that its mark lies between good and bad. Of every measure that is neither, what was
found and its mark are kept; the cards of `write_cards` hold the words.
"""

from dataclasses import replace
from functools import cache

import numpy as np
from scipy.signal import butter, sosfilt

from segue.music.key import parse_key
from segue.plan.layer import SongLayer
from segue.score import score_candidate
from tests.regression.kept import write
from tests.score.synthetic import (
    EXIT_BEAT,
    RATE_HZ,
    Recipe,
    facts_of,
    make_candidate,
    mixed_anew,
    plan_of,
    scaled,
)

NAME = "grades.json"
PLAIN = 0.01
"""A mark this near to the best or the worst tells no degree."""
BASE = Recipe()
ONE_TEMPO = {"bpm_to": 124.0, "ramp_beats": 0}


def sides(made):
    return {side: getattr(made, side).samples for side in ("outgoing", "interlude", "incoming")}


def with_bridge(recipe, gain):
    """The bridge louder or softer; two gains are those at its start and its end."""
    made = make_candidate(recipe)
    low, high = (
        round(made.plan.seconds_at(beat) * RATE_HZ) for beat in (EXIT_BEAT, recipe.entry_beat)
    )
    curve = np.interp(np.arange(made.music.n_frames), (low, high), gain)[:, np.newaxis]
    return mixed_anew(made, **sides(made) | {"interlude": curve * made.interlude.samples})


def filtered(side, hz, kind):
    made = make_candidate(BASE)
    sos = butter(4, hz, kind, fs=RATE_HZ, output="sos")
    sound = sosfilt(sos, getattr(made, side).samples, axis=0)
    return mixed_anew(made, **sides(made) | {side: sound})


def tuned_apart(cents):
    """Songs said to be tuned apart from a bridge that is not."""
    return make_candidate(
        BASE, replace(plan_of(BASE), key_from_tuning_cents=cents, key_to_tuning_cents=cents + 2.0)
    )


def said_to_be(recipe, said):
    """A segue whose plan is that of another."""
    return replace(make_candidate(recipe), plan=plan_of(said))


def sung_over(recipe, singer_beat):
    """The old song sings to its end, the new one from a beat on."""
    plan = plan_of(recipe)
    layers = tuple(
        replace(x, roles=("voice", "bass")) if isinstance(x, SongLayer) else x for x in plan.layers
    )
    return make_candidate(recipe, replace(plan, layers=layers, singer_beat=singer_beat))


def talked_over(gain, talk_s):
    recipe = Recipe(pad_drums=False)
    made = with_bridge(recipe, (gain, gain))
    return recipe, replace(made, plan=replace(made.plan, talk_s=talk_s)), "talk"


def plainly(**changes):
    recipe = Recipe(**changes)
    return lambda purpose=None: (recipe, make_candidate(recipe), purpose)


def bridge(gain, purpose, **changes):
    recipe = Recipe(**changes)
    return lambda: (recipe, with_bridge(recipe, gain), purpose)


def together(late_s, overlap_beats=32):
    return plainly(**ONE_TEMPO, outgoing_overlap_beats=overlap_beats, late_s=late_s)


def keys(old, new, **changes):
    return plainly(key_from=parse_key(old), key_to=parse_key(new), **changes)


CASES = {
    **{f"the new song {ms} ms late": plainly(late_s=ms / 1000) for ms in (-35, 25, 40)},
    **{f"the new song {db:+} dB": plainly(incoming_gain_db=db) for db in (-9, -5, 4, 7)},
    **{f"a hole of {s} s": plainly(hole_s=s) for s in (0.7, 1.5)},
    **{f"a click at {gain} in the room": plainly(click_leak=gain) for gain in (0.008, 0.02)},
    **{f"clipped at {share}": plainly(clip_at=share) for share in (0.8, 0.7)},
    **{f"two grooves {ms} ms apart": together(ms / 1000) for ms in (-55, 45, 51)},
    **{f"both songs for {n} beats": together(0.0, n) for n in (8, 20)},
    **{
        f"{old} to {new} BPM in {n} beats": plainly(bpm_from=old, bpm_to=new, ramp_beats=n)
        for old, new, n in ((124.0, 110.0, 4), (90.0, 104.0, 8), (120.0, 96.0, 12))
    },
    "slow songs, the new one 100 ms late": plainly(bpm_from=62.0, bpm_to=60.0, late_s=0.1),
    "A minor to E minor": keys("A minor", "E minor"),
    "C major to D major": keys("C major", "D major", pad_start="pivot"),
    "G major to Eb major, a short bridge": keys("G major", "Eb major", interlude_beats=8),
    "C major and A minor at once": keys(
        "C major", "A minor", **ONE_TEMPO, outgoing_overlap_beats=20
    ),
    "B minor to D major, no cadence": keys("B minor", "D major", has_cadence=False),
    **{f"the singer at beat {n}": plainly(singer_beat=float(n)) for n in (26, 33)},
    **{
        f"songs tuned {n} cents from the bridge": lambda n=n: (BASE, tuned_apart(n), None)
        for n in (9.0, 20.0)
    },
    "a dull new song": lambda: (BASE, filtered("incoming", 700, "low"), None),
    "a bridge without bass": lambda: (BASE, filtered("interlude", 250, "high"), None),
    "a dull bridge": lambda: (BASE, filtered("interlude", 900, "low"), None),
    "a little over full scale": lambda: (
        BASE,
        scaled(made := make_candidate(BASE), 1.0 / np.abs(made.music.samples).max()),
        None,
    ),
    "the new song 1 % fast": lambda: (
        said := Recipe(**ONE_TEMPO),
        said_to_be(replace(said, bpm_to=125.2), said),
        None,
    ),
    "a singer over a singer": lambda: (
        recipe := Recipe(**ONE_TEMPO, outgoing_overlap_beats=20),
        sung_over(recipe, recipe.entry_beat + 1.0),
        None,
    ),
    **{
        f"for {purpose}": lambda purpose=purpose: plainly()(purpose)
        for purpose in ("lift", "calm", "dance")
    },
    "for lift, it swells": bridge((0.4, 1.3), "lift"),
    "for lift, it dies away": bridge((1.0, 0.25), "lift"),
    "for lift, without drums": bridge((0.8, 1.6), "lift", pad_drums=False),
    "for calm, it swells": bridge((0.5, 1.0), "calm"),
    "for calm, loud": bridge((2.0, 2.0), "calm"),
    "for dance, soft": bridge((0.4, 0.4), "dance"),
    "for dance, without drums": bridge((1.0, 1.0), "dance", pad_drums=False),
    "it sags before bar one": bridge((1.0, 0.15), None),
    "a soft bridge": bridge((0.35, 0.35), None),
    "a loud bridge": bridge((3.0, 3.0), None),
    **{
        f"{talk_s:g} s of talk over a bed at {gain:g}": lambda gain=gain, talk_s=talk_s: (
            talked_over(gain, talk_s)
        )
        for gain, talk_s in ((0.25, 9.0), (0.5, 12.0), (0.7, 4.0))
    },
}


@cache
def grades(case):
    """Value and mark of every measure that is neither good nor bad."""
    recipe, made, purpose = CASES[case]()
    card = score_candidate(made, *facts_of(recipe), purpose=purpose)
    return {
        one.name: [round(one.value, 4), round(one.score, 4)]
        for one in card.measures
        if PLAIN < one.score < 1.0 - PLAIN
    }


if __name__ == "__main__":
    write(NAME, {case: grades(case) for case in CASES})
