"""Cards of content that nobody planned for. Ordinary hostility is drawn, in both looks, with nothing wrong; what cannot
be drawn is refused with the card, the text and what to do. Never another exception.
"""

import re
from dataclasses import replace

import numpy as np
import pytest
from card_samples import FREQUENCY, HERTZ, PERCENT, SAMPLES, UNIT, curve_card, db_axis, said, shapes, texts, verdict
from hostile_sessions import SESSIONS
from hypothesis import given, settings
from hypothesis import strategies as st

from reviewkit.build.pipeline import prepare
from reviewkit.model.card import (
    Bar,
    BarGroup,
    Bars,
    Bracket,
    Card,
    Curves,
    Limit,
    Mark,
    Panel,
    Readout,
    Row,
    Rows,
    TitlePage,
    Trace,
)
from reviewkit.render.cards.card import LayoutFault, Order, draw_pictures, fit, lay_out
from reviewkit.render.cards.colour_check import find_colour_problems
from reviewkit.render.cards.layout_check import find_problems
from reviewkit.render.cards.look import LOOKS
from reviewkit.render.cards.scene import Area

# sixty letters each
LATIN = "The Norrvale Instrument Company of Upper Norrvale Forty Mark"
CYRILLIC = "Норрвальский приборостроительный завод имени Форти, мод. сорок"[:60]
GREEK = "Εταιρεία Ηχητικών Οργάνων Νορβάλης Σαράντα Ενισχυτής Τύπου Α"[:60]
ONE_WORD = "Norrvale" * 7 + "Fort"
NAMES = {"latin": LATIN, "cyrillic": CYRILLIC, "greek": GREEK, "one word": ONE_WORD}
SETTINGS = [f"bass +{step}" for step in range(12)]
SOUND = []  # the card and the look of every layout in which nothing was wrong
TINY, HUGE = "0.00001", "100000"

pytestmark = pytest.mark.long


@pytest.fixture(autouse=True)
def counted(record_property):
    """How many layouts a test looked at and found nothing wrong with; the sum is printed at the end of the run."""
    before = len(SOUND)
    yield
    record_property("layout check", len(SOUND) - before)


def drawn(card, *, paint=False):
    """What a card is laid out as, in pages where it is a long table; nothing is wrong with it in either look."""
    found = []
    for part in fit(card):
        for look in LOOKS.values():
            items = lay_out(part, look.name)
            assert find_problems(items) == ()
            assert find_colour_problems(items, look) == ()
            SOUND.append((part.id, look.name))
        found += items
        if paint:
            draw_pictures(part, Order(LOOKS["lamplight"], 1280, strip=True))
    return found


def trace(y, channel="L", role="now", label=None, x=FREQUENCY):
    return Trace(np.asarray(x, float), np.asarray(y, float), channel, role, channel if label is None else label)


def flat(channel="L", role="now", label=None, at=0.0):
    return trace(np.full(400, at), channel, role, label)


# ------------------------------------------------------------------ names


@pytest.mark.parametrize("name", NAMES.values(), ids=list(NAMES))
@pytest.mark.parametrize("sample", SAMPLES)
def test_long_names_in_other_scripts_are_drawn(sample, name):
    card = SAMPLES[sample]
    if isinstance(card.body, TitlePage):
        card = replace(card, body=replace(card.body, name=name, lines=(name, name)))
    items = drawn(replace(card, title=name, corner=name))
    assert name.replace(" ", "") in said(items).replace(" ", "")
    drawn(replace(card, conditions=f"5 W into 8 Ω · {name} · both channels driven", foot=f"ratings: {name}"))


def test_letters_that_no_font_has_are_named_and_not_drawn_as_boxes():
    for change in ({"title": "測定"}, {"corner": "測定"}, {"conditions": "測定"}, {"foot": "測定"}):
        with pytest.raises(LayoutFault) as raised:
            lay_out(replace(SAMPLES["response"], **change), "lamplight")
        fault = raised.value
        assert (fault.card_id, fault.text) == ("response", "測定")
        assert fault.problem == "has characters that no font here can draw: U+5B9A 定, U+6E2C 測"
        assert fault.remedy == "write it without them"


