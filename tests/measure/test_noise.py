"""Idle noise in volts, as a ratio to a power, and the hum in it, against noise of known power."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from pathlib import Path

import known_waveforms
import measured_sheets
import numpy as np
import pytest
from known_noise import a_weighted, a_weighted_rms, exported, thermal_density, white
from measured_sheets import (
    CAPTURED,
    all_of,
    capture_of,
    card_of,
    column,
    conditions,
    measured,
    one,
    panel_of,
    quantities,
    run_from,
    sheet,
)
from rated_and_found import found, runs_of
from scipy import signal

from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.gear import gear_of
from reviewkit.model.level import Level
from reviewkit.model.session import Bench, Rating, Session, Unit
from reviewkit.signal import noise_lines
from reviewkit.signal.weighting import weighting_468
from reviewkit.verdict.input_reference import add_output_ratios

RATE_HZ = 48_000.0
BAND_HZ = (20.0, 20_000.0)
WIDTH_HZ = 19_980.0
DENSITY = 1e-14  # 100 nV/√Hz: 14.1 µV over the band
RATED_40_W = Rating("power", "W", at_least=40.0, load_ohm=8.0)


def db(one_v, other_v):
    return 20 * math.log10(one_v / other_v)


captured = partial(measured_sheets.captured, rate_hz=RATE_HZ)


def lines(frequency, level, unit="V", channel=""):
    return sheet(column("frequency", frequency), column("level", level, channel, unit))


def sine(count, frequency_hz, level_v, rate_hz=RATE_HZ):
    return level_v * math.sqrt(2) * np.sin(2 * np.pi * frequency_hz / rate_hz * np.arange(count) + 1.0)


@pytest.fixture(scope="module")
def hiss():
    """Twelve seconds, whose scatter is 0.01 dB."""
    return white(np.random.default_rng(11), 12 * 48_000, RATE_HZ, DENSITY)


# ------------------------------------------------------------------ volts


@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0, 96_000.0])
def test_a_resistors_thermal_noise(rate_hz, accuracy):
    """√(4kTRB): 1 kΩ at 300 K gives 0.5756351 µV over 20 kHz (Nyquist); here over the 19,980 Hz of the band."""
    density = thermal_density(1000.0, 300.0)
    assert math.sqrt(density * 20_000) == pytest.approx(0.5756351e-6, rel=1e-6)
    hissing = white(np.random.default_rng(3), round(10 * rate_hz), rate_hz, density)
    flat = all_of(measured("noise", captured(hissing, rate_hz=rate_hz)), "noise")[0]
    assert "weighting" not in flat.at
    assert flat.at["band"] == [20.0, 20_000.0]
    accuracy("noise in volts", db(flat.value, math.sqrt(density * WIDTH_HZ)))


@pytest.mark.parametrize(("weighting", "more_db"), [("C", -3.4505), ("468", 7.3014)])
def test_a_rated_weighting_is_read_too(hiss, weighting, more_db, accuracy):
    """White noise from 20 Hz to 20 kHz through the C weighting, and through that of ITU-R BS.468-4 as r.m.s."""
    rating = Rating("snr", "dB", at_least=50.0, weighting=weighting, reference="1 W", reference_w=1.0)
    found = measured("noise", captured(hiss), ratings=[rating])
    flat, weighted = (
        next(f for f in all_of(found, "noise") if f.at.get("weighting") == wanted) for wanted in (None, weighting)
    )
    accuracy("noise in volts", db(weighted.value, flat.value) - more_db)
    ratio = one(found, "snr", weighting=weighting, reference=1.0)
    assert ratio.value == pytest.approx(db(math.sqrt(8.0), weighted.value), abs=1e-6)
    unasked = measured("noise", captured(hiss))
    assert not all_of(unasked, "noise", weighting=weighting)


ARM = Rating("snr", "dB", at_least=50.0, weighting="CCIR/ARM", reference="1 W", reference_w=1.0)


def test_ccir_arm_is_read_by_the_average(accuracy):
    """White noise through the 468 curve with its 0 dB near 2 kHz is +1.6722 dB r.m.s.; a meter that responds to the
    average and shows a sine's r.m.s. value reads noise 20 lg(2/√π) = 1.0491 dB lower.
    """
    hissing = white(np.random.default_rng(12), 20 * 48_000, RATE_HZ, DENSITY)
    found = measured("noise", captured(hissing + 3e-3), ratings=[ARM])
    read = one(found, "noise", weighting="CCIR/ARM")
    accuracy("CCIR/ARM", db(read.value, math.sqrt(DENSITY * WIDTH_HZ)) - 0.6231)
    assert one(found, "snr", weighting="CCIR/ARM", reference=1.0).value == pytest.approx(
        db(math.sqrt(8.0), read.value), abs=1e-6
    )
    assert not all_of(measured("noise", captured(hissing)), "noise", weighting="CCIR/ARM")


@pytest.mark.parametrize(("frequency_hz", "more_db"), [(1000.0, -5.63), (2000.0, -0.0008), (6300.0, 6.5867)])
def test_ccir_arm_of_a_sine_is_its_rms_value(frequency_hz, more_db, accuracy):
    """0, 5.6292 and 12.2167 dB less 5.63, by the network's closed form."""
    values = sine(10 * 48_000, frequency_hz, 1e-3)
    read = noise_lines.average_volts(values, RATE_HZ, BAND_HZ, lambda hz: weighting_468(hz, arm=True))
    accuracy("CCIR/ARM", db(read, 1e-3) - more_db)


