"""Conditions that the user names, and what else only ratings under the maker's own names compare."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from difflib import get_close_matches

from reviewkit.model import named_conditions, quantities
from reviewkit.model.finding import Finding
from reviewkit.model.named_conditions import TAP
from reviewkit.model.ratings import DECIBELS
from reviewkit.model.session import Rating
from reviewkit.model.targets import OWN_CURVE
from reviewkit.model.units import UnitError, split_single
from reviewkit.signal.decibels import dbf_of_volts, volts_of_dbf
from reviewkit.signal.impedance import RATED_SHARE
from reviewkit.verdict.compared_condition import APART, SAME, ComparedCondition, differing, first_words, not_stated

_ALIKE = 0.7  # how similar two names of one thing may be: "hum trap" and "hum trap depth" (a judgement)
# units in which a figure below zero is simply a small one
_ABSOLUTE = (*(unit for unit in DECIBELS if unit not in ("dB", "dBr")), "°C")


def compare_conditions(rating: Rating, finding: Finding) -> ComparedCondition:
    """Compare the conditions that the user names: each that the rating has must be the same."""
    had = finding.at.get("conditions", {})
    if taps := finding.at.get("taps"):
        return differing(APART, "rated for no tap", f"measured at those of {', '.join(taps)}", "tap not stated")
    if OWN_CURVE in had and OWN_CURVE not in dict(rating.conditions):  # what a user wishes for, no maker rates
        measured = f"measured against {had[OWN_CURVE]}"
        return differing(APART, "rated against no curve", measured, first_words(measured))
    for name, wanted in rating.conditions:
        # of a tape's equalisation makers often name the treble alone: "120 µs"
        if _plain(wanted) in (_plain(had.get(name, "")), _plain(had.get(name, "").rpartition("+")[2])):
            continue
        rated = f"rated with {named_conditions.one_in_words(name, wanted)}"
        if name not in had:
            return not_stated(rated, f"the {name} measured with", name)
        measured = f"measured with {named_conditions.one_in_words(name, had[name])}"
        return differing(APART, rated, measured, first_words(measured))
    rest = [pair for pair in had.items() if pair[0] not in dict(rating.conditions)]
    return ComparedCondition(SAME, assumed=", ".join(named_conditions.in_words(rest)))


def of_tap(rating: Rating, findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings of the tap that a rating is of: of a rating that names none, the tap of its load.

    If that doesn't say which of several taps is meant, all are returned, with the taps in `at.taps`.
    """
    by_tap = {_plain(tap): tap for f in findings if (tap := f.at.get("conditions", {}).get(TAP))}
    if TAP in dict(rating.conditions) or len(by_tap) < 2:
        return list(findings)
    meant = _plain(f"{rating.load_ohm:.6g} ohm") if rating.load_ohm else ""
    if meant in by_tap:
        return [f for f in findings if _plain(f.at.get("conditions", {}).get(TAP, "")) == meant]
    return [replace(f, at={**f.at, "taps": list(by_tap.values())}) for f in findings]


def _plain(value: str) -> str:
    """Return a value as it is compared: an amount in its base unit, else without spaces and capitals, ⅓ as 1/3."""
    with suppress(UnitError):
        amount, unit = split_single(value)
        return f"{amount:.6g} {unit.base}"
    return "".join(unicodedata.normalize("NFKC", value).replace("\u2044", "/").split()).casefold()


def compare_distortion(rating: Rating, finding: Finding) -> ComparedCondition:
    """Compare the distortion at which a figure holds."""
    wanted = rating.thd_percent or rating.thd_plus_noise_percent
    had = finding.at.get("limit")
    if wanted is None:
        return ComparedCondition(SAME, assumed=f"at {quantities.percent(had)} distortion" if had is not None else "")
    rated = f"rated at {quantities.percent(wanted)} distortion"
    if had is None:
        return not_stated(rated, "the distortion measured at", "distortion")
    if had == wanted:
        return ComparedCondition(SAME)
    return differing(APART, rated, f"measured at {quantities.percent(had)}")


