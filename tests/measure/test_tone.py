"""The `tone` kind from a sheet: the same closed forms as the spectrum's own tests, with the conditions that travel."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import known_spectra
import known_waveforms as known
import numpy as np
import pytest
from accuracy import grid
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

from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.finding_conditions import conditions_of
from reviewkit.model.level import Level
from reviewkit.model.session import Bench

RATE_HZ = 48_000
WAVES = {
    "square": known.square,
    "triangle": known.triangle,
    "clipped at 0.9": known.clipped(0.9),
    "top clipped at 0.9": known.clipped_top(0.9),
    "dead zone 0.05": known.dead_zone(0.05),
}


def capture(*channels: np.ndarray, rate_hz: float = RATE_HZ, start_s: float = 0.0, decimals: int = 9):
    """A waveform's sheet, its time stamps rounded as an export rounds them."""
    time = np.round(start_s + np.arange(len(channels[0])) / rate_hz, decimals)
    names = ("L", "R") if len(channels) == 2 else ("",)
    return sheet(column("time", time), *(column("level", volts, n) for n, volts in zip(names, channels, strict=True)))


def tone_of(peaks, frequency_hz=1003.3, rate_hz=RATE_HZ, count=24_000, scale=1.0, phase=0.3):
    return scale * known.wave(peaks, frequency_hz / rate_hz, count, phase)


# ------------------------------------------------------------------ from a waveform


@pytest.mark.parametrize("name", WAVES)
def test_standard_waves(name):
    """THD of a series cut at 20 kHz in closed form, left; the same wave smaller and turned, right."""
    peaks = known.phasors(WAVES[name], 20)
    left, right = tone_of(peaks, 997.3, scale=4.0), tone_of(peaks, 997.3, scale=0.5, phase=2.0)
    found = measured("tone", capture(left, right))
    thd = known.thd(WAVES[name], 20)
    first_v = abs(peaks[0]) / math.sqrt(2)
    for channel, scale in (("L", 4.0), ("R", 0.5)):
        assert one(found, "thd", channel).value == pytest.approx(100 * thd, rel=1e-4)
        assert one(found, "thd_plus_noise", channel).value == pytest.approx(100 * thd / math.hypot(1, thd), rel=1e-4)
        assert one(found, "sinad", channel).value == pytest.approx(-20 * math.log10(thd), abs=1e-3)
        assert one(found, "level", channel).value == pytest.approx(scale * first_v, rel=1e-5)
        # in watts a tone is the fundamental's voltage squared over the load
        assert one(found, "power", channel).value == pytest.approx((scale * first_v) ** 2 / 8, rel=2e-5)
        assert one(found, "frequency", channel).value == pytest.approx(997.3, rel=1e-7)


def test_a_square_wave_in_the_audio_band():
    """A 1 kHz square to 20 kHz reads 45.69 %; 48.34 % would be the whole wave (closed form of its series)."""
    found = one(measured("tone", capture(tone_of(known.phasors(known.square, 20), 1000.0))), "thd")
    assert found.value == pytest.approx(45.69, abs=0.005)
    assert found.at["band"] == [20.0, 20_000.0]
    assert found.at["harmonics"] == 19


def test_a_memoryless_curve():
    """y = x + 0.01 x² + 0.004 x³ of a unit sine: THD = √(0.005² + 0.001²) / 1.003 = 0.50837682 %."""
    x = tone_of(np.array([-1j]))
    found = measured("tone", capture(x + 0.01 * x**2 + 0.004 * x**3))
    assert one(found, "thd").value == pytest.approx(0.50837682, rel=1e-6)
    assert one(found, "harmonic_2").value == pytest.approx(20 * math.log10(0.005 / 1.003), abs=1e-4)
    assert one(found, "harmonic_3").value == pytest.approx(20 * math.log10(0.001 / 1.003), abs=1e-4)


def test_harmonics_have_their_names():
    levels = {n: -40.0 - 5 * n for n in range(2, 13)}
    peaks = known.of_levels(levels, np.random.default_rng(1))
    found = measured("tone", capture(tone_of(peaks)))
    for order in range(2, 10):
        assert one(found, f"harmonic_{order}").value == pytest.approx(levels[order], abs=0.01)
    higher = 10 * math.log10(sum(10 ** (level / 10) for order, level in levels.items() if order > 3))
    assert one(found, "harmonics_higher").value == pytest.approx(higher, abs=0.01)
    assert not all_of(found, "harmonic_10")


