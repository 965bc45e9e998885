"""Each kind's card as data, drawn by nobody: its curves are the file's own values in the axes' units, its figure what
follows from them by hand.
"""

from __future__ import annotations

import math
from dataclasses import replace

import known_drivers
import known_waveforms as known
import numpy as np
import pytest
from known_steps import TwoPoles
from known_tones import sines, third_octaves
from measured_sheets import column, conditions, run_from, sheet

from reviewkit.measure import KINDS
from reviewkit.model.card import Card, Chart, Panel, Rows
from reviewkit.model.sheet import SingleReading

HERTZ = [20.0, 100.0, 1000.0, 5000.0, 20_000.0]
RATE_HZ, COUNT = 96_000, 70_001


def card_of(kind: str, data, **stated) -> Card:
    return KINDS[kind].card([run_from(data, conditions(kind, **stated))], ())


def panel_of(card: Card) -> Panel:
    assert isinstance(card.body, Chart)
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
    assert (card.hero.figure, card.hero.channel) == ("±0.92 dB", "L")


def check_phono() -> None:
    deviation = [0.3, 0.1, 0.0, -0.1, -0.4]
    card = card_of("phono", sheet(column("frequency", HERTZ), column("level", deviation, "L", "dB")), equalised=True)
    (trace,) = panel_of(card).traces
    assert trace.y == pytest.approx(deviation)
    assert (card.hero.figure, card.hero.caption) == ("−0.40 dB", "at 20 kHz")


def check_contour() -> None:
    c = conditions("contour", setting="bass up", against="flat")
    flat = sheet(column("frequency", HERTZ), column("level", [2.0] * 5, "L"))
    up = sheet(column("frequency", HERTZ), column("level", [4.0, 2.5, 2.0, 2.0, 2.0], "L"))
    card = KINDS["contour"].card([run_from(up, replace(c, reference=flat, reference_name="flat"))], ())
    (trace,) = panel_of(card).traces
    assert trace.y == pytest.approx([20 * math.log10(2), 20 * math.log10(1.25), 0, 0, 0], abs=1e-9)
    assert card.hero.figure == "+6.0 dB"


def check_crosstalk() -> None:
    ways = {"L>R": [-80.0, -75.0, -70.0, -60.0, -45.0], "R>L": [-81.0, -76.0, -71.0, -61.0, -46.0]}
    card = card_of(
        "crosstalk",
        sheet(column("frequency", HERTZ), *(column("level", values, way, "dB") for way, values in ways.items())),
    )
    assert [trace.label for trace in panel_of(card).traces] == ["L → R", "R → L"]
    assert [trace.y.tolist() for trace in panel_of(card).traces] == list(ways.values())
    assert card.hero.figure == "−70.0 dB"


def check_source_impedance() -> None:
    ohms = [0.1, 0.1, 0.16, 0.2, 0.3]
    card = card_of("source-impedance", sheet(column("frequency", HERTZ), column("impedance", ohms)))
    assert panel_of(card).traces[0].y.tolist() == [8 / z for z in ohms]
    assert card.hero.figure == "50"  # 8 Ω / 0.16 Ω
    bare = card_of("source-impedance", sheet(column("frequency", HERTZ), column("impedance", ohms)), load_ohm=None)
    assert panel_of(bare).traces[0].y.tolist() == ohms
    assert panel_of(bare).y.unit == "Ω"
    assert bare.hero.figure == "0.160 Ω"


def check_load_impedance() -> None:
    driver = known_drivers.B
    hertz = np.geomspace(10, 20_000, 265)
    ohms = np.abs(driver.ohms(hertz))
    card = card_of(
        "load-impedance", sheet(column("frequency", hertz), column("impedance", ohms)), enclosure="none", load_ohm=8.0
    )
    panel = panel_of(card)
    assert panel.traces[0].y.tolist() == ohms.tolist()
    assert (panel.y.unit, panel.y.scale) == ("Ω", "log")
    # 6.5226 Ω at 413.47 Hz, a worked example of the circuit; the resonance is ringed at its 30 Hz
    assert (card.hero.figure, card.hero.caption) == ("6.52 Ω", "lowest, at 413 Hz")
    assert [mark.text for mark in panel.marks] == ["", "30.0 Hz"]
    assert "8 Ω" not in " ".join(card.conditions)


