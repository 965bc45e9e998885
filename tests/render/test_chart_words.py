"""Words and figures about curves: whose a large figure is, how far off a limit, names where curves run alone."""

from dataclasses import replace

import numpy as np
import pytest
from card_samples import FREQUENCY, HERTZ, SAMPLES, UNIT, curve_card, db_axis, shapes, sound, texts, verdict

from reviewkit.model.card import Bracket, Card, Curves, Mark, Panel, Readout, Trace
from reviewkit.render.cards.look import SAFE_RIGHT, find_look

LOOK = find_look("lamplight")


def find(items, said):
    (text,) = (text for text in texts(items) if text.text == said)
    return text


@pytest.mark.parametrize("channel", ["L", "R"])
def test_a_large_figure_says_whose_it_is(channel):
    reading = Readout("at 1 %", "46.8 W", (("L", "48.6 W"), ("R", "46.8 W")), channel)
    items = sound(replace(SAMPLES["distortion_power"], readings=(reading,)))
    key = next(t for t in texts(items) if t.text == "46.8 W" and t.size == 90)
    tag = next(t for t in texts(items) if t.text == channel and t.baseline == key.baseline)
    assert tag.colour == LOOK.channel(channel)
    assert key.box.right < tag.box.left < key.box.right + 40


def test_the_channel_of_a_long_figure_stays_in_the_column():
    reading = Readout("at 1 %", "≥ 1234.5 mW", (), "R")
    items = sound(replace(SAMPLES["distortion_power"], readings=(reading,)))
    key = find(items, "≥ 1234.5 mW")
    tag = next(t for t in texts(items) if t.text == "R" and t.baseline == key.baseline)
    assert key.box.right < tag.box.left < tag.box.right <= SAFE_RIGHT


def test_the_margin_stands_beside_the_verdict():
    made = replace(verdict("Power", "40 W", "meets", 0.08), margin="+7 %")
    items = sound(replace(SAMPLES["crosstalk"], verdicts=(made,)))
    word, margin = find(items, "meets"), find(items, "+7 %")
    assert margin.baseline == word.baseline
    assert 15 < margin.box.left - word.box.right < 45


def test_a_dense_curve_is_solid():
    """A curve many times as long as the panel is wide: dashes would part every peak."""
    across = np.geomspace(20, 20_000, 900)
    dense = Trace(across, np.where(np.arange(900) % 2, 1.8, -1.8), "R", "now", "R")
    plain = Trace(FREQUENCY, 0 * FREQUENCY, "R", "now", "R")
    (spectrum,) = shapes(sound(curve_card(dense)), "curve")
    (sweep,) = shapes(sound(curve_card(plain)), "curve")
    assert spectrum.dash is None
    assert sweep.dash is not None
    assert spectrum.width < sweep.width


def test_a_curve_of_before_is_named_where_it_runs_alone():
    low, torn = 0 * FREQUENCY, 1.5 - 1.5 * np.linspace(0, 1, len(FREQUENCY)) ** 2
    traces = (
        Trace(FREQUENCY, torn, "R", "before", "R before"),
        Trace(FREQUENCY, low - 1, "L", "now", "L"),
        Trace(FREQUENCY, low - 1.1, "R", "now", "R"),
    )
    items = sound(curve_card(*traces))
    label = find(items, "R before")
    plot_right = max(float(np.max(np.asarray(curve.points)[:, 0])) for curve in shapes(items, "curve"))
    assert label.box.right < plot_right
    # one that lies on another everywhere keeps its name at the end
    beside = sound(curve_card(replace(traces[0], y=low - 1), *traces[1:]))
    right = max(float(np.max(np.asarray(curve.points)[:, 0])) for curve in shapes(beside, "curve"))
    assert find(beside, "R before").box.left > right


