"""The desk by keyboard alone: no mouse is moved, and no letter is typed that isn't wanted."""

from __future__ import annotations

import io
import tomllib

import numpy as np
import pytest
from browsing import Watched, opened, wait_until
from PIL import Image

from reviewkit.build.cache import open_cache

pytestmark = pytest.mark.long

pytest.importorskip("watchfiles", reason="needs watchfiles: pip install -e '.[test]'")
pytest.importorskip("starlette", reason="needs starlette: pip install -e '.[test]'")

WAIT_MS = 60_000  # for a busy machine
HZ = np.geomspace(10, 40_000, 60)
MOST_TABS = 300
BROCHURE = """Frequency response: 10 Hz to 35 kHz, ±1 dB
Channel separation: 50 dB at 1 kHz
Total harmonic distortion: 0.1 %, 1 kHz
Damping factor: 20 (8 ohms, 1 kHz)
"""


def table(head, *columns):
    lines = (",".join(f"{value:.4f}" for value in row) for row in zip(HZ, *columns, strict=True))
    return "\n".join((head, *lines)) + "\n"


def response(corner_hz):
    """A first-order fall, 10 lg(1 + (f/fc)²) dB."""
    level = -10 * np.log10(1 + (HZ / corner_hz) ** 2)
    return table("Frequency (Hz),Left (dBV),Right (dBV)", level, level)


def crosstalk(db):
    return table("Frequency (Hz),L to R (dB),R to L (dB)", 0 * HZ + db, 0 * HZ + db - 2)


def photo():
    file = io.BytesIO()
    Image.new("RGB", (640, 360), (90, 70, 60)).save(file, "PNG")
    return file.getvalue()


FILES = {
    "before response.csv": response(4_000),
    "after response.csv": response(70_000),
    "after crosstalk.csv": crosstalk(-60.0),
    "after impedance.csv": table("Frequency (Hz),Left (ohm),Right (ohm)", 0.15 + 0 * HZ, 0.16 + 0 * HZ),
    "THD.csv": table("Frequency (Hz),THD left (%),THD right (%)", 0.02 + 0 * HZ, 0.03 + 0 * HZ),
}


class Keys:
    """A page on which only keys are pressed."""

    def __init__(self, page):
        self.page = page

    def to(self, selector, key="Tab"):
        """Press Tab until the focus is on an element, which must be seen above the foot with its frame."""
        there = self.page.locator(selector)
        for _ in range(MOST_TABS):
            if there.evaluate_all("all => all.includes(document.activeElement)"):
                break
            self.page.keyboard.press(key)
        seen = there.evaluate_all(
            """all => {
                const at = document.activeElement, box = at.getBoundingClientRect();
                const foot = document.querySelector("footer").getBoundingClientRect();
                return [all.includes(at), box.top >= -1 && box.top < (at.closest("footer") ? innerHeight : foot.top)];
            }"""
        )
        assert seen == [True, True], (selector, self.page.evaluate("document.activeElement.outerHTML")[:200])

    def press(self, *keys):
        for key in keys:
            self.page.keyboard.press(key)

    def write(self, text):
        self.page.keyboard.type(text)

    def screen(self, name):
        self.to(f"nav a[data-to={name}]")
        self.press("Enter")
        self.page.wait_for_selector(f"#{name}:not([hidden])")

    def until(self, selector, state="visible"):
        self.page.wait_for_selector(selector, state=state, timeout=WAIT_MS)

    def drop(self, files):
        """Hand files over to the file input, as the system's own dialog does."""
        self.to("#choose")
        given = [{"name": name, "mimeType": "text/csv", "buffer": text.encode()} for name, text in files.items()]
        self.page.set_input_files("#choose", given)


def toml(folder):
    return tomllib.loads((folder / "session.toml").read_text(encoding="utf-8"))


@pytest.fixture
def keys(browser):
    with opened(browser, 768, 1024) as page:
        yield Keys(page)


def begin(keys, desk, maker, model, year):
    keys.page.goto(desk.address)
    keys.to("[name=maker]")
    keys.write(maker)
    keys.press("Tab")
    keys.write(model)
    keys.press("Tab")
    keys.write(year)
    keys.press("Enter")
    keys.until("#new", "detached")


