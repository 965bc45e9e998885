"""Written figures as people say them: "0.021 %" → "point zero two one percent". Used to time what is spoken."""

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
    "W": ("watt", "watts"),
    "mW": ("milliwatt", "milliwatts"),
    "V": ("volt", "volts"),
    "mV": ("millivolt", "millivolts"),
    "µV": ("microvolt", "microvolts"),
    "Hz": ("hertz", "hertz"),
    "kHz": ("kilohertz", "kilohertz"),
    "dB": ("decibel", "decibels"),
    "Ω": ("ohm", "ohms"),
    "mΩ": ("milliohm", "milliohms"),
    "kΩ": ("kilohm", "kilohms"),
    "%": ("percent", "percent"),
    "s": ("second", "seconds"),
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
_FIGURE = re.compile(
    r"(?P<sign>[\u2212+±≤≥]\s?|(?<![\w.])-)?(?P<currency>[$€£¥])?(?P<number>\d{1,3}(?:,\d{3})+|\d+)(?P<fraction>\.\d+)?"
    r"(?:(?P<space>\s)(?P<unit>kHz|Hz|mW|W|µV|mV|V|dB|mΩ|kΩ|Ω|%|ms|mA|×)(?!\w))?"
)


def spoken(text: str) -> str:
    """A sentence with every figure written out as it is said."""
    said = text.replace("THD+N", "T H D plus N").replace("THD", "T H D").replace(" – ", " to ")
    return _FIGURE.sub(_say, said)


def words(text: str) -> int:
    """How many words a sentence costs when spoken, figures written out."""
    return len(spoken(text).replace("-", " ").split())


def _say(match: re.Match[str]) -> str:
    number, fraction = match["number"].replace(",", ""), match["fraction"] or ""
    sign = _SIGNS.get((match["sign"] or "").strip(), "")
    if match["currency"]:
        one, many = _CURRENCIES[match["currency"]]
        cents = int((fraction[1:] + "0")[:2]) if fraction else 0
        amount = f"{whole(int(number))} {one if number == '1' and not cents else many}"
        return sign + amount + (f" {whole(cents)}" if cents else "")
    if not fraction and not match["unit"] and not sign and "," not in match["number"] and 1900 <= int(number) <= 2099:
        return year(int(number))
    said = whole(int(number)) if int(number) or not fraction else ""
    if fraction:
        said = f"{said} point {' '.join(_ONES[int(d)] for d in fraction[1:])}".strip()
    if match["unit"]:
        one, many = _UNITS[match["unit"]]
        said += f" {one if number == '1' and not fraction else many}"
    return sign + said


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
