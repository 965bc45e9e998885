"""WAV captures through the whole program: each kind that takes one, in each sample format, against closed forms."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import known_tones
import numpy as np
import pytest
import soundfile

from reviewkit.build import pipeline
from reviewkit.model.finding import Finding

RATE_HZ = 96_000
FULL_SCALE_V = 20.0
TOML = """[unit]
maker = "Norrvale"
model = "Forty"

[bench]
load = "8 ohm"
mains = "50 Hz"

[[rated]]
quantity = "power"
at_least = "40 W"
load = "8 ohm"

[[measurement]]
file = "measurements/take.wav"
kind = "{kind}"
{more}
"""
FULL = f'full_scale = "{FULL_SCALE_V:g} V"'


def bent(hertz: tuple[float, ...], peaks: tuple[float, ...], seconds: float = 2.0) -> Any:
    """Sines through y = x + 0.01 x² + 0.004 x³, in volts; no whole cycles."""
    phases = tuple(0.3 + 1.1 * place for place in range(len(hertz)))
    return known_tones.bent(known_tones.sines(hertz, peaks, phases, RATE_HZ, int(seconds * RATE_HZ) + 37))


def found(session_of: Any, kind: str, volts: Any, subtype: str, more: str = FULL, form: str = "WAV") -> list[Finding]:
    folder: Path = session_of(TOML.format(kind=kind, more=more))
    (folder / "measurements").mkdir(exist_ok=True)
    path = folder / "measurements" / "take.wav"
    soundfile.write(path, volts / FULL_SCALE_V, RATE_HZ, subtype=subtype, format=form)
    return list(pipeline.check(folder).findings)


def one(findings: list[Finding], quantity: str, channel: str = "", **at: Any) -> Finding:
    (finding,) = (
        f
        for f in findings
        if (f.quantity, f.channel) == (quantity, channel) and all(f.at.get(key) == entry for key, entry in at.items())
    )
    return finding


@pytest.mark.parametrize(
    ("subtype", "form"),
    [
        ("PCM_16", "WAV"),
        pytest.param("PCM_24", "WAVEX", marks=pytest.mark.long),
        pytest.param("PCM_32", "WAV", marks=pytest.mark.long),
        ("FLOAT", "WAVEX"),
        pytest.param("DOUBLE", "WAV", marks=pytest.mark.long),
    ],
)
def test_a_tone(subtype, form, session_of):
    """Fundamental 1 + 3/4 a3, second harmonic a2/2, third a3/4, for a peak of 1 V (trigonometry)."""
    stereo = np.column_stack([bent((997.3,), (1.0,)), 0.5 * bent((997.3,), (1.0,))])
    findings = found(session_of, "tone", stereo, subtype, form=form)
    rel = 1e-3 if subtype == "PCM_16" else 1e-5
    for channel, scale in (("L", 1.0), ("R", 0.5)):
        assert one(findings, "level", channel).value == pytest.approx(scale * 1.003 / math.sqrt(2), rel=rel)
        thd = 100 * math.hypot(0.005, 0.001) / 1.003
        assert one(findings, "thd", channel).value == pytest.approx(thd, rel=1e-2 if subtype == "PCM_16" else 1e-4)


def test_a_tone_without_its_full_scale(session_of):
    findings = found(session_of, "tone", bent((997.3,), (1.0,)), "PCM_24", more="")
    assert one(findings, "thd").value == pytest.approx(100 * math.hypot(0.005, 0.001) / 1.003, rel=1e-4)
    assert not {"level", "power"} & {f.quantity for f in findings}


def test_intermodulation(session_of):
    findings = found(session_of, "intermodulation", bent((60.0, 7000.0), (0.8, 0.2)), "PCM_24")
    assert one(findings, "imd").value == pytest.approx(1.6389447, rel=1e-4)


def test_a_multitone(session_of):
    """Five tones of 0.1 V and a sixth line 70 dB below them."""
    hertz = (211.0, 497.0, 1103.0, 2411.0, 5303.0, 3001.0)
    time = np.arange(3 * RATE_HZ) / RATE_HZ
    peaks = (0.1,) * 5 + (0.1 * 10 ** (-70 / 20),)
    volts = sum(peak * np.sin(2 * np.pi * f * time + f) for f, peak in zip(hertz, peaks, strict=True))
    finding = one(found(session_of, "multitone", volts, "PCM_32"), "multitone_clearance")
    assert finding.value == pytest.approx(70.0, abs=0.1)
    assert finding.at["frequency"] == pytest.approx(3001.0, abs=0.1)


def test_idle_noise(session_of):
    """White noise of σ volts per sample has σ √(B / (f_s/2)) in a band B; re 40 W into 8 Ω, 17.889 V."""
    sigma, band = 1e-3, 19_980.0
    volts = np.random.default_rng(4).normal(0, sigma, (6 * RATE_HZ, 2))
    findings = found(session_of, "noise", volts, "PCM_24")
    expected = sigma * math.sqrt(band / (RATE_HZ / 2))
    for channel in ("L", "R"):
        noise = [f for f in findings if (f.quantity, f.channel) == ("noise", channel) and "weighting" not in f.at]
        assert noise[0].value == pytest.approx(expected, rel=0.01)
        snr = one(findings, "snr", channel, reference=40.0, weighting="A")
        # A-weighted white noise, 20 Hz – 20 kHz: −2.048 dB (IEC 61672-1, by its analytic form)
        assert snr.value == pytest.approx(20 * math.log10(math.sqrt(320) / expected) + 2.048, abs=0.15)


def test_a_capture_that_clipped_builds_nothing(session_of, say):
    folder: Path = session_of(TOML.format(kind="tone", more=FULL))
    (folder / "measurements").mkdir()
    time = np.arange(RATE_HZ) / RATE_HZ
    clipped = np.clip(1.2 * np.sin(2 * np.pi * 997 * time), -1, 1)
    soundfile.write(folder / "measurements" / "take.wav", clipped, RATE_HZ, subtype="PCM_24")
    said = say("build", folder)
    assert said.status == 2
    assert said.err.startswith("measurements/take.wav")
    assert "clip" in said.err
    assert "nothing was written" in said.err
    assert not (folder / "out").exists()
