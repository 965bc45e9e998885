"""The beginning of a brochure's line: what is rated, of which input, and how the rest must be spelled to be scanned.

Its numbers get decimal points, and lose marks between thousands.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from reviewkit.ingest.conditions import UNSIGNED, phrases_of, plain
from reviewkit.ingest.session.rating_entries import NotUnderstood
from reviewkit.ingest.session.rating_phrases import NAMES, PRINTED_ONLY, WORDS
from reviewkit.model.gear_names import LIMIT_OF, SHOWN, UNITS_OF, spelled
from reviewkit.model.ratings import RULES, own_name
from reviewkit.model.unstated_conditions import RADIO

_INPUTS = tuple(word for word, (key, _) in WORDS.items() if key == "input")
_SPELLED = (
    (re.compile(r"[×x]\s?10(?:\^?-6|⁻⁶)"), "x 10-6"),
    (re.compile(r"\bdB\s?/\s?(?:1\s?)?W\s?/\s?(?:1\s?)?m\b"), "dB SPL (1 W, 1 m)"),
    (
        re.compile(r"(cm/s(?:ec\.?)?),? (?:lateral )?(peak|r\.?m\.?s\.?)(?: lateral)?(?!\w)", re.IGNORECASE),
        r"\1 velocity \2",
    ),
    # "33 1/3 and 45 rpm" has the unit with the last speed only
    (
        re.compile(r"(\d\d(?: 1/3|⅓)?)\s*(?:,|/|&|\band\b)\s*(?=\d+(?: 1/3|⅓)?\s*(?:rpm|r\.p\.m\.))", re.IGNORECASE),
        r"\1 rpm, ",
    ),
    (re.compile(r"(\d) ?⅓"), r"\1 1/3"),
    (re.compile(r"(?i)^output(?=\s*:[^W]*\d\s*[mµu]?V\b)"), "output voltage"),
)
_MAINS = re.compile(
    rf"(?:at |\()?\b{UNSIGNED} ?V(?: ?a\.?c\.?)?(?:[,/ ]+{UNSIGNED}(?:/{UNSIGNED})? ?Hz)?\)?", re.IGNORECASE
)
_WATTS = r"\s*(?:W|watts?)"
_TWO_ALIKE = re.compile(rf"\b({UNSIGNED})(?:{_WATTS})?\s*[+/]\s*\1(?:{_WATTS})(?!\w)", re.IGNORECASE)
_TWICE = re.compile(rf"\b2\s*[x×]\s*({UNSIGNED}){_WATTS}(?!\w)|\b({UNSIGNED}){_WATTS}\s*[x×]\s*2\b", re.IGNORECASE)
_LISTED = rf"({UNSIGNED})(?:, +| ?/ ?| and )"
_BARE_HERTZ = re.compile(rf"((?:{_LISTED})+)(?={UNSIGNED} ?(k?Hz)\b)", re.IGNORECASE)
_FOUR_TO_ONE = re.compile(r"=?\s*\b[14]\s*:\s*[14]\b(?!\s*[\d:])")
_A_WEIGHTED = re.compile(r"(?<=\d)\s*(?:dB|db|DB) ?\(?A\)?(?![\w-])")
_LABEL = re.compile(r"([^:]{1,60}):")
_SAYS_LIMIT = re.compile(
    r"\b(?:at most|no more than|not more than|less than|under|within|at least|more than|or less|or more|max|min)\b"
    r"|[<>≤≥±]|\+/-",
    re.IGNORECASE,
)
_GROUPS = {mark: re.compile(rf"(?<![\w.,])[1-9]\d{{0,2}}(?:{re.escape(mark)}\d{{3}})+(?![\d.,]?\d)") for mark in ",."}
_DECIMALS = {
    mark: re.compile(rf"(?<![\w.,])(?:0{re.escape(mark)}\d+|\d+{re.escape(mark)}(?:\d{{1,2}}|\d{{4,}}))(?![.,]?\d)")
    for mark in ",."
}
_FROM_TO = re.compile(rf"({UNSIGNED})\s*(?:Hz)?\s*(?:\bto\b|-|~)\s*$", re.IGNORECASE)
_SPACED_GROUP = re.compile(r"(?<=[-~o]\d{2}) (?=\d{3}\s*Hz)|(?<=[-~o] \d{2}) (?=\d{3}\s*Hz)")  # 20 to 20 000 Hz
TONE_CONTROLS = ("bass_control", "treble_control")
_TONE_CONTROLS = re.compile(r"tone controls?(?: range)?\s*:?\s*(?=(?:bass|treble)\b)", re.IGNORECASE)
_EACH_CONTROL = re.compile(r"\s*[,;/]\s*(?=(?:bass|treble)\b)", re.IGNORECASE)


@dataclass(frozen=True)
class Named:
    """The figure that a line rates.

    Attributes
    ----------
    name
        The rated name; "" if it isn't known.
    meant
        More about it, as in `rating_phrases.NAMES`.
    rest
        The line without the name, with its input in front.
    of_input
        The input that the line begins with.
    called, units, limit
        Of a name that no rule has: as it is shown, the units that its figure may be in (none: that of the first
        figure with a limit), the limit that a bare figure is ("": none).
    printed
        The name of what is only printed; "" if it can be judged.
    """

    name: str
    meant: str = ""
    rest: str = ""
    of_input: str = ""
    called: str = ""
    units: tuple[str, ...] = ()
    limit: str = ""
    printed: str = ""


def respelled(text: str) -> str:
    """Return a line with what has more than one spelling in the one that is scanned."""
    for pattern, spelling in _SPELLED:
        text = pattern.sub(spelling, text)
    return text


def find_name(text: str) -> Named:
    """Return what a line rates: by the longest name that it begins with, after its input if that comes first."""
    found = _name(text)
    if found.name or found.printed:
        return found
    if of_input := longest(text, _INPUTS):
        rest = text[len(of_input) :].lstrip()
        found = _name(rest)
        if found.name or found.printed:
            return replace(found, rest=f"{of_input} {found.rest}", of_input=of_input)
        if of_input.upper() in RADIO:
            return Named("", printed=of_input)
    return _own(text)


def _name(text: str) -> Named:
    named, gear, only = longest(text, NAMES), longest(text, SHOWN), longest(text, PRINTED_ONLY)
    if len(gear) == len(named) and plain(gear) == "sensitivity" and "SPL" not in text:
        gear = ""  # of an input
    if len(only) > max(len(named), len(gear)):
        return Named("", printed=only)
    if gear and len(gear) >= len(named):
        if not any(sign.isdigit() for sign in text[len(gear) :]):
            return Named("", printed=gear)  # "unmeasurable"
        called = SHOWN[spelled(gear)]
        rest = text[len(gear) :]
        rest = _MAINS.sub(" ", rest) if called == "power consumption" else rest
        return Named(own_name(called), rest=rest, called=called, units=UNITS_OF[called], limit=LIMIT_OF[called])
    if named:
        name, meant = NAMES[plain(named.replace("&", "and"))]
        return Named(name, meant, text[len(named) :])
    return Named("")


def _own(text: str) -> Named:
    """Return the maker's own name in front of a colon, if the line says which way its figure is a limit."""
    match = _LABEL.match(text)
    if not match or not _SAYS_LIMIT.search(text, match.end()) or own_name(match[1]) in RULES:
        return Named("")
    return Named(own_name(match[1]), rest=text[match.end() - 1 :], called=" ".join(match[1].split()))


