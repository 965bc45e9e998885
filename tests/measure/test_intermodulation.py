"""The `intermodulation` kind against the closed forms of a curve y = x + 0.01 x² + 0.004 x³."""

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
    quantities,
    run_from,
    sheet,
)

from reviewkit.measure.kinds import KINDS
from reviewkit.model.errors import InputError
from reviewkit.model.finding_conditions import why_bound
from reviewkit.model.level import Level

RATE_HZ = 96_000
KIND = "intermodulation"
MODULATION, TWIN = (0.8, 0.2), (0.5, 0.5)


def db(ratio):
    return 20 * math.log10(ratio)


capture = partial(captured, rate_hz=RATE_HZ)


def played(hertz, peaks, seconds=1.0, phases=(0.4, 2.1), scale=1.0, a2=known.A2, a3=known.A3, rate_hz=RATE_HZ):
    count = int(seconds * rate_hz) + 37  # no whole cycles
    return scale * known.bent(known.sines(hertz, peaks, phases, rate_hz, count), a2, a3)


def spectrum(hertz, peaks, window, points=32_768):
    samples = known.bent(known.sines(hertz, peaks, (0.3, 1.7), RATE_HZ, points))
    frequency, level = known_spectra.exported(samples, RATE_HZ, points, window)
    return sheet(column("frequency", frequency[1:]), column("level", level[1:]))


def truth(peaks):
    return known.modulation(*peaks) if peaks == MODULATION else known.difference(peaks[0])


def test_the_published_figures():
    """The polynomial's closed forms worked out: 1.6389447 %, 1.1589089 %, 0.24943876 %, 0.07483163 %."""
    found = measured(KIND, capture(played((60, 7000), MODULATION)))
    assert one(found, "imd").value == pytest.approx(1.6389447, rel=1e-5)
    assert one(found, "imd_rss").value == pytest.approx(1.1589089, rel=1e-5)
    assert one(found, "imd_second").value == pytest.approx(2 * 0.0159368899 * 50, rel=1e-5)
    assert one(found, "imd_third").value == pytest.approx(0.38248536, rel=1e-5)
    found = measured(KIND, capture(played((19_000, 20_000), TWIN)))
    assert one(found, "imd_second").value == pytest.approx(0.24943876, rel=1e-5)
    assert one(found, "imd_third").value == pytest.approx(0.07483163, rel=1e-5)
    assert one(found, "imd").value == pytest.approx(math.hypot(0.24943876, 0.07483163), rel=1e-5)
    assert "imd_rss" not in quantities(found)


@pytest.mark.parametrize(
    ("hertz", "peaks", "rate_hz"),
    grid(
        [
            ((60, 7000), MODULATION),
            ((59.73, 7003.3), MODULATION),
            ((250, 8000), MODULATION),
            ((19_000, 20_000), TWIN),
            ((18_003.1, 19_001.7), TWIN),
            ((8000, 11_950), TWIN),
        ],
        [48_000, 96_000],
    ),
)
def test_phases_noise_and_hum(accuracy, hertz, peaks, rate_hz):
    """Any phases, no whole cycles, noise 90 dB down, hum at 50 and 150 Hz, an offset."""
    rng = np.random.default_rng(int(sum(hertz)))
    for _ in range(2):
        clean = played(hertz, peaks, phases=rng.uniform(0, 6, 2), scale=10, rate_hz=rate_hz)
        turns = 2 * np.pi * np.arange(len(clean)) / rate_hz
        rest = 0.1 * np.sin(50 * turns) + 0.02 * np.sin(150 * turns + 1) + 0.05
        rest += known_waveforms.noise(rng, len(clean), rate_hz, (20, 20_000), 10 ** (-90 / 20) * 10)
        found = measured(KIND, capture(clean + rest, rate_hz=rate_hz))
        for quantity, value in truth(peaks).items():
            accuracy("intermodulation", db(one(found, quantity).value / value))
            assert one(found, quantity).bound == ""
        assert one(found, "imd").at["tones"] == pytest.approx(list(hertz), rel=1e-4)


@pytest.mark.parametrize(
    ("window", "hertz", "peaks"),
    grid(
        ["hann", "blackman", "blackman-harris", "nuttall", "flat top"],
        [((60.7, 7003.33), MODULATION), ((19_003, 20_011), TWIN)],
    ),
)
def test_from_a_spectrum(accuracy, hertz, peaks, window):
    found = measured(KIND, spectrum(hertz, peaks, window), window=window)
    for quantity, value in truth(peaks).items():
        accuracy("intermodulation", db(one(found, quantity).value / value))
    assert one(found, "imd").at["window"] == window
    assert not found.withheld


