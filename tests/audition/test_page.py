"""The page as text: one file, valid, escaped, readable."""

import base64
import hashlib
import json
import re
import shutil
from dataclasses import replace
from html.parser import HTMLParser

import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from segue.analysis.facts import EdgeChord, KeyWeight
from segue.audio.marked_mp3 import BASE64_RATIO, MUSIC_BUDGET_BYTES, marked_mp3, music_rate_kbps
from segue.audition import sound
from segue.audition.page import STYLES, PageView, filled_page, served_page_text, write_page
from segue.audition.page_values import fact_rows, matching_gains_db, weak_places
from segue.cli.tables import print_facts
from segue.music.chord import Chord
from segue.music.key import parse_key
from segue.pages import joined
from segue.runfolder import Choice
from segue.runfolder.remedies import WEAK_MARK, Remedy
from tests.audition.conftest import measure
from tests.plan.song_facts import end_facts, start_facts, unheard

CSS = str(joined(STYLES))
KEYS = ("G major", "B minor", "D major")


class Blocks(HTMLParser):
    """Tags with their attributes, and the text of every style and script block."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.blocks, self.open = [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag in ("style", "script"):
            self.open = (tag, dict(attrs), [])

    def handle_data(self, data):
        if self.open:
            self.open[2].append(data)

    def handle_endtag(self, tag):
        if self.open and self.open[0] == tag:
            self.blocks.append((tag, self.open[1], "".join(self.open[2])))
            self.open = None


@pytest.fixture(scope="module", name="blocks")
def _blocks(folder):
    return Blocks((folder / "audition.html").read_text(encoding="utf-8"))


def test_policy_names_exactly_the_blocks_of_the_page(blocks):
    policy = next(a["content"] for t, a in blocks.tags if t == "meta" and "http-equiv" in a)
    for tag in ("style", "script"):
        inline = [text for t, attrs, text in blocks.blocks if t == tag and "type" not in attrs]
        assert len(inline) == 1
        digest = hashlib.sha256(inline[0].encode()).digest()
        assert f"{tag}-src 'sha256-{base64.b64encode(digest).decode()}'" in policy
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy


def test_page_names_nothing_outside_itself(blocks, folder):
    assert not [a for _, a in blocks.tags if {"src", "href", "action", "style"} & set(a)]
    assert not [a for _, a in blocks.tags if any(name.startswith("on") for name in a)]
    text = (folder / "audition.html").read_text(encoding="utf-8")
    assert set(re.findall(r"https?://[^\s\"'<]*", text)) == {"http://www.w3.org/2000/svg"}
    assert "url(" not in CSS
    assert "@import" not in CSS


def test_blocks_hold_valid_json_and_sound(blocks, document):
    run = next(text for _, attrs, text in blocks.blocks if attrs.get("id") == "run")
    values = json.loads(run, parse_constant=pytest.fail)
    assert [way["name"] for way in values["ways"]] == [r.plan.recipe for r in document.candidates]
    for way, record in zip(values["ways"], document.candidates, strict=True):
        assert way["duration_s"] == pytest.approx(record.plan.duration_s, abs=1e-4)
        assert len(way["bars"]) == len(record.bars)
    sounds = {a["id"]: t for _, a, t in blocks.blocks if "octet" in a.get("type", "")}
    assert set(sounds) == {f"{bus}-{n}" for bus in ("music", "click", "cue") for n in range(3)}
    for text in sounds.values():
        assert len(base64.b64decode(text, validate=True)) > 1000


@given(st.lists(st.floats(1.0, 120.0), min_size=1, max_size=5))
def test_music_fits_its_budget_wherever_a_rate_does(durations_s):
    rate_kbps = music_rate_kbps(durations_s)
    n_bytes = sum(durations_s) * rate_kbps * 125 * BASE64_RATIO
    assert n_bytes <= MUSIC_BUDGET_BYTES or rate_kbps == 48


def test_constant_rate_is_what_the_file_has(folder, document, blocks):
    durations_s = [record.plan.duration_s for record in document.candidates]
    rate_kbps = music_rate_kbps(durations_s)
    for n, duration_s in enumerate(durations_s):
        text = next(t for _, a, t in blocks.blocks if a.get("id") == f"music-{n}")
        heard_kbps = len(base64.b64decode(text)) / 125 / (duration_s + 0.25)
        assert heard_kbps == pytest.approx(rate_kbps, rel=0.02)


def test_louder_candidates_are_turned_down_to_the_softest(document):
    def with_level(record, lufs):
        curve = tuple(replace(s, value=lufs) for s in record.scorecard.loudness_lufs)
        return replace(record, scorecard=replace(record.scorecard, loudness_lufs=curve))

    first, second, third = document.candidates
    gains_db = matching_gains_db((with_level(first, -16.0), with_level(second, -18.5), third))
    assert gains_db == [-2.5, 0.0, -2.5]


def test_weak_places_are_the_low_marks_the_worst_first(document):
    record = document.candidates[0]
    measures = (
        measure("late", 0.1, record.plan.entry_beat),
        measure("fine", WEAK_MARK, 3.0),
        measure("nowhere", 0.0),
        measure("early", 0.7, 5.0),
    )
    weak = replace(record, scorecard=replace(record.scorecard, measures=measures))
    places = weak_places(document, weak)
    assert [(p.number, p.measure.name, p.bar) for p in places] == [
        (1, "late", next(b.number for b in record.bars if b.section == "incoming")),
        (2, "early", 2),
    ]
    assert places[1].from_s == record.bars[0].time_s


def test_choice_of_the_band_is_shown_at_its_candidate(document, folder):
    chosen = replace(document, choice=Choice(rank=2, why="<b>the singer smiled</b>"))
    page = served_page_text(folder, PageView(document=chosen, records=chosen.candidates))
    first, second = page.split('<section class="way"')[1:3]
    assert "The band chose this" not in first
    assert "The band chose this" in second
    assert "&lt;b&gt;the singer smiled&lt;/b&gt;" in second


def test_facts_say_what_is_unsure_given_and_unheard():
    old, new = end_facts(confidence=0.6), start_facts(first_note_s=5.0)
    unsure = replace(
        old.key, runners_up=tuple(KeyWeight(key=parse_key(k), weight=0.1) for k in KEYS)
    )
    on_d = EdgeChord(chord=Chord(root=2, quality="major"), confidence=0.9)
    rows = fact_rows(
        replace(old, key=unsure, edge_chord=on_d),
        replace(
            new,
            key=replace(new.key, source="given"),
            opening=replace(new.opening, kind="pick-up", pickup_beats=1.5),
        ),
    )
    assert [name for name, *_ in rows] == [
        "key", "at the edge", "tuning", "tempo", "metre", "level", "ends / starts", "first note",
    ]  # fmt: skip
    key, chord, _, tempo, metre, _, ends, note = rows
    assert key[1:] == ("E minor? 60 % (or G major 10 %, B minor 10 %)", "F minor (given)")
    assert chord[1:] == ("ends on VII (D)", "-")
    assert [words.partition(" (")[0] for words in tempo[1:]] == ["124 BPM?", "96 BPM"]
    assert [words.partition(",")[0] for words in metre[1:]] == ["4 beats a bar?", "4 beats a bar"]
    assert ends[1].startswith("keeps going, ")
    assert ends[2].startswith("pick-up of 1.5 beats, bar one at ")
    assert note[1:] == ("-", "F4 at 5.00 s")
    key, _, _, tempo, metre, *_, note = fact_rows(unheard(old), replace(new, first_note=None))
    assert (key[1], tempo[1], metre[1]) == ("none heard", "free time", "-")
    assert note[2] == "none heard"


def test_terminal_and_page_word_a_fact_alike(capsys):
    old, new = end_facts(confidence=0.6), start_facts(first_note_s=5.0)
    print_facts((old, new))
    printed = " ".join(capsys.readouterr().out.split())
    for row in fact_rows(old, new):
        for cell in row[1:2]:
            assert set(cell.split()) <= set(printed.split())


def test_doubts_of_both_songs_are_listed_under_their_names(document):
    doubted = replace(
        document,
        outgoing=replace(document.outgoing, title="Harbour", doubts=("the key",)),
        incoming=replace(document.incoming, title="Ferry", doubts=("bar one", "the tempo")),
    )
    page = filled_page(PageView(document=doubted, records=doubted.candidates), run={}, ballot="")
    assert "Unsure: 3" in page
    listed = re.findall(r"<li>([^<]+: [^<]+)</li>", page)
    assert listed == ["Harbour: the key", "Ferry: bar one", "Ferry: the tempo"]
    plain = filled_page(PageView(document=document, records=document.candidates), run={}, ballot="")
    assert "Unsure" not in plain


def test_what_costs_most_comes_first_whatever_its_mark(document):
    record = document.candidates[0]
    # weights 0.4 and 2.5 of the balanced table: 0.4 * 0.9 is less than 2.5 * 0.6
    measures = (measure("own_music", 0.1, 3.0), measure("landing", 0.4, 5.0))
    weak = replace(record, scorecard=replace(record.scorecard, measures=measures))
    assert [p.measure.name for p in weak_places(document, weak)] == ["landing", "own_music"]


def test_no_more_places_are_marked_than_help(document):
    record = document.candidates[0]
    many = tuple(measure(f"m{n}", 0.02 * n, 1.0 + n) for n in range(10))
    crowded = replace(record, scorecard=replace(record.scorecard, measures=many))
    assert [p.measure.name for p in weak_places(document, crowded)] == [f"m{n}" for n in range(6)]


def test_loudness_is_matched_on_the_new_song_alone(document):
    """A moment's window still holds the interlude after bar one: it must not count."""

    def blaring(record, lufs):
        curve = tuple(
            replace(s, value=lufs if s.time_s < record.entry_s + 0.4 else s.value)
            for s in record.scorecard.loudness_lufs
        )
        return replace(record, scorecard=replace(record.scorecard, loudness_lufs=curve))

    def short(record):
        curve = tuple(
            s for s in record.scorecard.loudness_lufs if abs(s.time_s - record.entry_s) < 0.9
        )
        return replace(record, scorecard=replace(record.scorecard, loudness_lufs=curve))

    first, second, _ = document.candidates
    assert matching_gains_db((blaring(short(first), -5.0), short(second))) == [0.0, 0.0]


