"""In a real browser: what is heard while playing, switching and looping."""

import numpy as np
import pytest
import soundfile
from scipy.signal import correlate

from tests.audition.tape import RATE_HZ, TAPE_SCRIPT, Finder, recorded, until

ALIGNMENT_S = 0.010  # bar lines drawn and heard: below the 10 ms that an ear parts two attacks by
SWITCH_S = 0.020  # the tolerance the page promises for keeping the place
FRAME_S = 1.5 / RATE_HZ


@pytest.fixture(scope="module", name="finder")
def _finder(folder, document):
    return Finder(folder, document)


def start_playing(page):
    until(page, "ways.every((way) => way.sounds)")
    page.click("#play")
    until(page, "state.playing && here() > state.place + 0.3")


def wait_on_tape(page, seconds):
    """Until that much more was recorded."""
    n = page.evaluate("tape.length")
    until(page, f"tape.length > {n} + {seconds} * {RATE_HZ} / 4096")


@pytest.mark.parametrize("bus", ["music", "click", "cue"])
def test_decoded_sound_lies_where_the_wav_has_it(open_page, folder, document, bus):
    page = open_page()
    until(page, "ways[0].sounds")
    rate_hz, heard = page.evaluate(
        f"""(() => {{ const {{ buffer, start_s }} = ways[0].sounds["{bus}"];
        const first = Math.round((start_s + 2) * buffer.sampleRate);
        const part = buffer.getChannelData(0).slice(first, first + 16384);
        return [buffer.sampleRate, Array.from(part)];
        }})()"""
    )
    wav, wav_hz = soundfile.read(folder / getattr(document.candidates[0], f"{bus}_file"))
    step = wav_hz // int(rate_hz)
    low = np.convolve(wav, np.ones(step) / step, mode="same")[::step]
    first = 2 * int(rate_hz) - 2048
    match = correlate(low[first : first + 16384 + 4096], heard, mode="valid")
    assert abs(int(np.argmax(match)) - 2048) / rate_hz <= ALIGNMENT_S
    assert match.max() > 10 * np.median(np.abs(match))


@pytest.mark.parametrize("padding_frames", [0, 1105, 2257])
def test_padding_that_a_browser_leaves_is_counted_out(open_page, padding_frames):
    # 529 + 576 frames of codec delay, and those after a header frame of 1152 (LAME technical FAQ,
    # from memory).
    page = open_page()
    start_s = page.evaluate(
        f"""(() => {{ const buffer = new AudioBuffer({{ length: 48000, sampleRate: 24000 }});
        const samples = buffer.getChannelData(0);
        samples.fill(0.9, Math.round(run.lead_s * 24000) + {padding_frames});
        samples[Math.round(run.mark_s * 24000) + {padding_frames}] = 0.3;
        return startOf(buffer, run); }})()"""
    )
    assert start_s == pytest.approx(0.25 + padding_frames / 24_000, abs=1e-9)


def test_sound_without_a_mark_starts_where_it_was_encoded(open_page):
    start_s = open_page().evaluate(
        "startOf(new AudioBuffer({ length: 48000, sampleRate: 24000 }), run)"
    )
    assert start_s == pytest.approx(0.25)


def test_play_advances_with_the_audio_clock(open_page, finder):
    page = open_page(script=TAPE_SCRIPT, bypass_csp=True)
    start_playing(page)
    wait_on_tape(page, 1.0)
    page.click("#play")
    places = finder.places(recorded(page))
    assert len(places) > 5
    assert {index for _, index, _ in places} == {0}
    late_s = np.array([time_s - place_s for time_s, _, place_s in places])
    assert np.ptp(late_s) <= FRAME_S
    stopped_s = page.evaluate("here()")
    assert stopped_s >= places[-1][2]
    assert page.evaluate("new Promise((r) => setTimeout(() => r(here()), 200))") == stopped_s


BUSY_SCRIPT = """(() => { const start = sound; let n_calls = 0;
window.sound = (at) => {
  const end = performance.now() + (n_calls++ ? 0 : 120);
  while (performance.now() < end);
  return start(at); }; })()"""
"""Holds the page up between choosing the moment of a switch and scheduling it."""


