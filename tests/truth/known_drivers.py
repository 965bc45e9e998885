"""Loudspeakers whose impedance is known in closed form, from their circuit. Nothing of reviewkit is imported.

Re, Le in series with the motional impedance: Res, Cmes and Lces in parallel (Thiele 1971, Small 1972, from memory); in
a vented box, a coil and a capacitor in series are in parallel with these (Small 1973, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Driver:
    """`re`, Ω; `le`, H; `fs`, Hz; `qms`, `qes`. `box`: the ratio of compliances and the tuning, Hz, of a vented box."""

    re: float
    le: float
    fs: float
    qms: float
    qes: float
    box: tuple[float, float] | None = None

    @property
    def qts(self) -> float:
        return self.qms * self.qes / (self.qms + self.qes)

    def ohms(self, frequency_hz: Array | float) -> NDArray[np.complex128]:
        s = 2j * np.pi * np.asarray(frequency_hz, dtype=float)
        ws = 2 * math.pi * self.fs
        res = self.re * self.qms / self.qes
        cmes = self.qms / (ws * res)
        lces = res / (ws * self.qms)
        admittance = 1 / res + s * cmes + 1 / (s * lces)
        if self.box:
            ratio, tuned_hz = self.box
            lceb = lces / ratio
            cmev = 1 / ((2 * math.pi * tuned_hz) ** 2 * lceb)
            admittance = admittance + 1 / (s * lceb + 1 / (s * cmev))
        return np.asarray(self.re + s * self.le + 1 / admittance)


A = Driver(6.5, 0.0, 30.0, 4.0, 0.4)
B = Driver(6.5, 0.5e-3, 30.0, 4.0, 0.4)
C = Driver(3.3, 0.25e-3, 55.0, 2.5, 0.6)
D = Driver(5.8, 1.0e-3, 45.0, 6.0, 0.5)
HEADPHONE = Driver(32.0, 0.0, 90.0, 1.5, 3.0)
# a driver's data sheet prints fs 110.3 Hz, Qms 4.537, Qes 1.297, Qts 1.009 with Re 6.18 Ω, Res 21.62 Ω, Cmes 302.84 µF
# and Lces 6.88 mH
PRINTED = Driver(6.18, 0.1e-3, 110.260, 4.5359, 1.2966)
VENTED = Driver(5.6, 0.4e-3, 32.0, 3.5, 0.38, (1.6, 38.0))