def test_a_spectrum_has_no_average():
    frequency, level = exported(DENSITY, 3.0, 24_000.0, "hann")
    found = measured("noise", lines(frequency, level), window="hann", ratings=[ARM])
    assert not all_of(found, "noise", weighting="CCIR/ARM")
    assert any("capture one" in reason for reason in found.withheld)


@pytest.mark.parametrize("window", ["hann", "blackman", "blackmanharris", "flattop", "boxcar"])
def test_white_noise_on_lines(window, accuracy):
    """Every window's lines read higher by its noise bandwidth. The band's edges cut lines: 20 Hz and 20 kHz are none of
    them at 2.93 Hz apart.
    """
    names = {"blackmanharris": "blackman-harris", "flattop": "flat top", "boxcar": "rectangular"}
    frequency, level = exported(DENSITY, 48_000 / 16_384, 24_000.0, window)
    found = measured("noise", lines(frequency, level), window=names.get(window, window))
    flat, weighted = all_of(found, "noise")
    assert flat.at["window"] == names.get(window, window)
    accuracy("noise in volts", db(flat.value, math.sqrt(DENSITY * WIDTH_HZ)))
    accuracy("noise in volts", db(weighted.value, a_weighted_rms(DENSITY, BAND_HZ)))


def test_white_noise_a_weighted(hiss, accuracy):
    """−2.048 dB re the same unweighted (by quadrature of IEC 61672-1's formula)."""
    flat, weighted = all_of(measured("noise", captured(hiss)), "noise")
    assert weighted.at["weighting"] == "A"
    accuracy("noise in volts", db(flat.value, math.sqrt(DENSITY * WIDTH_HZ)))
    accuracy("noise in volts", db(weighted.value, a_weighted_rms(DENSITY, BAND_HZ)))
    assert db(a_weighted_rms(DENSITY, BAND_HZ), math.sqrt(DENSITY * WIDTH_HZ)) == pytest.approx(-2.048, abs=5e-4)


@pytest.mark.parametrize("band_hz", [(20.0, 20_000.0), (1000.0, 2000.0), (300.5, 3400.5), (20.0, 200.0)])
def test_a_bands_edges_are_exact(band_hz):
    """White noise on lines 7.3 Hz apart: the power is the density times the width, wherever the edges fall."""
    frequency, level = exported(DENSITY, 7.3, 24_000.0, "hann")
    noise = noise_lines.of_spectrum(frequency, level, "hann")
    volts = noise_lines.band_volts(noise, band_hz)
    assert volts == pytest.approx(math.sqrt(DENSITY * (band_hz[1] - band_hz[0])), rel=1e-9)


def test_dc_and_drift_do_not_count(hiss, accuracy):
    turned = np.linspace(-1, 1, len(hiss))
    drifting = hiss + 0.05 + 0.02 * turned + 0.01 * turned**2 + 0.003 * np.sin(3 * turned)
    plain, carried = (all_of(measured("noise", captured(v)), "noise")[0].value for v in (hiss, drifting))
    accuracy("noise in volts", db(carried, plain))


