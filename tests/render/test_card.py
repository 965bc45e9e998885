import io
import subprocess
import sys
import zlib
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from accuracy import grid
from card_samples import CHARTS, HERTZ, SAMPLES, VERDICT_WORDS, curve_card, said, shapes, sound, texts, verdict
from PIL import Image

from reviewkit.build.drawing import draw_card
from reviewkit.build.pool import ALONE, Pool
from reviewkit.model.card import Axis, Card, Chart, Ending, Hero, Limit, Mark, Number, Row, Rows, Trace
from reviewkit.model.errors import Fault
from reviewkit.render.cards import paint as paint_module
from reviewkit.render.cards.card import lay_out
from reviewkit.render.cards.colours import LOOKS
from reviewkit.render.cards.contact_sheet import sheet_size
from reviewkit.render.cards.paint import paint
from reviewkit.render.cards.pictures import Order, draw, draw_pictures
from reviewkit.render.cards.scene import Area, LayoutFault
from reviewkit.render.cards.shape import SHAPES, SQUARE, WIDE
from reviewkit.render.cards.table import split_table
from reviewkit.render.cards.traces import line_length
from reviewkit.render.cards.vector import encode_svg

LOOK_NAMES = tuple(LOOKS)
EVERY = tuple(product(SAMPLES, LOOK_NAMES))
X = np.geomspace(20, 20_000, 50)


def picture(png):
    return Image.open(io.BytesIO(png))


# ------------------------------------------------------------------ every sample, both looks, every size


@pytest.mark.parametrize(("name", "shape", "look"), grid([*SAMPLES], [*product(SHAPES, LOOKS)]))
def test_every_sample_is_laid_out_without_a_problem(name, look, shape):
    items = sound(SAMPLES[name], look, shape)
    assert min(item.size for item in texts(items)) >= 36


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("name", ["pair", "found", "response", "power", "number", "ending"])
def test_a_bound_has_room_after_its_figure(name, shape):
    card, bound = SAMPLES[name], {"bound": "or more", "why": "third harmonic not separated"}
    body = card.body
    if isinstance(body, Number):
        body = replace(body, bound="or more")
    elif isinstance(body, Ending):
        body = replace(body, hero=replace(body.hero, **bound))
    items = texts(sound(replace(card, body=body, hero=card.hero and replace(card.hero, **bound)), shape=shape))
    (after,) = [item for item in items if item.text.endswith("or more")]
    figure = items[items.index(after) - 1]
    assert (figure.baseline, figure.weight) == (after.baseline, "black")
    assert 0 < after.box.left - figure.box.right < figure.size
    assert 36 <= after.size < figure.size


FURTHER = (
    "intermodulation, r.s.s. of the sidebands 0.063 % right",
    "highest distortion at 250 mW 0.11 % right",
    "hum −99.2 dB right",
)


@pytest.mark.parametrize(("name", "figure", "shape"), grid([*CHARTS], ["", "5.17 µs"], [*SHAPES]))
def test_three_further_figures_have_room_below_the_large_one(name, figure, shape):
    card = SAMPLES[name]
    hero = replace(card.hero, further=FURTHER, note="at 1 W", figure=figure or card.hero.figure)
    items = texts(sound(replace(card, hero=hero), shape=shape))
    notes = [item for item in items if item.part == "reading" and any(text in item.text for text in FURTHER)]
    assert [text for item in notes for text in item.text.split(" · ") if text in FURTHER] == [*FURTHER]
    (large,) = [item for item in items if item.text == hero.figure and item.weight == "black"]
    assert min(item.box.top for item in notes) > large.box.bottom
    if shape == "tall":
        assert len(notes) == len(FURTHER)  # one below the other


@pytest.mark.parametrize(("name", "look"), grid([*SAMPLES], [*LOOKS]))
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


@pytest.mark.parametrize(("shape", "size"), [("tall", (1080, 1920)), ("square", (1080, 1080))])
def test_other_shapes(shape, size):
    assert picture(draw(SAMPLES["pair"], "lamplight", 1920, shape)).size == size


