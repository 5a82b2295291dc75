"""What was heard before is heard again the same, or anew; never wrongly and never a fault."""

import dataclasses
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from segue.analysis.hear import hear_edge
from segue.audio import read_song
from segue.audio.clip import Clip, Overrides, SongEdge, Stem
from segue.files.source_digest import source_digest
from segue.heard.facts_cache import N_PARTS, FactsCache, user_facts_cache
from segue.heard.hearing import around, edge_digest, hear, heard_edge, listener_digest
from segue.music.key import parse_key
from tests.analysis.key_sounds import CADENCE, chords_of
from tests.analysis.key_sounds import RATE_HZ as KEY_RATE_HZ
from tests.plan.song_facts import end_facts, start_facts

RATE_HZ = 22_050
KEY = "ab" + "0" * 38
N_RUNS = 4
HEARERS = """
import sys
from pathlib import Path
from segue.heard.facts_cache import FactsCache
from tests.plan.song_facts import start_facts
cache = FactsCache(folder=Path(sys.argv[1]))
for round in range(200):
    key = f"{round % 5:02x}" + "0" * 38
    facts = start_facts(bpm=90.0 + round % 5)
    cache.keep(key, facts)
    found = cache.facts_of(key)
    assert found in (None, facts), found
    if round % 50 == 17:
        cache.clear()
"""


def song(seed=0, *, path="a.wav", role="mix", remarks=(), duration_s=100.0):
    rng = np.random.default_rng(seed)
    sound = (0.1 * rng.standard_normal((3 * RATE_HZ, 2))).astype(np.float32)
    clip = Clip(samples=sound, rate_hz=RATE_HZ)
    return SongEdge(
        path=Path(path),
        title=path,
        edge="start",
        stems=(Stem(role=role, file=path, clip=clip),),
        duration_s=duration_s,
        remarks=remarks,
    )


@pytest.fixture(name="cache")
def _cache(tmp_path):
    return FactsCache(folder=tmp_path / "cache")


def test_facts_from_the_cache_are_those_that_were_heard(cache, monkeypatch):
    plain = hear(song())
    kept = hear(song(), cache=cache)
    monkeypatch.setattr("segue.analysis.hear.hear_edge", None)
    assert plain == kept == hear(song(), cache=cache)


def test_same_sound_under_another_name_is_known_and_named_so(cache, monkeypatch):
    hear(song(), cache=cache)
    other = song(path="b.wav", remarks=("'b.wav' is odd.",))
    expected = hear(other)
    monkeypatch.setattr("segue.analysis.hear.hear_edge", None)
    assert hear(other, cache=cache) == expected
    assert expected.title == "b.wav"


def test_a_stem_that_is_silent_is_no_part_of_what_was_heard():
    drums = song(role="drums").stems[0]
    still = Clip(samples=np.zeros_like(drums.clip.samples), rate_hz=RATE_HZ)
    stems = (drums, Stem(role="bass", file="bass.wav", clip=still))
    heard = heard_edge(dataclasses.replace(song(), stems=stems), cached=False)
    assert heard.has_stems
    assert heard.roles == {"drums"}


def with_backing(edge):
    return dataclasses.replace(
        edge, stems=tuple(dataclasses.replace(stem, is_backing=True) for stem in edge.stems)
    )


def test_a_backing_track_may_have_drums():
    voice, track = song(role="voice").stems[0], song(2, role="other").stems[0]
    edge = dataclasses.replace(song(), stems=(voice, track))
    assert heard_edge(edge, cached=False).roles == {"voice", "other"}
    assert heard_edge(with_backing(edge), cached=False).roles == {"voice", "other", "drums"}


@pytest.mark.parametrize(
    "other",
    [
        (song(1), None, None),
        (with_backing(song()), None, None),
        (song(role="bass"), None, None),
        (song(duration_s=101.0), None, None),
        (song(), Overrides(key=parse_key("C major")), None),
        (song(), Overrides(tempo_bpm=100.0), None),
        (song(), None, song(2).mix),
    ],
    ids=["sound", "backing", "role", "length", "key said", "tempo said", "lead"],
)
def test_whatever_facts_depend_on_is_in_the_key(other):
    edge, overrides, lead = other
    assert edge_digest(edge, overrides=overrides, lead=lead) != edge_digest(song())


def test_edge_and_place_are_in_the_key():
    first = song()
    end = dataclasses.replace(first, edge="end")
    clip = dataclasses.replace(first.stems[0].clip, start_s=1.0)
    later = dataclasses.replace(first, stems=(dataclasses.replace(first.stems[0], clip=clip),))
    assert len({edge_digest(one) for one in (first, end, later)}) == 3


def test_the_rest_of_a_song_is_heard_for_the_key_while_its_file_is_there(tmp_path):
    path = tmp_path / "song.wav"
    chords = [chords_of(tonic, CADENCE["major"]) for tonic in (0, 0, 0, 0, 0, 0, 9, 9, 9)]
    soundfile.write(path, np.concatenate(chords), KEY_RATE_HZ, subtype="FLOAT")
    edge = read_song(path, edge="end", edge_s=12.0)
    clips = around(edge)
    assert [(clip.start_s, clip.end_s) for clip in clips] == [(12.0, 24.0), (0.0, 12.0)]
    heard = hear(edge)
    assert heard == hear_edge(edge, around=clips)
    path.unlink()
    alone = hear(edge)
    assert around(edge) == ()
    assert alone == hear_edge(edge)
    assert alone.key != heard.key
    assert dataclasses.replace(alone, key=heard.key, doubts=heard.doubts) == heard


