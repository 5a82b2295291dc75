"""What the server of a desk answers, and what it refuses."""

import io
import json
import os
import re
import time
import urllib.parse
import zipfile

import numpy as np
import soundfile

from segue.audio import read_song
from segue.desk.desk_pages import SCRIPTS
from segue.desk.orders import PACE_NAME
from segue.desk.own_folder import own_folder, safe_name
from segue.recipes import all_recipes
from segue.runfolder import read_document
from tests.audition.wire import PATIENCE_S, Client
from tests.desk.conftest import SONGS, TOKEN, served


def at(path, **query):
    return f"/{TOKEN}{path}" + (f"?{urllib.parse.urlencode(query)}" if query else "")


def wav(seconds=3.0):
    file = io.BytesIO()
    noise = 0.1 * np.random.default_rng(1).standard_normal((round(48_000 * seconds), 2))
    soundfile.write(file, noise, 48_000, format="WAV")
    return file.getvalue()


def until_text(client, path, words, patience_s=PATIENCE_S * 5):
    """The answer of an address, once it has some words in it."""
    end = time.monotonic() + patience_s
    while words not in (text := client.ask(path).body.decode()):
        assert time.monotonic() < end, text
        time.sleep(0.1)
    return text


def test_answers_forbid_what_is_not_ours(client):
    answer = client.ask(at("/"))
    assert answer.status == 200
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["referrer-policy"] == "no-referrer"
    for script in SCRIPTS:
        assert client.ask(at(f"/js/{script}")).headers["content-type"].startswith("text/javascript")
    assert client.ask(at("/js/..%2fstyles%2fdesk.css")).status == 404


def test_a_song_that_cannot_be_read_is_a_sentence_on_its_row(client):
    assert "broken" in until_text(client, at("/songs"), "is not audio")


def test_songs_are_heard_and_put_right(client, songs):
    song = SONGS[1]
    ends = until_text(client, at("/ends", new=song), "data-say")
    assert "Low Tide Telegraph" in ends
    say = {"song": song, "edge": "start", "field": "key", "value": "F minor"}
    assert client.post(at("/say"), say).status == 200
    assert str(read_song(songs / song, edge="start").notes.key) == "F minor"
    assert client.post(at("/say"), say | {"value": "H minor"}).status == 422
    assert str(read_song(songs / song, edge="start").notes.key) == "F minor"
    assert client.post(at("/say"), say | {"value": None}).status == 200
    assert read_song(songs / song, edge="start").notes.key is None


def test_files_come_in_whole_and_under_harmless_names(client, songs):
    name = "../../etc/New Song?.WAV"
    answer = client.ask(at("/songs", name=name), method="POST", body=wav())
    assert answer.status == 200
    kept = songs / answer.values["name"]
    assert kept.parent == songs
    assert kept.read_bytes() == wav()
    again = client.ask(at("/songs", name=name), method="POST", body=wav(2.5))
    assert again.values["name"] != answer.values["name"]
    assert kept.read_bytes() == wav()


def test_a_run_is_shown_played_chosen_and_packed(client, songs, run_name):
    page = client.ask(at("/options", run=run_name)).body.decode()
    values = json.loads(page.partition('id="run-values">')[2].partition("</script>")[0])
    assert values["run"] == run_name
    sound = client.ask(at("/run-sound", run=run_name, key="music-0"))
    document = read_document(songs / run_name)
    assert sound.body == (songs / run_name / document.candidates[0].music_file).read_bytes()
    assert client.ask(at("/run-sound", run=run_name, key="music-9")).status == 404
    assert client.post(at("/choose"), {"run": run_name, "rank": 9}).status == 422
    assert client.post(at("/choose"), {"run": run_name, "rank": 1, "why": "ours"}).status == 200
    assert read_document(songs / run_name).choice.why == "ours"
    packed = client.post(at("/pack"), {"run": run_name})
    pack = client.ask(at(f"/packs/{packed.values['file']}"))
    with zipfile.ZipFile(io.BytesIO(pack.body)) as archive:
        assert archive.testzip() is None
        assert any(name.endswith("tempo map.mid") for name in archive.namelist())


def test_two_windows_do_not_undo_each_other_s_order(client, songs):
    made = client.post(at("/evening/new"), {"title": "Harbour", "songs": list(SONGS)})
    name, titles = made.values["set"], ["Copper Wire Morning", "Low Tide Telegraph"]
    order = {"set": name, "titles": titles, "order": [1, 0]}
    assert client.post(at("/evening/order"), order).status == 200
    assert client.post(at("/evening/order"), order).status == 409
    text = (songs / name).read_text()
    assert text.index("Low Tide") < text.index("Copper Wire")
    assert client.post(at("/evening/order"), order | {"order": [0, 0]}).status == 409
    assert titles[0] in client.ask(at("/evening", set=name)).body.decode()