def test_the_same_bytes_from_another_process(tmp_path):
    code = (
        "from pathlib import Path; from card_samples import SAMPLES; from reviewkit.render.cards.pictures import draw;"
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


@pytest.mark.parametrize(("width", "every"), [(1280, 4), (1920, 16), pytest.param(3840, 20, marks=pytest.mark.long)])
def test_the_ink_is_where_the_layout_says(width, every):
    """Texts alone on their card: the pixels that differ from the ground fill the text's box and nothing else."""
    scale = width / 1920
    for text in texts(lay_out(SAMPLES["power"], "lamplight"))[::every]:
        pixels = paint((text,), LOOKS["lamplight"].ground, width)[..., :3].astype(int)
        inked = np.abs(pixels - pixels[0, 0]).sum(axis=2) > 60
        rows, columns = np.flatnonzero(inked.any(axis=1)) / scale, np.flatnonzero(inked.any(axis=0)) / scale
        after = 0.1 * text.size  # the last letter's own room after its ink belongs to the box
        assert columns[0] == pytest.approx(text.box.left, abs=2)
        assert text.box.right - after - 2.5 <= columns[-1] + 1 <= text.box.right + 2.5
        assert rows[0] == pytest.approx(text.box.top, abs=2.5)
        assert rows[-1] + 1 == pytest.approx(text.box.bottom, abs=2.5)


@pytest.mark.parametrize("shape", SHAPES.values(), ids=list(SHAPES))
def test_texts_stay_in_the_safe_box(shape):
    for card in SAMPLES.values():
        for text in texts(lay_out(card, "lamplight", shape)):
            assert shape.safe.left - 2 <= text.box.left <= text.box.right <= shape.safe.right + 2, text.text
            assert shape.safe.top - 2 <= text.box.top <= text.box.bottom <= shape.safe.bottom + 2, text.text


# ------------------------------------------------------------------ what is drawn is what is said


def test_a_card_says_all_that_it_was_given():
    for name, card in SAMPLES.items():
        shown = said(lay_out(card, "lamplight"))
        wanted = [card.title]
        if card.hero is not None:
            wanted += [card.hero.figure, *card.hero.caption.split(", "), card.hero.uncertainty]
        if card.verdict is not None:
            wanted += [*card.verdict.verdict.split(" "), card.verdict.limit]
        if isinstance(card.body, Rows):
            wanted += [text for row in card.body.rows for text in (*row.cells, row.note, row.verdict)]
        for text in wanted:
            assert text in shown, (name, text)


def test_curves_lie_where_their_axes_say():
    frequency = np.array((20.0, 200.0, 2000.0, 20000.0))
    items = lay_out(curve_card(Trace(frequency, np.array((0.0, 1.0, -1.0, 2.0)), "L", "now", "L")), "lamplight")
    line = shapes(items, "curve")[0].points
    # between the points the line is smooth
    points = line[[int(np.argmin(np.abs(line[:, 0] - x))) for x in np.linspace(line[0, 0], line[-1, 0], 4)]]
    # a decade is a third of the width on a three-decade log axis; a decibel a quarter of the height on ±2 dB
    steps = np.diff(points, axis=0)
    assert steps[:, 0] == pytest.approx(steps[0, 0])
    assert steps[:, 1] / steps[0, 1] == pytest.approx([1, -2, 3])
    grid = sorted({y for line in shapes(items, "grid") for _, y in line.points})
    assert len(grid) == 3  # every second of five
    assert points[::3, 1] == pytest.approx([grid[1], grid[0]])
    assert np.diff(grid) == pytest.approx(2 * abs(steps[0, 1]))


def test_the_grid_is_horizontal_and_there_is_no_box():
    for line in (line for card in SAMPLES.values() for line in shapes(lay_out(card, "lamplight"), "grid")):
        assert line.points[0][1] == line.points[1][1]


def test_the_dial_crosses_the_frame_with_a_tick_for_every_value():
    items = lay_out(curve_card(), "lamplight")
    (line,) = shapes(items, "dial")
    assert [x for x, _ in line.points] == [0.0, 1920.0]
    lengths = [round(tick.points[1][1] - tick.points[0][1]) for tick in shapes(items, "scale")]
    assert sorted(lengths) == sorted([16] * len(HERTZ.minor) + [30] * len(HERTZ.ticks))


@pytest.mark.parametrize("shape", SHAPES)
def test_a_dial_has_its_name_over_its_right_end_and_keeps_its_numbers(shape):
    ticks = tuple((float(v), str(v)) for v in range(0, 81, 10))
    dial = Axis(0.0, 80.0, "linear", ticks, "dBf", tuple(map(float, range(0, 81, 5))), "signal at the aerial")
    named, plain = (lay_out(curve_card(x=x), "lamplight", SHAPES[shape]) for x in (dial, replace(dial, name="")))
    rows = [[t.text for t in texts(items) if t.baseline == SHAPES[shape].numbers] for items in (named, plain)]
    assert rows[0] == rows[1]
    (name,) = (text.box for text in texts(named) if text.text == dial.name)
    assert name.right == pytest.approx(SHAPES[shape].safe.right)
    assert max(y for line in shapes(named, "grid") for _, y in line.points) + 14 < name.top
    assert name.bottom + 6 < SHAPES[shape].dial


@pytest.mark.parametrize("shape", SHAPES)
def test_no_rule_touches_a_text(shape, episode):
    for card in (*map(SAMPLES.get, CHARTS), *(each for each in episode.stills if isinstance(each.body, Chart))):
        items = lay_out(card, "lamplight", SHAPES[shape])
        boxes = [(text.text, text.box.grown(10, 3)) for text in texts(items)]
        for (left, y), (right, _) in (line.points for line in shapes(items, "grid")):
            assert right - left > 40
            on_it = [text for text, box in boxes if box.top < y < box.bottom and box.left < right and left < box.right]
            assert not on_it, card.id


@pytest.mark.parametrize("shape", SHAPES)
def test_a_dashed_line_ends_with_a_whole_dash(shape, episode):
    items = [i for card in episode.stills if card.on_film for i in lay_out(card, "lamplight", SHAPES[shape])]
    dashed = [line for line in (*shapes(items, "curve"), *shapes(items, "limit")) if line.dash]
    assert dashed
    for line in dashed:
        on, off = line.dash
        dashes = (line_length(np.asarray(line.points)) + off) / (on + off)
        assert dashes == pytest.approx(round(dashes))
        assert 2.5 < on / off < 3.5 or on / off == pytest.approx(1.5)


def test_verdicts_have_the_same_columns(episode):
    """Large letters move left until their ink begins where that of small ones does."""
    judged = [card for card in episode.stills if card.verdict]
    assert len(judged) > 5
    for card in judged:
        items = texts(lay_out(card, "lamplight"))
        (rated,) = (text.x for text in items if text.text == "rated")
        word = next(text.x for text in items if text.part == "word")
        assert rated == WIDE.columns[0]
        assert word == pytest.approx(WIDE.columns[1], abs=8)


def test_the_band_and_its_dashes_lie_on_the_limit():
    limit = Limit(-1.0, 1.0, 20.0, 2000.0, "rated ±1 dB")
    items = lay_out(curve_card(limits=(limit,)), "lamplight")
    grid = sorted({y for line in shapes(items, "grid") for _, y in line.points})
    (band,) = shapes(items, "band", Area)
    assert sorted({y for _, y in band.points}) == pytest.approx([np.mean(grid[:2]), np.mean(grid[1:])])
    assert [line.dash is not None for line in shapes(items, "limit")] == [True, True]
    left, right = min(x for x, _ in band.points), max(x for x, _ in band.points)
    first, last = WIDE.curves
    assert (right - left) / (last - first) == pytest.approx(2 / 3)


def test_a_limit_on_one_side_opens_to_the_side_that_is_allowed():
    items = lay_out(SAMPLES["power"], "lamplight")
    (band,) = shapes(items, "band", Area)
    grid = [y for line in shapes(items, "grid") for _, y in line.points]
    assert max(y for _, y in band.points) == pytest.approx(max(grid))
    assert min(y for _, y in band.points) > min(grid)


def test_left_is_solid_and_right_dashed_in_their_colours():
    items = lay_out(curve_card(Trace(X, X * 0 + 1, "L"), Trace(X, X * 0 - 1, "R", "before")), "brochure")
    look = LOOKS["brochure"]
    now = {line.colour: line for line in shapes(items, "curve")}
    assert now[look.left].dash is None
    assert now[look.curve("R", "before")].dash is not None
    assert now[look.curve("R", "before")].width < now[look.left].width


def test_verdict_words_have_their_colours():
    for word in (text for text in texts(lay_out(SAMPLES["table"], "lamplight")) if text.text in VERDICT_WORDS):
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
            "page": vector(SAMPLES["crosstalk"], page, WIDE),
            "square-page": vector(SAMPLES["crosstalk"], page, SQUARE),
        }
    made = draw_pictures(SAMPLES["crosstalk"], Order(LOOKS["lamplight"], page=LOOKS["brochure"], page_png=True))
    assert made["page-png"] == draw(SAMPLES["crosstalk"], "brochure", 1280)


