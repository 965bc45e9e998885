"""The prompter in a browser: its even speed, its place, its keys and buttons, wheel and finger, and its cards."""

from __future__ import annotations

import base64
import re
from itertools import pairwise

import pytest
from browsing import opened

from reviewkit.episode.episode import format_clock

pytestmark = pytest.mark.long

WIDE, HIGH = 1280, 720
READ_AT = 0.35 * HIGH
SIZES = [(390, 844), (768, 1024), (1280, 720)]
SLOWEST_S = 4  # that a line may come later than planned
MOST_BYTES = 400_000


@pytest.fixture
def prompter(sample, page):
    page.goto((sample.out / "prompter.html").as_uri())
    return page


def place(page):
    """The place in seconds, the pace, and where the script is."""
    return page.evaluate("[at, pace, new DOMMatrix(getComputedStyle(script).transform).f]")


def line_read(page):
    """The line at the needle."""
    return page.evaluate(
        f"""[...document.querySelectorAll("#script p[data-words]")].findLast(
            (line) => line.getBoundingClientRect().top <= {READ_AT} + 2)?.textContent ?? "" """
    )


def read_lines(page):
    """Every line that is dimmed."""
    return page.evaluate("[...document.querySelectorAll('p.read')].map((line) => line.textContent)")


# ------------------------------------------------------------------ speed


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_whole_text_scrolls_evenly_and_every_line_comes_when_it_is_planned(sample, browser, width, height):
    """Step by step through the whole text, by the page's clock: within 5 % of the mean speed."""
    with opened(browser, width, height) as page:
        page.clock.install(time=0)
        page.goto((sample.out / "prompter.html").as_uri())
        late = page.evaluate("lines.map(({time}, index) => tops[index] / speed - time)")
        assert len(late) > 60
        assert min(late) >= -0.1
        assert max(late) <= SLOWEST_S + 0.1
        for _ in range(25):
            page.keyboard.press("ArrowRight")
        page.clock.pause_at(60)  # from here on, time passes only where it says so
        page.keyboard.press(" ")
        page.clock.run_for(100)
        seen = [page.evaluate("[performance.now(), -new DOMMatrix(getComputedStyle(script).transform).f]")]
        while page.evaluate("at + 3 < end"):
            page.clock.fast_forward(900)
            seen.append(page.evaluate("[performance.now(), -new DOMMatrix(getComputedStyle(script).transform).f]"))
        speeds = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in pairwise(seen)]
        even = (seen[-1][1] - seen[0][1]) / (seen[-1][0] - seen[0][0])
        assert len(speeds) > 150
        assert min(speeds) >= 0.95 * even, speeds
        assert max(speeds) <= 1.05 * even, speeds
        # and at the end of the text it stops
        page.clock.run_for(3000)
        assert page.evaluate("[running, at === end]") == [False, True]


@pytest.mark.parametrize("presses", [4, -4])
def test_it_scrolls_at_the_pace_asked(prompter, presses):
    for _ in range(abs(presses)):
        prompter.keyboard.press("ArrowRight" if presses > 0 else "ArrowLeft")
    asked = 150 + 10 * presses
    assert prompter.locator("#said").text_content() == f"{asked} words a minute"
    prompter.keyboard.press(" ")
    frame = "new Promise((done) => requestAnimationFrame((now) => done([now, at])))"
    one = prompter.evaluate(frame)
    prompter.wait_for_timeout(1200)
    other = prompter.evaluate(frame)
    assert (other[1] - one[1]) / (other[0] - one[0]) * 1000 == pytest.approx(asked / 150, rel=0.05)


def test_it_does_not_move_until_it_is_run_and_while_it_is_paused(prompter):
    start = place(prompter)
    prompter.wait_for_timeout(200)
    assert place(prompter) == start
    prompter.keyboard.press(" ")
    prompter.wait_for_timeout(300)
    prompter.keyboard.press(" ")
    paused = place(prompter)
    assert paused[0] > start[0]
    prompter.wait_for_timeout(200)
    assert place(prompter) == paused


# ------------------------------------------------------------------ the place


def test_the_time_to_go_is_the_outlines_running_time(prompter, sample, episode):
    total = format_clock(sum(segment.length_s for segment in episode.segments))
    assert f"Running time about {total} " in (sample.out / "outline.md").read_text()
    assert prompter.locator("#left").text_content() == f"{total} to go"


