import io
import subprocess
import sys
import zlib
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from card_samples import HERTZ, SAMPLES, VERDICT_WORDS, curve_card, said, shapes, texts
from PIL import Image

from reviewkit.build.drawing import draw_card
from reviewkit.build.pool import ALONE, Pool
from reviewkit.model.card import Card, Limit, Row, Rows, Trace
from reviewkit.model.errors import Fault
from reviewkit.render.cards.card import Order, draw, draw_pictures, lay_out
from reviewkit.render.cards.contact_sheet import SMALL
from reviewkit.render.cards.layout_check import SAFE, find_problems
from reviewkit.render.cards.look import LOOKS
from reviewkit.render.cards.paint import paint
from reviewkit.render.cards.scene import Area

LOOK_NAMES = tuple(LOOKS)
EVERY = tuple(product(SAMPLES, LOOK_NAMES))


def picture(png):
    return Image.open(io.BytesIO(png))


# ------------------------------------------------------------------ every sample, both looks, every size


@pytest.mark.parametrize(("name", "look"), EVERY)
def test_every_sample_is_laid_out_without_a_problem(name, look):
    items = lay_out(SAMPLES[name], look)
    assert find_problems(items) == ()
    assert min(item.size for item in texts(items)) >= 36
    assert {item.colour for item in texts(items)} <= {
        getattr(LOOKS[look], colour) for colour in ("ink", "soft", "left", "right", "meets", "falls_short")
    }


@pytest.mark.parametrize(("name", "look"), EVERY)
def test_every_sample_draws_to_the_same_bytes_twice(name, look):
    png = draw(SAMPLES[name], look)
    assert picture(png).size == (1920, 1080)
    assert picture(png).mode in ("P", "RGB")  # opaque either way
    assert picture(png).info == {}  # no text, no time, no resolution
    assert draw(SAMPLES[name], look) == png


