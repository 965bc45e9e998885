"""Work out a signal to noise ratio relative to a voltage at the input, as phono inputs are rated.

It follows from the noise at the output and from what that input needs for a known output.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from reviewkit.model import quantities, unstated_conditions
from reviewkit.model.finding import Finding

_DB_OF_RELATIVE = 20 / math.log(10)  # for a small change, to first order
_SAME_FREQUENCY = 0.01


def ratios_re_input(findings: Sequence[Finding], volts: float, rated_w: float | None) -> list[Finding]:
    """Return the S/N (dB) of every noise whose input's sensitivity or gain at 1 kHz is known.

    It is 20 lg(volts · gain / noise), the same as S/N relative to rated output + 20 lg(volts / sensitivity). The volume
    must have been the same for both.

    Parameters
    ----------
    findings
        The noise, and the figures that say what its input needs.
    volts
        The reference at the input, V; it becomes `at.reference_input`.
    rated_w
        The output that a sensitivity is for if its reading doesn't say, W.
    """
    made = []
    for noise in findings:
        gains = list(_gains(noise, findings, rated_w)) if noise.quantity == "noise" and noise.value > 0 else []
        if not gains:
            continue
        # of a noise that names no channel, the gain of the channel that makes its ratio worse
        amplified = gains[0] if noise.channel else min(gains, key=lambda each: each[0])
        gain, of, how = amplified
        parts = [_relative(noise), _relative(of)]
        expanded = _DB_OF_RELATIVE * math.hypot(*(part or 0.0 for part in parts))
        made.append(
            replace(
                noise,
                quantity="snr",
                value=20 * math.log10(volts * gain / noise.value),
                unit=quantities.QUANTITIES["snr"].unit,
                at={**noise.at, "reference_input": volts, "method": how},
                uncertainty=expanded or None,
                bound="at least" if noise.bound else "",
                step=None,
            )
        )
    return made


def _gains(noise: Finding, findings: Iterable[Finding], rated_w: float | None) -> Iterator[tuple[float, Finding, str]]:
    """Yield the gain of this noise's input and channel (a ratio), the figure that it comes from, and its words."""
    for f in findings:
        hz = f.at.get("frequency", unstated_conditions.FREQUENCY_HZ)
        fits = not noise.channel or f.channel in (noise.channel, "both", "")
        fits = fits and f.at.get("input", "").casefold() == noise.at.get("input", "").casefold()
        fits = fits and f.at.get("volume", "") in ("", noise.at.get("volume", f.at.get("volume", "")))
        if not fits or abs(hz / unstated_conditions.FREQUENCY_HZ - 1) > _SAME_FREQUENCY:
            continue
        if f.quantity == "gain":
            yield 10 ** (f.value / 20), f, f"from its gain of {quantities.show(f)}"
        elif f.quantity == "input_sensitivity" and f.value > 0:
            watts, ohms = f.at.get("power", rated_w), f.at.get("load")
            if "voltage" in f.at:
                output_v, words = float(f.at["voltage"]), quantities.volts(f.at["voltage"])
            elif watts and ohms and math.isfinite(ohms):
                output_v, words = math.sqrt(watts * ohms), quantities.watts(watts)
            else:
                continue
            yield output_v / f.value, f, f"from its sensitivity of {quantities.show(f)} for {words}"


def _relative(f: Finding) -> float | None:
    """Return the expanded uncertainty as a share of the figure; of one in dB, of the ratio behind it."""
    if f.uncertainty is None:
        return None
    return f.uncertainty / _DB_OF_RELATIVE if f.unit == "dB" else f.uncertainty / f.value