def test_a_table_holds_long_names():
    rows = tuple(
        Row((name, f"{TINY} V ± {HUGE} %", "→", f"{HUGE}.5 V", "out of tolerance"), "out of tolerance", note=name)
        for name in (*NAMES.values(), "W" * 60)
    )
    drawn(replace(SAMPLES["repair"], body=replace(SAMPLES["repair"].body, rows=rows)))
    for name in NAMES.values():
        rows = (Row((name, "±0.5 dB", "+0 −0.28 dB"), "too close to call", 0.02, margin="+1234.5 %"),)
        drawn(replace(SAMPLES["table"], body=replace(SAMPLES["table"].body, rows=rows)))


# ------------------------------------------------------------------ much


def rolling(step, lift=0.0):
    return 0.15 * step * np.cos(np.log(FREQUENCY)) + lift


@pytest.mark.parametrize("spread", [1.0, 0.0], ids=["apart", "coinciding"])
@pytest.mark.parametrize("channels", ["L", "LR"])
def test_twelve_settings_on_one_card(channels, spread):
    """With both channels the names of the pairs stand once, so that all twelve have room."""
    curves = [
        trace(spread * rolling(step, 0.03 * (channel == "R")), channel, label=f"{channel} {setting}".strip())
        for step, setting in enumerate(SETTINGS)
        for channel in channels
    ]
    rows = tuple((setting, f"+{step}.0 dB") for step, setting in enumerate(SETTINGS))
    shown = said(drawn(curve_card(*curves, readings=(Readout("at 1 kHz", "", rows),))))
    assert all(setting in shown for setting in SETTINGS)
    assert len(shapes(lay_out(curve_card(*curves), "lamplight"), "curve")) == 12 * len(channels)


def test_twenty_rows_of_readings_stand_side_by_side():
    rows = tuple((f"{number} kHz", f"0.0{number} %") for number in range(1, 21))
    items = drawn(curve_card(flat(), flat("R"), readings=(Readout("THD at", "", rows),)))
    assert all(any(text.text == cell for text in texts(items)) for row in rows for cell in row)
    ledger = tuple((f"{number} kHz", f"0.0{number}", f"0.1{number}") for number in range(1, 21))
    drawn(curve_card(flat(), flat("R"), readings=(Readout("THD, %", "", ledger),)))


