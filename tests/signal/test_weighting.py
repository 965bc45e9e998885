"""A, C and 468 weighting, rumble and RIAA replay against published tables, corner frequencies and scipy.signal."""

from __future__ import annotations

import math

import numpy as np
import pytest
from known_noise import a_weighted, phono_db
from scipy import integrate, signal

from reviewkit.signal.weighting import (
    a_weighting,
    c_weighting,
    riaa_replay_db,
    rumble_b_type,
    weighting_468,
)

# IEC 61672-1, Table 3 (and IEC 179 before it): nominal third-octave frequency, A weighting in dB as printed. The values
# belong to the exact frequencies 1000 · 10^(n/10), not to the nominal ones
# fmt: off
A_PRINTED = (
    (10, -70.4),
    (12.5, -63.4),
    (16, -56.7),
    (20, -50.5),
    (25, -44.7),
    (31.5, -39.4),
    (40, -34.6),
    (50, -30.2),
    (63, -26.2),
    (80, -22.5),
    (100, -19.1),
    (125, -16.1),
    (160, -13.4),
    (200, -10.9),
    (250, -8.6),
    (315, -6.6),
    (400, -4.8),
    (500, -3.2),
    (630, -1.9),
    (800, -0.8),
    (1000, 0.0),
    (1250, 0.6),
    (1600, 1.0),
    (2000, 1.2),
    (2500, 1.3),
    (3150, 1.2),
    (4000, 1.0),
    (5000, 0.5),
    (6300, -0.1),
    (8000, -1.1),
    (10000, -2.5),
    (12500, -4.3),
    (16000, -6.6),
    (20000, -9.3),
)

# IEC 61672-1, Table 3: C weighting at the same frequencies, printed to 0.1 dB
C_PRINTED = (
    *(-14.3, -11.2, -8.5, -6.2, -4.4, -3.0, -2.0, -1.3, -0.8, -0.5, -0.3, -0.2, -0.1, 0.0, 0.0, 0.0, 0.0),
    *(0.0, 0.0, 0.0, 0.0, 0.0, -0.1, -0.2, -0.3, -0.5, -0.8, -1.3, -2.0, -3.0, -4.4, -6.2, -8.5, -11.2),
)

# ITU-R BS.468-4, Table 1: Hz, dB, tolerance; none is allowed at 6300 Hz, and no filter meets that: 0.05 dB here
W468_PRINTED = (
    (31.5, -29.9, 2.0),
    (63, -23.9, 1.4),
    (100, -19.8, 1.0),
    (200, -13.8, 0.85),
    (400, -7.8, 0.7),
    (800, -1.9, 0.55),
    (1000, 0.0, 0.5),
    (2000, 5.6, 0.5),
    (3150, 9.0, 0.5),
    (4000, 10.5, 0.5),
    (5000, 11.7, 0.5),
    (6300, 12.2, 0.05),
    (7100, 12.0, 0.2),
    (8000, 11.4, 0.4),
    (9000, 10.1, 0.6),
    (10000, 8.1, 0.8),
    (12500, 0.0, 1.2),
    (14000, -5.3, 1.4),
    (16000, -11.7, 1.6),
    (20000, -22.2, 2.0),
    (31500, -42.7, 2.8),
)
# AES17-2015, 5.2.7, Table 1: CCIR-RMS, 0 dB near 2 kHz
CCIR_RMS_PRINTED = ((63, -29.5), (1000, -5.6), (3150, 3.4), (8000, 5.8), (12500, -5.6))

# the stand-in for the rumble filter of type B by its corner, from scipy's analogue filters
RUMBLE = (
    (10, -53.912),
    (20, -41.871),
    (31.5, -33.980),
    (50, -25.959),
    (100, -14.000),
    (200, -3.179),
    (315, 0.000),
    (500, -3.276),
    (1000, -14.132),
    (2000, -26.094),
)

