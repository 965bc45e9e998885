"""The thumbnail: which figure it shows, and that it can be read at 168 × 94 pixels."""

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from card_samples import verdict
from PIL import Image

from reviewkit.model.change import Change
from reviewkit.model.episode import Episode
from reviewkit.model.errors import InputError
from reviewkit.model.finding import Finding
from reviewkit.model.session import Rating, Session, Unit
from reviewkit.render.cards.contrast import contrast
from reviewkit.render.cards.layout_check import find_problems
from reviewkit.render.cards.look import LOOKS
from reviewkit.render.cards.paint import make_measure
from reviewkit.render.cards.scene import Area, Page, Stroke, Text
from reviewkit.render.cards.thumbnail import (
    LEAST,
    WIDTH,
    ThumbnailFigure,
    choose_figure,
    draw_thumbnail,
    lay_out_thumbnail,
)

UNIT = Unit("Norrvale", "Forty", year=1977)
LOOK = LOOKS["lamplight"]


def finding(quantity, channel, value, measurement="tone", **at):
    return Finding(quantity, channel, value, "%", at, measurement, "tone", "after", "tone.csv")


def change(quantity, channel, before, after, **at):
    return Change(finding(quantity, channel, before, "tone-before", **at), finding(quantity, channel, after, **at))


def episode(changes=(), verdicts=(), unit=UNIT):
    session = Session(Path(), unit)
    return Episode(session, (), tuple(verdicts), (), (), (), chapters_final=False, changes=tuple(changes))


def judged(quantity, label, limit, measured):
    return replace(verdict(label, limit, "meets", 0.2, measured), rating=Rating(quantity, "W", at_least=1.0))


# ------------------------------------------------------------------ which figure


def test_the_largest_change_of_a_distortion_by_its_worse_channel():
    both = [
        change("thd_plus_noise", "L", 0.021, 0.020, frequency=999.7),
        change("thd_plus_noise", "R", 1.36, 0.026, frequency=999.6),
        change("thd", "L", 0.02, 0.02, frequency=999.7),
        change("thd", "R", 0.2, 0.02, frequency=999.7),
    ]
    assert choose_figure(episode(both)) == ThumbnailFigure("1.4 → 0.026 %", ("THD+N, before → after", "THD+N"))


def test_a_side_that_was_good_is_not_taken_for_the_change():
    # one side fell tenfold, the other stayed: the worse one before and the worse one after are what is said
    mended = [change("thd", "L", 1.0, 0.1), change("thd", "R", 0.6, 0.6)]
    assert choose_figure(episode([*mended, change("imd", "L", 0.5, 0.1)])).figure == "0.50 → 0.10 %"


def test_different_spots_are_not_mixed():
    at_limits = [
        change("worst_distortion", "L", 5.0, 4.0, power=40.0),
        change("distortion", "L", 0.9, 0.1, frequency=20.0),
    ]
    assert choose_figure(episode(at_limits)).figure == "0.90 → 0.10 %"


def test_of_changes_as_large_the_one_that_says_most():
    sweep = finding("lowest_distortion", "L", 1.36, "sweep"), finding("lowest_distortion", "L", 0.0259, "sweep")
    alike = [Change(*sweep), change("thd", "L", 1.36, 0.0263)]
    assert choose_figure(episode(alike)).words[-1] == "THD"
    larger = Change(replace(sweep[0], value=2.8), sweep[1])
    assert choose_figure(episode([larger, *alike[1:]])).words[-1] == "lowest distortion"


def test_of_a_tone_the_figure_that_its_card_shows():
    """THD fell further than THD+N, whose noise stayed; the card's headline is THD+N."""
    both = [change("thd", "R", 1.4, 0.0065), change("thd_plus_noise", "R", 1.4, 0.0094)]
    assert choose_figure(episode(both)) == ThumbnailFigure("1.4 → 0.0094 %", ("THD+N, before → after", "THD+N"))


@pytest.mark.parametrize(("before", "after"), [(0.03, 0.02), (0.02, 0.2), (0.0, 0.0)])
def test_what_hardly_fell_or_rose_is_not_its_news(before, after):
    assert choose_figure(episode([change("thd", "L", before, after)])).figure == "1977"


def test_the_name_of_a_swept_figure_is_what_was_swept():
    assert choose_figure(episode([change("lowest_distortion", "R", 0.45, 0.026, figure="THD+N")])).words[-1] == "THD+N"


