"""What cards and sentences are made from: the results alone, not the file, whichever build they come from."""

from __future__ import annotations

from functools import partial

import known_noise
import known_spectra
import known_tones
import known_waveforms as known
import numpy as np
import pytest
from known_steps import TwoPoles
from measured_sheets import captured, column, conditions, run_from, sheet

from reviewkit.build import plain_data
from reviewkit.measure.kinds import KINDS
from reviewkit.model.finding import Run

RATE_HZ = 96_000
COUNT = 70_001
LINES = 32_768
MOST_POINTS = 4000
BLACKMAN_HARRIS = {"window": "blackman-harris"}


capture = partial(captured, rate_hz=RATE_HZ)


def exported(samples, unit="V"):
    frequency, volts = known_spectra.exported(samples[:LINES], RATE_HZ, LINES, "blackman-harris")
    level = volts if unit == "V" else 20 * np.log10(volts)
    return sheet(column("frequency", frequency[1:]), column("level", level[1:], "L", unit))


def noise(seed, rms=1e-5):
    return known.noise(np.random.default_rng(seed), COUNT, RATE_HZ, (10.0, 40_000.0), rms)


def tone(third_db, hertz=1003.3):
    peaks = known.of_levels({2: -60.0, 3: third_db}, np.random.default_rng(1))
    return known.wave(peaks, hertz / RATE_HZ, COUNT, 0.3) + noise(2)


def square(corner_hz, hertz):
    return 2 * TwoPoles(corner_hz, 0.5).wave(hertz, np.arange(COUNT) / RATE_HZ)


def pair(*hertz, ratio=1.0, a3=known_tones.A3):
    peaks = (ratio / (1 + ratio), 1 / (1 + ratio))
    return known_tones.bent(known_tones.sines(hertz, peaks, (0.4, 2.1), RATE_HZ, COUNT), known_tones.A2, a3) + noise(3)


def many(spur_hz, spur_db):
    tones = known_tones.third_octaves(-10, 12)
    peaks = [0.1] * len(tones) + [0.1 * 10 ** (spur_db / 20)]
    return known_tones.sines([*tones, spur_hz], peaks, range(len(peaks)), RATE_HZ, COUNT) + noise(4)


def idle_lines(unit):
    frequency, volts = known_noise.exported(1e-14, 3.0, 24_000.0, "hann")
    level = volts if unit == "V" else 20 * np.log10(volts)
    return sheet(column("frequency", frequency), column("level", level, "", unit))


# what one card shows: for each run its file and what is stated of it
CARDS = {
    "tone before and after": lambda: (
        "tone",
        (capture(tone(-40.0), tone(-70.0)), {"stage": "before"}),
        (capture(tone(-70.0, 997.0), tone(-70.0, 997.0)), {"stage": "after", "mains_hz": 60.0}),
    ),
    "tone on one side alone": lambda: ("tone", (capture(noise(5), tone(-70.0)), {})),
    "tone on neither side": lambda: ("tone", (capture(noise(5), noise(6)), {})),
    "tone of a short record": lambda: ("tone", (capture(tone(-70.0)[:4000]), {})),
    "tones of full scale and in volts": lambda: (
        "tone",
        (capture(tone(-70.0), unit="ratio"), {"stage": "before"}),
        (capture(tone(-70.0)), {"stage": "after"}),
    ),
    "tones as spectra": lambda: (
        "tone",
        (exported(tone(-40.0)), {"stage": "before", **BLACKMAN_HARRIS}),
        (exported(tone(-70.0), "dB"), {"stage": "after"}),
    ),
    "a tone's spectrum and a capture": lambda: (
        "tone",
        (exported(tone(-40.0)), {"stage": "before", **BLACKMAN_HARRIS}),
        (capture(tone(-70.0)), {"stage": "after"}),
    ),
    "squares": lambda: (
        "square",
        (capture(square(12_000, 500.3)), {"stage": "before"}),
        (capture(square(14_000, 1003.7), square(12_000, 1003.7)), {"stage": "after"}),
    ),
    "a square of full scale": lambda: ("square", (capture(square(12_000, 500.3), unit="ratio"), {})),
    "idle captures": lambda: (
        "noise",
        (capture(noise(7, 1e-4)), {"stage": "before"}),
        (capture(noise(8), noise(9)), {"stage": "after"}),
    ),
    "an idle spectrum": lambda: ("noise", (idle_lines("V"), {"window": "hann"})),
    "idle lines and a capture": lambda: (
        "noise",
        (capture(noise(7)), {"stage": "before"}),
        (idle_lines("dB"), {"stage": "after"}),
    ),
    "many tones": lambda: (
        "multitone",
        (capture(many(1500.0, -50.0), many(2200.0, -70.0)), {"stage": "before"}),
        (exported(many(1500.0, -70.0)), {"stage": "after", **BLACKMAN_HARRIS}),
    ),
    "many tones through a window that is not known": lambda: (
        "multitone",
        (exported(many(1500.0, -50.0)), {"stage": "before"}),
        (capture(many(1500.0, -70.0)), {"stage": "after"}),
    ),
    "modulation": lambda: (
        "intermodulation",
        (capture(pair(60.0, 7000.0, ratio=4.0), pair(60.0, 7000.0, ratio=4.0, a3=0.01)), {"stage": "before"}),
        (exported(pair(250.0, 8000.0, ratio=4.0)), {"stage": "after", **BLACKMAN_HARRIS}),
    ),
    "twin tones after modulation": lambda: (
        "intermodulation",
        (capture(pair(60.0, 7000.0, ratio=4.0)), {"stage": "before"}),
        (capture(pair(19_000.0, 20_000.0)), {"stage": "after"}),
    ),
}


@pytest.fixture(params=CARDS, scope="module")
def of_one_card(request) -> list[Run]:
    """The runs of one card."""
    kind, *files = CARDS[request.param]()
    return [run_from(data, conditions(kind, id=f"m{n}", **stated)) for n, (data, stated) in enumerate(files)]


def shown(runs: list[Run]) -> str:
    """All cards and facts, every number in full."""
    kind = KINDS[runs[0].conditions.measurement.kind]
    points = [kind.points(run, before) for run in runs for before in (None, runs[0])]
    return plain_data.to_text((kind.card(runs, ()), kind.further(runs), points))


def test_results_that_were_stored_give_the_same(of_one_card):
    runs = of_one_card
    stored = [plain_data.from_text(plain_data.to_text((r.findings, r.withheld, r.curves))) for r in runs]
    restored = [
        Run(run.conditions, findings, withheld, curves=curves)
        for run, (findings, withheld, curves) in zip(runs, stored, strict=True)
    ]
    assert shown(restored) == shown(runs)


def test_curves_cannot_be_changed_and_hold_no_whole_record(of_one_card):
    runs = of_one_card
    assert any(run.curves for run in runs)
    for curve in (curve for run in runs for curve in run.curves):
        assert curve.x.shape == curve.y.shape == (len(curve.x),)
        assert len(curve.x) <= MOST_POINTS or curve.name == "lines as exported"
        for values in (curve.x, curve.y):
            assert not values.flags.writeable
            assert values.base is None
