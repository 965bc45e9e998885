"""Cards of an invented unit, the Norrvale Forty, for the drawing tests; run with a folder it writes them there."""

import io
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from reviewkit.model.card import (
    Axis,
    Card,
    Chart,
    Ending,
    Fall,
    Fix,
    Hero,
    Hunt,
    HuntReading,
    Limit,
    Mark,
    Number,
    Panel,
    Price,
    Room,
    Row,
    Rows,
    Score,
    ScoreRow,
    Stem,
    TitlePage,
    Trace,
)
from reviewkit.model.session import Rating
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.card import lay_out
from reviewkit.render.cards.layout_check import find_problems
from reviewkit.render.cards.pictures import draw
from reviewkit.render.cards.scene import Stroke, Text
from reviewkit.render.cards.shape import SHAPES

UNIT = "Norrvale Forty"
MINUS = "\u2212"
VERDICT_WORDS = ("meets", "falls short", "too close to call", "not comparable", "not measured")
DECADE_MINOR = tuple(float(n * 10**p) for p in (1, 2, 3, 4) for n in range(2, 10) if 20 < n * 10**p < 20000)

HERTZ = Axis(
    20, 20000, "log", ((20, "20"), (100, "100"), (1000, "1k"), (10000, "10k"), (20000, "20k")), "Hz", DECADE_MINOR
)
PERCENT = Axis(0.01, 10, "log", ((0.01, "0.01"), (0.1, "0.1"), (1, "1"), (10, "10")), "%")
WATTS = Axis(
    0.5,
    50,
    "log",
    ((0.5, "0.5"), (1, "1"), (2, "2"), (5, "5"), (10, "10"), (20, "20"), (50, "50")),
    "W",
    (0.6, 0.7, 0.8, 0.9, 3.0, 4.0, 6.0, 7.0, 8.0, 9.0, 30.0, 40.0),
)
FREQUENCY = np.geomspace(20, 20000, 400)


def db_axis(most, step):
    values = np.arange(-most, most + step / 2, step)
    ticks = tuple((float(v), f"+{v:g}" if v > 0 else f"{v:g}".replace("-", MINUS)) for v in values)
    return Axis(-most, most, "linear", ticks, "dB")


def verdict(label, limit, word, position=None, measured="1", **more):
    return Verdict(
        Rating("power", "W", at_least=40.0), label, f"{limit} rated", limit, measured, word, position=position, **more
    )


def low_high(low, high):
    return -10 * np.log10(1 + (low / FREQUENCY) ** 2) - 10 * np.log10(1 + (FREQUENCY / high) ** 2)


# ------------------------------------------------------------------ charts


def sweep(first, last, knee):
    """Distortion that falls from one percentage to another with rising power, until the output clips."""
    power = np.geomspace(0.5, 48, 160)
    along = np.log(power / 0.5) / np.log(48 / 0.5)
    return power, first * (last / first) ** along + np.exp((power - knee) * 2.2)


def at(trace, x):
    return float(np.interp(x, trace.x, trace.y))


def pair():
    """Before and after on one card, with the card as found."""
    old, new = (
        Trace(*sweep(6.5, 1.0, 47), "R", "before", "before"),
        Trace(*sweep(0.024, 0.015, 46), "R", "now", "after"),
    )
    fall = Fall(1.0, at(old, 1), at(new, 1))
    body = Chart((Panel(WATTS, PERCENT, (old, new), room=Room(old, new), fall=fall),))
    card = Card(
        "power-8ohm",
        "Distortion (THD+N), right channel",
        ("8 Ω", "1 kHz"),
        body,
        ("aux", "both channels driven"),
        title="The right channel comes back",
        stage="Before and after",
        hero=Hero("0.020 %", "after, at 1 W", "5.0 %", channel="R"),
        corner=UNIT,
    )
    bad, good = replace(old, role="now", label="right"), Trace(*sweep(0.018, 0.012, 46), "L", "now", "left: 0.015 %")
    found = replace(
        card,
        id="power-8ohm-found",
        subject="Distortion (THD+N)",
        body=Chart((Panel(WATTS, PERCENT, (bad, good), room=Room(bad, good, fault=True), fall=fall),)),
        title="The right channel is rough",
        stage="Before the repair",
        hero=Hero("5.0 %", "right, at 1 W", channel="R", fault=True),
    )
    return replace(card, found=replace(found, repaired=card))