def test_clock_and_segment_are_seen_while_it_runs(prompter, episode):
    names = [segment.title for segment in episode.segments]
    prompter.select_option("#jump", index=3)
    prompter.click("#run")
    prompter.wait_for_timeout(1300)
    assert prompter.evaluate("running")
    assert prompter.locator("#segment").text_content() == f"4 of {len(names)}: {names[3]}"
    shown, left = prompter.evaluate("[document.getElementById('left').textContent, end - at]")
    minutes, seconds = re.match(r"(\d+):(\d\d) to go", shown).groups()
    assert int(minutes) * 60 + int(seconds) == pytest.approx(left, abs=1.1)
    for name in ("#segment", "#left"):
        assert prompter.locator(name).is_visible()
        box = prompter.locator(name).bounding_box()
        top = f"document.elementFromPoint({box['x'] + 5}, {box['y'] + 5}).closest('#place') !== null"
        assert prompter.evaluate(top)  # nothing is over it
    assert not prompter.locator("#faster").is_visible()
    assert prompter.locator("#back").is_visible()


def test_what_was_read_is_dimmed_and_can_still_be_read(prompter):
    assert read_lines(prompter) == []
    prompter.select_option("#jump", index=5)
    prompter.keyboard.press("ArrowDown")
    dimmed = read_lines(prompter)
    every = prompter.locator("p[data-words]").all_text_contents()
    assert dimmed == every[: len(dimmed)]
    assert every[len(dimmed)] == line_read(prompter)
    colour = "(name) => getComputedStyle(document.querySelector(name)).color"
    assert prompter.evaluate(colour, "#script p.read") == "rgb(138, 146, 153)"  # 6.6 : 1 on black
    assert prompter.evaluate(colour, "p[data-words]:not(.read)") == "rgb(255, 255, 255)"


# ------------------------------------------------------------------ moving about


def test_it_moves_by_sentence(prompter):
    prompter.select_option("#jump", index=6)
    seen = [line_read(prompter)]
    for by in (lambda: prompter.keyboard.press("ArrowDown"), lambda: prompter.click("#on")):
        by()
        seen.append(line_read(prompter))
    assert len(set(seen)) == 3
    every = prompter.locator("p[data-words]").all_text_contents()
    first = every.index(seen[0])
    assert every[first : first + 3] == seen
    prompter.keyboard.press("ArrowUp")
    assert line_read(prompter) == seen[1]
    prompter.click("#back")
    assert line_read(prompter) == seen[0]
    # from within a line, back is its own start: that is what is said again
    prompter.evaluate("go(at + 1.5)")
    prompter.keyboard.press("ArrowUp")
    assert line_read(prompter) == seen[0]


def test_it_moves_by_segment(prompter, episode):
    titles = [segment.title for segment in episode.segments]
    for number, title in enumerate(titles[1:4], start=1):
        prompter.click("#next") if number % 2 else prompter.keyboard.press("PageDown")
        assert prompter.evaluate("jump.value") == title
        top = f"lines[segments[{number}].first].element.getBoundingClientRect().top"
        assert prompter.evaluate(top) == pytest.approx(READ_AT, abs=2)
    prompter.keyboard.press("PageUp")
    assert prompter.evaluate("jump.value") == titles[2]
    prompter.click("#previous")
    assert prompter.evaluate("jump.value") == titles[1]
    prompter.select_option("#jump", titles[-2])
    assert prompter.evaluate("jump.value") == titles[-2]
    prompter.keyboard.press("Home")
    assert prompter.evaluate("at") == 0
    prompter.keyboard.press("End")
    assert prompter.locator("#left").text_content() == "0:00 to go"


@pytest.mark.parametrize("running", [False, True])
def test_the_wheel_scrolls_it(prompter, running):
    prompter.evaluate("go(100)")
    if running:
        prompter.keyboard.press(" ")
    at, _, y = place(prompter)
    prompter.mouse.move(WIDE / 2, HIGH / 2)
    prompter.mouse.wheel(0, 300)
    prompter.wait_for_function("before => at > before", arg=at + 3)
    moved = y - place(prompter)[2]
    assert 299 <= moved <= (800 if running else 301)
    assert prompter.evaluate("running") is running
    prompter.mouse.wheel(0, -6000)
    prompter.wait_for_function("at < 20")