@pytest.mark.parametrize("frequency_hz", [20.0, 31.7, 50.0, 999.7, 12_345.6, 20_000.0])
def test_a_line_counts_whole(hiss, frequency_hz, accuracy):
    """Also one on the band's very edge, half of whose lobe lies outside; and it is weighted where it stands."""
    level = 20e-6
    found = measured("noise", captured(hiss + sine(len(hiss), frequency_hz, level)))
    flat, weighted = all_of(found, "noise")
    accuracy("noise in volts", db(flat.value, math.hypot(math.sqrt(DENSITY * WIDTH_HZ), level)))
    through = float(a_weighted(frequency_hz)[0]) * level
    accuracy("noise in volts", db(weighted.value, math.hypot(a_weighted_rms(DENSITY, BAND_HZ), through)))


@pytest.mark.parametrize("frequency_hz", [18.0, 20_010.0])
def test_a_line_beyond_the_edge_does_not_count(hiss, frequency_hz, accuracy):
    found = measured("noise", captured(hiss + sine(len(hiss), frequency_hz, 1e-3)))
    accuracy("noise in volts", db(all_of(found, "noise")[0].value, math.sqrt(DENSITY * WIDTH_HZ)))


@pytest.mark.parametrize("frequency_hz", [60.0, 20_001.0])
def test_a_line_in_a_spectrum(frequency_hz, accuracy):
    frequency, level = exported(DENSITY, 3.0, 24_000.0, "hann", {frequency_hz: 50e-6})
    found = measured("noise", lines(frequency, level), window="Hanning")
    inside = 50e-6 if frequency_hz < 20_000 else 0.0
    expected = math.hypot(math.sqrt(DENSITY * WIDTH_HZ), inside)
    accuracy("noise in volts", db(all_of(found, "noise")[0].value, expected))


@pytest.mark.parametrize("unit", ["dBV", "dBu", "dBFS"])
def test_levels_in_decibels(unit):
    frequency, level = exported(DENSITY, 3.0, 24_000.0, "hann")
    one_v = {"dBV": 1.0, "dBu": math.sqrt(0.6), "dBFS": 2.0 / math.sqrt(2)}[unit]
    found = measured("noise", lines(frequency, 20 * np.log10(level / one_v), unit), window="hann", full_scale_v=2.0)
    assert all_of(found, "noise")[0].value == pytest.approx(math.sqrt(DENSITY * WIDTH_HZ), rel=1e-6)


def test_swapping_the_channels_swaps_the_findings(hiss):
    found = measured("noise", captured(hiss, 3 * hiss))
    turned = measured("noise", captured(3 * hiss, hiss))
    for quantity in ("noise", "snr"):
        for left, right in zip(all_of(found, quantity, "L"), all_of(turned, quantity, "R"), strict=True):
            assert (left.value, left.at) == (right.value, right.at)
    assert all_of(found, "noise", "R")[0].value == pytest.approx(3 * all_of(found, "noise", "L")[0].value)


# ------------------------------------------------------------------ what it lies under


def test_a_millivolt_under_100_watts():
    """1.000 mV into 8 Ω: 89.0309 dB re 100 W, 69.0309 dB re 1 W, and 50 mW lies 13.0103 dB lower still (arithmetic)."""
    frequency, level = exported(1e-6 / WIDTH_HZ, 3.0, 24_000.0, "hann")
    ratings = [
        Rating("power", "W", at_least=100.0, load_ohm=8.0),
        Rating("snr", "dB", at_least=50.0, weighting="A", reference="50 mW", reference_w=0.05),
    ]
    found = measured("noise", lines(frequency, level), window="hann", ratings=ratings)
    assert all_of(found, "noise")[0].value == pytest.approx(1e-3, rel=1e-9)
    unweighted = {f.at["reference"]: f.value for f in all_of(found, "snr") if "weighting" not in f.at}
    assert unweighted == pytest.approx({100.0: 89.0309, 1.0: 69.0309, 0.05: 56.0206}, abs=5e-5)
    weighted = {f.at["reference"]: f.value for f in all_of(found, "snr", weighting="A")}
    assert weighted == pytest.approx({power: value + 2.048 for power, value in unweighted.items()}, abs=1e-3)
    assert found.withheld == ()


