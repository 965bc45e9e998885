"""The mistakes one makes in the tables of session.toml, each with the message that the user sees."""

import pytest
from session_texts import UNIT, faults_of

from reviewkit.ingest.session.session_file import parse_session

MISTAKES = {
    # after [unit] in lines 1 to 3: what stands from line 4 on, and the whole message
    '[[rated]]\nquantity = "power"\nat_least = "40"': (
        'session.toml:6: [[rated]] power: at_least = "40" has no unit; write "40 W"'
    ),
    '[[rated]]\nquantity = "power"\nat_least = 40': (
        'session.toml:6: [[rated]] power: at_least = 40 has no unit; write "40 W"'
    ),
    '[[rated]]\nquantity = "power"\nat_least = "40 dBV"': (
        'session.toml:6: [[rated]] power: at_least = "40 dBV" is in dBV where W is needed; write for example "40 W"'
    ),
    '[[rated]]\nquantity = "power"\nat_least = "forty watts"': (
        'session.toml:6: [[rated]] power: at_least = "forty watts" is not a number with a unit; '
        'write for example "40 W"'
    ),
    '[[rated]]\nquantity = "power"\nat_least = "-40 W"': (
        'session.toml:6: [[rated]] power: at_least = "-40 W" is not above zero; write "40 W"'
    ),
    '[[rated]]\nquantity = "power"\nat_most = "40 W"': (
        'session.toml:6: [[rated]] power: at_most = "40 W" does not go with power, which takes at_least; '
        'write for example at_least = "40 W"'
    ),
    '[[rated]]\nquantity = "power"': 'session.toml:4: [[rated]] power: has no limit; write at_least = "40 W"',
    '[[rated]]\nquantity = "gain"\nat_least = "30 dB"\nat_most = "32 dB"': (
        "session.toml:7: [[rated]] gain: has at_least and at_most; "
        "one limit makes one row: write a [[rated]] table for each"
    ),
    '[[rated]]\nat_least = "40 W"': (
        'session.toml:4: [[rated]] 1: has no quantity; write for example quantity = "power"'
    ),
    '[[rated]]\nquantity = "dampng factor"\nat_least = 60': (
        'session.toml:5: [[rated]] dampng factor: quantity = "dampng factor" is not a known rating; '
        'did you mean "damping factor"?'
    ),
    '[[rated]]\nquantity = "damping factor"\nat_least = "60"': (
        'session.toml:6: [[rated]] damping factor: at_least = "60" is not a number; write for example 60'
    ),
    '[[rated]]\nquantity = "damping factor"\nat_least = nan': (
        "session.toml:6: [[rated]] damping factor: at_least = nan is not from 0.001 to 1000000; write for example 60"
    ),
    '[[rated]]\nquantity = "crosstalk"\nat_most = "60 dB"': (
        'session.toml:6: [[rated]] crosstalk: at_most = "60 dB" is not below zero, as a crosstalk level is; '
        'write "-60 dB", or quantity = "separation" with at_least'
    ),
    '[[rated]]\nquantity = "snr"\nat_least = "-92 dB"': (
        'session.toml:6: [[rated]] snr: at_least = "-92 dB" is not above zero; write "92 dB"'
    ),
    '[[rated]]\nquantity = "snr"\nat_least = "92 dB"\nreference = "loud"': (
        'session.toml:7: [[rated]] snr: reference = "loud" is not what a ratio can be relative to; '
        'write "rated output", "1 W" or "50 mW", "5 mV" (at the input), "2 V output", "0 dBFS" or "250 nWb/m"'
    ),
    '[[rated]]\nquantity = "response"\nwithin = ["1 dB", "3 dB"]': (
        'session.toml:6: [[rated]] response: within = ["1 dB", "3 dB"] does not have zero between its limits; '
        'write the limit below and the one above: ["-1 dB", "+0 dB"]'
    ),
    '[[rated]]\nquantity = "imd"\nat_most = "0.03 %"\ntones = "60 Hz:7 kHz 4:1"': (
        'session.toml:7: [[rated]] imd: tones = "60 Hz:7 kHz 4:1" is not a list; write for example ["60 Hz", "7 kHz"]'
    ),
    '[[rated]]\nquantity = "distortion"\nat_most = "0.03 %"\ntones = ["60 Hz", "7 kHz"]': (
        "session.toml:7: [[rated]] distortion: tones does not go with distortion; "
        'write quantity = "intermodulation", or leave it out'
    ),
    '[[rated]]\nquantity = "input sensitivity"\nat_least = "150 mV"': (
        'session.toml:6: [[rated]] input sensitivity: at_least = "150 mV" does not go with input sensitivity, '
        'which takes nominal or at_most; write for example nominal = "2.83 V"'
    ),
    '[[rated]]\nquantity = "imd"\nat_most = "0.03 %"\ntones = ["7 kHz", "60 Hz"]': (
        'session.toml:7: [[rated]] imd: tones = ["7 kHz", "60 Hz"] does not begin with the lower frequency; '
        'write for example ["60 Hz", "7 kHz"]'
    ),
    '[[rated]]\nquantity = "S/N"': 'session.toml:4: [[rated]] S/N: has no limit; write at_least = "60 dB"',
    '[[rated]]\nquantity = "FM capture ratio"\nat_most = "1.5 dB"': (
        'session.toml:5: [[rated]] FM capture ratio: quantity = "FM capture ratio" is a figure of the radio; '
        'write quantity = "capture ratio" with input = "FM"'
    ),
    '[[rated]]\nquantity = "music power"\nat_least = "110 W"': (
        'session.toml:5: [[rated]] music power: quantity = "music power" is not a known rating; '
        'write quantity = "power" with rule = "music"'
    ),
    '[[rated]]\nquantity = "phono RIAA"': (
        'session.toml:4: [[rated]] phono RIAA: has no limit; write within = "0.5 dB"'
    ),
    '[[rated]]\nquantity = "response"\nwithin = "0.5 dB"\nband = ["20", "20 kHz"]': (
        'session.toml:7: [[rated]] response: band: "20" has no unit; write "20 Hz"'
    ),
    '[[rated]]\nquantity = "response"\nwithin = "0.5 dB"\nband = ["20 kHz", "20 Hz"]': (
        'session.toml:7: [[rated]] response: band = ["20 kHz", "20 Hz"] does not begin with the lower '
        'frequency; write for example ["20 Hz", "20 kHz"]'
    ),
    '[[rated]]\nquantity = "power"\nat_least = "40 W"\ntotal = "yes"': (
        'session.toml:7: [[rated]] power: total = "yes" must be true or false, without quotation marks'
    ),
    '[rated]\nquantity = "power"': "session.toml:4: [rated] may appear many times; write [[rated]], with two brackets",
    '[[bench]]\nload = "8 ohm"': "session.toml:4: bench is a single table; write [bench]",
    '[bench]\nlod = "8 ohm"': 'session.toml:5: [bench] lod: unknown key; did you mean "load"?',
    "[bench]\nload = 8": 'session.toml:5: [bench] load = 8 has no unit; write "8 ohm", or "open"',
    '[bench]\nchannels = "stereo"': 'session.toml:5: [bench] channels = "stereo" is not known; write "both" or "one"',
    '[bench]\nmains = "120"': (
        'session.toml:5: [bench] mains = "120" is not a mains voltage and frequency; write for example "120 V 60 Hz"'
    ),
    '[bench]\nequipment = "two loads"': (
        'session.toml:5: [bench] equipment = "two loads" is not a list; write for example ["two 8 ohm 100 W loads"]'
    ),
    "[benhc]\na = 1": 'session.toml:4: [benhc]: unknown table; did you mean "bench"?',
    '[look]\ngrund = "#15191e"': 'session.toml:5: [look] grund: unknown key; did you mean "ground"?',
    '[look]\nground = "dark"': (
        'session.toml:5: [look] ground = "dark" is not a colour; '
        'write red, green and blue in hexadecimal digits, for example "#ffd98a"'
    ),
    "[look]\nground = 15": "session.toml:5: [look] ground = 15 is not text; write it in quotation marks",
    '[look]\nbold_font = "prices.csv"': ("session.toml:5: [look] bold_font needs font; name the regular file, too"),
    '[look]\nfont = "../type.ttf"': (
        'session.toml:5: [look] font = "../type.ttf" leads outside the session\'s folder; copy the file into it'
    ),
    '[look]\nfont = "type.ttf"': (
        'session.toml:5: [look] font = "type.ttf": there is no such file; put it there, or correct the path'
    ),
    '[[look]]\nink = "#ffffff"': "session.toml:4: look is a single table; write [look]",
    "[price]\npaid = -3\ncurrency = 'USD'\nindex = 'prices.csv'\nyear = 1977": (
        "session.toml:5: [price] paid = -3 is less than 0.01; write for example 329.00"
    ),
    "[price]\npaid = inf\ncurrency = 'USD'\nindex = 'prices.csv'\nyear = 1977": (
        "session.toml:5: [price] paid = inf is not a finite number; write for example 329.00"
    ),
    "[price]\npaid = 329\ncurrency = '$'\nindex = 'prices.csv'\nyear = 1977": (
        'session.toml:6: [price] currency = "$" is not a currency code; write "USD"'
    ),
    "[price]\npaid = 329\ncurrency = 'USD'\nyear = 1977": (
        'session.toml:4: [price] has no index; write for example index = "prices.csv"'
    ),
    "[price]\npaid = 329\ncurrency = 'USD'\nindex = 'price.csv'\nyear = 1977": (
        'session.toml:7: [price] index = "price.csv": there is no such file; did you mean "prices.csv"?'
    ),
    "[price]\npaid = 329\ncurrency = 'USD'\nindex = 'prices.csv'": (
        "session.toml:4: [price] has no year, and [unit] has none either; "
        "write the year it was paid in, for example year = 1977"
    ),
    "[price]\npaid = 329\ncurrency = 'USD'\nindex = 'prices.csv'\nyear = 77": (
        "session.toml:8: [price] year = 77 is less than 1850; write for example 1977"
    ),
    "[episode]\nwords_per_minute = nan": (
        "session.toml:5: [episode] words_per_minute = nan is not a finite number; write for example 150"
    ),
    "[episode]\ncard_seconds = -6": (
        "session.toml:5: [episode] card_seconds = -6 is less than 0.1; write for example 6"
    ),
    "[episode]\nframe_rate = 12.5": (
        "session.toml:5: [episode] frame_rate = 12.5 is not a frame rate; "
        "write 23.976, 24, 25, 29.97, 30, 50, 59.94 or 60"
    ),
    '[episode]\npage = "example.org/forty"': (
        'session.toml:5: [episode] page = "example.org/forty" is not the address of a page; '
        'write for example "https://example.org/forty"'
    ),
    '[episode]\npage = "https://example.org/a b"': (
        'session.toml:5: [episode] page = "https://example.org/a b" is not the address of a page; '
        'write for example "https://example.org/forty"'
    ),
    '[episode]\npage = "javascript:alert(1)//https://"': (
        'session.toml:5: [episode] page = "javascript:alert(1)//https://" is not the address of a page; '
        'write for example "https://example.org/forty"'
    ),
    '[episode]\nfilm = "example.org/film"': (
        'session.toml:5: [episode] film = "example.org/film" is not the address of a page; '
        'write for example "https://example.org/forty"'
    ),
    "[episode]\nrating = 6": "session.toml:5: [episode] rating = 6 is more than 5; write for example 4.5",
    '[episode]\nrating = "4/5"': ('session.toml:5: [episode] rating = "4/5" is not a number; write for example 4.5'),
    '[episode]\nlook = "dark"': (
        'session.toml:5: [episode] look = "dark" is not known; write "lamplight" or "brochure"'
    ),
    '[episode]\ntitle = """two\nlines"""': (
        'session.toml:5: [episode] title = "two\\u000alines" holds a line break or a control character; '
        "write it on one line"
    ),
}