def test_a_whole_evening_by_keyboard_alone(tmp_path, keys):
    (tmp_path / "front.png").write_bytes(photo())
    desk = Watched(tmp_path, editing=True, cache=open_cache())
    page = keys.page
    try:
        begin(keys, desk, "Norrvale", "Forty", "1977")

        # files, and a question
        keys.screen("files")
        keys.drop(FILES)
        keys.until(".question:has-text('THD.csv')")
        keys.to(".answers button")
        keys.press("ArrowRight", "ArrowLeft")
        assert page.evaluate("document.activeElement.innerText").startswith("After")
        keys.press("Enter")
        keys.until(".question", "detached")
        assert page.evaluate("document.activeElement !== document.body")  # the focus is never lost
        keys.to("[name=load]")
        keys.write("8 ohm")
        keys.press("Enter")
        keys.until("#news:has-text('The bench is written down')")

        # a clear file is changed
        keys.to("summary:has-text('after crosstalk.csv')")
        keys.press("Enter")
        keys.to("form[data-do=change-file] button")
        keys.press("Enter")
        keys.until("#changing")
        keys.to("#changing [name=setting]")
        keys.write("volume at noon")
        keys.press("Enter")
        keys.until("#changing", "detached")
        written = {"file": "measurements/after crosstalk.csv", "setting": "volume at noon"}
        assert written in toml(tmp_path)["measurement"]

        # the brochure
        keys.screen("ratings")
        keys.to("#paste")
        page.keyboard.insert_text(BROCHURE)
        keys.press("Tab", "Enter")
        keys.until("#table :text('meets')")

        # the bench: a clip, a note, the next segment, a caution, a box of the plan
        keys.screen("bench")
        keys.to("#clip")
        keys.press("Enter")
        keys.until("#note:focus")
        keys.write("It hums.")
        keys.press("Enter", "ArrowDown")
        keys.until(".segment:text('history')")
        keys.until(".notes :text('It hums.')")
        keys.to("footer button:has-text('End the clip')")
        keys.press("Enter")
        keys.until("#clip")
        caution = page.inner_text("#bench .caution.large")
        keys.to("form[data-do=step-done] button")
        keys.press("Enter")
        wait_until(page, "was => document.querySelector('#bench .caution.large')?.innerText !== was", caution)
        keys.to("summary:has-text('The plan')")
        keys.press("Enter")
        keys.to("button[role=checkbox]")
        keys.press("Space")
        keys.until("button[role=checkbox][aria-checked=true]:focus")

        # the cards: a title, the order, the thumbnail
        keys.screen("cards")
        keys.to("#strip a")
        keys.press("Home")
        while not page.locator("#strip a:focus[data-card*=impedance]").count():
            keys.press("ArrowRight")
        card, name = (page.get_attribute("#strip a:focus", f"data-{what}") for what in ("card", "name"))
        keys.press("Enter")
        keys.press("ControlOrMeta+A")
        keys.write("The sides keep apart")
        keys.press("Enter")
        keys.until(f'#strip a[data-card="{card}"] :text("The sides keep apart")')
        before = page.evaluate("[...document.querySelectorAll('#strip a')].map((each) => each.dataset.name)")
        keys.to("article:not([hidden]) form[data-do=move-card][data-by='1'] button")
        keys.press("Enter")
        now = "document.querySelectorAll('#strip a')"
        order = f"was => JSON.stringify([...{now}].map((each) => each.dataset.name)) !== JSON.stringify(was)"
        moved = page.locator("article:not([hidden]) .answer")
        wait_until(page, f"was => ({order})(was) || document.querySelector('article:not([hidden]) .answer')", before)
        if moved.count():  # the last of its part: then it goes the other way
            keys.to("article:not([hidden]) form[data-do=move-card][data-by='-1'] button", "Shift+Tab")
            keys.press("Enter")
            wait_until(page, order, before)
        assert page.evaluate("document.activeElement.closest('form')?.dataset.do") == "move-card"  # again, if you like
        assert name in toml(tmp_path)["cards"]["order"]
        assert page.locator("form[data-do=thumbnail]").count() == 2  # no photograph is named
        keys.to("form[data-do=thumbnail][data-name=pair] button")
        keys.press("Enter")
        keys.until("form[data-do=thumbnail][data-name=pair] button[aria-pressed=true]:focus")
        assert toml(tmp_path)["episode"] == {"thumbnail": "pair"}

        # and all of it built
        film = page.inner_text("footer .build strong")
        keys.to("form[data-build] button")
        keys.press("Enter")
        keys.until("footer [role=status]:has-text('Built.')")
        assert (tmp_path / "out" / "thumbnail-figure.png").is_file()
        outline = (tmp_path / "out" / "outline.md").read_text(encoding="utf-8")
        assert f"Running time about {film}" in outline
        assert "The sides keep apart" in outline
        page.goto("about:blank")
    finally:
        desk.end()


