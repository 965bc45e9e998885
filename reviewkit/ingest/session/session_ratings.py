"""[[rated]] tables → ratings: the quantity by its rated name, the limit in the rule's unit."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from reviewkit.ingest.session import session_quantities as quantities
from reviewkit.ingest.session import session_values as values
from reviewkit.ingest.session.session_tables import Place
from reviewkit.model.errors import nearest
from reviewkit.model.ratings import POWER_WORDS, RULES, TRADE_WORDS, Rule, plain_name, rated_name
from reviewkit.model.session import Rating
from reviewkit.model.units import EXAMPLES

if TYPE_CHECKING:
    from reviewkit.ingest.session.session_schema import RatedTable

_LIMITS = ("at_least", "at_most", "within", "nominal")
# A level below the signal is negative, a distance is positive; a sign the wrong way round would meet any rating.
_BELOW = {"crosstalk": 'quantity = "separation" with at_least', "hum": ""}
_MUCH_ALIKE = 0.75  # "loudness" is no slip of the pen for "flatness"
_EITHER_SIGN = frozenset({"gain"})


def read_rating(table: RatedTable, place: Place) -> Rating | None:
    """One rating, or None where it cannot be told what is rated; every fault is noted at its line."""
    present = place.present()
    name = _name(table, place, present)
    if name is None:
        return None
    rule = RULES[name]
    limits = _limit(table, name, rule, place, present)
    if table.tones is not None and "tones" not in rule.conditions:
        place.fault(
            f'tones does not go with {_plain(name)}; write quantity = "intermodulation", or leave it out', "tones"
        )
    if table.level is not None and table.power is not None:
        place.fault("has a power and a level; write the one that the maker names", "level")
    reference, reference_w, reference_v = _reference(table.reference, place)
    nominal = limits.get("nominal")
    return Rating(
        quantity=name,
        unit=rule.unit,
        at_least=limits.get("at_least"),
        at_most=limits.get("at_most"),
        within=limits.get("within"),
        nominal=nominal,
        tolerance=_tolerance(table, nominal, rule, place, present),
        typical=table.typical,
        load_ohm=table.load,
        channels=table.channels,
        band_hz=table.band,
        frequency_hz=table.frequency,
        thd_percent=table.thd,
        thd_plus_noise_percent=table.thd_plus_noise,
        power_w=table.power if table.level is None or table.level.unit != "W" else table.level.value,
        level=table.level if table.level is not None and table.level.unit != "W" else None,
        termination=table.termination,
        volume=table.volume,
        input=table.input,
        weighting=values.weighting(table.weighting),
        tones_hz=table.tones,
        reference=reference,
        reference_w=reference_w,
        reference_v=reference_v,
        rule=table.rule,
        total=table.total,
        source=table.source,
        line=place.line,
    )


def _name(table: RatedTable, place: Place, present: frozenset[str]) -> str | None:
    if "quantity" not in present:
        place.fault('has no quantity; write for example quantity = "power"')
    if not table.quantity:
        return None
    name = rated_name(table.quantity)
    if name is None:
        remedy = _instead_of(table.quantity)
        place.fault(f"quantity = {values.written(table.quantity)} is no rating that is known; {remedy}", "quantity")
    return name


def _instead_of(words: str) -> str:
    """What to write for a quantity that is not known."""
    rule = POWER_WORDS.get(plain_name(words))
    if rule:
        return f'write quantity = "power" with rule = "{rule}"'
    names = {word.replace("_", " ") for word in (*RULES, *TRADE_WORDS)}
    remedy = nearest(words.strip().lower(), names, least=_MUCH_ALIKE)
    if remedy.startswith("did you mean"):
        return remedy
    known = ", ".join(sorted(name.replace("_", " ") for name in RULES))
    return f"nothing can be held against it: say it in a note, and leave this table out. Known: {known}"


def _plain(name: str) -> str:
    return name.replace("_", " ")


def _limit(table: RatedTable, name: str, rule: Rule, place: Place, present: frozenset[str]) -> dict[str, Any]:
    given = [key for key in _LIMITS if key in present]
    words = _plain(name)
    if not given:
        place.fault(f"has no limit; write {_example(rule.limits[0], name, rule)}")
        return {}
    if len(given) > 1:
        place.fault(f"has {' and '.join(given)}; one limit makes one row: write a [[rated]] table for each", given[1])
        return {}
    key = given[0]
    value = getattr(table, key)
    if key not in rule.limits:
        instead = " or ".join(_example(limit, name, rule, value) for limit in rule.limits)
        place.fault(f"{key} does not go with {words}, which takes {' or '.join(rule.limits)}; write {instead}", key)
        return {}
    try:
        return {key: _reader(key, name, rule)(value)}
    except ValueError as error:
        said = str(error)
        place.fault(f"{key} = {said}" if said.startswith(values.written(value)) else f"{key}: {said}", key)
        return {}


def _tolerance(
    table: RatedTable, nominal: float | None, rule: Rule, place: Place, present: frozenset[str]
) -> tuple[float, float] | None:
    """What a nominal value may be, in the rule's unit; None if the maker prints no tolerance."""
    if "tolerance" not in present:
        return None
    if nominal is None:
        place.fault("tolerance goes with a nominal value only; write nominal in place of the limit", "tolerance")
        return None
    try:
        return quantities.tolerance(table.tolerance, nominal, rule.unit)
    except ValueError as error:
        place.fault(f"tolerance = {error}", "tolerance")
        return None