def test_then_the_power_then_the_first_verdict_then_the_year():
    power = judged("power", "Power into 8 Ω", "40 W", "42.9 W")
    other = judged("damping_factor", "Damping factor, 1 kHz", "60", "52")
    unmeasured = judged("gain", "Gain", "29 dB", "")
    found = choose_figure(episode(verdicts=(unmeasured, other, power)))
    assert (found.figure, found.words[0]) == ("42.9 W", "Power into 8 Ω, rated 40 W")
    assert (found.verdict, found.position) == ("meets", 0.2)
    at_1k = choose_figure(episode(verdicts=(replace(power, measured="42.9 W at 1 kHz"),)))
    assert (at_1k.figure, at_1k.words[0]) == ("42.9 W", "Power into 8 Ω at 1 kHz, rated 40 W")
    assert choose_figure(episode(verdicts=(replace(power, measured="at least 42.9 W"),))).figure == "at least 42.9 W"
    assert choose_figure(episode(verdicts=(unmeasured, other))).words == (
        "Damping factor, 1 kHz, rated 60",
        "Damping factor, rated 60",
    )
    assert choose_figure(episode(verdicts=(unmeasured,))) == ThumbnailFigure("1977")
    assert choose_figure(episode(unit=Unit("Norrvale", "Forty"))) == ThumbnailFigure("")


# ------------------------------------------------------------------ how it is laid out


def laid(unit, what, look=LOOK):
    page = Page("thumbnail", look, make_measure("thumbnail"))
    lay_out_thumbnail(page, unit, what)
    assert find_problems(page.items, LEAST) == ()
    return page.items


CHANGE = ThumbnailFigure("1.4 → 0.026 %", ("THD+N, before → after", "THD+N"))
POWER = ThumbnailFigure("60.3 ± 1.6 W", ("Power into 4 Ω, rated 60 W", "Power, rated 60 W"), "too close to call", 0.0)
AT_EITHER_END = [
    ThumbnailFigure("±0.12 dB", ("Response, rated ±0.5 dB",), "meets", 1.0),
    ThumbnailFigure("31 W", ("Power, rated 60 W",), "falls short", -1.0),
]
NAMES = {
    "short": ("Norrvale", "Forty"),
    "long": ("Norrvale Radio Works", "Model 4040 Mark II"),
    "sixty": ("", "The Norrvale Integrated Stereo Amplifier Number Forty Mark 2"),
    "one word": ("", "W" * 60),
    "greek": ("Νορρβάλε", "Σαράντα"),
    "cyrillic": ("Норрвале", "Сорок"),
}


@pytest.mark.parametrize(
    "what", [CHANGE, POWER, *AT_EITHER_END, ThumbnailFigure("1977"), ThumbnailFigure("")], ids=lambda what: what.figure
)
@pytest.mark.parametrize("name", NAMES)
def test_it_is_a_name_and_one_figure_and_nothing_small(name, what):
    items = laid(Unit(*NAMES[name]), what)
    texts = [item for item in items if isinstance(item, Text)]
    assert min(text.size for text in texts) >= 92
    figures = [text for text in texts if text.part == "reading" and text.text == what.figure]
    assert len(figures) == bool(what.figure)
    assert all(text.size >= 180 for text in figures)
    assert len(texts) <= 5
    assert any(isinstance(item, Stroke) for item in items)
    assert any(isinstance(item, Area) for item in items) == bool(what.verdict)


def made(of, look):
    return draw_thumbnail(of.session.unit, choose_figure(of), look)


def test_a_name_too_long_is_the_model_alone():
    texts = [
        item.text
        for item in laid(
            Unit(
                "Kungliga Elektroakustiska Verkstäderna i Norra Norrvale med omnejd", "Forty Integrated Amplifier Two"
            ),
            CHANGE,
        )
        if isinstance(item, Text)
    ]
    assert texts[0] == "Forty Integrated Amplifier Two"


def test_a_model_that_cannot_stand_is_told_with_its_remedy():
    with pytest.raises(InputError, match=r"does not fit; shorten maker = … or model = … in \[unit\]"):
        made(episode(unit=Unit("", "W" * 200)), LOOK)


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
def test_name_and_figure_are_legible_at_168_by_94(look):
    """Capitals of 5 pixels and more, with the contrast of large text (WCAG 2.x: 3:1) where they are most solid."""
    verdicts = (judged("power", "Power into 8 Ω", "40 W", "42.9 W"),)
    image = Image.open(io.BytesIO(made(episode(verdicts=verdicts), look))).convert("RGB")
    assert image.size == (WIDTH, 720)
    small = np.asarray(image.resize((168, 94), Image.Resampling.LANCZOS))
    shrunk = 168 / 1920
    for item in laid(UNIT, choose_figure(episode(verdicts=verdicts)), look):
        if isinstance(item, Text):
            box = item.box
            assert (item.baseline - box.top) * shrunk >= 5
            part = small[
                int(box.top * shrunk) : int(box.bottom * shrunk) + 1,
                int(box.left * shrunk) : int(box.right * shrunk) + 1,
            ]
            seen = [contrast("#" + bytes(pixel).hex(), look.ground) for pixel in part.reshape(-1, 3)]
            assert sorted(seen)[-20] >= 3


def test_the_same_picture_is_the_same_bytes():
    assert made(episode(), LOOK) == made(episode(), LOOK)