# Hz, RIAA replay curve, the same with the 1976 amendment, dB re 1 kHz (IEC 60098 time constants, printed to 0.001 dB)
RIAA_PRINTED = (
    (2, 19.904, -0.146),
    (4, 19.884, 5.727),
    (8, 19.802, 11.194),
    (10, 19.743, 12.748),
    (16, 19.493, 15.403),
    (20, 19.274, 16.261),
    (25, 18.954, 16.804),
    (30, 18.593, 16.995),
    (31.5, 18.478, 17.006),
    (40, 17.792, 16.823),
    (50, 16.946, 16.302),
    (63, 15.852, 15.436),
    (80, 14.506, 14.244),
    (100, 13.088, 12.920),
    (125, 11.563, 11.454),
    (160, 9.809, 9.743),
    (200, 8.219, 8.178),
    (250, 6.677, 6.651),
    (315, 5.179, 5.163),
    (400, 3.784, 3.775),
    (500, 2.648, 2.642),
    (630, 1.642, 1.639),
    (800, 0.751, 0.750),
    (1000, 0.000, 0.000),
    (1250, -0.744, -0.743),
    (1600, -1.643, -1.642),
    (2000, -2.589, -2.587),
    (2500, -3.700, -3.699),
    (3150, -5.038, -5.036),
    (4000, -6.605, -6.604),
    (5000, -8.210, -8.208),
    (6300, -9.980, -9.979),
    (8000, -11.894, -11.892),
    (10000, -13.734, -13.733),
    (12500, -15.609, -15.607),
    (16000, -17.708, -17.706),
    (20000, -19.620, -19.619),
)
# fmt: on


def a_weighting_db(frequency_hz):
    return 20 * np.log10(a_weighting(frequency_hz))


def test_a_weighting_as_printed(accuracy):
    for place, row in list(enumerate(A_PRINTED, start=-20)):
        nominal_hz, printed_db = row
        exact_hz = 1000 * 10 ** (place / 10)
        assert exact_hz == pytest.approx(nominal_hz, rel=0.02), place
        accuracy("A weighting", a_weighting_db(exact_hz) - printed_db)


def test_the_nominal_frequency_is_another_place():
    """At 12.5 Hz the printed −63.4 dB would be missed; it belongs to 12.589 Hz."""
    assert a_weighting_db(12.5) == pytest.approx(-63.584, abs=5e-4)


def test_a_weighting_as_a_circuit():
    frequency = np.geomspace(1, 200_000, 301)
    assert np.max(np.abs(20 * np.log10(a_weighted(frequency)) - a_weighting_db(frequency))) < 1e-9


def test_a_weighting_lets_nothing_through_at_zero():
    assert a_weighting(0.0) == 0.0
    assert a_weighting(1000.0) == 1.0
    assert a_weighting(np.array([0.0, 1000.0])).shape == (2,)


def test_white_noise_through_it(accuracy):
    """20 Hz – 20 kHz: −2.048 dB, by quadrature of the formula."""
    power, _ = integrate.quad(lambda f: float(a_weighting(f)) ** 2, 20, 20_000, limit=400)
    accuracy("A weighting", 10 * math.log10(power / 19_980) + 2.048)


def test_c_weighting_as_printed(accuracy):
    for place, printed_db in list(enumerate(C_PRINTED, start=-20)):
        accuracy("C weighting", 20 * np.log10(c_weighting(1000 * 10 ** (place / 10))) - printed_db)


def test_white_noise_through_the_other_weightings():
    """20 Hz – 20 kHz: C −3.4505 dB, 468 +7.3014 dB r.m.s., and with 0 dB near 2 kHz 5.63 dB less."""
    for weight, true_db in (
        (c_weighting, -3.4505),
        (weighting_468, 7.3014),
        (lambda f: weighting_468(f, arm=True), 7.3014 - 5.63),
    ):
        power, _ = integrate.quad(lambda f, weight=weight: float(weight(f)) ** 2, 20, 20_000, limit=400)
        assert 10 * math.log10(power / 19_980) == pytest.approx(true_db, abs=2e-3)


def test_468_weighting_as_printed(accuracy):
    for frequency_hz, printed_db, tolerance_db in W468_PRINTED:
        accuracy("468 weighting", (20 * np.log10(weighting_468(frequency_hz)) - printed_db) / tolerance_db)


