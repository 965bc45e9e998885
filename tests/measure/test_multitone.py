"""The `multitone` kind against tones and a spur of known level: the clearance is what was put in."""

from __future__ import annotations

import math
from functools import partial

import known_spectra
import known_tones as known
import known_waveforms
import numpy as np
import pytest
from accuracy import grid
from measured_sheets import (
    CAPTURED,
    capture_of,
    captured,
    card_of,
    column,
    conditions,
    measured,
    one,
    panel_of,
    run_from,
    sheet,
)

from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.level import Level

RATE_HZ = 48_000
POINTS = 32_768
LINE_HZ = RATE_HZ / POINTS
KIND = "multitone"
TONES = known.third_octaves(-10, 12)
PEAK = 0.1


def tones(rng, spur_hz, spur_db, count, hertz=TONES, noise_db=None):
    """Equal tones at any phases and one line more, so many dB re one of them; noise in dB re one tone, 20 Hz–20 kHz."""
    phases = rng.uniform(0, 2 * np.pi, len(hertz) + 1)
    levels = [PEAK] * len(hertz) + [PEAK * 10 ** (spur_db / 20)]
    samples = known.sines([*hertz, spur_hz], levels, phases, RATE_HZ, count)
    if noise_db is not None:
        rms = PEAK / math.sqrt(2) * 10 ** (noise_db / 20)
        samples += known_waveforms.noise(rng, count, RATE_HZ, (20, 20_000), rms)
    return samples


capture = partial(captured, rate_hz=RATE_HZ)


def spectrum(samples, window):
    frequency, level = known_spectra.exported(samples, RATE_HZ, POINTS, window)
    return sheet(column("frequency", frequency[1:]), column("level", level[1:]))


def between(rng, hertz, away_hz):
    """Any place in the band, so far from each tone."""
    while True:
        place = 10 ** rng.uniform(math.log10(40), math.log10(19_500))
        if np.min(np.abs(np.asarray(hertz) - place)) >= away_hz:
            return place


@pytest.mark.parametrize("spur_db", [-50.0, -80.0, -110.0])
def test_from_a_waveform(accuracy, spur_db):
    rng = np.random.default_rng(int(-spur_db))
    for _ in range(3):
        spur_hz = between(rng, TONES, 12.0)
        found = measured(KIND, capture(tones(rng, spur_hz, spur_db, 70_001, noise_db=spur_db - 12)))
        f = one(found, "multitone_clearance")
        accuracy("multitone clearance", f.value + spur_db)
        assert f.at["frequency"] == pytest.approx(spur_hz, abs=0.1)
        assert f.at["limited_by"] == "a product"
        assert f.at["tones_count"] == len(TONES)
        assert f.at["line_width"] == pytest.approx(RATE_HZ / 70_001)


@pytest.mark.parametrize(
    ("window", "spur_db", "on_lines"),
    grid(["hann", "blackman-harris", "flat top"], [(-40.0, False), (-65.0, False), (-60.0, True), (-100.0, True)]),
)
def test_from_a_spectrum(accuracy, window, spur_db, on_lines):
    """Tones anywhere, as far down as the window's leakage lets one see; on the lines, further. The spur anywhere."""
    rng = np.random.default_rng(int(-spur_db))
    hertz = np.round(TONES / LINE_HZ) * LINE_HZ if on_lines else TONES
    for _ in range(3):
        spur_hz = between(rng, hertz, 14 * LINE_HZ)
        data = spectrum(tones(rng, spur_hz, spur_db, POINTS, hertz), window)
        f = one(measured(KIND, data, window=window), "multitone_clearance")
        accuracy("multitone clearance", f.value + spur_db)
        assert f.at["frequency"] == pytest.approx(spur_hz, abs=0.5 * LINE_HZ)
        assert f.at["band"] == [20.0, 20_000.0]


def test_a_rectangular_window_with_tones_on_its_lines():
    """Whole cycles leave nothing beside their lines: the design rule for multitones (common practice, no source)."""
    rng = np.random.default_rng(0)
    hertz = np.round(TONES / LINE_HZ) * LINE_HZ
    data = spectrum(tones(rng, 2001 * LINE_HZ, -90.0, POINTS, hertz), "rectangular")
    assert one(measured(KIND, data, window="none"), "multitone_clearance").value == pytest.approx(90, abs=0.1)


