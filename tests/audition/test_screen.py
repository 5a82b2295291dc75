"""In a real browser: the page opens alone, fits its screen, and works by keyboard."""

import socket
from dataclasses import replace

import pytest

from segue.audition import write_page
from segue.runfolder.pictures import section_colours
from tests.audition.judged import faults_of
from tests.audition.tape import until


def unfold(page):
    """Open everything that is folded, and wait until the tall pictures are drawn."""
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    until(page, "ways.every((way) => way.width > 0)")


TARGET_PX = 44  # WCAG 2.2, success criterion 2.5.5
NASTY = """</script><img src=x onerror=alert(1)>" 'quoted' &amp;\nnew line"""


def test_page_opens_from_a_file_without_complaint_or_request(open_page, folder):
    page = open_page()
    until(page, "ways.every((way) => way.sounds)")
    page.click("#play")
    until(page, "state.playing && here() > 0.2")
    page.click("#choose-2")
    until(page, "state.now === 2")
    assert page.troubles == []
    assert page.requests == [(folder / "audition.html").as_uri()]


@pytest.mark.parametrize(
    "attempt",
    [
        pytest.param("fetch('URL').then(() => 'out', () => 'held')", id="fetch"),
        pytest.param(
            """new Promise((done) => { const image = new Image();
            image.onload = () => done('out'); image.onerror = () => done('held');
            image.src = 'URL'; })""",
            id="image",
        ),
        pytest.param(
            """(() => { const block = document.createElement('script');
            block.textContent = 'window.ran = 1'; document.body.append(block);
            return window.ran ? 'out' : 'held'; })()""",
            id="inline script",
        ),
    ],
)
def test_policy_holds_what_an_intruder_would_try(open_page, attempt):
    page = open_page()
    with socket.create_server(("127.0.0.1", 0)) as listener:
        url = f"http://127.0.0.1:{listener.getsockname()[1]}/"
        assert page.evaluate(attempt.replace("URL", url)) == "held"
        listener.settimeout(0.2)
        with pytest.raises(TimeoutError):
            listener.accept()
    assert any("Content Security Policy" in trouble for trouble in page.troubles)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    ("width", "height"), [(360, 740), (740, 360), (1280, 800)], ids=["phone", "turned", "desk"]
)
def test_axe_finds_nothing_in_any_state(open_page, width, height, scheme):
    # axe-core, an outside judge of accessible pages, with all of its rules
    page = open_page(width=width, height=height, scheme=scheme)
    assert faults_of(page) == []
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    until(page, "ways[0].sounds")
    page.click("#play")
    assert faults_of(page) == []


def test_a_phone_shows_every_option_on_its_first_screen(open_page):
    page = open_page(width=360, height=740, touch=True)
    bottom = page.evaluate("document.querySelector('.desk').getBoundingClientRect().top")
    for n in range(3):
        box = page.locator(f"#way-{n} .what").bounding_box()
        assert box["y"] + box["height"] <= bottom
        assert page.locator(f"#hear-{n}").is_visible()
        assert page.locator(f"#mini-{n} .band.interlude").count() == 1
        assert 2 <= page.locator(f"#places-{n} .place").count() <= 3


def test_text_of_twice_the_size_fits_and_leaves_room(open_page):
    # WCAG 2.2, success criterion 1.4.4
    page = open_page(width=360, height=740, touch=True)
    page.evaluate("document.documentElement.style.fontSize = '200%'; drawAll()")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.locator(".desk").bounding_box()["height"] <= 740 / 3


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("width", [360, 1280])
def test_page_prints_on_one_sheet_with_what_happens(open_page, width, paper):
    page = open_page(width=width)
    assert page.pdf(format=paper).count(b"/Type /Page\n") == 1
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert page.pdf(format=paper).count(b"/Type /Page\n") == 1
    page.emulate_media(media="print")
    for n in range(3):
        assert page.locator(f"#way-{n} .what").is_visible()
        assert page.locator(f"#places-{n} .place").first.is_visible()
    assert (
        page.locator("#play, .hear, #vote, .weak button, .lanes").locator("visible=true").count()
        == 0
    )


def test_a_tapped_place_is_heard_from_the_bar_before(open_page, document):
    page = open_page(width=360, height=740, touch=True)
    until(page, "ways[1].sounds")
    page.locator("#places-1 .place").first.tap()
    until(page, "state.playing && state.now === 1")
    record = document.candidates[1]
    before = [bar.time_s for bar in record.bars if bar.section == "outgoing"][-1]
    assert page.evaluate("state.place") == pytest.approx(before, abs=1e-3)
    page.locator("#hear-1").tap()
    until(page, "!state.playing")