def test_other_code_is_another_listener(monkeypatch):
    before = listener_digest()
    source_digest.cache_clear()
    monkeypatch.setattr("segue.files.source_digest._version", lambda name: "0.0")
    changed = listener_digest()
    source_digest.cache_clear()
    assert changed != before


@pytest.mark.parametrize("facts", [start_facts(bpm=100 / 3), end_facts(kind="fade")])
def test_entry_comes_back_exactly(cache, facts):
    cache.keep(KEY, facts)
    assert cache.facts_of(KEY) == facts


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: text[: len(text) // 2],
        lambda text: b"",
        lambda text: text.replace(b"96.0", b"97.0"),
        lambda text: text.replace(b'"schema_version": 1', b'"schema_version": 0'),
        lambda text: text.replace(KEY.encode(), b"cd" + KEY[2:].encode()),
        lambda text: b'{"facts": 1}\n',
        lambda text: bytes(range(256)),
    ],
    ids=["cut", "empty", "changed", "older", "of another key", "foreign", "no text"],
)
def test_entry_that_is_not_sound_counts_for_nothing_and_is_replaced(cache, spoil):
    facts = start_facts()
    cache.keep(KEY, facts)
    (path,) = cache.folder.rglob("*.json")
    whole = path.read_bytes()
    spoiled = spoil(whole)
    assert spoiled != whole
    path.write_bytes(spoiled)
    assert cache.facts_of(KEY) is None
    cache.keep(KEY, facts)
    assert cache.facts_of(KEY) == facts


def test_entry_is_one_json_value(cache):
    cache.keep(KEY, start_facts())
    (path,) = cache.folder.rglob("*.json")
    assert json.loads(path.read_text())["key"] == KEY


def test_facts_that_would_come_back_changed_are_not_kept(cache):
    facts = dataclasses.replace(start_facts(), tuning_cents=float("nan"))
    cache.keep(KEY, facts)
    assert cache.size().n_entries == 0


def test_folder_that_cannot_be_made_only_means_no_cache(tmp_path):
    (tmp_path / "file").write_text("in the way")
    cache = FactsCache(folder=tmp_path / "file")
    cache.keep(KEY, start_facts())
    assert cache.facts_of(KEY) is None
    assert cache.size().n_entries == 0


def test_least_recently_used_go_first(cache):
    keys = [f"ab{n:038x}" for n in range(4)]
    cache.keep(keys[0], start_facts())
    room_for_three = 3.5 * cache.size().n_bytes * N_PARTS
    cache = dataclasses.replace(cache, limit_bytes=round(room_for_three))
    for key in keys[1:3]:
        cache.keep(key, start_facts())
    for age_s, key in enumerate((keys[2], keys[0], keys[1])):
        (path,) = cache.folder.rglob(f"{key[2:]}.json")
        os.utime(path, (1000.0 - age_s, 1000.0 - age_s))
    assert cache.facts_of(keys[1]) is not None  # the oldest, used again
    cache.keep(keys[3], start_facts())
    assert [cache.facts_of(key) is not None for key in keys] == [False, True, True, True]


@pytest.mark.parametrize("then_s", [0.0, 4e9], ids=["in 1970", "in a time to come"])
def test_what_was_just_heard_stays_whatever_the_clock_said_before(cache, then_s):
    keys = [f"ab{n:038x}" for n in range(6)]
    cache.keep(keys[0], start_facts())
    cache = dataclasses.replace(cache, limit_bytes=round(3.5 * cache.size().n_bytes * N_PARTS))
    for key in keys[:3]:
        cache.keep(key, start_facts())
        (path,) = cache.folder.rglob(f"{key[2:]}.json")
        os.utime(path, (then_s, then_s))
    for key in keys[3:]:
        cache.keep(key, start_facts())
    assert [cache.facts_of(key) is not None for key in keys] == [False] * 3 + [True] * 3


def test_size_stays_under_the_limit(cache):
    cache = dataclasses.replace(cache, limit_bytes=20_000 * N_PARTS)
    for n in range(40):
        cache.keep(f"{n % 2:02x}{n:038x}", start_facts())
    assert 2 < cache.size().n_entries < 40
    assert cache.size().n_bytes <= 2 * 20_000


def test_clear_leaves_what_is_not_ours(cache):
    cache.keep(KEY, start_facts())
    (cache.folder / "diary.txt").write_text("mine")
    cache.clear()
    assert cache.size().n_entries == 0
    assert (cache.folder / "diary.txt").exists()


def test_environment_moves_the_cache(monkeypatch, tmp_path):
    monkeypatch.setenv("SEGUE_CACHE", str(tmp_path))
    assert user_facts_cache().folder == tmp_path


def test_concurrent_runs_never_see_a_wrong_or_half_entry(tmp_path):
    """Several processes write, read and clear the same five entries."""
    root = Path(__file__).parents[1]
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", HEARERS, str(tmp_path)],
            cwd=root,
            env=os.environ | {"PYTHONPATH": str(root)},
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(N_RUNS)
    ]
    for run in runs:
        with run:
            _, said = run.communicate()
        assert run.returncode == 0, said


def test_what_a_killed_process_left_in_the_cache_is_swept_and_that_of_a_living_one_is_not(tmp_path):
    staging = tmp_path / "staging"
    staging.mkdir()
    gone = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"],
                          capture_output=True, check=True, text=True).stdout.strip()  # fmt: skip
    for name in (f".new-{gone}-a", f".new-{os.getpid()}-b", ".new-x-c"):
        (staging / name).write_text("half")
    FactsCache(folder=tmp_path).sweep()
    assert sorted(path.name for path in staging.iterdir()) == [f".new-{os.getpid()}-b", ".new-x-c"]