@pytest.mark.parametrize("text", MISTAKES, ids=lambda text: " ".join(text.split())[:70])
def test_one_mistake_gives_one_message(text, folder):
    assert faults_of(f"{UNIT}{text}\n", folder) == [MISTAKES[text]]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", 'session.toml: there is no [unit]; write [unit] with maker = "…" and model = "…"'),
        ('[unit]\nmaker = "Norrvale"', 'session.toml:1: [unit] has no model; write for example model = "Forty"'),
        (
            '[unit]\nmaker = " "\nmodel = "Forty"',
            'session.toml:2: [unit] maker = " " is empty; write for example "Norrvale"',
        ),
        (f"{UNIT}year = 1977.5", "session.toml:4: [unit] year = 1977.5 is not a whole number; write for example 1977"),
        (f"{UNIT}year = 12", "session.toml:4: [unit] year = 12 is less than 1850; write for example 1977"),
        (f"{UNIT}modell = 3", 'session.toml:4: [unit] modell: unknown key; did you mean "model"?'),
        (
            f"look = 3\n{UNIT}",
            "session.toml:1: look is a single table; write [look]",
        ),
        (
            f'maker = "Norrvale"\n{UNIT}',
            'session.toml:1: maker = "Norrvale" is outside any table; put it under one, such as [unit]',
        ),
        # of syntax, only the first is told
        (f"{UNIT}mains = 120 V\n", 'session.toml:4: mains = 120 V needs quotation marks; write mains = "120 V"'),
        (f"{UNIT}[unit]\n", "session.toml:4: [unit] appears twice; keep one of them and put all its keys there"),
    ],
)
def test_mistakes_of_the_unit_and_outside(text, message, folder):
    assert faults_of(text, folder) == [message]


def test_all_faults_are_told_at_once_in_the_order_of_their_lines(folder):
    text = (
        '[unit]\nmaker = 5\n[bench]\nload = 8\nchanels = "both"\n'
        '[[rated]]\nquantity = "power"\nat_least = 40\nlod = "8 ohm"\n'
        '[[measurement]]\nkind = "tne"\nfile = "no.csv"\ncolumns = { lft = 1, right = -1 }\n'
    )
    lines = [int(fault.split(":")[1]) for fault in faults_of(text, folder)]
    assert lines == [1, 2, 4, 5, 8, 9, 11, 12, 13, 13]


@pytest.mark.parametrize("words", ["slew rate", "loudness", "phono", "B+ voltage", "rail voltage"])
def test_a_figure_under_a_name_of_its_own_is_no_slip_of_the_pen(words, tmp_path):
    """What is alike by chance is neither proposed nor swapped."""
    (rating,) = parse_session(f'{UNIT}[[rated]]\nquantity = "{words}"\nat_least = "20 V"\n', tmp_path, kinds=()).ratings
    assert (rating.called, rating.unit, rating.at_least) == (words, "V", 20.0)
    assert rating.quantity == words.lower().replace(" ", "_")