@pytest.mark.parametrize("width", [320, 390, 1280])
def test_no_width_needs_sideways_scrolling(open_page, width):
    page = open_page(width=width)
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_text_in_the_lanes_stays_inside_and_apart(open_page):
    page = open_page(width=390, height=844)
    unfold(page)
    clashes = page.evaluate(
        """[...document.querySelectorAll('.lanes, .mini')].flatMap((svg) => {
        const edge = svg.getBoundingClientRect();
        const texts = [...svg.querySelectorAll('text')];
        const boxes = texts.map((text) => [text.textContent, text.getBoundingClientRect()]);
        const outside = ([, b]) => b.left < edge.left - 1 || b.right > edge.right + 1;
        const hits = (a, b) => a.left < b.right - 1 && b.left < a.right - 1 &&
          a.top < b.bottom - 4 && b.top < a.bottom - 4;
        const hit = ([, a], i) => boxes.some(([, b], j) => j > i && hits(a, b));
        return boxes.filter((box, i) => outside(box) || hit(box, i)).map(([words]) => words); })"""
    )
    assert clashes == []


def test_page_and_picture_say_the_same_way_round_and_in_the_same_colours(open_page):
    page = open_page()
    unfold(page)
    page.evaluate(
        "ways[0].key_from = [[0, 0], [2, 1]]; ways[0].key_to = []; ways[0].width = 0; drawAll()"
    )
    points = page.locator("#lanes-0 .line.from").first.get_attribute("points").split()
    near, far = (float(point.split(",")[1]) for point in points)
    assert near < far  # y runs down
    for section, colour in section_colours().items():
        fill = page.evaluate(
            f"getComputedStyle(document.querySelector('#lanes-0 .wave.{section}')).fill"
        )
        assert fill == "rgb({}, {}, {})".format(*bytes.fromhex(colour[1:]))


def test_lanes_are_drawn_anew_when_a_phone_is_turned(open_page):
    page = open_page(width=390, height=844)
    unfold(page)
    upright = page.evaluate("document.querySelectorAll('#lanes-0 .bar.named').length")
    page.set_viewport_size({"width": 844, "height": 390})
    until(page, "ways[0].width > 700")
    across = page.evaluate("document.querySelectorAll('#lanes-0 .bar.named').length")
    assert 0 < upright < across


def test_fingers_find_every_control(open_page):
    page = open_page(width=390, height=844, touch=True)
    small = page.evaluate(
        f"""[...document.querySelectorAll('button, select, summary, input')]
        .map((node) => [node.id || node.textContent, /checkbox|radio/.test(node.type)
          ? node.parentElement.getBoundingClientRect() : node.getBoundingClientRect()])
        .filter(([, box]) => box.width > 0 && (box.width < {TARGET_PX} || box.height < {TARGET_PX}))
        .map(([name]) => name)"""
    )
    assert small == []


def test_every_control_has_a_name_and_the_status_is_live(open_page):
    page = open_page()
    tree = page.locator("body").aria_snapshot()
    for name in ('button "Play"', 'button "1 filtered tail" [pressed]', 'slider "click"'):
        assert name in tree
    assert 'button ""' not in tree
    page.keyboard.press("2")
    assert page.locator("#status").get_attribute("role") == "status"
    assert page.locator("#status").inner_text() == "2, stop and count-in"


def test_whole_comparison_by_keyboard(open_page, document):
    page = open_page()
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    focused = page.evaluate("document.activeElement.id")
    assert focused in ("hear-0", "") or focused.startswith("choose")
    page.evaluate("document.activeElement.blur()")
    bars = document.candidates[1].bars
    page.keyboard.press("2")
    page.keyboard.press("e")
    entry = next(n for n, bar in enumerate(bars) if bar.section == "incoming")
    assert page.evaluate("here()") == pytest.approx(bars[entry - 4].time_s, abs=1e-3)
    page.keyboard.press("ArrowRight")
    assert page.evaluate("here()") == pytest.approx(bars[entry - 3].time_s, abs=1e-3)
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("l")
    page.keyboard.press("Shift+ArrowLeft")
    assert page.evaluate("state.loop") == pytest.approx(
        [bars[entry - 4].time_s, bars[entry - 1].time_s], abs=1e-3
    )
    page.keyboard.press("Space")
    until(page, "state.playing && here() !== state.place")
    page.keyboard.press("Space")
    assert page.evaluate("state.playing") is False
    page.keyboard.press("l")
    assert page.evaluate("state.loop") is None