def test_a_finger_drags_it_and_a_tap_runs_it(sample, browser):
    context = browser.new_context(viewport={"width": 768, "height": 1024}, has_touch=True)
    page = context.new_page()
    page.goto((sample.out / "prompter.html").as_uri())
    page.evaluate("go(100)")
    _, _, y = place(page)
    hand = context.new_cdp_session(page)

    def touch(kind, *at):
        points = [{"x": 300, "y": y} for y in at]
        hand.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 600)
    for up in range(590, 390, -10):
        touch("touchMove", up)
    touch("touchEnd")
    assert y - place(page)[2] == pytest.approx(200, abs=12)
    assert not page.evaluate("running")
    page.touchscreen.tap(300, 500)
    assert page.evaluate("running")
    page.touchscreen.tap(300, 500)
    assert not page.evaluate("running")
    context.close()


@pytest.mark.parametrize(("width", "height"), [(800, 1280), (390, 844), (1920, 1080)])
def test_it_keeps_its_place_when_the_window_changes(prompter, width, height):
    prompter.select_option("#jump", index=6)
    prompter.evaluate("go(at + 16)")
    there = line_read(prompter)
    assert there
    prompter.set_viewport_size({"width": width, "height": height})
    # told of its new size, the page has a frame to draw; on a busy machine that may take a while
    prompter.wait_for_function(
        f"""there => [...document.querySelectorAll("#script p[data-words]")].findLast(
            (line) => line.getBoundingClientRect().top <= {0.35 * height} + 2).textContent === there""",
        arg=there,
        timeout=5000,
    )


def test_larger_type_keeps_the_place(prompter):
    prompter.select_option("#jump", index=6)
    prompter.evaluate("go(at + 16)")
    there, at = line_read(prompter), place(prompter)[0]
    size = "parseFloat(getComputedStyle(script).fontSize)"
    first = prompter.evaluate(size)
    for _ in range(3):
        prompter.keyboard.press("+")
    assert prompter.evaluate(size) == pytest.approx(first * 1.1**3, rel=0.01)
    assert line_read(prompter) == there
    assert place(prompter)[0] == pytest.approx(at, abs=SLOWEST_S)
    prompter.keyboard.press("-")
    assert prompter.evaluate(size) == pytest.approx(first * 1.1**2, rel=0.01)


# ------------------------------------------------------------------ keys, buttons, and those who need them


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_every_key_has_a_button_that_a_finger_hits(prompter, width, height):
    prompter.set_viewport_size({"width": width, "height": height})
    for name, change in (
        ("faster", "pace"),
        ("slower", "pace"),
        ("larger", "size"),
        ("smaller", "size"),
        ("on", "at"),
        ("back", "at"),
        ("next", "at"),
        ("previous", "at"),
        ("figures", "script.className"),
        ("mirror", "stage.className"),
        ("run", "running"),
    ):
        before = prompter.evaluate(change)
        box = prompter.locator(f"#{name}").bounding_box()
        assert min(box["width"], box["height"]) >= 44  # CSS pixels: WCAG 2.2 SC 2.5.5, from memory
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
        prompter.click(f"#{name}")
        assert prompter.evaluate(change) != before


def test_the_keyboard_alone_is_enough(prompter):
    """Each control is reached, is seen to have the focus, and does what it says."""
    reached = []
    for _ in range(12):
        prompter.keyboard.press("Tab")
        reached.append(prompter.evaluate("document.activeElement.id"))
        assert prompter.evaluate("getComputedStyle(document.activeElement).outlineWidth") == "3px"
    assert reached == [
        *("run", "back", "on", "previous", "next", "slower", "faster", "smaller", "larger", "figures", "mirror"),
        "jump",
    ]
    prompter.focus("#faster")
    prompter.keyboard.press(" ")
    assert prompter.evaluate("[pace, running]") == [160, False]
    prompter.focus("#run")
    prompter.keyboard.press("Enter")
    assert prompter.evaluate("running")
    assert prompter.locator("#faster").is_visible()  # while a button has the focus, none goes away
    # after a click the space bar is the script's again
    prompter.click("#slower")
    prompter.keyboard.press(" ")
    assert prompter.evaluate("[pace, running]") == [150, False]


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1280, 720)])
def test_no_rule_of_the_accessibility_checker_is_broken(prompter, axe, width, height):
    prompter.set_viewport_size({"width": width, "height": height})
    prompter.evaluate(axe)
    for at in (0, 200):
        prompter.evaluate(f"go({at})")
        found = prompter.evaluate("axe.run(document, {resultTypes: ['violations']})")
        assert [(v["id"], [node["html"][:120] for node in v["nodes"]]) for v in found["violations"]] == []
        assert len(found["passes"]) > 12