def test_no_load_no_ratio(hiss):
    for load_ohm in (None, math.inf):
        found = measured("noise", captured(hiss), load_ohm=load_ohm, ratings=[RATED_40_W])
        assert quantities(found) == {"noise"}
        assert found.withheld == (
            "m: no signal to noise ratio: it is relative to a power, and no load is stated; "
            'add for example load = "8 ohm"',
        )


def test_a_millivolt_under_two_volts_of_a_line_output():
    """1.000 mV: 66.0206 dB below 2 V, whatever the load (arithmetic); its card names the volts."""
    frequency, level = exported(1e-6 / WIDTH_HZ, 3.0, 24_000.0, "hann")
    two_volts = Rating("snr", "dB", at_least=60.0, reference="2 V output", reference_level=Level(2.0, "V"))
    of_player = replace(
        conditions("noise", load_ohm=None, window="hann", ratings=[two_volts]), gear=gear_of(["player"])
    )
    run = run_from(lines(frequency, level), of_player)
    assert run.withheld == ()
    unweighted = [f for f in run.findings if f.quantity == "snr" and "weighting" not in f.at]
    assert [f.value for f in unweighted] == pytest.approx([66.0206], abs=5e-5)
    assert {str(f.at["reference_level"]) for f in run.findings if f.quantity == "snr"} == {"[2.0, 'V', '']"}
    made = KINDS["noise"].card([run], [])
    assert made.hero is not None
    assert "below 2 V" in made.hero.caption
    line = panel_of(made).traces[-1]  # 20 lg 2 = 6.0206 dBV
    assert (line.label, line.role, *line.y) == ("2 V", "bench", *[pytest.approx(6.0206, abs=1e-4)] * 2)
    assert panel_of(made).y.high >= 6.03
    (point, *_) = KINDS["noise"].points(run, None)
    assert point.name == "ratio"


FULL_SCALE, FLUX = Level(0.0, "dBFS"), Level(250.0, "nWb/m")


@pytest.mark.parametrize(
    ("type_", "rating", "level", "label"),
    [
        ("player", Rating("snr", "dB", at_least=96.0), {"dbfs": 0.0}, "0 dBFS"),
        (
            "player",
            Rating("snr", "dB", at_least=96.0, reference="0 dBFS", reference_level=FULL_SCALE),
            {"dbfs": 0.0},
            "0 dBFS",
        ),
        (
            "deck",
            Rating("snr", "dB", at_least=50.0, reference="250 nWb/m", reference_level=FLUX),
            {"flux": 250.0},
            "250 nWb/m",
        ),
    ],
)
def test_a_millivolt_under_what_another_file_has_at_full_scale_or_from_a_tape(type_, rating, level, label):
    """1.000 mV below 2.000 V: 66.0206 dB; its card names the signal, and draws it where its volts are."""
    frequency, noise = exported(1e-6 / WIDTH_HZ, 3.0, 24_000.0, "hann")
    told = conditions("noise", load_ohm=None, window="hann", ratings=[rating])
    run = run_from(lines(frequency, noise), replace(told, gear=gear_of([type_])))
    assert run.withheld == ()
    output = found("level", 2.0, "", frequency=1000.0, **level)
    made = Session(Path("session"), Unit("Norrvale", "Forty", type=(type_,)), Bench(), ratings=(rating,))
    with_ratios, _ = add_output_ratios([run, *runs_of(output)], made)
    unweighted = [f for f in with_ratios.findings if f.quantity == "snr" and "weighting" not in f.at]
    assert [f.value for f in unweighted] == pytest.approx([66.0206], abs=5e-5)
    line = panel_of(KINDS["noise"].card([with_ratios], [])).traces[-1]
    assert (line.label, line.role, *line.y) == (label, "bench", *[pytest.approx(6.0206, abs=1e-4)] * 2)
    (point, *_) = KINDS["noise"].points(with_ratios, None)
    assert (point.name, point.facts["worse"].value) == ("ratio", pytest.approx(66.0206, abs=5e-5))
    # what it gave before a repair is another output
    assert add_output_ratios([run, *runs_of(replace(output, stage="before"))], made)[0] == run