def test_a_window_not_known_leaves_peak_levels():
    found = measured(KIND, spectrum((60.7, 7003.33), MODULATION, "hann"))
    assert db(one(found, "imd").value / 1.6389447) == pytest.approx(0, abs=0.5)
    assert "window" not in one(found, "imd").at
    assert found.withheld == (
        "m: the tones' lobes are not summed, levels are their peaks: the window is not known; write for example "
        'window = "hann"',
    )


def test_a_relative_spectrum_and_a_capture_without_full_scale_carry_the_ratio():
    data = spectrum((60, 7000), MODULATION, "blackman-harris")
    level_db = 20 * np.log10(np.maximum(data.columns[1].values, 1e-12)) - 31.0
    relative = sheet(data.columns[0], column("level", level_db, unit="dBr"))
    found = measured(KIND, relative, window="blackman-harris")
    assert db(one(found, "imd").value / 1.6389447) == pytest.approx(0, abs=0.02)
    assert "power" not in one(found, "imd").at
    found = measured(KIND, capture(played((60, 7000), MODULATION, scale=0.5), unit="ratio"))
    assert one(found, "imd").value == pytest.approx(1.6389447, rel=1e-5)
    assert not {"power", "voltage"} & set(one(found, "imd").at)


def test_power_is_that_of_a_sine_of_the_same_peak():
    """Peaks 0.8 and 0.2 V times 20: as a sine of 20 V peak, 25 W into 8 Ω (common practice, no source)."""
    straight = played((60, 7000), MODULATION, scale=20.0, a2=1e-3, a3=0.0)
    assert one(measured(KIND, capture(straight)), "imd").at["power"] == pytest.approx(25.0, rel=1e-3)
    unloaded = one(measured(KIND, capture(straight), load_ohm=None), "imd")
    assert unloaded.at["voltage"] == pytest.approx(20 / math.sqrt(2), rel=1e-3)
    assert measured(KIND, capture(straight), drive=Level(24.0, "W")).findings
    with pytest.raises(InputError, match=r'drive = "10 W", but .* holds 25 W, as a sine of the same peak'):
        measured(KIND, capture(straight), drive=Level(10.0, "W"))


def test_conditions_travel_and_one_finding_answers_a_rating():
    found = measured(KIND, capture(played((60, 7000), MODULATION)), stage="after", input="aux", channels="both")
    f = one(found, "imd")
    assert f.at["method"] == "sideband pairs relative to the upper tone"
    assert one(found, "imd_rss").at["method"] == "r.s.s. of the four sidebands relative to the upper tone"
    assert (f.at["input"], f.at["channels"], f.at["load"]) == ("aux", "both", 8.0)
    assert (f.unit, f.stage, f.kind) == ("%", "after", KIND)
    assert [x.quantity for x in found.findings].count("imd") == 1


def test_swapped_channels_swap_findings():
    good, bad = played((60, 7000), MODULATION, a2=0.001), played((60, 7000), MODULATION)
    one_way, other = measured(KIND, capture(good, bad)), measured(KIND, capture(bad, good))
    for quantity in ("imd", "imd_second", "imd_third", "imd_rss"):
        assert one(one_way, quantity, "L").value == one(other, quantity, "R").value
        assert one(one_way, quantity, "R").value == one(other, quantity, "L").value
    assert one(one_way, "imd", "R").value > 3 * one(one_way, "imd", "L").value


def test_noise_is_never_given_as_distortion():
    """A straight line with noise 60 dB down: a bound well above nothing and no more than what would have stood out."""
    rng = np.random.default_rng(60)
    clean = played((60, 7000), MODULATION, a2=0.0, a3=0.0)
    noise = known_waveforms.noise(rng, len(clean), RATE_HZ, (20, 20_000), 1e-3 / math.sqrt(2))
    f = one(measured(KIND, capture(clean + noise)), "imd")
    assert (f.bound, f.at["limited_by"]) == ("at most", "noise")
    assert why_bound(f) == "products hidden in noise"
    assert f.value < 0.1
    # what is there lies under the bound
    small = played((60, 7000), MODULATION, a2=1e-6, a3=0.0)
    f = one(measured(KIND, capture(small + noise)), "imd")
    assert f.bound == "at most"
    assert f.value > known.modulation(*MODULATION, 1e-6, 0.0)["imd"]