def vector(card, look, shape):
    return encode_svg(lay_out(card, look, shape), LOOKS[look].ground, shape)


def test_a_card_that_makes_no_square_is_wide_on_every_page():
    """A title of three words that no line can hold is too long for a square only; asked for, that is a fault."""
    card = replace(SAMPLES["crosstalk"], title=" ".join(["Unbreakable" * 3] * 3))
    order = Order(LOOKS["lamplight"], page=LOOKS["brochure"])
    assert set(draw_pictures(card, order)) == {"cards", "page"}
    with pytest.raises(LayoutFault, match='square card "crosstalk": "Unbreakable'):
        draw_pictures(card, replace(order, shapes=("wide", "square")))


@pytest.mark.parametrize("width", [1920, 3840])
def test_a_card_on_the_sheet_of_all_cards_is_the_card_made_smaller(width):
    made = draw_pictures(SAMPLES["crosstalk"], Order(LOOKS["lamplight"], width, small=True))
    small = Image.frombytes("RGB", sheet_size(WIDE), zlib.decompress(made["small"]))
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


def test_the_bench_is_named_once():
    x = np.geomspace(20, 20_000, 50)
    traces = [Trace(x, x * 0 - n, side, "bench", "bench") for n, side in enumerate("LR")]
    items = lay_out(curve_card(*traces, Trace(x, x * 0 + 1, "L", "now", "L")), "lamplight")
    assert [text.text for text in texts(items)].count("bench") == 1
    assert len(shapes(items, "curve")) == 3


