"""From a file's text to the findings: what must not change a figure, and what must change it by so much.

The relations are closed forms: volts are linear, ratios have no unit, and one reading written in another unit is the
same reading (kHz and Hz, mV and V, dBV and dBu 20 lg(1/√0.6) apart, percent and decibels re the fundamental).
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.append(str(Path(__file__).resolve().parent / "measure"))
from measured_sheets import measured

from reviewkit.ingest.sheet.sheet_file import parse_sheet
from reviewkit.model.finding import Measured

Table = dict[str, np.ndarray]  # header cell -> shape (rows,)
Figures = dict[tuple[str, str, str], float]
DBU_OVER_DBV = 20 * math.log10(1 / math.sqrt(0.6))  # 0 dBu is √0.6 V, 0 dBV is 1 V
FEW = settings(max_examples=6)
SWEEP_HZ = np.round(np.geomspace(10.0, 40_000.0, 61), 6)


def found(kind: str, table: Table, *, comments: int = 0, digits: int = 17, **told: object) -> Measured:
    """The table written as text, read and measured. `comments`: one before every so many rows."""
    lines = [";".join(table)]
    for n, row in enumerate(zip(*(values.tolist() for values in table.values()), strict=True)):
        if comments and n % comments == 0:
            lines += ["# begun again", ""]
        lines.append(";".join(f"{value:.{digits}g}" for value in row))
    return measured(kind, parse_sheet("\n".join(lines).encode(), "measurements/m.csv"), **told)


def figures(measured_: Measured, *, swap: bool = False) -> Figures:
    """(quantity, channel, conditions that are a frequency or a limit) -> value."""
    swapped = {"L": "R", "R": "L", "L>R": "R>L", "R>L": "L>R"} if swap else {}
    named = {}
    for f in measured_.findings:
        at = ", ".join(f"{key} {f.at[key]}" for key in ("weighting", "reference", "limit") if key in f.at)
        spot = f.at.get("frequency")
        spot_text = f"{spot:.6g}" if isinstance(spot, float) else str(spot)
        named[f.quantity, swapped.get(f.channel, f.channel), f"{at} {spot_text}"] = f.value
    assert named
    return named


def assert_same(one: Figures, other: Figures, *, near: float = 1e-9) -> None:
    assert one.keys() == other.keys()
    for key, value in one.items():
        assert other[key] == pytest.approx(value, rel=near, abs=near), key


# ------------------------------------------------------------------ tables made up at random


def tone(seed: int, scale: float = 1.0, time_unit: str = "s", volt_unit: str = "V") -> Table:
    """Two channels of a sine of some 1 kHz with three harmonics and noise, 2000 samples at 48 kHz.

    Noise, so that no figure rests on the rounding of the arithmetic.
    """
    rng = np.random.default_rng(seed)
    time = np.arange(2000) / 48_000
    frequency_hz = rng.uniform(900, 1100)
    amplitudes = [rng.uniform(1, 10), *(10 ** rng.uniform(-4, -2, size=3))]
    waves = {}
    for name in ("Left", "Right"):
        phases = rng.uniform(0, 6, size=4)
        wave = sum(a * np.sin(2 * np.pi * frequency_hz * (n + 1) * time + phases[n]) for n, a in enumerate(amplitudes))
        wave = wave + 1e-5 * rng.normal(size=len(time))
        waves[name] = wave * rng.uniform(0.9, 1.1) * scale
    return {
        f"Time ({time_unit})": time * {"s": 1, "ms": 1e3}[time_unit],
        **{f"{name} ({volt_unit})": wave * {"V": 1, "mV": 1e3}[volt_unit] for name, wave in waves.items()},
    }


def response(seed: int, frequency: str = "Hz", level: str = "dBV") -> Table:
    """Two channels of a band-pass of random corners, 10 Hz to 40 kHz."""
    rng = np.random.default_rng(seed)
    table = {f"Frequency ({frequency})": SWEEP_HZ / {"Hz": 1, "kHz": 1e3}[frequency]}
    for name in ("Left", "Right"):
        low, high, gain = rng.uniform(12, 40), rng.uniform(15_000, 35_000), rng.uniform(-3, 9)
        decibels = gain - 10 * np.log10(1 + (low / SWEEP_HZ) ** 2) - 10 * np.log10(1 + (SWEEP_HZ / high) ** 2)
        shown = {"dBV": decibels, "dBu": decibels + DBU_OVER_DBV, "V": 10 ** (decibels / 20)}
        shown["mV"] = 1e3 * shown["V"]
        table[f"{name} ({level})"] = shown[level]
    return table


def distortion(seed: int, unit: str = "%") -> Table:
    """Two channels of a distortion that rises with frequency, 10 Hz to 20 kHz."""
    rng = np.random.default_rng(seed)
    hertz = SWEEP_HZ[SWEEP_HZ <= 20_000]
    table = {"Frequency (Hz)": hertz}
    for name in ("L", "R"):
        percent = 10 ** rng.uniform(-3, -1) * (1 + (hertz / rng.uniform(2000, 9000)) ** 2)
        shown = {"%": percent, "dB": 20 * np.log10(percent / 100), "ratio": percent / 100, "ppm": percent * 1e4}
        table[f"THD {name} ({unit})"] = shown[unit]
    return table


def crosstalk(seed: int) -> Table:
    """Both directions of a crosstalk that rises with frequency."""
    rng = np.random.default_rng(seed)
    rise = 10 * np.log10(1 + (SWEEP_HZ / 3000) ** 2)
    return {
        "Frequency (Hz)": SWEEP_HZ,
        "L to R (dB)": rng.uniform(-80, -50) + rise,
        "R to L (dB)": rng.uniform(-80, -50) + rise,
    }


MADE = {"response": response, "distortion-frequency": distortion, "crosstalk": crosstalk}
SEEDS = st.integers(0, 10_000)


# ------------------------------------------------------------------ the relations


@FEW
@given(SEEDS, st.floats(0.01, 100))
def test_a_larger_capture_has_more_volts_and_the_same_ratios(seed, scale):
    one, other = figures(found("tone", tone(seed))), figures(found("tone", tone(seed, scale)))
    powers = {"level": 1, "power": 2, "dc_offset": 1}
    expected = {key: value * scale ** powers.get(key[0], 0) for key, value in one.items()}
    assert {"level", "power", "thd"} <= {key[0] for key in one}
    assert_same(expected, other, near=1e-6)


@FEW
@given(SEEDS, st.sampled_from(sorted(MADE)))
def test_channels_changed_over_change_the_findings_over(seed, kind):
    table = MADE[kind](seed)
    scale, left, right = table
    over = {scale: table[scale], left: table[right], right: table[left]}
    one, other = figures(found(kind, table)), figures(found(kind, over), swap=True)
    balance = ("channel_balance", "channel_balance_worst")  # left over right
    assert_same(one, {key: -value if key[0] in balance else value for key, value in other.items()})


@FEW
@given(SEEDS, st.sampled_from(sorted(MADE)), st.integers(1, 9))
def test_a_falling_sweep_and_comments_change_nothing(seed, kind, comments):
    table = MADE[kind](seed)
    falling = {name: values[::-1] for name, values in table.items()}
    plain = figures(found(kind, table))
    assert plain == figures(found(kind, falling))
    assert plain == figures(found(kind, table, comments=comments))
    assert plain == figures(found(kind, falling, comments=comments))


@FEW
@given(SEEDS)
def test_comments_change_nothing_in_a_tone(seed):
    assert figures(found("tone", tone(seed))) == figures(found("tone", tone(seed), comments=50))


@FEW
@given(SEEDS, st.sampled_from(["ms", "s"]), st.sampled_from(["mV", "V"]))
def test_the_unit_of_a_tone_changes_nothing(seed, time_unit, volt_unit):
    one = figures(found("tone", tone(seed)))
    assert_same(one, figures(found("tone", tone(seed, 1.0, time_unit, volt_unit))), near=1e-6)


@FEW
@given(SEEDS, st.sampled_from(["Hz", "kHz"]), st.sampled_from(["dBu", "V", "mV"]))
def test_the_unit_of_a_response_changes_nothing(seed, frequency, level):
    one = figures(found("response", response(seed)))
    assert_same(one, figures(found("response", response(seed, frequency, level))))


@FEW
@given(SEEDS, st.sampled_from(["dB", "ratio", "ppm"]))
def test_the_unit_of_a_distortion_changes_nothing(seed, unit):
    one = figures(found("distortion-frequency", distortion(seed)))
    assert_same(one, figures(found("distortion-frequency", distortion(seed, unit))))
