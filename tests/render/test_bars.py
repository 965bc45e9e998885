"""Bars: as tall as the scale says, left before right, before outside, figures over their own bars, nothing covered."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from itertools import pairwise

import pytest
from card_samples import UNIT, curve_card, shapes, texts, verdict
from card_samples import distortion_power as power_card

from reviewkit.measure import scales
from reviewkit.model.card import Bar, BarGroup, BarLimit, Bars, Card, Readout
from reviewkit.model.digits import MINUS, significant
from reviewkit.render.cards.card import draw, lay_out
from reviewkit.render.cards.contrast import contrast
from reviewkit.render.cards.layout_check import find_problems
from reviewkit.render.cards.look import LOOKS
from reviewkit.render.cards.scene import Area, LayoutFault, Stroke

NAMES = (("THD+N", "%"), ("THD", "%"), ("2nd", "dB"), ("3rd", "dB"), ("higher", "dB"))
BEFORE_AFTER = Readout(
    "THD+N, before → after", "1.4 → 0.026 %", (("L", "0.021 → 0.021 %"), ("R", "1.4 → 0.026 %")), "R"
)


def bar(channel, percent, unit="%", role="now", mark=""):
    """A bar and its figure as it would be written: two digits of a percentage, or decibels."""
    decibels = 20 * math.log10(percent / 100)
    text = significant(percent, 2) if unit == "%" else f"{decibels:.1f}".replace("-", MINUS)
    return Bar(channel, percent, mark + text, role)


def card(*groups, limits=(), readings=(BEFORE_AFTER,), low=0.001, high=1.0, **more):
    values = [b.value for group in groups for b in group.bars] + [low, high]
    return Card(
        "made-up",
        "Distortion at 1 kHz",
        "5 W into 8 Ω",
        Bars(scales.decades(values, "%"), groups, limits),
        readings,
        corner=UNIT,
        chart=True,
        **more,
    )


def groups(values, channels="LR", before=None, mark=""):
    """The five groups; `values` and `before`: percent by group and channel, None for a bar that is not there."""
    made = []
    for index, (name, unit) in enumerate(NAMES):
        own = []
        for place, channel in enumerate(channels or ("",)):
            if before and before[index][place] is not None:
                own.append(bar(channel, before[index][place], unit, "before"))
            if values[index][place] is not None:
                own.append(bar(channel, values[index][place], unit, mark=mark))
        if own:
            made.append(BarGroup(name, tuple(own), unit))
    return tuple(made)


def drawn(items):
    """Each bar as (left, right, top, bottom, colour), dashes of one bar put together, from left to right."""
    found = {}
    for area in shapes(items, "curve", Area):
        xs, ys = [p[0] for p in area.points], [p[1] for p in area.points]
        key = (min(xs), max(xs), area.colour)
        top, bottom = found.get(key, (math.inf, -math.inf))
        found[key] = min(top, *ys), max(bottom, *ys)
    return [(left, right, *found[left, right, colour], colour) for left, right, colour in sorted(found)]


def rules(items):
    """The heights of the horizontal rules, and of the line that the bars stand on."""
    level = [s for s in items if isinstance(s, Stroke) and s.kind in ("grid", "scale")]
    return sorted({s.points[0][1] for s in level if s.points[0][1] == s.points[1][1]})


def text(items, words):
    (found,) = (item for item in texts(items) if item.text == words)
    return found


PLAIN = [(0.021, 0.026), (0.021, 0.026), (0.0195, 0.0245), (0.003, 0.0034), (0.006, 0.0073)]
WAS = [(0.021, 1.4), (0.021, 1.4), (0.0195, 0.0254), (0.0031, 1.0), (0.006, 0.93)]


def test_a_bar_is_as_tall_as_the_scale_says():
    """A bar of a decade's value ends on that decade's rule, and all decades are equally high (a logarithm)."""
    items = lay_out(
        card(*groups([(0.01, 0.1), (1.0, 0.01), (0.1, 1.0), (0.01, 0.1), (math.sqrt(0.001), 0.01)])), "lamplight"
    )
    top, *between, foot = rules(items)
    assert len(between) == 2
    height = (foot - top) / 3
    due = [1, 2, 3, 1, 2, 3, 1, 2, 1.5, 1]
    for (_, _, upper, lower, _), decades in zip(drawn(items), due, strict=True):
        assert lower == pytest.approx(foot, abs=0.01)
        assert upper == pytest.approx(foot - decades * height, abs=0.01)


def test_left_stands_before_right_and_before_outside():
    items = lay_out(card(*groups(PLAIN, before=WAS)), "lamplight")
    look = LOOKS["lamplight"]
    bars = drawn(items)
    assert len(bars) == 20
    order = [look.curve("L", "before"), look.left, look.right, look.curve("R", "before")]
    for at in range(0, 20, 4):
        four = bars[at : at + 4]
        assert [each[4] for each in four] == order
        widths = [each[1] - each[0] for each in four]
        assert widths[0] == pytest.approx(widths[3])
        assert widths[1] == pytest.approx(widths[2])
        assert widths[0] < 0.4 * widths[1]
        # and nothing of one is behind another
        assert all(one[1] < other[0] for one, other in pairwise(four))
    # a figure that did not change is not said twice, one that did is; the word stands once
    said = [item.text for item in texts(items)]
    assert "before 1.4" in said
    assert sum("before" in words for words in said) == 2  # with the reading's label
    assert f"{MINUS}40.0" in said
    assert said.count(f"{MINUS}74.2") == 1


def test_a_letter_stands_under_each_channel_and_a_name_under_each_group():
    items = lay_out(card(*groups(PLAIN)), "brochure")
    foot = rules(items)[-1]
    letters = [item for item in texts(items) if item.text in "LR" and item.baseline > foot and item.box.right < 1400]
    assert [item.text for item in letters] == ["L", "R"] * 5
    for letter, (left, right, *_) in zip(letters, drawn(items), strict=True):
        assert (letter.box.left + letter.box.right) / 2 == pytest.approx((left + right) / 2, abs=2)
        assert letter.colour == LOOKS["brochure"].channel(letter.text)
    for at, (name, _) in enumerate(NAMES):
        left, right = drawn(items)[2 * at][0], drawn(items)[2 * at + 1][1]
        assert left < text(items, name).box.left < (left + right) / 2


@pytest.mark.parametrize("look", LOOKS)
def test_left_and_right_stay_apart_in_grey(look):
    """By lightness (1.5:1), and by the right channel's dashes, which its curves have, too."""
    items = lay_out(card(*groups([(0.5, 0.5)] * 5)), look)
    areas = shapes(items, "curve", Area)
    left = [area for area in areas if area.colour == LOOKS[look].left]
    right = [area for area in areas if area.colour == LOOKS[look].right]
    assert contrast(left[0].colour, right[0].colour) >= 1.5
    assert len(left) == 5
    assert len(right) >= 5 * 5


