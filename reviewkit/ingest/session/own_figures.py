"""Which token of a brochure's line is the figure, where no rule says so, and what is printed twice in two units."""

from __future__ import annotations

import math
from collections.abc import Sequence

from reviewkit.ingest.conditions import CONDITION_OF_UNIT, Token
from reviewkit.ingest.session.printed_line import NOT_MEASURED
from reviewkit.ingest.session.rating_entries import NotUnderstood
from reviewkit.ingest.session.rating_names import Named
from reviewkit.model.named_conditions import TAP
from reviewkit.model.units import SINGLE_UNITS
from reviewkit.model.weightings import RMS, SPELLINGS

_BASES = frozenset(unit.base for unit in SINGLE_UNITS.values())
_ANTENNA_OHMS = (75.0, 300.0)
_OF_LOUDSPEAKERS = (4.0, 6.0, 8.0, 16.0)
_FEMTOWATT = 1e-15  # 0 dBf
_SAME_DB = 0.3  # what printing two digits of a voltage may cost
_LEVELLED = ("flatness", "corner_low", "corner_high", "thd", "thd_plus_noise", "distortion", "crosstalk", "separation")


def own_units(named: Named, tokens: Sequence[Token]) -> tuple[str, ...]:
    """Return the unit of the figures that a line rates under a name that no rule has.

    It is the first of the name's units; of a name that isn't known, that of the figure next to its limit. A radio's
    sensitivity has two, as its own antenna has a field and an external one a voltage.

    Raises
    ------
    NotUnderstood
        If there is no such figure.
    """
    keys = [
        token.value[0] if token.key == "either way" else "dB" if token.key == "within" else token.key
        for token in tokens
    ]
    wanted = named.units or tuple(
        key
        for before, key in zip(["", *keys], keys, strict=False)
        if key in _BASES and (before in ("most", "least") or tokens[keys.index(key)].key in ("either way", "within"))
    )
    found = next((key for key in keys if key in wanted), None)
    if found is None:
        unit = f" in {' or '.join(named.units)}" if named.units and named.units != ("number",) else ""
        raise NotUnderstood(
            f'{named.called}: there is no figure{unit}; write it after the name, or begin the line with "not measured:"'
        )
    both = {"V/m", "V"}
    return (found, *(both - {found})) if found in both and both <= {*named.units} else (found,)


def with_rms_of_jitter(name: str, tokens: Sequence[Token]) -> list[Token]:
    """Return the tokens with "r.m.s." as the value that a jitter is given by; of anything else it adds nothing."""
    if name != "jitter":
        return list(tokens)
    return [
        Token("weighting", RMS, token.text) if SPELLINGS.get(token.text.casefold()) == RMS else token
        for token in tokens
    ]


def without_repeated(named: Named, unit: str, tokens: Sequence[Token]) -> list[Token]:
    """Return the tokens without a sensitivity that is printed once more in the other of its units: "10.3 dBf (1.8 µV)".

    Raises
    ------
    NotUnderstood
        If the two don't agree at 75 Ω or at 300 Ω.
    """
    if unit not in ("dBf", "V") or "dBf" not in named.units:
        return list(tokens)
    other = "V" if unit == "dBf" else "dBf"
    figures = [token for token in tokens if token.key == unit]
    for again in (token for token in tokens if token.key == other):
        pairs = [(figure, again) if unit == "dBf" else (again, figure) for figure in figures]
        if not any(_is_same(dbf.value, volts.value) for dbf, volts in pairs):
            raise NotUnderstood(
                f"{figures[0].text} and {again.text} are not the same at 75 or 300 ohms; keep one of them"
            )
    drop = (other, "Ω") if unit == "dBf" else (other,)
    return [token for token in tokens if token.key not in drop]


def _is_same(dbf: float, volts: float) -> bool:
    return volts > 0 and any(
        abs(10 * math.log10(volts**2 / ohms / _FEMTOWATT) - dbf) <= _SAME_DB for ohms in _ANTENNA_OHMS
    )


def with_relative_levels(name: str, tokens: Sequence[Token]) -> list[Token]:
    """Return the tokens with a level in dB and its reference as one: "−20 dB re 250 nWb/m"."""
    joined: list[Token] = []
    for token in tokens:
        last = joined[-1] if joined else None
        if token.key == "reference" and name in _LEVELLED and last is not None and last.key == "dB":
            joined[-1] = Token("VU", None, f"{last.text} re {token.text}")
        elif token.key == "reference" and name != "snr":
            joined.append(Token("word", None, token.text))
        else:
            joined.append(token)
    return joined


def named_condition(token: Token) -> tuple[str, str] | None:
    """Return a condition without a key of its own: its name and value."""
    if token.key == "named":
        name, value = token.value
        return name, value
    if token.key == "either way" and token.value[0] == "Hz":
        return "spacing", token.text
    return (CONDITION_OF_UNIT[token.key], token.text) if token.key in CONDITION_OF_UNIT else None


def refuse_loudspeaker(value: Token, conditions: Sequence[Token]) -> None:
    """Refuse an output impedance that names no tap and may be that of the loudspeaker.

    Raises
    ------
    NotUnderstood
        If the figure is a usual one of loudspeakers; the message says what to write.
    """
    named = {token.value[0] for token in conditions if token.key == "named"}
    if value.value in _OF_LOUDSPEAKERS and TAP not in named:
        raise NotUnderstood(
            f"{value.text} may be the loudspeaker that the output is made for; begin the line with "
            f'"{NOT_MEASURED}:", or if it is the output\'s own, write "source impedance: …"'
        )
