"""A steady tone as it is read from a waveform or from an exported spectrum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

AUDIO_BAND_HZ = (20.0, 20_000.0)
WIDEST_BAND_HZ = 80_000.0
EDGE = 1.001  # a harmonic on the band's edge counts, whichever way the generator is off


@dataclass(frozen=True, eq=False)
class Tone:
    """An analysed tone. Levels are r.m.s. in the data's unit; `harmonics`: order -> level, those in the band."""

    frequency_hz: float
    level: float
    band_hz: tuple[float, float]
    harmonics: dict[int, float]
    noise: float | None  # in the band, harmonics excluded; None if a spectrum's window isn't known
    rest: float | None  # everything in the band but the fundamental; None likewise
    hum: float | None  # mains line and multiples, r.m.s. sum; None if none is above the noise
    third_in_band: bool
    dc: float | None = None  # only a waveform has one
    clouded: tuple[int, ...] = ()  # harmonics with something else in their lobe: neither they nor the noise can be read
    hum_needs_s: float | None = None  # the shortest record that gives hum, if this one is shorter
    noise_hidden: bool = False  # by the leakage of an exported spectrum's window
    lone_hz: tuple[float, ...] = ()  # lines far above all near them that make much of the rest
    close_in: float | None = None  # in a spectrum, what is next to the tone, if that is most of the rest

    @property
    def _distortion(self) -> float:
        return float(np.sqrt(sum(level**2 for level in self.harmonics.values())))

    @property
    def thd(self) -> float:
        """Return the harmonics in the band relative to the fundamental (a ratio)."""
        return self._distortion / self.level

    @property
    def residue(self) -> float:
        """Return everything in the band but the fundamental, as far as it is known (r.m.s., in the data's unit)."""
        return self._distortion if self.rest is None else self.rest

    @property
    def thd_plus_noise(self) -> float | None:
        """Return everything in the band but the fundamental, relative to the total (a ratio)."""
        return None if self.rest is None else float(self.rest / np.hypot(self.rest, self.level))

    @property
    def sinad_db(self) -> float | None:
        """Return the fundamental over everything else in the band, dB (IEEE 1241, from memory)."""
        return float(20 * np.log10(self.level / self.rest)) if self.rest else None

    @property
    def snr_db(self) -> float | None:
        """Return the fundamental over the noise in the band without harmonics, dB (IEEE 1241, from memory)."""
        return float(20 * np.log10(self.level / self.noise)) if self.noise else None


def band_for(fundamental_hz: float, reach_hz: float) -> tuple[float, float]:
    """Return 20 Hz – 20 kHz, extended up to 80 kHz to include three times the fundamental, never beyond the data."""
    top = AUDIO_BAND_HZ[1] if 3 * fundamental_hz <= AUDIO_BAND_HZ[1] * EDGE else WIDEST_BAND_HZ
    return (AUDIO_BAND_HZ[0], min(top, reach_hz))