@pytest.mark.long
@pytest.mark.parametrize("window", [None, "hann", "blackman-harris"])
def test_a_bound_holds(accuracy, window):
    """Products about as strong as the noise, whose phase may be against them: what is given as "at most" is at least
    the closed form's figure, and what is given as a figure holds it within its uncertainty.
    """
    bounds = 0
    for case in range(60):
        rng = np.random.default_rng(case)
        a2, a3 = 10 ** rng.uniform(-6, -3.5), float(rng.choice([0.0, 1e-5, 1e-4]))
        clean = played((60, 7000), MODULATION, phases=rng.uniform(0, 6, 2), a2=a2, a3=a3)
        samples = clean + known_waveforms.noise(rng, len(clean), RATE_HZ, (20, 20_000), 10 ** rng.uniform(-5, -2.5))
        if window:
            frequency, level = known_spectra.exported(samples, RATE_HZ, 32_768, window)
            data = sheet(column("frequency", frequency[1:]), column("level", level[1:]))
        else:
            data = capture(samples)
        f, true = one(measured(KIND, data, window=window or ""), "imd"), known.modulation(*MODULATION, a2, a3)["imd"]
        if f.bound:
            bounds += 1
            accuracy("intermodulation bounds", max(0.0, db(true / f.value)))
        else:
            assert abs(f.value - true) <= 1.5 * (f.uncertainty or 0.0) + 0.002 * true
    assert bounds > 20


def test_noise_beside_the_products_widens_the_uncertainty():
    rng = np.random.default_rng(61)
    clean = played((60, 7000), MODULATION)
    noise = known_waveforms.noise(rng, len(clean), RATE_HZ, (20, 20_000), 3e-3)
    f = one(measured(KIND, capture(clean + noise)), "imd")
    assert f.uncertainty is not None
    assert abs(f.value - 1.6389447) < 2 * f.uncertainty
    assert one(measured(KIND, capture(clean)), "imd").uncertainty is None


@pytest.mark.parametrize(
    ("hertz", "peaks", "says"),
    [
        ((60, 7000), (0.6, 0.3), r"60 Hz \+ 7 kHz at 2\.00:1, which is neither"),
        ((60, 7000), (0.2, 0.8), r"at 0\.25:1"),
        ((1000, 4000), (0.8, 0.2), r"at 4\.00:1"),
        ((5000, 10_000), (0.5, 0.5), r"at 1\.00:1"),
        ((1000, 3000), (1.0, 1e-4), r"one tone can be made out, 1 kHz; intermodulation needs two"),
    ],
)
def test_what_is_neither_pair_is_refused(hertz, peaks, says):
    with pytest.raises(InputError, match=says) as refused:
        measured(KIND, capture(played(hertz, peaks, a2=0.0, a3=0.0)))
    assert refused.value.faults[0].source == "measurements/m.csv"


def test_many_tones_are_refused():
    samples = known.sines([1000, 3000, 7000], [0.3, 0.3, 0.3], [0, 1, 2], RATE_HZ, RATE_HZ)
    with pytest.raises(InputError, match="or is it a multitone"):
        measured(KIND, capture(samples))


def test_a_short_record_is_refused():
    """0.15 s holds nine cycles of 60 Hz."""
    with pytest.raises(InputError, match=r"holds 9\.0 cycles .* at least 10 are needed; capture a longer record"):
        measured(KIND, capture(played((60, 7000), MODULATION, seconds=0.15)))
    with pytest.raises(InputError, match="100 samples are too few for a capture"):
        measured(KIND, capture(played((60, 7000), MODULATION)[:100]))


def test_a_product_outside_the_data_is_told():
    with pytest.raises(InputError, match="product at 21 kHz lies outside the data; capture at a higher rate"):
        measured(KIND, capture(played((19_000, 20_000), TWIN, rate_hz=41_000, a2=0, a3=0), rate_hz=41_000))


@pytest.mark.parametrize("points", [2048, 3000])
def test_lobes_that_overlap_are_refused(points):
    """2048 or 3000 points at 96 kHz: lines 47 or 32 Hz apart cannot part 250 Hz."""
    with pytest.raises(InputError, match="overlap; export a spectrum with more lines"):
        measured(KIND, spectrum((250, 8000), MODULATION, "blackman-harris", points), window="blackman-harris")


def test_one_silent_channel_is_withheld_and_two_are_refused():
    tones, silent = played((60, 7000), MODULATION), np.zeros(RATE_HZ + 37)
    found = measured(KIND, capture(tones, silent))
    assert {f.channel for f in found.findings} == {"L"}
    assert found.withheld == ("m: no figures: right: there is no tone in it; is it another kind of file?",)
    with pytest.raises(InputError, match="there is no tone in it"):
        measured(KIND, capture(silent, silent))