def response():
    """A verdict with its limit as a band."""
    left, right = (
        Trace(FREQUENCY, low_high(*ends), side, "now", side)
        for side, ends in (("L", (5.5, 66000)), ("R", (7.5, 63000)))
    )
    limit = Limit(-0.5, 0.5, 20, 20000, "rated ±0.5 dB")
    panel = Panel(HERTZ, db_axis(1, 0.5), (left, right), (limit,), (Mark(20.0, at(right, 20), channel="R"),))
    return Card(
        "response",
        "Frequency response",
        ("5 W into 8 Ω", "tone controls bypassed"),
        Chart((panel,)),
        ("aux",),
        title="As flat as rated",
        stage="After the repair",
        hero=Hero("±0.57 dB", "response, right, at 20 Hz", channel="R"),
        verdict=verdict("Response", "±0.5 dB", "falls short", -0.2, "±0.57 dB", margin="+0.07 dB"),
        corner=UNIT,
    )


def power():
    """A verdict that is too close to call."""
    traces = tuple(Trace(*sweep(0.03, 0.02, knee), side, "now", side) for side, knee in (("L", 45), ("R", 43)))
    panel = Panel(WATTS, PERCENT, traces, (Limit(None, 0.1, 0.5, 40, "rated 0.1 % to 40 W"),), (Mark(40.3, 0.1),))
    return Card(
        "power-4ohm",
        "Distortion (THD+N)",
        ("4 Ω", "1 kHz", "analyser 80 kHz wide"),
        Chart((panel,)),
        ("aux",),
        title="Close to its rated power",
        stage="After the repair",
        hero=Hero("40.3", "right channel", "", "± 1.6 W", channel="R"),
        verdict=verdict("Power into 4 Ω", "40 W", "too close to call", 0.0, "40.3 ± 1.6 W"),
        corner=UNIT,
    )


def crosstalk():
    """A plain chart with its figure in the free space."""
    left, right = (
        first + 20 * np.log10(np.hypot(1, FREQUENCY / corner)) for first, corner in ((-78, 4000), (-74, 3000))
    )
    axis = Axis(-100, 0, "linear", tuple((float(v), f"{v}".replace("-", MINUS)) for v in range(-100, 1, 20)), "dB")
    panel = Panel(
        HERTZ, axis, (Trace(FREQUENCY, left, "L>R", "now", "L → R"), Trace(FREQUENCY, right, "R>L", "now", "R → L"))
    )
    return Card(
        "crosstalk",
        "Crosstalk",
        ("5 W into 8 Ω",),
        Chart((panel,)),
        ("undriven input shorted",),
        title="Do the channels keep apart?",
        hero=Hero("73.5 dB", "R → L, at 1 kHz", channel="R>L"),
        corner=UNIT,
    )


def tone():
    """A wave, and below it what was added to it, before and after."""
    time = np.linspace(0, 2, 1600)
    milliseconds = Axis(
        0, 2, "linear", ((0, "0"), (0.5, "0.5"), (1, "1"), (1.5, "1.5"), (2, "2")), "ms", tuple(np.arange(0.1, 2, 0.1))
    )
    volts = Axis(-10, 10, "linear", ((-10, f"{MINUS}10"), (0, "0"), (10, "+10")), "V")
    small = Axis(-250, 250, "linear", ((-250, f"{MINUS}250"), (0, "0"), (250, "+250")), "mV")
    wave = 9 * np.sin(2 * np.pi * time)
    bump = 180 * np.sign(np.cos(2 * np.pi * time)) * np.exp(-(((time * 2 % 1 - 0.5) * 6) ** 2))
    panels = (
        Panel(milliseconds, volts, (Trace(time, wave, "R", "now", "right"),)),
        Panel(
            milliseconds,
            small,
            (Trace(time, bump, "R", "before", "before"), Trace(time, 0.05 * bump, "R", "residual", "after")),
            label="what was added, scale × 40",
        ),
    )
    return Card(
        "tone-waveform",
        "Waveform, right channel",
        ("5 W into 8 Ω", "1 kHz", "20 Hz – 20 kHz wide"),
        Chart(panels, (1.0, 1.2)),
        ("both channels driven",),
        title="The wave is smooth again",
        stage="Before and after",
        hero=Hero("0.027 %", "after", "1.5 %", channel="R"),
        corner=UNIT,
    )


