"""Makes the measurement files of the cassette deck from its model: test tones before and after new belts.

    python make_deck.py            writes measurements/*
    python make_deck.py --check    says whether the files on disk are what this script makes

The deck, its maker and every figure are invented.
"""

from __future__ import annotations

import io
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

HERE = Path(__file__).resolve().parent
TONE_HZ, RATE_HZ, SECONDS = 3150.0, 8000, 16
# what turns, at the nominal speed of 47.625 mm/s: 2.0 mm, 13 mm, and the take-up spindle's belt
CAPSTAN_HZ, ROLLER_HZ, BELT_HZ = 7.579754, 1.166094, 0.62
HISS = 10 ** (-46 / 20) / 2


@dataclass(frozen=True)
class Running:
    """How the deck runs: its speed error, its drift (peak to peak, linear), and the peak of each rate, all ratios."""

    speed: float
    drift: float
    rates: dict[float, float]


RUNNING = {
    "before": Running(-0.021, 0.004, {CAPSTAN_HZ: 1.8e-3, ROLLER_HZ: 3.5e-3, BELT_HZ: 2.4e-3, 2 * CAPSTAN_HZ: 6e-4}),
    "after": Running(0.0023, 0.0006, {CAPSTAN_HZ: 3.6e-4, ROLLER_HZ: 4e-4, BELT_HZ: 3e-4, 2 * CAPSTAN_HZ: 1.2e-4}),
}


def tone(stage: str) -> np.ndarray:
    """The tone as the deck plays it, a fraction of full scale. What turns, turns as much slower as the tape does."""
    running, t = RUNNING[stage], np.arange(SECONDS * RATE_HZ) / RATE_HZ
    turns = TONE_HZ * ((1 + running.speed) * t + running.drift * (t**2 / (2 * SECONDS) - t / 2))
    for nominal_hz, peak in running.rates.items():
        hz = nominal_hz * (1 + running.speed)
        turns += TONE_HZ * peak / (2 * np.pi * hz) * np.sin(2 * np.pi * hz * t + 3 * nominal_hz)
    hiss = np.random.default_rng([1979, len(stage)]).normal(0, HISS, t.size)
    return 0.5 * np.sin(2 * np.pi * turns) + hiss


# both tracks, before and after the head was set: minutes of arc, the right track late
AZIMUTH_ARCMIN = {"before": 4.4, "after": 0.3}
TONES_HZ, STEREO_RATE_HZ, STEREO_SECONDS = (315.0, 3150.0, 10_000.0), 24_000, 2
TAPE_M_S, SPACING_M = 0.047625, 0.0009


def tracks(stage: str) -> np.ndarray:
    """Both tracks with the same tones, shape (n, 2): the right one late by the head's angle, and 0.4 dB weaker."""
    running, t = RUNNING[stage], np.arange(STEREO_SECONDS * STEREO_RATE_HZ) / STEREO_RATE_HZ
    late = SPACING_M * np.tan(np.radians(AZIMUTH_ARCMIN[stage] / 60)) / TAPE_M_S

    def played(at: np.ndarray) -> np.ndarray:
        moved = (1 + running.speed) * at
        for hz, peak in running.rates.items():
            moved = moved + peak / (2 * np.pi * hz) * np.sin(2 * np.pi * hz * at)
        return sum(0.25 * np.sin(2 * np.pi * hz * moved + hz) for hz in TONES_HZ)

    hiss = np.random.default_rng([1980, len(stage)]).normal(0, HISS / 2, (t.size, 2))
    return np.stack([played(t), 10 ** (-0.4 / 20) * played(t - late)], axis=1) + hiss


# third harmonic at 250 nWb/m, %; a tape's rises by 2 dB a dB
THIRD_PERCENT = {"L": 1.05, "R": 1.12}


def tape_levels() -> bytes:
    """The third harmonic over the level recorded, in steps of 2 dB."""
    lines = ["Recording level (dB re 250 nWb/m),3rd harmonic L (%),3rd harmonic R (%)"]
    for level_db in range(-10, 9, 2):
        third = (f"{percent * 10 ** (level_db / 10):.3f}" for percent in THIRD_PERCENT.values())
        lines.append(",".join([str(level_db), *third]))
    return "\n".join([*lines, ""]).encode()


def files() -> dict[str, bytes]:
    """Every file of measurements/, by name."""
    made = {"mol.csv": tape_levels()}
    for stage in RUNNING:
        wave = io.BytesIO()
        soundfile.write(wave, tone(stage), RATE_HZ, format="WAV", subtype="PCM_16")
        made[f"flutter-{stage}.wav"] = wave.getvalue()
        both = io.BytesIO()
        soundfile.write(both, tracks(stage), STEREO_RATE_HZ, format="WAV", subtype="PCM_16")
        made[f"azimuth-{stage}.wav"] = both.getvalue()
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
