"""Figures as they are said aloud. The wording is this project's own; years and money as commonly said, no source."""

from __future__ import annotations

import time
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rated_and_found import found

from reviewkit.model.quantities import QUANTITIES, show
from reviewkit.model.spoken import spell_units, spoken, whole, words, year

SAID = [
    ("20 Hz – 20 kHz", "twenty hertz to twenty kilohertz"),
    ("0.02 %", "point oh two percent"),
    ("−62 dB", "minus sixty-two decibels"),
    ("-62 dB", "minus sixty-two decibels"),
    ("40 W per channel", "forty watts per channel"),
    ("0.021 %", "point oh two one percent"),
    ("1.4 %", "one point four percent"),
    ("0.10 %", "point one percent"),
    ("≤ 0.0010 %", "at most point oh oh one percent"),
    ("≥ 48 W", "at least forty-eight watts"),
    ("≤ −37.1 dB", "at most minus thirty-seven point one decibels"),
    ("±0.37 dB", "plus or minus point three seven decibels"),
    ("+8 %", "plus eight percent"),
    ("−64.0 dB", "minus sixty-four decibels"),
    ("92 dB (A)", "ninety-two decibels A-weighted"),
    ("−5.3 dB/octave", "minus five point three decibels per octave"),
    ("+0.0 −1.2 dB", "plus zero and minus one point two decibels"),
    ("−1.5 / +0.5 dB", "minus one point five and plus point five decibels"),
    ("5.17 µs", "five point one seven microseconds"),
    ("60.3 ± 1.6 W", "sixty point three, give or take one point six watts"),
    ("the 2nd, the 3rd and the 9th", "the second, the third and the ninth"),
    ("in 5 s", "in five seconds"),
    ("$2,000 or $1,250", "two thousand dollars or one thousand two hundred fifty dollars"),
    ("5 W into 8 Ω", "five watts into eight ohms"),
    ("1 W", "one watt"),
    ("1 V", "one volt"),
    ("1.0 W", "one watt"),
    ("1 dB", "one decibel"),
    ("0 dB", "zero decibels"),
    ("0.0 dB", "zero decibels"),
    ("1 kHz", "one kilohertz"),
    ("12.5 kHz", "twelve point five kilohertz"),
    ("250 mW", "two hundred fifty milliwatts"),
    ("12.0 mV", "twelve millivolts"),
    ("150 µV", "one hundred fifty microvolts"),
    ("1.3 ×", "one point three times"),
    ("0.15 Ω", "point one five ohms"),
    ("120 V 60 Hz", "one hundred twenty volts sixty hertz"),
    ("2000 Hz", "two thousand hertz"),
    ("THD+N of 0.05 %", "THD plus N of point oh five percent"),
    ("THD of 0.05 %", "THD of point oh five percent"),
    # years
    ("from 1977", "from nineteen seventy-seven"),
    ("in 1900", "in nineteen hundred"),
    ("in 1905", "in nineteen oh five"),
    ("in 2000", "in two thousand"),
    ("in 2004", "in two thousand four"),
    ("in 2010", "in twenty ten"),
    ("in 2024 money", "in twenty twenty-four money"),
    # money
    ("$329", "three hundred twenty-nine dollars"),
    ("$1,700", "seventeen hundred dollars"),
    ("$1", "one dollar"),
    ("$329.95", "three hundred twenty-nine dollars ninety-five"),
    ("$329.50", "three hundred twenty-nine dollars fifty"),
    ("£2,000", "two thousand pounds"),
    ("€450", "four hundred fifty euros"),
    ("¥54,800", "fifty-four thousand eight hundred yen"),
    # plain numbers
    ("they printed 60, I get 52", "they printed sixty, I get fifty-two"),
    ("damping factor 100", "damping factor one hundred"),
    ("10-20", "ten-twenty"),
    ("1,000,000", "one million"),
    ("nothing to say", "nothing to say"),
    # parts, models and whatever else mixes letters and digits keep their names
    ("the brown ring around C214", "the brown ring around C214"),
    ("C214, coupling, R: 10 µF", "C214, coupling, R: ten microfarads"),
    ("R331, R12a and VR301; Q7 hFE 120", "R331, R12a and VR301; Q7 hFE one hundred twenty"),
    ("a 2SX114 pair", "a 2SX114 pair"),
    ("C213/C214, then C215/216", "C213/C214, then C215/216"),
    ("the OA-62 of the 1970s", "the OA-62 of the 1970s"),
    ("4k7 for 5.1k, a 12AX7", "4k7 for 5.1k, a 12AX7"),
    ("a 2A fuse, 3 A at most", "a 2A fuse, three amps at most"),
    ("24-bit at 0.5 Ω", "twenty-four-bit at point five ohms"),
    # units as they stand in a list of parts
    ("10 uF 50 V film", "ten microfarads fifty volts film"),
    ("4.7 kohm and 0.22 ohm", "four point seven kilohms and point two two ohms"),
    ("100 pF, 22 nF, 100 \u03bcF", "one hundred picofarads, twenty-two nanofarads, one hundred microfarads"),
    ("25 °C, 25°C, 1 °C", "twenty-five degrees Celsius, twenty-five degrees Celsius, one degree Celsius"),
    ("60Hz at 120V", "sixty hertz at one hundred twenty volts"),
    ("120 V/60 Hz", "one hundred twenty volts/sixty hertz"),
    ("20 V/µs", "twenty volts per microsecond"),
    (
        "9.8 dBf at 98 MHz, 88.4 dB SPL",
        "nine point eight dBf at ninety-eight megahertz, eighty-eight point four decibels SPL",
    ),
    ("250 nWb/m, 5 cm/s", "two hundred fifty nanowebers per metre, five centimetres per second"),
    ("1.25 g, 12.5 mN, 80 µm", "one point two five grams, twelve point five millinewtons, eighty micrometres"),
    ("33.3 rpm, 0.05 %/°", "thirty-three point three rpm, point oh five percent per degree"),
    ("", ""),
]


