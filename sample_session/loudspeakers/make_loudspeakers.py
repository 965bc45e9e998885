"""Makes the measurement file of the loudspeaker pair from its model: impedance over frequency, left and right.

    python make_loudspeakers.py            writes measurements/*
    python make_loudspeakers.py --check    says whether the files on disk are what this script makes

The loudspeakers, their maker and every figure are invented.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True)
class Box:
    """A woofer in a closed box, and what its crossover adds: a peak between the two drivers."""

    re: float
    le: float
    fc: float
    qmc: float
    qec: float
    crossover: tuple[float, float, float]  # Hz, Q, Ω

    def ohms(self, frequency_hz: np.ndarray) -> np.ndarray:
        """The magnitude of its impedance."""
        s, wc = 2j * np.pi * frequency_hz, 2 * np.pi * self.fc
        motional = self.re * self.qmc / self.qec * (s * wc / self.qmc) / (s**2 + s * wc / self.qmc + wc**2)
        peak_hz, q, ohm = self.crossover
        turned = frequency_hz / peak_hz
        return np.abs(self.re + s * self.le + motional + ohm / (1 + 1j * q * (turned - 1 / turned)))


LEFT = Box(5.7, 0.12e-3, 61.0, 3.4, 0.86, (1700.0, 1.3, 8.0))
RIGHT = Box(5.8, 0.12e-3, 64.0, 3.1, 0.92, (1750.0, 1.3, 8.4))


def files() -> dict[str, str]:
    """Every file of measurements/, by name."""
    frequency = np.geomspace(10, 20_000, 264)
    jitter = np.exp(np.random.default_rng(1981).normal(0, 0.001, (2, frequency.size)))
    columns = np.column_stack([frequency, LEFT.ohms(frequency) * jitter[0], RIGHT.ohms(frequency) * jitter[1]])
    rows = "\n".join(f"{hz:.3f},{left:.3f},{right:.3f}" for hz, left, right in columns)
    return {"impedance.csv": f"Frequency (Hz),Impedance L (ohm),Impedance R (ohm)\n{rows}\n"}


def main() -> int:
    """Write the files, or check them."""
    stale = []
    for name, content in files().items():
        path = HERE / "measurements" / name
        if "--check" in sys.argv:
            stale += [name] if not path.is_file() or path.read_text(encoding="utf-8") != content else []
        else:
            path.parent.mkdir(exist_ok=True)
            path.write_text(content, encoding="utf-8")
    print(
        "\n".join(f"measurements/{name} is not what this script makes" for name in stale) or "measurements/ is as made"
    )
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