@pytest.mark.parametrize(("frequency_hz", "printed_db"), CCIR_RMS_PRINTED)
def test_ccir_rms_as_printed(frequency_hz, printed_db):
    """Printed to 0.1 dB; the network itself is up to 0.05 dB off the Recommendation's table."""
    assert 20 * np.log10(weighting_468(frequency_hz, arm=True)) == pytest.approx(printed_db, abs=0.1)


def test_468_weighting_as_a_circuit(accuracy):
    """The polynomials of the analytic form that is in wide use (from memory), in radians: the same six poles."""
    poles = [
        *(-25903.70104781628, -62675.1700584679, -23615.53521363528 + 36379.90893732929j),
        *(-23615.53521363528 - 36379.90893732929j, -18743.74669072136 + 62460.15645250649j),
        -18743.74669072136 - 62460.15645250649j,
    ]
    asked = np.geomspace(10, 40_000, 301)
    level = np.abs(signal.freqs_zpk([0.0], poles, 2.1034520039796566e24, worN=2 * np.pi * asked)[1])
    accuracy("468 weighting, its network", np.max(np.abs(20 * np.log10(level / weighting_468(asked)))))
    peak = asked[np.argmax(weighting_468(asked))]
    assert peak == pytest.approx(6247, rel=0.03)


@pytest.mark.parametrize(("frequency_hz", "b_db"), RUMBLE)
def test_the_rumble_stand_in(frequency_hz, b_db):
    assert 20 * np.log10(rumble_b_type(frequency_hz)) == pytest.approx(b_db, abs=0.0006)
    low = signal.butter(2, 2 * math.pi * 315, "lowpass", analog=True)
    high = signal.butter(2, 2 * math.pi * 315, "highpass", analog=True)
    both = [abs(signal.freqs(*one, worN=[2 * math.pi * hz])[1][0]) for hz in (frequency_hz, 315) for one in (low, high)]
    assert rumble_b_type(frequency_hz) == pytest.approx(both[0] * both[1] / (both[2] * both[3]), rel=1e-9)


def test_riaa_as_printed(accuracy):
    for row in RIAA_PRINTED:
        frequency_hz, plain_db, amended_db = row
        accuracy("RIAA", riaa_replay_db(frequency_hz) - plain_db)
        accuracy("RIAA", riaa_replay_db(frequency_hz, amendment=True) - amended_db)


def test_riaa_as_a_circuit():
    frequency = np.geomspace(1, 200_000, 301)
    assert np.max(np.abs(riaa_replay_db(frequency) - phono_db(frequency))) < 1e-9
    amended = riaa_replay_db(frequency, amendment=True)
    assert np.max(np.abs(amended - phono_db(frequency, high_pass_s=7950e-6))) < 1e-9


def test_its_corners():
    """1 / (2π τ): 50.0487, 500.4872, 2122.0659 and 20.0195 Hz. 1 kHz lies 19.9110 dB under DC."""
    for seconds, corner_hz in ((3180e-6, 50.0487), (318e-6, 500.4872), (75e-6, 2122.0659), (7950e-6, 20.0195)):
        assert 1 / (2 * math.pi * seconds) == pytest.approx(corner_hz, abs=5e-5)
    assert riaa_replay_db(1e-6) == pytest.approx(19.9110, abs=5e-5)
    # far above all corners: 6 dB an octave; below the amendment's: the same the other way
    assert riaa_replay_db(2e6) - riaa_replay_db(1e6) == pytest.approx(-6.0206, abs=1e-3)
    assert riaa_replay_db(0.2, amendment=True) - riaa_replay_db(0.1, amendment=True) == pytest.approx(6.0206, abs=1e-3)
    # at the amendment's own corner it takes half the power, and next to nothing at 1 kHz
    at_corner = riaa_replay_db(20.0195, amendment=True) - riaa_replay_db(20.0195)
    assert at_corner == pytest.approx(-3.0103 + 0.0017, abs=5e-4)


def test_it_keeps_the_shape():
    assert np.isscalar(riaa_replay_db(100.0))
    assert riaa_replay_db(np.full((2, 3), 1000.0)).tolist() == [[0.0] * 3] * 2