def spectrum():
    """Harmonics as stems over the caps of those before."""
    axis = Axis(500, 10000, "log", ((500, "500"), (1000, "1k"), (2000, "2k"), (5000, "5k"), (10000, "10k")), "Hz")
    levels = Axis(-120, 0, "linear", tuple((float(v), f"{v}".replace("-", MINUS)) for v in range(-120, 1, 20)), "dB")
    harmonics = range(2, 10)
    stems = tuple(
        Stem(1000.0 * n, level - 4 * n, "R", role, {2: "2nd", 3: "3rd"}.get(n, "") if role == "now" else "")
        for role, level in (("before", -28.0), ("now", -68.0))
        for n in harmonics
    )
    panel = Panel(axis, levels, (), stems=(Stem(1000.0, 0.0, "R", "now", "1 kHz"), *stems))
    return Card(
        "tone",
        "Distortion, right channel",
        ("5 W into 8 Ω", "1 kHz"),
        Chart((panel,)),
        title="The right channel cleans up",
        stage="Before and after",
        hero=Hero("0.027 %", "after", "1.5 %", channel="R"),
        corner=UNIT,
    )


# ------------------------------------------------------------------ without a chart


def number():
    dial = Axis(10, 0.01, "log", ((10, "10"), (1, "1"), (0.1, "0.1"), (0.01, "0.01")), "%")
    body = Number("0.020 %", "Distortion, down from 5.0 %", dial, 5.0, 0.02, "before, 5.0 %")
    return Card("number", "Distortion (THD+N)", ("1 W into 8 Ω", "1 kHz"), body, stage="After the repair", corner=UNIT)


def score():
    def row(label, measured, rated, word, note="", position=None, uncertainty=""):
        return ScoreRow(label, measured, rated, word, note, position, uncertainty)

    body = Score(
        (row("Damping factor, 1 kHz", "52", "60", "falls short", "by 13 %", -0.2),),
        (row("Power into 4 Ω", "60.3", "60 W", "too close to call", "", 0.0, "± 1.6 W"),),
        (row("Music power", "46.1 W", "55 W", "not comparable", "measured continuous"),),
        (
            row("Power into 8 Ω", "42.9 W", "40 W", "meets", "by 7 %", 0.1),
            row("Response, 20 Hz – 20 kHz", "±0.36 dB", "±0.5 dB", "meets", "by 0.14 dB", 0.47),
            row("Separation, 1 kHz", "64.0 dB", "50 dB", "meets", "by 14.0 dB", 1.2),
        ),
    )
    title = "7 of 8 judged ratings met"
    return Card("score", "Rated and measured", ("aux input",), body, title=title, stage="After the repair", corner=UNIT)


def hunt():
    readings = (
        HuntReading("Rail, positive", "38.5 V", "38.9 V", "OK"),
        HuntReading("Bias L", "22 mV", "21.3 mV", "OK"),
        HuntReading("Bias R", "22 mV", "0.2 mV", "too low", out=True),
        HuntReading("Bias spreader R", "1.92 V", "0.66 V", "too low", out=True),
    )
    body = Hunt(readings, HuntReading("Bias trimmer R", "220 Ω", "open", "open", out=True))
    return Card("hunt", "what the meter found", (), body, title="Bias trimmer R is open", stage="The hunt", corner=UNIT)


def fix():
    reading = HuntReading("Bias trimmer R", "220 Ω", "221 Ω", "OK")
    body = Fix("Bias trimmer R", "replaced, sealed multi-turn", reading, "open", "2 others read right again, too")
    title = "The bias trimmer R reads right again"
    return Card("fix", "", (), body, title=title, stage="The repair", corner=UNIT)


def ending():
    tally = ("falls short", "too close to call", *["meets"] * 9, *["not comparable"] * 2)
    body = Ending(
        "Repaired",
        Hero("0.020 %", "distortion, right channel", "5.0 %", note="at 1 W", channel="R"),
        tally,
        "9",
        "of 11 judged ratings met",
        ("Damping factor 52, rated 60",),
    )
    return Card("ending", "integrated amplifier, 1977", (), body, stage="In short", corner=UNIT)


