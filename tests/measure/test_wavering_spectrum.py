"""Exported spectra of a tone that wavers: asked about, since no phase tells it from one that is modulated."""

from __future__ import annotations

import numpy as np
import pytest
from measured_sheets import column, measured, sheet

from reviewkit.model.errors import InputError

RATE_HZ = 48_000.0


def exported(rate_hz, peak, f0=3150.0, lines=1 << 17, third=1e-4):
    """Return the spectrum of a tone whose frequency moves by `peak` of itself, so often a second.

    Frequency modulation, β = peak · f0 / rate: its first sidebands are J1(β) of the tone (Abramowitz and Stegun 9.1).
    """
    t = np.arange(2 * lines) / RATE_HZ
    phase = 2 * np.pi * f0 * t + peak * f0 / rate_hz * np.sin(2 * np.pi * rate_hz * t)
    samples = np.sin(phase) + third * np.sin(3 * phase) + 1e-5 * np.random.default_rng(4).standard_normal(len(t))
    window = np.hanning(len(t) + 1)[:-1]
    level = np.abs(np.fft.rfft(samples * window)) * np.sqrt(2) / np.sum(window)
    hz = np.fft.rfftfreq(len(t), 1 / RATE_HZ)
    inside = (hz > 5) & (hz < 22_000)
    return sheet(column("frequency", hz[inside]), column("level", 20 * np.log10(level[inside]), "L", "dBFS"))


@pytest.mark.parametrize(("rate_hz", "peak"), [(4.0, 1e-3), (9.0, 1e-3), (8.0, 3e-3), (1.0, 1e-2), (25.0, 3e-4)])
def test_a_tone_that_wavers_is_asked_about(rate_hz, peak):
    with pytest.raises(InputError, match="wavers"):
        measured("tone", exported(rate_hz, peak), window="hann")


def test_its_answer_counts_everything():
    found = measured("tone", exported(25.0, 3e-4), window="hann", without_hz=())
    (plus_noise,) = (f.value for f in found.findings if f.quantity == "thd_plus_noise")
    beta = 3e-4 * 3150.0 / 25.0
    assert plus_noise == pytest.approx(100 * np.sqrt(2) * beta / 2, rel=0.01)  # two sidebands of J1(β) ≈ β / 2


@pytest.mark.parametrize("f0", [1000.0, 3150.0])
def test_a_steady_tone_is_read(f0):
    found = measured("tone", exported(10.0, 1e-7, f0), window="hann")
    (thd,) = (f.value for f in found.findings if f.quantity == "thd")
    assert thd == pytest.approx(0.01, rel=0.01)