def test_it_mirrors_with_its_clock(prompter):
    names = ("#script h1", "#segment")
    sides = [f"document.querySelector('{name}').getBoundingClientRect()" for name in names]
    assert all(prompter.evaluate(f"{side}.left < {WIDE / 2}") for side in sides)
    prompter.keyboard.press("m")
    assert prompter.evaluate("getComputedStyle(stage).transform").startswith("matrix(-1, 0, 0, 1")
    assert all(prompter.evaluate(f"{side}.right > {WIDE / 2}") for side in sides)
    prompter.keyboard.press("m")
    assert prompter.evaluate("getComputedStyle(stage).transform") in ("none", "matrix(1, 0, 0, 1, 0, 0)")


# ------------------------------------------------------------------ what it shows


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_column_is_narrow_and_the_type_is_large(prompter, width, height):
    prompter.set_viewport_size({"width": width, "height": height})
    assert prompter.evaluate("script.scrollWidth") <= width
    line = "document.querySelector('.beat p[data-words]')"
    size = prompter.evaluate(f"parseFloat(getComputedStyle({line}).fontSize)")
    assert size >= 0.075 * min(width, height)
    assert prompter.evaluate(f"{line}.getBoundingClientRect().width") <= 13.1 * size


def test_all_that_is_said_is_there_in_order(prompter, episode):
    lines = prompter.locator(".beat p[data-words]").all_text_contents()
    said = [
        text
        for segment in episode.segments
        for beat in segment.beats
        for text in (*((beat.note.text,) if beat.note and beat.note.text else ()), *beat.sentences)
    ]
    assert len(lines) == len(said)


def test_each_card_is_a_picture_with_its_title_and_how_long_it_is_held(prompter, sample, episode):
    captions = prompter.locator(".card figcaption").all_text_contents()
    for still in episode.stills:
        if still.on_film:
            (caption, *_) = [text for text in captions if f"-{still.id}, " in text]
            held = still.hold_s or episode.session.episode.card_seconds
            assert caption.endswith(f"-{still.id}, {held:g} s")
            assert not re.match(r"\d\d-", caption)  # a title comes first
    pictures = prompter.locator(".card img")
    assert pictures.count() == len(captions) >= 10
    for picture in pictures.all():
        assert picture.evaluate("(picture) => picture.decode().then(() => picture.naturalWidth)") == 320
    assert (sample.out / "prompter.html").stat().st_size < MOST_BYTES
    first = base64.b64decode(pictures.first.get_attribute("src").partition(",")[2])
    assert first.startswith(b"\x89PNG")


def test_a_key_shows_figures_as_words(prompter):
    prompter.select_option("#jump", index=6)
    prompter.evaluate("go(at + 16)")
    there = line_read(prompter)
    shown = "[...document.querySelectorAll('.said p[data-words]')].map((line) => line.innerText)"
    digits = prompter.evaluate(shown)
    prompter.keyboard.press("w")
    words = prompter.evaluate(shown)
    assert sum(any(sign.isdigit() for sign in line) for line in digits) > 25
    # names of parts keep their digits
    assert not [line for line in words if re.search(r"(?<![\w/-])\d+(?:\.\d+)?(?![\w/-])", line)]
    assert line_read(prompter) == there
    assert prompter.locator("#figures").get_attribute("aria-pressed") == "true"
    prompter.keyboard.press("W")
    assert prompter.evaluate(shown) == digits


def test_a_note_is_shown_as_it_was_written(prompter, episode):
    lines = prompter.evaluate("[...document.querySelectorAll('.said p[data-words]')].map((line) => line.innerText)")
    notes = [beat.note.text for segment in episode.segments for beat in segment.beats if beat.note and beat.note.text]
    assert any(any(sign.isdigit() for sign in text) for text in notes)
    assert [text for text in notes if text not in lines] == []


def test_it_remembers_nothing(prompter):
    prompter.keyboard.press("m")
    prompter.keyboard.press("PageDown")
    prompter.reload()
    assert place(prompter)[0] == 0
    assert prompter.evaluate("stage.classList.length") == 0
    assert prompter.evaluate("document.cookie + Object.keys(localStorage).length") == "0"
