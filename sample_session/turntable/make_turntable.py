"""Makes the measurement files of the turntable from its model: a silent groove before and after a new bearing.

    python make_turntable.py            writes measurements/*
    python make_turntable.py --check    says whether the files on disk are what this script makes

The turntable, its maker and every figure are invented.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

import numpy as np
import soundfile

HERE = Path(__file__).resolve().parent
RATE_HZ, SECONDS = 6000, 12
# the level that 10 cm/s at 1 kHz has through the same stage, V r.m.s., and the highest that the capture holds
REFERENCE_V, FULL_SCALE_V = 0.245, 0.05
# lines of which peaks, V: a warp below the band, and the motor's two
WARP, MOTOR_HZ = (100 / 180, 0.012), (25.0, 50.0)
LINES = {"before": (0.0042, 0.0017), "after": (0.0009, 0.0006)}
BELOW = {"before": 0.0012, "after": 0.0004}  # r.m.s. of noise from 10 to 315 Hz
ABOVE = 0.0003  # above 315 Hz


def noise(seed: int, low_hz: float, high_hz: float, rms: float) -> np.ndarray:
    """Noise of an exact r.m.s. value in a band that falls by 3 dB an octave, made line by line."""
    count = SECONDS * RATE_HZ
    hz = np.fft.rfftfreq(count, 1 / RATE_HZ)
    inside = (hz > low_hz) & (hz < high_hz)
    phases = np.random.default_rng(seed).uniform(0, 2 * np.pi, count // 2 + 1)
    made = np.fft.irfft(np.where(inside, np.exp(1j * phases) / np.sqrt(np.maximum(hz, low_hz)), 0.0), count)
    return rms * made / np.sqrt(np.mean(made**2))


def groove(stage: str) -> np.ndarray:
    """The silent groove as the stage hands it on, V."""
    t = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    made = WARP[1] * np.sin(2 * np.pi * WARP[0] * t)
    for hz, peak in zip(MOTOR_HZ, LINES[stage], strict=True):
        made += peak * np.sin(2 * np.pi * hz * t + hz)
    return made + noise(len(stage), 10.0, 315.0, BELOW[stage]) + noise(7, 315.0, RATE_HZ / 2, ABOVE)


def files() -> dict[str, bytes]:
    """Every file of measurements/, by name."""
    made = {}
    for stage in LINES:
        wave = io.BytesIO()
        soundfile.write(wave, groove(stage) / FULL_SCALE_V, RATE_HZ, format="WAV", subtype="PCM_16")
        made[f"rumble-{stage}.wav"] = wave.getvalue()
    return made


def main() -> int:
    """Write the files, or check them."""
    stale = []
    for name, content in files().items():
        path = HERE / "measurements" / name
        if "--check" in sys.argv:
            stale += [name] if not path.is_file() or path.read_bytes() != content else []
        else:
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content)
    print(
        "\n".join(f"measurements/{name} is not what this script makes" for name in stale) or "measurements/ is as made"
    )
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