@pytest.mark.parametrize(("type_", "ratio"), [("preamplifier", 53.9794), ("amplifier", None)])
def test_a_line_output_s_noise_is_below_what_its_input_names(type_, ratio):
    """5 mV through 40 dB are 0.5 V, 53.9794 dB above 1 mV; an amplifier's own ratios are those to its power."""
    frequency, noise = exported(1e-6 / WIDTH_HZ, 3.0, 24_000.0, "hann")
    rating = Rating("snr", "dB", at_least=50.0, input="phono", reference="5 mV", reference_v=0.005)
    told = conditions("noise", load_ohm=None, window="hann", input="phono", ratings=[rating])
    run = run_from(lines(frequency, noise), replace(told, gear=gear_of([type_])))
    assert run.withheld == ()
    gain = found("gain", 40.0, "", frequency=1000.0, input="phono")
    made = Session(Path("session"), Unit("Norrvale", "Forty", type=(type_,)), Bench(), ratings=(rating,))
    with_ratios, _ = add_output_ratios([run, *runs_of(gain)], made)
    unweighted = [f.value for f in with_ratios.findings if f.quantity == "snr" and "weighting" not in f.at]
    assert unweighted == ([] if ratio is None else [pytest.approx(ratio, abs=5e-5)])
    line = panel_of(KINDS["noise"].card([with_ratios], [])).traces[-1]
    assert line.label == ("5 mV at the input" if ratio else "")


def test_the_ratio_that_is_said_is_weighted_as_the_rated_one(hiss):
    rated = {w: Rating("snr", "dB", at_least=60.0, weighting=w, reference="40 W", reference_w=40.0) for w in ("", "A")}
    phono = replace(rated["A"], input="phono")
    for ratings, weighting in (
        ([rated[""]], None),
        ([rated["A"]], "A"),
        ([*rated.values()], "A"),
        ([], "A"),
        ([rated[""], phono], None),
    ):
        run = run_of(captured(hiss, hiss), ratings=[RATED_40_W, *ratings])
        (point,) = KINDS["noise"].points(run, None)
        assert point.facts["worse"].at.get("weighting") == weighting
        hero = KINDS["noise"].card([run], []).hero
        assert hero is not None
        assert hero.findings[0].at.get("weighting") == weighting


def test_a_line_output_is_not_asked_for_a_load(hiss):
    of_tuner = replace(conditions("noise", load_ohm=None), gear=gear_of(["tuner"]))
    (reason,) = run_from(captured(hiss), of_tuner).withheld
    assert 're "2 V output"' in reason
    assert "load" not in reason


def test_nothing_rated_into_this_load(hiss):
    found = measured("noise", captured(hiss), ratings=[Rating("power", "W", at_least=60.0, load_ohm=4.0)])
    assert {f.at["reference"] for f in all_of(found, "snr")} == {1.0}
    assert found.withheld == ("m: no signal to noise ratio relative to the rated power: none is rated into 8 Ω",)


def test_nothing_is_driven(hiss):
    found = measured("noise", captured(hiss), channels="both", drive=Level(5.0, "W"))
    assert not [f for f in found.findings if {"channels", "power", "voltage"} & set(f.at)]


def test_already_weighted_is_not_weighted_twice():
    """A spectrum taken behind an A filter: only that figure, and no hum, whose weight is not known."""
    frequency, level = exported(DENSITY, 3.0, 24_000.0, "hann", {60.0: 1e-3})
    weighted = level * a_weighted(frequency)
    found = measured("noise", lines(frequency, weighted), window="hann", weighting="A", mains_hz=60.0)
    assert quantities(found) == {"noise", "snr"}
    assert {f.at["weighting"] for f in found.findings} == {"A"}
    expected = math.hypot(a_weighted_rms(DENSITY, BAND_HZ), float(a_weighted(60.0)[0]) * 1e-3)
    assert one(found, "noise", weighting="A").value == pytest.approx(expected, rel=2e-3)


# ------------------------------------------------------------------ uncertainty


def test_the_scatter_is_that_of_the_record():
    """Two hundred records of half a second: their figures scatter as 1 / (2 √(BT)) says (GUM, Type A)."""
    rng = np.random.default_rng(7)
    found, said = [], []
    for _ in range(200):
        noise = noise_lines.of_waveform(white(rng, 12_000, 24_000.0, DENSITY), 24_000.0)
        found.append(noise_lines.band_volts(noise, (100.0, 4000.0)))
        said.append(noise_lines.scatter(noise, (100.0, 4000.0)))
    scattered = float(np.std(found) / np.mean(found))
    assert float(np.mean(said)) == pytest.approx(scattered, rel=0.25)
    assert noise_lines.scatter(noise, (100.0, 4000.0)) == pytest.approx(
        1 / (2 * math.sqrt(3900 * noise.seconds)), rel=0.25
    )
    assert 0.1 < noise.seconds < 0.5


