"""Cards of an invented unit, the Norrvale Forty, for the drawing tests; run with a folder it writes them there."""

import io
import sys
from pathlib import Path

import numpy as np
from PIL import Image

from reviewkit.model.card import Axis, Card, Curves, Limit, Mark, Panel, Readout, Row, Rows, TitlePage, Trace
from reviewkit.model.session import Rating
from reviewkit.model.verdict import Verdict
from reviewkit.render.cards.card import draw, lay_out
from reviewkit.render.cards.layout_check import find_problems
from reviewkit.render.cards.scene import Stroke, Text

UNIT = "Norrvale Forty"
MINUS = "\u2212"
VERDICT_WORDS = ("meets", "falls short", "too close to call", "not comparable", "not measured")
DECADE_MINOR = tuple(float(n * 10**p) for p in (1, 2, 3, 4) for n in range(2, 10) if 20 < n * 10**p < 20000)

HERTZ = Axis(
    20, 20000, "log", ((20, "20"), (100, "100"), (1000, "1k"), (10000, "10k"), (20000, "20k")), "Hz", DECADE_MINOR
)
PERCENT = Axis(0.001, 10, "log", ((0.001, "0.001"), (0.01, "0.01"), (0.1, "0.1"), (1, "1"), (10, "10")), "%")


def db_axis(most, step):
    values = np.arange(-most, most + step / 2, step)
    ticks = tuple((float(v), f"+{v:g}" if v > 0 else f"{v:g}".replace("-", MINUS)) for v in values)
    return Axis(-most, most, "linear", ticks, "dB")


def verdict(label, limit, word, position=None, measured="1"):
    rating = Rating("power", "W", at_least=40.0)
    return Verdict(rating, label, f"{limit} rated", limit, measured, word, position=position)


FREQUENCY = np.geomspace(20, 20000, 400)


def low_high(low, high):
    return -10 * np.log10(1 + (low / FREQUENCY) ** 2) - 10 * np.log10(1 + (FREQUENCY / high) ** 2)


def response():
    traces = (
        Trace(FREQUENCY, low_high(6, 62000), "L", "before", "L before"),
        Trace(FREQUENCY, low_high(12, 42000) - 0.1, "R", "before", "R before"),
        Trace(FREQUENCY, low_high(4.2, 95000), "L", "now", "L"),
        Trace(FREQUENCY, low_high(5.0, 88000), "R", "now", "R"),
        Trace(FREQUENCY, 0.02 * np.sin(np.log(FREQUENCY) * 3), "", "bench", "bench"),
    )
    panel = Panel(HERTZ, db_axis(2, 1), traces, (Limit(-0.5, 0.5, 20, 20000, "rated ±0.5 dB"),))
    return Card(
        "response",
        "Frequency response",
        "5 W into 8 Ω · tone controls bypassed · aux",
        Curves((panel,)),
        readings=(
            Readout(
                "20 Hz – 20 kHz, dB", f"+0 {MINUS}0.28", (("L", f"+0.00 {MINUS}0.21"), ("R", f"+0.00 {MINUS}0.28"))
            ),
            Readout("channel balance", "", (("worst", "0.20 dB"),)),
        ),
        verdicts=(
            verdict("Response, 20 Hz – 20 kHz", "±0.5 dB", "meets", 0.45),
            verdict("Channel balance", "0.2 dB", "too close to call", 0.0),
        ),
        foot="uncertainty 0.1 dB (k = 2)",
        corner=UNIT,
        chart=True,
    )


def tone():
    time = np.linspace(0, 3, 2400)
    milliseconds = Axis(0, 3, "linear", ((0, "0"), (1, "1"), (2, "2"), (3, "3")), "ms", tuple(np.arange(0.2, 3, 0.2)))
    volts = Axis(-10, 10, "linear", ((-10, f"{MINUS}10"), (-5, f"{MINUS}5"), (0, "0"), (5, "+5"), (10, "+10")), "V")
    small = Axis(-0.2, 0.2, "linear", ((-0.2, f"{MINUS}0.2"), (0, "0"), (0.2, "+0.2")), "V")
    wave = 9 * np.sin(2 * np.pi * time)
    torn = wave + 0.12 * np.sign(np.cos(2 * np.pi * time)) * np.exp(-(((time * 2 % 1 - 0.5) * 12) ** 2))

    def pair(left, right, role):
        return Trace(time, left, "L", role, "L"), Trace(time, right, "R", role, "R")

    rng = np.random.default_rng(7)
    noise = 0.01 * rng.standard_normal(len(time))
    panels = (
        Panel(milliseconds, volts, pair(wave, torn, "now"), label="before"),
        Panel(milliseconds, volts, pair(wave, wave * 0.99, "now"), label="after"),
        Panel(milliseconds, small, pair(noise, torn - wave + noise, "residual"), label="residual"),
        Panel(milliseconds, small, pair(noise, noise[::-1], "residual"), label="residual"),
    )
    return Card(
        "tone",
        "Distortion at 1 kHz",
        "5 W into 8 Ω · both channels driven · 20 Hz – 20 kHz",
        Curves(panels, columns=2, heights=(1.25, 1.0)),
        readings=(
            Readout(
                "after, %",
                "",
                (
                    ("", "L", "R"),
                    ("THD", "0.014", "0.017"),
                    ("THD+N", "0.021", "0.026"),
                    ("2nd", "0.011", "0.013"),
                    ("3rd", "0.0083", "0.0091"),
                ),
            ),
            Readout("before, %", "", (("", "L", "R"), ("THD+N", "0.024", "1.4"))),
        ),
        verdicts=(verdict("THD+N at 5 W", "0.05 %", "meets", 0.6),),
        corner=UNIT,
        chart=True,
    )


