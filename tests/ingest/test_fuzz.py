"""Every reader fed with what nobody would write: read, or refused in words that help. What was found once is kept.

A longer search is tests/bench/fuzz_readers.py; large files are in test_bombs.py.
"""

from __future__ import annotations

import dataclasses
import json
import math
import re
import struct

import pytest
from every_reader import Reader, every_reader, pcm, wave, wrong, wrong_message
from hypothesis import given, settings
from wild_files import wild

from reviewkit.model.errors import InputError

READERS = every_reader()
_NUMBER = re.compile(rb"(?<![\w.])-?\d+(?:\.\d+)?(?![\w.])")
NO_NUMBERS = (b"nan", b"NaN", b"inf", b"-Infinity", b"1e999", b"-1e308", b"1e-320")


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS)
def test_what_it_can_read_is_read(reader: Reader):
    for data in reader.good:
        reader.read(data)


@pytest.mark.parametrize("examples", [20, pytest.param(80, marks=pytest.mark.long)])
@pytest.mark.parametrize("reader", READERS.values(), ids=READERS)
def test_whatever_it_is_fed_it_reads_or_refuses_in_words_that_help(reader: Reader, examples: int):
    @settings(max_examples=examples)
    @given(wild(reader))
    def look(data: bytes) -> None:
        assert wrong(reader, data) == ""

    look()


IN_DIGITS = [name for name in READERS if name not in ("capture", "sound", "photo")]


@pytest.mark.parametrize("most", [20, pytest.param(60, marks=pytest.mark.long)])
@pytest.mark.parametrize("name", IN_DIGITS)
def test_no_number_in_any_place(name: str, most: int):
    reader = READERS[name]
    data = reader.good[0]
    places = list(_NUMBER.finditer(data))[:most]
    assert places
    for at, place in enumerate(places):
        # each of them somewhere, all of them in the first places
        for number in NO_NUMBERS if at < 8 else NO_NUMBERS[at % len(NO_NUMBERS) :][:1]:
            assert wrong(reader, data[: place.start()] + number + data[place.end() :]) == "", (place, number)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e300])
@pytest.mark.parametrize("place", [0, 1, 119, 238, 239])
def test_no_number_in_any_sample(place: int, value: float):
    samples = [0.25, -0.5] * 120
    samples[place] = value
    form = pcm(2, bits=64, code=3)
    assert wrong(READERS["capture"], wave(form, struct.pack("<240d", *samples))) == ""
    with pytest.raises(InputError, match=r"channel [12] has samples (that aren't numbers|up to 1e\+300)"):
        READERS["capture"].read(wave(form, struct.pack("<240d", *samples)))


# ------------------------------------------------------------------ what was found

UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n'
DRIVEN = UNIT + '[[measurement]]\nkind = "tone"\nfile = "measurements/tone.csv"\nload = "8 ohm"\n'


def cut_with(edit) -> str:
    """A timeline with another clip in it."""
    if "timeline" not in READERS:
        return ""
    whole = json.loads(READERS["timeline"].good[0])
    track = next(track for track in whole["tracks"]["children"] if track["name"] == "clips")
    edit(track["children"][0])
    return json.dumps(whole)


