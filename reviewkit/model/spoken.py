"""Written figures as people say them: "0.021 %" → "0.021 percent" to read from, "point oh two one percent" in words."""

from __future__ import annotations

import re

_ONES = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
    "eighteen nineteen"
).split()
_TENS = ["zero", "ten", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]

_SIZES = ((10**12, "trillion"), (10**9, "billion"), (10**6, "million"), (1000, "thousand"), (100, "hundred"))

# unit -> (singular, plural); includes units that only cells of repair.csv use
_UNITS = {
    "dB/octave": ("decibel per octave", "decibels per octave"),
    "V/µs": ("volt per microsecond", "volts per microsecond"),
    "kW": ("kilowatt", "kilowatts"),
    "W": ("watt", "watts"),
    "mW": ("milliwatt", "milliwatts"),
    "kV": ("kilovolt", "kilovolts"),
    "V": ("volt", "volts"),
    "mV": ("millivolt", "millivolts"),
    "µV": ("microvolt", "microvolts"),
    "Hz": ("hertz", "hertz"),
    "kHz": ("kilohertz", "kilohertz"),
    "MHz": ("megahertz", "megahertz"),
    "dB": ("decibel", "decibels"),
    "Ω": ("ohm", "ohms"),
    "mΩ": ("milliohm", "milliohms"),
    "kΩ": ("kilohm", "kilohms"),
    "MΩ": ("megohm", "megohms"),
    "%": ("percent", "percent"),
    "s": ("second", "seconds"),
    "µs": ("microsecond", "microseconds"),
    "ns": ("nanosecond", "nanoseconds"),
    "ms": ("millisecond", "milliseconds"),
    "A": ("amp", "amps"),
    "mA": ("milliamp", "milliamps"),
    "µA": ("microamp", "microamps"),
    "F": ("farad", "farads"),
    "mF": ("millifarad", "millifarads"),
    "µF": ("microfarad", "microfarads"),
    "nF": ("nanofarad", "nanofarads"),
    "pF": ("picofarad", "picofarads"),
    "H": ("henry", "henries"),
    "mH": ("millihenry", "millihenries"),
    "µH": ("microhenry", "microhenries"),
    "°C": ("degree Celsius", "degrees Celsius"),
    "°": ("degree", "degrees"),
    "arcmin": ("minute of arc", "minutes of arc"),
    "ppm": ("ppm", "ppm"),
    "dBf": ("dBf", "dBf"),
    "dB SPL": ("decibel SPL", "decibels SPL"),
    "nWb/m": ("nanoweber per metre", "nanowebers per metre"),
    "cm/s": ("centimetre per second", "centimetres per second"),
    "µV/m": ("microvolt per metre", "microvolts per metre"),
    "mV/m": ("millivolt per metre", "millivolts per metre"),
    "µm/mN": ("micrometre per millinewton", "micrometres per millinewton"),
    "%/°": ("percent per degree", "percent per degree"),
    "mm": ("millimetre", "millimetres"),
    "µm": ("micrometre", "micrometres"),
    "mN": ("millinewton", "millinewtons"),
    "g": ("gram", "grams"),
    "rpm": ("rpm", "rpm"),
    "ps": ("picosecond", "picoseconds"),
    "h": ("hour", "hours"),
    "×": ("times", "times"),
}
_SPELLINGS = {
    spelling: unit
    for unit in _UNITS
    for spelling in {
        unit,
        unit.replace("µ", "u"),
        unit.replace("µ", "\u03bc"),
        unit.replace("Ω", "ohm"),
        unit.replace("Ω", "ohms"),
        unit.replace("Ω", "Ohm"),
        unit.replace("Ω", "\u2126"),
    }
}
_CURRENCIES = {"$": ("dollar", "dollars"), "€": ("euro", "euros"), "£": ("pound", "pounds"), "¥": ("yen", "yen")}
_AMOUNT = re.compile(rf" (?:{'|'.join(word for names in _CURRENCIES.values() for word in names)})\b")
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
_NEGATIVE_BOUND = re.compile(r"([≤≥]) (?=[−-]\d)")  # a figure has one sign
_MOST_DIGITS = 15
_ORDINALS = ["", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth"]
_ORDINAL = re.compile(r"\b([1-9])(?:st|nd|rd|th)\b")
_SPELLED = re.compile(r"\b[A-Z]{2,5}\b|\bdB\b")  # spoken letter by letter
_LONGEST_FIRST = sorted(_SPELLINGS, key=lambda spelling: (-len(spelling), spelling))
_ANY_UNIT = "|".join(map(re.escape, _LONGEST_FIRST))
# units without a space before them: "the 70s" and "12A" have none
_CLOSE_UNIT = "|".join(re.escape(one) for one in _LONGEST_FIRST if len(one) > 1 or one in "WVΩ\u2126%°×")
_LETTER = r"[^\W\d_]"
# words, and what mixes letters and digits: "C214", "OA-62", "C213/214", "12AX7", "4k7"; they are said as written
_NAME = rf"(?<!{_LETTER}){_LETTER}\w*(?:-\w+)*(?:/\w*{_LETTER}\w*|(?<=\d)/\d+)*|\d++(?:[.,]\d++){{0,9}}+{_LETTER}\w*"
_FIGURE = re.compile(
    r"(?P<sign>[\u2212+±≤≥]\s?|(?<![\w.])-)?(?P<currency>[$€£¥])?(?P<number>\d{1,3}(?:,\d{3}){1,9}|\d++)(?P<fraction>\.\d++)?"
    rf"(?:(?:\s(?P<unit>{_ANY_UNIT})|(?P<close>{_CLOSE_UNIT}))(?!\w|/(?!\d))|(?!(?:[.,]?\d){{0,40}}+{_LETTER}))|{_NAME}"
)
_SEAM = re.compile(rf"(?<={_LETTER})(?=\d)|(?<=\d)(?={_LETTER})")


def spell_units(text: str) -> str:
    """Write a sentence as it is read aloud, its figures in the digits that the card has: units and signs in words.

    A whole number that begins a sentence is in words, and so is a one with its unit.
    """
    return _FIGURE.sub(_in_digits, _without_signs(text))


def part_at_figures(text: str) -> str:
    """Return a sentence as `spell_units` does, with a bar for every figure that stays in digits."""

    def bar(match: re.Match[str]) -> str:
        said = _in_digits(match)
        return said if match["number"] is None or not any(map(str.isdigit, said)) else "|"

    return _FIGURE.sub(bar, _without_signs(text))


def spoken(text: str) -> str:
    """Spell out every figure of a sentence as it is spoken; names of parts and models stay as written."""
    return _FIGURE.sub(_in_words, _without_signs(text))


def sentence(text: str) -> str:
    """Spell out a sentence like `spoken`, with a capital if it began with a figure."""
    words = spoken(text)
    return words[:1].upper() + words[1:] if text[:1] != words[:1] else words


def words(text: str) -> int:
    """Count the spoken words of a sentence, figures spelled out."""
    letters = _SPELLED.sub(lambda match: " ".join(match[0]), spoken(_SEAM.sub(" ", text)))
    return len(letters.replace("-", " ").split())


def _without_signs(text: str) -> str:
    """Return a text with what is between figures in words."""
    said = text.replace("THD+N", "THD plus N").replace(" – ", " to ").replace(" ± ", ", give or take ")
    said = said.replace(" at ≤ ", " ≤ ").replace(" at ≥ ", " ≥ ")
    said = _NEGATIVE_BOUND.sub(lambda match: _SIGNS[match[1]], said)
    said = _PAIR.sub(r"\1 and \2", said)
    return _ORDINAL.sub(lambda match: _ORDINALS[int(match[1])], said.replace("dB (A)", "dB A-weighted"))


def _in_digits(match: re.Match[str]) -> str:
    if match["number"] is None:
        return match[0]
    number, fraction = match["number"], match["fraction"] or ""
    sign = _SIGNS.get((match["sign"] or "").strip(), "")
    written = _SPELLINGS.get(match["unit"] or match["close"] or "", "")
    one, many = _CURRENCIES[match["currency"]] if match["currency"] else _UNITS.get(written, ("", ""))
    unit = one if number + fraction == "1" else many
    before = match.string[: match.start()]
    begins = not sign and (not before.strip(' "(') or before.endswith((". ", "? ", "! ")))
    if not fraction and len(number) <= 2 and (begins or (number == "1" and unit)):
        number = whole(int(number))
        number = number[0].upper() + number[1:] if begins else number
    elif written.startswith("dB"):
        unit = written.replace("/", " per ")
    return f"{sign}{number}{fraction} {unit}".rstrip()


def _in_words(match: re.Match[str]) -> str:
    if match["number"] is None:
        return match[0]
    number, fraction = match["number"].replace(",", ""), match["fraction"] or ""
    sign = _SIGNS.get((match["sign"] or "").strip(), "")
    money = match["currency"] or _AMOUNT.match(match.string, match.end())
    if match["currency"]:
        one, many = _CURRENCIES[match["currency"]]
        cents = int((fraction[1:] + "0")[:2]) if fraction else 0
        amount = f"{_amount(number)} {one if number == '1' and not cents else many}"
        return sign + amount + (f" {whole(cents)}" if cents else "")
    unit = _SPELLINGS.get(match["unit"] or match["close"] or "", "")
    bare = not fraction and not unit and not sign and "," not in match["number"] and not money
    if bare and len(number) == 4 and 1900 <= int(number) <= 2099:
        return year(int(number))
    fraction = fraction.rstrip("0").rstrip(".")  # "64.0 dB" is said as sixty-four; the card shows how well it is known
    whole_part = _amount(number) if money else _whole_written(number)
    said = whole_part if number.strip("0") or not fraction else ""
    if fraction:
        said = f"{said} point {' '.join('oh' if d == '0' else _ONES[int(d)] for d in fraction[1:])}".strip()
    if unit:
        one, many = _UNITS[unit]
        said += f" {one if number == '1' and not fraction else many}"
    return sign + said


def _amount(digits: str) -> str:
    """Return an amount of money in words: seventeen hundred, but two thousand."""
    number = int(digits[:_MOST_DIGITS])
    if len(digits) == 4 and 1100 <= number < 10_000 and number % 100 == 0 and number % 1000:
        return f"{whole(number // 100)} hundred"
    return _whole_written(digits)


def _whole_written(digits: str) -> str:
    """Return a whole number in words; a longer one than any that has a name, digit by digit."""
    return whole(int(digits)) if len(digits) <= _MOST_DIGITS else " ".join(_ONES[int(digit)] for digit in digits)


def whole(number: int) -> str:
    """Spell out a whole number; from 10^15 on, digit by digit."""
    if number < 20:
        return _ONES[number]
    if number < 100:
        return _TENS[number // 10] + (f"-{_ONES[number % 10]}" if number % 10 else "")
    if number >= 10**15:
        return " ".join(_ONES[int(digit)] for digit in str(number))
    size, name = next((s, n) for s, n in _SIZES if number >= s)
    return f"{whole(number // size)} {name}" + (f" {whole(number % size)}" if number % size else "")


def year(number: int) -> str:
    """Spell out a year: "nineteen seventy-seven", "two thousand four", "twenty twenty-four"."""
    if 2000 <= number < 2010:
        return whole(number)
    century, rest = divmod(number, 100)
    if rest == 0:
        return f"{whole(century)} hundred"
    return f"{whole(century)} {'oh ' if rest < 10 else ''}{whole(rest)}"