def test_it_stands_where_a_panel_of_curves_stands():
    """Numbers, unit, top rule and the line under the picture: the same places on all charts."""
    y = scales.decades([0.001, 1.0], "%")
    readings = (Readout("THD+N", "0.026 %"),)
    ours = lay_out(card(*groups(PLAIN), readings=readings), "lamplight")
    theirs = lay_out(replace(curve_card(*power_card().body.panels[0].traces, y=y), readings=readings), "lamplight")
    for words in ("1", "0.1", "0.01", "%"):
        one, other = (next(t for t in texts(items) if t.text == words and t.x < 250) for items in (ours, theirs))
        assert (one.box.right, one.baseline) == pytest.approx((other.box.right, other.baseline), abs=1.0)
    assert rules(ours)[0] == pytest.approx(min(s.points[0][1] for s in shapes(theirs, "grid")), abs=0.01)
    assert text(ours, "THD").baseline == pytest.approx(text(theirs, "100").baseline, abs=0.01)


def test_every_shape_says_which_part_it_is():
    """A clip brings bars in with the curves, and their figures after them."""
    items = lay_out(card(*groups(PLAIN, before=WAS), limits=(BarLimit(0.05, (1,), "rated 0.05 %"),)), "lamplight")
    assert {area.part for area in shapes(items, "curve", Area)} == {"curve"}
    assert {item.part for item in texts(items) if item.text in (f"{MINUS}72.2", "before 1.4")} == {"label"}
    assert text(items, "rated 0.05 %").part == "frame"
    assert text(items, "3rd").part == "frame"