def _reader(key: str, name: str, rule: Rule) -> Callable[[Any], Any]:
    if key == "within":
        return quantities.within
    if not rule.unit:
        return values.number(0, 1e6, "60")
    if rule.unit != "dB":
        return quantities.quantity(rule.unit)
    if name in _EITHER_SIGN:
        return quantities.quantity("dB", sign="any")
    if name not in _BELOW:
        return quantities.quantity("dB")

    def below(value: Any) -> float:
        level = quantities.quantity("dB", sign="any")(value)
        if level >= 0:
            other = f", or {_BELOW[name]}" if _BELOW[name] else ""
            opposite = f"-{str(value).strip().lstrip('+')}" if level else "-60 dB"
            given = f"{values.written(value)} is not below zero, as a {name} level is"
            raise ValueError(f'{given}; write "{opposite}"{other}')
        return level

    return below


def _example(limit: str, name: str, rule: Rule, given: Any = None) -> str:
    """A limit as it would be written, with the value that was given where that can be read."""
    if given is not None:
        try:
            _reader(limit, name, rule)(given)
        except ValueError:
            pass
        else:
            return f"{limit} = {values.written(given)}"
    if limit == "within":
        return 'within = "0.5 dB"'
    if not rule.unit:
        return f"{limit} = 60"
    if name in _BELOW:
        return f'{limit} = "-60 dB"'
    if rule.unit == "dB" and limit == "at_least":
        return f'{limit} = "60 dB"'
    return f'{limit} = "{EXAMPLES[rule.unit]}"'


def _reference(text: str, place: Place) -> tuple[str, float | None, float | None]:
    """What a signal to noise ratio is stated against: rated output, a power (W), or a voltage at the input (V)."""
    if not text:
        return "", None, None
    if " ".join(text.casefold().split()) in ("rated output", "rated power"):
        return "rated output", None, None
    try:
        level = quantities.drive(text)
        if level.unit not in ("W", "V"):
            raise ValueError(level.unit)
    except ValueError:
        remedy = 'write "rated output", "1 W" or "50 mW", or of an input "5 mV"'
        message = f"reference = {values.written(text)} is neither rated output nor a power nor a voltage at the input"
        place.fault(f"{message}; {remedy}", "reference")
        return "", None, None
    return text, level.watts, level.volts