def test_the_benchs_uncertainty_and_the_records(hiss):
    """0.1 dB and a short record's scatter add in squares; without the bench's there is none."""
    short = captured(hiss[:12_000])
    f = all_of(measured("noise", short, bench=Bench(level_uncertainty_db=0.1)), "noise")[0]
    ratio = all_of(measured("noise", short, bench=Bench(level_uncertainty_db=0.1)), "snr")[0]
    assert ratio.uncertainty > 0.15
    assert f.uncertainty == pytest.approx(f.value * ratio.uncertainty * math.log(10) / 20)
    long = all_of(measured("noise", captured(hiss), bench=Bench(level_uncertainty_db=0.1)), "snr")[0]
    assert 0.1 < long.uncertainty < 0.105
    assert all(f.uncertainty is None for f in measured("noise", short).findings)


# ------------------------------------------------------------------ hum


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_is_the_mains_and_its_multiples(hiss, mains_hz, accuracy):
    """To the twentieth and no further; lines that are none of them do not count."""
    levels = {1: 30e-6, 2: 60e-6, 6: 20e-6, 20: 10e-6, 21: 40e-6}
    total = hiss + sum(sine(len(hiss), mains_hz * 1.0005 * n, v) for n, v in levels.items())
    total = total + sine(len(hiss), 1.5 * mains_hz, 50e-6)
    found = one(measured("noise", captured(total), mains_hz=mains_hz), "hum_voltage")
    assert found.at["mains"] == mains_hz
    accuracy("noise in volts", db(found.value, math.sqrt(sum(v**2 for n, v in levels.items() if n <= 20))))


def test_no_hum_where_none_stands_out(hiss):
    assert "hum_voltage" not in quantities(measured("noise", captured(hiss), mains_hz=60.0))
    humming = hiss + sine(len(hiss), 60.0, 1e-4)
    assert "hum_voltage" not in quantities(measured("noise", captured(humming)))


# ------------------------------------------------------------------ not idle


@pytest.mark.parametrize("mains_hz", [50.0, 60.0, None])
def test_a_tone_is_not_idle(hiss, mains_hz):
    """1 kHz is the twentieth multiple of 50 Hz and a test tone all the same; its distortion does not hide it."""
    playing = hiss + sine(len(hiss), 1000.0, 0.1) + sine(len(hiss), 2000.0, 0.004)
    with pytest.raises(InputError, match=r"measurements/m.csv: a tone of 1 kHz is in it: capture the idle output"):
        measured("noise", captured(playing), mains_hz=mains_hz)


@pytest.mark.parametrize("window", ["hann", "boxcar"])
def test_a_tone_in_a_spectrum(window):
    """The window's own leakage is not taken for noise: 50 dB over the noise is a tone with either window."""
    count, spacing = 16_384, 48_000 / 16_384
    samples = signal.get_window(window, count)
    wave = white(np.random.default_rng(5), count, RATE_HZ, DENSITY) + sine(count, 997.3, 0.005)
    level = np.abs(np.fft.rfft(wave * samples)) * math.sqrt(2) / np.sum(samples)
    data = lines(np.arange(1, len(level)) * spacing, level[1:])
    with pytest.raises(InputError, match="a tone of 997 Hz is in it"):
        measured("noise", data, window={"boxcar": "rectangular"}.get(window, window))


@pytest.mark.parametrize(("frequency_hz", "level_v"), [(100.0, 0.05), (50.0, 0.5), (15_625.0, 1e-3)])
def test_hum_and_a_whine_are_idle(hiss, frequency_hz, level_v):
    """Ripple may stand as far above the hiss as it likes; a whine up to 40 dB above it is a fault to be measured."""
    found = measured("noise", captured(hiss + sine(len(hiss), frequency_hz, level_v)), mains_hz=50.0)
    assert all_of(found, "noise")[0].value == pytest.approx(level_v, rel=0.01)


# ------------------------------------------------------------------ what cannot be had