def test_a_figure_stands_over_its_own_bar():
    items = lay_out(card(*groups(PLAIN, before=WAS)), "lamplight")
    look = LOOKS["lamplight"]
    own = [bar for bar in drawn(items) if bar[4] in (look.left, look.right)]
    figures = sorted((t for t in texts(items) if t.part == "label" and t.bold), key=lambda t: t.box.left)
    assert len(figures) == len(own) == 10
    for figure, (left, right, top, _, colour) in zip(figures, own, strict=True):
        assert figure.colour == colour
        assert min(figure.box.right, right) - max(figure.box.left, left) >= 0.45 * (right - left)
        assert 0 < top - figure.baseline < 140


def test_the_limit_spans_the_group_that_it_is_rated_for():
    limit = BarLimit(0.1, (1,), "rated 0.1 %")
    items = lay_out(card(*groups(PLAIN), limits=(limit,)), "lamplight")
    (line,) = shapes(items, "limit")
    (left, y), (right, _) = line.points
    bars = drawn(items)
    assert bars[1][1] < left < bars[2][0]
    assert bars[3][1] < right < bars[4][0]
    assert any(y == pytest.approx(rule, abs=0.01) for rule in rules(items))
    assert line.dash
    assert abs(text(items, "rated 0.1 %").baseline - y) < 60
    # two neighbours that share a limit have one line
    (line,) = shapes(lay_out(card(*groups(PLAIN), limits=(replace(limit, groups=(0, 1)),)), "lamplight"), "limit")
    assert line.points[0][0] < bars[0][0]
    assert line.points[1][0] > bars[3][1]
    # one that lies off the scale is not drawn
    assert not shapes(lay_out(card(*groups(PLAIN), limits=(replace(limit, value=50.0),)), "lamplight"), "limit")