def test_a_window_that_is_not_known_and_too_few_lines():
    with pytest.raises(InputError, match='window = "welsh" is not known; known: '):
        measured(KIND, spectrum((60, 7000), MODULATION, "hann"), window="welsh")
    with pytest.raises(InputError, match="31 lines are too few for a spectrum"):
        measured(KIND, sheet(column("frequency", np.arange(1, 32) * 100.0), column("level", np.ones(31))))
    with pytest.raises(InputError, match="a waveform is a voltage over time"):
        measured(KIND, capture(played((60, 7000), MODULATION), unit="dBV"))


# ------------------------------------------------------------------ card and points


def run_of(data, **told):
    return run_from(data, conditions(KIND, **told))


def test_the_card_is_drawn_as_it_is_said():
    run = run_of(capture(played((60, 7000), MODULATION, a2=0.001), played((60, 7000), MODULATION)), drive=None)
    card = KINDS[KIND].card([run], ())
    (panel,) = card.body.panels
    assert (card.hero.figure, card.hero.channel) == ("1.6 %", "R")
    assert "60 Hz + 7 kHz, 4:1" in card.conditions
    assert panel.label == "relative to the upper tone"
    assert [text for _, text in panel.x.ticks] == ["\u2212120", "\u221260", "7 kHz", "+60", "+120"]
    assert [t.channel for t in panel.traces] == ["R"]  # the worse one
    second, third = panel.marks
    assert (second.text, third.text) == ("2nd order", "3rd order")
    assert second.y == pytest.approx(db(0.0159368899 / 2), abs=0.01)
    assert third.x == pytest.approx(120, abs=0.01)


def test_the_twin_tones_card():
    run = run_of(capture(played((19_000, 20_000), TWIN)))
    (panel,) = KINDS[KIND].card([run], ()).body.panels
    assert (panel.x.scale, panel.x.low) == ("linear", 0.0)
    assert panel.x.high >= 21_000
    second, third = panel.marks
    assert (second.x, third.x) == (pytest.approx(1000, abs=0.1), pytest.approx(18_000, abs=0.1))
    assert second.y == pytest.approx(db(0.0024943876), abs=0.01)
    # both tones stand half of their sum high
    assert float(np.max(panel.traces[0].y)) == pytest.approx(-6.02, abs=1.0)


def test_points():
    before = run_of(capture(played((60, 7000), MODULATION)), stage="before")
    after = run_of(capture(played((60, 7000), MODULATION, a2=1e-3, a3=4e-3)), stage="after")
    (figure,) = KINDS[KIND].points(after, before)
    assert figure.facts["before"].value == pytest.approx(1.6389447, rel=1e-5)
    assert figure.facts["tones"] == pytest.approx([60.0, 7000.0], abs=0.01)


def test_a_window_that_is_not_known_may_cost_a_tone_four_decibels():
    """Harris 1978: a rectangular window's tone halfway between two lines stands 3.92 dB low; the pair is known all the
    same, and beyond that it is not.
    """
    hertz = np.arange(1, 24_001.0)
    for lost_db, told in ((3.9, True), (7.0, False)):
        level = np.full(len(hertz), -130.0)
        level[[59, 6999]] = -3.0, -15.04 - lost_db
        data = sheet(column("frequency", hertz), column("level", level, "", "dBV"))
        if told:
            assert one(measured(KIND, data), "imd").at["tones"] == pytest.approx([60.0, 7000.0])
        else:
            with pytest.raises(InputError, match="which is neither a low tone four times as strong"):
                measured(KIND, data)


def test_a_faulty_channel_s_own_level_is_in_the_sentence():
    """A sine that peaks as the pair does, at 4 V, has 16 / 16 = 1 W into 8 Ω; half as strong it has a quarter."""
    left = played((60, 7000), MODULATION, scale=4.0, a3=0)
    run = run_from(capture(left, left / 2), conditions(KIND, drive=Level(1.0, "W"), stage="before"))
    figure = next(point for point in KINDS[KIND].points(run, None) if point.name == "figure")
    assert figure.facts["drive"] == "1 W into 8 Ω on the left, 250 mW into 8 Ω on the right"


def test_the_card_holds_what_the_file_says():
    side = 0.2 * 0.01
    pair = known.sines([60.0, 7000.0, 6940.0, 7060.0], [0.8, 0.2, side, side], [0.0] * 4, 96_000, CAPTURED)
    card = card_of("intermodulation", capture_of(pair))
    # a sideband of 1 % of the upper tone on each side, added (IEC 60268-3's modulation method, from memory)
    assert card.hero.figure == "2.0 %"