def test_names_of_files_are_made_harmless(tmp_path):
    assert safe_name("../../x", fallback="song") == "x"
    assert safe_name("CON", fallback="song") == "song"
    assert own_folder(tmp_path).free("", "a.wav").name == "a.wav"


def test_what_a_killed_desk_left_half_is_swept_and_what_was_kept_stays(tmp_path):
    root = tmp_path / "songs"
    root.mkdir()
    half, fresh, kept = root / ".dropped-1.wav", root / ".dropped-2.wav", root / "a.wav"
    for file in (half, fresh, kept):
        file.write_bytes(wav())
    os.utime(half, (0, 0))
    os.utime(kept, (0, 0))
    with served(root, tmp_path) as (port, _):
        assert Client(port).ask(at("/")).status == 200
        assert not half.exists()
        assert fresh.exists()
        assert kept.exists()


def test_a_take_is_kept_and_reviewed(client, songs, run_name):
    music = songs / run_name / read_document(songs / run_name).candidates[0].music_file
    path = at("/take", run=run_name, name="take 1.wav")
    answer = client.ask(path, method="POST", body=music.read_bytes())
    assert answer.status == 200
    assert "Next time:" in answer.body.decode()
    assert "-0 ms" not in answer.body.decode()
    takes = songs / "takes" / run_name.partition("/")[2]
    assert (takes / "take 1.wav").read_bytes() == music.read_bytes()
    assert (takes / "take 1 review.json").is_file()
    picture = (takes / "take 1 review.png").relative_to(songs).as_posix()
    assert client.ask(at("/picture", name=picture)).status == 200
    page = (takes / "take 1 review.html").relative_to(songs).as_posix()
    assert f"review-page?name={urllib.parse.quote(page)}" in answer.body.decode()
    shown = client.ask(at("/review-page", name=page))
    assert shown.status == 200
    assert "sandbox allow-scripts" in shown.headers["content-security-policy"]
    assert client.ask(at("/review-page", name=picture)).status == 404
    assert "take" not in client.ask(at("/songs")).body.decode()  # a take is no song


def test_a_vote_is_opened_to_phones_and_ended(client, run_name):
    assert client.post(at("/vote"), {"run": run_name, "blind": True}).status == 200
    assert 'class="vote"' in client.ask(at("/options", run=run_name)).body.decode()
    assert client.ask(at("/qr.svg")).body.startswith(b"<svg")
    assert client.post(at("/vote/stop"), {}).status == 200
    assert client.ask(at("/qr.svg")).status == 404


def test_how_fast_a_band_talks_is_kept_with_its_songs(client, songs):
    assert 'id="pace" min="60" max="260" step="1" inputmode="numeric" value="140"' in (
        client.ask(at("/")).body.decode()
    )
    assert client.post(at("/pace"), {"words_a_minute": 165}).status == 200
    assert 'value="165"' in client.ask(at("/")).body.decode()
    for pace in (0, 59, 261, -140):
        assert client.post(at("/pace"), {"words_a_minute": pace}).status == 422
    kept = songs / PACE_NAME
    assert "words_a_minute = 165" in kept.read_text()
    try:
        for text in ("words_a_minute = 1", "words_a_minute = true", "[[", "a = 1", "\0"):
            kept.write_text(text)
            page = client.ask(at("/")).body.decode()
            assert 'value="140"' in page
            assert "words_a_minute = 140, or another" in page or "say anew" in page
    finally:
        kept.unlink()


def heard_both(client):
    until_text(client, at("/ends", old=SONGS[0]), "data-say")
    until_text(client, at("/ends", new=SONGS[1]), "data-say")
    return {"old": SONGS[0], "new": SONGS[1]}


def music_of(answer):
    assert answer.status == 200, answer.body
    return soundfile.read(io.BytesIO(answer.body))


def test_a_rough_option_is_heard_before_anything_is_made(client, songs):
    pair = heard_both(client)
    before = sorted((songs / "segues").iterdir()) if (songs / "segues").exists() else []
    answer = client.post(at("/rough"), pair)
    samples, rate_hz = music_of(answer)
    exit_s, entry_s = (float(answer.headers[f"x-{name}-s"]) for name in ("exit", "entry"))
    assert 0 < exit_s < entry_s < len(samples) / rate_hz
    assert np.abs(samples).max() > 0.05
    assert client.post(at("/rough"), pair).body == answer.body
    longer = client.post(at("/rough"), pair | {"bars": 12})
    assert float(longer.headers["x-entry-s"]) > entry_s
    assert client.post(at("/rough"), pair | {"leave": "bar 0"}).status == 422
    assert (sorted((songs / "segues").iterdir()) if (songs / "segues").exists() else []) == before