NEEDLES = (
    verdict("THD at 5 W, 20 Hz – 20 kHz", "0.05 %", "meets", 0.6),
    verdict("Power into 8 Ω", "40 W", "too close to call"),
)
HOSTILE = {
    "one channel": {"values": [(0.026,)] * 5, "channels": "L"},
    "one channel, before": {"values": [(0.026,)] * 5, "channels": "R", "before": [(1.4,)] * 5},
    "no channel named": {"values": [(0.026,)] * 5, "channels": ""},
    "no channel named, before": {"values": [(0.026,)] * 5, "channels": "", "before": [(1.4,)] * 5},
    "tiny": {"values": [(1e-5, 1.2e-5)] * 5},
    "huge": {"values": [(100.0, 99.9)] * 5, "before": [(96.0, 100.0)] * 5},
    "tiny before, huge now": {"values": [(100.0, 100.0)] * 5, "before": [(1e-5, 1e-5)] * 5},
    "huge before, tiny now": {"values": [(1e-5, 1e-5)] * 5, "before": [(100.0, 100.0)] * 5},
    "all equal": {"values": [(0.1, 0.1)] * 5, "before": [(0.1, 0.1)] * 5},
    "left was worse": {"values": PLAIN, "before": [(1.4, 0.026)] * 5},
    "both were worse": {"values": PLAIN, "before": [(1.4, 1.3)] * 5},
    "now is worse": {"values": WAS, "before": PLAIN},
    "bounds": {"values": [(0.001, 0.0011)] * 5, "mark": "≤ "},
    "bounds, before": {"values": [(0.001, 0.0011)] * 5, "before": [(0.5, 0.6)] * 5, "mark": "≤ "},
    "long figures": {"values": [(0.00011, 0.00012)] * 5, "before": [(0.00031, 0.9)] * 5},
    "harmonics missing": {"values": [(0.02, 0.03), (0.02, 0.03), (None, 0.01), (0.01, None), (None, None)]},
    "before lacks some": {"values": PLAIN, "before": [(0.02, 0.03), (None, None), (None, 1), (None, None), (1, None)]},
    "only the sum": {"values": [(0.02, 0.03)] + [(None, None)] * 4},
    "left only with right before": {"values": [(0.02, None)] * 5, "before": [(None, 0.5)] * 5},
}  # fmt: skip


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("name", HOSTILE)
def test_nothing_is_covered_whatever_the_figures(name, look):
    made = groups(**HOSTILE[name])
    # as the scale of a tone's card is made: there is room over the highest bar
    high = 2.5 * max(b.value for group in made for b in group.bars)
    for limits in (
        (),
        (BarLimit(0.05, (0, 1), "rated 0.05 % to 40 W"),),
        (BarLimit(0.03, (1,), "rated 0.03 % at 40 W"),),
    ):
        kept = tuple(replace(limit, groups=tuple(g for g in limit.groups if g < len(made))) for limit in limits)
        items = lay_out(card(*made, limits=kept, verdicts=NEEDLES, high=max(high, 1.0)), look)
        assert find_problems(items) == ()
        # no figure is left out to make room
        said = [item.text for item in texts(items)]
        assert all(said.count(b.text) >= 1 for group in made for b in group.bars if b.role == "now")


def test_nothing_is_covered_by_chance():
    rng = random.Random(5)
    for _ in range(60):
        values, before = (
            [tuple(10 ** rng.uniform(-5, 2) if rng.random() < 0.9 else None for _ in "LR") for _ in NAMES] for _ in "ab"
        )
        made = groups(values, before=before if rng.random() < 0.8 else None, mark=rng.choice(("", "≤ ")))
        limits = (BarLimit(10 ** rng.uniform(-4, 1), (rng.randrange(len(made)),), "rated 0.05 % to 40 W"),)
        items = lay_out(card(*made, limits=limits, low=1e-5, high=250.0), "lamplight")
        assert find_problems(items) == ()


def test_it_is_painted():
    assert draw(card(*groups(PLAIN, before=WAS)), "brochure", 1280).startswith(b"\x89PNG")


def test_without_groups_there_is_no_picture():
    items = lay_out(card(), "lamplight")
    assert not shapes(items, "curve", Area)


def test_too_many_groups_are_told():
    many = tuple(BarGroup(f"group {n}", (bar("L", 0.1), bar("R", 0.2)), "%") for n in range(12))
    with pytest.raises(LayoutFault, match="leaves the picture no room"):
        lay_out(card(*many), "lamplight")


def test_a_limits_words_that_stand_apart_have_a_piece_of_its_line_before_them():
    """Alone in the picture they would be read with the figure beside them: "1.4 rated 0.05 %"."""
    pair = [Bar("L", 0.0065, "0.0065"), Bar("R", 0.0094, "0.0094"), Bar("R", 1.4, "1.4", "before")]
    made = [BarGroup(name, tuple(pair), "%") for name in ("THD+N", "THD", "2nd", "3rd", "higher")]
    limit = BarLimit(0.03, (1,), "rated 0.03 % to 62 W, both channels driven")
    items = lay_out(card(*made, limits=(limit,), low=1e-4, high=10.0), "lamplight")
    words = next(text for text in texts(items) if text.text == limit.label)
    line, *samples = sorted(shapes(items, "limit"), key=lambda one: -one.points[0][1])
    assert abs(words.baseline - line.points[0][1]) > 60
    (sample,) = samples
    assert sample.points[0][1] == pytest.approx(words.box.top + words.box.height / 2, abs=12)
    assert 0 < words.box.left - sample.points[1][0] < 20
