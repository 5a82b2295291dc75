"""Music that is odd to a machine: every case gives a sensible result, and says what is unsure.

Songs are made with known truth (`odd_songs`). What is held here is what a working musician
would ask of each case: nothing is led by a key or a beat that is not there, bars are counted
rightly or the doubt is told with the option that settles it, and no sound is planned where there
is none.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from benchmarks._in_process import run_here
from segue.analysis.applause import applause_s
from segue.analysis.doubts import doubts_about, silent_stems
from segue.analysis.hear import hear_edge
from segue.audio.clip import Overrides
from segue.cli.tables import print_facts
from segue.job.shortlist import LEAST_SUITABILITY
from segue.music.interval import relation
from segue.music.key import parse_key
from segue.music.tonal_space import key_distance
from segue.plan import Given, plan_segue, suitability
from segue.plan.heard_words import filled_in
from segue.plan.layer import SongLayer
from segue.plan.tempo_spans import TempoTooFarError
from segue.recipes.recipe import MOST_PERCENT_A_BEAT
from tests.abuse import odd_songs as odd

BEAT_CONFIDENCE = 0.3
"""Below this no plan goes by the beats that were heard; see `PulseFact`."""
ON_THE_BEAT_S = 0.02
ON_BEATS = {"tempo ramp", "drum break", "bar-aligned overlap", "breakdown and rebuild"}
"""Ways across that play on the beats of both songs."""
OLD_S = 30.0
"""What comes of the old songs before the part that is read."""
TUNED_CENTS = 3.0


@cache
def old_band(figure="4/4", bpm=110.0, n_beats=40, key="A minor", cents=0.0):
    beats_s = odd.even_beats(bpm, n_beats)
    return heard(odd.band(beats_s, figure, key=key, cents=cents), "end")


@cache
def new_band(figure="4/4", bpm=96.0, n_beats=32, key="F minor", cents=0.0):
    beats_s = odd.even_beats(bpm, n_beats)
    return heard(odd.band(beats_s, figure, key=key, cents=cents), "start")


def heard(parts, edge, *, as_stems=False, **said):
    make = odd.stem_edge if as_stems else odd.mix_edge
    before_s = OLD_S if edge == "end" else 0.0
    song = make(parts, edge, before_s=before_s, title="Old" if edge == "end" else "New")
    return hear_edge(song, overrides=Overrides(**said))


def fits(shelf, old, new, given=None):
    old, new = filled_in(old, new)
    return {name: suitability(recipe, old, new, given) for name, recipe in shelf.items()}


def plans_of(shelf, old, new):
    """All plans that are possible for a pair, by recipe."""
    old, new = filled_in(old, new)
    plans = {}
    for name, recipe in shelf.items():
        talk_s = 10.0 if recipe.suits.talk == "yes" else None
        try:
            plans[name] = plan_segue(recipe, old, new, talk_s=talk_s)
        except TempoTooFarError:
            continue
    return plans


def is_said(words, sentences):
    return any(words in sentence for sentence in sentences)


def off_beats_s(beats_s, truth_s):
    """Distance of each beat from the nearest true one, and of each true one but the last.

    The last one is the bar line after the song, where nothing sounds.
    """
    apart = np.abs(np.subtract.outer(np.asarray(beats_s), np.asarray(truth_s)))
    return np.concatenate([apart.min(axis=1), apart.min(axis=0)[:-1]])


def source_s(layer, beat):
    """Where a layer of a song reads at a beat of the plan."""
    places = [(point.beat, point.source_s) for point in layer.time_map]
    return float(np.interp(beat, *zip(*places, strict=True)))


FREE = {
    "ambient": lambda: odd.ambient(seed=1),
    "rubato": lambda: odd.rubato_piano(seed=3),
    "another rubato": lambda: odd.rubato_piano(seed=20),
    "spoken word": lambda: odd.spoken(seed=1),
}


@cache
def free_heard(name, edge):
    return heard(FREE[name](), edge)


@pytest.fixture(scope="module", params=FREE, name="free")
def _free(request):
    return free_heard(request.param, "end"), free_heard(request.param, "start")


def test_free_time_is_not_taken_for_a_pulse(free):
    for facts in free:
        assert facts.pulse.confidence < BEAT_CONFIDENCE
        assert is_said("No clear pulse was heard.", facts.doubts)


def test_no_way_across_rests_on_beats_of_free_time(free, shelf):
    old, new = free
    for pair in ((old, new_band()), (old_band(), new)):
        fit = fits(shelf, *pair)
        assert max(fit[name] for name in ON_BEATS) < LEAST_SUITABILITY
        assert sum(mark >= LEAST_SUITABILITY for mark in fit.values()) >= 3
    assert fits(shelf, old_band(), new)["stop and count-in"] < LEAST_SUITABILITY


def test_plans_from_and_into_free_time_move_no_tempo_and_say_so(free, shelf):
    old, new = free
    for pair in ((old, new_band()), (old_band(), new)):
        facts = filled_in(*pair)
        assert facts[0].pulse.tempo_bpm == facts[1].pulse.tempo_bpm
        for name, plan in plans_of(shelf, *pair).items():
            ratio = plan.tempo.spans[0].start_bpm / plan.tempo.spans[-1].end_bpm
            assert ratio == pytest.approx(1.0, abs=0.01), name
            assert is_said("No clear pulse at the", plan.notes), name
        whys = [plan.why for plan in plans_of(shelf, old, new_band()).values()]
        assert any(why.startswith("From free time to 96 BPM") for why in whys)


def test_what_is_held_without_a_pulse_is_not_left_early(shelf):
    facts = free_heard("ambient", "end")
    plan = plans_of(shelf, facts, new_band())["pad in the new key"]
    (song,) = [layer for layer in plan.layers if layer.name == "old song"]
    left_s = source_s(song, plan.exit_beat)
    # two seconds of fade are in the song; nothing of it is at its level before or silent after
    assert facts.duration_s - 2.0 < left_s <= facts.ending.sound_end_s


def test_a_tempo_that_is_given_goes_over_free_time():
    facts = heard(odd.ambient(seed=1), "start", tempo_bpm=90.0)
    assert facts.pulse.source == "given"
    assert facts.pulse.tempo_bpm == pytest.approx(90.0, rel=0.05)
    assert not is_said("No clear pulse", facts.doubts)


KEYLESS = {
    "drums only": lambda: odd.band(odd.even_beats(110, 32)),
    "drums in three": lambda: odd.band(odd.even_beats(140, 42), "3/4", seed=5),
    "spoken word": lambda: odd.spoken(seed=2),
}


@pytest.fixture(scope="module", params=KEYLESS, name="keyless")
def _keyless(request):
    parts = KEYLESS[request.param]()
    parts = {role: sound for role, sound in parts.items() if role in ("drums", "voice")}
    return heard(parts, "end"), heard(parts, "start")


def test_no_key_is_heard_in_drums_and_speech(keyless, capsys):
    for facts in keyless:
        assert not facts.key.is_known
        assert facts.tuning_cents == 0.0
        assert is_said("No key was heard.", facts.doubts)
    print_facts(keyless)
    assert "none heard" in capsys.readouterr().out


def test_pads_keep_to_the_song_that_has_a_key(keyless, shelf):
    old, new = keyless
    for pair, known in (((old, new_band()), new_band()), ((old_band(), new), old_band())):
        for name, plan in plans_of(shelf, *pair).items():
            assert plan.key_from == plan.key_to == known.key.key, name
            assert is_said("No key was heard", plan.notes), name
    for plan in plans_of(shelf, old, new).values():
        assert sum("its chords are a guess" in note for note in plan.notes) == 2


def test_a_guessed_key_is_told_with_every_plan(shelf):
    for confidence, is_guess in ((0.45, True), (0.75, False)):
        sure = old_band()
        unsure = replace(sure, key=replace(sure.key, confidence=confidence))
        assert is_said("The key may also be", doubts_about(unsure))
        for plan in plans_of(shelf, unsure, new_band()).values():
            assert is_said("The key at the end of 'Old' is a guess", plan.notes) == is_guess


def test_three_into_four(shelf):
    old, new = old_band("3/4", bpm=130.0, n_beats=48, key="G major"), new_band()
    assert (old.pulse.metre, new.pulse.metre) == (3, 4)
    for name, plan in plans_of(shelf, old, new).items():
        sections = {(bar.section, bar.metre) for bar in plan.bar_lines}
        assert ("outgoing", 3) in sections, name
        assert ("incoming", 4) in sections, name
        beats = [bar.beat for bar in plan.bar_lines if bar.section == "incoming"]
        assert beats[0] == pytest.approx(plan.entry_beat), name
        assert np.diff(beats) == pytest.approx(4.0), name
        if name == "bar-aligned overlap":
            continue
        song = next(layer for layer in plan.layers if layer.name == "new song")
        entry_s = source_s(song, plan.entry_beat)
        assert entry_s == pytest.approx(0.2, abs=ON_THE_BEAT_S), name  # bar one of the new song
    assert fits(shelf, old, new)["bar-aligned overlap"] < LEAST_SUITABILITY


@pytest.mark.parametrize(("bpm", "as_stems"), [(100.0, False), (120.0, True)])
def test_five_four(bpm, as_stems):
    beats_s = odd.even_beats(bpm, 40) + OLD_S
    parts = odd.band(odd.even_beats(bpm, 40), "5/4")
    facts = heard(parts, "end", as_stems=as_stems)
    assert facts.pulse.tempo_bpm == pytest.approx(bpm, rel=0.01)
    assert facts.pulse.metre == 5
    assert off_beats_s(facts.pulse.downbeats_s, beats_s[::5]).max() < ON_THE_BEAT_S
    given = heard(parts, "end", as_stems=as_stems, metre=5)
    assert (given.pulse.metre, round(given.pulse.tempo_bpm)) == (5, round(bpm))
    assert off_beats_s(given.pulse.downbeats_s, beats_s[::5]).max() < ON_THE_BEAT_S
    assert given.pulse.downbeat_confidence > facts.pulse.downbeat_confidence


def test_six_eight_is_two_dotted_beats():
    beats_s = odd.even_beats(80, 26)
    parts = odd.band(beats_s, "6/8")
    facts = heard(parts, "start")
    assert (facts.pulse.metre, round(facts.pulse.tempo_bpm)) == (2, 80)
    assert off_beats_s(facts.pulse.downbeats_s, beats_s[::2]).max() < ON_THE_BEAT_S


def test_slow_six_eight_keeps_its_bars_and_is_settled_by_the_metre():
    """Two slow dotted beats may be counted as three quarters: same bars, and the other is named."""
    beats_s = odd.even_beats(60, 20)
    parts = odd.band(beats_s, "6/8")
    facts = heard(parts, "start")
    assert set(np.round(facts.pulse.downbeats_s, 1)) <= set(np.round(beats_s[::2], 1))
    tempi_bpm = [facts.pulse.tempo_bpm, *facts.pulse.tempo_alternatives_bpm[:2]]
    assert any(bpm == pytest.approx(60.0, rel=0.01) for bpm in tempi_bpm)
    given = heard(parts, "start", metre=2)
    assert (given.pulse.metre, round(given.pulse.tempo_bpm)) == (2, 60)
    as_eighths = heard(parts, "start", metre=6, tempo_bpm=180.0)
    assert (as_eighths.pulse.metre, round(as_eighths.pulse.tempo_bpm)) == (6, 180)
    assert off_beats_s(as_eighths.pulse.downbeats_s, beats_s[::2]).max() < ON_THE_BEAT_S


@cache
def told_extreme(bpm, edge):
    parts = odd.band(odd.even_beats(bpm, EXTREMES[bpm]))
    return heard(parts, edge, tempo_bpm=bpm)


EXTREMES = {40.0: 18, 220.0: 72}
"""Beats of a song at the slowest and at the fastest tempo that is heard."""


@pytest.mark.parametrize(("bpm", "n_beats"), EXTREMES.items())
def test_extreme_tempo_is_heard_or_told(bpm, n_beats, capsys):
    facts = old_band(bpm=bpm, n_beats=n_beats)
    is_heard = facts.pulse.tempo_bpm == pytest.approx(bpm, rel=0.01)
    others = facts.pulse.tempo_alternatives_bpm
    assert is_heard or any(other == pytest.approx(bpm, rel=0.01) for other in others)
    print_facts([facts])
    printed = capsys.readouterr().out
    if not is_heard:
        tempo_line = next(line for line in printed.splitlines() if line.startswith("tempo"))
        assert f"{bpm:.0f}" in tempo_line.split("(or ")[1]
    given = told_extreme(bpm, "end")
    assert given.pulse.tempo_bpm == pytest.approx(bpm, rel=0.01)
    truth_s = odd.even_beats(bpm, n_beats) + OLD_S
    assert off_beats_s(given.pulse.downbeats_s, truth_s[::4]).max() < ON_THE_BEAT_S


def test_no_ramp_goes_beyond_what_a_band_can_follow(shelf):
    plans = plans_of(shelf, told_extreme(40.0, "end"), told_extreme(220.0, "start"))
    assert "stop and count-in" in plans
    for name, plan in plans.items():
        for span in plan.tempo.spans:
            reached = max(span.end_bpm, span.start_bpm) / min(span.end_bpm, span.start_bpm)
            assert reached <= 2.0 + 1e-6, name
            a_beat = 100 * (reached ** (1 / span.n_beats) - 1)
            assert span.start_bpm == span.end_bpm or a_beat <= MOST_PERCENT_A_BEAT, name


@pytest.mark.parametrize("n_beats", [1, 3, 6, 10, 14])
def test_edge_shorter_than_four_bars(n_beats, shelf):
    facts = heard(odd.band(odd.even_beats(120, n_beats)), "end")
    new = heard(odd.band(odd.even_beats(120, n_beats)), "start")
    for one in (facts, new):
        assert is_said("could be heard: check key", one.doubts) or is_said(
            "No clear pulse", one.doubts
        )
        assert one.pulse.confidence < 0.8 or n_beats == 14
    for pair in ((facts, new_band()), (old_band(), new)):
        for name, plan in plans_of(shelf, *pair).items():
            assert 0 <= plan.exit_beat < plan.entry_beat < plan.end_beat, name
    fit = fits(shelf, facts, new_band())
    assert sum(mark >= LEAST_SUITABILITY for mark in fit.values()) >= 3
    assert max(fit["tempo ramp"], fit["bar-aligned overlap"]) < LEAST_SUITABILITY


@pytest.mark.parametrize("silence_s", [0.0, 4.0])
def test_fade_to_silence_is_left_while_it_is_heard(silence_s, shelf):
    parts = odd.faded(
        odd.band(odd.even_beats(110, 44)), from_s=10.0, by_db=60.0, silence_s=silence_s
    )
    facts = heard(parts, "end")
    assert facts.ending.kind == "fade"
    assert facts.ending.sound_end_s < facts.duration_s - silence_s + 0.1
    fit = fits(shelf, facts, new_band())
    suited = [name for name in fit if fit[name] >= LEAST_SUITABILITY]
    assert len(suited) >= 3
    plans = plans_of(shelf, facts, new_band())
    for name in suited:
        for layer in plans[name].layers:
            if not isinstance(layer, SongLayer) or layer.song != "outgoing":
                continue
            last_s = max(point.source_s for point in layer.time_map)
            assert last_s < facts.ending.sound_end_s, (name, layer.name)
            # a fade of 60 dB over 14 s has taken 20 dB in the first 5
            assert source_s(layer, plans[name].exit_beat) < OLD_S + 15.0, (name, layer.name)


def live_recording(length_s):
    beats_s = odd.even_beats(110, 33)
    song = odd.stopped(odd.band(beats_s), float(beats_s[32]) + 0.1)
    claps = odd.applause(length_s, seed=1)
    return odd.then(song, claps, overlap_s=0.5), OLD_S + float(beats_s[32])


@pytest.mark.parametrize("length_s", [5.0, 12.0])
def test_song_is_left_before_its_applause(length_s, shelf):
    parts, stop_s = live_recording(length_s)
    facts = heard(parts, "end")
    assert facts.applause_s == pytest.approx(stop_s, abs=1.0)
    assert facts.ending.kind == "cold stop"
    assert facts.ending.last_hit_s == pytest.approx(stop_s, abs=0.15)
    assert is_said("Applause or noise is heard from", facts.doubts)
    assert off_beats_s(facts.pulse.beats_s, odd.even_beats(110, 32) + OLD_S).max() < ON_THE_BEAT_S
    plan = plans_of(shelf, facts, new_band())["pad in the new key"]
    song = next(layer for layer in plan.layers if layer.name == "old song")
    assert source_s(song, plan.exit_beat) == pytest.approx(stop_s, abs=ON_THE_BEAT_S)


def test_song_that_starts_in_another_songs_applause_starts_on_its_bar_one():
    parts = odd.band(odd.even_beats(96, 32, first_s=5.5))
    claps = np.zeros(len(parts["drums"]))
    early = odd.applause(5.7, seed=2)
    claps[: len(early)] = early
    facts = heard({**parts, "other": claps}, "start")
    assert facts.opening.first_downbeat_s == pytest.approx(5.5, abs=ON_THE_BEAT_S)
    assert facts.opening.kind == "on the beat"
    assert facts.opening.sound_start_s == pytest.approx(5.5, abs=0.1)
    assert is_said("Applause or noise is heard up to 5.", facts.doubts)


@pytest.mark.parametrize("made", ["band", "drums", "ambient", "spoken", "fade"])
def test_nothing_else_is_taken_for_applause(made):
    band = odd.band(odd.even_beats(110, 32))
    parts = {
        "band": band,
        "drums": {"drums": band["drums"]},
        "ambient": odd.ambient(seed=3),
        "spoken": odd.spoken(seed=3),
        "fade": odd.faded(band, from_s=6.0, by_db=60.0),
    }[made]
    assert applause_s(odd.mix_edge(parts, "end")) is None
    assert applause_s(odd.mix_edge(parts, "start")) is None


def test_one_song_twice(shelf):
    parts = odd.band(odd.even_beats(110, 40), key="D major")
    old = heard(parts, "end", key=parse_key("D major"))
    new = heard(parts, "start", key=parse_key("D major"))
    assert key_distance(old.key.key, new.key.key) == pytest.approx(0.0, abs=1e-9)
    assert relation(old.key.key, new.key.key) == "Both songs are in D major"
    fit = fits(shelf, old, new)
    assert fit["tempo ramp"] < LEAST_SUITABILITY
    assert fit["breakdown and rebuild"] < LEAST_SUITABILITY
    assert fit["bar-aligned overlap"] == max(fit.values())
    for plan in plans_of(shelf, old, new).values():
        assert plan.key_from == plan.key_to


@pytest.mark.parametrize(
    ("how", "role"), [("missing", "drums"), ("silent", "drums"), ("silent", "bass")]
)
def test_stem_that_is_missing_or_silent(how, role, shelf):
    parts = odd.band(odd.even_beats(110, 40))
    if how == "silent":
        parts[role] = np.zeros_like(parts[role])
    else:
        del parts[role]
    facts = heard(parts, "end", as_stems=True)
    assert facts.pulse.tempo_bpm == pytest.approx(110.0, rel=0.01)
    assert is_said(f"{role}.wav is silent at the end", facts.doubts) == (how == "silent")
    song = odd.stem_edge(parts, "end")
    silent = silent_stems(song)
    roles = frozenset(stem.role for stem in song.stems if stem.file not in silent)
    assert role not in roles
    fit = fits(shelf, facts, new_band(), Given(outgoing_roles=roles))
    on_drums = max(fit["drum break"], fit["tempo ramp"])
    assert (on_drums >= LEAST_SUITABILITY) == (role != "drums")


def test_stems_that_are_all_silent(shelf):
    parts = {role: 0 * sound for role, sound in odd.band(odd.even_beats(110, 32)).items()}
    facts = heard(parts, "end", as_stems=True)
    assert is_said("There is only silence at the end of the song.", facts.doubts)
    assert not facts.key.is_known
    assert not facts.pulse.is_known
    assert plans_of(shelf, facts, new_band())


def test_forty_cents_apart_is_heard_told_and_not_played_at_once(shelf):
    old, new = old_band(key="A minor"), new_band(key="A minor", bpm=110.0, cents=40.0)
    assert new.tuning_cents - old.tuning_cents == pytest.approx(40.0, abs=TUNED_CENTS)
    fit = fits(shelf, old, new)
    assert fit["bar-aligned overlap"] < LEAST_SUITABILITY
    in_tune = fits(shelf, old, new_band(key="A minor", bpm=110.0))
    assert in_tune["bar-aligned overlap"] > LEAST_SUITABILITY
    for name, plan in plans_of(shelf, old, new).items():
        assert is_said("tuned 40 cents apart", plan.notes), name
        apart_cents = plan.key_to_tuning_cents - plan.key_from_tuning_cents
        assert apart_cents == pytest.approx(40.0, abs=TUNED_CENTS), name


@pytest.mark.parametrize(("bpm", "edge"), [((118.0, 121.0), "end"), ((98.0, 95.0), "start")])
def test_drift_of_three_bpm_is_followed(bpm, edge):
    """The pulse is that of the very edge, not of the whole."""
    beats_s = odd.drifting_beats(bpm, 48)
    facts = heard(odd.band(beats_s), edge)
    truth_s = beats_s + (OLD_S if edge == "end" else 0.0)
    assert off_beats_s(facts.pulse.beats_s, truth_s).max() < ON_THE_BEAT_S
    lengths_s = np.diff(facts.pulse.beats_s)
    at_edge_bpm = 60.0 / (lengths_s[0] if edge == "start" else lengths_s[-1])
    assert at_edge_bpm == pytest.approx(bpm[0 if edge == "start" else 1], abs=0.5)
    assert abs(facts.pulse.tempo_bpm - at_edge_bpm) < 1.0


@pytest.fixture(scope="module", name="folder")
def _folder(tmp_path_factory):
    return tmp_path_factory.mktemp("odd")


def run_between(folder, old, new, *more):
    told = run_here(
        ["between", str(old), str(new), "--out", str(folder / "run"), "--rate", "22050",
         "--edge-seconds", "14", "--workers", "1", "--no-cache", "--quiet", *more]
    )  # fmt: skip
    assert told.code == 0, told.err
    return told.out


def test_the_main_job_on_ambient_music_before_drums(folder):
    old = odd.written(odd.ambient(seed=1, length_s=14.0), folder / "Glass Harbour.wav")
    drums = odd.band(odd.even_beats(96, 24))["drums"]
    new = odd.written({"drums": drums}, folder / "Kit.wav")
    printed = " ".join(run_between(folder, old, new, "--recipe", "stop and count-in").split())
    assert "No key was heard at the start of 'Kit': pads and cue keep to D major." in printed
    assert "tempo free time" in printed
    assert "2 bars counted at 96 BPM" in printed
    assert printed.count("pads and cue keep to D major") == 1
    assert "No clear pulse at the end of 'Glass Harbour'" in printed


def test_a_bridge_without_a_drum_stem_plays_what_the_mix_has(tmp_path):
    parts = odd.band(odd.even_beats(110, 28))
    parts["other"] = parts.pop("drums")
    parts["drums"] = np.zeros_like(parts["other"])
    old = odd.written(parts, tmp_path / "Silent Drums")
    new = odd.written(odd.band(odd.even_beats(104, 24)), tmp_path / "New.wav")
    printed = " ".join(run_between(tmp_path, old, new, "--recipe", "drum break").split())
    assert "drums.wav is silent at the end of the song." in printed
    assert "The drums of Silent Drums come out of its mix" in printed
