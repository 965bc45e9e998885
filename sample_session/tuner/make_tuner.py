"""Makes the measurement files of a receiver's FM section from its model, before and after it was aligned.

    python make_tuner.py            writes measurements/*
    python make_tuner.py --check    says whether the files on disk are what this script makes

The receiver, its maker and every figure are invented.
"""

from __future__ import annotations

import io
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

HERE = Path(__file__).resolve().parent
STEREO_DB = 20.9  # by which a stereo signal must be stronger for the same noise
RISE_DB, FLOOR_DB = 37.6, {"mono": 76.0, "stereo": 70.5}  # of signal to noise: at 0 dBf, and at strong signals
CLICKS_DB, CLICKS_DBF, CLICKS_SLOPE = 30.3, 8.9, 4.6  # below the threshold noise rises by so much a dB
THD_PERCENT = 0.11


@dataclass(frozen=True)
class Aligned:
    """The state of the discriminator and the stereo decoder: THD at 1 kHz (%), and how far the difference signal is
    from the sum: its gain and its delay (s).
    """

    thd: float
    gain: float
    delay: float


STATES = {"before": Aligned(1.35, 0.86, 1.1e-6), "after": Aligned(0.21, 0.991, 0.45e-6)}


def noise_db(dbf: np.ndarray, mode: str) -> np.ndarray:
    """Noise relative to the output with the tone: it falls as the signal rises, down to the tuner's own."""
    weaker = STEREO_DB if mode == "stereo" else 0.0
    clicks = 10 ** (-(CLICKS_DB + CLICKS_SLOPE * (dbf - CLICKS_DBF - weaker)) / 10)
    return 10 * np.log10(10 ** (-(dbf - weaker + RISE_DB) / 10) + clicks + 10 ** (-FLOOR_DB[mode] / 10))


def thd_plus_noise(dbf: np.ndarray) -> np.ndarray:
    """Noise and distortion together, mono, %."""
    return np.hypot(THD_PERCENT, 100 * 10 ** (noise_db(dbf, "mono") / 20))


def separation_db(stage: str, hz: np.ndarray) -> np.ndarray:
    """The undriven channel over the driven one: what is left of sum minus difference."""
    path = STATES[stage].gain * np.exp(-2j * np.pi * hz * STATES[stage].delay)
    return 20 * np.log10(np.abs(1 - path) / np.abs(1 + path))


def response_db(hz: np.ndarray, right: bool) -> np.ndarray:
    """The response to a signal with 75 µs of pre-emphasis: a coupling capacitor, a filter at the top, 2 µs too much."""
    low = -10 * np.log10(1 + ((9 if right else 8) / hz) ** 2)
    de_emphasis = 10 * np.log10((1 + (2 * np.pi * hz * 75e-6) ** 2) / (1 + (2 * np.pi * hz * 77e-6) ** 2))
    return low + de_emphasis - 10 * np.log10(1 + (hz / (19_000 if right else 19_500)) ** 10) - (0.2 if right else 0.0)


def distortion(stage: str, hz: np.ndarray) -> np.ndarray:
    """THD of a stereo signal at 65 dBf, %: more where the harmonics are near the pilot."""
    return STATES[stage].thd * (1 + (hz / 5200) ** 2) ** 0.5


RATE_HZ, SECONDS, FULL_SCALE_V, TONE_V = 96_000, 0.5, 2.0, 0.75
PILOT_DB, SUBCARRIER_DB, HISS_DB = -66.0, -70.0, -82.0  # re the tone


def output() -> np.ndarray:
    """The output with a tone of 1 kHz and what is left of pilot and subcarrier, V."""
    t = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    levels = ((1000.0, 0.0), (2000.0, -55.5), (3000.0, -62.0), (19_000.0, PILOT_DB), (38_000.0, SUBCARRIER_DB))
    made = sum(2**0.5 * TONE_V * 10 ** (db / 20) * np.sin(2 * np.pi * hz * t + hz) for hz, db in levels)
    return made + np.random.default_rng(1977).normal(0, TONE_V * 10 ** (HISS_DB / 20), t.size)


def rows(head: str, *columns: np.ndarray, digits: int = 3) -> bytes:
    """A table as text."""
    lines = [",".join(f"{value:.{digits}f}" for value in row) for row in np.column_stack(columns)]
    return "\n".join([head, *lines, ""]).encode()


READINGS = """name,channel,value,unit,at,note
capture ratio,,1.1,dB,"FM input, 65 dBf",
alternate channel selectivity,,78,dB,FM input,
AM suppression,,57,dB,"FM input, 65 dBf",
"""


def files() -> dict[str, bytes]:
    """Every file of measurements/, by name."""
    weak = np.concatenate([np.arange(4.0, 24, 1), np.arange(24.0, 81, 4)])
    weak_stereo = np.concatenate([np.arange(24.0, 44, 1), np.arange(44.0, 81, 4)])
    hz = np.geomspace(30, 15_000, 73)
    made = {
        "quieting-mono.csv": rows(
            "Antenna (dBf),Noise (dBr),THD+N (%)", weak, noise_db(weak, "mono"), thd_plus_noise(weak)
        ),
        "quieting-stereo.csv": rows("Antenna (dBf),Noise (dBr)", weak_stereo, noise_db(weak_stereo, "stereo")),
        "response.csv": rows(
            "Frequency (Hz),Left (dBV),Right (dBV)", hz, response_db(hz, False) - 2.5, response_db(hz, True) - 2.5
        ),
        "readings.csv": READINGS.encode(),
    }
    for stage in STATES:
        left, right = separation_db(stage, hz), separation_db(stage, hz * 1.06) + 0.4
        made[f"separation-{stage}.csv"] = rows("Frequency (Hz),L to R (dB),R to L (dB)", hz, left, right)
        thd = distortion(stage, hz)
        made[f"distortion-{stage}.csv"] = rows("Frequency (Hz),THD L (%),THD R (%)", hz, thd, 1.07 * thd)
    wave = io.BytesIO()
    soundfile.write(wave, output() / FULL_SCALE_V, RATE_HZ, format="WAV", subtype="PCM_24")
    made["pilot.wav"] = wave.getvalue()
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