# name: reader, file, what the first message says ("" where it is read)
FOUND: dict[str, tuple[str, str, str]] = {
    "nothing but a byte-order mark": ("sheet", "\ufeff", "the file is empty; export the measurement again"),
    "no table after many empty lines": (
        "sheet",
        "\n" * 60_000 + "hello\n",
        "no row holds two numbers or more separated",
    ),
    "nothing but a byte-order mark and a space": ("sheet", "\ufeff\u2003\n", "the file is empty; export the"),
    "half a sign, which no text output can hold": (
        "published",
        '{"said": {}, "corrected": {"": "\\ud800"}}',
        "this is not what reviewkit wrote there",
    ),
    "a frequency that overflows in hertz": (
        "sheet",
        "f (kHz),Level (V)\n1d306,0\n",
        "1e+306 in column 1 (f (kHz)) is too",
    ),
    "a level that overflows in volts": (
        "sheet",
        "f (kHz),L (dBV)\n1,7000\n",
        "7000 in column 2 (L (dBV)) is too large to",
    ),
    "columns apart by three hundred digits": (
        "sheet",
        "Hz,Hz,V\n1d300,0,1\n",
        "1e+300 in column 1 (Hz) is too large to be",
    ),
    "columns apart in the fiftieth decimal": (
        "sheet",
        "Hz,Hz,V\n1e-50,2e-50,1\n",
        "columns 1 and 2 are both frequency and differ here: 1e-50 Hz and 2e-50 Hz",
    ),
    "a power that is too small for a scale": (
        "sheet",
        "W,THD (%)\n5e-324,1\n1,2\n",
        "4.941e-324 in column 1 (W) is too sma",
    ),
    "a name of thousands of characters": (
        "sheet",
        f"Hz,{'X' * 5000}\n1,2\n2,3\n",
        'column 2 "XXXXXXXXXXXXXXXXXXXXXXXXXXXXX…"',
    ),
    "many names that say nothing": (
        "sheet",
        f"Hz,{','.join(f'word {n}' for n in range(40))}\n" + f"1{',2' * 40}\n" * 3,
        "and 36 more cannot be identified from",
    ),
    "a number of thousands of digits in a key's place": ("session", "9" * 1900, '"9999'),
    "a key of a thousand characters": ("session", f"{UNIT}{'k' * 1900} = 1", "[unit] kkkkkkkkkkkkk"),
    "a year of two thousand digits": (
        "session",
        f'{UNIT}year = "{"1" * 1900}"',
        "write the number without quotation marks: 1111",
    ),
    "a drive whose power overflows": (
        "session",
        f'{DRIVEN}drive = "1e200 V"',
        'drive = "1e200 V" is too large; write for example',
    ),
    "a drive whose power is zero": (
        "session",
        f'{DRIVEN}drive = "1e-200 V"',
        'drive = "1e-200 V" is too small; write for example',
    ),
    "a limit of thirty decimals": (
        "session",
        f'{UNIT}[[rated]]\nquantity = "damping factor"\nat_least = 1e-30\n',
        "at_least = 1e-30 is not from 0.001 to 1000000; write for example 60",
    ),
    "a value that says write": (
        "session",
        f'{DRIVEN}frequency = "write"',
        "is not a number with a unit; write for example",
    ),
    "a mains of a thousand characters": ("session", f'{UNIT}mains = "{"1 V " * 240}"', '"1 V 1 V 1 V'),
    "a clip's name of a thousand characters": ("notes", f"clip {'a' * 1000}\nclip {'a' * 1000}\n", "clip aaaaaaa"),
    "a tag of a thousand characters": ("notes", f"0:00 a [card {'b ' * 500}]\n", "[card b b b"),
    "a level by meter that overflows in volts": (
        "readings",
        "name,value,unit\nhum,9e99,dBV\n",
        'hum: value "9e99" is too large',
    ),
    "a timeline's kind without a version": (
        "timeline",
        cut_with(lambda clip: clip.update(OTIO_SCHEMA="Clip.1e999")),
        "is not an OpenTimelineIO file; export",
    ),
    "a clip of the first version with what only the second has": (
        "timeline",
        cut_with(lambda clip: clip.update(OTIO_SCHEMA="Clip.1")),
        "is not an OpenTimelineIO file; export",
    ),
    "a timeline with a key twice": (
        "timeline",
        cut_with(lambda clip: None).replace('"name"', '"metadata"'),
        "is not an OpenTimelineIO file; export",
    ),
}


@pytest.mark.parametrize("name", [name for name, (reader, *_) in FOUND.items() if reader in READERS])
def test_what_was_found_once(name: str):
    reader, text, says = FOUND[name]
    assert wrong(READERS[reader], text.encode()) == ""
    with pytest.raises(InputError) as refused:
        READERS[reader].read(text.encode())
    assert any(says in fault.message for fault in refused.value.faults), [str(f) for f in refused.value.faults]


# ------------------------------------------------------------------ the rule itself finds what it must


def raises(error: Exception):
    def read(data: bytes) -> object:
        raise error

    return read


def test_the_rule_lets_nothing_through():
    def judged(read, **more) -> str:
        return wrong(Reader("made up", read, (), **more), b"")

    assert judged(lambda data: (1.0, "a", {"b": [2.0]})) == ""
    assert "cannot be written" in judged(lambda data: {"a": ["\ud800"]})
    assert "a number that is none" in judged(lambda data: (1.0, (float("nan"),)))
    assert "a number that is none" in judged(lambda data: float("inf"))
    assert judged(lambda data: float("inf"), open_ends=True) == ""
    assert judged(raises(InputError(()))) == "refused without a word"
    with pytest.raises(RecursionError):
        judged(raises(RecursionError()))


@pytest.mark.parametrize(
    ("source", "message", "says"),
    [
        ("a.csv", "the row is empty, as it seems; write a number", ""),
        ("", "the row is empty, as it seems; write a number", "names no file"),
        ("a.csv", "this row is not good at all", "names no remedy"),
        ("a.csv", "write", "names no remedy"),
        ("a.csv", "x" * 1000 + "; write a number", "a message of"),
    ],
)
def test_the_rule_for_messages(source, message, says):
    said = wrong_message(source, message)
    assert said.startswith(says)
    assert bool(said) == bool(says)


def test_the_table_of_readers_holds_each_once():
    assert [reader.name for reader in READERS.values()] == list(READERS)
    assert all(dataclasses.is_dataclass(reader) and reader.good for reader in READERS.values())