@pytest.mark.parametrize("apart", [pytest.param(2, marks=pytest.mark.long), 3, pytest.param(4, marks=pytest.mark.long)])
def test_products_on_every_few_lines(accuracy, apart):
    """Tones on multiples of a few lines of the record, bent by a polynomial: all products lie on such multiples, and a
    transform of one period holds each alone.
    """
    for case in range(8):
        rng = np.random.default_rng([apart, case])
        hertz, a2, a3 = np.unique(np.rint(TONES / apart)) * apart, *rng.choice([(0.0, 0.05), (0.01, 0.05), (0.02, 0.0)])
        phases = rng.uniform(0, 2 * np.pi, len(hertz))
        samples = known.bent(known.sines(hertz, [0.02] * len(hertz), phases, RATE_HZ, RATE_HZ), a2, a3)
        due_db = known.clearance_db(samples[: RATE_HZ // apart], RATE_HZ, hertz)
        accuracy("multitone clearance", one(measured(KIND, capture(samples)), "multitone_clearance").value - due_db)


@pytest.mark.parametrize("apart_hz", [2.6, 3.0, 4.0])
def test_tones_a_few_lines_apart(accuracy, apart_hz):
    """A record of a second, whose lobes overlap: a fit of all tones separates them."""
    rng = np.random.default_rng(3)
    hertz = [500.0, 1000.0, 1000.0 + apart_hz, 3000.3]
    for _ in range(5):
        f = one(measured(KIND, capture(tones(rng, 1700.0, -80.0, 48_000, hertz))), "multitone_clearance")
        assert f.at["tones_count"] == 4
        accuracy("multitone clearance", f.value - 80)


def test_noise_counts_in_one_lines_width():
    """No product: noise of known density. The largest of N lines of noise lies about ln N above their mean."""
    rng = np.random.default_rng(5)
    hertz = np.round(TONES / LINE_HZ) * LINE_HZ
    samples = tones(rng, 1003.0, -300.0, POINTS, hertz, noise_db=-50.0)
    lines = 19_980 / LINE_HZ
    due = 50 + 10 * math.log10(lines) - 10 * math.log10(math.log(lines))
    given = []
    for window in ("hann", "blackman-harris", "flat top"):
        f = one(measured(KIND, spectrum(samples, window), window=window), "multitone_clearance")
        assert f.at["limited_by"] == "noise"
        given.append(f.value)
        assert f.value == pytest.approx(due, abs=2.0)
    assert max(given) - min(given) < 2.0


def test_hum_is_called_hum():
    rng = np.random.default_rng(6)
    hertz = known.third_octaves(-6, 12)
    data = capture(tones(rng, 120.0, -70.0, 96_000, hertz))
    assert one(measured(KIND, data, mains_hz=60.0), "multitone_clearance").at["limited_by"] == "hum"
    assert one(measured(KIND, data), "multitone_clearance").at["limited_by"] == "a product"
    other = capture(tones(rng, 131.0, -70.0, 96_000, hertz))
    assert one(measured(KIND, other, mains_hz=60.0), "multitone_clearance").at["limited_by"] == "a product"


def test_unequal_tones_are_held_against_the_median_one():
    """Tones fall by 6 dB towards the ends: the median of the levels put in, worked out here."""
    rng = np.random.default_rng(7)
    levels = PEAK * 10 ** (-6 * np.abs(np.linspace(-1, 1, len(TONES))) / 20)
    samples = known.sines([*TONES, 1500.0], [*levels, 1e-5], rng.uniform(0, 6, len(TONES) + 1), RATE_HZ, 96_000)
    f = one(measured(KIND, capture(samples)), "multitone_clearance")
    assert f.value == pytest.approx(20 * math.log10(float(np.median(levels)) / 1e-5), abs=0.01)


def test_power_is_that_of_all_tones_together():
    """Σ A²/2 over the load."""
    samples = 20 * tones(np.random.default_rng(8), 1500.0, -60.0, 96_000)
    due = len(TONES) * (20 * PEAK) ** 2 / 2 / 8
    assert one(measured(KIND, capture(samples)), "multitone_clearance").at["power"] == pytest.approx(due, rel=1e-3)
    assert measured(KIND, capture(samples), drive=Level(due * 1.1, "W")).findings
    with pytest.raises(InputError, match="the power of all tones together; write that"):
        measured(KIND, capture(samples), drive=Level(due * 3, "W"))
    f = one(measured(KIND, capture(samples / 100, unit="ratio")), "multitone_clearance")
    assert not {"power", "voltage"} & set(f.at)


def test_swapped_channels_swap_findings():
    rng = np.random.default_rng(9)
    good, bad = tones(rng, 1500.0, -90.0, 96_000), tones(rng, 2200.0, -60.0, 96_000)
    one_way, other = measured(KIND, capture(good, bad)), measured(KIND, capture(bad, good))
    assert one(one_way, "multitone_clearance", "L").value == one(other, "multitone_clearance", "R").value
    assert one(one_way, "multitone_clearance", "R").value == pytest.approx(60, abs=0.01)


def test_without_the_window_it_is_withheld():
    found = measured(KIND, spectrum(tones(np.random.default_rng(1), 1500.0, -60.0, POINTS), "hann"))
    assert not found.findings
    assert found.withheld == (
        'm: no multitone clearance from this spectrum: the window is not known; write for example window = "hann"',
    )


def test_uneven_lines_are_withheld():
    data = spectrum(tones(np.random.default_rng(1), 1500.0, -60.0, POINTS), "hann")
    kept = np.arange(data.rows) % 7 != 3
    thinned = sheet(column("frequency", data.columns[0].values[kept]), column("level", data.columns[1].values[kept]))
    found = measured(KIND, thinned, window="hann")
    assert not found.findings
    assert "not evenly spaced" in found.withheld[0]


def test_leakage_that_hides_the_band_is_refused():
    """Hann off the lines: its side lobes hide what lies 110 dB down nearly everywhere."""
    samples = tones(np.random.default_rng(2), 1500.0, -130.0, POINTS)
    with pytest.raises(InputError, match="hide more than a twentieth of the band"):
        measured(KIND, spectrum(samples, "hann"), window="hann")


@pytest.mark.parametrize(
    ("samples", "says"),
    [
        (lambda rng: known.sines([1000, 2000], [0.1, 0.1], [0, 1], RATE_HZ, 48_000), "is it of intermodulation"),
        (lambda rng: known.sines([1000], [0.1], [0], RATE_HZ, 48_000), "is it of tone"),
        (lambda rng: rng.normal(size=48_000), "more than 150 strong lines, as noise does"),
        (lambda rng: np.zeros(48_000), "there is no tone in it"),
        (lambda rng: tones(rng, 1500.0, -60.0, 4000), "no single steady tone: two are too close.*longer record"),
        (
            lambda rng: known.sines([500, 1000, 1001.3], [0.1] * 3, [0, 1, 2], RATE_HZ, 48_000),
            r"near 1000\.\d Hz there is no single steady tone|at least 2\.5 are needed",
        ),
    ],
    ids=["two tones", "one tone", "noise", "silence", "short", "close"],
)
def test_what_is_no_multitone_is_refused(samples, says):
    with pytest.raises(InputError, match=says):
        measured(KIND, capture(samples(np.random.default_rng(3))))


# ------------------------------------------------------------------ card and points


def run_of(data, **told):
    return run_from(data, conditions(KIND, **told))


def test_an_arrow_leads_from_the_tones_to_the_strongest_line():
    rng = np.random.default_rng(10)
    run = run_of(capture(tones(rng, 1500.0, -90.0, 96_000), tones(rng, 2200.0, -60.0, 96_000)))
    card = KINDS[KIND].card([run], ())
    (panel,) = card.body.panels
    (mark,) = panel.marks
    assert mark.from_y == 0.0
    assert mark.y == pytest.approx(-60, abs=0.01)
    assert mark.x == pytest.approx(2200, abs=0.1)
    assert mark.text == "product, 2.2 kHz"
    assert (card.hero.figure, card.hero.channel) == ("60.0 dB", "R")
    (trace,) = panel.traces
    assert trace.channel == "R"  # the worse one
    # 0 dB is one tone, less what falls between two lines
    assert float(np.max(trace.y)) == pytest.approx(0, abs=0.5)


def test_points():
    rng = np.random.default_rng(11)
    before = run_of(capture(tones(rng, 1500.0, -50.0, 96_000)), stage="before")
    after = run_of(capture(tones(rng, 1500.0, -80.0, 96_000)), stage="after")
    (clearance,) = KINDS[KIND].points(after, before)
    assert clearance.facts["before"].value == pytest.approx(50, abs=0.01)
    assert clearance.facts["worse"].at["frequency"] == pytest.approx(1500, abs=0.1)


def test_a_faulty_channel_s_own_level_is_in_the_sentence():
    """n tones of 0.1 V peak into 8 Ω are n · 0.1² / 16 W; half as strong a quarter of that."""
    samples = tones(np.random.default_rng(3), 100.0, -60, RATE_HZ)
    watts = len(TONES) * PEAK**2 / 16
    scale = 1 / math.sqrt(watts)
    data = capture(scale * samples, scale * samples / 2)
    run = run_from(data, conditions(KIND, drive=Level(1.0, "W"), stage="before"))
    for point in KINDS[KIND].points(run, None):
        assert point.facts["drive"] == "1 W into 8 Ω on the left, 250 mW into 8 Ω on the right"
    both = run_from(capture(scale * samples, scale * samples), conditions(KIND, drive=Level(1.0, "W"), stage="before"))
    assert {point.facts["drive"] for point in KINDS[KIND].points(both, None)} == {"1 W into 8 Ω"}


def test_the_card_holds_what_the_file_says():
    tones = known.third_octaves(-10, 12)
    peaks = [0.1] * len(tones) + [0.1 * 10 ** (-50 / 20)]
    card = card_of("multitone", capture_of(known.sines([*tones, 1500.0], peaks, range(len(peaks)), 96_000, CAPTURED)))
    assert float(card.hero.figure.removesuffix(" dB")) == pytest.approx(50.0, abs=0.15)
    assert panel_of(card).traces[0].y.max() == pytest.approx(0.0, abs=3.0)
