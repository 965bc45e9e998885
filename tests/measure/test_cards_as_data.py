"""Each kind's card as data, drawn by nobody: its curves are the file's own values in the axes' units, its readings what
follows from them by hand.
"""

from __future__ import annotations

import math
from dataclasses import replace

import known_waveforms as known
import numpy as np
import pytest
from known_steps import TwoPoles
from known_tones import sines, third_octaves
from measured_sheets import column, conditions, run_from, sheet

from reviewkit.measure import KINDS
from reviewkit.model.card import Bars, Card, Curves, Panel, Rows
from reviewkit.model.sheet import SingleReading

HERTZ = [20.0, 100.0, 1000.0, 5000.0, 20_000.0]
RATE_HZ, COUNT = 96_000, 70_001


def card_of(kind: str, data, **stated) -> Card:
    return KINDS[kind].card([run_from(data, conditions(kind, **stated))], ())


def panel_of(card: Card) -> Panel:
    assert isinstance(card.body, Curves)
    return card.body.panels[0]


def capture(values):
    return sheet(column("time", np.arange(len(values)) / RATE_HZ), column("level", values, "L"))


def check_response() -> None:
    volts = {"L": [1.9, 2.0, 2.0, 2.0, 1.8], "R": [2.0, 2.0, 2.0, 2.0, 2.0]}
    columns = (column("level", values, name) for name, values in volts.items())
    card = card_of("response", sheet(column("frequency", HERTZ), *columns))
    left, right = panel_of(card).traces
    assert (left.label, left.channel, right.label, right.channel) == ("L", "L", "R", "R")
    assert left.x.tolist() == HERTZ
    assert left.y == pytest.approx([20 * math.log10(v / 2) for v in (1.9, 2.0, 2.0, 2.0, 1.8)])
    assert right.y == pytest.approx([0.0] * 5, abs=1e-12)
    # 20 lg 0.9 = −0.915
    assert (card.readings[0].key, card.readings[0].channel) == ("±0.92 dB", "L")


def check_phono() -> None:
    deviation = [0.3, 0.1, 0.0, -0.1, -0.4]
    card = card_of("phono", sheet(column("frequency", HERTZ), column("level", deviation, "L", "dB")), equalised=True)
    (trace,) = panel_of(card).traces
    assert trace.y == pytest.approx(deviation)
    assert [mark.text for mark in panel_of(card).marks] == ["−0.40 dB at 20 kHz"]
    assert card.readings[0].key == "−0.40 dB"


def check_contour() -> None:
    c = conditions("contour", setting="bass up", against="flat")
    flat = sheet(column("frequency", HERTZ), column("level", [2.0] * 5, "L"))
    up = sheet(column("frequency", HERTZ), column("level", [4.0, 2.5, 2.0, 2.0, 2.0], "L"))
    card = KINDS["contour"].card([run_from(up, replace(c, reference=flat, reference_name="flat"))], ())
    (trace,) = panel_of(card).traces
    assert trace.y == pytest.approx([20 * math.log10(2), 20 * math.log10(1.25), 0, 0, 0], abs=1e-9)
    assert card.readings[0].key == "+6.0 dB"


def check_crosstalk() -> None:
    ways = {"L>R": [-80.0, -75.0, -70.0, -60.0, -45.0], "R>L": [-81.0, -76.0, -71.0, -61.0, -46.0]}
    card = card_of(
        "crosstalk",
        sheet(column("frequency", HERTZ), *(column("level", values, way, "dB") for way, values in ways.items())),
    )
    assert [trace.label for trace in panel_of(card).traces] == ["L → R", "R → L"]
    assert [trace.y.tolist() for trace in panel_of(card).traces] == list(ways.values())
    assert card.readings[0].key == "−70.0 dB"


def check_source_impedance() -> None:
    ohms = [0.1, 0.1, 0.16, 0.2, 0.3]
    card = card_of("source-impedance", sheet(column("frequency", HERTZ), column("impedance", ohms)))
    assert panel_of(card).traces[0].y.tolist() == ohms
    assert panel_of(card).y.unit == "Ω"
    assert card.readings[0].key == "50"  # 8 Ω / 0.16 Ω


def check_distortion_frequency() -> None:
    percent = [0.02, 0.01, 0.01, 0.02, 0.05]
    card = card_of(
        "distortion-frequency", sheet(column("frequency", HERTZ), column("distortion", percent, "L")), drive_w=40.0
    )
    assert panel_of(card).traces[0].y.tolist() == percent
    assert panel_of(card).y.scale == "log"
    assert card.readings[0].key == "0.050 %"


