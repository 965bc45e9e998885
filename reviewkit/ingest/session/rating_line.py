"""One line of a brochure → the [[rated]] tables that say the same, or what it prints that can't be measured here.

A line names what is rated, then one value or several, with conditions in any order. Which value a condition belongs to
is read from where it is; where that leaves two readings, the line is refused with what to write.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from reviewkit.ingest.conditions import CONDITION_OF_UNIT, SEPARATORS, Token, scan
from reviewkit.ingest.references import read_reference
from reviewkit.ingest.session.own_figures import (
    named_condition,
    own_units,
    refuse_loudspeaker,
    with_relative_levels,
    with_rms_of_jitter,
    without_repeated,
)
from reviewkit.ingest.session.printed_line import NOT_MEASURED, not_known, printed, unknown
from reviewkit.ingest.session.rating_entries import NotUnderstood, entries_of, join_inputs, refuse_two_limits
from reviewkit.ingest.session.rating_names import Named, each_control, find_name, respelled, rest_of, with_points
from reviewkit.ingest.session.rating_phrases import WORDS
from reviewkit.model.errors import shortened
from reviewkit.model.level import KEY_OF_UNIT as LEVELS
from reviewkit.model.ratings import RULES, limits_of, spaced
from reviewkit.model.session import PrintedFigure
from reviewkit.model.units import normalised
from reviewkit.model.weightings import WEIGHTED_PEAK, WRMS

LONGEST_LINE = 400  # characters
_LEADER = re.compile(r"\s*(?:\.{3,}|…+|·{3,})\s*")
_LEAST_OUTPUT_V = 0.1  # of a reference that may be at the output
_LEAST_IMPEDANCE_OHM = 100.0  # of an input


@dataclass
class LineRead:
    """The content of a line. `tables`: keys and values as session.toml would have them."""

    tables: list[dict[str, Any]] = field(default_factory=list)
    printed: list[PrintedFigure] = field(default_factory=list)


def read_line(line: str) -> LineRead:
    """Return what a line of a brochure gives.

    Raises
    ------
    NotUnderstood
        If a part of it isn't known, or can be read in two ways that give different numbers.
    """
    written = " ".join(line.split())
    if len(written) > LONGEST_LINE:
        raise NotUnderstood(f"has {len(written)} characters; write at most {LONGEST_LINE}, a line for each rating")
    written = _LEADER.sub(": ", written, count=1)
    text = normalised(written)
    if match := re.match(rf"{NOT_MEASURED}\s*:\s*", text, re.IGNORECASE):
        return LineRead(printed=[printed(written[match.end() :], "")])
    if controls := each_control(text):
        parts = [read_line(control) for control in controls]
        return LineRead([table for part in parts for table in part.tables], [e for part in parts for e in part.printed])
    text = respelled(text)
    named = find_name(text)
    if named.printed:
        return LineRead(printed=[printed(written, named.printed)])
    if not named.name:
        raise NotUnderstood(unknown(written))
    if named.of_input.casefold() == "tuner":
        raise NotUnderstood(
            'may be for the radio or for its input; begin with "FM" for the radio, or write "…: tuner …" for the input'
        )
    name = named.name
    tokens = scan(with_points(rest_of(named)), WORDS)
    if {"dB", "V"} & {token.key for token in tokens} == {"V"}:
        name = _IN_VOLTS.get(name, name)
    return _LineParser(replace(named, name=name), tokens).read()


# ------------------------------------------------------------------ the values and their conditions


class _LineParser:
    """A line while it is read: what is rated, and the tokens after its name."""

    def __init__(self, named: Named, tokens: Sequence[Token]) -> None:
        self.name, self.meant, self.called = named.name, named.meant, named.called
        own = bool(named.called)
        tokens = with_rms_of_jitter(named.name, tokens)
        self.units = own_units(named, tokens) if own else (RULES[named.name].unit or "number",)
        self.limits = limits_of(named.name)
        self.usual = named.limit if own else "nominal" if "nominal" in self.limits else self.limits[0]
        tokens = without_repeated(named, self.units[0], tokens) if own else with_relative_levels(named.name, tokens)
        self.words = {token.text.casefold() for token in tokens}
        self.tokens = join_inputs([token for token in tokens if token.key and not self._says_nothing(token)])

    def read(self) -> LineRead:
        """Return the tables of this line."""
        values = [index for index, token in enumerate(self.tokens) if self._is_value(token)]
        known = {index for index, token in enumerate(self.tokens) if self._is_condition(token)} | {*values}
        unknown = [token for index, token in enumerate(self.tokens) if index not in known]
        try:
            if unknown:
                raise NotUnderstood(not_known(unknown[0], self.tokens))
            if not values:
                raise NotUnderstood(self._no_value())
            read = LineRead()
            for value, side, conditions in entries_of(self.tokens, values):
                self._add(read, value, side, conditions)
            refuse_two_limits(read.tables)
        except NotUnderstood as error:
            raise NotUnderstood(f"{error} (read as {self._shown()})") from None
        return read

    def _shown(self) -> str:
        """Return the line as it was understood, each part on its own; what wasn't is between question marks."""
        parts = [
            f"?{token.text}?" if not (self._is_value(token) or self._is_condition(token)) else token.text
            for token in self.tokens
            if token.key not in SEPARATORS
        ]
        return shortened(" | ".join((spaced(self.name), *parts)), 160)

    # -------------------------------------------------------------- what a token is

    def _says_nothing(self, token: Token) -> bool:
        """Return whether a word adds nothing to what this name means."""
        if token.key == "rule":
            return token.value == "continuous" and self.name != "power"
        if token.key == "figure":
            return token.value == self.name or (token.text.casefold() == "distortion" and self.name in _DISTORTIONS)
        if token.key == "rated output":  # a distortion without a level means it
            return self.name in (*_DISTORTIONS, "input_sensitivity")
        if token.key == "each":
            return self.name != "power"
        return token.key == "riaa" and self.name == "riaa_deviation"

    def _is_value(self, token: Token) -> bool:
        if token.key == "within":
            of_own = bool(self.called) and self.units == ("dB",) and self.usual != "nominal"
            return of_own if self.called else "within" in self.limits
        if token.key == "dB" and any(each.key == "within" for each in self.tokens):
            return self.name not in ("flatness", "riaa_deviation")  # a level next to the tolerance
        if token.key == "either way":
            return bool(self.called) and token.value[0] in self.units and self.usual != "nominal"
        return token.key in self.units

    def _is_condition(self, token: Token) -> bool:
        if token.key == "figure":
            return self.units != ("%",)
        if token.key in _OF_ONE:
            return self.name == _OF_ONE[token.key]
        if token.key in ("rated output", "reference"):
            return self.name == "snr" or (bool(self.called) and token.key == "reference")
        if token.key in ("either way", "within", *CONDITION_OF_UNIT):
            return bool(self.called)
        return token.key in SEPARATORS or token.key in _CONDITIONS

    def _no_value(self) -> str:
        if self.name in ("flatness", "riaa_deviation"):
            return f'no tolerance is printed; write it, such as ±1 dB, or "{NOT_MEASURED}: …" to only print the line'
        unit = self.units[0].replace("number", "")
        return f"there is no figure{f' in {unit}' if unit else ''}; write it after the name"

    # -------------------------------------------------------------- one value with its conditions

    def _add(self, read: LineRead, value: Token, side: str, conditions: Sequence[Token]) -> None:
        """Add the tables of a value: one for each input."""
        conditions = [token for token in conditions if token.key not in SEPARATORS]
        name = "riaa_deviation" if any(token.key == "riaa" for token in conditions) else self.name
        if self.meant == "output":
            refuse_loudspeaker(value, conditions)
        keys: dict[str, Any] = {}
        inputs: tuple[str, ...] = ("phono",) if self.meant == "phono" else ("",)
        if self.meant == "of an input" and not any(token.key == "input" for token in conditions):
            raise NotUnderstood(f'{value.text} is printed without its input; write it, such as "aux", or "FM"')
        impedance = ""
        for token in conditions:
            if token.key == "input":
                inputs = token.value
            elif name == "input_sensitivity" and token.key == "Ω" and token.value >= _LEAST_IMPEDANCE_OHM:
                impedance = token.text
            elif named := named_condition(token):
                name_of, text = named
                if keys.setdefault("conditions", {}).setdefault(name_of, text) != text:
                    raise NotUnderstood(f"{name_of} is printed twice for {value.text}; give each its own line")
            elif said := self._condition(token, conditions):
                key, given = said
                if keys.setdefault(key, given) != given:
                    raise NotUnderstood(f"{spaced(key)} is printed twice for {value.text}; give each its own line")
        self._check_words(value, conditions, keys)
        limits = self._limits(name, value, side, keys)
        for each in inputs:
            # the phono stage has no other input
            of_input = {"input": each} if each and not (name in _OF_PHONO and each == "phono") else {}
            read.tables += [{**limit, **keys, **of_input} for limit in limits]
            if impedance:
                read.printed.append(PrintedFigure(f"Input impedance{f', {each}' if each else ''}", impedance))

    def _condition(self, token: Token, conditions: Sequence[Token]) -> tuple[str, Any] | None:
        """Return a condition's key and value as session.toml has them; None for a word about the value itself."""
        key = token.key
        if key == "W":
            return ("reference" if self.name == "snr" else "power"), token.text
        if key == "V" and self.name == "snr" and token.value >= _LEAST_OUTPUT_V and "input" not in self.words:
            raise NotUnderstood(
                f'{token.text} may be at the input or the output; write "{token.text} input" if it is there'
            )
        if key == "reference":
            return "reference", self._reference(token)
        if key == "V":
            return ("reference" if self.name == "snr" else "level"), token.text
        if key in LEVELS:
            return "level", token.text
        if key in ("either way", "within"):
            if self.usual == "nominal":
                return "tolerance", f"±{token.text}"
            raise NotUnderstood(
                f"it is not clear what ±{token.text} applies to; leave it out, or put it on its own line"
            )
        if key == "%":
            figures = [each.value for each in conditions if each.key == "figure"]
            return (figures[0] if figures else "thd"), token.text
        if key == "band":
            return "band", token.text.split(" to ")
        if key in _TONES:
            return "tones", [f"{hertz:.15g} Hz" for hertz in token.value]
        if key in _KEYS:
            return _KEYS[key], token.value if key not in ("Hz", "Ω") else token.text
        return None

    def _reference(self, token: Token) -> str:
        found = read_reference(token.text)
        if found is None:
            raise NotUnderstood(f"{token.text} is not what a ratio can be relative to; leave it out")
        if self.name == "snr" and not token.value and (found.reference_v or 0.0) >= _LEAST_OUTPUT_V:
            either = f'"{token.text} input" or "{token.text} output"'
            raise NotUnderstood(f"{token.text} may be at the input or the output; write {either}")
        return found.reference

    def _check_words(self, value: Token, conditions: Sequence[Token], keys: dict[str, Any]) -> None:
        """Refuse words that mean more than one thing, and note what they say of a power."""
        words = {token.key for token in conditions}
        if self.name == "power":
            self._check_power(value, words, keys)
        if "half" in words:
            raise NotUnderstood(
                f"{value.text} is at half of a power that this line doesn't print; write it, such as 20 W"
            )
        if "unsaid weighting" in words and "weighting" not in words:
            raise NotUnderstood('no weighting is named; write "A-weighted" or "unweighted"')
        if self.name == "wow_and_flutter" and words & {"din", "jis"}:
            keys.setdefault("weighting", WEIGHTED_PEAK if "din" in words else WRMS)
        elif "din" in words and self.name != "power":
            raise NotUnderstood('DIN has more than one weighting; write "unweighted" or "A-weighted" in its place')
        if "ihf" in words and self.name in ("snr", "noise", *_DISTORTIONS) and "weighting" not in words:
            raise NotUnderstood('IHF has more than one method; write what is meant, such as "A-weighted", in its place')

    def _check_power(self, value: Token, words: set[str], keys: dict[str, Any]) -> None:
        rule = keys.get("rule") or ("DIN" if "din" in words else "")
        if self.meant == "maximum":
            what = 'write "continuous power" or "music power"'
            raise NotUnderstood(f"a maximum power such as {value.text} may be continuous or music power; {what}")
        if self.meant not in ("", "total") and rule not in ("", self.meant):
            raise NotUnderstood(f"the power is {self.meant} and {rule}; write one of them")
        rule = rule or (self.meant if self.meant != "total" else "")
        if "ihf" in words and rule != "music":
            raise NotUnderstood('an IHF power may be continuous or music power; write which, in place of "IHF"')
        total = "total" in words or self.meant == "total"
        if total == ("each" in words):
            other = f'"{value.text} per channel" or "{value.text} total"'
            raise NotUnderstood(f"{value.text} may be for each channel or for both; write {other}")
        keys |= {"rule": rule} if rule else {}
        keys |= {"total": True} if total else {}

    def _limits(self, name: str, value: Token, side: str, keys: dict[str, Any]) -> list[dict[str, Any]]:
        """Return the quantity and its limit: one, or both corners of a response that is given at its −3 dB points."""
        limit: dict[str, Any] = {"quantity": self.called or spaced(name)}
        if self.called:
            own = self._own_limit(value, side)
            if "tolerance" in keys and "nominal" not in own:
                word = next(token.text for token in self.tokens if token.key in ("most", "least"))
                raise NotUnderstood(f'a limit has no tolerance; leave out "{word}", or leave out {keys["tolerance"]}')
            return [limit | own]
        rule = RULES[name]
        if value.key == "within":
            return [{**limit, "within": value.value or value.text}]
        if "within" in rule.limits and "at_most" not in rule.limits:
            return self._by_one_figure(name, value, side, keys)
        wanted = {"most": "at_most", "least": "at_least"}.get(side, "")
        if wanted and wanted not in rule.limits:
            raise NotUnderstood(
                f'"{"at most" if side == "most" else "at least"}" does not go with {spaced(name)} {value.text}; '
                f"correct the figure, or leave the words out"
            )
        text = value.text.lstrip("+") if rule.unit else value.value
        if name in ("crosstalk", "hum"):  # printed with or without its sign
            text = f"-{value.text.lstrip('+-')}"
        elif name in ("snr", "separation"):
            text = value.text.lstrip("+-")
        return [{**limit, wanted or self.usual: text}]

    def _own_limit(self, value: Token, side: str) -> dict[str, Any]:
        """Return the limit of a figure under a name that no rule has: what its line says, else what the name means."""
        both_ways = value.key in ("within", "either way")
        sides = value.value if value.key == "within" else value.value[2] if both_ways else None
        if self.usual == "within" or (both_ways and (sides or not self.usual)):
            return {"within": sides or f"±{value.text}"}
        limit = {"most": "at_most", "least": "at_least"}.get(side, "")
        if limit == "at_least" and self.usual == "at_most" and value.value < 0:
            limit = "at_most"  # "better than −73 dB"
        if not (limit or self.usual):
            raise NotUnderstood(f'{value.text} may be the least or the most; write "at least" or "at most"')
        text: Any = value.value if self.units == ("number",) else value.text
        if self.name == "rumble":  # printed with or without its sign
            text = f"-{value.text.lstrip('+-')}"
        elif isinstance(text, str) and self.units != ("dBf",):
            text = text.lstrip("+")
        return {limit or self.usual: text}

    def _by_one_figure(self, name: str, value: Token, side: str, keys: dict[str, Any]) -> list[dict[str, Any]]:
        """Return what a response with one figure for a tolerance means: "within 1 dB", or its −3 dB points."""
        if side == "most" and value.value > 0:
            return [{"quantity": spaced(name), "within": value.text}]
        if value.value == _HALF_POWER_DB and name == "flatness" and "band" in keys:
            low, high = keys.pop("band")
            return [{"quantity": "corner low", "at_most": low}, {"quantity": "corner high", "at_least": high}]
        size = f"{abs(value.value):g}"
        raise NotUnderstood(
            f"{value.text} alone may be a limit on one side or on both; write +0 −{size} dB or ±{size} dB, whichever "
            "is meant"
        )


_HALF_POWER_DB = -3.0
_IN_VOLTS = {"hum": "hum_voltage", "snr": "noise"}
_TONES = ("tones", "two frequencies")
_OF_ONE = {"riaa": "flatness", "total": "power", **dict.fromkeys(_TONES, "imd")}  # conditions of one rated name
_DISTORTIONS = tuple(name for name, rule in RULES.items() if rule.is_distortion)
_OF_PHONO = ("riaa_deviation", "phono_overload")
_KEYS = {
    "Hz": "frequency",
    "Ω": "load",
    "rated output": "reference",
    **{key: key for key in ("channels", "termination", "volume", "typical", "weighting", "rule")},
}
_CONDITIONS = frozenset(
    (
        *(*_KEYS, *LEVELS, "%", "band", "input", "most", "least", "each", "half", "din", "jis", "ihf", "named"),
        "unsaid weighting",
    )
)