def colours(scheme):
    light, dark, _paper = re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", light if scheme == "light" else dark))


def luminance(colour):
    # Relative luminance, WCAG 2.2.
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    ("front", "back", "ratio"),
    [  # WCAG 2.2 AA: text 4.5 (1.4.3), parts of pictures and controls 3 (1.4.11)
        *[(text, back, 4.5) for text in ("ink", "soft") for back in ("ground", "sheet")],
        *[("ink", band, 4.5) for band in ("out-band", "between-band", "in-band")],
        ("weak", "sheet", 4.5),
        *[(line, "sheet", 3.0) for line in ("out", "between", "in", "first", "edge")],
        *[(line, "lane", 3.0) for line in ("out", "in", "ink")],
        ("edge", "ground", 3.0),
        ("out", "ground", 3.0),
    ],
)
def test_contrast_is_enough_in_both_schemes(scheme, front, back, ratio):
    palette = colours(scheme)
    assert contrast(palette[front], palette[back]) >= ratio


@pytest.mark.parametrize(
    ("run_name", "word"),
    [(None, "&#39;old to new&#39;"), ("the set", "&#39;the set&#39;"), ("", "DIR")],
)
def test_a_remedy_is_a_line_to_copy_with_the_name_of_the_folder(
    document, folder, tmp_path, monkeypatch, run_name, word
):
    remedy = Remedy(words="make the bridge longer", options=("--bars", "8"))
    monkeypatch.setattr("segue.runfolder.remedies.remedy_of", lambda *_: remedy)
    record = document.candidates[0]
    weak = replace(record.scorecard, measures=(measure("drive", 0.1, record.plan.entry_beat),))
    made = replace(document, candidates=(replace(record, scorecard=weak),))
    run = tmp_path / "old to new"
    shutil.copytree(folder, run)
    page = write_page(run, made, run_name=run_name).read_text(encoding="utf-8")
    assert f"<code>segue change {word} {record.label} --bars 8</code>" in page
    assert f"{word} is the folder of this page." in page


