"""The prompter in a browser: its pace, its keys, its mirror, and that it keeps its place."""

from __future__ import annotations

import pytest

from reviewkit.episode.episode import format_clock

WIDE, HIGH = 1280, 720
READ_AT = 0.35 * HIGH


@pytest.fixture
def prompter(sample, page):
    page.goto((sample.out / "prompter.html").as_uri())
    return page


def read(page):
    """How many words have been read, the pace, and where the script stands."""
    return page.evaluate("[at, pace, new DOMMatrix(getComputedStyle(script).transform).f]")


def line_read(page):
    """The paragraph that stands at the mark."""
    return page.evaluate(
        f"""[...document.querySelectorAll("#script p[data-words]")].findLast(
            (line) => line.getBoundingClientRect().top <= {READ_AT} + 2)?.textContent ?? "" """
    )


@pytest.mark.parametrize("presses", [4, -4])
def test_it_scrolls_at_the_pace_asked(prompter, presses):
    for _ in range(abs(presses)):
        prompter.keyboard.press("ArrowRight" if presses > 0 else "ArrowLeft")
    asked = 150 + 10 * presses
    prompter.keyboard.press(" ")
    one = prompter.evaluate("new Promise((done) => requestAnimationFrame((now) => done([now, at])))")
    prompter.wait_for_timeout(1200)
    other = prompter.evaluate("new Promise((done) => requestAnimationFrame((now) => done([now, at])))")
    words_a_minute = (other[1] - one[1]) / (other[0] - one[0]) * 60_000
    assert words_a_minute == pytest.approx(asked, rel=0.05)
    # and what is said to have been read is what stands at the mark: counted on the page itself
    prompter.keyboard.press(" ")
    words, _, _ = read(prompter)
    before, here = prompter.evaluate(
        f"""(() => {{
            const lines = [...document.querySelectorAll("#script p[data-words]")];
            const above = lines.filter((line) => line.getBoundingClientRect().top <= {READ_AT} + 1);
            const counts = above.map((line) => Number(line.dataset.words));
            return [counts.slice(0, -1).reduce((sum, count) => sum + count, 0), counts.at(-1)];
        }})()"""
    )
    assert before - 1 <= words <= before + here + 1


def test_it_stands_still_until_it_is_run_and_when_it_is_paused(prompter):
    start = read(prompter)
    prompter.wait_for_timeout(200)
    assert read(prompter) == start
    prompter.keyboard.press(" ")
    prompter.wait_for_timeout(300)
    prompter.keyboard.press(" ")
    paused = read(prompter)
    assert paused[0] > start[0]
    prompter.wait_for_timeout(200)
    assert read(prompter) == paused


def test_it_mirrors(prompter):
    line = "document.querySelector('#script h1').getBoundingClientRect().left"
    assert prompter.evaluate(line) < WIDE / 2
    prompter.keyboard.press("m")
    assert prompter.evaluate("getComputedStyle(stage).transform").startswith("matrix(-1, 0, 0, 1")
    right = "document.querySelector('#script h1').getBoundingClientRect().right"
    assert prompter.evaluate(right) > WIDE / 2
    prompter.keyboard.press("m")
    assert prompter.evaluate("getComputedStyle(stage).transform") in ("none", "matrix(1, 0, 0, 1, 0, 0)")


def test_it_jumps_by_segment(prompter, episode):
    titles = [segment.title for segment in episode.segments]
    for title in titles[1:4]:
        prompter.keyboard.press("PageDown")
        assert prompter.evaluate("jump.value") == title
        top = f"document.querySelector('section[data-segment=\"{title}\"] p').getBoundingClientRect().top"
        assert prompter.evaluate(top) == pytest.approx(READ_AT, abs=90)
    prompter.keyboard.press("PageUp")
    assert prompter.evaluate("jump.value") == titles[2]
    prompter.select_option("#jump", titles[-2])
    assert prompter.evaluate("jump.value") == titles[-2]
    prompter.keyboard.press("Home")
    assert prompter.evaluate("at") == 0


@pytest.mark.parametrize(("width", "height"), [(800, 1280), (390, 844), (1920, 1080)])
def test_it_keeps_its_place_when_the_window_changes(prompter, width, height):
    prompter.select_option("#jump", index=6)
    prompter.evaluate("at += 40; place()")
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


def test_larger_type_keeps_the_place_and_the_pace(prompter):
    prompter.select_option("#jump", index=6)
    prompter.evaluate("at += 40; place()")
    there, words = line_read(prompter), read(prompter)[0]
    size = "parseFloat(getComputedStyle(script).fontSize)"
    first = prompter.evaluate(size)
    for _ in range(3):
        prompter.keyboard.press("+")
    assert prompter.evaluate(size) == pytest.approx(first * 1.1**3, rel=0.01)
    assert (line_read(prompter), read(prompter)[0]) == (there, words)
    prompter.keyboard.press("-")
    assert prompter.evaluate(size) == pytest.approx(first * 1.1**2, rel=0.01)


def test_every_key_has_a_button_that_a_finger_hits(prompter):
    for name, change in (
        ("faster", "pace"),
        ("slower", "pace"),
        ("larger", "size"),
        ("smaller", "size"),
        ("next", "at"),
    ):
        before = prompter.evaluate(change)
        box = prompter.locator(f"#{name}").bounding_box()
        assert min(box["width"], box["height"]) >= 44  # CSS pixels: WCAG 2.2 SC 2.5.5, from memory
        prompter.click(f"#{name}")
        assert prompter.evaluate(change) != before


def test_no_line_is_wider_than_the_screen_and_the_type_is_large(prompter):
    for width, height in ((1280, 720), (768, 1024)):
        prompter.set_viewport_size({"width": width, "height": height})
        assert prompter.evaluate("script.scrollWidth") <= width
        size = "parseFloat(getComputedStyle(document.querySelector('.beat p[data-words]')).fontSize)"
        assert prompter.evaluate(size) >= 0.075 * min(width, height)


def test_all_that_is_said_is_there_in_order(prompter, episode):
    lines = prompter.locator(".beat p[data-words]").all_text_contents()
    said = [
        text
        for segment in episode.segments
        for beat in segment.beats
        for text in (*((beat.note.text,) if beat.note and beat.note.text else ()), *beat.sentences)
    ]
    assert len(lines) == len(said)
    cards = " ".join(prompter.locator(".card").all_text_contents())
    assert all(still.id in cards for still in episode.stills if still.on_film)


def test_the_time_to_go_is_the_outlines_running_time(prompter, sample, episode):
    total = format_clock(sum(segment.length_s for segment in episode.segments))
    assert f"Running time about {total} " in (sample.out / "outline.md").read_text()
    assert prompter.locator("#said").text_content().endswith(f", {total} to go")


def test_a_note_stands_as_it_was_written(prompter, episode):
    lines = prompter.locator(".beat p[data-words]").all_text_contents()
    notes = [beat.note.text for segment in episode.segments for beat in segment.beats if beat.note and beat.note.text]
    assert any(any(sign.isdigit() for sign in text) for text in notes)
    assert [text for text in notes if text not in lines] == []


def test_it_remembers_nothing(prompter):
    prompter.keyboard.press("m")
    prompter.keyboard.press("PageDown")
    prompter.reload()
    assert read(prompter)[0] == 0
    assert prompter.evaluate("stage.classList.length") == 0
    assert prompter.evaluate("document.cookie + Object.keys(localStorage).length") == "0"