def test_a_layer_alone_is_as_loud_as_among_the_others(client, run_name):
    draft = {"run": run_name, "option": "1"}
    whole, rate_hz = music_of(client.post(at("/draft"), draft))
    answer = client.ask(at("/options", run=run_name)).body.decode()
    form = answer.partition('data-change="1"')[2].partition("data-change=")[0]
    layers = re.findall(r'data-solo="([^"]+)"', form)
    assert layers
    alone = {
        name: music_of(client.post(at("/draft"), draft | {"solo": name}))[0] for name in layers
    }
    for samples in alone.values():
        assert samples.shape == whole.shape
        assert np.abs(samples[: rate_hz // 2]).max() < 1e-4  # the old song is silent
    assert any(np.abs(samples).max() > 0.01 for samples in alone.values())
    assert client.post(at("/draft"), draft | {"solo": "no such layer"}).status == 422


def test_an_option_is_kept_as_a_recipe_for_every_command(client, desk, run_name):
    own = desk[1].rules.own_recipes
    keep = {"run": run_name, "option": "1", "name": "Harbour door", "bars": 4}
    assert client.post(at("/recipe"), keep).values == {"name": "Harbour door"}
    recipe = next(r for r in all_recipes(own=own).recipes if r.name == "Harbour door")
    assert recipe.length.default == 4
    assert client.post(at("/recipe"), keep).status == 422  # the name is taken
    for name in ("", "  ", "two\nlines"):
        assert client.post(at("/recipe"), keep | {"name": name}).status == 422
    assert [path.name for path in own.iterdir()] == ["Harbour door.toml"]


def test_names_that_are_no_text_are_a_sentence_and_odd_ones_are_picked(tmp_path):
    root = tmp_path / "songs"
    root.mkdir()
    odd = (
        "Who are you? No: really*.wav",
        "*.wav",
        "CON.wav",
        "$HOME `id`.wav",
        "<b>.wav",
        "歌.wav",
    )
    no_text = (b"caf\xe9.wav", b"two\nlines.wav", b"\x1b[31mred.wav", "\u202eflip.wav".encode())
    for name in (*map(os.fsencode, odd), *no_text):
        with open(os.path.join(os.fsencode(root), name), "wb") as file:  # noqa: PTH118, PTH123
            file.write(wav())
    with served(root, tmp_path) as (port, _):
        client = Client(port)
        songs = client.ask(at("/songs")).body.decode()
        assert songs.count("has a name that is no plain text") == len(no_text)
        assert "\x1b" not in songs
        for name in odd:
            assert client.ask(at("/ends", old=name)).status == 200, name
        made = client.post(at("/evening/new"), {"title": "Odd", "songs": list(odd)})
        assert made.status == 200
        assert client.ask(at("/evening", set=made.values["set"])).status == 200
        assert client.ask(at("/", old=odd[0], new=odd[1])).status == 200


def test_an_empty_folder_says_what_to_do_first(tmp_path):
    root = tmp_path / "songs"
    root.mkdir()
    with served(root, tmp_path) as (port, _):
        client = Client(port)
        page = client.ask(at("/")).body.decode()
        assert page.count('class="hint') == 1
        assert "Drop two audio files" in page
        assert client.ask(at("/songs", name="my_song.wav"), method="POST", body=wav()).status == 200
        assert (root / "my_song.wav").is_file()
        assert "Drop two audio files" not in client.ask(at("/")).body.decode()


def test_a_song_that_breaks_something_is_told_and_the_next_one_is_heard(tmp_path, monkeypatch):
    from segue.desk import ears

    root = tmp_path / "songs"
    root.mkdir()
    (root / "a.wav").write_bytes(wav())
    hear = ears.Processes.outcomes

    def broken(self, task, inputs):
        if inputs[0].edge == "start":
            raise RuntimeError("unforeseen")
        return hear(self, task, inputs)

    monkeypatch.setattr(ears.Processes, "outcomes", broken)
    with served(root, tmp_path) as (port, _):
        client = Client(port)
        until_text(client, at("/songs"), "This went wrong here")
        until_text(client, at("/ends", old="a.wav"), "data-say")