@pytest.mark.parametrize("name", ["response", "crosstalk"])
def test_names_of_two_curves_that_run_together_are_in_the_order_of_the_curves(name, episode):
    card = next(each for each in episode.cards if each.id == name)
    items = lay_out(card, "lamplight")
    (one, other) = (text for text in texts(items) if text.text in ("L", "R", "L \u2192 R", "R \u2192 L"))
    curves = {curve.colour: curve.points for curve in shapes(items, "curve")}

    def crossings(text):
        """Where the middle of a name is, and where its curve is as high and as far to the right."""
        x, y = text.box.left + text.box.width / 2, text.box.top + text.box.height / 2
        points = curves[text.colour][np.isfinite(curves[text.colour]).all(axis=1)]
        last = points[len(points) // 2 :]
        return x, y, last[np.argmin(np.abs(last[:, 1] - y)), 0], np.interp(x, points[:, 0], points[:, 1])

    x, y, right, high = crossings(one)
    other_x, other_y, other_right, other_high = crossings(other)
    if abs(y - other_y) > abs(x - other_x):
        assert (y < other_y) == (high < other_high)
    else:
        assert (x < other_x) == (right < other_right)


@pytest.mark.parametrize("shape", SHAPES)
def test_each_name_is_nearest_to_its_own_curve(shape, episode):
    found = 0
    for card in (each for each in episode.stills if isinstance(each.body, Chart) and len(each.body.panels) == 1):
        items = lay_out(card, "lamplight", SHAPES[shape])
        curves = {line.colour: np.asarray(line.points) for line in shapes(items, "curve")}
        for text in (each for each in texts(items) if each.part == "label" and each.colour in curves):
            away = {colour: distance(text.box, line) for colour, line in curves.items()}
            assert away[text.colour] == min(away.values()), (card.id, text.text)
            found += len(away) > 1
    assert found > 10


def distance(box, line):
    at = np.linspace(0, len(line) - 1, 20 * len(line))
    x, y = (np.interp(at, np.arange(len(line)), column) for column in line.T)
    sideways, upright = np.maximum(box.left - x, x - box.right), np.maximum(box.top - y, y - box.bottom)
    return np.nanmin(np.hypot(np.maximum(sideways, 0), np.maximum(upright, 0)))


# ------------------------------------------------------------------ too much


@pytest.mark.parametrize(
    ("sample", "name"),
    grid(
        ["response", "pair", "number", "ending"],
        ["Norrvale " * 6, "Норрвальский приборостроительный завод"],
    ),
)
def test_long_names_are_drawn(sample, name):
    card = replace(SAMPLES[sample], corner=name.strip(), title=name.strip()[:38])
    for shape in SHAPES:
        sound(card, "lamplight", shape)


@pytest.mark.parametrize("sample", ["response", "pair", "table", "ending"])
def test_a_name_too_long_for_the_corner_is_refused_with_a_remedy(sample):
    with pytest.raises(LayoutFault, match=r"write short = … in \[unit\]"):
        lay_out(replace(SAMPLES[sample], corner="Norrvale" * 12), "lamplight")


def test_characters_that_no_font_has_are_named():
    with pytest.raises(LayoutFault) as raised:
        lay_out(replace(SAMPLES["response"], title="\u6e2c\u5b9a"), "lamplight")
    assert raised.value.problem == "has characters that no font here can draw: U+5B9A \u5b9a, U+6E2C \u6e2c"
    assert raised.value.remedy == "write it without them"


def test_a_curve_of_one_point_is_a_dot():
    assert len(shapes(lay_out(curve_card(Trace(np.array([100.0]), np.array([0.5]), "L")), "lamplight"), "curve", Area))


def test_an_empty_curve_is_left_out_with_its_name():
    items = lay_out(
        curve_card(Trace(np.array([]), np.array([]), "L", "now", "gone"), Trace(X, X * 0, "R")), "lamplight"
    )
    assert len(shapes(items, "curve")) == 1
    assert "gone" not in said(items)


def test_twelve_settings_are_each_named():
    names = [f"bass {step:+d}" for step in range(-6, 6)]
    traces = [Trace(X, (1 - np.log10(X / 20) / 3) * step / 4, "L", "now", name) for step, name in enumerate(names, -6)]
    items = sound(curve_card(*traces))
    assert {text.text for text in texts(items)} >= set(names)


def test_curves_are_cut_at_the_panels_edge():
    items = lay_out(curve_card(Trace(X, np.linspace(-10, 10, 50), "L")), "lamplight")
    (line,) = shapes(items, "curve")
    grid = [y for rule in shapes(items, "grid") for _, y in rule.points]
    seen = line.points[np.isfinite(line.points).all(axis=1)]
    assert seen[:, 1].min() >= min(grid) - 1e-6
    assert seen[:, 1].max() <= max(grid) + 1e-6


def test_long_traces_keep_their_extremes():
    x = np.geomspace(20, 20_000, 200_000)
    y = np.zeros(len(x))
    spikes = np.random.default_rng(3).choice(len(x), 40, replace=False)
    y[spikes] = np.tile((1.5, -1.5), 20)
    items = sound(curve_card(Trace(x, y, "L")))
    (line,) = shapes(items, "curve")
    assert len(line.points) < 8000
    ends = (line.points[0, 0], line.points[-1, 0])
    columns = np.interp(np.log(x[spikes]), np.log((20, 20_000)), ends)
    middle = np.median(line.points[:, 1])
    extent = np.nanmax(np.abs(line.points[:, 1] - middle))
    for column, value in zip(columns, y[spikes], strict=True):
        about = line.points[np.abs(line.points[:, 0] - column) <= 1.5, 1]
        assert np.nanmax((middle - about) * np.sign(value)) > 0.99 * extent


@pytest.mark.parametrize("shape", SHAPES)
def test_marks_in_every_corner_find_a_place(shape):
    corners = [Mark(f, v, f"{v:g} dB at {f:g} Hz") for f in (20, 20_000) for v in (-2.0, 2.0)]
    sound(curve_card(Trace(X, X * 0, "L"), marks=(*corners, Mark(5, 9, "far off"))), "lamplight", shape)


def test_without_the_package_of_type_the_cards_still_fit(monkeypatch):
    caches = [each for each in vars(paint_module).values() if hasattr(each, "cache_clear")]
    try:
        monkeypatch.setitem(sys.modules, "font_source_sans_pro", None)
        for cached in caches:
            cached.cache_clear()
        assert paint_module.font_file().endswith("DejaVuSans.ttf")
        for card in SAMPLES.values():
            sound(card)
    finally:
        for cached in caches:
            cached.cache_clear()


@pytest.mark.parametrize(("hertz", "across"), [(1000.0, (-66.0, 66.0)), (20.0, (0.0, 66.0)), (20_000.0, (-66.0, 0.0))])
def test_a_limit_at_one_frequency_is_a_short_line_about_it_and_no_band(hertz, across):
    curve = Trace(X, np.full(50, -1.5), "L")
    items = sound(curve_card(curve, limits=(Limit(-1.0, None, hertz, hertz, "rated"),)))
    (line,) = shapes(items, "limit")
    (drawn,) = shapes(items, "curve")
    left, right = (drawn.points[end, 0] for end in (0, -1))
    at = left + (right - left) * np.log(hertz / 20) / np.log(1000)
    assert [end - at for end, _ in line.points] == pytest.approx(across, abs=0.5)
    assert len({y for _, y in line.points}) == 1
    assert shapes(items, "band", Area) == []
    # over a band, the same limit has both
    items = sound(curve_card(curve, limits=(Limit(-1.0, None, 20.0, 20_000.0, "rated"),)))
    assert len(shapes(items, "band", Area)) == 1
    assert [end for end, _ in shapes(items, "limit")[0].points] == pytest.approx([left, right], abs=0.5)


@pytest.mark.parametrize("shape", SHAPES)
def test_a_wide_strip_still_names_figure_word_and_rating(shape):
    hero = Hero("0.036 %", "right channel, at 12.5 kHz, 250 mW to 30 W", channel="R")
    judged = verdict("THD+N", "0.05 %", "meets", 1.0, "0.036 %", margin="5.5 ×")
    items = sound(curve_card(Trace(X, X * 0, "R"), hero=hero, verdict=judged), "lamplight", shape)
    assert {"0.036 %", "meets", hero.caption} <= {text.text for text in texts(items)}
    assert_rated_once(items, "0.05 %")


def assert_rated_once(items, limit):
    assert sum(limit in text.text for text in texts(items)) == 1
    assert sum("rated" in text.text for text in texts(items)) == 1


@pytest.mark.parametrize("shape", SHAPES)
def test_a_rating_that_the_chart_shows_is_named_once(shape):
    judged = verdict("Response", "±0.5 dB", "meets", 0.5, "±0.36 dB", margin="+0.14 dB")
    limit = Limit(-0.5, 0.5, 20.0, 20_000.0, "rated ±0.5 dB", judged.rating)
    card = curve_card(Trace(X, X * 0, "L"), limits=(limit,), hero=Hero("±0.36 dB", "left channel"), verdict=judged)
    items = sound(card, "lamplight", shape)
    assert shapes(items, "needle") == []  # a rating is text, so that all verdicts read alike
    assert shapes(items, "limit")
    assert_rated_once(items, "±0.5 dB")
    # another rating's line keeps its own name
    other = replace(limit, rating=replace(judged.rating, source="leaflet"), label="rated ±0.7 dB")
    items = sound(curve_card(card.body.panels[0].traces[0], limits=(other,), hero=card.hero, verdict=judged))
    assert any(text.text == "rated ±0.7 dB" for text in texts(items))


@pytest.mark.parametrize("shape", SHAPES)
def test_a_table_with_wide_cells_is_set_in_every_shape(shape):
    cells = ("Input sensitivity, moving magnet", "148 mV at 4.86 W", "150 mV (142.5 mV to 157.5 mV)")
    card = replace(SAMPLES["table"], body=Rows(("", "measured", "rated"), (Row(cells, "meets"),) * 5, strong=1))
    (part,) = split_table(card, shapes=[SHAPES[shape]])
    assert {text.text for text in texts(sound(part, "lamplight", shape))} >= set(cells[1:])


def test_a_long_table_is_split_evenly_and_set_alike():
    row = SAMPLES["table"].body.rows[0]
    long = replace(SAMPLES["table"], body=replace(SAMPLES["table"].body, rows=(row,) * 40))
    parts = split_table(long)
    assert [part.id for part in parts[:2]] == ["table", "table-2"]
    counts = [len(part.body.rows) for part in parts]
    assert sum(counts) == 40
    assert max(counts) <= 14
    assert max(counts) - min(counts) <= 1
    sizes = {text.size for part in parts for text in texts(sound(part)) if text.text == row.cells[0]}
    assert len(sizes) == 1


def test_a_row_that_no_card_can_hold_is_a_fault():
    rows = (Row(("W" * 400, "1", "2")),)
    with pytest.raises(LayoutFault, match="shorten"):
        split_table(Card("table", "", (), Rows(("", "a", "b"), rows, strong=1), title="Rated"))