def distortion_power():
    power = np.geomspace(0.05, 55, 160)

    def sweep(noise, knee):
        return np.hypot(noise / np.sqrt(power), 0.011) + 0.02 * np.exp((power - knee) / 1.1)

    watts = Axis(
        0.05,
        100,
        "log",
        ((0.1, "0.1"), (1, "1"), (10, "10"), (100, "100")),
        "W",
        tuple(float(n * f) for f in (0.01, 0.1, 1.0, 10.0) for n in range(2, 10) if n * f >= 0.05),
    )
    traces = (Trace(power, sweep(0.012, 43), "L", "now", "L"), Trace(power, sweep(0.016, 41), "R", "now", "R"))
    panel = Panel(watts, PERCENT, traces, (Limit(None, 0.05, 0.05, 40, "rated 0.05 % to 40 W"),))
    return Card(
        "power-sweep",
        "Distortion against power",
        "1 kHz into 8 Ω · both channels driven · THD+N, 20 Hz – 20 kHz",
        Curves((panel,)),
        readings=(
            Readout("at 1 %", "46.8 W", (("L", "48.6 W"), ("R", "46.8 W"))),
            Readout("lowest", "", (("L", "0.011 %"), ("R", "0.012 %"))),
        ),
        verdicts=(verdict("Power into 8 Ω", "40 W", "not comparable"),),
        corner=UNIT,
        chart=True,
    )


def crosstalk():
    left = -78 + 20 * np.log10(np.hypot(1, FREQUENCY / 4000))
    right = -74 + 20 * np.log10(np.hypot(1, FREQUENCY / 3000))
    axis = Axis(-100, 0, "linear", tuple((float(v), f"{v}".replace("-", MINUS)) for v in range(-100, 1, 20)), "dB")
    panel = Panel(
        HERTZ,
        axis,
        (Trace(FREQUENCY, left, "L>R", "now", "L into R"), Trace(FREQUENCY, right, "R>L", "now", "R into L")),
        marks=(Mark(20000, float(right[-1]), f"worst {MINUS}57.4 dB at 20 kHz", "R>L"),),
        limits=(Limit(None, -50, 1000, 1000, "rated 50 dB at 1 kHz"),),
    )
    return Card(
        "crosstalk",
        "Crosstalk",
        "5 W into 8 Ω · undriven input shorted",
        Curves((panel,)),
        readings=(
            Readout("at 1 kHz", f"{MINUS}73.5 dB", (("L into R", f"{MINUS}77.7 dB"), ("R into L", f"{MINUS}73.5 dB"))),
            Readout("at 10 kHz", "", (("L into R", f"{MINUS}69.4 dB"), ("R into L", f"{MINUS}63.2 dB"))),
        ),
        verdicts=(verdict("Separation, 1 kHz", "50 dB", "meets", 1.0),),
        corner=UNIT,
        chart=True,
    )


def table(rows=8):
    lines = (
        Row(("Power into 8 Ω", "40 W", "43.1 W"), "meets", 0.11, margin="+8 %"),
        Row(("THD+N at 40 W, 20 Hz – 20 kHz", "0.05 %", "0.038 %"), "meets", 0.4),
        Row(("Response, 20 Hz – 20 kHz", "±0.5 dB", f"+0 {MINUS}0.28 dB"), "meets", 0.45),
        Row(("Damping factor, 1 kHz", "60", "52"), "falls short", -0.2, margin=f"{MINUS}13 %"),
        Row(("Channel balance", "0.2 dB", "0.2 dB"), "too close to call", 0.02),
        Row(("Signal to noise, aux", "92 dB (A)", "88 dB unweighted"), "not comparable"),
        Row(("Phono overload, 1 kHz", "150 mV", ""), "not measured"),
        Row(("Crosstalk, 1 kHz", "none given", f"{MINUS}64 dB")),
        Row(("Input sensitivity, aux", "150 mV", "148 mV"), "too close to call", -0.01),
        Row(("Intermodulation at 40 W", "0.1 %", "0.043 %"), "meets", 0.9),
        Row(("Hum, volume at minimum", "80 dB", "84.1 dB"), "meets", 0.6),
        Row(("Phono response, 40 Hz – 15 kHz", "±0.3 dB", "±0.42 dB"), "falls short", -0.4, "with the cover off"),
    )
    body = Rows(("", "rated", "measured"), lines[:rows], (2.4, 1.1, 1.6), strong=2, needles=True)
    return Card(
        "table",
        "Rated and measured",
        "aux input · both channels driven · 120 V",
        body,
        foot="ratings: owner’s manual, page 22 · uncertainty 0.1 dB",
        corner=UNIT,
    )