def test_the_band_goes_as_far_as_the_record(hiss):
    found = measured("noise", captured(hiss[: round(0.2 * RATE_HZ)]))
    assert all_of(found, "noise")[0].at["band"] == [pytest.approx(22.5), 20_000.0]
    assert "m: noise below 22.5 Hz is not counted: the record is too short for that; capture a few seconds" in (
        found.withheld
    )
    with pytest.raises(InputError, match="a record of 150 ms is too short for hum; capture a few seconds"):
        measured("noise", captured(hiss[: round(0.15 * RATE_HZ)]))


def test_the_band_goes_as_far_as_the_data():
    low = white(np.random.default_rng(5), 64_000, 32_000.0, DENSITY)
    found = measured("noise", captured(low, rate_hz=32_000.0))
    assert all_of(found, "noise")[0].at["band"] == [20.0, pytest.approx(16_000.0)]
    assert all_of(found, "noise")[0].value == pytest.approx(math.sqrt(DENSITY * 15_980), rel=0.02)
    assert "m: noise above 16 kHz is not counted: the data ends there" in found.withheld


def test_a_spectrum_that_begins_late_or_is_coarse():
    frequency, level = exported(DENSITY, 2.0, 24_000.0, "hann")
    late = measured("noise", lines(frequency[50:], level[50:]), window="hann")
    assert all_of(late, "noise")[0].at["band"] == [99.0, 20_000.0]
    assert "m: noise below 99 Hz is not counted: the spectrum begins there" in late.withheld
    frequency, level = exported(DENSITY, 46.875, 24_000.0, "hann")
    coarse = measured("noise", lines(frequency[1:], level[1:]), window="hann")
    assert all_of(coarse, "noise")[0].at["band"][0] == pytest.approx(1.5 * 46.875)
    assert "m: noise below 70.3 Hz is not counted: the spectrum's lines are too far apart; export more lines" in (
        coarse.withheld
    )


def test_a_spectrum_without_its_window():
    frequency, level = exported(DENSITY, 3.0, 24_000.0, "hann")
    found = measured("noise", lines(frequency, level))
    assert found.findings == ()
    assert found.withheld == (
        "m: no noise and no signal to noise ratio: the window is not known, so the lines' noise bandwidth is not; "
        'write for example window = "hann" in this [[measurement]]',
    )
    with pytest.raises(InputError, match=r'session.toml:9: .*window = "kaisar" is not known; known: rectangular, hann'):
        measured("noise", lines(frequency, level), window="kaisar", line=9)


def test_uneven_lines_and_few_lines():
    found = measured("noise", lines(np.geomspace(20, 20_000, 200), np.full(200, 1e-6)), window="hann")
    assert found.findings == ()
    assert "not evenly spaced" in found.withheld[0]
    with pytest.raises(InputError, match="31 lines are too few for a spectrum of noise"):
        measured("noise", lines(np.linspace(20, 20_000, 31), np.full(31, 1e-6)), window="hann")


def test_relative_levels(hiss):
    found = measured("noise", captured(hiss, unit="ratio"), ratings=[RATED_40_W])
    assert found.findings == ()
    assert found.withheld == (
        "m: no noise in volts and no signal to noise ratio, the file's levels are relative; add for example "
        'full_scale = "10 V"',
    )
    frequency, level = exported(DENSITY, 3.0, 24_000.0, "hann")
    spectrum = measured("noise", lines(frequency, 20 * np.log10(level), "dBr"), window="hann")
    assert spectrum.findings == ()
    assert spectrum.withheld[0].endswith("the file's levels are relative; export volts")


def test_a_silent_channel_is_refused(hiss):
    with pytest.raises(InputError, match="channel R is silent, without even noise"):
        measured("noise", captured(hiss, np.zeros(len(hiss))))


# ------------------------------------------------------------------ card and sentences


def run_of(data, **told):
    return run_from(data, conditions("noise", **told))