def check_flutter() -> None:
    t = np.arange(16 * 8000) / 8000
    # 1 % fast, 0.1 % of deviation at 4 Hz: a peak of 3.15 Hz about 3181.5 Hz
    phase = 2 * np.pi * 3181.5 * t + 3.15 / 4 * np.sin(2 * np.pi * 4 * t)
    capture = sheet(column("time", t), column("level", np.sin(phase), "L"))
    card = card_of("flutter", capture, frequency_hz=3150.0, rates_hz={"capstan": 4 / 1.01})
    over_time, rates = card.body.panels
    assert (over_time.x.unit, over_time.y.unit, rates.x.unit, rates.y.unit) == ("s", "%", "Hz", "%")
    assert float(np.mean(over_time.traces[0].y)) == pytest.approx(1.0, abs=0.005)
    assert [(mark.text, round(mark.x, 2)) for mark in rates.marks] == [("capstan", 4.0)]
    # the value that a sine of peak 0.1 % exceeds 5 % of the time: 0.0997 %
    assert (card.hero.figure, card.hero.caption) == ("0.10 %", "weighted peak")


def check_distortion_frequency() -> None:
    percent = [0.02, 0.01, 0.01, 0.02, 0.05]
    card = card_of(
        "distortion-frequency", sheet(column("frequency", HERTZ), column("distortion", percent, "L")), drive_w=40.0
    )
    assert panel_of(card).traces[0].y.tolist() == percent
    assert panel_of(card).y.scale == "log"
    assert card.hero.figure == "0.050 %"


def check_distortion_power() -> None:
    watts, percent = [1.0, 5.0, 10.0, 20.0, 40.0, 45.0], [0.02, 0.01, 0.01, 0.02, 0.05, 1.5]
    card = card_of("distortion-power", sheet(column("power", watts), column("distortion", percent, "L")))
    assert panel_of(card).traces[0].x.tolist() == watts
    # 1 % on the line between 40 W and 45 W, both axes logarithmic
    share = math.log(1 / 0.05) / math.log(1.5 / 0.05)
    assert card.hero.findings[0].value == pytest.approx(40 * (45 / 40) ** share)
    assert (card.hero.figure, card.hero.caption) == ("44 W", "at 1 %")


def check_tone() -> None:
    peaks = known.of_levels({2: -60.0, 3: -70.0}, np.random.default_rng(1))
    card = card_of("tone", capture(known.wave(peaks, 997.0 / RATE_HZ, COUNT, 0.3)))
    stems = {stem.x / 997.0: stem.y for stem in panel_of(card).stems}
    assert [round(order, 3) for order in stems][:3] == [1, 2, 3]
    assert list(stems.values())[:3] == pytest.approx([0.0, -60.0, -70.0], abs=0.01)
    assert card.hero.figure == "0.10 %"  # √(0.1² + 0.0316²) = 0.105


def check_multitone() -> None:
    tones = third_octaves(-10, 12)
    peaks = [0.1] * len(tones) + [0.1 * 10 ** (-50 / 20)]
    card = card_of("multitone", capture(sines([*tones, 1500.0], peaks, range(len(peaks)), RATE_HZ, COUNT)))
    assert float(card.hero.figure.removesuffix(" dB")) == pytest.approx(50.0, abs=0.15)
    assert panel_of(card).traces[0].y.max() == pytest.approx(0.0, abs=3.0)


def check_square() -> None:
    wave = 2 * TwoPoles(12_000, 0.5).wave(500.3, np.arange(COUNT) / RATE_HZ)
    card = card_of("square", capture(wave))
    (panel,) = card.body.panels
    assert (panel.x.unit, panel.y.unit) == ("µs", "%")
    shown = panel.traces[0]
    # the edge from its base to its top and its overshoot: 16 % of the step for a damping of 0.5, from memory
    assert shown.y.min() == pytest.approx(0.0, abs=1.0)
    assert shown.y.max() == pytest.approx(116.3, abs=1.0)


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
    assert card.hero.figure == "2.0 %"


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