def test_a_remedy_for_which_the_run_is_made_again_says_so(document, folder, tmp_path, monkeypatch):
    remedy = Remedy(words="match them", options=("--match",), command="between")
    monkeypatch.setattr("segue.runfolder.remedies.remedy_of", lambda *_: remedy)
    record = document.candidates[0]
    weak = replace(record.scorecard, measures=(measure("drive", 0.1, record.plan.entry_beat),))
    made = replace(document, candidates=(replace(record, scorecard=weak),))
    run = tmp_path / "run"
    shutil.copytree(folder, run)
    page = write_page(run, made).read_text(encoding="utf-8")
    assert "To match them, make the run again: <code>segue between ... --match</code>" in page


def test_a_page_written_anew_encodes_only_what_is_new(folder, document, tmp_path, monkeypatch):
    run = tmp_path / "run"
    shutil.copytree(folder, run)
    first = write_page(run, document).read_bytes()
    encoded = []

    def noted(source, *quality, **how):
        encoded.append(source.name)
        return marked_mp3(source, *quality, **how)

    monkeypatch.setattr(sound, "marked_mp3", noted)
    assert write_page(run, document).read_bytes() == first
    assert encoded == []
    changed = run / document.candidates[1].music_file
    samples, rate_hz = soundfile.read(changed)
    soundfile.write(changed, samples / 2, rate_hz, subtype="PCM_24")
    assert write_page(run, document).read_bytes() != first
    assert encoded == [changed.name]