def test_third_octaves_do_not_hang_on_the_record():
    """White noise in a third of an octave about 1 kHz is density times width, whatever the lines' spacing."""
    edges = 1000 * 10**-0.05, 1000 * 10**0.05
    expected = 10 * math.log10(DENSITY * (edges[1] - edges[0]))
    for spacing in (1.0, 3.0, 5.0):
        frequency, level = exported(DENSITY, spacing, 24_000.0, "hann")
        data = lines(frequency, level, channel="L")
        (panel,) = KINDS["noise"].card([run_of(data, window="hann")], ()).body.panels
        (trace,) = panel.traces
        middle = int(np.searchsorted(trace.x, 1000.0))
        assert trace.x[middle - 1 : middle + 1] == pytest.approx(edges)
        assert trace.y[middle] == pytest.approx(expected, abs=1e-6)


def test_the_card_shows_the_worse_channel(hiss):
    told = {"ratings": [RATED_40_W], "mains_hz": 60.0}
    card = KINDS["noise"].card([run_of(captured(hiss, 2 * hiss), **told)], ())
    assert card.hero.caption == "right, A-weighted, below 40 W"
    worse = db(math.sqrt(320), 2 * a_weighted_rms(DENSITY, BAND_HZ))
    assert (card.hero.figure, card.hero.channel) == (f"{worse:.1f} dB", "R")
    assert "third-octave bands" in card.conditions
    assert not any("driven" in text for text in (*card.conditions, *card.asides))


def test_a_figure_of_one_channel_alone_is_for_the_page(hiss):
    """Hum on the right alone."""
    data = captured(hiss, hiss + sine(len(hiss), 60.0, 1e-4))
    card = KINDS["noise"].card([run_of(data, mains_hz=60.0, ratings=[RATED_40_W])], ())
    assert [reading for reading in card.readings if reading[0].startswith("hum")] == [("hum, right", "100 µV")]


def test_a_card_without_figures_still_shows_the_lines():
    frequency, level = exported(DENSITY, 3.0, 24_000.0, "hann")
    card = KINDS["noise"].card([run_of(lines(frequency, level))], ())
    assert "lines as exported" in card.conditions
    assert card.body.panels[0].traces[0].y[0] == pytest.approx(20 * math.log10(level[0]))
    assert card.hero is None
    assert card.readings == ()


def test_what_is_worth_saying(hiss):
    humming = hiss + sine(len(hiss), 60.0, 1e-4)
    told = {"ratings": [RATED_40_W], "mains_hz": 60.0}
    before, after = run_of(captured(hiss, humming), **told), run_of(captured(hiss, hiss), **told)
    facts = {point.name: point.facts for point in KINDS["noise"].points(after, before)}
    assert set(facts) == {"ratio"}
    assert (facts["ratio"]["worse"].at["reference"], facts["ratio"]["worse"].at["weighting"]) == (40.0, "A")
    assert facts["ratio"]["before"].channel == "R"
    hum = {point.name: point.facts for point in KINDS["noise"].points(before, None)}["hum"]
    assert (hum["finding"].channel, hum["share"] > 0.9) == ("R", True)
    assert hum["mostly_hz"] == 60.0


def test_most_of_the_noise_is_one_line_only_if_that_line_is_more_than_half_of_it(hiss):
    """Of two lines of 70 µV each, both together are nearly all the noise, and neither is more than half of it."""
    two = hiss / 10 + sine(len(hiss), 60.0, 7e-5) + sine(len(hiss), 120.0, 7e-5)
    one_line = hiss / 10 + sine(len(hiss), 120.0, 1e-4)
    told = {"ratings": [RATED_40_W], "mains_hz": 60.0}
    facts = [KINDS["noise"].points(run_of(captured(each), **told), None)[-1].facts for each in (two, one_line)]
    assert [round(each["share"], 1) for each in facts] == [1.0, 1.0]
    assert [each["mostly_hz"] for each in facts] == [None, 120.0]


def test_the_card_holds_what_the_file_says():
    hiss = known_waveforms.noise(np.random.default_rng(7), CAPTURED, 96_000, (20.0, 20_000.0), 1e-4)
    card = card_of("noise", capture_of(hiss))
    (panel,) = card.body.panels
    assert (panel.x.unit, panel.y.unit) == ("Hz", "dBV")
    # white over 20 kHz: the third octave about 1 kHz holds 231.6 Hz of it (IEC 61260-1's band edges, from memory)
    at = np.searchsorted(panel.traces[0].x, 1000.0)
    assert panel.traces[0].y[at] == pytest.approx(20 * math.log10(1e-4 * math.sqrt(231.6 / 19_980)), abs=1.5)