def rated():
    rows = (
        Row(("Power", "40 W", "both channels into 8 Ω, 20 Hz – 20 kHz, 0.05 % THD")),
        Row(("Response", "±0.5 dB", "10 Hz – 35 kHz")),
        Row(("Intermodulation", "0.1 %", "at 40 W")),
        Row(("Damping factor", "60", "1 kHz, 8 Ω")),
        Row(("Signal to noise", "92 dB", "aux, A-weighted, re rated output")),
    )
    body = Rows(("", "limit", "conditions"), rows, (1.2, 0.8, 3.0), strong=1)
    return Card("rated", "What the maker promised", "owner’s manual, page 22", body, corner=UNIT)


def repair():
    rows = (
        Row(
            ("Q12 emitter", "0.38 V ± 5 %", "→", "1.9 V", "out of tolerance"),
            "out of tolerance",
            note="new, Q14 too, matched",
            loud=True,
        ),
        Row(("R41", "0.47 Ω ± 5 %", "→", "open", "open"), "open", note="the flame-proof kind", loud=True),
        Row(("C9", "1000 µF ± 20 %", "→", "1020 µF", "in order"), "in order", note="left in"),
        Row(("TP3", "34.0 V ± 5 %", "→", "33.6 V", "in order"), "in order"),
        Row(("Relay contact", "", "", "0.9 Ω", ""), "", note="cleaned"),
    )
    body = Rows(("point", "expected", "", "found", ""), rows, (2.8, 1.2, 0.1, 1, 1.2), strong=3)
    return Card(
        "repair",
        "What was mended",
        "right channel, power amplifier board",
        body,
        corner=UNIT,
        foot="this records one repair and is no instruction",
    )


def title():
    body = TitlePage(
        UNIT,
        ("integrated amplifier, 1977", "One side sounded torn: found, mended, measured"),
        (("new in 1977", "$329"), ("in 2024 money", "about $1,700"), ("fair today", "$180")),
    )
    return Card("title", UNIT, "", body, corner=UNIT, foot="US consumer prices, annual average")


def closing():
    rows = (
        Row(("Ratings met", "", "3 of 7"), "meets", 0.11, "nearest to its limit: Power into 8 Ω", "+8 %"),
        Row(("Damping factor, 1 kHz", "60", "52"), "falls short", -0.2, margin=f"{MINUS}13 %"),
        Row(("Channel balance", "0.2 dB", "0.2 ± 0.1 dB"), "too close to call", 0.0),
        Row(("Fair today, an opinion", "", "$180")),
    )
    amounts = ("new, 1977", "$329"), ("in 2024 money", "about $1,700")
    body = Rows(("", "rated", "measured"), rows, (2.6, 1.1, 1.5), 2, True, amounts=amounts, years=(1977, 2024))
    return Card("closing", "In short", "", body, corner=UNIT)


SAMPLES = {
    made.__name__: made()
    for made in (title, rated, response, tone, distortion_power, crosstalk, table, repair, closing)
}


def texts(items):
    return [item for item in items if isinstance(item, Text)]


def said(items):
    return " ".join(item.text for item in texts(items))


def shapes(items, kind, what=Stroke):
    return [item for item in items if isinstance(item, what) and item.kind == kind]


def sound(card, look="lamplight"):
    """Draw a card and return what was laid out, checked to have no problem."""
    items = lay_out(card, look)
    assert find_problems(items) == ()
    draw(card, look, 1280)
    return items


def curve_card(*traces, y=None, **more):
    """A card with one panel of these traces, on the dial and ±2 dB unless told otherwise."""
    panel = Panel(more.pop("x", HERTZ), y or db_axis(2, 1), traces, more.pop("limits", ()), more.pop("marks", ()))
    return Card("made-up", "Frequency response", "5 W into 8 Ω", Curves((panel,)), corner=UNIT, **more)


def write_all(folder, width=1920):
    """Every sample in both looks, and as small as on a phone."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, card in SAMPLES.items():
        for look in ("lamplight", "brochure"):
            png = draw(card, look, width)
            (folder / f"{name}-{look}.png").write_bytes(png)
            small = Image.open(io.BytesIO(png)).resize((640, 360), Image.Resampling.LANCZOS)
            small.save(folder / f"{name}-{look}-phone.png")


if __name__ == "__main__":
    write_all(Path(sys.argv[1]))