def test_a_brackets_words_stand_over_it():
    level = np.where(np.arange(900) % 2, 0.0, -100.0)
    trace = Trace(np.geomspace(20, 20_000, 900), level, "L", "now", "L")
    axis = replace(db_axis(100, 50), low=-100, high=0)
    panel = Panel(HERTZ, axis, (trace,), label="L re one tone", brackets=(Bracket(2000.0, 0.0, -60.0, "60.0 dB"),))
    items = sound(Card("multitone", "Multitone", "", Curves((panel,)), corner=UNIT))
    words = find(items, "60.0 dB")
    line = next(mark for mark in shapes(items, "mark") if mark.points[0][0] == mark.points[1][0])
    assert (words.box.left + words.box.right) / 2 == pytest.approx(line.points[0][0], abs=8)
    assert words.baseline < line.points[0][1]


def test_marks_close_together_keep_their_names():
    """Words stand at their ring, or a leader leads from it to them; none is left to be guessed."""
    # a bundle of falling lines with rings one over the other, as the settings of a tone control have them
    gains = (1.8, 1.5, 1.2, 0.9, 0.6, -0.6, -0.9, -1.2, -1.5, -1.8)
    fall = 1 / (1 + (FREQUENCY / 200) ** 2)
    traces = [Trace(FREQUENCY, gain * fall, "L", "now", "") for gain in gains]
    marks = tuple(Mark(40.0, gain / (1 + 0.04), f"setting {gain:+.1f}", "L") for gain in gains)
    items = sound(curve_card(*traces, marks=marks))
    rings = [np.asarray(ring.points) for ring in shapes(items, "mark")]
    centres = [(ring[:, 0].min() + ring[:, 0].max(), ring[:, 1].min() + ring[:, 1].max()) for ring in rings]
    leaders = [np.asarray(leader.points) for leader in shapes(items, "leader")]
    for mark, (x, y) in zip(marks, centres, strict=True):
        box = find(items, mark.text).box

        def away(point, box=box):
            over = max(box.left - point[0], point[0] - box.right, 0), max(box.top - point[1], point[1] - box.bottom, 0)
            return float(np.hypot(*over))

        led = [line for line in leaders if np.hypot(*(line[0] - (x / 2, y / 2))) < 20 and away(line[-1]) < 20]
        assert led or away((x / 2, y / 2)) < 60, mark.text


def test_words_do_not_reach_over_the_next_ring():
    """Two rings nearer to each other than the first one's words are long: they would be read as the second one's."""
    level = Trace(FREQUENCY, 0 * FREQUENCY, "L", "now", "L")
    items = sound(curve_card(level, marks=(Mark(1000.0, 0.0, "second order"), Mark(1300.0, 0.0, "third order"))))
    own, other = (np.asarray(ring.points).mean(axis=0) for ring in shapes(items, "mark"))
    box = find(items, "second order").box
    assert box.left < other[0] < box.right  # in reach of either, so a leader says whose it is
    (leader,) = (np.asarray(leader.points) for leader in shapes(items, "leader"))
    assert leader[0][0] == pytest.approx(own[0], abs=2)


def test_a_curve_that_ends_early_has_its_leader_from_its_end():
    """Four that end near each other at the top: some are named beside the picture, at whose edge nothing ends."""
    level = np.append(np.full(39, -1.5), 2.0)
    traces = [
        Trace(np.geomspace(20, stop, 40), level, channel, "now", f"{channel} sweep {number}")
        for number, stop in ((1, 6000), (2, 9000))
        for channel in "LR"
    ]
    items = sound(curve_card(*traces))
    ends = [np.asarray(curve.points)[-1] for curve in shapes(items, "curve")]
    leaders = [np.asarray(leader.points) for leader in shapes(items, "leader")]
    assert len(leaders) == 3
    for leader in leaders:
        assert min(float(np.hypot(*(leader[0] - end))) for end in ends) < 20


def test_no_more_than_two_needles_and_the_rest_counted():
    made = tuple(verdict(f"Rating {n}", "40 W", "meets", 0.2) for n in range(4))
    items = sound(replace(SAMPLES["crosstalk"], readings=(Readout("at 1 kHz", "−64.0 dB"),), verdicts=made))
    assert len([text for text in texts(items) if text.text == "meets"]) == 2
    assert find(items, "2 more in the table")