def price():
    body = Price("$329", "$1,700", (1977, 2024), "$260")
    return Card("price", "by consumer prices", (), body, title="What it is worth", corner=UNIT)


def title():
    body = TitlePage(
        "One side sounded rough", UNIT, "integrated amplifier, 1977", "the bench at the end of the hall", price().body
    )
    return Card("title", "", (), body, corner=UNIT)


def table(rows=8):
    lines = (
        Row(("Power into 8 Ω", "43.1 W", "40 W"), "meets"),
        Row(("THD+N at 40 W, 20 Hz – 20 kHz", "0.038 %", "0.05 %"), "meets"),
        Row(("Response, 20 Hz – 20 kHz", f"+0 {MINUS}0.28 dB", "±0.5 dB"), "meets"),
        Row(("Damping factor, 1 kHz", "52", "60"), "falls short"),
        Row(("Channel balance", "0.2 dB", "0.2 dB"), "too close to call"),
        Row(("Signal to noise, aux", "88 dB", "92 dB (A)"), "not comparable", "measured unweighted"),
        Row(("Phono overload, 1 kHz", "", "150 mV"), "not measured"),
        Row(("Crosstalk, 1 kHz", f"{MINUS}64 dB", "none given")),
        Row(("Input sensitivity, aux", "148 mV", "150 mV"), "too close to call"),
        Row(("Intermodulation at 40 W", "0.043 %", "0.1 %"), "meets"),
        Row(("Hum, volume at minimum", "84.1 dB", "80 dB"), "meets"),
        Row(("Phono response, 40 Hz – 15 kHz", "±0.42 dB", "±0.3 dB"), "falls short", "with the cover off"),
    )
    body = Rows(("", "measured", "rated"), lines[:rows], strong=1)
    return Card(
        "table",
        "all ratings",
        ("aux input", "120 V"),
        body,
        title="Rated and measured",
        stage="After the repair",
        corner=UNIT,
    )


SAMPLES = {
    make.__name__: make()
    for make in (
        pair,
        response,
        power,
        crosstalk,
        tone,
        spectrum,
        number,
        score,
        hunt,
        fix,
        ending,
        price,
        title,
        table,
    )
}
SAMPLES["found"] = SAMPLES["pair"].found
CHARTS = tuple(name for name, card in SAMPLES.items() if isinstance(card.body, Chart))


def texts(items):
    return [item for item in items if isinstance(item, Text)]


def said(items):
    return " ".join(item.text for item in texts(items))


def shapes(items, kind, what=Stroke):
    return [item for item in items if isinstance(item, what) and item.kind == kind]


def sound(card, look="lamplight", shape="wide"):
    """Draw a card and return what was laid out, checked to have no problem."""
    items = lay_out(card, look, SHAPES[shape])
    assert find_problems(items, SHAPES[shape]) == ()
    draw(card, look, 1280, shape)
    return items


def curve_card(*traces, y=None, hero=None, **more):
    """A card with one panel of these traces, on the dial and ±2 dB unless told otherwise."""
    panel = Panel(more.pop("x", HERTZ), y or db_axis(2, 1), traces, more.pop("limits", ()), more.pop("marks", ()))
    about = {"title": "Is it flat?", "corner": UNIT} | more
    return Card("made-up", "Frequency response", ("5 W into 8 Ω",), Chart((panel,)), hero=hero, **about)


def write_all(folder, width=1920):
    """Every sample in all shapes and both looks, and as small as on a phone."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, card in SAMPLES.items():
        for look in ("lamplight", "brochure"):
            for shape in SHAPES.values():
                png = draw(card, look, width, shape.name)
                (folder / f"{name}-{look}-{shape.name}.png").write_bytes(png)
                small = Image.open(io.BytesIO(png))
                small = small.resize((small.width // 3, small.height // 3), Image.Resampling.LANCZOS)
                small.save(folder / f"{name}-{look}-{shape.name}-phone.png")


if __name__ == "__main__":
    write_all(Path(sys.argv[1]))
