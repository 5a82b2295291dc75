"""Levels: the songs as loud as in the set, or evened out; at most 1 dB of limiting."""

from dataclasses import replace

import numpy as np
import pytest

from segue.audio.clip import Clip, SongEdge
from segue.audio.loudness import integrated_lufs
from segue.plan.layer import SongLayer
from segue.render import render_candidate
from tests.render.conftest import OLD_BPM, key_frames
from tests.render.demo_songs import DemoSong, demo_plan, demo_song
from tests.render.drawn_plans import true_peak_16x_dbtp

WITHIN_LU = 0.1
QUIETER_DB = 5.0


def quieter(song, by_db):
    """A song some decibels down, and the facts of it."""
    factor = np.float32(10 ** (-by_db / 20))
    stems = tuple(
        replace(stem, clip=replace(stem.clip, samples=stem.clip.samples * factor))
        for stem in song.edge.stems
    )
    level = song.facts.level
    level = replace(
        level,
        loudness_lufs=level.loudness_lufs - by_db,
        true_peak_dbtp=level.true_peak_dbtp - by_db,
    )
    return DemoSong(edge=replace(song.edge, stems=stems), facts=replace(song.facts, level=level))


def part_lufs(clip, start_s, end_s):
    low, high = (round((second - clip.start_s) * clip.rate_hz) for second in (start_s, end_s))
    return integrated_lufs(Clip(samples=clip.samples[low:high], rate_hz=clip.rate_hz))


def given_db(candidate, plan, old, new):
    """What each song was raised by, on the music bus where nothing else is planned to sound."""
    exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
    ranges = ((0.5, exit_s - 3.0), (entry_s + 2.5, plan.duration_s - 1.7))
    found = []
    for (start_s, end_s), song, name in zip(
        ranges, (old, new), ("outgoing", "incoming"), strict=True
    ):
        layer = next(
            x for x in plan.layers if isinstance(x, SongLayer) and x.song == name and not x.roles
        )
        first = layer.time_map[0]
        shift_s = first.source_s - plan.seconds_at(first.beat)
        heard = part_lufs(candidate.music, start_s, end_s)
        found.append(heard - part_lufs(song.edge.mix, start_s + shift_s, end_s + shift_s))
    return found


@pytest.mark.parametrize("match", [False, True], ids=["as in the set", "evened out"])
@pytest.mark.parametrize("louder", ["outgoing", "incoming"])
def test_songs_enter_at_the_level_of_the_set_or_evened_out(louder, match):
    old, new = demo_song(1, "end"), demo_song(2, "start")
    if louder == "outgoing":
        new = quieter(new, QUIETER_DB)
    else:
        old = quieter(old, QUIETER_DB)
    plan = demo_plan("stop and count-in", 1, match=match, songs=(old, new))
    candidate = render_candidate(plan, old.edge, new.edge)
    lowered_db = lowered(candidate, plan)
    old_db, new_db = (db + lowered_db for db in given_db(candidate, plan, old, new))
    wanted_db = new.facts.level.loudness_lufs - old.facts.level.loudness_lufs if match else 0.0
    assert old_db - new_db == pytest.approx(wanted_db, abs=WITHIN_LU)
    assert old_db == pytest.approx(plan.outgoing_gain_db, abs=WITHIN_LU)
    assert new_db == pytest.approx(plan.incoming_gain_db, abs=WITHIN_LU)


def lowered(candidate, plan):
    """How much the whole was lowered, as it is told."""
    told = [note for note in candidate.notes if "lower than planned" in note]
    assert len(told) <= 1, plan.recipe
    return float(told[0].split(" dB")[0].split()[-1]) if told else 0.0


@pytest.mark.parametrize("recipe", ["drum break", "pad in the new key", "riser into a cold start"])
def test_ways_across_give_the_songs_the_same_level(recipe):
    """Whatever lies between: one gain for both songs, the same in every recipe."""
    old, new = demo_song(1, "end"), demo_song(2, "start")
    plan = demo_plan(recipe, 1)
    candidate = render_candidate(plan, old.edge, new.edge)
    lowered_db = lowered(candidate, plan)
    gains_db = [db + lowered_db for db in given_db(candidate, plan, old, new)]
    assert gains_db == pytest.approx([plan.outgoing_gain_db] * 2, abs=WITHIN_LU)
    assert plan.outgoing_gain_db == plan.incoming_gain_db


@pytest.mark.parametrize("louder_db", [0.0, 6.0, 18.0])
def test_the_limiter_takes_at_most_1_db_off_and_the_rest_is_told(
    plan, outgoing, incoming, louder_db
):
    """The loud frames before and after; what all of them lose is level and not limiting."""
    loud = np.float32(10 ** (louder_db / 20))
    clip = outgoing.mix
    stem = replace(outgoing.stems[0], clip=replace(clip, samples=clip.samples * loud))
    song: SongEdge = replace(outgoing, stems=(stem,))
    layer = SongLayer(
        name="old", song="outgoing", start_beat=0, end_beat=12, time_map=key_frames(0, 12, OLD_BPM)
    )
    made = render_candidate(replace(plan, layers=(layer,)), song, incoming)
    total = sum(
        side.samples.astype(np.float64) for side in (made.outgoing, made.interlude, made.incoming)
    )
    assert true_peak_16x_dbtp(made.music.samples) <= -1.0 + 0.02  # two interpolators
    is_loud = np.abs(total) > 0.3 * np.abs(total).max()
    lost_db = 20 * np.log10(np.abs(total[is_loud]) / np.abs(made.music.samples[is_loud]))
    everywhere_db = float(np.median(lost_db))
    assert everywhere_db <= 0.25  # what the limiter lets through is taken off the level
    assert lost_db.max() - everywhere_db <= 1.0 + 0.01
    assert bool(lowered(made, plan)) == (louder_db > 0.0)