def test_a_second_episode_in_the_same_studio_asks_for_its_unit_alone(tmp_path, keys):
    (tmp_path / "studio.toml").write_text(
        '[bench]\ninput = "aux"\nload = "8 ohm"\nchannels = "both"\nmains = "230 V 50 Hz"\n'
        '\n[episode]\npresenter = "the bench by the window"\nwords_per_minute = 120\n',
        encoding="utf-8",
    )
    for number, (model, corner_hz) in enumerate((("Forty", 70_000), ("Thirty", 60_000))):
        folder = tmp_path / model
        folder.mkdir()
        desk = Watched(folder, editing=True, cache=open_cache())
        try:
            begin(keys, desk, "Norrvale", model, str(1977 + number))
            keys.screen("files")
            keys.drop({"response.csv": response(corner_hz), "crosstalk.csv": crosstalk(-60.0 - number)})
            keys.until(".pictures li >> nth=1")
            assert keys.page.get_attribute(".bench-values [name=load]", "placeholder") == "8 ohm"
            assert "An empty field is as in studio.toml: aux, 8 ohm, both" in keys.page.inner_text("#files")
            assert keys.page.locator(".question, #faults").count() == 0
            keys.to("form[data-build] button")
            keys.press("Enter")
            keys.until("footer [role=status]:has-text('Built.')")
            keys.page.goto("about:blank")
        finally:
            desk.end()
        assert toml(folder) == {"unit": {"maker": "Norrvale", "model": model, "year": 1977 + number}}  # nothing else
        description = (folder / "out" / "outline.md").read_text(encoding="utf-8")
        assert "at 120 words a minute" in description
        findings = (folder / "out" / "findings.json").read_text(encoding="utf-8")
        assert '"both"' in findings


def test_a_card_is_dragged_to_where_another_is_and_no_further_than_its_part(tmp_path, page):
    folder = tmp_path
    (folder / "measurements").mkdir()
    (folder / "session.toml").write_text('[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n', encoding="utf-8")
    for name in ("THD.csv", "after impedance.csv", "after crosstalk.csv"):
        (folder / "measurements" / name.removeprefix("after ")).write_text(FILES[name], encoding="utf-8")
    desk = Watched(folder, editing=True, cache=open_cache())
    try:
        page.goto(f"{desk.address}#cards")
        names = "[...document.querySelectorAll('#strip a')].map((each) => each.dataset.name)"
        page.wait_for_selector("#strip a[data-name=crosstalk]")
        before = page.evaluate(names)
        one, other = (name for name in before if name in ("THD", "impedance"))  # does it make its power?
        page.drag_and_drop(f"#strip a[data-name={one}]", f"#strip a[data-name={other}]")
        wait_until(page, f"was => JSON.stringify({names}) !== JSON.stringify(was)", before)
        assert [name for name in page.evaluate(names) if name in (one, other)] == [other, one]
        assert toml(folder)["cards"]["order"] == [other, one]
        page.drag_and_drop(f"#strip a[data-name={one}]", "#strip a[data-name=crosstalk]")
        page.wait_for_selector(".strip-frame .answer:has-text('no other card')")
        page.goto("about:blank")
    finally:
        desk.end()
