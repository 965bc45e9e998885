"""A maker's rating in words: the label of its row, its limit, and the whole line with its conditions."""

from __future__ import annotations

from reviewkit.model import digits, quantities
from reviewkit.model.ratings import RULES
from reviewkit.model.session import Rating

# a maker's figure is shown to the last digit printed
AS_PRINTED = 9
_LIMIT_STYLES = {
    "W": quantities.watts,
    "V": quantities.volts,
    "Hz": quantities.hertz,
    "%": quantities.percent,
    "s": quantities.seconds,
}


def limit_text(rating: Rating) -> str:
    """Return the limit alone, as the maker states it: "40 W", "±0.5 dB", "60", "92 dB (A)"."""
    if rating.within is not None:
        return quantities.limit_within(*rating.within)
    value = rating.at_least if rating.at_least is not None else rating.at_most
    assert value is not None
    if rating.unit in _LIMIT_STYLES:
        text = _LIMIT_STYLES[rating.unit](value, AS_PRINTED)
    elif rating.unit == "dB":
        text = f"{digits.MINUS if value < 0 else ''}{digits.trimmed(abs(value), AS_PRINTED) if value else '0'} dB"
    else:
        text = f"{digits.trimmed(value, AS_PRINTED)} {rating.unit}".strip()
    return f"{text} ({rating.weighting})" if rating.weighting else text


def label(rating: Rating) -> str:
    """Return the label of a row: "Power into 8 Ω", "THD at 40 W, 20 Hz – 20 kHz", "Signal to noise, aux"."""
    text = RULES[rating.quantity].label
    if rating.rule and rating.quantity == "power":
        text = f"{rating.rule[0].upper()}{rating.rule[1:]} power"
    if rating.quantity == "power" and rating.load_ohm is not None:
        text += f" into {quantities.load(rating.load_ohm)}"
    elif rating.power_w is not None:
        text += f" at {quantities.watts(rating.power_w)}"
    if rating.quantity != "power":
        where = quantities.band(rating.band_hz) if rating.band_hz else ""
        where = where or (quantities.hertz(rating.frequency_hz) if rating.frequency_hz else "")
        text += f", {where}" if where else ""
    said = text.lower().startswith(rating.input.lower())  # "Phono response, …" is of the input phono
    return f"{text}, {rating.input}" if rating.input and not said else text


def line(rating: Rating) -> str:
    """Return the rating with every condition: "40 W into 8 Ω at 0.05 % THD, 20 Hz – 20 kHz, both channels"."""
    text = limit_text(rating)
    if rating.total:
        text += " in total"
    if rating.load_ohm is not None:
        text += f" into {quantities.load(rating.load_ohm)}"
    if rating.power_w is not None:
        text += f" at {quantities.watts(rating.power_w)}"
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
        rating.rule,
    ]
    return ", ".join([text, *(part for part in more if part)])


def small_print(rating: Rating) -> str:
    """Return the conditions that neither label nor limit states: "at 0.05 % THD, 20 Hz – 20 kHz"."""
    named = label(rating)
    rest = line(rating)[len(limit_text(rating)) :].strip(" ,")
    for said in (
        f"into {quantities.load(rating.load_ohm)}" if rating.load_ohm is not None else "",
        f"at {quantities.watts(rating.power_w)}" if rating.power_w is not None else "",
    ):
        if said and said in named:
            rest = rest.replace(said, "", 1)
    parts = [" ".join(part.split()) for part in rest.split(",")]
    return ", ".join(part for part in parts if part and part not in named and part.lower() not in named.lower())