def compare_sign(rating: Rating, finding: Finding) -> ComparedCondition:
    """Compare the signs of limit and figure: a ratio may be written either way round, which gives opposite verdicts."""
    limit = rating.at_least if rating.at_least is not None else rating.at_most
    if limit is None or finding.unit in _ABSOLUTE or limit == 0 or finding.value == 0:
        return ComparedCondition(SAME)
    by_size = rating.at_most is not None and limit > 0  # a deviation, on whichever side
    if by_size or (limit > 0) == (finding.value > 0):
        return ComparedCondition(SAME)
    why = f"rated {'above' if limit > 0 else 'below'} zero, read {'below' if limit > 0 else 'above'} it"
    return ComparedCondition(APART, f"{why}: write both in one way", brief="signs differ")


def size_counts(rating: Rating) -> bool:
    """Return whether a figure is compared by its size: a deviation that is rated at most so large."""
    return bool(rating.called) and rating.at_most is not None and rating.at_most > 0 and rating.unit not in _ABSOLUTE


def as_judged(rating: Rating, findings: Sequence[Finding]) -> Rating:
    """Return a rating as it is compared: a loudspeaker's nominal impedance as a limit of its minimum.

    Notes
    -----
    IEC 60268-5:2003, 16.1: the least impedance in the rated frequency range is at least 80 % of the rated one.
    """
    measured = any(f.quantity == "minimum_impedance" and f.kind != "reading" for f in findings)
    if rating.quantity != "impedance" or rating.nominal is None or rating.tolerance is not None or not measured:
        return rating
    least = RATED_SHARE * rating.nominal
    return replace(rating, quantity="minimum_impedance", nominal=None, at_least=float(f"{least:.9g}"))


def of_nearest(rating: Rating, findings: Sequence[Finding], ratings: Sequence[Rating]) -> list[Finding]:
    """Return the findings that are nearer to this nominal value than to another rated alike, such as a second speed."""
    alike = [r.nominal for r in ratings if r.nominal is not None and _conditions(r) == _conditions(rating)]
    if rating.nominal is None or len(alike) < 2:
        return list(findings)
    return [f for f in findings if min(alike, key=lambda value: abs(f.value - value)) == rating.nominal]


def _conditions(rating: Rating) -> Rating:
    return replace(rating, nominal=None, tolerance=None, source="", order=0)


def nearly(rating: Rating, findings: Sequence[Finding], ratings: Sequence[Rating]) -> str:
    """Return the name of a reading that no rating has, and that is nearly the rated one; "" if there is none."""
    rated = {r.quantity for r in ratings}
    names = {f.quantity: f.called for f in findings if f.called and f.quantity not in rated}
    near = get_close_matches(rating.quantity, names, n=1, cutoff=_ALIKE)
    return names[near[0]] if near else ""


def in_rated_unit(rating: Rating, findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings in the unit of a rating under the maker's own name; others are left out.

    dBf and volts are converted into each other if the impedance is a condition, for volts also one of the rating.
    """
    found = []
    for f in findings:
        ohms = f.at.get("load")
        if f.unit == rating.unit:
            found.append(f)
        elif (f.unit, rating.unit) == ("V", "dBf") and ohms and f.value > 0:
            db = float(dbf_of_volts(f.value, ohms))
            share = (f.uncertainty or 0.0) / f.value
            found.append(
                replace(f, value=db, unit="dBf", uncertainty=20 * math.log10(1 + share) or None, step=None, written="")
            )
        elif (f.unit, rating.unit) == ("dBf", "V") and (ohms := ohms or rating.load_ohm):
            volts = float(volts_of_dbf(f.value, ohms))
            spread = volts * (10 ** ((f.uncertainty or 0.0) / 20) - 1)
            at = {**f.at, "load": ohms}
            found.append(replace(f, value=volts, unit="V", at=at, uncertainty=spread or None, step=None, written=""))
    return found
