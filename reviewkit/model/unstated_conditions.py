"""Conditions that a rating doesn't state, and what it then means: the frequency, the band, the distortion, the level.

What the maker leaves out beyond these is taken as it was on the bench (`reviewkit/verdict/comparison.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from reviewkit.model.finding import Finding
from reviewkit.model.gear import Gear
from reviewkit.model.level import FULL_SCALE, Level, levels_of
from reviewkit.model.quantities import quantity_of
from reviewkit.model.ratings import distortion_limit
from reviewkit.model.session import Measurement, Rating

FREQUENCY_HZ = 1000.0  # common practice, no source
AM_HZ = 400.0  # of a receiver's AM half (common practice, no source)
_AM = ("AM", "MW", "LW", "SW")
RADIO = ("FM", *_AM)  # halves of a receiver, named where an input would be
BAND_HZ = (20.0, 20_000.0)  # of what is rated over a band by its nature: a response
DISTORTION_PERCENT = 1.0  # at which a power is rated (common practice, no source)


def frequencies_hz(rating: Rating) -> tuple[float, ...]:
    """Return the frequencies that a rating without a band may hold at, Hz; the first is the one to measure at."""
    return (rating.frequency_hz,) if rating.frequency_hz else rating.meant_hz or (FREQUENCY_HZ,)


def frequency_hz(rating: Rating) -> float:
    """Return the frequency that a rating without a band holds at, Hz."""
    return frequencies_hz(rating)[0]


def meant_hz(input_: str, gear: Gear | None) -> tuple[float, ...]:
    """Return the frequencies that figures of this input and type of gear mean if they name none; (): 1 kHz.

    400 Hz of a receiver's AM half, 315 or 333 Hz of a cassette deck (common practice, no source).
    """
    if input_.upper() in _AM:
        return (AM_HZ,)
    of_gear = gear.reference_hz if gear else ()
    return () if of_gear == (FREQUENCY_HZ,) else of_gear


def relative_to_hz(m: Measurement, gear: Gear | None) -> float | tuple[float, float]:
    """Return what a response is relative to, Hz: as its table says, else the frequency or band of its gear."""
    if m.relative_to is not None:
        return m.relative_to
    if gear is not None and gear.reference_band_hz and m.input.upper() not in RADIO:
        return gear.reference_band_hz
    return (meant_hz(m.input, gear) or (FREQUENCY_HZ,))[0]


def band_hz(rating: Rating) -> tuple[float, float]:
    """Return the band that a rating holds over, Hz."""
    return rating.band_hz or BAND_HZ


def distortion_percent(rating: Rating) -> float:
    """Return the distortion that a power is rated at, %."""
    return distortion_limit(rating) or DISTORTION_PERCENT


def rated_output_w(ratings: Iterable[Rating], load_ohm: float | None) -> float | None:
    """Return the lowest continuous power per channel that is rated into this load, W; an unnamed load fits any.

    A distortion without a level, an input's sensitivity and a signal to noise ratio without a reference mean this.
    """
    fitting = [
        rating.at_least
        for rating in ratings
        if rating.quantity == "power"
        and not rating.total
        and rating.rule.lower() != "music"
        and (rating.load_ohm is None or load_ohm is None or rating.load_ohm == load_ohm)
    ]
    return min((power_w for power_w in fitting if power_w is not None), default=None)


def reference_w(rating: Rating, finding: Finding, ratings: Iterable[Rating]) -> float | None:
    """Return the power that a signal to noise ratio without a reference is relative to, W: the rated output.

    None if none is rated, and of a tuner, whose ratio is relative to its own output.
    """
    if rating.quantity != "snr" or rating.level is not None or rating.input.upper() in RADIO:
        return None
    return rated_output_w(ratings, finding.at.get("load"))


def rated_level(rating: Rating, finding: Finding, ratings: Sequence[Rating]) -> tuple[Level | None, str]:
    """Return the level that a rating holds at, and how it is known: "rated", "meant", or "" if it isn't.

    A distortion rated without a level is meant at the rated output: the lowest continuous power rated for that load, or
    for any if none is for that one; or full scale. So is the output that an input's sensitivity is for.
    """
    load_ohm = rating.load_ohm if rating.load_ohm is not None else finding.at.get("load")
    if rating.quantity == "power":
        return Level(rating.at_least or 0.0, "W", load_ohm), "rated"
    if rating.power_w is not None:
        return Level(rating.power_w, "W", load_ohm), "rated"
    if rating.level is not None:
        return Level(rating.level.value, rating.level.unit, load_ohm, rating.level.reference), "rated"
    levels, distortion = levels_of(finding.at), quantity_of(finding).is_distortion
    if distortion and any(had.unit == "dBFS" for had in levels):
        return FULL_SCALE, "meant"
    if distortion or (rating.quantity == "input_sensitivity" and levels):
        power_w = rated_output_w(ratings, load_ohm) or rated_output_w(ratings, None)
        return (Level(power_w, "W", load_ohm), "meant") if power_w else (None, "")
    return None, ""


def as_meant(rating: Rating, findings: Sequence[Finding], rated_w: float | None) -> Sequence[Finding]:
    """Return the noise figures that a rating without a weighting or reference means, or all if there are none.

    It means unweighted noise, relative to the rated output (IEC 60268-3, from memory).
    """
    if not rating.weighting:
        findings = [f for f in findings if "weighting" not in f.at] or findings
    if not rating.reference and rated_w and rating.level is None and rating.input.upper() not in RADIO:
        findings = [f for f in findings if f.at.get("reference") == rated_w] or findings
    return findings