def test_a_figure_as_it_is_said():
    for text, said in SAID:
        assert spoken(text) == said, text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("5 W, 1 kHz. Left, 0.021 %. Right: 1.4.", "Five watts, one kilohertz. Left, 0.021 percent. Right: 1.4."),
        ("1 % distortion comes at 46.7 W.", "One percent distortion comes at 46.7 watts."),
        ("It is 1.0 W, 1 W or 12 W", "It is 1.0 watts, one watt or 12 watts"),
        ("Noise: 102.2 dB below 40 W", "Noise: 102.2 dB below 40 watts"),
        ("≤ 0.0010 %, −64.0 dB, ±0.5 dB", "at most 0.0010 percent, minus 64.0 dB, plus or minus 0.5 dB"),
        ("It was ≤ −37.1 dB", "It was at most minus 37.1 dB"),
        ("then 5.3 dB/octave, 5.17 µs", "then 5.3 dB per octave, 5.17 microseconds"),
        ("$329 in 1977 is about $1,700", "329 dollars in 1977 is about 1,700 dollars"),
        ("rated 60, I get 52", "rated 60, I get 52"),
        ("60.3 ± 1.6 W", "60.3, give or take 1.6 watts"),
        ("the 3rd of C214, 10 uF", "the third of C214, 10 microfarads"),
        ("46.7 W begins with a figure", "46.7 watts begins with a figure"),
        ("1977 begins with a year", "1977 begins with a year"),
    ],
)
def test_a_sentence_to_read_has_digits_and_units_in_words(text, said):
    assert spell_units(text) == said


@pytest.mark.parametrize(
    "text",
    ["5 W, 0.021 %, 1.4", "$1,700 in 1977", "±0.36 dB at 1 kHz", "≤ 0.0010 % THD+N", "60.3 ± 1.6 W", "92 dB (A)"],
)
def test_what_is_read_in_digits_is_said_in_the_same_words(text):
    assert spoken(spell_units(text)).lower() == spoken(text).lower()


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (0, "zero"),
        (13, "thirteen"),
        (20, "twenty"),
        (21, "twenty-one"),
        (100, "one hundred"),
        (101, "one hundred one"),
        (999, "nine hundred ninety-nine"),
        (1000, "one thousand"),
        (12_345, "twelve thousand three hundred forty-five"),
        (1_000_001, "one million one"),
        (999_999_999, "nine hundred ninety-nine million nine hundred ninety-nine thousand nine hundred ninety-nine"),
    ],
)
def test_whole_numbers(number, said):
    assert whole(number) == said


def test_every_year_of_hi_fi_is_said_in_words_of_its_own():
    said = [year(n) for n in range(1900, 2100)]
    assert len(set(said)) == len(said)
    assert all(2 <= len(s.replace("-", " ").split()) <= 4 for s in said)


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("0.021 %", 5),
        ("It does 0.021 %.", 7),
        ("−62 dB", 4),  # minus, sixty, two, decibels
        ("THD", 3),
        ("20 Hz – 20 kHz", 5),
        ("five words stand right here", 5),
        ("", 0),
        ("   ", 0),
        ("C214", 4),  # see, two hundred fourteen
    ],
)
def test_figures_cost_the_words_that_they_are_said_in(text, count):
    assert words(text) == count


@given(st.text(st.characters(codec="utf-8"), max_size=60))
def test_no_digit_is_left_in_any_text_but_in_a_name(text):
    for word in spoken(text).split():
        if any(unicodedata.category(sign) == "Nd" for sign in word):
            assert any(sign.isalnum() and unicodedata.category(sign) != "Nd" for sign in word)


@given(
    st.from_regex(r"[A-Z]{1,2}[0-9]{1,4}[a-z]?(-[0-9]{1,3})?", fullmatch=True),
    st.sampled_from(["", "the ", "(", "5 V, "]),
)
def test_a_name_of_letters_and_digits_stays_as_it_is(name, before):
    assert spoken(f"{before}{name}").endswith(name)


@given(st.from_regex(r"[−+$€£≤±-]?[0-9]{1,16}([.,][0-9]{1,8})?( (dB|kHz|W|%|×|Ω))?", fullmatch=True))
def test_no_digit_is_left_in_any_figure(text):
    assert not [sign for sign in spoken(text) if sign.isdigit()]


@given(st.sampled_from(sorted(QUANTITIES)), st.floats(1e-6, 1e5), st.booleans())
def test_no_digit_is_left_in_any_finding(name, value, negative):
    said = spoken(show(found(name, -value if negative else value)))
    assert not [sign for sign in said if sign.isdigit()]
    assert not set(said) & set("%Ωµ×−±≤+")


def cost_s(text: str) -> float:
    """Processor time of a text, the least of three: what else the machine does only adds to it."""

    def once() -> float:
        begun = time.process_time()
        words(text)
        return time.process_time() - begun

    return min(once() for _ in range(3))


@pytest.mark.long
@pytest.mark.parametrize("unit", ["1.", "1,", "1.1,", "12", "1-", "C1-", "a1/", "1,111", "−1 −2 ", "1,1a"])
def test_a_note_eight_times_as_long_costs_about_eight_times_as_much(unit):
    """A search that goes back over all before it would cost 64 times as much."""
    long = unit * (80_000 // len(unit))
    assert cost_s(long) < 24 * cost_s(long[: len(long) // 8])
