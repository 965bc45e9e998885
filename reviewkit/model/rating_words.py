"""Write a maker's rating in words: the label of its row, its limit, and the whole line with its conditions."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from reviewkit.model import named_conditions, quantities
from reviewkit.model.digits import trimmed
from reviewkit.model.ratings import DECIBELS, rule_of
from reviewkit.model.session import Rating
from reviewkit.model.weightings import weighted

# a maker's figure is shown to the last digit printed
AS_PRINTED = 9
_LIMIT_STYLES = {
    "W": quantities.watts,
    "V": quantities.volts,
    "Hz": quantities.hertz,
    "%": quantities.percent,
    "s": quantities.seconds,
}


def limit_text(rating: Rating, label: str = "") -> str:
    """Return the limit alone, as the maker states it: "40 W", "±0.5 dB", "60", "92 dB (A)".

    `label`: what is next to it; one that ends in parentheses has the weighting already.
    """
    if rating.within is not None:
        return quantities.limit_within(*rating.within, rating.unit)
    value = rating.printed
    assert value is not None
    text = value_text(value, rating.unit)
    if rating.tolerance is not None:
        low, high = rating.tolerance
        text += f" ({value_text(low, rating.unit)} to {value_text(high, rating.unit)})"
    known = quantities.QUANTITIES.get(rating.quantity)
    if known and (known.style, known.unit) == ("boost", rating.unit) and value > 0:
        text = f"+{text}"  # as the measured one has it
    return f"{text} ({rating.weighting})" if rating.weighting and not label.endswith(")") else text


def with_side(rating: Rating, text: str) -> str:
    """Return a limit's text with the side that it is on: "45 dB or more"; as it is if it has none."""
    if rating.typical or rating.at_least is rating.at_most is None:
        return text
    # of two negative figures the lower one may be taken for less
    more, less = ("higher", "lower") if text.startswith("−") else ("more", "less")
    return f"{text} or {more if rating.at_least is not None else less}"


def value_text(value: float, unit: str) -> str:
    """Return a value as a limit of this unit is printed."""
    if unit in _LIMIT_STYLES and value >= 0:
        return _LIMIT_STYLES[unit](value, AS_PRINTED)
    if unit in DECIBELS:
        return f"{trimmed(value, AS_PRINTED)} {unit}"
    return quantities.limit(value, unit, AS_PRINTED)


def half_digit(limit: float, unit: str) -> float:
    """Return half of what a limit's last printed digit is worth, in its unit: 0.05 of "0.5 dB"."""
    return quantities.stated(value_text(limit, unit), limit)[1]


def label(rating: Rating) -> str:
    """Return what a row is called: "Power into 8 Ω", "THD at 40 W, 20 Hz – 20 kHz", "Signal to noise, aux"."""
    text = rule_of(rating).label
    if rating.rule and rating.quantity == "power":
        text = f"{rating.rule[0].upper()}{rating.rule[1:]} power"
    level = "" if rating.quantity == "power" else _level(rating)
    if rating.quantity == "power" and rating.load_ohm is not None:
        text += f" into {quantities.load(rating.load_ohm)}"
    elif level:
        text += f" at {level}"
    if rating.quantity != "power":
        where = quantities.band(rating.band_hz) if rating.band_hz else ""
        where = where or (quantities.hertz(rating.frequency_hz) if rating.frequency_hz else "")
        text += f", {where}" if where else ""
    named = text.lower().startswith(rating.input.lower())  # "Phono response, …" is of the input phono
    return f"{text}, {rating.input}" if rating.input and not named else text


def labels(ratings: Sequence[Rating]) -> list[str]:
    """Return each rating's label; ratings that would have the same one also get the conditions in which they differ."""
    plain = [label(rating) for rating in ratings]
    return [
        _distinct_label(rating, text, [r for r, other in zip(ratings, plain, strict=True) if other == text])
        for rating, text in zip(ratings, plain, strict=True)
    ]


def _distinct_label(rating: Rating, text: str, alike: Sequence[Rating]) -> str:
    if len(alike) == 1:
        return text
    ways: tuple[Callable[[Rating], list[str]], ...] = (
        small_parts,
        lambda each: [weighted(each.weighting)],
        lambda each: [limit_text(each)],
        lambda each: [each.source] if each.source else [],
    )
    for parts in ways:
        of_all = [parts(other) for other in alike]
        if any(each != of_all[0] for each in of_all):
            shared = set.intersection(*(set(each) for each in of_all))
            own = [part for part in parts(rating) if part not in shared]
            return f"{text} ({', '.join(own)})" if own else text
    return text


def _level(rating: Rating) -> str:
    """Return the level that a rating names, other than that of a power: "40 W", "2 V", "0 dBFS"."""
    if rating.power_w is not None:
        return quantities.watts(rating.power_w)
    return quantities.level_text(rating.level) if rating.level is not None else ""


def line(rating: Rating) -> str:
    """Return the rating as one line with every condition printed: "40 W into 8 Ω at 0.05 % THD, 20 Hz – 20 kHz, both
    channels".
    """
    text = limit_text(rating)
    if rating.total:
        text += " in total"
    if rating.load_ohm is not None:
        text += f" into {quantities.load(rating.load_ohm)}"
    if level := _level(rating):
        text += f" at {level}"
    if rating.thd_percent is not None:
        text += f" at {quantities.percent(rating.thd_percent)} THD"
    if rating.thd_plus_noise_percent is not None:
        text += f" at {quantities.percent(rating.thd_plus_noise_percent)} THD+N"
    if rating.reference:
        text += f" re {rating.reference}{' at the input' if rating.reference_v is not None else ''}"
    if rating.tones_hz is not None:
        text += f" with {quantities.tones(rating.tones_hz)}"
    more = [
        quantities.band(rating.band_hz) if rating.band_hz else "",
        quantities.hertz(rating.frequency_hz) if rating.frequency_hz else "",
        {"both": "both channels", "one": "one channel"}.get(rating.channels, ""),
        rating.input,
        f"input {rating.termination}" if rating.termination else "",
        f"volume {rating.volume}" if rating.volume else "",
        *named_conditions.in_words(rating.conditions),
        rating.rule,
        "nominal" if rating.nominal is not None else "",
        "typical" if rating.typical else "",
    ]
    return ", ".join([text, *(part for part in more if part)])


def small_parts(rating: Rating) -> list[str]:
    """Return the conditions that neither a rating's label nor its limit has: "at 0.05 % THD", "20 Hz – 20 kHz"."""
    named = label(rating)
    rest = line(rating)[len(limit_text(rating)) :].strip(" ,")
    level = _level(rating)
    for part in (
        f"into {quantities.load(rating.load_ohm)}" if rating.load_ohm is not None else "",
        f"at {level}" if level else "",
    ):
        if part and part in named:
            rest = rest.replace(part, "", 1)
    parts = [" ".join(part.split()) for part in rest.split(",")]
    return [part for part in parts if part and part not in named and part.lower() not in named.lower()]