def check_distortion_power() -> None:
    watts, percent = [1.0, 5.0, 10.0, 20.0, 40.0, 45.0], [0.02, 0.01, 0.01, 0.02, 0.05, 1.5]
    card = card_of("distortion-power", sheet(column("power", watts), column("distortion", percent, "L")))
    assert panel_of(card).traces[0].x.tolist() == watts
    (mark,) = panel_of(card).marks
    # 1 % on the line between 40 W and 45 W, both axes logarithmic
    share = math.log(1 / 0.05) / math.log(1.5 / 0.05)
    assert (mark.x, mark.y) == pytest.approx((40 * (45 / 40) ** share, 1.0))
    assert card.readings[0].key == "44 W"


def check_tone() -> None:
    peaks = known.of_levels({2: -60.0, 3: -70.0}, np.random.default_rng(1))
    card = card_of("tone", capture(known.wave(peaks, 997.0 / RATE_HZ, COUNT, 0.3)))
    assert isinstance(card.body, Bars)
    bars = {group.label: group.bars[0].value for group in card.body.groups}
    assert bars["2nd"] == pytest.approx(0.1, rel=1e-3)  # −60 dB
    assert bars["3rd"] == pytest.approx(100 * 10 ** (-70 / 20), rel=1e-3)


def check_multitone() -> None:
    tones = third_octaves(-10, 12)
    peaks = [0.1] * len(tones) + [0.1 * 10 ** (-50 / 20)]
    card = card_of("multitone", capture(sines([*tones, 1500.0], peaks, range(len(peaks)), RATE_HZ, COUNT)))
    assert float(card.readings[0].key.removesuffix(" dB")) == pytest.approx(50.0, abs=0.15)
    assert panel_of(card).traces[0].y.max() == pytest.approx(0.0, abs=3.0)


def check_square() -> None:
    wave = 2 * TwoPoles(12_000, 0.5).wave(500.3, np.arange(COUNT) / RATE_HZ)
    card = card_of("square", capture(wave))
    assert [panel.x.unit for panel in card.body.panels] == ["ms", "µs"]
    shown = card.body.panels[0].traces[0]
    # two periods, or a little less, between −2 V and 2 V and their overshoot
    assert 0.9 * 2 / 500.3 <= (shown.x.max() - shown.x.min()) / 1e3 <= 2.6 / 500.3
    assert shown.y.min() == pytest.approx(-shown.y.max(), rel=0.02)


def check_noise() -> None:
    hiss = known.noise(np.random.default_rng(7), COUNT, RATE_HZ, (20.0, 20_000.0), 1e-4)
    card = card_of("noise", capture(hiss))
    (panel,) = card.body.panels
    assert (panel.x.unit, panel.y.unit) == ("Hz", "dBV")
    # white over 20 kHz: the third octave about 1 kHz holds 231.6 Hz of it (IEC 61260-1's band edges, from memory)
    at = np.searchsorted(panel.traces[0].x, 1000.0)
    assert panel.traces[0].y[at] == pytest.approx(20 * math.log10(1e-4 * math.sqrt(231.6 / 19_980)), abs=1.5)


def check_intermodulation() -> None:
    pair = known_pair(60.0, 7000.0)
    card = card_of("intermodulation", capture(pair))
    # a sideband of 1 % of the upper tone on each side, added (IEC 60268-3's modulation method, from memory)
    assert card.readings[0].key == "2.0 %"


def known_pair(low_hz: float, high_hz: float) -> np.ndarray:
    side = 0.2 * 0.01
    hertz = [low_hz, high_hz, high_hz - low_hz, high_hz + low_hz]
    return sines(hertz, [0.8, 0.2, side, side], [0.0] * 4, RATE_HZ, COUNT)


def check_reading() -> None:
    bias = SingleReading("bias", "L", 0.012, "V", {}, "")
    card = card_of("reading", replace(sheet(column("frequency", [1.0])), columns=(), readings=(bias,)))
    assert isinstance(card.body, Rows)
    assert any("12.0 mV" in cell for row in card.body.rows for cell in row.cells)


@pytest.mark.parametrize("kind", KINDS)
def test_the_card_holds_what_the_file_says(kind):
    globals()[f"check_{kind.replace('-', '_')}"]()
