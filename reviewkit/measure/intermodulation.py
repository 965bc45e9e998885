"""Two tones played together: their intermodulation, by the convention that the pair belongs to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from reviewkit.measure import figures, scales
from reviewkit.measure.tone_sheets import (
    POINTS_DRAWN,
    channel_lines,
    check_drive,
    each_channel,
    floor_of,
    level_conditions,
    level_of_the_run,
    levels_in_words,
    spectrum_curve,
)
from reviewkit.model import digits, quantities
from reviewkit.model.capture_request import PAIR, Basis, CaptureRequest
from reviewkit.model.card import Axis, Card, Chart, Mark, Panel, Trace
from reviewkit.model.finding import Conditions, Curve, Finding, Measured, Point, Run
from reviewkit.model.kind import CLEAN, Kind
from reviewkit.model.recognised import SPECTRUM_WORDS
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Column, Sheet
from reviewkit.model.verdict import Verdict
from reviewkit.signal.decibels import db_of_amplitude
from reviewkit.signal.tone_lines import Lines, Product
from reviewkit.signal.two_tones import (
    DIFFERENCE,
    MODULATION,
    Pair,
    Ratio,
    added,
    check_pair,
    pair_of,
    products_of,
    root_sum_square,
)

METHODS = {
    ("imd", MODULATION): "sideband pairs relative to the upper tone",
    ("imd_second", MODULATION): "sidebands at the lower tone's distance relative to the upper tone",
    ("imd_third", MODULATION): "sidebands at twice the lower tone's distance relative to the upper tone",
    ("imd_rss", MODULATION): "r.s.s. of the four sidebands relative to the upper tone",
    ("imd", DIFFERENCE): "difference products relative to the sum of the two tones",
    ("imd_second", DIFFERENCE): "second-order difference product relative to the sum of the two tones",
    ("imd_third", DIFFERENCE): "third-order difference products relative to the sum of the two tones",
}
_PANEL_LABELS = {MODULATION: "relative to the upper tone", DIFFERENCE: "relative to the sum of the two tones"}
_CLEAN = 0.98  # a figure stays a plain value if products lost in the noise could only change it by less than this
_NEGLIGIBLE = 0.002  # of a figure: an uncertainty too small for any digit shown
_LOWEST_DRAWN_DB = -140.0


def findings(sheet: Sheet, c: Conditions) -> Measured:
    """Return imd (%) per channel, and its parts: imd_second, imd_third; for the modulation method imd_rss too.

    Notes
    -----
    Modulation method (60 Hz + 7 kHz, 4:1), IEC 60268-3 from memory: m_n = the sum of the pair of sidebands of order n,
    relative to the upper tone; imd = √(m2² + m3²). imd_rss: the four sidebands' r.s.s. Twin tone (19 + 20 kHz, 1:1),
    the same source: d2 = U(f2 − f1)/(U1 + U2), d3 = (U(2f1 − f2) + U(2f2 − f1))/(U1 + U2); imd = √(d2² + d3²).

    Power and voltage are those of a sine of the same peak, (U1 + U2)²/R (common practice, no source).
    """

    def one(column: Column, got: figures.Collected) -> None:
        read = channel_lines(sheet, column, c, check_pair)
        pair = pair_of(read.rest, read.tones)
        products = products_of(read.rest, pair)
        peak_v = pair.low.level + pair.high.level if read.volts else None
        under: dict[str, Any] = {**level_conditions(c, peak_v), "window": read.window}
        orders = {n: added(products[n], pair.reference) for n in (2, 3)}
        ratios = [("imd", root_sum_square(list(orders.values()))), ("imd_second", orders[2]), ("imd_third", orders[3])]
        if pair.convention == MODULATION:
            each = [added([p], pair.reference) for n in (2, 3) for p in products[n]]
            ratios.append(("imd_rss", root_sum_square(each)))
        if read.hint:
            got.withhold(f"the tones' lobes are not summed, levels are their peaks: {read.hint}")
        got.findings += [_finding(c, column.channel, pair, *ratio, under) for ratio in ratios]
        got.curves.append(_curve(column.channel, read.lines, pair, products))

    read = each_channel(sheet, c, one)
    check_drive(sheet, c, read.findings, "as a sine of the same peak")
    return read


def _curve(channel: str, lines: Lines, pair: Pair, products: Mapping[int, Sequence[Product]]) -> Curve:
    """Return a channel's spectrum around the upper tone, from which its x is counted, or all of it for the twin tone.

    Facts: the places of products of either order that stand out in it.
    """
    low, high = pair.tones
    # each pair is drawn around its own upper tone: generators differ by a few hertz from day to day
    origin = high if pair.convention == MODULATION else 0.0
    edges = np.linspace(*((high - 3 * low, high + 3 * low) if origin else (20.0, 2 * high - low + 1000)), POINTS_DRAWN)
    shown = {"2nd order": products[2][-1], "3rd order": products[3][origin > 0]}
    marks = {
        words: (float(p.frequency_hz - origin), float(db_of_amplitude(p.level / pair.reference)))
        for words, p in shown.items()
        if p.is_distinct
    }
    return spectrum_curve(channel, lines, edges, pair.reference, origin, marks=marks)


def _finding(c: Conditions, channel: str, pair: Pair, quantity: str, ratio: Ratio, under: dict[str, Any]) -> Finding:
    """Return one figure; it is a bound if products that aren't above the noise could make a difference."""
    at = {**under, "tones": pair.tones, "method": METHODS[quantity, pair.convention]}
    if ratio.least < _CLEAN * ratio.value:
        made = figures.finding(c, quantity, channel, 100 * ratio.most, limited_by="noise", **at)
        return replace(made, bound="at most")
    uncertainty = float(np.hypot(ratio.uncertainty, ratio.value - ratio.least))
    stated = 100 * uncertainty if uncertainty > _NEGLIGIBLE * ratio.least else None
    return figures.finding(c, quantity, channel, 100 * ratio.least, uncertainty=stated, **at)