def test_many_panels():
    panels = tuple(Panel(HERTZ, db_axis(2, 1), (flat(), flat("R")), label=setting) for setting in SETTINGS)
    for count, columns in ((2, 2), (4, 2), (6, 3), (9, 3), (12, 4)):
        heights = (1.0,) * -(-count // columns)
        drawn(Card("panels", "Many", "5 W into 8 Ω", Curves(panels[:count], columns, heights), corner=UNIT))


def test_verdicts_with_long_labels():
    needles = tuple(verdict(f"{LATIN}, 20 Hz – 20 kHz", "100000 W", word) for word in ("too close to call", "meets"))
    shown = said(drawn(replace(SAMPLES["response"], verdicts=needles)))
    assert "too close to call" in shown
    assert drawn(replace(SAMPLES["response"], verdicts=needles * 10))


def test_marks_limits_and_brackets_in_a_crowd():
    marks = tuple(Mark(10 ** (1.3 + step / 4), 0.0, f"{step}.0 dB at {step} kHz") for step in range(12))
    limits = tuple(Limit(-0.2 * n, 0.2 * n, 20, 20000, f"rated ±{0.2 * n:.1f} dB") for n in range(1, 7))
    drawn(curve_card(flat(), flat("R"), marks=marks, limits=limits))
    panel = replace(curve_card(flat()).body.panels[0], brackets=(Bracket(1000.0, -1.5, 1.5, LATIN),))
    drawn(replace(curve_card(), body=Curves((panel,))))


# ------------------------------------------------------------------ values and curves


@pytest.mark.parametrize("shown", [TINY, HUGE])
def test_very_small_and_very_large_values(shown):
    value = float(shown)
    readings = (
        Readout("at 1 %", f"{shown} W", (("L", f"{shown} W"), ("R", f"{shown} W"))),
        Readout("at 5 W, %", "", (("", "L", "R"), ("THD+N", shown, shown), ("THD", shown, shown))),
    )
    axis = replace(PERCENT, low=value / 10, high=value * 10, ticks=((value, shown),))
    drawn(curve_card(flat(at=value), flat("R", at=2 * value), y=axis, readings=readings), paint=True)
    groups = tuple(
        BarGroup(name, tuple(Bar(c, value, shown, role) for c in "LR" for role in ("now", "before")), "%")
        for name in ("THD+N", "THD", "2nd", "3rd")
    )
    drawn(Card("bars", "Distortion", "5 W", Bars(PERCENT, groups), readings, corner=UNIT))


rng = np.random.default_rng(11)
NOTHING = np.full(400, np.nan)
CURVES = {
    "one channel empty": (trace(NOTHING), flat("R")),
    "both channels empty": (trace(NOTHING), trace(NOTHING, "R")),
    "no rows": (trace([], x=[]), trace([], "R", x=[])),
    "coinciding": (flat(), flat("R"), flat("L", "before", "L before"), flat("R", "before", "R before")),
    "one point": (trace([0.5], x=[1000.0]), trace([0.5], "R", x=[1000.0])),
    "two points": (trace([0.5, 0.5], x=[20.0, 20000.0]), trace([-3.0, 3.0], "R", x=[900.0, 900.0])),
    "gaps": (trace(np.where(np.arange(400) % 7 < 2, np.nan, 0.3)), trace(np.where(np.arange(400) % 2, np.nan, 0), "R")),
    "constant at the edges": (flat(at=2.0), flat("R", at=-2.0)),
    "outside": (flat(at=99.0), flat("R", at=-99.0)),
    "not finite": (trace(np.where(FREQUENCY > 1e3, np.inf, 0)), trace(np.where(FREQUENCY > 1e3, -np.inf, 0), "R")),
    "beyond all bounds": (trace(np.where(FREQUENCY > 1e3, 1e300, 0)), trace(-1e300 * np.sign(FREQUENCY - 99), "R")),
    "to and fro": (trace(rng.normal(size=400), x=rng.permutation(FREQUENCY)), flat("R")),
    "long names": (flat(label="L before the output transistors"), flat("R", label="R before the output transistors")),
    "a name of sixty letters": (flat(label=LATIN),),
}


@pytest.mark.parametrize("name", CURVES)
def test_curves_that_are_hardly_curves(name):
    limit = Limit(-0.5, 0.5, 20, 20000, "rated ±0.5 dB")
    items = drawn(curve_card(*CURVES[name], limits=(limit,)), paint=True)
    if "empty" in name or name in ("no rows", "outside"):
        left = [line for line in shapes(items, "curve") if len(line.points)]
        assert len(left) == (1 if name == "one channel empty" else 0)
    if name == "one point":
        assert len(shapes(items, "curve", Area)) == 2


LONG = 1_000_000
MILLION = {
    "a sine": np.sin(np.arange(LONG) / 1000),
    "noise with gaps": np.where(rng.random(LONG) < 0.3, np.nan, rng.normal(size=LONG) * 0.3),
}


@pytest.mark.parametrize("name", MILLION)
def test_a_million_points_are_drawn_as_no_more_than_can_be_seen(name):
    x = np.geomspace(20, 20000, LONG)
    items = lay_out(curve_card(trace(MILLION[name], x=x), trace(MILLION[name][::-1], "R", x=x)), "lamplight")
    assert sum(len(line.points) for line in shapes(items, "curve")) < 20_000
    assert len(shapes(items, "curve", Area)) < 200  # what a gap leaves alone is a dot


@pytest.mark.parametrize("value", [np.nan, 0.0, -1.0, 1e-12, 1e12])
def test_bars_of_no_height_and_of_all(value):
    groups = tuple(BarGroup(name, (Bar("L", value, "0"), Bar("R", 0.1, "0.1"))) for name in ("THD+N", "2nd"))
    items = drawn(Card("bars", "Distortion", "5 W", Bars(PERCENT, groups), corner=UNIT), paint=True)
    assert ("0" in [text.text for text in texts(items)]) != np.isnan(value)


def test_cards_of_nothing():
    for body in (Curves(()), Bars(PERCENT, ()), Rows((), (), ()), TitlePage("", ())):
        drawn(Card("made-up", "", "", body), paint=True)


# ------------------------------------------------------------------ anything, at random


ALPHABETS = ("abcdefghij KLMN 0123456789 .,·–%", "абвгдежз ИКЛМ 012", "αβγδεζη ΘΛΞΠ 345", "測定アB 6")
WORDS = st.sampled_from(ALPHABETS).flatmap(lambda letters: st.text(letters, max_size=60))
VALUES = st.lists(st.one_of(st.floats(-1e5, 1e5), st.sampled_from((np.nan, np.inf, 0.0, 1e-5, 1e300))), max_size=40)


@st.composite
def curve_cards(draw):
    panels = []
    for _ in range(draw(st.integers(1, 4))):
        traces = []
        for _ in range(draw(st.integers(0, 6))):
            values = draw(VALUES)
            channel, role = draw(st.sampled_from("LR")), draw(st.sampled_from(("now", "before", "bench", "residual")))
            traces.append(trace(values, channel, role, draw(WORDS)[:20], np.geomspace(20, 20000, len(values))))
        marks = draw(st.lists(st.builds(Mark, st.floats(1, 1e5), st.floats(-9, 9), WORDS), max_size=3))
        axis = draw(st.sampled_from((db_axis(2, 1), db_axis(20, 5), PERCENT)))
        panels.append(Panel(HERTZ, axis, tuple(traces), marks=tuple(marks), label=draw(WORDS)[:24]))
    columns = draw(st.integers(1, 3))
    return Card("made-up", draw(WORDS), draw(WORDS), Curves(tuple(panels), columns, (1.0,) * 4), draw(readings()))


@st.composite
def readings(draw):
    blocks = []
    for _ in range(draw(st.integers(0, 3))):
        width = draw(st.integers(1, 4))
        rows = draw(st.lists(st.tuples(*(WORDS.map(lambda text: text[:12]) for _ in range(width))), max_size=20))
        blocks.append(Readout(draw(WORDS)[:40], draw(WORDS)[:12], tuple(rows), draw(st.sampled_from(("", "L", "R")))))
    return tuple(blocks)


@st.composite
def table_cards(draw):
    width = draw(st.integers(1, 4))
    words = st.sampled_from(("meets", "falls short", "too close to call", "not comparable", ""))
    rows = tuple(
        Row(tuple(draw(WORDS) for _ in range(width)), draw(words), draw(st.none() | st.floats(-2, 2)), draw(WORDS))
        for _ in range(draw(st.integers(0, 14)))
    )
    return Card("made-up", draw(WORDS), draw(WORDS), Rows(("",) * width, rows, (1.0,) * width, needles=True))


@settings(max_examples=60, derandomize=True, deadline=None)
@given(card=st.one_of(curve_cards(), table_cards()))
def test_any_card_is_sound_or_refused_with_a_remedy(card):
    fault = refused(card)
    if fault:
        assert fault.card_id.startswith("made-up")
        assert fault.problem
        assert fault.remedy
        assert not re.search("[測定ア]", fault.text) or "U+" in fault.problem


def refused(card):
    try:
        drawn(card)
    except LayoutFault as fault:
        return fault
    return None


# ------------------------------------------------------------------ from files, through the kinds


def test_every_card_of_the_sample_session(episode):
    assert len(episode.cards) > 20
    for card in episode.cards:
        drawn(card)


@pytest.mark.parametrize("name", SESSIONS)
def test_hostile_sessions_are_drawn(name, session_of):
    prepared = prepare(session_of(*SESSIONS[name]))
    assert len(prepared.episode.cards) >= 2
    for card in prepared.episode.cards:
        drawn(card)


def test_a_name_that_cannot_be_drawn_stops_a_build_with_the_letters(session_of, say):
    ran = say("build", session_of('[unit]\nmaker = "測定"\nmodel = "Forty"\n', {}))
    assert ran.status == 2
    assert "U+5B9A 定, U+6E2C 測" in ran.err