def test_shortcuts_can_be_switched_off(open_page):
    # WCAG 2.1, success criterion 2.1.4
    page = open_page()
    page.uncheck("#keys")
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("3")
    assert page.evaluate("state.now") == 0


def test_dragging_over_a_picture_loops_whole_bars(open_page, document):
    page = open_page()
    record = document.candidates[1]
    unfold(page)
    lanes = page.locator("#lanes-1")
    lanes.scroll_into_view_if_needed()
    box, duration_s = lanes.bounding_box(), record.plan.duration_s
    at = [box["x"] + box["width"] * (record.bars[n].time_s + 0.3) / duration_s for n in (4, 6)]
    page.mouse.move(at[0], box["y"] + 120)
    page.mouse.down()
    page.mouse.move(at[1], box["y"] + 120, steps=4)
    page.mouse.up()
    until(page, "state.loop !== null")
    assert page.evaluate("state.now") == 1
    assert page.evaluate("state.loop") == pytest.approx(
        [record.bars[4].time_s, record.bars[7].time_s], abs=1e-3
    )


def test_loop_follows_to_the_same_bars_of_another_candidate(open_page, document):
    page = open_page()
    old, new = document.candidates[:2]
    first = [n for n, bar in enumerate(old.bars) if bar.section == "incoming"][1]
    page.evaluate(f"goTo(0, {old.bars[first].time_s + 0.01})")
    page.keyboard.press("l")
    page.keyboard.press("2")
    other = [n for n, bar in enumerate(new.bars) if bar.section == "incoming"][1]
    assert page.evaluate("state.loop") == pytest.approx(
        [new.bars[other].time_s, new.bars[other + 4].time_s], abs=1e-3
    )


def test_weak_place_is_heard_from_the_bar_before(open_page, document):
    page = open_page()
    record = document.candidates[2]
    unfold(page)
    page.locator("#way-2 .weak .goto").first.click()
    until(page, "state.now === 2")
    last_outgoing = [bar for bar in record.bars if bar.section == "outgoing"][-1]
    assert page.evaluate("state.place") == pytest.approx(last_outgoing.time_s, abs=1e-3)


def test_nothing_moves_about_while_playing(open_page):
    page = open_page(
        width=390,
        height=844,
        script="""window.shifts = [];
        const note = (list) => shifts.push(...list.getEntries().map((entry) => entry.value));
        new PerformanceObserver(note).observe({ type: 'layout-shift', buffered: true });""",
    )
    page.click("#play")
    until(page, "state.playing && here() > 0.5")
    page.evaluate("choose(1)")
    until(page, "state.now === 1")
    page.evaluate("toggleLoop()")
    page.wait_for_timeout(200)
    assert sum(page.evaluate("shifts")) == 0


def test_hostile_names_are_only_text(open_page, folder, document, tmp_path):
    record = document.candidates[0]
    plan = replace(record.plan, recipe=NASTY, why=NASTY)
    measures = tuple(replace(m, label=NASTY, sentence=NASTY) for m in record.scorecard.measures)
    nasty = replace(
        document,
        outgoing=replace(document.outgoing, title=NASTY),
        candidates=(
            replace(
                record,
                plan=plan,
                scorecard=replace(record.scorecard, measures=measures),
                notes=(NASTY,),
                music_file=str(folder / record.music_file),
                click_file=str(folder / record.click_file),
                cue_file=str(folder / record.cue_file),
            ),
        ),
    )
    page = open_page(path=write_page(tmp_path, nasty))
    until(page, "ways[0].sounds")
    assert page.troubles == []
    assert len(page.requests) == 1
    assert page.locator("img").count() == 0
    assert page.evaluate("document.querySelector('h1').textContent") == f"{NASTY} into New Song"
    assert page.evaluate("ways[0].name") == NASTY


def test_a_run_without_candidates_still_opens(open_page, document, tmp_path):
    page = open_page(path=write_page(tmp_path, replace(document, candidates=())))
    assert page.troubles == []
    assert page.locator("h1").inner_text() == "Old Song into New Song"


def test_sound_that_cannot_be_decoded_is_told(open_page, folder, tmp_path):
    text = (folder / "audition.html").read_text(encoding="utf-8")
    head, mark, tail = text.partition('id="music-0">')
    (tmp_path / "page.html").write_text(head + mark + "AAAA" + tail[tail.index("</script>") :])
    page = open_page(path=tmp_path / "page.html")
    until(page, "document.getElementById('status').textContent.includes('cannot be played here')")
    page.keyboard.press("2")
    page.keyboard.press("Space")
    until(page, "state.playing && here() > 0.2")