@pytest.mark.parametrize(
    ("side", "is_busy"),
    [
        pytest.param("exit_s", False, id="before the exit"),
        pytest.param("entry_s", False, id="after the entry"),
        pytest.param("exit_s", True, id="on a busy machine"),
    ],
)
def test_switching_while_playing_keeps_the_place(open_page, finder, document, side, is_busy):
    page = open_page(script=TAPE_SCRIPT, bypass_csp=True)
    from_s = getattr(document.candidates[0], side) - (2.5 if side == "exit_s" else -0.5)
    page.evaluate(f"goTo(0, {from_s})")
    start_playing(page)
    wait_on_tape(page, 0.4)
    if is_busy:
        page.evaluate(BUSY_SCRIPT)
    page.keyboard.press("2")
    until(page, "state.now === 1")
    wait_on_tape(page, 0.5)
    blocks = recorded(page)
    places = finder.places(blocks)
    early = [time_s - place_s for time_s, index, place_s in places if index == 0]
    after = [time_s - place_s for time_s, index, place_s in places if index == 1]
    assert min(len(early), len(after)) >= 2
    moved_s = np.mean(early) - np.mean(after)
    old, new = document.candidates[:2]
    assert moved_s == pytest.approx(getattr(new, side) - getattr(old, side), abs=SWITCH_S)

    # No gap: noise never falls silent. 0.7 is the middle of a cross-fade, 0.3 hardly noise at all.
    music = np.concatenate([samples for _, samples in blocks])
    sounding = np.nonzero(np.abs(music) > 0.01)[0]
    windows = music[sounding[0] + 1200 :]
    windows = windows[: len(windows) // 240 * 240].reshape(-1, 240)
    levels = np.sqrt(np.mean(windows**2, axis=1))
    assert levels.min() > 0.4 * np.median(levels)


def test_loop_stays_inside_its_span_and_is_tight(open_page, finder, document):
    page = open_page(script=TAPE_SCRIPT, bypass_csp=True)
    bars = document.candidates[0].bars
    from_s, to_s = bars[2].time_s, bars[3].time_s
    page.evaluate(f"goTo(0, {from_s + 0.1})")
    page.select_option("#loop-bars", "1")
    page.click("#loop")
    start_playing(page)
    wait_on_tape(page, 2.5 * (to_s - from_s))
    places = finder.places(recorded(page)[::2])
    assert len(places) > 10
    # A block over the joint may be found by its later part: then it starts before the span.
    block_s = 4096 / RATE_HZ
    assert {index for _, index, _ in places} == {0}
    assert all(from_s - block_s <= place_s < to_s for _, _, place_s in places)
    span_s = to_s - from_s
    turns = np.array([(time_s - place_s) / span_s for time_s, _, place_s in places])
    assert np.ptp(np.rint(turns - turns[0])) >= 2
    assert np.abs((turns - turns[0]) - np.rint(turns - turns[0])).max() * span_s <= FRAME_S


def test_loop_joint_is_continuous(open_page):
    steps = open_page().evaluate(
        """(() => { const rate = 48000, n = rate;
        const buffer = new AudioBuffer({ length: n, sampleRate: rate });
        const x = buffer.getChannelData(0);
        for (let i = 0; i < n; i += 1) x[i] = Math.sin(2 * Math.PI * 101.3 * i / rate);
        const y = loopOf({ buffer, start_s: 0.25 }, [0.1, 0.4]).buffer.getChannelData(0);
        let inside = 0;
        for (let i = 1; i < y.length; i += 1) inside = Math.max(inside, Math.abs(y[i] - y[i - 1]));
        return [y.length, Math.abs(y[0] - y[y.length - 1]), inside]; })()"""
    )
    assert steps[0] == round(0.3 * 48_000)
    largest = 2 * np.pi * 101.3 / 48_000  # of this sine from frame to frame
    assert steps[1] <= largest
    assert steps[2] <= 1.5 * largest


def test_click_and_cue_are_silent_until_faded_in(open_page):
    page = open_page()
    start_playing(page)
    assert page.evaluate("[faders.click.gain.value, faders.cue.gain.value]") == [0, 0]
    page.focus("#click")
    page.keyboard.press("End")
    until(page, "faders.click.gain.value > 0.9")
    assert page.evaluate("faders.cue.gain.value") == 0