def card(runs: Sequence[Run], verdicts: Sequence[Verdict]) -> Card:
    """Return the worst channel's spectrum around the upper tone, or all of it for the twin tone, products named."""
    main = figures.main_run(runs)
    found = figures.by_channel(main, "imd")
    key = quantities.worse(found)
    if key is None:
        return figures.card(runs, KIND.title, Chart(()), None)
    low, high = key.at["tones"]
    convention = MODULATION if key.at["method"] == METHODS["imd", MODULATION] else DIFFERENCE
    ratio = "4:1" if convention == MODULATION else "1:1"
    traces, marks = [], []
    for run in runs:
        role = figures.trace_role(run, runs)
        for curve in run.curves:
            # the two conventions have no common scale
            if curve.channel == key.channel and run.get("imd", curve.channel, method=key.at["method"]):
                traces.append(Trace(curve.x, curve.y, curve.channel, role))
                if role in ("now", "before"):
                    named = curve.facts["marks"].items()
                    marks += [Mark(x, y, name, curve.channel, role, part=True) for name, (x, y) in named]
    y_axis = scales.twenties([0.0, floor_of([t.y for t in traces], _LOWEST_DRAWN_DB)])
    x_axis = _about(low, high) if convention == MODULATION else _whole(2 * high - low)
    label = _PANEL_LABELS[convention]
    panel = Panel(x_axis, y_axis, tuple(traces), marks=tuple(marks), label=label, one_channel=True)
    hero = figures.hero(key, found, "total")
    return figures.card(
        runs,
        KIND.title,
        Chart((panel,)),
        replace(hero, x=None) if hero else None,
        [f for f in main.findings if f.quantity.startswith("imd")],
        (f"{quantities.tones((low, high))}, {ratio}",),
        level_of_the_run(main, key),
    )


def _about(low_hz: float, high_hz: float) -> Axis:
    """Return a scale in hertz from the upper tone, numbered at the sidebands."""
    ticks = [(n * low_hz, f"{'+' if n > 0 else digits.MINUS}{digits.trimmed(abs(n) * low_hz)}") for n in (-2, -1, 1, 2)]
    ticks.insert(2, (0.0, quantities.hertz(high_hz)))
    return Axis(-3 * low_hz, 3 * low_hz, "linear", tuple(ticks), "Hz", tuple(n * low_hz / 2 for n in range(-6, 7)))


def _whole(highest_hz: float) -> Axis:
    """Return a scale from 0 Hz, even in hertz: the products are evenly spaced."""
    top = float(np.ceil(highest_hz / 1000) + 1) * 1000
    ticks = [(float(f), f"{f // 1000}k" if f else "0") for f in range(0, int(top) + 1, 5000)]
    return Axis(0.0, top, "linear", tuple(ticks), "Hz", tuple(float(f) for f in range(0, int(top) + 1, 1000)))


def points(run: Run, before: Run | None) -> tuple[Point, ...]:
    """Return the worse channel's figure with its tones, and what it was."""
    here = figures.by_channel(run, "imd")
    worst = quantities.worse(here)
    if worst is None:
        return ()
    facts = {
        "worse": worst,
        "before": quantities.worse(figures.by_channel(before, "imd", method=worst.at["method"])),
        "drive": levels_in_words(run, here),
        "tones": worst.at["tones"],
    }
    return (run.point("figure", **facts),)


USUAL_TONES_HZ = (60.0, 7000.0)


def _request(rating: Rating, basis: Basis) -> tuple[CaptureRequest, ...]:
    tones = rating.tones_hz or USUAL_TONES_HZ
    at = basis.named(rating, "load", "input", "channels") | {"tones": tones}
    request = basis.request(rating, ("imd",), at, PAIR, 1.0, apart=tones, wording={"tones": (tones,)})
    level = request.level
    return (replace(request, at=at | level.entries()) if level and level.unit == "W" else request,)


KIND = Kind(
    name="intermodulation",
    title="Intermodulation",
    about="two tones together, 60 Hz + 7 kHz 4:1 or 19 + 20 kHz 1:1: a waveform, or a spectrum with its `window`",
    needs=(("time", "level"), ("frequency", "level")),
    compared=("imd",),
    asks=CLEAN,
    headlines=("imd",),
    findings=findings,
    card=card,
    points=points,
    keys=("drive",),
    file_words=rf"imd?|inter ?mod(?:ulation)?|smpte|ccif|(?:twin|two|dual) ?tones?|{SPECTRUM_WORDS}",
    signal="pair",
    recipes={"imd": _request},
    optional_line='#window = "blackman-harris"  # of a spectrum',
)