def longest(text: str, names: Sequence[str] | Mapping[str, object]) -> str:
    """Return the longest of the names that a text begins with, as it is written there."""
    match = _pattern(tuple(names)).match(text)
    return match[0] if match else ""


def _pattern(names: tuple[str, ...]) -> re.Pattern[str]:
    return phrases_of(tuple(sorted({*names, *(name.replace(" and ", " & ") for name in names)})))


def each_control(text: str) -> list[str]:
    """Return a line "Tone controls: bass …, treble …" as a line for each; none of any other line."""
    match = _TONE_CONTROLS.match(text)
    return _EACH_CONTROL.split(text[match.end() :]) if match else []


def rest_of(named: Named) -> str:
    """Return what follows the name, with what only this name has in the form that is scanned."""
    name, rest = named.name, named.rest
    if name == "power":
        rest = _TWICE.sub(lambda m: f"{m[1] or m[2]} W each", _TWO_ALIKE.sub(r"\1 W each", rest))
    if name in TONE_CONTROLS:
        rest = re.sub(r"±|\+/[-−]", " ", rest)  # as far up as down
    if name == "centre_frequency":  # "250, 500 Hz, 1, 2 kHz" has the unit with the last of each
        rest = _BARE_HERTZ.sub(lambda m: re.sub(_LISTED, rf"\1 {m[3]}, ", m[1]), rest)
    if name == "imd":
        rest = _FOUR_TO_ONE.sub("", rest)
    return _A_WEIGHTED.sub(" dB A-weighted", rest)


def with_points(text: str) -> str:
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
                either = f"{whole} or {_surely_decimal(point)}"
                raise NotUnderstood(f'"{match[0]}" is {either}; write the one that is meant{kilo}')
    return re.sub(r"(?<=\d),(?=\d)", ".", text) if shown == [","] else text


def _surely_decimal(number: str) -> str:
    """Return a number with three decimals so that they aren't three digits after a mark between thousands."""
    shorter = number.rstrip("0").rstrip(".")
    return f"{number}0" if shorter == number else shorter
