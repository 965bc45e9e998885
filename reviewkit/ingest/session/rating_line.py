"""One line of a brochure → the [[rated]] tables that say the same, or what it prints that can't be measured here.

A line names what is rated, then one value or several, with conditions in any order. Which value a condition belongs to
is read from where it is; where that leaves two readings, the line is refused with what to write.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from reviewkit.ingest.conditions import BARE_END, SEPARATORS, UNSIGNED, Token, phrases_of, plain, scan
from reviewkit.ingest.session.rating_entries import NotUnderstood, entries_of, join_inputs, refuse_two_limits
from reviewkit.ingest.session.rating_phrases import NAMES, PRINTED_ONLY, WORDS
from reviewkit.model.errors import nearest, shortened
from reviewkit.model.ratings import RULES
from reviewkit.model.session import PrintedFigure
from reviewkit.model.units import normalised

LONGEST_LINE = 400  # characters
NOT_MEASURED = "not measured"
_LONGEST_NAME, _LONGEST_TEXT = 50, 100  # of what is only printed
_MUCH_ALIKE = 0.8
_LEADER = re.compile(r"\s*(?:\.{3,}|…+|·{3,})\s*")
_LABEL = re.compile(r"([^:]{1,80}):\s*(.*)", re.DOTALL)
_GROUPS = {mark: re.compile(rf"(?<![\w.,])[1-9]\d{{0,2}}(?:{re.escape(mark)}\d{{3}})+(?![\d.,]?\d)") for mark in ",."}
_DECIMALS = {
    mark: re.compile(rf"(?<![\w.,])(?:0{re.escape(mark)}\d+|\d+{re.escape(mark)}(?:\d{{1,2}}|\d{{4,}}))(?![.,]?\d)")
    for mark in ",."
}
_FROM_TO = re.compile(rf"({UNSIGNED})\s*(?:Hz)?\s*(?:\bto\b|-|~)\s*$", re.IGNORECASE)
_SPACED_GROUP = re.compile(r"(?<=[-~o]\d{2}) (?=\d{3}\s*Hz)|(?<=[-~o] \d{2}) (?=\d{3}\s*Hz)")  # 20 to 20 000 Hz
_WATTS = r"\s*(?:W|watts?)"
_TWO_ALIKE = re.compile(rf"\b({UNSIGNED})(?:{_WATTS})?\s*[+/]\s*\1(?:{_WATTS})(?!\w)", re.IGNORECASE)
_TWICE = re.compile(rf"\b2\s*[x×]\s*({UNSIGNED}){_WATTS}(?!\w)|\b({UNSIGNED}){_WATTS}\s*[x×]\s*2\b", re.IGNORECASE)
_FOUR_TO_ONE = re.compile(r"=?\s*\b[14]\s*:\s*[14]\b(?!\s*[\d:])")
_A_WEIGHTED = re.compile(r"(?<=\d)\s*(?:dB|db|DB) ?\(?A\)?(?!\w)")
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
        return LineRead(printed=[_printed(written[match.end() :], "")])
    named, only = _longest(text, NAMES), _longest(text, PRINTED_ONLY)
    if len(only) > len(named):
        return LineRead(printed=[_printed(written, only)])
    # "Phono S/N: 80 dB" is "S/N: phono 80 dB"
    of_input = "" if named else _longest(text, tuple(word for word, (key, _) in WORDS.items() if key == "input"))
    named = named or _longest(text[len(of_input) :].lstrip(), NAMES)
    if not named:
        raise NotUnderstood(_unknown(written))
    if of_input.casefold() == "tuner":
        raise NotUnderstood(
            'may be for the radio or for its input; begin with "FM" for the radio, or write "…: tuner …" for the input'
        )
    name, meant = NAMES[_plain_name(named)]
    rest = f"{of_input} {text[len(of_input) :].lstrip()[len(named) :]}"
    if name == "power":
        rest = _TWICE.sub(lambda m: f"{m[1] or m[2]} W each", _TWO_ALIKE.sub(r"\1 W each", rest))
    if name == "imd":
        rest = _FOUR_TO_ONE.sub("", rest)
    tokens = scan(_with_points(_A_WEIGHTED.sub(" dB A-weighted", rest)), WORDS)
    if name == "hum" and {"dB", "V"} & {token.key for token in tokens} == {"V"}:
        name = "hum_voltage"
    return _LineParser(name, meant, tokens).read()


# ------------------------------------------------------------------ the name


def _plain_name(text: str) -> str:
    return plain(text.replace("&", "and"))


def _longest(text: str, names: Sequence[str] | Mapping[str, object]) -> str:
    """Return the longest of the names that a text begins with, as it is written there."""
    match = _names(tuple(names)).match(text)
    return match[0] if match else ""


def _names(names: tuple[str, ...]) -> re.Pattern[str]:
    spelled = tuple({*names, *(name.replace(" and ", " & ") for name in names)})
    return phrases_of(tuple(sorted(spelled)))


def _printed(text: str, name: str) -> PrintedFigure:
    """Split a line into name and figures: at its colon, else after its name, else before the first figure."""
    if (match := _LABEL.fullmatch(text)) and match[2]:
        named, rest = match[1].strip(), match[2].strip()
    else:
        end = len(name) or next((at for at, sign in enumerate(text) if sign.isdigit()), len(text))
        named, rest = text[:end].strip(" :="), text[end:].strip(" :=")
        if not any(sign.isdigit() for sign in rest):
            raise NotUnderstood(_heading(text))
    if len(named) > _LONGEST_NAME or len(rest) > _LONGEST_TEXT:
        most = f"{_LONGEST_NAME} characters before the colon and {_LONGEST_TEXT} after it"
        raise NotUnderstood(f"is too long for a card; shorten it to at most {most}")
    if not named:
        raise NotUnderstood(f'has no name before its figures; write for example "{NOT_MEASURED}: Slew rate: 40 V/µs"')
    return PrintedFigure(named, rest)


def _heading(text: str) -> str:
    """Return what to do about a line without a figure, which may change what the lines below it mean."""
    lead = f'begin the lines below it with its word, such as "FM S/N: 70 dB", or with "{NOT_MEASURED}:"'
    return f"has no figure; if it is a heading, leave it out, and {lead}"


def _unknown(line: str) -> str:
    if not any(sign.isdigit() for sign in line):
        return _heading(line)
    said = shortened(line, 60)
    head = re.split(r"[:=\d(]", line, maxsplit=1)[0].strip().casefold()
    guess = nearest(head, NAMES, least=_MUCH_ALIKE)
    known = guess if guess.startswith("did you mean") else 'begin with a name such as "power", "THD" or "S/N".'
    return f'this rating is not known; {known} Only to print it, write "{NOT_MEASURED}: {said}"'


# ------------------------------------------------------------------ decimal marks


def _with_points(text: str) -> str:
    """Return a text with decimal points and no marks between thousands.

    Raises
    ------
    NotUnderstood
        For a number that may be a thousand times another.
    """
    text = _SPACED_GROUP.sub("", text)
    shown = [mark for mark in ",." if _DECIMALS[mark].search(text)]
    if len(shown) == 2:
        raise NotUnderstood("has decimal commas and decimal points; write all its numbers with points")
    for mark, other in ((",", "."), (".", ",")):
        groups = _GROUPS[mark]
        for match in list(groups.finditer(text)):
            whole, point = match[0].replace(mark, ""), match[0].replace(mark, ".")
            before = _FROM_TO.search(text, 0, match.start())
            # 20 - 20,000 Hz rises only if the mark is between thousands
            falling = bool(before) and match[0].count(mark) == 1 and float(before[1]) >= float(point)  # type: ignore[index]
            if match[0].count(mark) > 1 or shown == [other] or falling:
                text = text.replace(match[0], whole)
            elif shown != [mark]:
                kilo = f", such as {float(whole) / 1000:g} kHz" if "Hz" in text else ""
                raise NotUnderstood(f'"{match[0]}" is {whole} or {point}; write the one that is meant{kilo}')
    return re.sub(r"(?<=\d),(?=\d)", ".", text) if shown == [","] else text


# ------------------------------------------------------------------ the values and their conditions


class _LineParser:
    """A line while it is read: what is rated, and the tokens after its name."""

    def __init__(self, name: str, meant: str, tokens: Sequence[Token]) -> None:
        self.name = name
        self.meant = meant
        self.words = {token.text.casefold() for token in tokens}
        self.tokens = join_inputs([token for token in tokens if token.key and not self._says_nothing(token)])

    def read(self) -> LineRead:
        """Return the tables of this line."""
        values = [index for index, token in enumerate(self.tokens) if self._is_value(token)]
        known = {index for index, token in enumerate(self.tokens) if self._is_condition(token)} | {*values}
        unknown = [token for index, token in enumerate(self.tokens) if index not in known]
        try:
            if unknown:
                raise NotUnderstood(_not_known(unknown[0]))
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
        return shortened(" | ".join((_plain(self.name), *parts)), 160)

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
        unit = RULES[self.name].unit
        if "within" in RULES[self.name].limits and token.key == "within":
            return True
        return token.key == (unit or "number")

    def _is_condition(self, token: Token) -> bool:
        if token.key == "figure":
            return RULES[self.name].unit != "%"
        if token.key == "riaa":
            return self.name == "flatness"
        if token.key == "rated output":
            return self.name == "snr"
        if token.key == "total":
            return self.name == "power"
        if token.key in _TONES:
            return self.name == "imd"
        return token.key in SEPARATORS or token.key in _CONDITIONS

    def _no_value(self) -> str:
        if self.name in ("flatness", "riaa_deviation"):
            return f'no tolerance is printed; write it, such as ±1 dB, or "{NOT_MEASURED}: …" to only print the line'
        unit = RULES[self.name].unit
        return f"there is no figure{f' in {unit}' if unit else ''}; write it after the name"

    # -------------------------------------------------------------- one value with its conditions

    def _add(self, read: LineRead, value: Token, side: str, conditions: Sequence[Token]) -> None:
        """Add the tables of a value: one for each input."""
        conditions = [token for token in conditions if token.key not in SEPARATORS]
        name = "riaa_deviation" if any(token.key == "riaa" for token in conditions) else self.name
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
            elif said := self._condition(token, conditions):
                key, given = said
                if keys.setdefault(key, given) != given:
                    raise NotUnderstood(f"{_plain(key)} is printed twice for {value.text}; give each its own line")
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
        if key == "V":
            return ("reference" if self.name == "snr" else "level"), token.text
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
        if "din" in words and self.name != "power":
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
        rule, limit = RULES[name], {"quantity": _plain(name)}
        if value.key == "within":
            return [{**limit, "within": value.value or value.text}]
        if "within" in rule.limits and "at_most" not in rule.limits:
            return self._by_one_figure(name, value, side, keys)
        wanted = {"most": "at_most", "least": "at_least"}.get(side, "")
        usual = "nominal" if "nominal" in rule.limits else rule.limits[0]
        if wanted and wanted not in rule.limits:
            raise NotUnderstood(
                f'"{"at most" if side == "most" else "at least"}" does not go with {_plain(name)} {value.text}; '
                f"correct the figure, or leave the words out"
            )
        text = value.text.lstrip("+") if rule.unit else value.value
        if name in ("crosstalk", "hum"):  # printed with or without its sign
            text = f"-{value.text.lstrip('+-')}"
        elif name in ("snr", "separation"):
            text = value.text.lstrip("+-")
        return [{**limit, wanted or usual: text}]

    def _by_one_figure(self, name: str, value: Token, side: str, keys: dict[str, Any]) -> list[dict[str, Any]]:
        """Return what a response with one figure for a tolerance means: "within 1 dB", or its −3 dB points."""
        if side == "most" and value.value > 0:
            return [{"quantity": _plain(name), "within": value.text}]
        if value.value == _HALF_POWER_DB and name == "flatness" and "band" in keys:
            low, high = keys.pop("band")
            return [{"quantity": "corner low", "at_most": low}, {"quantity": "corner high", "at_least": high}]
        size = f"{abs(value.value):g}"
        raise NotUnderstood(
            f"{value.text} alone may be a limit on one side or on both; write +0 −{size} dB or ±{size} dB, whichever "
            "is meant"
        )


def _not_known(token: Token) -> str:
    text = shortened(token.text, 40)
    if token.key == BARE_END:
        return f'the lower end of "{text}" has no unit; write it, such as {token.value} Hz'
    return f'"{text}" is not understood; leave it out, or put it on its own line'


_HALF_POWER_DB = -3.0
_TONES = ("tones", "two frequencies")
_DISTORTIONS = tuple(name for name, rule in RULES.items() if rule.is_distortion)
_OF_PHONO = ("riaa_deviation", "phono_overload")
_KEYS = {
    "Hz": "frequency",
    "Ω": "load",
    "rated output": "reference",
    **{key: key for key in ("channels", "termination", "volume", "typical", "weighting", "rule")},
}
_CONDITIONS = frozenset(
    (*_KEYS, "W", "V", "%", "band", "input", "most", "least", "each", "half", "din", "ihf", "unsaid weighting")
)


def _plain(name: str) -> str:
    return name.replace("_", " ")