@pytest.mark.parametrize("width", [1280, 3840])
@pytest.mark.parametrize("name", ["tone", "table", "title"])
def test_other_sizes(name, width):
    png = draw(SAMPLES[name], "lamplight", width)
    assert picture(png).size == (width, width * 9 // 16)


def test_the_same_bytes_from_another_process(tmp_path):
    code = (
        "from pathlib import Path; from card_samples import SAMPLES; from reviewkit.render.cards.card import draw;"
        f"Path({str(tmp_path / 'card.png')!r}).write_bytes(draw(SAMPLES['crosstalk'], 'brochure'))"
    )
    root = Path(__file__).parents[2]
    subprocess.run(
        [sys.executable, "-W", "error", "-c", code], check=True, env={"PYTHONPATH": f"{root}:{Path(__file__).parent}"}
    )
    assert (tmp_path / "card.png").read_bytes() == draw(SAMPLES["crosstalk"], "brochure")


def test_a_width_that_is_no_card_is_refused():
    with pytest.raises(ValueError, match="1280, 1920, 3840"):
        draw(SAMPLES["title"], "lamplight", 640)


@pytest.mark.parametrize(("width", "every"), [(1280, 4), (1920, 4), (3840, 20)])
def test_the_ink_is_where_the_layout_says(width, every):
    """Texts alone on their card: the pixels that differ from the ground fill the text's box and nothing else."""
    scale = width / 1920
    for text in texts(lay_out(SAMPLES["distortion_power"], "lamplight"))[::every]:
        pixels = paint((text,), LOOKS["lamplight"].ground, width)[..., :3].astype(int)
        inked = np.abs(pixels - pixels[0, 0]).sum(axis=2) > 60
        rows, columns = np.flatnonzero(inked.any(axis=1)) / scale, np.flatnonzero(inked.any(axis=0)) / scale
        after = 0.1 * text.size  # the last letter's own room after its ink belongs to the box
        assert columns[0] == pytest.approx(text.box.left, abs=2)
        assert text.box.right - after - 2.5 <= columns[-1] + 1 <= text.box.right + 2.5
        assert rows[0] == pytest.approx(text.box.top, abs=2.5)
        assert rows[-1] + 1 == pytest.approx(text.box.bottom, abs=2.5)


def test_nothing_is_painted_outside_the_safe_box():
    for name in ("tone", "crosstalk", "table"):
        pixels = np.asarray(picture(draw(SAMPLES[name], "lamplight")).convert("RGB")).astype(int)
        inked = np.argwhere(np.abs(pixels - pixels[0, 0]).sum(axis=2) > 30)
        (top, left), (bottom, right) = inked.min(axis=0), inked.max(axis=0)
        assert left >= SAFE.left - 2
        assert top >= SAFE.top - 2
        assert right <= SAFE.right + 2
        assert bottom <= SAFE.bottom + 2


# ------------------------------------------------------------------ what is drawn is what is said


def test_a_card_says_all_that_it_was_given():
    for name, card in SAMPLES.items():
        shown = said(lay_out(card, "lamplight"))
        wanted = [card.title, card.foot, *(text for reading in card.readings for row in reading.rows for text in row)]
        wanted += [verdict.verdict for verdict in card.verdicts]
        if isinstance(card.body, Rows):
            wanted += [cell for row in card.body.rows for cell in row.cells] + [row.note for row in card.body.rows]
            wanted += [row.verdict for row in card.body.rows]
        for text in wanted:
            assert text in shown, (name, text)


def test_curves_lie_where_their_axes_say():
    frequency = np.array((20.0, 200.0, 2000.0, 20000.0))
    items = lay_out(curve_card(Trace(frequency, np.array((0.0, 1.0, -1.0, 2.0)), "L", "now", "L")), "lamplight")
    points = shapes(items, "curve")[0].points
    # a decade is a third of the width on a three-decade log axis; a decibel a quarter of the height on ±2 dB
    steps = np.diff(points, axis=0)
    assert steps[:, 0] == pytest.approx(steps[0, 0])
    assert steps[:, 1] / steps[0, 1] == pytest.approx([1, -2, 3])
    grid = sorted({y for line in shapes(items, "grid") for _, y in line.points})
    assert len(grid) == 5
    assert points[:, 1] == pytest.approx([grid[2], grid[1], grid[3], grid[0]])
    assert np.diff(grid) == pytest.approx(abs(steps[0, 1]))


def test_the_grid_is_horizontal_and_there_is_no_box():
    for line in (line for card in SAMPLES.values() for line in shapes(lay_out(card, "lamplight"), "grid")):
        assert line.points[0][1] == line.points[1][1]


def test_the_dial_has_a_tick_for_every_minor_value_and_a_longer_one_for_every_number():
    ticks = [
        line for line in shapes(lay_out(curve_card(), "lamplight"), "scale") if line.points[0][0] == line.points[1][0]
    ]
    lengths = sorted(round(line.points[1][1] - line.points[0][1]) for line in ticks)
    assert lengths == sorted([12] * len(HERTZ.minor) + [24] * len(HERTZ.ticks))


def test_the_band_and_its_dashes_lie_on_the_limit():
    limit = Limit(-1.0, 1.0, 20.0, 2000.0, "rated ±1 dB")
    items = lay_out(curve_card(limits=(limit,)), "lamplight")
    grid = sorted({y for line in shapes(items, "grid") for _, y in line.points})
    (band,) = shapes(items, "band", Area)
    assert sorted({y for _, y in band.points}) == pytest.approx([grid[1], grid[3]])
    assert [line.dash is not None for line in shapes(items, "limit")] == [True, True]
    left, right = min(x for x, _ in band.points), max(x for x, _ in band.points)
    whole = shapes(items, "grid")[0].points
    assert (right - left) / (whole[1][0] - whole[0][0]) == pytest.approx(2 / 3)


def test_a_limit_on_one_side_opens_to_the_side_that_is_allowed():
    (band,) = shapes(lay_out(SAMPLES["distortion_power"], "lamplight"), "band", Area)
    grid = [y for line in shapes(lay_out(SAMPLES["distortion_power"], "lamplight"), "grid") for _, y in line.points]
    assert max(y for _, y in band.points) == pytest.approx(max(grid))
    assert min(y for _, y in band.points) > min(grid)


def test_left_is_solid_and_right_dashed_in_their_colours():
    items = lay_out(SAMPLES["response"], "brochure")
    look = LOOKS["brochure"]
    now = {line.colour: line for line in shapes(items, "curve") if line.width > 6}
    assert now[look.left].dash is None
    dash = now[look.right].dash
    assert dash == pytest.approx((5 * now[look.right].width, 1.6 * now[look.right].width))
    before = [line for line in shapes(items, "curve") if line.colour == look.curve("L", "before")]
    assert before[0].width < now[look.left].width
    names = {text.text: text for text in texts(items)}
    assert names["L before"].colour == look.left
    assert names["bench"].colour == look.soft


@pytest.mark.parametrize(("position", "side"), [(0.5, 1), (-0.5, -1), (0.0, 0), (1.0, 1), (7.0, 1), (None, None)])
def test_the_pointer_stands_on_the_side_that_the_verdict_is_on(position, side):
    row = Row(("Power", "40 W", "43.1 W"), "meets", position)
    body = Rows(("", "rated", "measured"), (row,), (2, 1, 1), strong=2, needles=True)
    items = lay_out(Card("table", "Rated and measured", "", body), "lamplight")
    scale = [line for line in shapes(items, "needle") if line.points[0][1] == line.points[1][1]]
    middle = (scale[0].points[0][0] + scale[0].points[1][0]) / 2
    half = (scale[0].points[1][0] - scale[0].points[0][0]) / 2
    notch = max(shapes(items, "needle"), key=lambda line: abs(line.points[0][1] - line.points[1][1]))
    assert notch.points[0][0] == pytest.approx(middle)
    pointers = shapes(items, "needle", Area)
    if position is None:
        assert pointers == []
        assert scale[0].colour == LOOKS["lamplight"].scale
        return
    off = pointers[0].points[0][0] - middle
    assert np.sign(round(off, 6)) == side
    assert off / half == pytest.approx(min(position, 1.0), abs=0.02)


def test_verdict_words_stand_beside_every_needle():
    items = lay_out(SAMPLES["table"], "lamplight")
    words = [text for text in texts(items) if text.text in VERDICT_WORDS]
    assert {text.text for text in words} == set(VERDICT_WORDS)
    for word in words:
        assert word.colour == LOOKS["lamplight"].status(word.text)


# ------------------------------------------------------------------ what a card costs


@pytest.mark.parametrize("rows", [2_000, 200_000])
def test_a_curve_has_no_more_points_than_its_columns_show(rows):
    """First, least, greatest and last of each column of pixels, however long the file is."""
    frequency = np.linspace(20, 20_000, rows)
    noise = np.random.default_rng(1).uniform(-1.5, 1.5, rows)
    items = lay_out(curve_card(Trace(frequency, noise, "L", "now", "L")), "lamplight")
    (line,) = shapes(items, "curve")
    left, right = line.points[:, 0].min(), line.points[:, 0].max()
    assert len(line.points) <= 4 * (right - left + 2)
    assert np.ptp(line.points[:, 1]) > 100


def test_pictures_of_one_card_are_those_drawn_one_by_one():
    for look, page in (("lamplight", "brochure"), ("brochure", "lamplight")):
        made = draw_pictures(SAMPLES["crosstalk"], Order(LOOKS[look], page=LOOKS[page]))
        assert made == {
            "cards": draw(SAMPLES["crosstalk"], look, 1920),
            "page": draw(SAMPLES["crosstalk"], page, 1280),
        }


@pytest.mark.parametrize("width", [1920, 3840])
def test_a_card_on_the_sheet_of_all_cards_is_the_card_made_smaller(width):
    made = draw_pictures(SAMPLES["crosstalk"], Order(LOOKS["lamplight"], width, small=True))
    small = Image.frombytes("RGB", (SMALL, SMALL * 9 // 16), zlib.decompress(made["small"]))
    whole = picture(made["cards"]).convert("RGB")
    again = whole.resize(small.size, Image.Resampling.BOX)
    # the card's palette is off by 2 levels at most, and either way of averaging rounds
    assert np.abs(np.asarray(small).astype(int) - np.asarray(again)).max() <= 3


def test_what_was_painted_before_leaves_nothing_behind():
    alone = draw(SAMPLES["title"], "lamplight", 1280)
    draw(SAMPLES["crosstalk"], "brochure", 1280)
    assert draw(SAMPLES["title"], "lamplight", 1280) == alone


def test_other_processes_give_the_same_bytes_and_report_what_cannot_be_drawn():
    unknown = replace(SAMPLES["tone"], title="a\U0001f9ffb")  # no font here has pictures
    calls = [(card, Order(LOOKS["lamplight"], 1280)) for card in (SAMPLES["title"], unknown, SAMPLES["response"])]
    with Pool(2) as two:
        two.load(())
        drawn = two.begin(draw_card, calls).results()
    assert drawn == ALONE.begin(draw_card, calls).results()
    assert isinstance(drawn[1], Fault)
    assert "U+1F9FF" in drawn[1].message


def test_a_name_that_says_no_channel_has_no_channels_colour():
    x = np.geomspace(20, 20_000, 50)
    traces = (Trace(x, x * 0 + 1, "L", "now", "treble full up"), Trace(x, x * 0 - 1, "R", "now", "R"))
    colours = {text.text: text.colour for text in texts(lay_out(curve_card(*traces), "lamplight"))}
    assert colours["treble full up"] == LOOKS["lamplight"].ink
    assert colours["R"] == LOOKS["lamplight"].right


def test_the_bench_is_named_once():
    x = np.geomspace(20, 20_000, 50)
    traces = [Trace(x, x * 0 - n, side, "bench", "bench") for n, side in enumerate("LR")]
    items = lay_out(curve_card(*traces, Trace(x, x * 0 + 1, "L", "now", "L")), "lamplight")
    assert [text.text for text in texts(items)].count("bench") == 1
    assert len(shapes(items, "curve")) == 3
