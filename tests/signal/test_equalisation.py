"""De-emphasis and tape equalisation against tables by their time constants, and scipy's analogue filters."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from reviewkit.signal.equalisation import equalisation_db

# −10 lg(1 + (2πfτ)²) relative to 1 kHz, 50 and 75 µs (ITU-R BS.450-3, 1.2), printed to 0.0001 dB
DE_EMPHASIS = (
    (100, 0.4045, 0.8613),
    (400, 0.3407, 0.7193),
    (2000, -1.0363, -1.8897),
    (3000, -2.3518, -3.8982),
    (5000, -4.9913, -7.2926),
    (6300, -6.5084, -9.0474),
    (8000, -8.2343, -10.9510),
    (10000, -9.9534, -12.7852),
    (12500, -11.7453, -14.6555),
    (15000, -13.2473, -16.2018),
    (19000, -15.2295, -18.2228),
    (38000, -21.1603, -24.2031),
)
TAPE_HZ = (31.5, 63, 125, 333, 400, 1000, 2000, 4000, 6300, 8000, 10000, 12500, 14000, 16000, 18000)
# recorded flux, dB relative to 315 Hz or 1 kHz: the formula of IEC 60094-1, clause 15, printed to 0.001 dB
# fmt: off
TAPE = {
    (120e-6, 3180e-6, 315.0): (5.598, 2.245, 0.737, -0.038, -0.181, -1.814, -5.018, -9.911, -13.592, -15.597,
                               -17.493, -19.404, -20.378, -21.529, -22.546),
    (70e-6, 3180e-6, 315.0): (5.444, 2.096, 0.607, -0.021, -0.091, -0.783, -2.512, -6.148, -9.410, -11.290,
                              -13.110, -14.971, -15.927, -17.060, -18.065),
    (90e-6, 3180e-6, 1000.0): (6.664, 3.313, 1.818, 1.140, 1.045, 0, -2.381, -6.670, -10.170, -12.123,
                               -13.988, -15.879, -16.846, -17.989, -19.001),
    (50e-6, 3180e-6, 1000.0): (5.868, 2.521, 1.037, 0.448, 0.397, 0, -1.044, -3.716, -6.519, -8.245,
                               -9.964, -11.756, -12.686, -13.796, -14.784),
    (70e-6, np.inf, 1000.0): (0.767, 0.765, 0.755, 0.676, 0.636, 0, -1.721, -5.355, -8.616, -10.497,
                            -12.316, -14.177, -15.133, -16.267, -17.272),
}
# fmt: on
ROW = "de-emphasis, tape equalisation"


@pytest.mark.parametrize(("frequency_hz", "us_50", "us_75"), DE_EMPHASIS)
def test_de_emphasis_as_printed(frequency_hz, us_50, us_75, accuracy):
    accuracy(ROW, equalisation_db(frequency_hz, (50e-6,)) - us_50)
    accuracy(ROW, equalisation_db(frequency_hz, (75e-6,)) - us_75)


def replay_db(frequency_hz, seconds, reference_hz):
    return equalisation_db(frequency_hz, seconds) - equalisation_db(reference_hz, seconds)


@pytest.mark.parametrize("constants", TAPE)
def test_tape_equalisation_as_printed(constants, accuracy):
    *seconds, reference_hz = constants
    flux = -replay_db(np.array(TAPE_HZ), tuple(seconds), reference_hz)
    accuracy(ROW, np.max(np.abs(flux - TAPE[constants])))


def test_replay_of_the_wrong_tape_type(accuracy):
    """A 120 µs replay of a 70 µs tape relative to 315 Hz: +1.0310, +3.4135 and +4.3828 dB at 1, 3.15 and 10 kHz."""
    for frequency_hz, true_db in ((1000, 1.0310), (3150, 3.4135), (10_000, 4.3828)):
        replays = [replay_db(frequency_hz, (s, 3180e-6), 315.0) for s in (120e-6, 70e-6)]
        accuracy(ROW, replays[0] - replays[1] - true_db)


def test_as_circuits(accuracy):
    asked = np.geomspace(10, 40_000, 301)
    tau = 50e-6
    level = np.abs(signal.freqs([1.0], [tau, 1.0], worN=2 * np.pi * np.append(asked, 1000.0))[1])
    accuracy(ROW, np.max(np.abs(20 * np.log10(level[:-1] / level[-1]) - equalisation_db(asked, (tau,)))))
    low, high = 3180e-6, 120e-6
    # (1 + sτ₁) / (1 + 1/(sτ₂)) = sτ₂(1 + sτ₁) / (1 + sτ₂)
    replay = np.abs(signal.freqs([low * high, low, 0.0], [low, 1.0], worN=2 * np.pi * np.append(asked, 315.0))[1])
    true_db = 20 * np.log10(replay[:-1] / replay[-1])
    accuracy(ROW, np.max(np.abs(true_db - replay_db(asked, (high, low), 315.0))))


def test_it_keeps_the_shape():
    assert np.isscalar(equalisation_db(1000.0, (50e-6,)))
    assert equalisation_db(np.full((2, 3), 1000.0), (120e-6, np.inf)).tolist() == [[0.0] * 3] * 2
