"""Written figures as people say them: "0.021 %" → "point zero two one percent". To read aloud, and to time it."""

from __future__ import annotations

import re

_ONES = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
_TENS = ["zero", "ten", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]

_SIZES = ((10**12, "trillion"), (10**9, "billion"), (10**6, "million"), (1000, "thousand"), (100, "hundred"))

# unit -> (for exactly one, for any other amount)
_UNITS = {
    "dB/octave": ("dB per octave", "dB per octave"),
    "W": ("watt", "watts"),
    "mW": ("milliwatt", "milliwatts"),
    "V": ("volt", "volts"),
    "mV": ("millivolt", "millivolts"),
    "µV": ("microvolt", "microvolts"),
    "Hz": ("hertz", "hertz"),
    "kHz": ("kilohertz", "kilohertz"),
    "dB": ("dB", "dB"),
    "Ω": ("ohm", "ohms"),
    "mΩ": ("milliohm", "milliohms"),
    "kΩ": ("kilohm", "kilohms"),
    "%": ("percent", "percent"),
    "s": ("second", "seconds"),
    "µs": ("microsecond", "microseconds"),
    "ns": ("nanosecond", "nanoseconds"),
    "ms": ("millisecond", "milliseconds"),
    "mA": ("milliamp", "milliamps"),
    "×": ("times", "times"),
}
_CURRENCIES = {"$": ("dollar", "dollars"), "€": ("euro", "euros"), "£": ("pound", "pounds"), "¥": ("yen", "yen")}
_SIGNS = {
    "\u2212": "minus ",
    "-": "minus ",
    "+": "plus ",
    "±": "plus or minus ",
    "≤": "at most ",
    "≥": "at least ",
    "": "",
}
_PAIR = re.compile(r"([+−]\d+(?:\.\d+)?)(?: /)? ([+−]\d)")  # two extremes that share a unit
_ORDINALS = ["", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth"]
_ORDINAL = re.compile(r"\b([1-9])(?:st|nd|rd|th)\b")
_SPELLED = re.compile(r"\b[A-Z]{2,5}\b|\bdB\b")  # said letter by letter
_FIGURE = re.compile(
    r"(?P<sign>[\u2212+±≤≥]\s?|(?<![\w.])-)?(?P<currency>[$€£¥])?(?P<number>\d{1,3}(?:,\d{3})+|\d+)(?P<fraction>\.\d+)?"
    r"(?:(?P<space>\s)(?P<unit>dB/octave|kHz|Hz|mW|W|µV|mV|V|dB|mΩ|kΩ|Ω|%|ms|µs|ns|s|mA|×)(?![\w/]))?"
)


def spoken(text: str) -> str:
    """A sentence with every figure written out as it is said."""
    said = text.replace("THD+N", "THD plus N").replace(" – ", " to ").replace(" ± ", " plus or minus ")
    said = _PAIR.sub(r"\1 and \2", said)
    said = _ORDINAL.sub(lambda match: _ORDINALS[int(match[1])], said.replace("dB (A)", "dB A-weighted"))
    return _FIGURE.sub(_say, said)


def sentence(text: str) -> str:
    """`spoken`, with a capital where a figure stood first."""
    said = spoken(text)
    return said[:1].upper() + said[1:] if text[:1] != said[:1] else said


def words(text: str) -> int:
    """How many words a sentence costs when spoken, figures written out."""
    letters = _SPELLED.sub(lambda match: " ".join(match[0]), spoken(text))
    return len(letters.replace("-", " ").split())


def _say(match: re.Match[str]) -> str:
    number, fraction = match["number"].replace(",", ""), match["fraction"] or ""
    sign = _SIGNS.get((match["sign"] or "").strip(), "")
    if match["currency"]:
        one, many = _CURRENCIES[match["currency"]]
        cents = int((fraction[1:] + "0")[:2]) if fraction else 0
        amount = f"{_amount(int(number))} {one if number == '1' and not cents else many}"
        return sign + amount + (f" {whole(cents)}" if cents else "")
    if not fraction and not match["unit"] and not sign and "," not in match["number"] and 1900 <= int(number) <= 2099:
        return year(int(number))
    if fraction and not fraction.strip(".0"):
        fraction = ""  # "64.0 dB" is said as sixty-four; the card shows how well it is known
    said = whole(int(number)) if int(number) or not fraction else ""
    if fraction:
        said = f"{said} point {' '.join(_ONES[int(d)] for d in fraction[1:])}".strip()
    if match["unit"]:
        one, many = _UNITS[match["unit"]]
        said += f" {one if number == '1' and not fraction else many}"
    return sign + said


def _amount(number: int) -> str:
    """An amount of money in words: seventeen hundred, but two thousand."""
    if 1100 <= number < 10_000 and number % 100 == 0 and number % 1000:
        return f"{whole(number // 100)} hundred"
    return whole(number)


def whole(number: int) -> str:
    """A whole number in words; from 10^15 on its digits one by one."""
    if number < 20:
        return _ONES[number]
    if number < 100:
        return _TENS[number // 10] + (f"-{_ONES[number % 10]}" if number % 10 else "")
    if number >= 10**15:
        return " ".join(_ONES[int(digit)] for digit in str(number))
    size, name = next((s, n) for s, n in _SIZES if number >= s)
    return f"{whole(number // size)} {name}" + (f" {whole(number % size)}" if number % size else "")


def year(number: int) -> str:
    """A year as it is said: "nineteen seventy-seven", "two thousand four", "twenty twenty-four"."""
    if 2000 <= number < 2010:
        return whole(number)
    century, rest = divmod(number, 100)
    if rest == 0:
        return f"{whole(century)} hundred"
    return f"{whole(century)} {'oh ' if rest < 10 else ''}{whole(rest)}"