def test_noise_figures():
    """Noise at −66 dB and a third harmonic at −60 dB, both known exactly, twenty seconds: within 0.05 dB."""
    rng = np.random.default_rng(66)
    count = 20 * RATE_HZ
    samples = tone_of(known.of_levels({3: -60.0}, rng), 997.3, count=count)
    samples += known.noise(rng, count, RATE_HZ, (100.0, 18_000.0), 10 ** (-66 / 20) / math.sqrt(2))
    found = measured("tone", capture(samples))
    rest = math.hypot(1e-3, 10 ** (-66 / 20))
    assert one(found, "snr").value == pytest.approx(66, abs=0.05)
    assert one(found, "sinad").value == pytest.approx(-20 * math.log10(rest), abs=0.05)
    assert one(found, "thd_plus_noise").value == pytest.approx(100 * rest / math.hypot(1, rest), rel=0.006)
    assert one(found, "thd").value == pytest.approx(0.1, rel=0.003)


def test_hum_takes_the_mains_line_and_its_multiples():
    turns = np.arange(RATE_HZ) / RATE_HZ
    hum = 2e-3 * np.sin(2 * np.pi * 60 * turns) + 1e-3 * np.sin(2 * np.pi * 120 * turns + 1)
    found = measured("tone", capture(tone_of(np.array([-1j]), count=RATE_HZ) + hum), mains_hz=60.0)
    assert one(found, "hum").value == pytest.approx(20 * math.log10(math.hypot(2e-3, 1e-3)), abs=0.05)
    assert one(found, "hum").at["mains"] == 60.0
    assert "hum" not in quantities(measured("tone", capture(tone_of(np.array([-1j])) + hum[:24_000])))
    short = measured(
        "tone", capture(tone_of(np.array([-1j]), count=RATE_HZ // 20) + hum[: RATE_HZ // 20]), mains_hz=50.0
    )
    assert "hum" not in quantities(short)
    assert "m: no hum: it needs a record of at least 100 ms" in short.withheld


def test_an_offset_is_read_from_a_coupled_capture_only():
    data = capture(tone_of(np.array([-1j])) + 0.0123)
    assert "dc_offset" not in quantities(measured("tone", data, bench=Bench(coupling="ac")))
    assert one(measured("tone", data, bench=Bench(coupling="dc")), "dc_offset").value == pytest.approx(0.0123, rel=1e-4)


def test_gain():
    """20 lg(U2 / U1): 6.325 V r.m.s. from 150 mV."""
    data = capture(tone_of(np.array([-1j]), scale=6.325 * math.sqrt(2)))
    gain = one(measured("tone", data, input_level_v=0.15), "gain").value
    assert gain == pytest.approx(20 * math.log10(6.325 / 0.15), abs=1e-4)
    assert "gain" not in quantities(measured("tone", data))


def test_the_benchs_uncertainty_widens_level_and_power():
    """GUM, first order: 0.1 dB is V · 0.1 · ln 10 / 20 of a voltage, and twice that share of a power."""
    data = capture(tone_of(np.array([-1j]), scale=20 * math.sqrt(2)))
    found = measured("tone", data, bench=Bench(level_uncertainty_db=0.1), input_level_v=1.0)
    assert one(found, "level").uncertainty == pytest.approx(20 * 0.1 * math.log(10) / 20, rel=1e-5)
    assert one(found, "power").uncertainty == pytest.approx(50 * 2 * 0.1 * math.log(10) / 20, rel=1e-5)
    assert one(found, "gain").uncertainty == 0.1
    # common to both readings of a ratio, it cancels
    assert one(found, "frequency").uncertainty is None
    assert one(measured("tone", data), "power").uncertainty is None


def test_a_distortion_near_the_benchs_own_is_a_bound():
    """Within 6 dB of what the bench reads with no unit in the path."""
    data = capture(tone_of(known.of_levels({2: -94.0}, np.random.default_rng(0))))  # 0.002 %
    assert one(measured("tone", data, bench=Bench(distortion_floor_percent=0.0011)), "thd").bound == "at most"
    assert one(measured("tone", data, bench=Bench(distortion_floor_percent=0.0008)), "thd").bound == ""


def test_conditions_travel():
    data = capture(tone_of(known.of_levels({2: -60.0}, np.random.default_rng(2)), scale=9.0))
    f = one(measured("tone", data, stage="after", input="aux", channels="both", setting="flat"), "thd")
    assert f.at["power"] == pytest.approx(9.0**2 / 2 / 8, rel=1e-5)
    assert f.at["frequency"] == pytest.approx(1003.3, rel=1e-7)
    assert {key: f.at[key] for key in ("load", "input", "channels", "setting")} == {
        "load": 8.0, "input": "aux", "channels": "both", "setting": "flat"}  # fmt: skip
    assert (f.measurement, f.kind, f.stage, f.source, f.unit) == ("m", "tone", "after", "measurements/m.csv", "%")


def test_without_a_load_there_is_no_power():
    found = measured("tone", capture(tone_of(np.array([-1j]), scale=2.0)), load_ohm=None)
    assert "power" not in quantities(found)
    assert one(found, "thd").at["voltage"] == pytest.approx(2 / math.sqrt(2), rel=1e-6)


def test_a_15_khz_tone_widens_the_band():
    """At 192 kHz harmonics 2 – 5 lie below 80 kHz; in 20 kHz the figure would be nearly zero."""
    levels = {2: -50.0, 3: -60.0, 4: -55.0, 5: -45.0}
    peaks = known.of_levels(levels, np.random.default_rng(15))
    found = one(measured("tone", capture(tone_of(peaks, 15_002.3, 192_000, 96_000), rate_hz=192_000)), "thd")
    assert found.value == pytest.approx(100 * math.sqrt(sum(10 ** (v / 10) for v in levels.values())), rel=1e-3)
    assert found.at["band"] == [20.0, 80_000.0]
    assert found.at["harmonics"] == 4


def test_distortion_is_withheld_where_the_third_harmonic_lies_outside():
    """19 kHz at 48 kHz: not even the second is held. Level and frequency stand, the reason is told."""
    rng = np.random.default_rng(19)
    samples = tone_of(np.array([-1j]), 19_000.0) + known.noise(rng, 24_000, RATE_HZ, (100.0, 15_000.0), 1e-4)
    found = measured("tone", capture(samples))
    assert not {"thd", "thd_plus_noise", "sinad", "harmonic_2", "harmonic_3", "harmonics_higher"} & quantities(found)
    assert {"frequency", "level", "power", "snr"} <= quantities(found)
    reasons = [why for why in found.withheld if "third harmonic" in why]
    assert len(reasons) == 1
    assert "no distortion at 19 kHz" in reasons[0]
    assert "higher sample rate" in reasons[0]
    # 10 kHz at 48 kHz holds its second harmonic, but the third would fall at 30 kHz: withheld just the same
    assert "thd" not in quantities(measured("tone", capture(tone_of(np.array([-1j]), 10_000.0))))


@pytest.mark.parametrize("cycles", [4.2, 9.6])
def test_fewer_than_ten_cycles_are_refused(cycles):
    samples = np.sin(2 * np.pi * cycles * np.arange(4800) / 4800)
    with pytest.raises(InputError) as refused:
        measured("tone", capture(samples))
    (fault,) = refused.value.faults
    assert fault.source == "measurements/m.csv"
    assert "at least 10 are needed" in fault.message
    assert "longer record" in fault.message


def test_time_stamps_rounded_by_an_export_do_no_harm():
    """Microsecond stamps of 48 kHz are off by up to half of one; the rate follows from the whole span."""
    found = measured("tone", capture(tone_of(np.array([-1j]), 999.7), decimals=6, start_s=12.5))
    assert one(found, "frequency").value == pytest.approx(999.7, rel=2e-6)


def test_a_gap_in_the_record_is_told():
    time = np.delete(np.arange(24_100) / RATE_HZ, np.arange(8000, 8100))
    with pytest.raises(InputError, match="not evenly spaced"):
        measured("tone", sheet(column("time", time), column("level", np.sin(6283 * time))))


def test_a_waveform_in_decibels_is_refused():
    time = np.arange(4800) / RATE_HZ
    with pytest.raises(InputError, match="a waveform is a voltage over time; export it in V"):
        measured("tone", sheet(column("time", time), column("level", np.sin(6283 * time), "", "dBV", "Left (dBV)")))


def test_fractions_of_full_scale_carry_ratios_only():
    """A capture whose full scale is not told: what does not need volts stands."""
    data = capture(tone_of(known.of_levels({2: -60.0}, np.random.default_rng(3)), scale=0.5))
    relative = sheet(data.columns[0], column("level", data.columns[1].values, "", "ratio"))
    found = measured("tone", relative, input_level_v=0.1, drive=Level(40.0, "W"))
    assert one(found, "thd").value == pytest.approx(0.1, rel=1e-4)
    assert not {"level", "power", "gain"} & quantities(found)
    # the level that the user states is a condition all the same
    assert one(found, "thd").at["power"] == 40.0
    assert any("no level, power or gain" in why and 'full_scale = "10 V"' in why for why in found.withheld)


def test_two_tones_are_withheld():
    turns = 2 * np.pi * np.arange(RATE_HZ) / RATE_HZ
    found = measured("tone", capture(np.sin(1000 * turns) + 0.5 * np.sin(1004 * turns)))
    assert not found.findings
    assert "another is within" in found.withheld[0]
    assert "capture a longer record" in found.withheld[0]


def test_a_clouded_harmonic_withholds_thd_and_snr():
    """Hum at 150 Hz, 2 Hz from the third harmonic of 49.33 Hz: THD+N holds both, and is right."""
    turns = 2 * np.pi * np.arange(RATE_HZ) / RATE_HZ
    found = measured("tone", capture(np.sin(49.33 * turns) + 1e-2 * np.sin(150 * turns)))
    assert not {"thd", "snr", "harmonic_3"} & quantities(found)
    assert one(found, "thd_plus_noise").value == pytest.approx(1.0, rel=0.01)
    assert any("too near to harmonic 3" in why for why in found.withheld)


def test_a_silent_channel_is_told():
    with pytest.raises(InputError, match="channel R is silent"):
        measured("tone", capture(tone_of(np.array([-1j])), np.zeros(24_000)))


# ------------------------------------------------------------------ from a spectrum

POINTS = 16_384
LINE_HZ = RATE_HZ / POINTS
LEVELS_DB = {2: -60.0, 3: -70.0}
NOISE_DB = -80.0


def lines(window="blackman-harris", line=341.37, scale=1.0):
    rng = np.random.default_rng(7)
    samples = known.wave(known.of_levels(LEVELS_DB, rng), line / POINTS, POINTS * 8)
    samples += known.noise(rng, POINTS * 8, RATE_HZ, (30.0, 19_900.0), 10 ** (NOISE_DB / 20) / math.sqrt(2))
    frequency, level = known_spectra.exported(scale * samples, RATE_HZ, POINTS, window)
    return frequency[1:], level[1:]  # a reader leaves the row at 0 Hz out


@pytest.mark.parametrize(
    ("unit", "told"),
    [("V", {}), ("dBV", {}), ("dBu", {}), ("dBm", {}), ("dBW", {}), ("dBFS", {"full_scale_v": 10.0})],
)
def test_a_spectrum_in_any_unit(unit, told):
    """12 V peak: 8.4853 V r.m.s., 9 W into 8 Ω, whatever unit the lines are in."""
    frequency, volts = lines(scale=12.0)
    # r.m.s. volts at 0 dB: by definition of each unit, 0 dBFS being a sine whose peak is full scale
    zero_db = {"dBV": 1.0, "dBu": math.sqrt(0.6), "dBm": math.sqrt(0.6), "dBW": math.sqrt(8), "dBFS": 10 / math.sqrt(2)}
    level = volts if unit == "V" else 20 * np.log10(volts / zero_db[unit])
    found = measured(
        "tone",
        sheet(column("frequency", frequency), column("level", level, "L", unit)),
        window="Blackman-Harris",
        **told,
    )
    assert one(found, "level", "L").value == pytest.approx(12 / math.sqrt(2), rel=1e-3)
    assert one(found, "power", "L").value == pytest.approx(9.0, rel=2e-3)
    assert one(found, "frequency", "L").value == pytest.approx(341.37 * LINE_HZ, abs=0.03)
    assert one(found, "thd", "L").value == pytest.approx(100 * math.hypot(1e-3, 10**-3.5), rel=5e-3)
    assert one(found, "snr", "L").value == pytest.approx(-NOISE_DB, abs=0.25)
    assert one(found, "thd", "L").at["window"] == "blackman-harris"
    assert not found.withheld


@pytest.mark.parametrize("unit", ["dB", "dBr", "dBFS"])
def test_relative_levels_carry_ratios_only(unit):
    frequency, volts = lines()
    data = sheet(column("frequency", frequency), column("level", 20 * np.log10(volts), "", unit))
    found = measured("tone", data, window="blackman-harris", input_level_v=0.1)
    assert not {"level", "power", "gain"} & quantities(found)
    assert "no level, power or gain, the file's levels are relative" in " ".join(found.withheld)
    assert one(found, "thd").value == pytest.approx(100 * math.hypot(1e-3, 10**-3.5), rel=5e-3)


@pytest.mark.parametrize("window", ["hann", "flat top", "blackman-harris"])
def test_an_unknown_window_withholds_noise_figures(window):
    frequency, volts = lines(window, line=341.0)
    found = measured("tone", sheet(column("frequency", frequency), column("level", volts)))
    assert not {"snr", "sinad", "thd_plus_noise"} & quantities(found)
    assert (
        'no THD+N, SINAD or SNR from this spectrum: the window is not known; write for example window = "hann"'
        in (found.withheld[0])
    )
    assert one(found, "thd").value == pytest.approx(100 * math.hypot(1e-3, 10**-3.5), rel=0.02)
    assert "window" not in one(found, "thd").at


@pytest.mark.parametrize("thinned", ["every fifth above 5 kHz", "one line missing", "one in two below 500 Hz"])
def test_uneven_lines_withhold_noise_figures(thinned):
    """A spectrum thinned out for a plot. What is still given must be right: the tone stands where its line stands."""
    frequency, volts = lines(line=341.0)
    index = np.arange(len(frequency))
    kept = {
        "every fifth above 5 kHz": (frequency < 5000) | (index % 5 == 0),
        "one line missing": index != 900,
        "one in two below 500 Hz": (frequency > 500) | (index % 2 == 0),
    }[thinned]
    found = measured(
        "tone", sheet(column("frequency", frequency[kept]), column("level", volts[kept])), window="blackman-harris"
    )
    assert not {"snr", "sinad", "thd_plus_noise"} & quantities(found)
    assert any("not evenly spaced" in why for why in found.withheld)
    for given in all_of(found, "frequency"):
        assert given.value == pytest.approx(341 * LINE_HZ, abs=LINE_HZ)
    for given in all_of(found, "thd"):
        assert given.value == pytest.approx(100 * math.hypot(1e-3, 10**-3.5), rel=0.02)
        assert given.at["band"] == [20.0, 20_000.0]


def test_the_rectangular_window_off_a_line_is_withheld():
    frequency, volts = lines("rectangular")
    found = measured("tone", sheet(column("frequency", frequency), column("level", volts, "L")), window="rectangular")
    assert not found.findings
    assert len(found.withheld) == 1
    assert "no figures for channel L" in found.withheld[0]
    assert "export with another window" in found.withheld[0]
    on_a_line = lines("rectangular", line=341.0)
    held = measured("tone", sheet(column("frequency", on_a_line[0]), column("level", on_a_line[1])), window="none")
    assert one(held, "snr").value == pytest.approx(-NOISE_DB, abs=0.25)


def test_a_window_that_is_not_known_is_told_with_those_that_are():
    frequency, volts = lines()
    with pytest.raises(InputError) as refused:
        measured("tone", sheet(column("frequency", frequency), column("level", volts)), window="welsh", line=33)
    (fault,) = refused.value.faults
    assert (fault.source, fault.line) == ("session.toml", 33)
    assert 'window = "welsh" is not known' in fault.message
    assert "hann" in fault.message


def test_a_handful_of_lines_is_no_spectrum():
    with pytest.raises(InputError, match="31 lines are too few for a spectrum"):
        measured("tone", sheet(column("frequency", np.arange(1, 32) * 100.0), column("level", np.ones(31))))


def test_no_tone_is_withheld():
    frequency = np.arange(1, 500) * 10.0
    found = measured("tone", sheet(column("frequency", frequency), column("level", np.zeros(499), "R")), window="hann")
    assert not found.findings
    assert "no figures for channel R: there is no tone inside the spectrum" in found.withheld[0]


@pytest.mark.parametrize(("drive_w", "fits"), [(2.5, True), (2.1, True), (25.0, False), (0.25, False)])
def test_a_drive_that_the_capture_contradicts(drive_w, fits):
    """2.5 W into 8 Ω is 4.4721 V: a capture of it that is said to be ten times more or less is a fault, not a guess."""
    volts = tone_of([1.0], scale=math.sqrt(2 * 2.5 * 8))
    if fits:
        assert measured("tone", capture(volts), drive=Level(drive_w, "W")).findings
        return
    with pytest.raises(InputError, match=r"drive = .*, but .* holds 2\.5 W; write that, or look for a wrong unit"):
        measured("tone", capture(volts), drive=Level(drive_w, "W"))


def test_a_faulty_channel_need_not_hold_the_drive():
    """78.2 W left and 99.9 W right, 1.06 dB apart: written "100 W", no capture could satisfy both, were both asked."""
    left, right = (tone_of([1.0], scale=math.sqrt(2 * watts * 8)) for watts in (78.2, 99.9))
    found = measured("tone", capture(left, right), drive=Level(100.0, "W"), stage="before")
    for channel, watts in (("L", 78.2), ("R", 99.9)):
        assert one(found, "power", channel).value == pytest.approx(watts, rel=1e-4)
        assert one(found, "thd", channel).at["power"] == pytest.approx(watts, rel=1e-4)
    run = run_from(capture(left, right), conditions("tone", drive=Level(100.0, "W"), stage="before"))
    distortion = next(point for point in KINDS["tone"].points(run, None) if point.name == "distortion")
    assert distortion.facts["drive"] == "78.2 W into 8 Ω on the left, 99.9 W into 8 Ω on the right"
    # a left channel that is nearly dead is still the unit's, not the file's fault
    assert measured("tone", capture(left / 30, right), drive=Level(100.0, "W"), stage="before").findings


@pytest.mark.parametrize(("stage", "drive_w"), [("before", 1.0), ("before", 1000.0)])
def test_what_the_message_names_is_accepted_before_a_repair(stage, drive_w):
    """Where no channel holds the drive the unit of the file may be wrong; the level that is named then fits."""
    data = capture(*(tone_of([1.0], scale=math.sqrt(2 * watts * 8)) for watts in (78.2, 20.0)))
    with pytest.raises(InputError, match=r"holds 78\.2 W; write that, or look for a wrong unit"):
        measured("tone", data, drive=Level(drive_w, "W"), stage=stage)
    assert measured("tone", data, drive=Level(78.2, "W"), stage=stage).findings


@pytest.mark.parametrize("stage", ["", "after"])
@pytest.mark.parametrize("drive_w", [78.2, 99.9])
def test_channels_that_no_drive_fits(stage, drive_w):
    """Then none is suggested, and without one each channel's figures are at its own level."""
    data = capture(*(tone_of([1.0], scale=math.sqrt(2 * watts * 8)) for watts in (78.2, 99.9)))
    wanted = "holds 78.2 W in the left channel and 99.9 W in the right channel; leave drive out"
    with pytest.raises(InputError, match=re.escape(wanted)):
        measured("tone", data, drive=Level(drive_w, "W"), stage=stage)
    found = measured("tone", data, stage=stage)
    assert one(found, "thd", "L").at["power"] == pytest.approx(78.2, rel=1e-4)
    assert one(found, "thd", "R").at["power"] == pytest.approx(99.9, rel=1e-4)


def test_a_wrong_full_scale_is_thought_of_where_a_wav_contradicts_its_drive():
    """A tenth of the full scale is a hundredth of the power."""
    wav = replace(capture(tone_of([1.0], scale=math.sqrt(2 * 0.05 * 8))), source="measurements/tone.WAV")
    wanted = 'holds 50 mW; write that, or correct full_scale: with "20 V" in place of "2 V" it would be as stated'
    with pytest.raises(InputError, match=re.escape(wanted)):
        measured("tone", wav, drive=Level(5.0, "W"), full_scale_v=2.0)


# ------------------------------------------------------------------ lines left out

PILOT_LEVELS_DB = {2: -58.0, 3: -62.0, 5: -80.0}
PILOT_NOISE_DB = -75.0
PILOT_HZ = (19_000.0, 38_000.0)


def with_pilot(tone_hz: float, pilot_hz: float, rate_hz: int, seconds: float, pilot: float = 0.005):
    """A unit sine, its harmonics, a pilot 0.5 % of it and a weaker line at twice the pilot's frequency, and noise."""
    rng = np.random.default_rng(int(tone_hz * 10 + pilot_hz))
    count = round(rate_hz * seconds)
    angle = 2 * np.pi * np.arange(count) / rate_hz
    samples = known.wave(known.of_levels(PILOT_LEVELS_DB, rng), tone_hz / rate_hz, count, 0.4)
    samples += known.noise(rng, count, rate_hz, (20.0, 20_000.0), 10 ** (PILOT_NOISE_DB / 20) / math.sqrt(2))
    samples += pilot * np.sin(pilot_hz * angle + 1.0)
    return samples + (pilot / 4 * np.sin(2 * pilot_hz * angle + 2.0) if rate_hz > 80_000 else 0.0)


# Root sums of squares of what was put in, the pilot not among them (closed form).
PILOT_THD = math.sqrt(sum(10 ** (level / 10) for level in PILOT_LEVELS_DB.values()))
PILOT_REST = math.hypot(PILOT_THD, 10 ** (PILOT_NOISE_DB / 20))


@pytest.mark.parametrize(
    ("seconds", "rate_hz", "tone_hz", "pilot_hz"),
    grid(
        [0.1, 1.0], [48_000, 96_000], [(1000.0, 19_000.0), (1000.0, 19_001.7), (1000.37, 19_000.0), (1013.0, 19_000.0)]
    ),
)
def test_a_pilot_tone_is_left_out(tone_hz, pilot_hz, rate_hz, seconds):
    """On the nineteenth harmonic, beside it, and between two: 0.17 % and not 0.53 %."""
    samples = with_pilot(tone_hz, pilot_hz, rate_hz, seconds)
    found = measured("tone", capture(samples, rate_hz=rate_hz), without_hz=PILOT_HZ)
    thd = one(found, "thd")
    assert thd.value == pytest.approx(100 * PILOT_THD, rel=0.005)
    assert one(found, "thd_plus_noise").value == pytest.approx(100 * PILOT_REST / math.hypot(1, PILOT_REST), rel=0.005)
    # of a record this short noise itself scatters by 1 / (2 √(B T)), 0.1 dB
    assert one(found, "snr").value == pytest.approx(-PILOT_NOISE_DB, abs=0.1 if seconds < 1 else 0.05)
    assert thd.at["without"] == [19_000.0, 38_000.0]
    assert "without 19 kHz and 38 kHz" in conditions_of(thd)
    assert "without" not in one(found, "level").at


@pytest.mark.parametrize(
    ("name", "tone_hz", "pilot_hz"),
    grid(["hann", "blackman-harris", "flat top"], [(1000.0, 19_000.0), (1000.37, 19_000.0), (1013.0, 19_004.0)]),
)
def test_a_pilot_tone_is_left_out_of_a_spectrum(tone_hz, pilot_hz, name):
    samples = with_pilot(tone_hz, pilot_hz, RATE_HZ, 3.0)
    frequency, level = known_spectra.exported(samples, RATE_HZ, 32_768, name)
    data = sheet(column("frequency", frequency), column("level", level))
    found = measured("tone", data, window=name, without_hz=PILOT_HZ)
    assert one(found, "thd").value == pytest.approx(100 * PILOT_THD, rel=0.005)
    assert one(found, "snr").value == pytest.approx(-PILOT_NOISE_DB, abs=0.1)
    with pytest.raises(InputError, match=r"lone line at 19(\.00\d)? kHz"):
        measured("tone", data, window=name)


@pytest.mark.parametrize(("tone_hz", "pilot_hz"), [(1000.0, 19_000.0), (1000.37, 19_000.0), (1013.0, 19_000.0)])
def test_a_lone_line_is_asked_about(tone_hz, pilot_hz):
    """What the message suggests is what answers it, either way; counted, the pilot makes most of THD+N."""
    data = capture(with_pilot(tone_hz, pilot_hz, RATE_HZ, 1.0))
    with pytest.raises(InputError, match=r'Write without = \["19 kHz"\] to leave it out .* or without = \[\] to count'):
        measured("tone", data)
    assert one(measured("tone", data, without_hz=(19_000.0,)), "thd").value == pytest.approx(100 * PILOT_THD, rel=0.005)
    counted = one(measured("tone", data, without_hz=()), "thd_plus_noise")
    assert counted.value == pytest.approx(100 * math.hypot(PILOT_REST, 0.005), rel=0.005)
    assert "without" not in counted.at


@pytest.mark.parametrize(
    "levels_db",
    [{3: -40.0}, {2: -50.0, 3: -70.0}, {n: -50.0 - n for n in range(3, 20, 2)}, {5: -60.0, 7: -61.0, 9: -64.0}],
)
def test_harmonics_are_no_lone_lines(levels_db):
    samples = tone_of(known.of_levels(levels_db, np.random.default_rng(2)), 1000.0, count=48_000)
    assert quantities(measured("tone", capture(samples))) >= {"thd"}


@pytest.mark.parametrize("beside_hz", [100.0, 300.0, 1100.0, 1950.0])
def test_hum_and_its_sidebands_are_no_lone_lines(beside_hz):
    samples = tone_of([1.0], 1000.0, count=48_000)
    samples += 0.01 * np.sin(2 * np.pi * beside_hz * np.arange(48_000) / RATE_HZ)
    assert quantities(measured("tone", capture(samples), mains_hz=50.0)) >= {"thd_plus_noise"}


def test_the_tone_itself_cannot_be_left_out():
    found = measured("tone", capture(tone_of([1.0], 1000.0)), without_hz=(1000.0,))
    assert not found.findings
    assert "no figures for channel measured: a line to be left out is the tone itself" in found.withheld[0]


@pytest.mark.parametrize("name", ["nuttall", "flat top"])
def test_a_spectrum_whose_window_hides_only_the_noise(name):
    """Levels and THD of harmonics far above the leakage are given, and the rest is withheld with the reason."""
    samples = tone_of(known.of_levels({2: -60.0, 3: -65.0}, np.random.default_rng(4)), 1000.37, count=8 * POINTS)
    samples += known.noise(np.random.default_rng(5), 8 * POINTS, RATE_HZ, (20.0, 20_000.0), 10 ** (-105 / 20))
    frequency, level = known_spectra.exported(samples, RATE_HZ, POINTS, name)
    found = measured("tone", sheet(column("frequency", frequency), column("level", level)), window=name)
    assert one(found, "thd").value == pytest.approx(100 * math.hypot(1e-3, 10 ** (-65 / 20)), rel=0.005)
    assert one(found, "harmonic_2").value == pytest.approx(-60.0, abs=0.03)
    assert quantities(found).isdisjoint({"snr", "sinad", "thd_plus_noise", "harmonics_higher"})
    assert found.withheld == (
        f"m: no THD+N, SINAD or SNR from this spectrum: the {name} window's own leakage hides the noise; export with "
        "another window",
    )


def test_the_card_holds_what_the_file_says():
    peaks = known.of_levels({2: -60.0, 3: -70.0}, np.random.default_rng(1))
    card = card_of("tone", capture_of(known.wave(peaks, 997.0 / 96_000, CAPTURED, 0.3)))
    stems = {stem.x / 997.0: stem.y for stem in panel_of(card).stems}
    assert [round(order, 3) for order in stems][:3] == [1, 2, 3]
    assert list(stems.values())[:3] == pytest.approx([0.0, -60.0, -70.0], abs=0.01)
    assert card.hero.figure == "0.10 %"  # √(0.1² + 0.0316²) = 0.105
