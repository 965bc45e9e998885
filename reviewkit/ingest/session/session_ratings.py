"""Values of a [[rated]] table: the quantity by its rated name, its limit in the rule's unit, its reference.

A reader returns the value or raises ValueError, as those in `session_values.py` do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

from reviewkit.ingest import references
from reviewkit.ingest.known_names import LONGEST_NAME, misspelled, of_radio
from reviewkit.ingest.session import session_quantities as quantities
from reviewkit.ingest.session.session_place import Place
from reviewkit.model import unstated_conditions
from reviewkit.model.errors import nearest
from reviewkit.model.gear import Gear
from reviewkit.model.gear_names import SHOWN, shown_name, spelled
from reviewkit.model.quantities import QUANTITIES
from reviewkit.model.ratings import (
    POWER_WORDS,
    RULES,
    TRADE_WORDS,
    Rule,
    limits_of,
    own_name,
    plain_name,
    rated_name,
    rule_of,
    spaced,
)
from reviewkit.model.session import Rating
from reviewkit.model.units import EXAMPLES

if TYPE_CHECKING:
    from pydantic import ValidationInfo

_LIMITS = ("at_least", "at_most", "within", "nominal")
# A level below the signal is negative, a distance is positive; a sign the wrong way round would meet any rating.
_BELOW = {"crosstalk": ', or quantity = "separation" with at_least', "hum": ""}
_EITHER_SIGN = frozenset({"gain"})
_MUCH_ALIKE = 0.75  # "loudness" isn't a misspelling of "flatness"


class RatedName(NamedTuple):
    """A rated name, and if no rule has it, how it is written."""

    quantity: str
    called: str = ""


def read_rated(words: str) -> RatedName:
    """Return the rated name that a maker's words mean; if there is none, their own.

    Raises
    ------
    ValueError
        If it may be a misspelt name; the message says what to write.
    """
    if name := rated_name(words):
        return RatedName(name)
    radio, of_it = of_radio(words)
    if of_it != words:
        raise ValueError(f'is a figure of the radio; write quantity = "{of_it}" with input = "{radio}"')
    if rule := POWER_WORDS.get(plain_name(words)):
        raise ValueError(f'is not a known rating; write quantity = "power" with rule = "{rule}"')
    name = own_name(words)
    if not any(sign.isalpha() for sign in name):
        raise ValueError('does not say what is rated; write a name, such as "power" or "wow and flutter"')
    if name in QUANTITIES and spelled(words) not in SHOWN:
        raise ValueError(f"is not what makers rate; {_remedy(words)}")
    if meant := misspelled(name):
        raise ValueError(f'is not a known rating; did you mean "{meant}"?')
    if len(name) > LONGEST_NAME:
        raise ValueError(f"is longer than {LONGEST_NAME} characters; shorten it")
    return RatedName(name, shown_name(words))


def _remedy(words: str) -> str:
    names = {word.replace("_", " ") for word in (*RULES, *TRADE_WORDS)}
    remedy = nearest(words.lower(), names, least=_MUCH_ALIKE)
    if not remedy.startswith("did you mean"):
        known = ", ".join(sorted(name.replace("_", " ") for name in RULES))
        remedy = f"known: {known}"
    return remedy


def read_limit(value: Any, info: ValidationInfo) -> Any:
    """Return a limit in the unit of its quantity; None if the quantity couldn't be read.

    Raises
    ------
    ValueError
        If it can't be read; the message says what to write.
    """
    name, key = getattr(info.data.get("quantity"), "quantity", None), str(info.field_name)
    if name is None:
        return None
    if key not in limits_of(name):
        wanted = f"{spaced(name)}, which takes {' or '.join(limits_of(name))}"
        raise ValueError(f"does not go with {wanted}; write for example {_example(name, RULES[name])}")
    if name not in RULES:
        return quantities.read_own_within(value)[:2] if key == "within" else quantities.read_own(value)[0]
    rule = RULES[name]
    if key == "within":
        return quantities.read_within(value)
    if not rule.unit:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ValueError("is not a number; write for example 60")
        if not 1e-3 <= value <= 1e6:  # also false for nan
            raise ValueError("is not from 0.001 to 1000000; write for example 60")
        return float(value)
    limit = quantities.quantity_in(rule.unit, signed=name in _EITHER_SIGN or name in _BELOW)(value)
    if name in _BELOW and limit >= 0:
        opposite = f"-{value.strip().lstrip('+')}" if limit else "-60 dB"
        raise ValueError(f'is not below zero, as a {name} level is; write "{opposite}"{_BELOW[name]}')
    return limit


def read_tolerance(value: Any, info: ValidationInfo) -> tuple[float, float] | None:
    """Return the range of a nominal value, in the rule's unit; None if that value couldn't be read."""
    name, nominal = getattr(info.data.get("quantity"), "quantity", None), info.data.get("nominal")
    if name is None or nominal is None:
        return None
    if name not in RULES:
        return quantities.read_own_tolerance(value, nominal)
    return quantities.read_tolerance(value, nominal, RULES[name].unit)


def read_reference(text: str) -> references.Reference:
    """Return the reference of a signal to noise ratio.

    Raises
    ------
    ValueError
        If it can't be read; the message says what to write.
    """
    if found := references.read_reference(text):
        return found
    remedy = 'write "rated output", "1 W" or "50 mW", "5 mV" (at the input), "2 V output", "0 dBFS" or "250 nWb/m"'
    raise ValueError(f"is not what a ratio can be relative to; {remedy}")


def complete_ratings(
    ratings: Sequence[tuple[Rating, Place]], load_ohm: float | None, gear: Gear | None = None
) -> tuple[Rating, ...]:
    """Return all ratings of a session with what only their quantity, the others and the gear say; note every fault."""
    sound = [
        replace(r, unit=_unit(r, place), meant_hz=unstated_conditions.meant_hz(r.input, gear))
        for r, place in ratings
        if _check(r, place)
    ]
    watts = unstated_conditions.rated_output_w(sound, load_ohm)
    return tuple(
        replace(r, order=order, reference_w=watts if r.reference == "rated output" else r.reference_w)
        for order, r in enumerate(sound, start=1)
    )


def _unit(rating: Rating, place: Place) -> str:
    """Return the unit of a rating's limit: its rule's, or under an own name the one that is written."""
    if rating.quantity in RULES:
        return RULES[rating.quantity].unit
    written = next((place.raw[key] for key in _LIMITS if key in place.raw), "")
    return quantities.unit_of_own(written[0] if isinstance(written, list) and written else written)


def _check(rating: Rating, place: Place) -> bool:
    """Note what is wrong between the keys of a rating; return whether it is known what is rated."""
    name = rating.quantity
    if not name:
        return False
    limits = limits_of(name)
    given = [key for key in limits if key in place.raw]
    if not any(key in place.raw for key in _LIMITS):
        example = _example(name, RULES[name]) if name in RULES else 'at_most = "0.1 %"'
        place.fault(f"has no limit; write {'' if name in RULES else 'for example '}{example}")
    elif len(given) > 1:
        place.fault(f"has {' and '.join(given)}; one limit makes one row: write a [[rated]] table for each", given[1])
    if "tolerance" in place.raw and "nominal" not in limits:
        place.fault(f"tolerance does not go with {spaced(name)}; leave it out", "tolerance")
    elif "tolerance" in place.raw and "nominal" not in place.raw:
        place.fault("tolerance goes with a nominal value only; write nominal in place of the limit", "tolerance")
    elif rating.tolerance is not None and name not in RULES:
        of_value, own = (quantities.unit_of_own(place.raw[key]) for key in ("nominal", "tolerance"))
        if own not in (of_value, "%") or (own == of_value == "%"):
            remedy = "write the lowest and the highest value as two ratings, at_least and at_most"
            place.fault(f"tolerance is not in percent of the value, nor in its unit; {remedy}", "tolerance")
    if "level" in place.raw and "power" in place.raw:
        place.fault("has a power and a level; write the one that the maker names", "level")
    if rating.tones_hz is not None and "tones" not in rule_of(rating).conditions:
        remedy = 'write quantity = "intermodulation", or leave it out'
        place.fault(f"tones does not go with {spaced(name)}; {remedy}", "tones")
    return True


def _example(name: str, rule: Rule) -> str:
    """Return a limit that a rating can have, as it would be written."""
    key = rule.limits[0]
    if not rule.unit:
        return f"{key} = 60"
    if rule.unit == "dB" and name not in _BELOW and key == "at_least":
        return f'{key} = "60 dB"'
    return f'{key} = "{"-60 dB" if name in _BELOW else EXAMPLES[rule.unit]}"'
